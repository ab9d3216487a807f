"""Photos of one property: attached to what they show, and listed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path, PurePath

from asbuilt.findings import Finding, Severity
from asbuilt.jobs.due import reckon
from asbuilt.model.photos import Photo
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import open_record
from asbuilt.record.due_state import keep_due
from asbuilt.record.entries import Action, read_property
from asbuilt.record.photos import keep_picture, photo_faults, photo_file
from asbuilt.record.pictures import SUFFIXES, Picture, PictureError, look_at
from asbuilt.record.prompt import Prompt
from asbuilt.record.sheets.cells import CellError, did_you_mean, shown, text
from asbuilt.record.sheets.photos import photo_of, read_file
from asbuilt.record.typed import add_typed


@dataclass(frozen=True, slots=True)
class Attached:
    """What attaching photos did."""

    of: str  #: full name
    photos: tuple[Photo, ...]  #: those that were stored
    known: tuple[Photo, ...]  #: those that were attached already


def attach_photos(
    record_file: Path,
    name: str,
    of: str,
    files: Sequence[Path],
    *,
    who: str,
    now: datetime,
    caption: str | None = None,
    remove_gps: bool = False,
) -> Attached:
    """Attach photos to a component, a point or a reference point, all of them or none.

    Parameters
    ----------
    of
        What they show; a point may be named short.
    caption
        Of each of them.
    remove_gps
        Take their place on the earth, and all else that they say of themselves, out of what is kept.

    Raises
    ------
    PromptError
        If the name or a file cannot be taken, every problem in one go.
    UnknownNameError
        If there is no such property.
    AsbuiltError
        If a photo cannot be kept, or the record cannot be written. Nothing was stored.
    """
    with open_record(record_file) as record:
        prompt = Prompt(read_property(record, name))
        full = _full_name(prompt, of)
        words = _caption(prompt, caption)
        pictures = [_picture(prompt, file, remove_gps=remove_gps) for file in files]
        prompt.stop()
        taken = [
            (each, photo_of(each, full or "", file.name, words, remove_gps))
            for each, file in zip(pictures, files, strict=True)
            if each is not None
        ]
        for picture, _ in taken:
            keep_picture(record.path, picture)
        with record.write():
            new, known = _new(read_property(record, name), [photo for _, photo in taken])
            if new:
                add_typed(record, name, new, Action(who, now))
                keep_due(record, name, reckon)
    return Attached(full or "", tuple(new), tuple(known))


def _full_name(prompt: Prompt, of: str) -> str | None:
    """Give the component, point or reference point that is meant; None = noted as unknown."""
    if of in prompt.components:
        return of
    known = of in prompt.known.point_names() or of in prompt.known.reference_names()
    near = did_you_mean(of, prompt.components, "", likeness=0.8)
    if near and not known and not prompt.called(of):
        prompt.refuse("what it shows", f"{shown(of)} is no component, point or reference point", near)
        return None
    return prompt.known_name("what it shows", of)


def _caption(prompt: Prompt, caption: str | None) -> str | None:
    try:
        return None if caption is None else text(" ".join(caption.split())) or None
    except CellError as error:
        prompt.refuse("--caption", error.reason, error.accepted)
        return None


def _picture(prompt: Prompt, file: Path, *, remove_gps: bool) -> Picture | None:
    """Look at one file; None = noted as one that cannot be taken."""
    try:
        if not file.is_file():
            reason = "is a folder" if file.is_dir() else "is no file" if file.exists() else "is not there"
            raise PictureError(str(file), reason, "accepted: the file of a photo")
        text(file.name)
        return look_at(read_file(file), file.name, remove_gps=remove_gps)
    except PictureError as error:
        prompt.refuse(str(file), error.reason, error.accepted)
    except CellError as error:
        prompt.refuse(shown(str(file)), error.reason, error.accepted)
    except (OSError, ValueError) as error:
        prompt.refuse(str(file), f"cannot be read ({getattr(error, 'strerror', None) or error})", "close it elsewhere")
    return None


def _new(known: PropertyRecord, photos: Sequence[Photo]) -> tuple[list[Photo], list[Photo]]:
    """Part photos into new ones and those that are attached already; a name that another photo has gets a number."""
    there = {(photo.of, photo.sha256): photo for photo in known.photos}
    names = {photo.file.casefold(): photo.sha256 for photo in known.photos}
    new, old = [], []
    for photo in photos:
        earlier = there.get((photo.of, photo.sha256))
        if earlier is not None:
            old.append(earlier)
            continue
        stem, suffix, number = Path(photo.file).stem, Path(photo.file).suffix, 1
        while names.setdefault(photo.file.casefold(), photo.sha256) != photo.sha256:
            number += 1
            photo = replace(photo, file=f"{stem}-{number}{suffix}")
        there[photo.of, photo.sha256] = photo
        new.append(photo)
    return new, old


def photos_of(record_file: Path, name: str) -> tuple[list[tuple[Photo, Path]], list[str]]:
    """List the photos of a property with where each is kept, and say which are missing or altered.

    Raises
    ------
    UnknownNameError
        If there is no such property.
    """
    with open_record(record_file, read_only=True) as record:
        known = read_property(record, name)
    return [(photo, photo_file(record_file, photo)) for photo in known.photos], photo_faults(record_file, known.photos)


def photo_findings(record: PropertyRecord) -> list[Finding]:
    """Say where the column `photo` of a point names what is no photo of it: a file that is not there, or a print."""
    there = {(photo.of, photo.file) for photo in record.photos}
    findings = []
    for point in record.points:
        if point.photo is None or (point.name, point.photo.rpartition("/")[2]) in there:
            continue
        what = f"{point.name}: {shown(point.photo)} in the column photo names no file"
        if PurePath(point.photo).suffix.lower() in _FILE_ENDINGS:
            mend = "Put the file beside the sheets or in their folder photos and load them again."
            message = f"{what}, so no photo was taken in."
            findings.append(Finding("photo-not-there", point.name, message, Severity.ATTENTION, mend))
        else:
            message = f"{what}; it is kept as a text."
            findings.append(Finding("photo-a-text", point.name, message, Severity.NOTE))
    return findings


_FILE_ENDINGS = (*SUFFIXES, ".heic", ".heif", ".avif", ".gif", ".tif", ".tiff", ".bmp", ".dng", ".pdf")

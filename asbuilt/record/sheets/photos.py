"""Photos of a folder of sheets: those of `photos.csv`, and those that the column `photo` of `points.csv` names.

A photo lies beside the sheets or in the folder `photos` among them, nowhere else. What is no photo is a problem of its
row, as every other cell is; a text in `points.csv` that names no file stays a text.
"""

import hashlib
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from asbuilt.errors import Problem
from asbuilt.model.photos import Photo
from asbuilt.record.pictures import BIGGEST_BYTES, SUFFIXES, Picture, PictureError, kept_bytes, look_at
from asbuilt.record.sheets.cells import CellError, did_you_mean, shown
from asbuilt.record.sheets.checks import point_name
from asbuilt.record.sheets.names import Names
from asbuilt.record.sheets.rows import Row, Sheet

FOLDER = "photos"
"""The folder among the sheets in which photos may lie."""

_WHERE = f"accepted: the name of a file beside the sheets or in their folder {FOLDER}, such as lid.jpg"


@dataclass(frozen=True, slots=True)
class SheetPhoto:
    """A photo of the sheets, and the file that it is taken from."""

    photo: Photo
    path: Path

    def content(self) -> bytes:
        """Read the bytes that are kept.

        Raises
        ------
        PictureError
            If the file is no longer what it was when the sheets were read.
        """
        kept = b""
        with suppress(OSError, ValueError):  # told below: it was there, whole, a moment ago
            kept = kept_bytes(read_file(self.path), self.photo.form, remove_gps=self.photo.gps_removed)
        if not kept or photo_hash(kept) != self.photo.sha256:
            raise PictureError(str(self.path), "was changed while the sheets were read", "load the sheets again")
        return kept


def photo_of(picture: Picture, of: str, file: str, caption: str | None, remove_gps: bool) -> Photo:
    """Give what is recorded of a picture."""
    return Photo(
        of,
        file,
        picture.sha256,
        picture.form,
        picture.width,
        picture.height,
        picture.taken_at,
        picture.latitude,
        picture.longitude,
        caption,
        remove_gps,
    )


def photo_hash(content: bytes) -> str:
    """Give the hash that a photo is known by."""
    return hashlib.sha256(content).hexdigest()


def read_file(path: Path) -> bytes:
    """Read a file, one byte more than a picture may have at most."""
    with path.open("rb") as stream:
        return stream.read(BIGGEST_BYTES + 1)


def check_photos(folder: Path, sheets: dict[str, Sheet], names: Names, problems: list[Problem]) -> None:
    """Find and look at each photo that the sheets name, and note those that cannot be taken in.

    A row whose photo can be gets it as `taken`.
    """
    removing: dict[str, bool] = {}
    seen: dict[tuple[object, ...], Row] = {}
    for row in sheets["photos.csv"].rows:
        _resolve(row, names, problems)
        if row.get("file") is None:
            continue
        remove = bool(row.get("remove_gps"))
        if removing.setdefault(row.get("file"), remove) is not remove:
            reason = f"differs from another row of {shown(row.get('file'))}"
            problems.append(row.problem("remove_gps", reason, "write yes or no in all rows of one file"))
        key = (row.get("of"), row.get("file"))
        earlier = seen.setdefault(key, row)
        if earlier is not row and not row.bad:
            reason = f"the same photo of {shown(row.get('of'))} stands already in row {earlier.number}"
            problems.append(row.problem(None, reason, "write each photo once"))
        _take(row, "file", row.get("of"), folder, remove, problems)
    for row in sheets["points.csv"].rows:
        of, file = point_name(row), row.get("photo")
        if of is not None and file is not None and (of, file) not in seen and _found(folder, file) is not None:
            _take(row, "photo", of, folder, removing.get(file, False), problems)


def _resolve(row: Row, names: Names, problems: list[Problem]) -> None:
    """Replace what a photo is of by its full name: a component, a point or a reference point."""
    of = row.get("of")
    if of is None or of in names.components:
        return
    try:
        row.values["of"] = names.find(of)
    except CellError as error:
        problems.append(row.problem("of", error.reason, error.accepted))


def _take(row: Row, column: str, of: str | None, folder: Path, remove_gps: bool, problems: list[Problem]) -> None:
    if "taken" in row.values:
        return  # looked at before, when other rows of a draft were not yet left out
    written = row.get(column)
    path = _found(folder, written)
    if path is None:
        known = [] if _strays(written) else _pictures(folder)
        problems.append(row.problem(column, _missing(written), did_you_mean(written, known, _WHERE)))
        return
    try:
        if not path.is_file():
            raise PictureError(path.name, "is not a file", _WHERE)
        if not path.resolve().is_relative_to(folder.resolve()):
            raise PictureError(path.name, "is a link that leads out of the folder", "put the file itself there")
        picture = look_at(read_file(path), path.name, remove_gps=remove_gps)
    except PictureError as error:
        problems.append(row.problem(column, f"{shown(written)} {error.reason}", error.accepted))
    except OSError as error:
        reason = f"{shown(written)} cannot be read ({error.strerror or error})"
        problems.append(row.problem(column, reason, "close it elsewhere, or mend its access rights"))
    else:
        row.values["taken"] = SheetPhoto(photo_of(picture, of or "", path.name, row.get("caption"), remove_gps), path)


def _strays(written: str) -> bool:
    """Tell whether what is written is more than the name of a file here or in the folder of photos."""
    parts = PurePosixPath(written).parts
    named = parts[1:] if parts[:1] == (FOLDER,) else parts
    return len(named) != 1 or named[0] in (".", "..", "/") or "\\" in written or ":" in written


def _found(folder: Path, written: str) -> Path | None:
    """Find the file that is written; None where there is none, or it is written as lying elsewhere."""
    if _strays(written):
        return None
    for path in (folder / written, folder / FOLDER / written):
        try:
            if path.exists() or path.is_symlink():
                return path
        except (OSError, ValueError):  # a name that no file can have
            return None
    return None


def _missing(written: str) -> str:
    if _strays(written):
        return f"{shown(written)} is not a name of a file in this folder"
    return f"{shown(written)} is not there"


def _pictures(folder: Path) -> list[str]:
    """Names of the pictures that are there."""
    found: Iterable[Path] = (each for place in (folder, folder / FOLDER) if place.is_dir() for each in place.iterdir())
    return sorted(each.name for each in found if each.suffix.lower() in SUFFIXES)

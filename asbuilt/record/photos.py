"""Photos beside the record: kept by the hash of their bytes, checked when they are read, made small for a page.

They lie in a folder of their own, `asbuilt.db.photos` beside `asbuilt.db`, each under its SHA-256 (FIPS 180-4) in the
folder of the hash's first two digits. A file is there, whole, before the entry that names it is stored: after a crash
there may be a file that nothing names, never an entry without its file.
"""

import hashlib
import os
import tempfile
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from asbuilt.errors import AsbuiltError
from asbuilt.model.photos import Photo
from asbuilt.record.pictures import ENDINGS, Picture, small_jpeg
from asbuilt.whole_files import replace_file, sync_folder

FOLDER_ENDING = ".photos"
"""What the name of the record file is followed by in that of the folder of its photos."""


class PhotoError(AsbuiltError, OSError):
    """A photo that cannot be kept, or that is missing or altered where it was kept."""


def photo_folder(record_file: Path) -> Path:
    """Give the folder of a record's photos."""
    return record_file.with_name(record_file.name + FOLDER_ENDING)


def photo_file(record_file: Path, photo: Photo) -> Path:
    """Give the place where a photo is kept."""
    return _place(record_file, photo.sha256, photo.form)


def _place(record_file: Path, sha256: str, form: str) -> Path:
    return photo_folder(record_file) / sha256[:2] / f"{sha256}{ENDINGS[form]}"


def keep_picture(record_file: Path, picture: Picture) -> None:
    """Keep a picture beside the record; where the same one is there already nothing is written.

    The file gets its name when all of it is on the disk.

    Raises
    ------
    PhotoError
        If it cannot be written there.
    """
    keep_bytes(record_file, picture.content, picture.form)


def keep_bytes(record_file: Path, content: bytes, form: str) -> None:
    """Keep the bytes of a picture that was looked at; see `keep_picture`."""
    sha256 = hashlib.sha256(content).hexdigest()
    place = _place(record_file, sha256, form)
    try:
        if place.is_file() and hashlib.sha256(place.read_bytes()).hexdigest() == sha256:
            return
        for folder in (place.parent.parent, place.parent):
            folder.mkdir(mode=0o700, exist_ok=True)
            sync_folder(folder.parent)
        _write_aside(place, content)
    except OSError as error:
        reason = error.strerror or error
        raise PhotoError(f"{place.parent}: the photo could not be kept there ({reason}); nothing was stored") from error


def _write_aside(place: Path, content: bytes) -> None:
    handle, name = tempfile.mkstemp(dir=place.parent, prefix=".asbuilt.")  # for the owner only, as all of it
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        replace_file(Path(name), place)
    finally:
        with suppress(OSError):
            Path(name).unlink(missing_ok=True)


def read_photo(record_file: Path, photo: Photo) -> bytes:
    """Read a photo as it was kept.

    Raises
    ------
    PhotoError
        If it is missing, or is not what was kept.
    """
    place = photo_file(record_file, photo)
    try:
        content = place.read_bytes()
    except OSError as error:
        reason = "is missing" if isinstance(error, FileNotFoundError) else f"cannot be read ({error.strerror})"
        raise PhotoError(f"photo {photo.file} of {photo.of}: {place} {reason}; put it back from a copy") from error
    if hashlib.sha256(content).hexdigest() != photo.sha256:
        raise PhotoError(f"photo {photo.file} of {photo.of}: {place} was altered; put it back from a copy")
    return content


def thumbnail(record_file: Path, photo: Photo, longest_px: int) -> bytes:
    """Make a small JPEG of a photo for a page: the right way up, with nothing in it but pixels.

    Raises
    ------
    PhotoError
        If the photo is missing or altered.
    """
    return small_jpeg(read_photo(record_file, photo), photo.form, longest_px)


def thumbnails(record_file: Path, photos: Iterable[Photo], longest_px: int) -> dict[str, bytes]:
    """Make small JPEGs of photos, by the hash of each; those that are missing or altered are left out."""
    small = {}
    for photo in photos:
        with suppress(PhotoError):
            small[photo.sha256] = thumbnail(record_file, photo, longest_px)
    return small


def photo_faults(record_file: Path, photos: Iterable[Photo]) -> list[str]:
    """Say which photos are missing or altered; empty where all are there as they were kept."""
    faults = []
    for photo in photos:
        try:
            read_photo(record_file, photo)
        except PhotoError as error:
            faults.append(str(error))
    return faults

"""A property written back as the folder of its field sheets, photos and all."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from asbuilt.jobs.properties import recorded
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.files import PRIVATE, PRIVATE_FOLDER, OutputError
from asbuilt.record.photos import read_photo
from asbuilt.record.sheets.photos import FOLDER
from asbuilt.record.sheets.write import photo_names, sheet_texts


def sheet_files(record: PropertyRecord) -> dict[str, bytes]:
    """Give every sheet as bytes by its name; tables begin with the mark by which a spreadsheet knows UTF-8."""
    return {
        name: words.encode("utf-8-sig" if name.endswith(".csv") else "utf-8", "replace")
        for name, words in sheet_texts(record).items()
    }


def photo_files(record: PropertyRecord, record_file: Path) -> Iterator[tuple[str, bytes]]:
    """Give the file of every photo, one after the other, with its place among the sheets.

    Raises
    ------
    PhotoError
        If a photo is missing or altered.
    """
    by_hash = {photo.sha256: photo for photo in record.photos}
    for sha256, name in photo_names(record.photos).items():
        yield f"{FOLDER}/{name}", read_photo(record_file, by_hash[sha256])


def write_sheets(record_file: Path, name: str, folder: Path) -> list[Path]:
    """Write the field sheets of a property into a new or empty folder, all or none, for their owner only to read.

    Raises
    ------
    UnknownNameError
        If there is no such property.
    OutputError
        If the folder holds anything already, or cannot be written.
    PhotoError
        If a photo is missing or altered.
    """
    record = recorded(record_file, name)
    _refuse_full(folder)
    aside: Path | None = None
    try:
        aside = Path(tempfile.mkdtemp(dir=folder.absolute().parent, prefix=".asbuilt."))
        names = []
        for place, content in (*sheet_files(record).items(), *photo_files(record, record_file)):
            (aside / place).parent.mkdir(mode=PRIVATE_FOLDER, parents=True, exist_ok=True)
            (aside / place).write_bytes(content)
            (aside / place).chmod(PRIVATE)
            names.append(place)
        if folder.is_dir():
            folder.rmdir()  # empty, as was seen above
        aside.rename(folder)
    except OSError as error:
        if isinstance(error, OutputError) or error.strerror is None:
            raise
        raise OutputError(f"{folder}: not written: {error.strerror}") from error
    finally:
        if aside is not None:
            with suppress(OSError):
                shutil.rmtree(aside)
    return [folder / place for place in names]


def _refuse_full(folder: Path) -> None:
    try:
        if folder.is_dir():
            if any(folder.iterdir()):
                raise OutputError(f"{folder}: there is something in this folder; give a new or an empty one")
        elif folder.exists():
            raise OutputError(f"{folder}: a file is there already; give a new or an empty folder")
        elif not folder.absolute().parent.is_dir():
            raise OutputError(f"{folder}: there is no folder {folder.absolute().parent}; make it first")
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written here: {error.strerror}") from error

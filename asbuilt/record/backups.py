"""Backups of a record: dated copies in a folder with the photos beside them, and one of them put back."""

import json
import re
import sqlite3
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from asbuilt.errors import RecordError
from asbuilt.model.photos import Photo
from asbuilt.record.connections import UNSURE, in_plain_words, primary
from asbuilt.record.copies import copy_record, fill, free_name
from asbuilt.record.database import Record, open_record
from asbuilt.record.photos import PhotoError, keep_bytes, photo_folder, read_photo
from asbuilt.record.rows import row_codec
from asbuilt.record.witness import compare_records

FOLDER_ENDING = ".backups"
"""What the name of the record file is followed by in that of the folder of its backups."""

_DATED = re.compile(r"(.+)-\d{8}T\d{6}Z(-\d+)?(\.[^.]*)?")
_KEPT_ASIDE = re.compile(r"(.+)\.before-(?:v\d+|restore-\d{8}T\d{6}Z)(?:-\d+)?")


@dataclass(frozen=True, slots=True)
class Copied:
    """One backup as it was written."""

    path: Path
    photos: int  #: photos that are in it
    faults: tuple[str, ...]  #: photos that are missing or altered in the record


def backup_folder(record_file: Path) -> Path:
    """Give the folder into which a record is backed up where nobody names another."""
    return record_file.with_name(record_file.name + FOLDER_ENDING)


def backup_name(record_file: Path, now: datetime) -> str:
    """Give the name of a backup: that of the record with the moment in UTC, so that names sort by time.

    Examples
    --------
    >>> backup_name(Path("asbuilt.db"), datetime(2026, 5, 4, 12, 30, tzinfo=UTC))
    'asbuilt-20260504T123000Z.db'
    """
    return f"{record_file.stem}-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}{record_file.suffix}"


def backups_in(folder: Path, record_file: Path) -> list[Path]:
    """List the backups of a record in a folder, the newest first."""
    found = []
    for path in folder.iterdir():
        match = _DATED.fullmatch(path.name)
        if match and match[1] == record_file.stem and (match[3] or "") == record_file.suffix and path.is_file():
            found.append(path)
    return sorted(found, key=lambda path: (path.name.rpartition("Z")[0], len(path.name), path.name), reverse=True)


def photo_home(record_file: Path) -> Path:
    """Give the record file whose folder of photos serves: for a copy that of the record, in the same folder."""
    if photo_folder(record_file).is_dir():
        return record_file
    if match := _KEPT_ASIDE.fullmatch(record_file.name):
        return record_file.with_name(match[1])
    if match := _DATED.fullmatch(record_file.name):
        return record_file.with_name(match[1] + (match[3] or ""))
    return record_file


def make_backup(record: Record, folder: Path, now: datetime) -> Copied:
    """Copy a record and its photos into a folder; nothing that is there is replaced.

    Photos go first, so that no backup is there without them. All backups of a folder share them.

    Raises
    ------
    RecordError, PhotoError
        If it cannot be written. No backup of that name is left.
    """
    path = free_name(folder / backup_name(record.path, now), record.path.suffix)
    home = folder / record.path.name
    kept, faults = _copy_photos(record.path, home, all_photos(record), set())
    copy_record(record.connection, path)
    with open_record(path, read_only=True) as copy:  # somebody may have added photos meanwhile
        later, more = _copy_photos(record.path, home, all_photos(copy), kept)
    return Copied(path, len(kept | later), tuple(dict.fromkeys([*faults, *more])))


def note_backup(record_file: Path, path: Path, now: datetime) -> str:
    """Give what is kept beside a record of its last backup, as JSON."""
    return json.dumps({"at": now.isoformat(timespec="seconds"), "to": str(path.absolute())}, ensure_ascii=False) + "\n"


def drop_old(folder: Path, record: Record, record_file: Path, keep: int) -> tuple[list[Path], list[Path]]:
    """Remove the oldest backups of a record from a folder but for so many; photos and all other files stay.

    Another record may have the same name, and a record that a backup was put over has lost what only its older backups
    hold: so a backup counts as one of this record only where all of its entries are in it.

    Parameters
    ----------
    record
        The record, or a true copy of it.
    record_file
        Its name, which that of its backups begins with.

    Returns
    -------
    tuple
        What was removed, and what has such a name but is none of this record's backups, or cannot be read.
    """
    gone, others, own = [], [], 0
    for path in backups_in(folder, record_file):
        if not _all_in(record, path):
            others.append(path)
            continue
        own += 1
        if own > keep:
            with suppress(OSError):
                path.unlink()
                gone.append(path)
    return gone, others


def _all_in(record: Record, path: Path) -> bool:
    """Tell whether all entries of a backup are in a record."""
    try:
        with open_record(path, read_only=True) as backup:
            return not any(each.only_there for each in compare_records(record, backup))
    except (RecordError, sqlite3.Error):
        return False


def all_photos(record: Record) -> list[Photo]:
    """Give every photo that an entry names, those of superseded entries too, each once."""
    codec = row_codec(Photo)
    columns = ", ".join(f'"{name}"' for name in codec.names)
    with record.read() as connection:
        rows = connection.execute(f"SELECT {columns} FROM photo ORDER BY entry_id").fetchall()  # noqa: S608 - our own
    photos = [codec.value(row) for row in rows]
    return list({(photo.sha256, photo.form): photo for photo in photos}.values())


def put_photos(source: Path, target: Path, photos: Iterable[Photo]) -> tuple[int, list[str]]:
    """Copy the photos of a backup beside a record.

    Returns
    -------
    tuple
        How many are there now, and what is missing or altered in the backup.
    """
    kept, faults = _copy_photos(photo_home(source), target, photos, set())
    return len(kept), faults


def _copy_photos(source: Path, target: Path, photos: Iterable[Photo], done: set[str]) -> tuple[set[str], list[str]]:
    kept: set[str] = set()
    faults: list[str] = []
    for photo in photos:
        if photo.sha256 in done:
            continue
        try:
            content = read_photo(source, photo)
        except PhotoError as error:
            faults.append(str(error))
            continue
        keep_bytes(target, content, photo.form)
        kept.add(photo.sha256)
    return kept, faults


def put_back(record: Record, backup: Record) -> None:
    """Put the contents of a backup in the place of a record's, in one transaction.

    Raises
    ------
    RecordError
        If it cannot be written, or somebody else uses the record. It is as it was.
    """
    with record.said_plainly("; nothing was changed"):
        try:
            fill(backup.connection, record.connection)
        except sqlite3.OperationalError as error:
            if primary(error) != sqlite3.SQLITE_IOERR:
                raise
            raise RecordError(f"{in_plain_words(record.path, error, record.wait_s)}; {UNSURE}") from error


def take_alone(record: Record) -> None:
    """Lock everybody else out of a record until it is closed.

    Raises
    ------
    RecordError
        If somebody else has it open.
    """
    connection = record.connection
    with record.said_plainly("; nothing was changed"):
        try:
            connection.execute("PRAGMA locking_mode = EXCLUSIVE").fetchone()
            # leaving the write-ahead log needs the file for oneself, and so does every lock from then on
            connection.execute("PRAGMA journal_mode = DELETE").fetchone()
            connection.execute("BEGIN EXCLUSIVE")
            connection.execute("COMMIT")
        except sqlite3.OperationalError as error:
            if primary(error) not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise
            reason = "another program has it open; end that one first (nothing was changed)"
            raise RecordError(f"{record.path}: {reason}") from error

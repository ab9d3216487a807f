"""A copy of a whole record in one file, by SQLite's online backup: whole or not at all, for its owner only."""

import json
import os
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from asbuilt.errors import RecordError
from asbuilt.record.connections import connect_reader, in_plain_words
from asbuilt.whole_files import add_file


def copy_record(connection: sqlite3.Connection, target: Path) -> None:
    """Copy what a connection sees into a new file.

    Others may go on reading and writing meanwhile. The copy is one file, without a write-ahead log beside it.

    Parameters
    ----------
    connection
        Of the record, in no transaction that writes: SQLite lets one copy only what is settled.
    target
        The new file; one of that name is never replaced.

    Raises
    ------
    RecordError
        If the copy cannot be written. Nothing of it is left.
    """
    try:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".asbuilt.")  # readable by its owner only
    except OSError as error:
        raise RecordError(f"{target}: no copy can be written here ({error.strerror})") from error
    os.close(handle)
    aside = Path(name)
    try:
        _fill(connection, aside)
        add_file(aside, target)
    except sqlite3.Error as error:
        raise in_plain_words(target, error, 0) from error
    except OSError as error:
        raise RecordError(f"{target}: the copy could not be written ({error.strerror})") from error
    finally:
        for ending in ("", "-journal", "-wal", "-shm"):
            with suppress(OSError):
                Path(name + ending).unlink(missing_ok=True)


def keep_copy(record_file: Path, wanted: Path) -> Path:
    """Copy a record aside before it is changed as a whole; a copy that holds just the same serves again.

    Whoever calls it holds the lock for writing, so that nothing can come in between.

    Returns
    -------
    Path
        Where it is: as wanted, or with a number where another copy has that name.

    Raises
    ------
    RecordError
        If the copy cannot be written.
    """
    connection = connect_reader(record_file, 0)
    try:
        if os.path.lexists(wanted) and _holds(wanted) == _heads(connection):
            return wanted  # left by an attempt that was cut short
        kept = free_name(wanted)
        copy_record(connection, kept)
        return kept
    finally:
        connection.close()


def last_backup_file(record_file: Path) -> Path:
    """Name the small file beside a record that says when its last backup was made, and where."""
    return record_file.with_name(f"{record_file.name}.last-backup")


def last_backup(record_file: Path) -> datetime | None:
    """Give the moment of the last backup; None = none is known."""
    try:
        made = datetime.fromisoformat(json.loads(last_backup_file(record_file).read_text(encoding="utf-8"))["at"])
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return made if made.tzinfo is not None else None


def free_name(path: Path, ending: str = "") -> Path:
    """Give a name that is not taken: the one given, or with -2, -3 and so on before its ending.

    Examples
    --------
    >>> free_name(Path("no such folder/asbuilt-20260504T120000Z.db"), ".db").name
    'asbuilt-20260504T120000Z.db'
    """
    found, number = path, 1
    while os.path.lexists(found):
        number += 1
        found = path.with_name(f"{path.name.removesuffix(ending)}-{number}{ending}")
    return found


def fill(connection: sqlite3.Connection, copy: sqlite3.Connection, wait_s: float = 10.0) -> None:
    """Copy all pages of one connection into another; Python's own call would wait for ever for who holds a lock.

    Raises
    ------
    sqlite3.OperationalError
        If one of the two is locked for longer than `wait_s` seconds, or cannot be read or written.
    """
    give_up = time.monotonic() + wait_s

    def look(status: int, _remaining: int, _pages: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > give_up:
            error = sqlite3.OperationalError("database is locked")
            error.sqlite_errorcode = status
            raise error

    # The waits of the connections themselves would come on top of ours, once for each try.
    with _not_waiting(connection), _not_waiting(copy):
        connection.backup(copy, progress=look, sleep=0.05)


@contextmanager
def _not_waiting(connection: sqlite3.Connection) -> Iterator[None]:
    """Have a connection say at once that something is locked."""
    before: int = connection.execute("PRAGMA busy_timeout").fetchone()[0]
    connection.execute("PRAGMA busy_timeout = 0")
    try:
        yield
    finally:
        connection.execute(f"PRAGMA busy_timeout = {before}")


def _fill(connection: sqlite3.Connection, aside: Path) -> None:
    copy = sqlite3.connect(aside, isolation_level=None)
    try:
        fill(connection, copy)
        copy.execute("PRAGMA journal_mode = DELETE").fetchone()
    finally:
        copy.close()


def _heads(connection: sqlite3.Connection) -> list[tuple[object, ...]]:
    version = connection.execute("PRAGMA user_version").fetchone()
    return [version, *connection.execute("SELECT id, name, entries, head FROM property ORDER BY id")]


def _holds(path: Path) -> list[tuple[object, ...]]:
    """Give what marks the contents of a copy; nothing where it is none."""
    try:
        copy = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
        try:
            return _heads(copy)
        finally:
            copy.close()
    except sqlite3.Error:
        return []

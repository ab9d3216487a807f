"""Connect to a record file for writing or for reading, and say SQLite's refusals in plain words."""

import sqlite3
from pathlib import Path

from asbuilt.errors import RecordError

UNSURE = "look with `asbuilt log` whether it was stored before you do it again"
"""Said where the disk did not confirm what was handed to it: the next opening finds all of it, or nothing."""


def connect_writer(path: Path, wait_s: float) -> sqlite3.Connection:
    """Connect for reading and writing; waits for others at most `wait_s` seconds.

    Raises
    ------
    RecordError
        If it cannot be opened so.
    """
    try:
        return _connect(path, "mode=rw", wait_s)
    except sqlite3.Error as error:
        raise in_plain_words(path, error, wait_s) from error


def connect_reader(path: Path, wait_s: float) -> sqlite3.Connection:
    """Connect so that nothing can be changed once `query_only` is set.

    Not `mode=ro`: that leaves its write-ahead files lying beside the record when it closes, and cannot read a
    record whose writer was killed in the middle.

    Raises
    ------
    RecordError
        If it cannot be read.
    """
    try:
        return _connect(path, "mode=rw", wait_s)
    except sqlite3.OperationalError as error:
        if primary(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise in_plain_words(path, error, wait_s) from error
        return _connect_unchanging(path, wait_s, error)
    except sqlite3.Error as error:
        raise in_plain_words(path, error, wait_s) from error


def beside(path: Path, ending: str) -> bool:
    """Tell whether SQLite left a file with something in it beside the record."""
    try:
        return path.with_name(path.name + ending).stat().st_size > 0
    except OSError:
        return False


def primary(error: sqlite3.Error) -> int:
    """Give SQLite's result code without its extension, https://www.sqlite.org/rescode.html."""
    return getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF


def in_plain_words(path: Path, error: sqlite3.Error, wait_s: float) -> RecordError:
    """Say why SQLite refuses, and what would help."""
    busy = f"another program is using it and did not finish within {wait_s:g} s; try again in a moment"
    words = {
        sqlite3.SQLITE_BUSY: busy,
        sqlite3.SQLITE_LOCKED: busy,
        sqlite3.SQLITE_FULL: "the disk is full; make room and try again",
        sqlite3.SQLITE_READONLY: "it, or the folder it lies in, cannot be written by you",
        sqlite3.SQLITE_PERM: "it, or the folder it lies in, cannot be used by you",
        sqlite3.SQLITE_CANTOPEN: "it cannot be opened; it and the folder it lies in must be writable by you",
        sqlite3.SQLITE_IOERR: f"reading or writing the disk failed ({error})",
        sqlite3.SQLITE_NOTADB: "this is not an SQLite file, so it is no record",
        sqlite3.SQLITE_CORRUPT: f"the file is damaged ({error}); `asbuilt restore` brings a backup back",
        sqlite3.SQLITE_CONSTRAINT: f"the record's own rules forbid this ({error})",
    }
    reason = words.get(primary(error), f"SQLite says: {error}")
    return RecordError(f"{path}: {reason}")


def _uri(path: Path, query: str) -> str:
    return f"{path.absolute().as_uri()}?{query}"


def _connect(path: Path, query: str, wait_s: float) -> sqlite3.Connection:
    # Without an isolation level Python opens no transactions of its own behind ours.
    connection = sqlite3.connect(_uri(path, query), uri=True, timeout=wait_s, isolation_level=None)
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def _connect_unchanging(path: Path, wait_s: float, because: sqlite3.Error) -> sqlite3.Connection:
    """Connect where the folder or the medium cannot be written: nobody can change it there, so no locks."""
    for ending in ("-wal", "-journal"):
        if beside(path, ending):
            other = path.with_name(path.name + ending).name
            raise RecordError(
                f"{path}: its last changes stand in {other} beside it and cannot be taken in here; "
                "copy both files to a folder that you can write in and read them there"
            ) from because
    try:
        return _connect(path, "mode=ro&immutable=1", wait_s)
    except sqlite3.Error:
        raise in_plain_words(path, because, wait_s) from because

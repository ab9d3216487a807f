"""The record file: opened, brought up to date, and written in one transaction a user action."""

import errno
import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from asbuilt.errors import RecordError
from asbuilt.record import schema

if TYPE_CHECKING:
    from sqlite_utils import Database

BUSY_WAIT_S = 10.0
"""How long a command waits for another program's write, seconds: many times our longest write, and still
short enough for somebody who stands and waits."""

_MAGIC = b"SQLite format 3\0"
_HEADER_BYTES = 100  # https://www.sqlite.org/fileformat2.html section 1.3, as are the two places in it
_USER_VERSION = slice(60, 64)
_APPLICATION_ID = slice(68, 72)


class Record:
    """An open record; `open_record` makes it, `with` or `close` closes it.

    Attributes
    ----------
    path
        The file.
    connection
        For reading. Writes go through `write`.
    read_only
        True where SQLite refuses every write.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, *, read_only: bool, wait_s: float) -> None:
        self.path = path
        self.connection = connection
        self.read_only = read_only
        self.wait_s = wait_s

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; closing twice does no harm."""
        # A record that could not write (full disk) may fail to tidy up its journal; the next opening does.
        with suppress(sqlite3.OperationalError):
            self.connection.close()

    @cached_property
    def db(self) -> "Database":
        """The same connection in the hands of sqlite-utils; imported only where something is written."""
        library = import_sqlite_utils()
        db: Database = library.Database(self.connection, strict=True, execute_plugins=False)
        return db

    @contextmanager
    def write(self) -> Iterator["Database"]:
        """Do one user action: everything in the block is stored when it ends, or nothing of it.

        Waits for another program's write, at most `wait_s` seconds.

        Raises
        ------
        RecordError
            If the record is busy for longer, cannot be written, or the disk is full. Nothing was stored.
        RuntimeError
            If a read or a write of this record has not ended yet.
        """
        if self.read_only:
            raise RecordError(f"{self.path}: opened for reading only; nothing was stored")
        if self.connection.in_transaction:
            raise RuntimeError("this record is still being read or written")
        db = self.db
        with self._said_plainly("; nothing was stored"):
            # A deferred BEGIN would meet the other writer only at the first write, too late to wait for it.
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                yield db
                self.connection.execute("COMMIT")
            except BaseException:
                self._end("ROLLBACK")
                raise

    @contextmanager
    def read(self) -> Iterator[sqlite3.Connection]:
        """Let all queries of the block see one state of the record, whoever writes meanwhile.

        Inside another `read` or a `write` it joins that one.
        """
        if self.connection.in_transaction:
            yield self.connection
            return
        with self._said_plainly():
            self.connection.execute("BEGIN")
            try:
                yield self.connection
            finally:
                self._end("ROLLBACK")

    def _end(self, how: str) -> None:
        # A generator that was left half read may end after the record was closed.
        with suppress(sqlite3.ProgrammingError):
            if self.connection.in_transaction:
                self.connection.execute(how)

    @contextmanager
    def _said_plainly(self, ending: str = "") -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            if getattr(error, "sqlite_errorcode", None) is None:
                raise  # misuse of the library, not a state of the file
            raise RecordError(f"{_in_plain_words(self.path, error, self.wait_s)}{ending}") from error


def open_record(path: Path, *, create: bool = False, read_only: bool = False, wait_s: float = BUSY_WAIT_S) -> Record:
    """Open a record.

    Parameters
    ----------
    path
        The SQLite file.
    create
        Make the file, readable and writable by its owner only, if there is none.
    read_only
        Change nothing, not even the schema; also works on read-only media.
    wait_s
        How long to wait for another program's write, seconds.

    Raises
    ------
    RecordError
        If there is no record there, or the file is of another kind, of a newer version or cannot be used.
        The file is left as it was.
    """
    if create and read_only:
        raise ValueError("a record is made by a command that writes")
    path = Path(path)
    if not _look(path):
        if not create:
            raise _no_record(path)
        _make_empty(path)
    connect = _connect_reader if read_only else _connect_writer
    record = Record(path, connect(path, wait_s), read_only=read_only, wait_s=wait_s)
    try:
        _bring_up_to_date(record, create=create)
    except BaseException:
        record.close()
        raise
    return record


def import_sqlite_utils() -> Any:
    """Import sqlite-utils without numpy and pandas, which it would load only to know their types.

    Measured in this project: about 0.17 s instead of 0.8 s. Both names are put back as they were.
    """
    if "sqlite_utils" not in sys.modules:
        modules: dict[str, Any] = sys.modules
        heavy = ("numpy", "pandas")
        before = {name: modules[name] for name in heavy if name in modules}
        try:
            modules.update(dict.fromkeys(heavy))  # None in sys.modules makes the import fail at once
            import sqlite_utils  # noqa: F401
        finally:
            for name in heavy:
                modules.pop(name, None)
            modules.update(before)
    return sys.modules["sqlite_utils"]


def _look(path: Path) -> bool:
    """Tell whether a record may be there, by the header alone: a file of another kind stays untouched."""
    try:
        if not path.exists():
            return False
        if not path.is_file():
            what = "a folder" if path.is_dir() else "not a file"
            raise RecordError(f"{path}: this is {what}; a record is one SQLite file")
        with path.open("rb") as file:
            header = file.read(_HEADER_BYTES)
    except OSError as error:
        raise RecordError(f"{path}: cannot be read ({error.strerror})") from error
    if not header:
        return False
    if not header.startswith(_MAGIC):
        if _beside(path, "-journal"):
            return True  # the first write of all was cut short; SQLite puts that right when it opens the file
        raise RecordError(f"{path}: this is not an SQLite file, so it is no record; it was left as it is")
    if int.from_bytes(header[_APPLICATION_ID], "big") != schema.APPLICATION_ID:
        raise _other_program(path)
    _refuse_newer(path, int.from_bytes(header[_USER_VERSION], "big"))
    return True


def _beside(path: Path, ending: str) -> bool:
    """Tell whether SQLite left a file with something in it beside the record."""
    try:
        return path.with_name(path.name + ending).stat().st_size > 0
    except OSError:
        return False


def _no_record(path: Path) -> RecordError:
    return RecordError(f"{path}: no record there; `asbuilt load` makes one (looked for {path.absolute()})")


def _other_program(path: Path) -> RecordError:
    return RecordError(f"{path}: this SQLite file belongs to another program; it was left as it is")


def _refuse_newer(path: Path, version: int) -> None:
    if version > schema.VERSION:
        raise RecordError(
            f"{path}: this record is of version {version} and this program knows versions up to "
            f"{schema.VERSION}; use a newer asbuilt (the record was left as it is)"
        )


def _make_empty(path: Path) -> None:
    # Names, phone numbers and addresses go into it: nobody but the owner may read it, from the first moment.
    try:
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    except OSError as error:
        reason = f"there is no folder {path.parent}" if error.errno == errno.ENOENT else error.strerror
        raise RecordError(f"{path}: no record could be made there ({reason})") from error


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


def _connect_writer(path: Path, wait_s: float) -> sqlite3.Connection:
    try:
        return _connect(path, "mode=rw", wait_s)
    except sqlite3.Error as error:
        raise _in_plain_words(path, error, wait_s) from error


def _connect_reader(path: Path, wait_s: float) -> sqlite3.Connection:
    """Connect so that nothing can be changed.

    Not `mode=ro`: that leaves its write-ahead files lying beside the record when it closes, and cannot read a
    record whose writer was killed in the middle.
    """
    try:
        connection = _connect(path, "mode=rw", wait_s)
    except sqlite3.OperationalError as error:
        if _primary(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise _in_plain_words(path, error, wait_s) from error
        connection = _connect_unchanging(path, wait_s, error)
    except sqlite3.Error as error:
        raise _in_plain_words(path, error, wait_s) from error
    connection.execute("PRAGMA query_only = ON")
    return connection


def _connect_unchanging(path: Path, wait_s: float, because: sqlite3.Error) -> sqlite3.Connection:
    """Connect where the folder or the medium cannot be written: nobody can change it there, so no locks."""
    for ending in ("-wal", "-journal"):
        if _beside(path, ending):
            beside = path.with_name(path.name + ending).name
            raise RecordError(
                f"{path}: its last changes stand in {beside} beside it and cannot be taken in here; "
                "copy both files to a folder that you can write in and read them there"
            ) from because
    try:
        return _connect(path, "mode=ro&immutable=1", wait_s)
    except sqlite3.Error:
        raise _in_plain_words(path, because, wait_s) from because


def _bring_up_to_date(record: Record, *, create: bool) -> None:
    with record.read() as connection:
        version: int = connection.execute("PRAGMA user_version").fetchone()[0]
        application: int = connection.execute("PRAGMA application_id").fetchone()[0]
        empty = not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if empty and not create:
        raise _no_record(record.path)
    if not empty and application != schema.APPLICATION_ID:
        raise _other_program(record.path)
    _refuse_newer(record.path, version)
    if version < schema.VERSION:
        if record.read_only:
            raise RecordError(
                f"{record.path}: this record is of the older version {version}; a command that writes, "
                f"such as `asbuilt load`, brings it to version {schema.VERSION}"
            )
        with record.write() as db:
            schema.migrations(import_sqlite_utils()).apply(db)
    if not record.read_only:
        _write_ahead(record)


def _write_ahead(record: Record) -> None:
    """Switch write-ahead logging on, with which readers and a writer do not wait for each other.

    Where it cannot be had (some network folders), or somebody is just using the record, it keeps its rollback
    journal: as safe, only slower; the next opening tries again. Done after the tables are there, so that the
    header of every record in the file itself names its kind.
    """
    connection = record.connection
    if connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
        return
    connection.execute("PRAGMA busy_timeout = 0")
    with suppress(sqlite3.OperationalError):
        connection.execute("PRAGMA journal_mode = WAL").fetchone()
    connection.execute(f"PRAGMA busy_timeout = {round(record.wait_s * 1000)}")


def _primary(error: sqlite3.Error) -> int:
    """Give SQLite's result code without its extension, https://www.sqlite.org/rescode.html."""
    return getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF


def _in_plain_words(path: Path, error: sqlite3.Error, wait_s: float) -> RecordError:
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
        sqlite3.SQLITE_CORRUPT: f"the file is damaged ({error}); go back to a copy",
        sqlite3.SQLITE_CONSTRAINT: f"the record's own rules forbid this ({error})",
    }
    reason = words.get(_primary(error), f"SQLite says: {error}")
    return RecordError(f"{path}: {reason}")

"""The record file: opened, brought up to date, and written in one transaction a user action."""

import errno
import logging
import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from asbuilt.errors import RecordError
from asbuilt.record import schema
from asbuilt.record.connections import UNSURE, beside, connect_reader, connect_writer, in_plain_words, primary
from asbuilt.record.copies import fill, keep_copy
from asbuilt.record.past import look_back, moment_asked
from asbuilt.record.shares import share_kind

if TYPE_CHECKING:
    from sqlite_utils import Database

NOTICES = logging.getLogger("asbuilt.record")
"""Where the record says what its user should know beside the result, each as one sentence."""

BUSY_WAIT_S = 10.0
"""How long a command waits for another program's write, seconds: many times our longest write, and still
short enough for somebody who stands and waits."""

_MAGIC = b"SQLite format 3\0"
_HEADER_BYTES = 100  # https://www.sqlite.org/fileformat2.html section 1.3, as are the places in it
_WRITE_VERSION = 18  # 2 = write-ahead log
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
    at
        The moment as of which it is seen; None = now.
    """

    def __init__(
        self,
        path: Path,
        connection: sqlite3.Connection,
        *,
        read_only: bool,
        wait_s: float,
        at: datetime | None = None,
    ) -> None:
        self.path = path
        self.connection = connection
        self.read_only = read_only
        self.wait_s = wait_s
        self.at = at
        self._notes: list[str] = []

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
        with self.said_plainly("; nothing was stored"):
            # A deferred BEGIN would meet the other writer only at the first write, too late to wait for it.
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                yield db
                self._commit()
            except BaseException:
                self._notes.clear()
                self._end("ROLLBACK")
                raise
        notes = list(dict.fromkeys(self._notes))
        self._notes.clear()
        for note in notes:
            NOTICES.warning(note)

    def _commit(self) -> None:
        try:
            self.connection.execute("COMMIT")
        except sqlite3.OperationalError as error:
            if primary(error) != sqlite3.SQLITE_IOERR:
                raise
            raise RecordError(f"{in_plain_words(self.path, error, self.wait_s)}; {UNSURE}") from error

    def note(self, sentence: str) -> None:
        """Have a notice said when the write that is going on is stored; once, however often it is noted."""
        self._notes.append(sentence)

    @contextmanager
    def read(self) -> Iterator[sqlite3.Connection]:
        """Let all queries of the block see one state of the record, whoever writes meanwhile.

        Inside another `read` or a `write` it joins that one.
        """
        if self.connection.in_transaction:
            yield self.connection
            return
        with self.said_plainly():
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
    def said_plainly(self, ending: str = "") -> Iterator[None]:
        """Turn what SQLite refuses in the block into a RecordError in plain words."""
        try:
            yield
        except sqlite3.Error as error:
            if getattr(error, "sqlite_errorcode", None) is None:
                raise  # misuse of the library, not a state of the file
            raise RecordError(f"{in_plain_words(self.path, error, self.wait_s)}{ending}") from error


def open_record(
    path: Path,
    *,
    create: bool = False,
    read_only: bool = False,
    at: datetime | None = None,
    wait_s: float = BUSY_WAIT_S,
) -> Record:
    """Open a record.

    One of an older version is brought up to date, after a copy of it was kept beside it; for reading it is brought up
    to date in memory, and the file stays as it is.

    Parameters
    ----------
    path
        The SQLite file.
    create
        Make the file, readable and writable by its owner only, if there is none.
    read_only
        Change nothing, not even the schema; also works on read-only media.
    at
        See it as it was known at that moment (with its time zone), for reading only; None = as it is known now, or
        at the moment of the `as_of` block that one is in.
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
    at = moment_asked() if at is None else at
    path = Path(path)
    header = _look(path)
    if at is not None and not read_only:
        if header is not None:
            known = f"what was known on {at:%Y-%m-%d} can only be read"
            raise RecordError(f"{path}: {known}; leave --at out to store something")
        at = None  # a record that is made now, such as that of a packet, has no past
    if header is None:
        if not create:
            raise _no_record(path)
        _make_empty(path)
    connection = connect_reader(path, wait_s) if read_only else connect_writer(path, wait_s)
    record = Record(path, connection, read_only=read_only, wait_s=wait_s, at=at)
    try:
        version = _version(record, create=create)
        if read_only:
            _prepare_reading(record, version)
        else:
            _prepare_writing(record, version, header)
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


def _look(path: Path) -> bytes | None:
    """Give the header of what may be a record, None where nothing is; a file of another kind stays untouched."""
    try:
        if not path.exists():
            return None
        if not path.is_file():
            what = "a folder" if path.is_dir() else "not a file"
            raise RecordError(f"{path}: this is {what}; a record is one SQLite file")
        with path.open("rb") as file:
            header = file.read(_HEADER_BYTES)
    except OSError as error:
        raise RecordError(f"{path}: cannot be read ({error.strerror})") from error
    if not header:
        return None
    if not header.startswith(_MAGIC):
        if beside(path, "-journal"):
            return header  # the first write of all was cut short; SQLite puts that right when it opens the file
        raise RecordError(f"{path}: this is not an SQLite file, so it is no record; it was left as it is")
    if int.from_bytes(header[_APPLICATION_ID], "big") != schema.APPLICATION_ID:
        raise _other_program(path)
    _refuse_newer(path, int.from_bytes(header[_USER_VERSION], "big"))
    return header


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


def _version(record: Record, *, create: bool) -> int:
    """Give the version of an open record; 0 = it is still empty."""
    with record.read() as connection:
        version: int = connection.execute("PRAGMA user_version").fetchone()[0]
        application: int = connection.execute("PRAGMA application_id").fetchone()[0]
        empty = not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if empty and not create:
        raise _no_record(record.path)
    if not empty and application != schema.APPLICATION_ID:
        raise _other_program(record.path)
    _refuse_newer(record.path, version)
    return version


def _prepare_reading(record: Record, version: int) -> None:
    """Make sure that what is seen has this program's tables, and that nothing can be changed."""
    if version < schema.VERSION:
        try:
            record.connection = _brought_up_in_memory(record.connection)
        except sqlite3.OperationalError as error:
            said = f"it says that it is of version {version}, and its tables are not: {error}"
            raise RecordError(f"{record.path}: {said}") from error
    with record.said_plainly():
        if record.at is not None:
            look_back(record.connection, record.at)
        record.connection.execute("PRAGMA query_only = ON")


def _brought_up_in_memory(connection: sqlite3.Connection) -> sqlite3.Connection:
    """Copy an older record into memory and bring the copy up to date; the file itself may lie on read-only media.

    The steps are taken as a writer takes them, list of steps and all: a backup is made of the copy.
    """
    copy = sqlite3.connect(":memory:", isolation_level=None)
    try:
        fill(connection, copy)
        library = import_sqlite_utils()
        copy.execute("BEGIN")
        schema.migrations(library).apply(library.Database(copy, strict=True, execute_plugins=False))
        reached: int = copy.execute("PRAGMA user_version").fetchone()[0]
        if reached != schema.VERSION:
            raise sqlite3.OperationalError("the list of its steps is that of another version")
        copy.execute("COMMIT")
    except BaseException:
        copy.close()
        raise
    finally:
        connection.close()
    return copy


def _prepare_writing(record: Record, version: int, header: bytes | None) -> None:
    shared = share_kind(record.path)
    logged_ahead = header is not None and header[_WRITE_VERSION : _WRITE_VERSION + 1] == b"\2"
    if shared is not None and logged_ahead:
        _leave_log(record)
    if version < schema.VERSION:
        _bring_up_to_date(record)
    if shared is None:
        _write_ahead(record)
    elif header is None or logged_ahead:
        NOTICES.warning(
            f"{record.path} lies on a network share ({shared}), where write-ahead logging does not work; a rollback "
            "journal is used: as safe, but readers and writers wait for each other"
        )


def _bring_up_to_date(record: Record) -> None:
    """Take the steps that are missing; of an older record a copy is kept first, in the same transaction."""
    with record.write() as db:
        # looked at again: somebody else may have done it while we waited
        version: int = record.connection.execute("PRAGMA user_version").fetchone()[0]
        if 0 < version < schema.VERSION:
            kept = keep_copy(record.path, record.path.with_name(f"{record.path.name}.before-v{schema.VERSION}"))
            record.note(
                f"{record.path} was of version {version} and is now of version {schema.VERSION}; "
                f"a copy as it was is kept as {kept.name} beside it"
            )
        schema.migrations(import_sqlite_utils()).apply(db)


def _leave_log(record: Record) -> None:
    """Take in the write-ahead log and go back to a rollback journal, alone with the file so that none is shared."""
    connection = record.connection
    with record.said_plainly():
        connection.execute("PRAGMA locking_mode = EXCLUSIVE").fetchone()
        connection.execute("PRAGMA journal_mode = DELETE").fetchone()
        connection.execute("PRAGMA locking_mode = NORMAL").fetchone()
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()  # lets go of the lock


def _write_ahead(record: Record) -> None:
    """Switch write-ahead logging on, with which readers and a writer do not wait for each other.

    Where it cannot be had, or somebody is just using the record, it keeps its rollback journal: as safe, only slower;
    the next opening tries again. Done after the tables are there, so that the header of every record in the file
    itself names its kind.
    """
    connection = record.connection
    if connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
        return
    connection.execute("PRAGMA busy_timeout = 0")
    with suppress(sqlite3.OperationalError):
        connection.execute("PRAGMA journal_mode = WAL").fetchone()
    connection.execute(f"PRAGMA busy_timeout = {round(record.wait_s * 1000)}")

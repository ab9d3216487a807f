"""A record file from somewhere else: its entries are read out as values, and nothing in it is trusted.

SQLite is told to run no code that the file brings (https://www.sqlite.org/security.html): the file is opened for
reading only, its schema must be ours to the letter, and only our own queries are let through. The values then go into
a record of our own making, where the strict tables and the chain of hashes judge them.
"""

import sqlite3
import time
from pathlib import Path

from asbuilt.errors import RecordError
from asbuilt.record import schema
from asbuilt.record.transfer import Chain, chain_rows

MOST_ENTRIES = 200_000
"""Entries of one property; forty years of a large one take a hundredth of it."""

LONGEST_BYTES = 10_000_000
"""Bytes in one cell; the longest that we write is a rule file, at most as long as a sheet."""

LONGEST_S = 60.0
"""Seconds that reading may take: a file made to keep us busy is given up."""

_READ_ONLY = {sqlite3.SQLITE_SELECT, sqlite3.SQLITE_READ}
_PRAGMAS = {"quick_check", "user_version", "application_id", "trusted_schema", "query_only", "cell_size_check"}
_FUNCTIONS = {"count"}
_STEPS_ON = "_sqlite_migrations"  # the list of steps, kept by sqlite-utils in a form of its own; never read here
_LIMITS = {
    sqlite3.SQLITE_LIMIT_LENGTH: LONGEST_BYTES,
    sqlite3.SQLITE_LIMIT_SQL_LENGTH: 100_000,
    sqlite3.SQLITE_LIMIT_ATTACHED: 0,
    sqlite3.SQLITE_LIMIT_TRIGGER_DEPTH: 1,
    sqlite3.SQLITE_LIMIT_EXPR_DEPTH: 100,
}


def read_foreign(path: Path, called: str) -> Chain:
    """Read the one property of a record file that came from somewhere else.

    Parameters
    ----------
    path
        The file; nobody else has it open.
    called
        How messages name it.

    Raises
    ------
    RecordError
        If it is no record, of a newer version, damaged, holds anything that a record has not, or more or less than
        one property.
    """
    try:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True, isolation_level=None)
    except sqlite3.Error as error:
        raise _refused(called, f"it cannot be opened ({error})") from error
    try:
        _defend(connection)
        return _only_property(connection, _version(connection, called), called)
    except (sqlite3.Error, UnicodeDecodeError, OverflowError) as error:
        raise _refused(called, f"it cannot be read ({error})") from error
    finally:
        connection.close()


def _refused(called: str, reason: str) -> RecordError:
    return RecordError(f"{called}: {reason}; nothing was stored")


def _defend(connection: sqlite3.Connection) -> None:
    for limit, value in _LIMITS.items():
        connection.setlimit(limit, value)
    for pragma in ("trusted_schema = OFF", "query_only = ON", "cell_size_check = ON"):
        connection.execute(f"PRAGMA {pragma}")
    connection.set_authorizer(_allow)
    until = time.monotonic() + LONGEST_S
    connection.set_progress_handler(lambda: int(time.monotonic() > until), 100_000)


def _allow(act: int, first: str | None, second: str | None, database: str | None, inner: str | None) -> int:
    """Let through our own reading; `inner` names the view or trigger that asks."""
    ours = act in _READ_ONLY or (act == sqlite3.SQLITE_PRAGMA and first in _PRAGMAS)
    ours = ours or (act == sqlite3.SQLITE_FUNCTION and second in _FUNCTIONS)
    return sqlite3.SQLITE_OK if ours and inner is None else sqlite3.SQLITE_DENY


def _version(connection: sqlite3.Connection, called: str) -> int:
    """Give the version of its schema, which must be ours to the letter."""
    application: int = connection.execute("PRAGMA application_id").fetchone()[0]
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    if application != schema.APPLICATION_ID or version < 1:
        raise _refused(called, "it is no record of this program")
    if version > schema.VERSION:
        known = f"this program knows versions up to {schema.VERSION}"
        raise _refused(called, f"it is of version {version} and {known}; use a newer asbuilt")
    found, ours = _schema(connection), _schema_of(version)
    for what, names in (("more", found.keys() - ours.keys()), ("less", ours.keys() - found.keys())):
        if names:
            kind, name = sorted(names)[0]
            raise _refused(called, f"it holds {what} than a record: the {kind} {name!r}"[:300])
    for key, sql in ours.items():
        if found[key] != sql:
            raise _refused(called, f"its {key[0]} {key[1]} is not that of a record")
    if connection.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
        raise _refused(called, "the file is damaged")
    return version


def _schema(connection: sqlite3.Connection) -> dict[tuple[str, str], str]:
    """Give every table, index and trigger with its statement; white space does not count."""
    rows = connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
    return {
        (kind, name): " ".join((sql or "").split())
        for kind, name, table, sql in rows
        if table != _STEPS_ON or kind not in ("table", "index")
    }


def _schema_of(version: int) -> dict[tuple[str, str], str]:
    model = sqlite3.connect(":memory:", isolation_level=None)
    try:
        _take_steps(model, version)
        return _schema(model)
    finally:
        model.close()


def _take_steps(model: sqlite3.Connection, version: int) -> None:
    for _, statements in schema.STEPS[:version]:
        for statement in statements:
            model.execute(statement)


def _columns_of(version: int) -> dict[str, list[str]]:
    """Give the columns that each table has in that version."""
    model = sqlite3.connect(":memory:", isolation_level=None)
    try:
        _take_steps(model, version)
        tables = [name for kind, name in _schema(model) if kind == "table"]
        return {table: [row[1] for row in model.execute(f"PRAGMA table_info({table})")] for table in tables}
    finally:
        model.close()


def _only_property(connection: sqlite3.Connection, version: int, called: str) -> Chain:
    properties = connection.execute("SELECT id, name, head FROM property LIMIT 2").fetchall()
    if len(properties) != 1:
        raise _refused(called, f"it holds {'no property' if not properties else 'more than one property'}")
    number, name, head = properties[0]
    count: int = connection.execute("SELECT count(*) FROM entry").fetchone()[0]
    if count > MOST_ENTRIES:
        raise _refused(called, f"it holds {count:,} entries; accepted: at most {MOST_ENTRIES:,}")
    columns = _columns_of(version)
    entries = tuple(chain_rows(connection, number, lambda table: columns.get(table, [])))
    if len(entries) != count or not isinstance(name, str) or not isinstance(head, str):
        raise _refused(called, "some of its entries belong to no property")
    return Chain(name, head, entries)

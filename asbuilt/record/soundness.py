"""Whether a record file is sound: its pages, its tables as this version makes them, its references, its numbering."""

import hashlib
import re
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass

from asbuilt.record import schema
from asbuilt.record.database import Record

SHORTEST = 16
"""Digits of a hash that tell an entry: 64 bits, far beyond chance even among millions of entries."""

_MOST = 20
"""Faults of one kind that are listed; a damaged file has thousands of the same."""


@dataclass(frozen=True, slots=True)
class Head:
    """How far one property has come: its entries, and the hash of the last one."""

    name: str
    entries: int
    head: str


def file_faults(record: Record, *, quick: bool = False) -> list[str]:
    """Say what is wrong with the file as such, whatever it says; empty where nothing is.

    Parameters
    ----------
    record
        An open record; nothing of it is changed.
    quick
        Leave out that indexes agree with their tables, which takes longest.
    """
    with record.read() as connection:
        faults = _page_faults(connection, quick=quick)
        try:
            faults += _schema_faults(connection)
            if _tables_are_there(connection):
                faults += [*_reference_faults(connection), *_number_faults(connection)]
        except sqlite3.DatabaseError:
            if not faults:  # else it is the damage that was found already
                raise
        return faults


def read_heads(record: Record) -> list[Head]:
    """Give how far each property has come, by name; nothing where the table is gone."""
    with record.read() as connection:
        if not _tables_are_there(connection):
            return []
        rows = connection.execute("SELECT name, entries, head FROM property ORDER BY name").fetchall()
    return [Head(*row) for row in rows]


def mark_of(heads: Iterable[Head]) -> str:
    """Give one hash for the whole record: SHA-256 over name, number of entries and last hash of each property.

    Whoever has it noted elsewhere can tell later whether this is the same record.
    """
    text = "".join(f"{each.name}\0{each.entries}\0{each.head}\n" for each in sorted(heads, key=lambda it: it.name))
    return hashlib.sha256(text.encode()).hexdigest()


def find_hash(record: Record, digits: str) -> tuple[str, int, str] | None:
    """Find the entry with a hash that begins so; None where there is none.

    Returns
    -------
    tuple
        The property, the number of the entry, and when it was made (UTC).
    """
    with record.read() as connection:
        row = connection.execute(
            "SELECT p.name, e.seq, e.at_utc FROM entry e JOIN property p ON p.id = e.property_id "
            "WHERE substr(e.hash, 1, ?) = ?",
            (len(digits), digits),
        ).fetchone()
    return None if row is None else (row[0], row[1], row[2])


def _tables_are_there(connection: sqlite3.Connection) -> bool:
    found = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    return {"property", "entry"} <= found


def _page_faults(connection: sqlite3.Connection, *, quick: bool) -> list[str]:
    check = "quick_check" if quick else "integrity_check"
    try:
        said = [row[0] for row in connection.execute(f"PRAGMA {check}({_MOST})")]
    except sqlite3.DatabaseError as error:
        said = [str(error)]
    return [] if said == ["ok"] else [f"the file is damaged: {' '.join(line.split())}" for line in said]


def _reference_faults(connection: sqlite3.Connection) -> list[str]:
    faults = []
    for table, row, other, _ in connection.execute("PRAGMA foreign_key_check").fetchmany(_MOST):
        where = f"row {row} of the table {table}" if row is not None else f"a row of the table {table}"
        faults.append(f"{where} belongs to a row of the table {other} that is missing")
    return faults


def _number_faults(connection: sqlite3.Connection) -> list[str]:
    """Look for gaps: entries and properties are numbered one after the other, and none is ever taken out."""
    faults = []
    for table, what in (("property", "property"), ("entry", "entry")):
        count, last = connection.execute(f"SELECT count(*), max(id) FROM {table}").fetchone()  # noqa: S608 - our own
        if count and count != last:
            gap = _first_gap(connection, table)
            faults.append(f"the file has no {what} with the number {gap}, and {last - count} in all are gone")
    empty = connection.execute(
        "SELECT name FROM property WHERE NOT EXISTS (SELECT 1 FROM entry WHERE property_id = property.id)"
    ).fetchmany(_MOST)
    return [*faults, *(f"the property {name!r} has no entry at all" for (name,) in empty)]


def _first_gap(connection: sqlite3.Connection, table: str) -> int:
    query = f"SELECT min(id) + 1 FROM {table} t WHERE NOT EXISTS (SELECT 1 FROM {table} n WHERE n.id = t.id + 1)"  # noqa: S608
    begins_late = connection.execute(f"SELECT min(id) > 1 FROM {table}").fetchone()[0]  # noqa: S608
    return 1 if begins_late else int(connection.execute(query).fetchone()[0])


def _schema_faults(connection: sqlite3.Connection) -> list[str]:
    """Compare tables, columns, indexes and triggers with what the steps of this version make."""
    there, wanted = _made(connection), _wanted()
    faults = [f"the {kind} {name} is missing" for kind, name in wanted if (kind, name) not in there]
    faults += [f"the {kind} {name} is none of ours" for kind, name in there if (kind, name) not in wanted]
    faults += [f"the {kind} {name} is not as this version makes it" for kind, name in _altered(there, wanted)]
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    if version != schema.VERSION:
        faults.append(f"the file says that it is of version {version}, and it was taken for one of {schema.VERSION}")
    return faults


def _altered(there: dict[tuple[str, str], str], wanted: dict[tuple[str, str], str]) -> list[tuple[str, str]]:
    return [key for key, text in wanted.items() if key in there and there[key] != text]


def _made(connection: sqlite3.Connection) -> dict[tuple[str, str], str]:
    rows = connection.execute(
        "SELECT type, name, sql FROM main.sqlite_master WHERE name NOT LIKE 'sqlite~_%' ESCAPE '~' "
        "AND tbl_name <> '_sqlite_migrations' ORDER BY rowid"
    )
    return {(kind, name): " ".join(re.split(r"\s+", text or "")) for kind, name, text in rows}


def _wanted() -> dict[tuple[str, str], str]:
    fresh = sqlite3.connect(":memory:")
    try:
        for _, statements in schema.STEPS:
            for statement in statements:
                fresh.execute(statement)
        return _made(fresh)
    finally:
        fresh.close()

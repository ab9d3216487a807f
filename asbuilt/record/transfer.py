"""One property's entries as plain values: taken out of a record verbatim, and put into another one with their chain.

The hashes do not hang on the numbers that a file gives its rows, so that a copy proves as much as the original.
"""

import sqlite3
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from asbuilt.errors import RecordError
from asbuilt.record.copies import copy_record
from asbuilt.record.database import Record
from asbuilt.record.entries import property_id, unknown_property
from asbuilt.record.nouns import NOUN_OF_KIND, NOUNS
from asbuilt.record.rows import row_codec

LINKS = (
    *("seq", "kind", "position", "sheet", "row", "who", "at_utc", "at_local", "withdrawn", "reason"),
    *("prev_hash", "hash"),
)
"""Columns of an entry that are the same in every file."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry, as it stands in a file."""

    links: dict[str, Any]  #: by LINKS
    supersedes: int | None  #: `seq` of the entry that it supersedes
    body: dict[str, Any] | None  #: the typed row; None where it withdraws

    @property
    def value(self) -> Any | None:
        """Give what it says as a value of the model; None where it withdraws."""
        if self.body is None:
            return None
        codec = row_codec(NOUN_OF_KIND[self.links["kind"]].cls)
        return codec.value([self.body.get(name) for name in codec.names])


@dataclass(frozen=True, slots=True)
class Chain:
    """All entries of one property, in their order."""

    name: str
    head: str  #: hash of the last one
    entries: tuple[Entry, ...]


def read_chain(record: Record, name: str) -> Chain:
    """Take all entries of a property out of a record.

    Raises
    ------
    UnknownNameError
        If there is no such property.
    """
    with record.read() as connection:
        number = property_id(record, name)
        if number is None:
            raise unknown_property(record, name)
        head = connection.execute("SELECT head FROM property WHERE id = ?", (number,)).fetchone()[0]
        return Chain(name, head, tuple(chain_rows(connection, number, lambda table: None)))


def chain_rows(
    connection: sqlite3.Connection, number: int, columns_of: Callable[[str], Iterable[str] | None]
) -> list[Entry]:
    """Read the entries of a property by its `id`.

    Parameters
    ----------
    columns_of
        The columns that a table has in that file; None = all that this program knows.
    """
    bodies: dict[int, dict[str, Any]] = {}
    for noun in NOUNS:
        known = columns_of(noun.table)
        names = [each for each in row_codec(noun.cls).names if known is None or each in known]
        if not names:
            continue  # a table that a later version added
        columns = ", ".join(f't."{each}"' for each in names)
        rows = connection.execute(
            f"SELECT e.id, {columns} FROM entry e JOIN {noun.table} t ON t.entry_id = e.id "  # noqa: S608 - our own
            "WHERE e.property_id = ? AND e.kind = ?",
            (number, noun.kind),
        )
        bodies |= {entry_id: dict(zip(names, cells, strict=True)) for entry_id, *cells in rows}
    columns = ", ".join(f"e.{each}" for each in LINKS)
    entries = connection.execute(
        f"SELECT e.id, old.seq, {columns} FROM entry e LEFT JOIN entry old ON old.id = e.supersedes "  # noqa: S608
        "WHERE e.property_id = ? ORDER BY e.seq",
        (number,),
    )
    return [
        Entry(dict(zip(LINKS, links, strict=True)), before, bodies.get(entry_id))
        for entry_id, before, *links in entries
    ]


def write_chain(record: Record, chain: Chain) -> None:
    """Put entries into a record that does not know the property, inside `record.write()`.

    Raises
    ------
    RecordError
        If the property is there already.
    """
    db = record.db
    if not db.conn.in_transaction:
        raise RuntimeError("entries are added inside record.write()")
    if property_id(record, chain.name) is not None:
        raise RecordError(f"{record.path}: the property {chain.name!r} is there already; nothing was stored")
    count = chain.entries[-1].links["seq"] if chain.entries else 0
    db.table("property").insert({"name": chain.name, "entries": count, "head": chain.head})
    number = int(db.execute("SELECT last_insert_rowid()").fetchone()[0])
    first: int = db.execute("SELECT coalesce(max(id), 0) FROM entry").fetchone()[0] + 1
    ids = {entry.links["seq"]: first + place for place, entry in enumerate(chain.entries)}
    rows, bodies = [], dict[str, list[list[Any]]]()
    for entry in chain.entries:
        own = ids[entry.links["seq"]]
        before = None if entry.supersedes is None else ids[entry.supersedes]
        rows.append([own, number, before, *(entry.links[name] for name in LINKS)])
        if entry.body is not None:
            names = row_codec(NOUN_OF_KIND[entry.links["kind"]].cls).names
            bodies.setdefault(entry.links["kind"], []).append([own, *(entry.body.get(name) for name in names)])
    db.table("entry").insert_all([["id", "property_id", "supersedes", *LINKS], *rows])
    for kind, held in bodies.items():
        noun = NOUN_OF_KIND[kind]
        db.table(noun.table).insert_all([["entry_id", *row_codec(noun.cls).names], *held])


def settled_bytes(record_file: Path, aside: Path, day: str) -> bytes:
    """Give a record file that nobody writes any more as bytes: the same entries give the same bytes.

    Parameters
    ----------
    record_file
        A record of this program's making; what it says of the moment of its own making is put to `day`.
    aside
        A place for a file that is not there yet.
    """
    connection = sqlite3.connect(record_file, isolation_level=None)
    try:
        connection.execute("PRAGMA journal_mode = DELETE").fetchone()
        connection.execute("UPDATE _sqlite_migrations SET applied_at = ?", (day,))
        connection.execute("VACUUM")
        copy_record(connection, aside)
    finally:
        connection.close()
    return aside.read_bytes()

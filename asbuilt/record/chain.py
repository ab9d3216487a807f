"""The chain of hashes over one property's entries: what was altered behind the program, and where."""

import hashlib
import json
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from asbuilt.record.database import Record
from asbuilt.record.nouns import NOUN_OF_KIND, NOUNS, Noun
from asbuilt.record.rows import Cell, row_codec

BEGINNING = ""
"""Stands in the place of the hash before the first entry."""

Body = Mapping[str, Cell]


def entry_hash(links: Mapping[str, Any], body: Body | None) -> str:
    """Hash one entry together with the hash before it.

    SHA-256 (FIPS 180-4) over JSON with sorted keys and without spaces. What is NULL is left out, so that a
    column that a later version adds leaves the hashes of old entries as they are.

    Parameters
    ----------
    links
        `prev` (hash before it), `seq`, `kind`, `position`, `sheet`, `row`, `who`, `at_utc`, `at_local`,
        `supersedes_seq`, `withdrawn` and `reason`.
    body
        The typed row without its `entry_id`; None where the entry withdraws.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    what = {name: value for name, value in links.items() if value is not None}
    if body is not None:
        what["body"] = {name: cell for name, cell in body.items() if cell is not None}
    text = json.dumps(what, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class _Found:
    """One entry as it now stands in the file."""

    links: dict[str, Any]
    hash: str
    prev_hash: str
    supersedes: int | None
    bodies: dict[str, Body]  #: typed rows by kind; one, or none where it withdraws

    def __str__(self) -> str:
        row = "" if self.links["row"] is None else f" row {self.links['row']}"
        return f"entry {self.links['seq']} ({self.links['kind']}, {self.links['sheet']}{row})"


def verify_chain(record: Record, name: str) -> list[str]:
    """Recompute all hashes of one property from its rows.

    Parameters
    ----------
    record
        An open record; nothing of it is changed.
    name
        The property.

    Returns
    -------
    list of str
        Faults in plain words, in the order of the entries; empty where nothing was altered. What this cannot
        see: a chain computed anew from its beginning by somebody who knows how, or its last entries taken off
        together with their count and hash.
    """
    with record.read() as connection:
        missing = _missing_tables(connection)
        if missing:
            return [f"the table {table} is missing" for table in missing]
        kept = connection.execute("SELECT id, entries, head FROM property WHERE name = ?", (name,)).fetchone()
        if kept is None:
            return [f"the property {name!r} is not in the record"]
        property_id, count, head = kept
        found = list(_found(connection, property_id))
    return [*_faults_of_entries(found), *_faults_of_property(found, name, count, head)]


def _faults_of_entries(found: list[_Found]) -> Iterator[str]:
    prev, seq = BEGINNING, 0
    for entry in found:
        expected = seq + 1
        seq = entry.links["seq"]
        if seq > expected:
            gone = f"entry {expected} is" if seq == expected + 1 else f"entries {expected} to {seq - 1} are"
            yield f"{gone} missing"
        elif entry.prev_hash != prev:
            yield f"{entry} does not follow from the entry before it: one of the two was altered"
        yield from _faults_of_entry(entry)
        prev = entry.hash


def _faults_of_entry(entry: _Found) -> Iterator[str]:
    kind = entry.links["kind"]
    if kind not in NOUN_OF_KIND:
        yield f"{entry} is of an unknown kind"
        return
    table = NOUN_OF_KIND[kind].table
    if entry.supersedes is not None and entry.links["supersedes_seq"] is None:
        yield f"{entry} supersedes an entry that is missing"
    for other in entry.bodies:
        if other != kind or entry.links["withdrawn"]:
            yield f"{entry} has a row in the table {NOUN_OF_KIND[other].table} that does not belong to it"
    if not entry.links["withdrawn"] and kind not in entry.bodies:
        yield f"{entry} has no row in the table {table}: its values are missing"
    elif entry_hash(entry.links, entry.bodies.get(kind)) != entry.hash:
        yield f"{entry} does not agree with its hash: it was altered"


def _faults_of_property(found: list[_Found], name: str, count: int, head: str) -> Iterator[str]:
    last = found[-1].links["seq"] if found else 0
    if last < count:
        yield f"the last entry is {last} and there were {count}: entries at the end are missing"
    elif last > count:
        yield f"the last entry is {last} and the property counts {count}: its count was altered"
    if (found[-1].hash if found else BEGINNING) != head:
        yield "the property's last hash is not that of its last entry: one of the two was altered"
    named = [entry.bodies["property"]["name"] for entry in found if "property" in entry.bodies]
    if named and set(named) != {name}:
        said = ", ".join(map(repr, dict.fromkeys(named)))
        yield f"the property is called {name!r} and its entries say {said}"


def _missing_tables(connection: sqlite3.Connection) -> list[str]:
    there = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    return [table for table in ("property", "entry", *(noun.table for noun in NOUNS)) if table not in there]


def _found(connection: sqlite3.Connection, property_id: int) -> Iterator[_Found]:
    bodies: dict[int, dict[str, Body]] = {}
    for noun in NOUNS:
        for entry_id, body in _bodies(connection, noun, property_id):
            bodies.setdefault(entry_id, {})[noun.kind] = body
    rows = connection.execute(
        """SELECT e.id, e.seq, e.kind, e.position, e.sheet, e.row, e.who, e.at_utc, e.at_local, old.seq,
                  e.withdrawn, e.reason, e.prev_hash, e.hash, e.supersedes
           FROM entry e LEFT JOIN entry old ON old.id = e.supersedes AND old.property_id = e.property_id
           WHERE e.property_id = ? ORDER BY e.seq""",
        (property_id,),
    )
    for entry_id, *cells in rows:
        *linked, prev_hash, own_hash, supersedes = cells
        links = dict(zip(_LINKS, linked, strict=True)) | {"prev": prev_hash}
        yield _Found(links, own_hash, prev_hash, supersedes, bodies.get(entry_id, {}))


_LINKS = (
    "seq",
    "kind",
    "position",
    "sheet",
    "row",
    "who",
    "at_utc",
    "at_local",
    "supersedes_seq",
    "withdrawn",
    "reason",
)


def _bodies(connection: sqlite3.Connection, noun: Noun, property_id: int) -> Iterator[tuple[int, dict[str, Cell]]]:
    names = row_codec(noun.cls).names
    columns = ", ".join(f't."{name}"' for name in names)
    # Table and columns are our own constants.
    rows = connection.execute(
        f"SELECT e.id, {columns} FROM entry e JOIN {noun.table} t ON t.entry_id = e.id "  # noqa: S608
        "WHERE e.property_id = ?",
        (property_id,),
    )
    for entry_id, *cells in rows:
        yield entry_id, dict(zip(names, cells, strict=True))

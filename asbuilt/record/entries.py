"""The entries of the record: added to the end of a property's chain, and read back as it is known."""

import difflib
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from operator import itemgetter
from typing import Any

from asbuilt.errors import RecordError, UnknownNameError
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.chain import BEGINNING, entry_hash
from asbuilt.record.copies import last_backup
from asbuilt.record.database import Record
from asbuilt.record.nouns import NOUN_OF_KIND, NOUNS, Noun
from asbuilt.record.past import utc_text
from asbuilt.record.rows import row_codec, to_row

TYPED = "asbuilt service"
"""Stands in the place of the sheet's name where an entry was typed in by that command."""

BACKUP_DAYS = 30
"""Days after which a backup counts as old; a choice: what is lost with the disk is at most a month's work."""

CLOCK_SLACK = timedelta(minutes=1)
"""By how much an entry may seem earlier than the one before it: its time is taken before it waits for its turn, and the
clocks of two machines differ a little. A choice."""

NAMES_SHOWN = 5
"""How many names a message lists: enough to see what the record holds, few enough to read."""


@dataclass(frozen=True, slots=True)
class Kept:
    """One recorded row as it is known."""

    entry_id: int
    seq: int
    position: float
    sheet: str
    row: int | None
    value: Any


@dataclass(frozen=True, slots=True)
class Draft:
    """One entry to be added; without a value it withdraws what it supersedes."""

    noun: Noun
    value: Any | None
    position: float | None  #: place among the rows of its kind; None where it withdraws
    sheet: str
    row: int | None
    supersedes: Kept | None = None


@dataclass(frozen=True, slots=True)
class Action:
    """Who acted, when and why: the same for all entries of one transaction."""

    who: str
    now: datetime  #: with its time zone
    reason: str | None = None

    def __post_init__(self) -> None:
        utc_text(self.now)
        for what, words in (("who", self.who), ("the reason", self.reason or "")):
            if not _is_text(words):
                raise RecordError(f"{what}: {words!r} cannot be recorded; accepted: text in UTF-8; nothing was stored")


def _is_text(words: str) -> bool:
    """Tell whether words can be stored: an argument of the command line may hold bytes that are no text."""
    try:
        words.encode()
    except UnicodeEncodeError:
        return False
    return True


def property_id(record: Record, name: str) -> int | None:
    """Find the property of that very name; None if there is none."""
    if not _is_text(name):
        return None
    row = record.connection.execute("SELECT id FROM property WHERE name = ?", (name,)).fetchone()
    return None if row is None else int(row[0])


def property_names(record: Record) -> list[str]:
    """Names of all properties, in alphabetical order."""
    with record.read() as connection:
        return [row[0] for row in connection.execute("SELECT name FROM property ORDER BY name")]


def unknown_property(record: Record, name: str) -> UnknownNameError:
    """Say that there is no such property, which one may be meant, and which there are."""
    if record.at is not None:
        return UnknownNameError(f"no property {name!r} was in {record.path} on {record.at.isoformat(' ', 'minutes')}")
    names = property_names(record)
    if not names:
        return UnknownNameError(f"no property {name!r}: {record.path} holds none yet; `asbuilt load` adds one")
    by_folded = {each.casefold(): each for each in names}
    near = difflib.get_close_matches(name.casefold(), by_folded, n=1)
    meant = f"; did you mean {by_folded[near[0]]!r}?" if near else "."
    more = len(names) - NAMES_SHOWN
    listed = ", ".join(map(repr, names[:NAMES_SHOWN])) + (f" and {more} more" if more > 0 else "")
    return UnknownNameError(f"no property {name!r} in {record.path}{meant} It holds {listed}")


def read_property(record: Record, name: str, at: datetime | None = None) -> PropertyRecord:
    """Read everything of one property.

    Parameters
    ----------
    record
        An open record.
    name
        The property.
    at
        As it was known at that moment (with its time zone); None = as it is known now.

    Raises
    ------
    UnknownNameError
        If there is no such property, or nothing was known of it yet.
    RecordError
        If rows are missing from the file.
    """
    with record.read() as connection:
        found = property_id(record, name)
        if found is None:
            raise unknown_property(record, name)
        upto = None if at is None else _last_seq(connection, found, at)
        if at is not None and upto is None:
            raise UnknownNameError(f"{name!r} was not yet in the record on {at.isoformat(' ', 'minutes')}")
        rows = current_rows(record, found, upto)
    return _assembled({noun.field: tuple(kept.value for kept in rows[noun.kind]) for noun in NOUNS}, name)


def read_all(record: Record) -> Iterator[PropertyRecord]:
    """Read all properties one after the other, in the order in which they were first loaded.

    One query a kind for the whole record, and one property in memory at a time. The record cannot be written
    through the same connection until the iterator has ended.

    Raises
    ------
    RecordError
        If rows are missing from the file.
    """
    with record.read() as connection:
        groups = [groupby(_rows(connection, noun, "TRUE", (), record), key=itemgetter(0)) for noun in NOUNS]
        ahead = [next(group, None) for group in groups]
        for number, name in connection.execute("SELECT id, name FROM property ORDER BY id"):
            values: dict[str, tuple[Any, ...]] = {}
            for place, noun in enumerate(NOUNS):
                group = ahead[place]
                if group is None or group[0] != number:
                    values[noun.field] = ()
                    continue
                values[noun.field] = tuple(kept.value for _, kept in group[1])
                ahead[place] = next(groups[place], None)
            yield _assembled(values, name)


def current_rows(record: Record, number: int, upto: int | None = None) -> dict[str, list[Kept]]:
    """Give the rows of each kind that stand: not superseded and not withdrawn.

    Parameters
    ----------
    record
        An open record.
    number
        The property's `id`.
    upto
        Take only entries up to this `seq`; None = all.
    """
    where, values = "e.property_id = ?", [number]
    if upto is not None:
        where, values = f"{where} AND e.seq <= ?", [number, upto]
    rows = {}
    with record.read() as connection:
        for noun in NOUNS:
            own = _rows(connection, noun, where, values, record, upto=upto)
            rows[noun.kind] = [kept for _, kept in own]
    return rows


def _last_seq(connection: sqlite3.Connection, number: int, at: datetime) -> int | None:
    # All entries up to the last one by then: a state that really was, also where a clock had been set back.
    row = connection.execute(
        "SELECT max(seq) FROM entry WHERE property_id = ? AND at_utc <= ?", (number, utc_text(at))
    ).fetchone()
    return None if row[0] is None else int(row[0])


def _rows(
    connection: sqlite3.Connection,
    noun: Noun,
    where: str,
    values: Sequence[int],
    record: Record,
    *,
    upto: int | None = None,
) -> Iterator[tuple[int, Kept]]:
    codec = row_codec(noun.cls)
    columns = ", ".join(f't."{name}"' for name in codec.names)
    later = "" if upto is None else " AND n.seq <= ?"
    # Table, columns and conditions are our own constants. A LEFT JOIN, so that a reading whose row is gone is
    # an error and not left out in silence.
    rows = connection.execute(
        f"SELECT e.property_id, e.id, e.seq, e.position, e.sheet, e.row, t.entry_id, {columns} "  # noqa: S608
        f"FROM entry e LEFT JOIN {noun.table} t ON t.entry_id = e.id "
        f"WHERE e.kind = ? AND {where} AND e.withdrawn = 0 "
        f"AND NOT EXISTS (SELECT 1 FROM entry n WHERE n.supersedes = e.id{later}) "
        "ORDER BY e.property_id, e.position, e.seq",
        (noun.kind, *values, *([] if upto is None else [upto])),
    )
    for cells in rows:
        number, entry_id, seq, position, sheet, row, there = cells[:7]
        if there is None:
            raise RecordError(f"{record.path}: the values of entry {seq} ({noun.kind}, {sheet}) are missing")
        yield number, Kept(entry_id, seq, position, sheet, row, codec.value(cells, 7))


def _assembled(values: dict[str, tuple[Any, ...]], name: str) -> PropertyRecord:
    facts = values.pop("property")
    if len(facts) != 1:
        raise RecordError(f"{name!r} has {len(facts)} entries that say what the property is; there must be one")
    return PropertyRecord(property=facts[0], **values)


def add_entries(record: Record, name: str, drafts: Sequence[Draft], action: Action) -> None:
    """Add entries to the end of a property's chain, inside `record.write()`.

    A property that is not there yet is begun.
    """
    add_entries_of_many(record, {name: drafts}, action)


def add_entries_of_many(record: Record, drafts: Mapping[str, Sequence[Draft]], action: Action) -> None:
    """Add entries of several properties, inside `record.write()`: one statement a table for all of them."""
    db = record.db
    if not db.conn.in_transaction:
        raise RuntimeError("entries are added inside record.write()")
    _remind_of_backup(record, action.now)
    entry_id: int = db.execute("SELECT coalesce(max(id), 0) FROM entry").fetchone()[0]
    entries: list[list[Any]] = []
    bodies: dict[str, list[list[Any]]] = {}
    ends = []
    for name, own in drafts.items():
        number, seq, head = _end_of_chain(record, name)
        _look_at_clock(record, number, name, action.now)
        for draft in own:
            entry_id, seq = entry_id + 1, seq + 1
            links = _links(draft, action, seq, head)
            body = None if draft.value is None else to_row(draft.value)
            head = entry_hash(links, body)
            supersedes = None if draft.supersedes is None else draft.supersedes.entry_id
            entries.append([entry_id, number, supersedes, head, *(links[each] for each in _LINK_COLUMNS)])
            if body is not None:
                bodies.setdefault(draft.noun.kind, []).append([entry_id, *body.values()])
        ends.append((seq, head, number))
    _insert(record, "entry", _ENTRY_COLUMNS, entries)
    for kind, rows in bodies.items():
        noun = NOUN_OF_KIND[kind]
        _insert(record, noun.table, ["entry_id", *row_codec(noun.cls).names], rows)
    record.connection.executemany("UPDATE property SET entries = ?, head = ? WHERE id = ?", ends)


def _insert(record: Record, table: str, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    # The cells are those of SQLite already, so nothing is gained by a library that looks at each of them again.
    names, marks = ", ".join(f'"{name}"' for name in columns), ", ".join("?" * len(columns))
    record.connection.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", rows)  # noqa: S608 - our own names


def _look_at_clock(record: Record, number: int, name: str, now: datetime) -> None:
    """Note where the last entry is of a later time than what is added: nothing is lost, but its time is wrong."""
    row = record.connection.execute(
        "SELECT at_utc FROM entry WHERE property_id = ? ORDER BY seq DESC LIMIT 1", (number,)
    ).fetchone()
    if row is not None and datetime.fromisoformat(row[0]) - now > CLOCK_SLACK:
        record.note(
            f"the clock says {utc_text(now)[:16]} UTC and the last entry of {name} is of {row[0][:16]} UTC: the clock "
            "was set back, or was ahead then. All is stored, and the order of the entries stands; set the clock right"
        )


def _remind_of_backup(record: Record, now: datetime) -> None:
    made = last_backup(record.path)
    if made is not None:
        if now - made >= timedelta(days=BACKUP_DAYS):
            record.note(
                f"the last backup of {record.path} was made on {made:%Y-%m-%d}, {(now - made).days} days ago; "
                "`asbuilt backup` makes one"
            )
        return
    row = record.connection.execute("SELECT at_utc FROM entry WHERE id = (SELECT min(id) FROM entry)").fetchone()
    age = timedelta() if row is None else now - datetime.fromisoformat(row[0])
    if age >= timedelta(days=BACKUP_DAYS):
        record.note(f"{record.path} was begun {age.days} days ago and has no backup; `asbuilt backup` makes one")


def _links(draft: Draft, action: Action, seq: int, prev: str) -> dict[str, Any]:
    return {
        "prev": prev,
        "seq": seq,
        "kind": draft.noun.kind,
        "position": draft.position,
        "sheet": draft.sheet,
        "row": draft.row,
        "who": action.who,
        "at_utc": utc_text(action.now),
        "at_local": action.now.isoformat(),
        "supersedes_seq": None if draft.supersedes is None else draft.supersedes.seq,
        "withdrawn": int(draft.value is None),
        "reason": action.reason,
    }


# The number of the superseded entry is hashed, its id is stored: a hash must not hang on ids of this file.
_LINK_COLUMNS = (
    "seq",
    "kind",
    "position",
    "sheet",
    "row",
    "who",
    "at_utc",
    "at_local",
    "withdrawn",
    "reason",
    "prev",
)
_ENTRY_COLUMNS = ["id", "property_id", "supersedes", "hash", *_LINK_COLUMNS[:-1], "prev_hash"]


def _end_of_chain(record: Record, name: str) -> tuple[int, int, str]:
    db = record.db
    found = property_id(record, name)
    if found is None:
        db.table("property").insert({"name": name, "entries": 0, "head": BEGINNING})
        return int(db.execute("SELECT last_insert_rowid()").fetchone()[0]), 0, BEGINNING
    seq, head = db.execute("SELECT entries, head FROM property WHERE id = ?", (found,)).fetchone()
    return found, seq, head

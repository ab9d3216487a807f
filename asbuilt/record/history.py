"""The history of one property: every entry in order, who made it, from where, what it says and what it supersedes."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from asbuilt.errors import RecordError
from asbuilt.model.rule_files import RuleFile
from asbuilt.record.changes import words_of
from asbuilt.record.database import Record
from asbuilt.record.entries import property_id, unknown_property
from asbuilt.record.nouns import NOUNS, Noun
from asbuilt.record.rows import row_codec

_IN_TITLES = {"name", "from", "to", "component", "point", "wall_from", "wall_to", "on", "task", "setup"}
_IN_TITLES |= {"file", "row", "column", "reason", "accepted"}  # of what was left out of a draft


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One entry of the record."""

    number: int  #: within the property, from 1
    at: datetime  #: in the time zone of whoever made it
    at_utc: str
    who: str
    sheet: str  #: name of the sheet, or prompt
    row: int | None
    noun: Noun
    value: Any | None  #: None where it withdraws
    supersedes: int | None  #: number of the entry that it supersedes or withdraws
    before: Any | None  #: what that one said
    reason: str | None

    @property
    def place(self) -> str:
        """Where it came from, such as `points.csv row 4`."""
        return self.sheet if self.row is None else f"{self.sheet} row {self.row}"

    @property
    def what(self) -> str:
        """What it says; of a corrected one only what differs."""
        if self.value is None:
            return f"withdrawn: {self._said(self.before)}"
        if self.before is None:
            return self._said(self.value)
        old, new = _words(self.before), _words(self.value)
        differing = [name for name in new | old if new.get(name) != old.get(name)]
        changes = ", ".join(f"{name} {new.get(name, 'blank')} (was {old.get(name, 'blank')})" for name in differing)
        return f"{self.noun.title(self.value)}: {changes or 'its place in the order'}"

    def _said(self, value: Any) -> str:
        title = self.noun.title(value)
        words = {name: word for name, word in _words(value).items() if name not in _IN_TITLES or word not in title}
        return f"{title}: " + ", ".join(f"{name} {word}" for name, word in words.items()) if words else title

    def as_json(self) -> dict[str, Any]:
        """Give the entry as plain JSON values."""
        return {
            "number": self.number,
            "at": self.at.isoformat(),
            "at_utc": self.at_utc,
            "who": self.who,
            "sheet": self.sheet,
            "row": self.row,
            "kind": self.noun.kind,
            "withdrawn": self.value is None,
            "what": self.what,
            "supersedes": self.supersedes,
            "reason": self.reason,
        }


def _words(value: Any) -> dict[str, str]:
    """Write the fields that are not blank; of a whole file how long it is."""
    words = words_of(value)
    if isinstance(value, RuleFile):
        count = len(value.text.splitlines())
        mark = hashlib.sha256(value.text.encode()).hexdigest()[:8]
        words["text"] = f"{count} line{'' if count == 1 else 's'} (mark {mark})"
    return words


def read_log(record: Record, name: str) -> list[LogEntry]:
    """Read every entry of one property, superseded and withdrawn ones too, in the order in which they were made.

    Raises
    ------
    UnknownNameError
        If there is no such property.
    RecordError
        If values are missing from the file.
    """
    with record.read():
        number = property_id(record, name)
        if number is None:
            raise unknown_property(record, name)
        found = {cells[0]: (noun, *cells) for noun in NOUNS for cells in _entries(record, number, noun)}
    return [_entry(found, entry_id) for entry_id in sorted(found, key=lambda each: found[each][2])]


def _entries(record: Record, number: int, noun: Noun) -> Iterator[tuple[Any, ...]]:
    codec = row_codec(noun.cls)
    columns = ", ".join(f't."{column}"' for column in codec.names)
    # Table and columns are our own constants.
    rows = record.connection.execute(
        "SELECT e.id, e.seq, e.at_local, e.at_utc, e.who, e.sheet, e.row, e.supersedes, e.reason, "  # noqa: S608
        f"e.withdrawn, t.entry_id, {columns} FROM entry e LEFT JOIN {noun.table} t ON t.entry_id = e.id "
        "WHERE e.property_id = ? AND e.kind = ?",
        (number, noun.kind),
    )
    for cells in rows:
        *links, withdrawn, there = cells[:11]
        if there is None and not withdrawn:
            raise RecordError(f"{record.path}: the values of entry {links[1]} ({noun.kind}, {links[5]}) are missing")
        yield (*links, None if withdrawn else codec.value(cells, 11))


def _entry(found: dict[int, tuple[Any, ...]], entry_id: int) -> LogEntry:
    noun, _, seq, at_local, at_utc, who, sheet, row, supersedes, reason, value = found[entry_id]
    before = found.get(supersedes)
    return LogEntry(
        seq,
        datetime.fromisoformat(at_local),
        at_utc,
        who,
        sheet,
        row,
        noun,
        value,
        None if before is None else before[2],
        None if before is None else before[-1],
        reason,
    )

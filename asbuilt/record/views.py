"""Sheets that come from an older view of the record: what others recorded since, and the sheets would undo."""

from collections import Counter
from collections.abc import Iterable, Sequence
from math import inf
from typing import Any

from asbuilt.record.changes import SheetRow
from asbuilt.record.database import Record
from asbuilt.record.entries import TYPED
from asbuilt.record.history import LogEntry, read_log
from asbuilt.record.nouns import noun_of
from asbuilt.record.typed import PROMPT

_NOT_OF_SHEETS = (PROMPT, TYPED)


def undone_by(record: Record, name: str, rows: Sequence[SheetRow]) -> list[LogEntry]:
    """Find what was recorded after the state from which sheets were made, so that storing them would undo it.

    Of all states in which somebody's action left the property, that one counts as theirs to which they have the fewest
    differences, the latest of several. A row that was changed and a row that is new or gone are one difference each:
    else sheets in which much was filled in would look like those of a time when there was less. What was typed at the
    prompt is not looked at: no sheet undoes it.

    Parameters
    ----------
    record
        An open record.
    name
        The property.
    rows
        All rows of the sheets, with the corrections made at the prompt brought in.

    Returns
    -------
    list of LogEntry
        Entries that came later; empty where the sheets were made from what is recorded now.
    """
    entries = [entry for entry in read_log(record, name) if entry.sheet not in _NOT_OF_SHEETS]
    wanted, standing = _Rows(), _Rows()
    for row in rows:
        wanted.step(row.value, 1)
    differing, best, since = len(wanted.by_key), inf, 0
    for place, entry in enumerate(entries):
        for value, step in ((entry.before, -1), (entry.value, 1)):
            if value is not None:
                differing += standing.step(value, step, wanted)
        if _ends_action(entries, place) and differing <= best:
            best, since = differing, place + 1
    return entries[since:]


class _Rows:
    """Rows by what they are about: of one key there may be several, such as two pulls of one tape."""

    def __init__(self) -> None:
        self.by_key: dict[Any, Counter[Any]] = {}

    def step(self, value: Any, step: int, wanted: "_Rows | None" = None) -> int:
        """Let one row stand, or no longer; give by how much the keys that differ from the wanted ones become more."""
        noun = noun_of(value)
        key = noun.kind, noun.key(value)
        own = self.by_key.setdefault(key, Counter())
        aim = Counter() if wanted is None else wanted.by_key.get(key, Counter())
        before = own != aim
        own[value] += step
        return (own != aim) - before


def _ends_action(entries: Sequence[LogEntry], place: int) -> bool:
    if place + 1 == len(entries):
        return True
    here, after = entries[place], entries[place + 1]
    return (here.at_utc, here.who, here.reason) != (after.at_utc, after.who, after.reason)


def old_view(name: str, undone: Iterable[LogEntry], last: int, shown: int) -> str:
    """Say what would be undone, and how to do it all the same."""
    lines = [f"  {each.number}  {each.at:%Y-%m-%d}  {each.who}: {each.what}" for each in undone]
    more = len(lines) - shown
    return "\n".join(
        [
            f"{name}: these sheets come from an older view of the record and would undo what was recorded since; "
            "nothing was stored",
            *lines[:shown],
            *([f"  and {more} more"] if more > 0 else []),
            f"bring the sheets up to date; or, if that is meant, say how far you have seen the log: --seen {last}",
        ]
    )

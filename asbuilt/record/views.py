"""Sheets that come from an older view of the record: what others recorded since, and the sheets would undo."""

from collections import Counter
from collections.abc import Iterable, Sequence
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

    Of all states that the property went through, that one counts as theirs to which they have the fewest differences,
    the latest of several. What was typed at the prompt is not looked at: no sheet undoes it.

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
    wanted = Counter((noun_of(row.value).kind, row.value) for row in rows)
    standing: Counter[Any] = Counter()
    differing = wanted.total()
    best, since = differing, 0
    for place, entry in enumerate(entries):
        kind = entry.noun.kind
        for value, step in ((entry.before, -1), (entry.value, 1)):
            if value is not None:
                differing += _step(standing, wanted, (kind, value), step)
        if _ends_action(entries, place) and differing <= best:
            best, since = differing, place + 1
    return entries[since:]


def _step(standing: Counter[Any], wanted: Counter[Any], what: Any, step: int) -> int:
    """Let one row stand, or no longer; give by how much the number of differences changes."""
    before = abs(standing[what] - wanted[what])
    standing[what] += step
    return abs(standing[what] - wanted[what]) - before


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

"""Field sheets into the record: new, unchanged, or superseding what was recorded, all in one transaction."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from asbuilt.errors import ChangedSheetsError, Problem, RecordError
from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.place import Property
from asbuilt.record.changes import Change, SheetRow, compare
from asbuilt.record.database import Record
from asbuilt.record.due_state import Reckon, keep_due
from asbuilt.record.entries import (
    TYPED,
    Action,
    Kept,
    add_entries,
    current_rows,
    property_id,
    unknown_property,
)
from asbuilt.record.nouns import NOUNS, noun_of
from asbuilt.record.typed import as_corrected, not_of_the_sheets

OVER_A_DRAFT = "the sheets of a draft, loaded again"
"""Stands as the reason where a draft is superseded and nobody gave another."""

LINES_SHOWN = 20
"""How many lines of a difference a message shows: what fits a small terminal."""


@dataclass(frozen=True, slots=True)
class LoadOutcome:
    """What loading the sheets of one property did, in numbers of rows."""

    property: str
    added: int = 0
    superseded: int = 0
    withdrawn: int = 0
    unchanged: int = 0
    corrected: tuple[str, ...] = ()  #: readings corrected or withdrawn at the prompt before; the correction stands

    def wrote(self) -> bool:
        """Tell whether anything was written."""
        return bool(self.added or self.superseded or self.withdrawn)


def store_sheets(
    record: Record,
    rows: Sequence[SheetRow],
    *,
    who: str,
    now: datetime,
    supersede: str | None = None,
    reckon: Reckon | None = None,
) -> LoadOutcome:
    """Store the sheets of one property.

    Parameters
    ----------
    record
        A record open for writing.
    rows
        All rows of all sheets, one of them a `Property`; the order within a sheet is kept.
    who
        Who stores them.
    now
        The moment, with its time zone.
    supersede
        The reason for storing sheets that differ from what is recorded under the same name. Over a draft none is
        needed.
    reckon
        How the due list is reckoned, which is kept in the same transaction; None = it is reckoned when read.

    Returns
    -------
    LoadOutcome
        Where sheets and record say the same, nothing is written. What was typed at the prompt stays, and a reading
        that was corrected there stays corrected; see `asbuilt.record.typed`.

    Raises
    ------
    ChangedSheetsError
        If they differ and no reason is given; the message shows the difference.
    UnknownNameError
        If a reason is given and there is nothing to supersede under that name.
    RecordError
        If there is not exactly one property in the rows, two components of one name exist at one time, the
        reason is blank, or the record cannot be written. Nothing was stored.
    """
    name = _property_name(rows)
    if supersede is not None and not supersede.strip():
        raise RecordError("the reason for superseding is blank; accepted: a few words, such as 'taped again'")
    found = _changes(record, name, rows, reason=supersede)
    if found.changes:
        with record.write():
            # Looked at again: somebody else may have written since, and now nobody can.
            found = _changes(record, name, rows, reason=supersede)
            action = Action(who, now, supersede or (OVER_A_DRAFT if found.over_a_draft else None))
            add_entries(record, name, [change.draft() for change in found.changes], action)
            _refuse_double_names(record, name)
            if reckon is not None:
                keep_due(record, name, reckon)
    return _outcome(name, rows, found)


@dataclass(frozen=True, slots=True)
class _Compared:
    """What differs between sheets and record."""

    changes: list[Change]
    over_a_draft: bool = False  #: what is recorded is a draft
    corrected: tuple[str, ...] = ()


def _property_name(rows: Sequence[SheetRow]) -> str:
    names = [row.value.name for row in rows if isinstance(row.value, Property)]
    if len(names) != 1:
        raise RecordError(f"the sheets describe {len(names)} properties; accepted: one, in property.toml")
    return str(names[0])


def _changes(record: Record, name: str, rows: Sequence[SheetRow], *, reason: str | None) -> _Compared:
    """Compare sheets and record; refuse what may not be stored."""
    corrected: list[str] = []
    with record.read():
        number = property_id(record, name)
        if number is None and reason is not None:
            raise unknown_property(record, name)
        old = {} if number is None else current_rows(record, number)
        if number is not None:
            rows, corrected = as_corrected(record, number, rows)
    if "service" in old:
        old["service"] = _of_sheets(old["service"], rows)
    new: dict[str, list[SheetRow]] = {noun.kind: [] for noun in NOUNS}
    for row in rows:
        new[noun_of(row.value).kind].append(row)
    ordered = _kinds_in_order(rows)
    every = (
        change
        for noun in NOUNS
        for change in compare(noun, old.get(noun.kind, ()), new[noun.kind], ordered=noun.kind in ordered)
    )
    changes = not_of_the_sheets(every, {row.value.file for row in rows if isinstance(row.value, Problem)})
    over_a_draft = any(kept.value.draft for kept in old.get("property", ()))
    if changes and number is not None and reason is None and not over_a_draft:
        if any(isinstance(row.value, Property) and row.value.draft for row in rows):
            raise ChangedSheetsError(_draft_over_complete(name))
        raise ChangedSheetsError(_difference(name, changes))
    return _Compared(changes, over_a_draft, tuple(corrected))


def _of_sheets(kept: Sequence[Kept], rows: Sequence[SheetRow]) -> list[Kept]:
    """Leave out service entries that were never in a sheet and are in none now: no sheet speaks of them."""
    written = {row.value for row in rows if isinstance(row.value, ServiceEntry)}
    return [each for each in kept if each.sheet != TYPED or each.value in written]


def _kinds_in_order(rows: Sequence[SheetRow]) -> set[str]:
    # Walls are a walk. Of the reference points the first is the origin of all output where neither the walk
    # nor [earth] names one.
    walk = any(noun_of(row.value).kind == "wall" for row in rows)
    named = any(
        isinstance(row.value, Property) and row.value.earth is not None and row.value.earth.reference for row in rows
    )
    return {"wall"} if walk or named else {"wall", "reference_point"}


def _draft_over_complete(name: str) -> str:
    return (
        f"{name}: the record holds complete sheets, and --draft would make a draft of them; nothing was stored; "
        "load without --draft, or give the reason: --supersede REASON"
    )


def _difference(name: str, changes: list[Change]) -> str:
    lines = [line for change in changes for line in change.lines()]
    more = len(lines) - LINES_SHOWN
    return "\n".join(
        [
            f"{name}: the sheets (+) differ from what is recorded (-); nothing was stored",
            *lines[:LINES_SHOWN],
            *([f"... and {more} more line{'' if more == 1 else 's'}"] if more > 0 else []),
            "to store them as a correction, give the reason: --supersede REASON",
        ]
    )


def _outcome(name: str, rows: Sequence[SheetRow], found: _Compared) -> LoadOutcome:
    readings = sum(not isinstance(row.value, Problem) for row in rows)
    changes = [change for change in found.changes if change.noun.cls is not Problem]
    added = sum(change.old is None for change in changes)
    withdrawn = sum(change.new is None for change in changes)
    superseded = len(changes) - added - withdrawn
    return LoadOutcome(name, added, superseded, withdrawn, readings - added - superseded, found.corrected)


def _refuse_double_names(record: Record, name: str) -> None:
    """Refuse two components of one name in the ground at one time, whatever brought them there."""
    number = property_id(record, name)
    if number is None:
        raise RecordError(f"{name!r} did not get into the record")
    by_name: dict[str, list[Component]] = {}
    for kept in current_rows(record, number)["component"]:
        by_name.setdefault(kept.value.name, []).append(kept.value)
    for component, same in by_name.items():
        for place, one in enumerate(same):
            for other in same[place + 1 :]:
                if _overlap(one, other):
                    raise RecordError(
                        f"{name}: two components are called {component!r} at one time ({_stay(one)}; "
                        f"{_stay(other)}); give the older one removed_on, or one of them another name"
                    )


def _overlap(one: Component, other: Component) -> bool:
    begin = max(one.installed_on or date.min, other.installed_on or date.min)
    return begin < min(one.removed_on or date.max, other.removed_on or date.max)


def _stay(component: Component) -> str:
    return f"from {component.installed_on or 'the beginning'} to {component.removed_on or 'now'}"

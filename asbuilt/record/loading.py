"""Field sheets into the record: new, unchanged, or superseding what was recorded, all in one transaction."""

from collections.abc import Callable, Sequence
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
    Draft,
    Kept,
    add_entries,
    add_entries_of_many,
    current_rows,
    property_id,
    unknown_property,
)
from asbuilt.record.nouns import NOUNS, noun_of
from asbuilt.record.typed import as_corrected, not_of_the_sheets
from asbuilt.record.views import old_view, undone_by

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
    seen: int | None = None,
    reckon: Reckon | None = None,
    keep_photos: Callable[[], None] | None = None,
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
    seen
        The number of the last entry that whoever gives the reason has seen; None = the sheets themselves must show
        that they were made from what is recorded now.
    reckon
        How the due list is reckoned, which is kept in the same transaction; None = it is reckoned when read.
    keep_photos
        Keeps the files of the rows' photos beside the record; called once it is known that nothing is refused, before
        anything is stored. None = there are none.

    Returns
    -------
    LoadOutcome
        Where sheets and record say the same, nothing is written. What was typed at the prompt stays, and a reading
        that was corrected there stays corrected; see `asbuilt.record.typed`.

    Raises
    ------
    ChangedSheetsError
        If they differ and no reason is given, or come from an older view of the record; the message shows what differs.
    UnknownNameError
        If a reason is given and there is nothing to supersede under that name.
    RecordError
        If there is not exactly one property in the rows, two components of one name exist at one time, the
        reason is blank, or the record cannot be written. Nothing was stored.
    """
    name = _property_name(rows)
    if supersede is not None and not supersede.strip():
        raise RecordError("the reason for superseding is blank; accepted: a few words, such as 'taped again'")
    found = _changes(record, name, rows, reason=supersede, seen=seen)
    if keep_photos is not None:
        keep_photos()
    if found.changes:
        with record.write():
            # Looked at again: somebody else may have written since, and now nobody can.
            found = _changes(record, name, rows, reason=supersede, seen=seen)
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


def _changes(
    record: Record, name: str, rows: Sequence[SheetRow], *, reason: str | None, seen: int | None = None
) -> _Compared:
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
    if changes and number is not None and reason is not None and not over_a_draft:
        _refuse_old_view(record, name, number, rows, seen)
    return _Compared(changes, over_a_draft, tuple(corrected))


def _refuse_old_view(record: Record, name: str, number: int, rows: Sequence[SheetRow], seen: int | None) -> None:
    """Refuse sheets that would undo what somebody else recorded since, unless that was seen."""
    last: int = record.connection.execute("SELECT entries FROM property WHERE id = ?", (number,)).fetchone()[0]
    if seen == last:
        return
    undone = undone_by(record, name, rows)
    if undone:
        raise ChangedSheetsError(old_view(name, undone, last, LINES_SHOWN))
    if seen is not None:
        raise ChangedSheetsError(
            f"{name}: --seen {seen}, and the last entry is {last}: look at what was recorded since (asbuilt log); "
            "nothing was stored"
        )


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


def store_new(record: Record, many: Sequence[Sequence[SheetRow]], action: Action) -> None:
    """Store properties that are not in the record yet, inside `record.write()`.

    Parameters
    ----------
    record
        A record open for writing.
    many
        The rows of each property, one of them a `Property`.
    action
        Who stores them, and when.

    Raises
    ------
    RecordError
        If there is not exactly one property in the rows of one, or one of that name is there already.
    """
    drafts: dict[str, list[Draft]] = {}
    for rows in many:
        name = _property_name(rows)
        if name in drafts or property_id(record, name) is not None:
            raise RecordError(f"{name!r} is in the record already; nothing was stored")
        last: dict[str, float] = {}
        own = drafts.setdefault(name, [])
        for row in rows:
            noun = noun_of(row.value)
            last[noun.kind] = last.get(noun.kind, 0.0) + 1.0
            own.append(Draft(noun, row.value, last[noun.kind], row.sheet, row.row))
    add_entries_of_many(record, drafts, action)

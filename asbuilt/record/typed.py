"""Readings typed at the prompt, and what becomes of them when the sheets are loaded again.

A sheet speaks of its own rows. A tape typed at the prompt stays when the sheets do not know it; a reading that was
corrected or withdrawn at the prompt stays so when the sheets still say what they said before.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from asbuilt.errors import Problem
from asbuilt.model.measurements import Tie
from asbuilt.record.changes import Change, SheetRow
from asbuilt.record.database import Record
from asbuilt.record.entries import Action, Draft, Kept, add_entries, current_rows, property_id, unknown_property
from asbuilt.record.nouns import NOUN_OF_KIND, Noun, noun_of
from asbuilt.record.rows import row_codec

PROMPT = "prompt"
"""Stands in the place of the sheet's name where a reading was typed at the prompt."""

_TIE = NOUN_OF_KIND["tie"]


def add_typed(record: Record, name: str, values: Sequence[Any], action: Action) -> None:
    """Add values that were typed at the prompt, inside `record.write()`, each behind the others of its kind."""
    number = property_id(record, name)
    rows = {} if number is None else current_rows(record, number)
    last = {kind: max((kept.position for kept in kept_rows), default=0.0) for kind, kept_rows in rows.items()}
    drafts = []
    for value in values:
        noun = noun_of(value)
        last[noun.kind] = last.get(noun.kind, 0.0) + 1.0
        drafts.append(Draft(noun, value, last[noun.kind], PROMPT, None))
    add_entries(record, name, drafts, action)


def supersede_typed(record: Record, name: str, changes: Sequence[tuple[Kept, Any | None]], action: Action) -> None:
    """Put values that were typed at the prompt over recorded ones, inside `record.write()`; None withdraws."""
    drafts = [
        Draft(noun_of(kept.value), value, None if value is None else kept.position, PROMPT, None, kept)
        for kept, value in changes
    ]
    add_entries(record, name, drafts, action)


def standing_rows(record: Record, name: str) -> dict[str, list[Kept]]:
    """Give the rows of a property that stand, by kind.

    Raises
    ------
    UnknownNameError
        If there is no such property.
    """
    number = property_id(record, name)
    if number is None:
        raise unknown_property(record, name)
    return current_rows(record, number)


def standing_ties(record: Record, name: str) -> list[Kept]:
    """Give the taped distances of a property that stand."""
    number = property_id(record, name)
    return [] if number is None else current_rows(record, number)[_TIE.kind]


@dataclass(frozen=True, slots=True)
class _Corrected:
    """What a sheet said, and what stands for it since somebody corrected it at the prompt."""

    was: Any
    now: Any | None  #: None = withdrawn


def as_corrected(record: Record, number: int, rows: Sequence[SheetRow]) -> tuple[list[SheetRow], list[str]]:
    """Bring the corrections made at the prompt into rows of sheets that do not know of them.

    Parameters
    ----------
    record
        An open record.
    number
        The property's `id`.
    rows
        Rows of sheets.

    Returns
    -------
    tuple
        The rows, and which readings were brought into line, as the sheets have them.
    """
    found = list(rows)
    brought: list[str] = []
    said = {row.value for row in found}
    for each in _corrections(record, number):
        if each.was not in said or each.now in said:
            continue
        place = next(k for k, row in enumerate(found) if row.value == each.was)
        if each.now is None:
            del found[place]
        else:
            found[place] = replace(found[place], value=each.now)  # type: ignore[type-var]  # rows are dataclasses
        said = {row.value for row in found}
        title = noun_of(each.was).title(each.was)
        brought.append(f"{title} {each.was.distance.as_read}" if isinstance(each.was, Tie) else title)
    return found, brought


def not_of_the_sheets(changes: Iterable[Change], files: Iterable[str] = ()) -> list[Change]:
    """Leave out withdrawals of what the sheets do not speak of.

    Parameters
    ----------
    files
        Sheets of a draft of which rows were left out: what was recorded from them before may be one of these.
    """
    silent = {PROMPT, *files}
    return [
        each
        for each in changes
        if each.new is not None or each.old is None or each.old.sheet not in silent or each.noun.cls is Problem
    ]


def _corrections(record: Record, number: int) -> list[_Corrected]:
    """Give the rows that were corrected or withdrawn at the prompt, from what their sheet said."""
    kinds = record.connection.execute(
        "SELECT DISTINCT kind FROM entry WHERE property_id = ? AND sheet = ? AND supersedes IS NOT NULL",
        (number, PROMPT),
    ).fetchall()
    return [each for (kind,) in kinds for each in _corrections_of(record, number, NOUN_OF_KIND[kind])]


def _corrections_of(record: Record, number: int, noun: Noun) -> list[_Corrected]:
    codec = row_codec(noun.cls)
    columns = ", ".join(f't."{name}"' for name in codec.names)
    # Table and columns are our own constants.
    rows = record.connection.execute(
        f"SELECT e.id, e.supersedes, e.sheet, e.withdrawn, {columns} FROM entry e "  # noqa: S608
        f"LEFT JOIN {noun.table} t ON t.entry_id = e.id WHERE e.property_id = ? AND e.kind = ?",
        (number, noun.kind),
    )
    entries = {cells[0]: (cells[1], cells[2], None if cells[3] else codec.value(cells, 4)) for cells in rows}
    superseded = {before for before, _, _ in entries.values()}
    found = []
    standing = {value for number, (_, _, value) in entries.items() if number not in superseded}
    for number, (before, sheet, value) in entries.items():
        if number in superseded or sheet != PROMPT or before is None:
            continue
        origin = before
        while entries[origin][1] == PROMPT and entries[origin][0] is not None:
            origin = entries[origin][0]
        was = entries[origin][2]
        if entries[origin][1] != PROMPT and was not in standing:
            found.append(_Corrected(was, value))
    return found

"""Any entry of the record corrected or withdrawn by its number: a new entry with a reason over the old one."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from asbuilt.errors import Problem, PromptError, RecordError, SheetError, UnknownNameError
from asbuilt.findings import Finding, Severity
from asbuilt.jobs.correct import told
from asbuilt.jobs.due import reckon
from asbuilt.jobs.locate import locate
from asbuilt.jobs.tape import refusing
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import Record, open_record
from asbuilt.record.due_state import keep_due
from asbuilt.record.entries import Action, Kept, read_property
from asbuilt.record.history import LogEntry, read_log
from asbuilt.record.nouns import NOUNS, Noun, noun_of
from asbuilt.record.sheets.again import FIRST_ROW, row_changed, sheet_problems
from asbuilt.record.sheets.cells import did_you_mean, shown
from asbuilt.record.sheets.columns import SHEETS
from asbuilt.record.sheets.write import FIELD_OF_SHEET
from asbuilt.record.typed import standing_rows, supersede_typed

SHEET_OF_FIELD = {field: sheet for sheet, field in FIELD_OF_SHEET.items()}

_BY_SHEETS = "change the sheets and load them: asbuilt load SHEETS --supersede REASON"


@dataclass(frozen=True, slots=True)
class Mended:
    """What became of an entry."""

    property: str
    draft: bool
    entry: LogEntry  #: the new entry
    findings: tuple[Finding, ...]  #: of the survey, that were not there before


def withdraw_entry(record_file: Path, name: str, number: int, *, reason: str, who: str, now: datetime) -> Mended:
    """Withdraw the entry of that number; it stays readable and no longer counts.

    Raises
    ------
    PromptError
        If something else hangs on it, so that the record could no longer be loaded or solved; all of it is named.
    UnknownNameError
        If there is no such property, or no entry of that number stands.
    RecordError
        If the reason is blank, such an entry cannot be withdrawn, or the record cannot be written. Nothing was stored.
    """

    def without(known: PropertyRecord, meant: _Meant) -> tuple[PropertyRecord, None]:
        if meant.noun.kind in ("property", "left_out"):
            raise RecordError(f"{name}: entry {number} is {meant.title}, which cannot be withdrawn; {_BY_SHEETS}")
        return meant.instead(known, ()), None

    return _mend(record_file, name, number, without, Action(who, now, told(reason)))


def correct_entry(
    record_file: Path, name: str, number: int, cells: Mapping[str, str], *, reason: str, who: str, now: datetime
) -> Mended:
    """Put a corrected row over the entry of that number.

    Parameters
    ----------
    cells
        New words by column of the row's sheet; blank empties the cell.

    Raises
    ------
    PromptError
        If the words cannot be taken, or the record could no longer be loaded or solved; every problem in one go.
    UnknownNameError
        If there is no such property, or no entry of that number stands.
    RecordError
        If the reason is blank, such an entry cannot be corrected so, or the record cannot be written. Nothing was
        stored.
    """

    def corrected(known: PropertyRecord, meant: _Meant) -> tuple[PropertyRecord, Any]:
        value = _corrected(known, meant, cells)
        if value == meant.kept.value:
            raise PromptError([Problem("--set", None, None, "says what is recorded already", "say what it should be")])
        return meant.instead(known, (value,)), value

    return _mend(record_file, name, number, corrected, Action(who, now, told(reason)))


@dataclass(frozen=True, slots=True)
class _Meant:
    """The row that is meant, and its place among those of its kind."""

    kept: Kept
    noun: Noun
    index: int

    @property
    def title(self) -> str:
        """How a person names it."""
        return self.noun.title(self.kept.value)

    def instead(self, known: PropertyRecord, values: Sequence[Any]) -> PropertyRecord:
        """Give the property with other rows, or none, in the place of this one."""
        rows = list(getattr(known, self.noun.field))
        rows[self.index : self.index + 1] = values
        changed: dict[str, Any] = {self.noun.field: tuple(rows)}
        return replace(known, **changed)


_Change = Callable[[PropertyRecord, _Meant], tuple[PropertyRecord, Any]]
"""From a property and the row that is meant to the property as it would be, and the new value; None withdraws."""


def _mend(record_file: Path, name: str, number: int, change: _Change, action: Action) -> Mended:
    with open_record(record_file) as record:
        known, meant = _standing(record, name, number)
        value, findings = _tried(known, meant, change)
        with record.write():
            # tried before anybody had to wait; what somebody else stored meanwhile counts all the same
            since = _standing(record, name, number)
            if since != (known, meant):
                known, meant = since
                value, findings = _tried(known, meant, change)
            supersede_typed(record, name, [(meant.kept, value)], action)
            keep_due(record, name, reckon)
            entry = read_log(record, name)[-1]
    return Mended(name, known.property.draft, entry, findings)


def _standing(record: Record, name: str, number: int) -> tuple[PropertyRecord, _Meant]:
    with record.read():
        rows = standing_rows(record, name)
        for noun in NOUNS:
            for index, kept in enumerate(rows[noun.kind]):
                if kept.seq == number:
                    return read_property(record, name), _Meant(kept, noun, index)
        log = read_log(record, name)
    raise UnknownNameError(f"{name}: {_no_longer(log, number)}; `asbuilt log` lists the entries (nothing was stored)")


def _no_longer(log: Sequence[LogEntry], number: int) -> str:
    over = next((each for each in log if each.supersedes == number), None)
    own = next((each for each in log if each.number == number), None)
    if over is not None:
        return f"entry {number} was {'withdrawn' if over.value is None else 'superseded'} by entry {over.number}"
    return f"there is no entry {number}" if own is None else f"entry {number} withdraws entry {own.supersedes}"


def _tried(known: PropertyRecord, meant: _Meant, change: _Change) -> tuple[Any, tuple[Finding, ...]]:
    """Try a change: refuse what could no longer be loaded or solved, and give what the survey says now and did not."""
    after, value = change(known, meant)
    _refuse_hanging(known, after, meant)
    before = {each.message for each in locate(known).findings}
    found = refusing(known, after).findings
    return value, tuple(each for each in found if each.severity is not Severity.NOTE and each.message not in before)


def _refuse_hanging(known: PropertyRecord, after: PropertyRecord, meant: _Meant) -> None:
    """Refuse a change after which the sheets of the record could no longer be loaded, and name what is in its way.

    The checks are those of loading; what they found before does not count.
    """
    before = {_named(known, each) for each in sheet_problems(known)}
    new = [each for each in dict.fromkeys(_named(after, each) for each in sheet_problems(after)) if each not in before]
    if new:
        raise PromptError([_head(meant), *(replace(each, accepted="mend or withdraw it first") for each in new)])


def _head(meant: _Meant) -> Problem:
    what = f"entry {meant.kept.seq}, {meant.title}"
    return Problem(what, None, None, "other rows hang on it, or do not go with it so", "mend or withdraw them first")


def _named(record: PropertyRecord, problem: Problem) -> Problem:
    """Say what the row with a problem is about, not where it would stand in sheets that nobody has."""
    field = FIELD_OF_SHEET.get(problem.file)
    if field is None or problem.row is None:
        return problem
    value = getattr(record, field)[problem.row - FIRST_ROW]
    column = None if problem.column is None else f"column {problem.column}"
    return Problem(noun_of(value).title(value), None, column, problem.reason, problem.accepted)


def _corrected(known: PropertyRecord, meant: _Meant, cells: Mapping[str, str]) -> Any:
    """Read a row again with some of its cells as typed, by the parsers of its sheet."""
    sheet = SHEET_OF_FIELD.get(meant.noun.field)
    if sheet is None or sheet == "photos.csv":
        raise RecordError(f"{meant.title} cannot be corrected so; withdraw it, or {_BY_SHEETS}")
    own = {field.name.rstrip("_") for field in fields(meant.kept.value)} | {"value", "unit"}
    columns = [column.name for column in SHEETS[sheet] if column.name in own]
    strange = [name for name in cells if name not in columns]
    if strange:
        accepted = f"accepted: {', '.join(columns)}"
        reasons = [(f"{shown(each)} is no column of {meant.title}", each) for each in strange]
        raise PromptError(
            [Problem("--set", None, None, reason, did_you_mean(each, columns, accepted)) for reason, each in reasons]
        )
    try:
        return row_changed(known, sheet, meant.index, cells)
    except SheetError as error:
        own_row = (sheet, FIRST_ROW + meant.index)
        typed = [each for each in error.problems if (each.file, each.row) == own_row]
        others = [_named(known, each) for each in error.problems if each not in typed]
        said = [Problem("--set", None, each.column, each.reason, each.accepted) for each in typed]
        raise PromptError([*said, *([_head(meant), *others] if others else [])]) from error

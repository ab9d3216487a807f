"""What falls due: of one property, and over all properties of a record by the list that is kept in it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from asbuilt.errors import UnknownNameError
from asbuilt.findings import Finding
from asbuilt.model.entries import PUMP_OUT
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.text.duelist import json_lines
from asbuilt.record.database import Record, open_record
from asbuilt.record.due_state import (
    DueRow,
    DueState,
    day_cell,
    keep_due,
    kept_state,
    read_due,
    read_due_texts,
    read_findings,
    row_text,
    stale_properties,
    task_names,
)
from asbuilt.record.entries import property_id, property_names, read_all, read_property, unknown_property
from asbuilt.record.profiles import built_in, built_in_names, profile_of, reckoned_by
from asbuilt.record.sheets.cells import did_you_mean, shown
from asbuilt.service.due import Due, Listed, overdue_finding
from asbuilt.service.schedule import due_tasks, settled_on

FEW = 200
"""Stale lists up to which each property is read by its name; above, reading the whole record once is faster."""

CHUNK = 500
"""Properties reckoned in one transaction: others that write wait for a second at most."""


@dataclass(frozen=True, slots=True)
class DueList:
    """What was asked for, soonest first, and what was noticed on the way."""

    listed: tuple[Listed, ...]
    findings: tuple[Finding, ...]
    reckoned_anew: int  #: properties whose kept list did not hold
    later: Listed | None = None  #: where nothing falls due in the days asked for, what comes next


def dues_of(record: PropertyRecord, today: date) -> tuple[tuple[Due, ...], tuple[Finding, ...]]:
    """Give what is due at one property by its own rule profile, and what was noticed."""
    return due_tasks(record, today, profile_of(record))


def reckon(record: PropertyRecord) -> DueState:
    """Reckon what is kept of one property's list: everything but what hangs on the day."""
    since = settled_on(record)
    dues, findings = dues_of(record, since)
    rows = tuple(map(due_row, dues))
    lasting = tuple(finding for finding in findings if finding.code != "overdue")
    return DueState(rows, lasting, since, _mark())


def due_row(due: Due) -> DueRow:
    """Give what is kept of one line of the list."""
    return DueRow(
        due.component,
        due.task,
        due.due_on,
        due.earliest_on,
        due.latest_on,
        due.reason,
        due.method,
        due.reference,
    )


def list_due(
    record_file: Path, today: date, *, within: int | None = None, name: str | None = None, task: str | None = None
) -> DueList:
    """List what is due over the properties of a record.

    Parameters
    ----------
    record_file
        The record.
    today
        The day from which is counted.
    within
        Only what is overdue or falls due in so many days; None = everything.
    name
        Only this property.
    task
        Only this task.

    Raises
    ------
    UnknownNameError
        If there is no such property, or a task that neither the whole list nor a rule profile of ours has.
    """
    until = None if within is None else _until(today, within)
    with open_record(record_file, read_only=True) as record, record.read():
        stale = _stale(record, today, name)
        listed = [
            Listed(_due(kept.property, kept.row, today), kept.address, kept.owner, kept.phone)
            for kept in read_due(record, until=until, name=name, task=task, without=stale)
        ]
        findings = {each: said for each, said in read_findings(record, name).items() if each not in set(stale)}
        reckoned: set[str] = set()
        for known in _known(record, stale):
            dues, said = dues_of(known, today)
            reckoned |= {due.task for due in dues}
            place = known.property
            listed += [Listed(due, place.address, place.owner, place.phone) for due in dues if _asked(due, until, task)]
            findings[place.name] = tuple(each for each in said if each.code != "overdue")
        several = name is None and _count(record) > 1
        if task is not None and not listed:
            _refuse_unknown(record, task, reckoned)
    listed.sort(key=lambda each: _order(each.due))
    told = [
        *(each for place, said in findings.items() for each in (_named(place, said) if several else said)),
        *(each for one in listed for each in _overdue(one.due, today, named=several)),
    ]
    later = None if listed or within is None else next_due(record_file, today, name=name, task=task)
    return DueList(tuple(listed), tuple(told), len(stale), later)


def next_due(record_file: Path, today: date, *, name: str | None = None, task: str | None = None) -> Listed | None:
    """Give what falls due soonest of all that has a date; None = nothing has one."""
    listed = list_due(record_file, today, name=name, task=task).listed
    return next((each for each in listed if each.due.due_on is not None), None)


def due_json(
    record_file: Path, today: date, *, within: int | None = None, name: str | None = None, task: str | None = None
) -> tuple[str, bool]:
    """Give the text of `due --json` straight from the kept list, and whether something needs attention.

    The same rows as `list_due` gives, one a line, without making a value of each: an office asks this over 100,000
    properties.
    """
    until = None if within is None else _until(today, within)
    day = today.isoformat()
    with open_record(record_file, read_only=True) as record, record.read():
        stale = set(names := _stale(record, today, name))
        texts = read_due_texts(record, until=until, name=name, task=task, without=stale)
        attention = any(each not in stale for each in read_findings(record, name, attention=True))
        reckoned: set[str] = set()
        for known in _known(record, names):
            dues, said = dues_of(known, today)
            reckoned |= {due.task for due in dues}
            texts += [_text(due) for due in dues if _asked(due, until, task)]
            attention = attention or any(each.code != "overdue" and each.severity.rank > 0 for each in said)
        if task is not None and not texts:
            _refuse_unknown(record, task, reckoned)
    if stale:
        texts.sort()
    ends = (', "overdue": false}', ', "overdue": true}')
    lines = [text + ends[due_on < day] for due_on, _, _, _, text in texts]
    return json_lines(lines), attention or bool(texts and texts[0][0] < day)


def _refuse_unknown(record: Record, task: str, reckoned: Iterable[str]) -> None:
    """Refuse a task that nothing is about: to a misspelt one the answer would be that nothing is due."""
    ours = (each.name for profile in built_in_names() for each in built_in(profile).tasks)
    known = sorted({PUMP_OUT, *ours, *task_names(record), *reckoned})
    if task not in known:
        accepted = f"accepted: {', '.join(known)}"
        raise UnknownNameError(f"no task {shown(task)}; {did_you_mean(task, known, accepted)}")


def _text(due: Due) -> tuple[str, str, str, str, str]:
    """Give a fresh row as the kept list has it."""
    row = due_row(due)
    return (day_cell(row.due_on), due.property, row.component, row.task, row_text(due.property, row))


def rebuild(record_file: Path) -> tuple[int, int]:
    """Reckon the list of every property anew and keep it.

    Returns
    -------
    tuple
        How many properties there are, and of how many the kept list differed from the reckoning or was missing.
    """
    differing = 0
    with open_record(record_file) as record:
        names = property_names(record)
        for begin in range(0, len(names), CHUNK):
            with record.write():
                for name in names[begin : begin + CHUNK]:
                    number = property_id(record, name)
                    before = None if number is None else kept_state(record.connection, number)
                    keep_due(record, name, reckon)
                    differing += number is None or kept_state(record.connection, number) != before
    return len(names), differing


@cache
def _mark() -> str:
    return reckoned_by()


def _stale(record: Record, today: date, name: str | None) -> list[str]:
    if name is not None and property_id(record, name) is None:
        raise unknown_property(record, name)
    return stale_properties(record, today, _mark(), name)


def _known(record: Record, names: Sequence[str]) -> Iterator[PropertyRecord]:
    if len(names) <= FEW:
        yield from (read_property(record, name) for name in names)
        return
    wanted = set(names)
    yield from (known for known in read_all(record) if known.property.name in wanted)


def _due(name: str, row: DueRow, today: date) -> Due:
    overdue = row.due_on is not None and row.due_on < today
    return Due(
        name,
        row.component,
        row.task,
        row.due_on,
        row.earliest_on,
        row.latest_on,
        row.reason,
        row.method,
        row.reference,
        overdue,
    )


def _asked(due: Due, until: date | None, task: str | None) -> bool:
    in_time = until is None or (due.due_on is not None and due.due_on <= until)
    return in_time and task in (None, due.task)


def _until(today: date, within: int) -> date:
    return date.fromordinal(min(date.max.toordinal(), today.toordinal() + within))


def _order(due: Due) -> tuple[Any, ...]:
    return (due.due_on is None, due.due_on or date.max, due.property, due.component, due.task)


def _named(name: str, findings: Iterable[Finding]) -> list[Finding]:
    return [replace(one, message=f"{name}, {one.message}") for one in findings]


def _overdue(due: Due, today: date, *, named: bool) -> list[Finding]:
    if not due.overdue or due.due_on is None:
        return []
    finding = overdue_finding(due.component, due.task, due.due_on, today)
    return _named(due.property, [finding]) if named else [finding]


def _count(record: Record) -> int:
    return int(record.connection.execute("SELECT count(*) FROM property").fetchone()[0])

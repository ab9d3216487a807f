"""A property without its households, or without anything personal: dates that hang on people stay as intervals.

A reckoning without the people, or with those of one building of several, would put a pump-out too late. So each date
that comes later in the copy gets an interval of its own there, which brings it back. That interval is rounded down,
because from an exact one the number of people could be reckoned, or that of the other households.
"""

from dataclasses import replace
from datetime import date

from asbuilt.errors import UnknownNameError
from asbuilt.jobs.due import dues_of
from asbuilt.model.private import public_copy
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.tasks import OwnTask

WHOLE_SYSTEM = "everybody on this system is counted; so reckoned when this copy was made, and rounded down"
"""The note of an interval that stands in for households that a copy leaves out."""

MONTH_DAYS = 30.4375
"""Days of a month in an interval, as `service.due.months_after` counts them."""

LONGEST_DAYS = 36_525


def public_record(known: PropertyRecord, today: date) -> PropertyRecord:
    """Leave out everything personal. No date in the copy is later than in the record; some are earlier."""
    return _dated(known, public_copy(known), today)


def building_record(known: PropertyRecord, building: str, today: date) -> PropertyRecord:
    """Leave out all households where others than this building's are on the system; no date comes later by it.

    Raises
    ------
    UnknownNameError
        If no household is of that building.
    """
    check_building(known, building)
    if all(row.building == building for row in known.household):
        return known
    return _dated(known, replace(known, household=()), today)


def check_building(known: PropertyRecord, building: str) -> None:
    """Refuse a building that no household is of.

    Raises
    ------
    UnknownNameError
        If it is one.
    """
    names = list(dict.fromkeys(row.building for row in known.household if row.building))
    if building not in names:
        listed = ", ".join(map(repr, names)) or "none"
        raise UnknownNameError(f"{known.property.name}: no building {building!r} in household.csv; it names {listed}")


def _dated(known: PropertyRecord, bare: PropertyRecord, today: date) -> PropertyRecord:
    """Give each task that would fall due later, or never, an interval by which it does not."""
    for due in dues_of(known, today)[0]:
        now = _due_on(bare, due.component, due.task, today)
        if due.due_on is not None and (now is None or now > due.due_on):
            task = OwnTask(due.component, due.task, source="owner", note=WHOLE_SYSTEM)
            days = _longest(bare, task, due.due_on, today)
            if days:
                bare = _with_task(bare, replace(task, every_months=_round_down(days / MONTH_DAYS)))
    return bare


def _due_on(record: PropertyRecord, component: str, task: str, today: date) -> date | None:
    return next((d.due_on for d in dues_of(record, today)[0] if (d.component, d.task) == (component, task)), None)


def _longest(record: PropertyRecord, task: OwnTask, due_on: date, today: date) -> int:
    """Find the longest interval, days, by which a task does not fall due later; 0 where none brings a date."""
    low, high = 0, LONGEST_DAYS
    while low < high:
        days = (low + high + 1) // 2
        tried = _with_task(record, replace(task, every_months=round(days / MONTH_DAYS, 6)))
        found = _due_on(tried, task.component, task.task, today)
        low, high = (days, high) if found is not None and found <= due_on else (low, days - 1)
    return low


def _round_down(months: float) -> float:
    """Round an interval down: to whole years, below one to quarters of a year, below that to a month."""
    step = 12.0 if months >= 12 else 3.0 if months >= 3 else 1.0
    return max(1.0, months // step * step)


def _with_task(record: PropertyRecord, task: OwnTask) -> PropertyRecord:
    return replace(record, tasks=(*record.tasks, task))

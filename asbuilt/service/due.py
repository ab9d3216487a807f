"""One task that falls due: when, why, and by what."""

import calendar
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from asbuilt.findings import Finding, Severity
from asbuilt.model.entries import PUMP_OUT


@dataclass(frozen=True, slots=True)
class Due:
    """One task on one component, when it falls due and why; the keys of `due --json`."""

    property: str
    component: str
    task: str
    due_on: date | None  #: None = never, as things are recorded
    earliest_on: date | None
    latest_on: date | None
    reason: str  #: one plain sentence
    method: str
    reference: str
    overdue: bool  #: due before `today`

    def as_json(self) -> dict[str, str | bool | None]:
        """Give the keys of `due --json`, dates as YYYY-MM-DD."""
        return {
            "property": self.property,
            "component": self.component,
            "task": self.task,
            "due_on": _iso(self.due_on),
            "earliest_on": _iso(self.earliest_on),
            "latest_on": _iso(self.latest_on),
            "reason": self.reason,
            "method": self.method,
            "reference": self.reference,
            "overdue": self.overdue,
        }


@dataclass(frozen=True, slots=True)
class Listed:
    """One task that is due, and whom to call."""

    due: Due
    address: str | None = None
    owner: str | None = None
    phone: str | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """One of the intervals that a task may be due by."""

    due_on: date | None
    earliest_on: date | None
    latest_on: date | None
    reason: str
    method: str
    reference: str
    brief: str  #: the interval in a few words, for when another one wins


def earliest_of(candidates: Sequence[Candidate]) -> Candidate:
    """Choose the candidate that falls due first, and say in its reason what the others would give."""
    by_day = sorted(candidates, key=lambda candidate: candidate.due_on or date.max)
    first, rest = by_day[0], by_day[1:]
    if not rest:
        return first
    others = ", ".join(f"{other.brief} {_iso(other.due_on) or 'no date'}" for other in rest)
    return replace(first, reason=f"{first.reason}; this is the earliest ({others})")


def preferred(candidate: Candidate, since: date, months: frozenset[int]) -> Candidate:
    """Add the last of the preferred months before a task falls due; the due date itself stays.

    Months are a preference and never a bar: nothing is put off for them.
    """
    due_on = candidate.due_on
    if due_on is None or not months or due_on.month in months:
        return candidate
    year, month = due_on.year, due_on.month
    while (year, month) > (since.year, since.month):
        year, month = (year, month - 1) if month > 1 else (year - 1, 12)
        if month in months and (year, month) > (since.year, since.month):
            words = f"best done in {calendar.month_name[month]} {year}, the last preferred month before it"
            return replace(candidate, reason=f"{candidate.reason}; {words}")
    return replace(candidate, reason=f"{candidate.reason}; no preferred month comes before it")


def months_after(day: date, months: float) -> date | None:
    """Give the day so many months later; the 31st becomes the last day of a shorter month.

    Parts of a month count as days of 30.4375. None beyond the calendar's year 9999.

    Examples
    --------
    >>> months_after(date(2024, 2, 29), 12), months_after(date(2026, 1, 31), 1)
    (datetime.date(2025, 2, 28), datetime.date(2026, 2, 28))
    """
    whole = int(months)
    year, month = divmod(day.year * 12 + day.month - 1 + whole, 12)
    if not 1 <= year <= 9999:
        return None
    month += 1
    stepped = date(year, month, min(day.day, calendar.monthrange(year, month)[1]))
    extra = round((months - whole) * 30.4375)
    return date.fromordinal(min(stepped.toordinal() + extra, date.max.toordinal()))


def months_words(months: float) -> str:
    """Write an interval as people say it."""
    if months >= 12 and months % 12 == 0:
        years = months / 12
        return "every year" if years == 1 else f"every {years:g} years"
    return "every month" if months == 1 else f"every {months:g} months"


def overdue_finding(component: str, task: str, due_on: date, today: date) -> Finding:
    """Say that a task is overdue, with the number of days."""
    late = (today - due_on).days
    message = f"{component}: {task} was due {due_on.isoformat()}, {late} {'day' if late == 1 else 'days'} ago."
    mend = "Have it done, or record when it was done."
    if task == PUMP_OUT:
        mend = "Have it pumped by a licensed pumper, or have its sludge and scum measured."
    return Finding("overdue", component, message, Severity.ATTENTION, mend)


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()

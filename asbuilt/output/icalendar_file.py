"""Calendars (RFC 5545): what is due as whole days, and the stops of a route at their times.

A calendar program that reads such a file again puts an event in the place of the one with the same UID, if its
DTSTAMP is later (RFC 5546, section 2.1.5). So a UID is made of what an event is about and of nothing that changes.
Days are written as days and times as times of the place itself ("floating", RFC 5545 section 3.3.5), so that no time
zone can shift them.
"""

import json
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from uuid import UUID, uuid5

from icalendar import Calendar, Event

from asbuilt.output.words import clean, one_line
from asbuilt.service.due import Due, Listed
from asbuilt.service.routes import Halt, Plan, Run, Stop

PRODUCER = "-//asbuilt//what is due//EN"

NAMESPACE = UUID("5f4a2c0e-3d0b-5b61-9c57-6a3f2e8d1b90")
"""Our own namespace for the names that UIDs are made of; drawn once, never changed."""


def due_calendar(listed: Iterable[Listed], now: datetime) -> str | None:
    """Write what is due as a calendar, one event of a whole day for each task that has a date.

    Parameters
    ----------
    now
        When it is written, with its time zone.

    Returns
    -------
    str or None
        The text with its line ends; None where nothing has a date, because a calendar holds at least one event
        (RFC 5545, section 3.6).
    """
    events = (_due_event(each, now) for each in listed if each.due.due_on is not None)
    return _calendar(events)


def route_calendar(plan: Plan, now: datetime) -> str | None:
    """Write the stops of a plan as a calendar, each at its time; None where no stop is planned."""
    first = min((day.on for day in plan.tour.days), default=date.min)
    return _calendar(
        _stop_event(plan.tour.stops[halt.index], halt, run, first, now)
        for run in plan.runs
        for halt in run.halts
        if halt.kind == "stop"
    )


def uid_of(*names: str) -> str:
    """Make the UID of what an event is about.

    Examples
    --------
    >>> uid_of("due", "Fernbank Lane 14", "septic tank", "pump-out")
    'ba2e5343-5898-5a3e-863c-c89e0af4f3d5'
    """
    return str(uuid5(NAMESPACE, json.dumps(names)))


def _calendar(events: Iterable[Event]) -> str | None:
    calendar = Calendar()
    calendar.add("prodid", PRODUCER)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    for event in events:
        calendar.add_component(event)
    return str(calendar.to_ical(sorted=False), "utf-8") if calendar.subcomponents else None


def _event(uid: str, now: datetime, summary: str, lines: Sequence[str | None], address: str | None) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", now.astimezone(UTC).replace(microsecond=0))
    event.add("summary", one_line(summary))
    event.add("description", "\n".join(clean(line) for line in lines if line))
    if address:
        event.add("location", one_line(address))
    return event


def _due_event(each: Listed, now: datetime) -> Event:
    due = each.due
    late = "Overdue: " if due.overdue else ""
    lines = [
        due.reason,
        f"Between {due.earliest_on} and {due.latest_on}, as use varies." if due.earliest_on and due.latest_on else None,
        f"Source of the interval: {due.reference}",
        f"Call: {each.owner or ''} {each.phone or ''}" if each.owner or each.phone else None,
    ]
    summary = f"{late}{due.task} of {due.component}, {due.property}"
    event = _event(due_uid(due), now, summary, lines, each.address)
    event.add("dtstart", due.due_on)  # a day without an end is one day (RFC 5545, section 3.6.1)
    event.add("transp", "TRANSPARENT")  # a day on which something is due is not a day on which nobody has time
    event.add("categories", [one_line(due.task)])
    return event


def due_uid(due: Due) -> str:
    """Make the UID of a task: the same whenever it falls due, so that a new date moves the event."""
    return uid_of("due", due.property, due.component, due.task)


def _stop_event(stop: Stop, halt: Halt, run: Run, first: date, now: datetime) -> Event:
    uid = uid_of("stop", first.isoformat(), stop.name, *(f"{work.component}\n{work.task}" for work in stop.works))
    lines = [
        f"{stop.works_words}; {stop.due_words}",
        *stop.notes,
        f"Also due there: {', '.join(stop.also_due)}" if stop.also_due else None,
        f"Call: {stop.owner or ''} {stop.phone or ''}" if stop.owner or stop.phone else None,
    ]
    event = _event(uid, now, f"{stop.name}: {stop.works_words} ({run.day.truck.name})", lines, stop.address)
    begin = datetime.combine(run.day.on, datetime.min.time())
    event.add("dtstart", begin + timedelta(seconds=halt.begin_s))
    event.add("dtend", begin + timedelta(seconds=halt.leave_s))
    return event

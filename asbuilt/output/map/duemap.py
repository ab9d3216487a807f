"""The map of what is due: one pin a property, by its most urgent task."""

from collections.abc import Mapping, Sequence
from datetime import date

from asbuilt.output.map.pinmap import Pin, PinGroup, PinSheet, Section, render_pins
from asbuilt.service.due import Listed
from asbuilt.service.routes import Urgency, urgency_of

GROUPS = (
    PinGroup("long", "Overdue by more than a year", "#7a0010", shape="octagon", mark="!!"),
    PinGroup("overdue", "Overdue", "#c8001e", shape="triangle", mark="!"),
    PinGroup("days30", "Due in 30 days", "#a84300", shape="square", mark="30"),
    PinGroup("days90", "Due in 90 days", "#7a5b00", shape="diamond", mark="90"),
    PinGroup("year", "Due in a year", "#00622a", shape="circle", mark="1y"),
    PinGroup("later", "Due later", "#31465c", shape="drop"),
    PinGroup("never", "No date", "#4a4a4a", shape="drop", mark="?"),
)
"""In the order of `Urgency`. Shape and mark tell the steps apart as well as colour does."""

Place = tuple[float, float]
"""Longitude and latitude, degrees."""


def due_map(listed: Sequence[Listed], places: Mapping[str, Place], today: date) -> str:
    """Draw what is due as a map: one HTML document.

    Parameters
    ----------
    listed
        What is due, soonest first.
    places
        Where the properties lie; one that is missing stands in the list only, under its own heading.
    today
        The day for which it is drawn.
    """
    by_property: dict[str, list[Listed]] = {}
    for each in listed:
        by_property.setdefault(each.due.property, []).append(each)
    pins: dict[Urgency, list[Pin]] = {step: [] for step in Urgency}
    unplaced: list[Pin] = []
    for name, dues in by_property.items():
        urgency = min(urgency_of(each.due.due_on, today) for each in dues)
        place = places.get(name)
        pin = _pin(name, dues, urgency, place, today)
        (pins[urgency] if place is not None else unplaced).append(pin)
    sections = [Section(GROUPS[step].title, tuple(pins[step])) for step in Urgency if pins[step]]
    if unplaced:
        note = "No coordinates are recorded, so these are not on the map: [earth] or known_coordinates.csv gives them."
        sections.append(Section("Without a place", tuple(unplaced), note))
    count = len(by_property)
    sheet = PinSheet(
        "What is due",
        (f"As of {today}: {count:,} {'property' if count == 1 else 'properties'}, each by its most urgent task",),
        GROUPS,
        tuple(sections),
        clustered=True,
        advice="list fewer (--within DAYS, --task TASK or --property PROPERTY)",
    )
    return render_pins(sheet)


def _pin(name: str, dues: Sequence[Listed], urgency: Urgency, place: Place | None, today: date) -> Pin:
    lines = []
    for each in dues:
        step = urgency_of(each.due.due_on, today).words
        when = "no date" if each.due.due_on is None else f"{each.due.due_on}, {step}"
        lines.append(f"{each.due.task} of {each.due.component}: {when}")
    whom = ", ".join(part for part in (dues[0].address, dues[0].owner, dues[0].phone) if part)
    longitude, latitude = place or (None, None)
    return Pin(GROUPS[urgency].key, name, (*lines, *([whom] if whom else [])), "", longitude, latitude)

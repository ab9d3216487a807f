"""Tests before cover and the settings of the first day: watertightness, plumbing, box, floats, alarm."""

from collections.abc import Iterator

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.look import Look, verdict
from asbuilt.model.components import Component
from asbuilt.model.site_readings import SiteReading

GROUP = "tests"

_TESTS = {
    "watertightness": ("the watertightness test", "Find the leak, mend it and test again before it is covered."),
    "plumbing-test": ("the plumbing test", "Find the leak, mend it and test again before it is covered."),
    "alarm-test": ("the alarm test", "Look at the float, its cable and its breaker; test again."),
}
"""Readings that are passed or failed: what each is, and what to do where it failed."""

_LENGTHS = {
    "watertight_drop": (
        "watertight-drop",
        "the water fell in the watertightness test by",
        "Find the leak and mend it.",
    ),
    "outlet_spread": (
        "outlet-spread",
        "its outlets differ in level by",
        "Level the box or its outlets, fill it again.",
    ),
}
"""Readings of a length that a limit may be about: the reading, what it says, and what to do where it is too much."""


def setting_items(look: Look) -> list[CheckItem]:
    """Say what the tests gave and whether the settings can be."""
    items = []
    for component in look.components:
        for reading, (what, act) in _TESTS.items():
            found = look.latest(component.name, reading)
            if found is not None:
                items.append(_passed(component, found, what, act))
        for key, told in _LENGTHS.items():
            items += _length(look, component, key, *told)
        items += _floats(look, component)
    return [*items, *_breakers(look)]


def _passed(component: Component, reading: SiteReading, what: str, act: str) -> CheckItem:
    passed = reading.number > 0
    by = f" by {reading.by}" if reading.by else ""
    words = f"{component.name}: {what} {'was passed' if passed else 'FAILED'} on {reading.on.isoformat()}{by}."
    outcome = Outcome.DONE if passed else Outcome.OUTSIDE
    return CheckItem(reading.reading, GROUP, component.name, outcome, words, next_act="" if passed else act)


def _length(look: Look, component: Component, key: str, reading: str, what: str, act: str) -> Iterator[CheckItem]:
    found = look.latest(component.name, reading)
    if found is None:
        return
    measured = look.length(found.number)
    limits = look.profile.limits_for(key, component.kind)
    if not limits:
        words = f"{component.name}: {what} {measured} on {found.on.isoformat()}; the profile has no limit for it."
        yield CheckItem(reading, GROUP, component.name, Outcome.DONE, words, measured)
    for limit in limits:
        outcome = verdict(found.number, 0.0, limit)
        words = f"{component.name}: {what} {measured} on {found.on.isoformat()}; {limit.shown()} is asked for."
        mend = "" if outcome is Outcome.DONE else act
        source = limit.source()
        yield CheckItem(reading, GROUP, component.name, outcome, words, measured, limit.shown(), source, mend)


def _floats(look: Look, component: Component) -> Iterator[CheckItem]:
    """Say whether stop, start and alarm stand one above the other, read up from the bottom or down from a mark."""
    names = ("float-off", "float-on", "float-alarm")
    off, on, alarm = (look.latest(component.name, name) for name in names)
    if off is None or on is None or alarm is None:
        return
    way = on.number - off.number
    good = way != 0 and (alarm.number - on.number) * way > 0
    settings = f"stop {look.length(off.number)}, start {look.length(on.number)}, alarm {look.length(alarm.number)}"
    words = f"{component.name}: {settings}, read {alarm.on.isoformat()}"
    words += "." if good else ": they do not stand one above the other."
    act = "" if good else "Measure all levels one way on one day; if they are right, set the floats anew."
    outcome = Outcome.DONE if good else Outcome.OUTSIDE
    source = "trade practice: the alarm stands above the start, the start above the stop (common practice)"
    yield CheckItem("floats-in-order", GROUP, component.name, outcome, words, settings, None, source, act)


def _breakers(look: Look) -> Iterator[CheckItem]:
    """Say whether the alarm has a breaker of its own: a tripped pump must not silence it."""
    panel = look.record.property.panel
    if not look.pumped() or not panel.breaker or not panel.alarm_breaker:
        return
    pump, alarm = (" ".join(text.casefold().split()) for text in (panel.breaker, panel.alarm_breaker))
    own = pump != alarm
    words = f"Pump: {panel.breaker}. Alarm: {panel.alarm_breaker}."
    act = (
        "" if own else "Have an electrician put the alarm on a circuit of its own: a tripped pump must not silence it."
    )
    if not own:
        words = f"Pump and alarm hang on one breaker: {panel.breaker}."
    facts = look.profile.facts_of("the property")
    source = next((fact.source() for fact in facts if "panel.alarm_breaker" in fact.columns), None)
    outcome = Outcome.DONE if own else Outcome.OUTSIDE
    yield CheckItem("alarm-circuit", GROUP, "alarm", outcome, words, next_act=act, source=source)

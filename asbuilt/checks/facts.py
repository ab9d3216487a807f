"""What must be told besides points: columns, readings, outlines and components, as the rule profile lists them."""

from collections.abc import Iterator

from asbuilt.checks.evidence import STATE
from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.look import Look, listed
from asbuilt.model.components import Component
from asbuilt.rules.required import PROPERTY, RequiredFact
from asbuilt.shapes import Outlines
from asbuilt.units import FOOT_M

_FILL = "Fill {columns} in {sheet}."


def fact_items(look: Look, outlines: Outlines) -> list[CheckItem]:
    """Say what of all that the profile asks for is told, and what is not."""
    place = look.record.property.name
    asked = [fact for fact in look.profile.facts_of(PROPERTY) if look.asked(fact.needs) and STATE not in fact.columns]
    items = [_of_property(look, fact, place) for fact in asked]
    for fact in dict.fromkeys(fact for each in look.components for fact in look.profile.facts_of(each.kind)):
        if look.asked(fact.needs):
            items += _of_components(look, fact, outlines)
    for component in look.components:
        items += _tracer_end(component)
    return items


def _of_property(look: Look, fact: RequiredFact, place: str) -> CheckItem:
    group = "locations" if fact.components else "evidence"
    if fact.components:
        found = [each.name for word in fact.components for each in look.of_kinds(word)]
        act = f"Add it to components.csv, kind {' or '.join(fact.components)}, and tape its points."
    else:
        found = [text for key in fact.columns if (text := _told(look, key))]
        act = _FILL.format(columns=" or ".join(map(_key_words, fact.columns)), sheet="property.toml")
    if found:
        words = f"{_capital(fact.what)}: {listed(found)}."
        return CheckItem("told", group, place, Outcome.DONE, words, source=fact.source())
    words = f"{_capital(fact.what)} is not recorded."
    return CheckItem("not-told", group, place, Outcome.MISSING, words, source=fact.source(), next_act=act)


def _key_words(key: str) -> str:
    """Name a key of property.toml: breaker under [panel]."""
    table, _, own = key.rpartition(".")
    return f"{own} under [{table}]" if table else own


def _told(look: Look, key: str) -> str:
    """Give the text of a key of property.toml, such as `panel.breaker`; empty where it is not filled."""
    value: object = look.record.property
    for part in key.split("."):
        value = getattr(value, part, None)
    return "" if value is None else "yes" if value is True else "no" if value is False else str(value)


def _of_components(look: Look, fact: RequiredFact, outlines: Outlines) -> Iterator[CheckItem]:
    """Yield one line for all components that lack a fact, and one for those that have it."""
    about = [each for each in look.components if fact in look.profile.facts_of(each.kind)]
    if fact.outline:
        for component in about:
            yield _outline(look, component, fact, outlines)
        return
    group = "tests" if fact.readings else "locations"
    lacking = [each.name for each in about if not _has(look, each, fact)]
    there = [each.name for each in about if each.name not in lacking]
    if lacking:
        columns, sheet = (fact.readings, "readings.csv") if fact.readings else (fact.columns, "components.csv")
        words = f"{_capital(fact.what)} is not recorded: {listed(lacking, 12)}."
        act = _FILL.format(columns=" or ".join(columns), sheet=sheet)
        if fact.note and "none" in fact.note:
            act += f" ({fact.note})"
        yield CheckItem("not-told", group, _subject(lacking), Outcome.MISSING, words, None, None, fact.source(), act)
    if there:
        words = f"{_capital(fact.what)} is recorded: {listed(there, 12)}."
        yield CheckItem("told", group, _subject(there), Outcome.DONE, words, source=fact.source())


def _has(look: Look, component: Component, fact: RequiredFact) -> bool:
    if fact.readings:
        return look.latest(component.name, *fact.readings) is not None
    return any(getattr(component, column) not in (None, "") for column in fact.columns)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _subject(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{len(names)} components"


def _outline(look: Look, component: Component, fact: RequiredFact, outlines: Outlines) -> CheckItem:
    """Say whether the outline of a component follows from what is recorded."""
    shape = outlines.of(component.name)
    group, name = "locations", component.name
    if shape is None or shape.area == 0:
        words = f"{name}: {fact.what} cannot be drawn: neither corners nor length and width are recorded."
        act = "Tape its corners, or fill length and width in components.csv."
        return CheckItem("no-outline", group, name, Outcome.MISSING, words, None, None, fact.source(), act)
    if not outlines.direction_known(name):
        words = f"{name}: {fact.what} is drawn along the first wall of the house: which way it lies was not measured."
        act = "Tape a second point of it: another lid, a corner, the middle of one end; then fill end_to_lid."
        return CheckItem("outline-direction", group, name, Outcome.DOUBTFUL, words, None, None, fact.source(), act)
    area = _area(shape.area, look.record.property.units)
    words = f"{name}: {fact.what} follows from {len(look.points(name))} points and its sizes; {area}."
    return CheckItem("outline", group, name, Outcome.DONE, words, area, source=fact.source())


def _area(square_metres: float, units: str) -> str:
    return f"{square_metres:,.1f} m2" if units == "m" else f"{square_metres / FOOT_M**2:,.0f} ft2"


def _tracer_end(component: Component) -> Iterator[CheckItem]:
    """Yield what is missing of a tracer wire: it is of use only where its end comes up."""
    marker = (component.marker or "").casefold()
    if "tracer" in marker and not component.marker_end:
        words = f"{component.name}: where the end of its tracer wire comes up is not recorded."
        source = "trade practice: a tracer wire is clipped on at its end (common practice)"
        act = "Fill marker_end in components.csv."
        yield CheckItem("tracer-end", "locations", component.name, Outcome.MISSING, words, None, None, source, act)

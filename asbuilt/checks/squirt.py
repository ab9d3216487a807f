"""Squirt heights of pressure laterals: flow by the orifice equation, and how evenly it is spread."""

import math
from collections.abc import Iterator, Mapping

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.look import Look, listed
from asbuilt.model.components import Component
from asbuilt.model.site_readings import SiteReading
from asbuilt.rules.keys import METRES
from asbuilt.rules.profile import Limit
from asbuilt.units import FOOT_M, INCH_M

GROUP = "tests"

COEFFICIENT = 11.79
"""Of the orifice equation in gallons a minute, inches and feet of head: from memory (pressure manuals of Wisconsin and
the EPA); the printed table of the MPCA and the University of Minnesota follows from it. A discharge coefficient of 0.60
with g = 32.174 ft/s2 gives 11.78."""


def orifice_gpm(diameter_in: float, head_ft: float) -> float:
    """Flow through one orifice, US gallons a minute: 11.79 d2 sqrt(h).

    Examples
    --------
    >>> round(orifice_gpm(0.25, 3.0), 2)
    1.28
    """
    return COEFFICIENT * diameter_in**2 * math.sqrt(head_ft)


def spread_percent(heights: list[float]) -> float:
    """By how much the largest height is above the smallest, in % of the smallest.

    Examples
    --------
    >>> round(spread_percent([1.21, 1.0]), 6)
    21.0
    """
    return 100 * (max(heights) / min(heights) - 1) if min(heights) > 0 else math.inf


def squirt_items(look: Look) -> list[CheckItem]:
    """Hold the squirt heights of each lateral, and of all together, against the rules of the profile."""
    read = {each.name: _heights(look, each) for each in look.of_kinds("lateral")}
    read = {name: heights for name, heights in read.items() if heights}
    items = [*_untold(look, read)]
    for component in look.of_kinds("lateral"):
        items += _orifice_size(look, component)
        if component.name in read:
            items += _in_lateral(look, component, read[component.name])
            items += _residual(look, component, read[component.name])
    laterals = [each for each in look.of_kinds("lateral") if each.name in read]
    if len(laterals) > 1:
        items += _in_system(look, laterals, [each for heights in read.values() for each in heights])
    return items


def _heights(look: Look, component: Component) -> list[SiteReading]:
    """Give the heights that were read at a lateral: first and last orifice, else the one at its end."""
    ends = [each for word in ("squirt-first", "squirt-last") if (each := look.latest(component.name, word)) is not None]
    if len(ends) == 2:
        return ends
    one = look.latest(component.name, "squirt-last", "squirt-height", "squirt-first")
    return [] if one is None else [one]


def _untold(look: Look, read: Mapping[str, list[SiteReading]]) -> Iterator[CheckItem]:
    """Yield what cannot be told of laterals: how even they are by one height, what head they need by no hole size."""
    laterals = [each for each in look.of_kinds("lateral") if each.name in read]
    one = [each.name for each in laterals if len(read[each.name]) < 2 and _has(look, "squirt_in_lateral", each)]
    if one:
        words = f"Only one squirt height is read, so how even each is cannot be told: {listed(one)}."
        act = "Read squirt-first and squirt-last, at the first and the last orifice, into readings.csv."
        yield CheckItem("squirt-untold", GROUP, _subject(one), Outcome.DOUBTFUL, words, next_act=act)
    size = [each.name for each in laterals if each.orifice is None and _has(look, "residual_head", each)]
    if size:
        words = f"The size of the orifices is not recorded, so the head they need cannot be told: {listed(size)}."
        act = "Fill orifice in components.csv."
        yield CheckItem("orifice-untold", GROUP, _subject(size), Outcome.DOUBTFUL, words, next_act=act)


def _has(look: Look, key: str, component: Component) -> bool:
    """Tell whether the profile has a limit of a key for a component, whatever its size."""
    limits = (each for each in look.profile.limits if each.key == key)
    return any(look.profile.closeness(each.applies_to, component.kind) is not None for each in limits)


def _subject(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{len(names)} laterals"


def _orifice_in(component: Component) -> float | None:
    return None if component.orifice is None else component.orifice.metres / INCH_M


def _orifice_size(look: Look, component: Component) -> Iterator[CheckItem]:
    for limit in look.profile.limits_for("orifice_size", component.kind):
        if component.orifice is None:
            continue
        inches = component.orifice.metres / INCH_M
        good = limit.holds(round(component.orifice.metres / METRES[limit.unit], 6))
        words = f"{component.name}: orifices of {inches:g} in; {limit.shown()} is asked for."
        act = "" if good else "Ask the designer: smaller holes clog."
        outcome = Outcome.DONE if good else Outcome.OUTSIDE
        source = limit.source()
        yield CheckItem("orifice", GROUP, component.name, outcome, words, f"{inches:g} in", limit.shown(), source, act)


def _in_lateral(look: Look, component: Component, heights: list[SiteReading]) -> Iterator[CheckItem]:
    for limit in look.profile.limits_for("squirt_in_lateral", component.kind):
        if len(heights) < 2:
            continue  # said of all such laterals together
        first, last = (look.length(each.number) for each in heights)
        heads = f"squirt height {first} at the first orifice, {last} at the last"
        words = f"{component.name}: {heads}{_flows(component, heights)}"
        yield _evenness("squirt-lateral", component.name, words, heights, limit)


def _in_system(look: Look, laterals: list[Component], heights: list[SiteReading]) -> Iterator[CheckItem]:
    high, low = (choose(heights, key=lambda each: each.number) for choose in (max, min))
    for limit in look.profile.limits_for("squirt_in_system", laterals[0].kind):
        words = (
            f"All laterals: squirt height from {look.length(low.number)} ({low.component}) to "
            f"{look.length(high.number)} ({high.component})"
        )
        yield _evenness("squirt-system", "all laterals", words, heights, limit)


def _evenness(code: str, subject: str, words: str, heights: list[SiteReading], limit: Limit) -> CheckItem:
    apart = spread_percent([each.number for each in heights])
    good = limit.holds(round(apart, 6))
    flow = 100 * (math.sqrt(1 + apart / 100) - 1)
    words = f"{words}: {apart:.0f} % apart, {flow:.0f} % in flow; {limit.shown()} is asked for."
    act = "" if good else "Flush it, look for debris and for low spots, then read again; ask the designer."
    outcome = Outcome.DONE if good else Outcome.OUTSIDE
    return CheckItem(code, GROUP, subject, outcome, words, f"{apart:.0f} %", limit.shown(), limit.source(), act)


def _flows(component: Component, heights: list[SiteReading]) -> str:
    """Say what runs through each of the two orifices, where their size is recorded."""
    if component.orifice is None:
        return ""
    inches = component.orifice.metres / INCH_M
    flows = [orifice_gpm(inches, each.number / FOOT_M) for each in heights]
    return f" ({flows[0]:.2f} and {flows[1]:.2f} gal/min through {inches:g} in)"


def _residual(look: Look, component: Component, heights: list[SiteReading]) -> Iterator[CheckItem]:
    """Hold the lowest squirt height, which is the head left at the far end, against the rules for its orifices."""
    limits = look.profile.limits_for("residual_head", component.kind, size_in=_orifice_in(component))
    lowest = min(heights, key=lambda each: each.number)
    for limit in limits:
        good = limit.holds(round(lowest.number / METRES[limit.unit], 6))
        measured = look.length(lowest.number)
        words = f"{component.name}: {measured} of head left at its end; {limit.shown()} is asked for."
        act = "" if good else "Open the valve, look at the pump and its screen, then read again; ask the designer."
        outcome = Outcome.DONE if good else Outcome.OUTSIDE
        source = limit.source()
        yield CheckItem("residual-head", GROUP, component.name, outcome, words, measured, limit.shown(), source, act)

"""Depths of trenches, soil over what is buried, soil over a limiting layer: held against the rules of the profile."""

import math
from collections.abc import Iterator, Sequence

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.look import K95, Look, act_for, called, is_opening, listed, own_name, verdict
from asbuilt.checks.sizes import nominal_in
from asbuilt.model.components import Component
from asbuilt.rules.profile import Limit
from asbuilt.survey.slopes import DEPTH_SIGMA_M
from asbuilt.units import INCH_M

GROUP = "levels"


def depth_items(look: Look) -> list[CheckItem]:
    """Hold depths and covers against the rules of the profile."""
    items = [*_trench_depths(look), *_trench_widths(look)]
    for component in look.components:
        items += _cover(look, component)
        items += _separation(look, component)
    return items


def _trench_depths(look: Look) -> Iterator[CheckItem]:
    untold = []
    for component in look.of_kinds("trench"):
        limits = look.profile.limits_for("trench_depth", component.kind)
        for side in ("depth-uphill", "depth-downhill"):
            reading = look.latest(component.name, side)
            if reading is None:
                untold += [f"{component.name} ({side})"] if limits else []
                continue
            for limit in limits:
                yield _depth(look, component.name, side, reading.number, limit)
    if untold:
        words = f"How deep the trench bottom lies is not recorded: {listed(untold)}."
        act = "Measure it on the uphill and the downhill side: depth-uphill and depth-downhill in readings.csv."
        yield CheckItem("depth-unknown", GROUP, "trench bottoms", Outcome.DOUBTFUL, words, next_act=act)


def _depth(look: Look, name: str, side: str, metres: float, limit: Limit) -> CheckItem:
    outcome = verdict(metres, 0.0, limit)
    words = f"{name}: {side} {look.length(metres)}; {limit.shown()} is asked for."
    act = act_for(outcome, "Ask the designer or the authority before it is covered.", "")
    return CheckItem(
        "trench-depth", GROUP, name, outcome, words, look.length(metres), limit.shown(), limit.source(), act
    )


def _trench_widths(look: Look) -> Iterator[CheckItem]:
    """Hold the recorded widths of trenches against the rules; one that is not recorded counts where it may matter."""
    for component in look.components:
        for limit in look.profile.limits_for("trench_width", component.kind):
            if component.width is None:
                continue
            outcome, width = verdict(component.width.metres, 0.0, limit), look.length(component.width.metres)
            words = f"{component.name}: {width} wide; {limit.shown()} is asked for."
            act = act_for(outcome, "Ask the designer or the authority before it is covered.", "")
            source = limit.source()
            yield CheckItem("trench-width", GROUP, component.name, outcome, words, width, limit.shown(), source, act)


def _cover(look: Look, component: Component) -> Iterator[CheckItem]:
    """Hold the soil over a component against the rules: the least cover over its points, or what is noted of it."""
    limits = look.profile.limits_for("cover", component.kind)
    covers = _covers(look, component)
    if not limits:
        buried = any(look.profile.closeness(word, component.kind) is not None for word in _COVERED)
        yield from _cover_without_limit(look, component, covers) if buried else ()
        return
    if not covers:
        words = f"{component.name}: the soil over it is not recorded."
        act = "Fill depth in points.csv or cover in components.csv, or shoot finished grade over it."
        yield CheckItem(
            "cover-unknown", GROUP, component.name, Outcome.DOUBTFUL, words, None, None, limits[0].source(), act
        )
        return
    for limit in limits:
        where, metres, sigma = (max if limit.upper else min)(covers, key=lambda each: each[1])
        outcome = verdict(metres, sigma, limit)
        at = "" if where == component.name else f" at {where}"
        words = (
            f"{component.name}: {look.length(metres)} of soil over it{at}, give or take {look.small(K95 * sigma)}; "
            f"{limit.shown()} is asked for{called(outcome)}."
        )
        act = act_for(outcome, "Ask the authority before it is covered.", "Measure it again at finished grade.")
        measured = look.length(metres)
        yield CheckItem("cover", GROUP, component.name, outcome, words, measured, limit.shown(), limit.source(), act)


_COVERED = ("tank", "gravity line", "pressure line", "trench")
"""Groups of kinds whose soil cover is told also where the profile has no limit for it."""


def _cover_without_limit(
    look: Look, component: Component, covers: Sequence[tuple[str, float, float]]
) -> Iterator[CheckItem]:
    if covers:
        where, metres, sigma = min(covers, key=lambda each: each[1])
        at = "" if where == component.name else f" at {where}"
        words = (
            f"{component.name}: {look.length(metres)} of soil over it{at}, give or take {look.small(K95 * sigma)}; "
            "no limit in the profile."
        )
        yield CheckItem("cover", GROUP, component.name, Outcome.DONE, words, look.length(metres))


def _covers(look: Look, component: Component) -> list[tuple[str, float, float]]:
    """Give soil over each point of a component, metres, with its standard deviation; from levels, else as noted."""
    found = []
    for name in _tops(look, component):
        row = look.row(name)
        levelled = look.solution.levels.depth(name, "top")
        if levelled is not None:
            found.append((name, levelled.depth_m, levelled.sigma_m))
        elif row is not None and row.depth is not None:
            size = nominal_in(component, [row.size])
            if (row.depth_to or "top") == "top":
                found.append((name, row.depth.metres, DEPTH_SIGMA_M))
            elif size is not None:  # down to the invert: less the pipe
                found.append((name, row.depth.metres - size * INCH_M, DEPTH_SIGMA_M))
    if component.cover is not None and not found:
        found.append((component.name, component.cover.metres, DEPTH_SIGMA_M))
    return found


def _tops(look: Look, component: Component) -> list[str]:
    """Give the points that lie on a component itself: of a tank and a trench none that is an opening, which ends above.

    Where the profile does not say which points of a tank are openings, none is taken.
    """
    names, kind = look.points(component.name), component.kind
    if look.profile.closeness("trench", kind) is None and look.profile.closeness("tank", kind) is None:
        return names
    if look.profile.closeness("tank", kind) and not any(each.photo for each in look.profile.required_points(kind)):
        return []
    return [name for name in names if not is_opening(look.profile, kind, own_name(name))]


def _separation(look: Look, component: Component) -> Iterator[CheckItem]:
    """Hold the soil between the trench bottom and a limiting layer against the rules, where the layer is recorded."""
    layer = look.latest(component.name, "limiting-layer")
    limits = look.profile.limits_for("separation", component.kind)
    if layer is None and not limits:
        return
    depths = [each.number for side in _SIDES if (each := look.latest(component.name, side)) is not None]
    if layer is None or not depths:
        lacking = "the limiting layer" if layer is None else "the depth of its bottom"
        words = f"{component.name}: the soil under it cannot be told: {lacking} is not recorded."
        act = "Read limiting-layer, depth-uphill and depth-downhill into readings.csv."
        yield CheckItem("separation", GROUP, component.name, Outcome.DOUBTFUL, words, next_act=act)
        return
    apart, sigma = layer.number - max(depths), math.sqrt(2) * DEPTH_SIGMA_M
    if not limits:
        words = (
            f"{component.name}: {look.length(apart)} of soil between its bottom and the limiting layer; no rule here."
        )
        yield CheckItem("separation", GROUP, component.name, Outcome.DONE, words, look.length(apart))
    for limit in limits:
        outcome = verdict(apart, sigma, limit)
        words = (
            f"{component.name}: {look.length(apart)} of soil between its bottom and the limiting layer, give or take "
            f"{look.small(K95 * sigma)}; {limit.shown()} is asked for{called(outcome)}."
        )
        act = act_for(outcome, "Ask the designer before it is covered.", "Measure both again.")
        measured = look.length(apart)
        yield CheckItem(
            "separation", GROUP, component.name, outcome, words, measured, limit.shown(), limit.source(), act
        )


_SIDES: Sequence[str] = ("depth-uphill", "depth-downhill")

"""Falls of pipes, what must be level, depths and covers: held against the rules of the profile."""

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction

import numpy as np
from shapely.geometry import Point as Place

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.look import K95, Look, listed, verdict
from asbuilt.checks.sizes import nominal_in
from asbuilt.model.components import Component
from asbuilt.rules.profile import Limit
from asbuilt.rules.reference import Reference
from asbuilt.shapes import Outlines
from asbuilt.survey.levels import Elevation
from asbuilt.survey.slopes import DEPTH_SIGMA_M, Slope, pipe_slopes
from asbuilt.units import FOOT_M, INCH_M, format_length

GROUP = "levels"

AT_TANK_M = 2 * FOOT_M
"""How far the end of a pipe may lie from a tank's outline and still be its inlet or outlet (our own: the fitting, and
the outline's own accuracy)."""

CITED_NOTHING = "no published tolerance of levelness is known to us; it must be declared"


def level_items(look: Look, outlines: Outlines) -> list[CheckItem]:
    """Hold falls, levels, depths and covers against the rules of the profile."""
    items = [*_falls(look), *_drops(look, outlines), *_runs(look), *_trench_depths(look)]
    for component in look.components:
        items += _cover(look, component)
        items += _separation(look, component)
    return items


# Falls of pipes


def _falls(look: Look) -> Iterator[CheckItem]:
    slopes = pipe_slopes(look.record, look.solution)
    for component in look.components:
        if not any(limit.key == "pipe_slope" and _about(look, limit, component) for limit in look.profile.limits):
            continue
        mine = [slope for slope in slopes if slope.component == component.name]
        if not mine:
            words = f"{component.name}: its fall cannot be told: fewer than two inverts were levelled."
            act = "Shoot the invert at both ends and at every bend while it is open (levels.csv)."
            yield CheckItem("fall-unknown", GROUP, component.name, Outcome.DOUBTFUL, words, next_act=act)
        for slope in mine:
            yield from _fall(look, component, slope)


def _about(look: Look, limit: Limit, component: Component) -> bool:
    return look.profile.closeness(limit.applies_to, component.kind) is not None


def _fall(look: Look, component: Component, slope: Slope) -> Iterator[CheckItem]:
    rows = [row for row in (look.row(slope.start), look.row(slope.end)) if row is not None]
    size = nominal_in(component, [row.size for row in rows])
    limits = look.profile.limits_for("pipe_slope", component.kind, size_in=size)
    start, end = (name.removeprefix(f"{component.name}/") for name in (slope.start, slope.end))
    stretch = f"{component.name}, {start} to {end}"
    if not limits:
        why = "its diameter is not recorded" if size is None else f"the profile has none for {size:g} in"
        words = f"{stretch}: the least fall cannot be told: {why}."
        act = "Fill size in points.csv, or pipe in components.csv." if size is None else "Ask the authority."
        yield CheckItem("fall-limit", GROUP, component.name, Outcome.DOUBTFUL, words, next_act=act)
    for limit in limits:
        outcome = verdict(slope.ratio, slope.ratio_sigma, limit)
        measured = f"{slope.inches_a_foot:.3f} in/ft ({slope.percent:.2f} %)"
        within = f"{K95 * slope.inches_a_foot_sigma:.3f} in/ft"
        verb = "falls" if slope.fall_m >= 0 else "rises"
        pipe = "" if size is None else f"; {size:g}-in pipe"
        words = (
            f"{stretch}: {verb} {abs(slope.inches_a_foot):.3f} in/ft, give or take {within}{pipe}; "
            f"{limit.shown()} is asked for{_called(outcome)}."
        )
        act = _act(outcome, "Relay it before it is covered.", "Shoot both inverts again from a second set-up.")
        yield CheckItem("fall", GROUP, component.name, outcome, words, measured, limit.shown(), limit.source(), act)


def _called(outcome: Outcome) -> str:
    return ": too close to call" if outcome is Outcome.DOUBTFUL else ""


def _act(outcome: Outcome, outside: str, doubtful: str) -> str:
    return {Outcome.OUTSIDE: outside, Outcome.DOUBTFUL: doubtful}.get(outcome, "")


# Inlet above outlet


def _drops(look: Look, outlines: Outlines) -> Iterator[CheckItem]:
    for tank in look.components:
        for limit in look.profile.limits_for("tank_drop", tank.kind):
            inlet, outlet = _ends_at(look, tank, outlines)
            if inlet is None or outlet is None:
                lacking = " and ".join(n for n, found in (("inlet", inlet), ("outlet", outlet)) if found is None)
                words = f"{tank.name}: inlet above outlet cannot be told: the invert of its {lacking} was not levelled."
                act = "Shoot the inverts of the pipes where they enter and leave it (levels.csv)."
                yield CheckItem("tank-drop", GROUP, tank.name, Outcome.DOUBTFUL, words, None, None, limit.source(), act)
                continue
            drop, sigma = look.solution.levels.difference(inlet, outlet)
            outcome = verdict(drop, sigma, limit)
            words = (
                f"{tank.name}: the inlet invert lies {drop / INCH_M:.1f} in above the outlet invert, give or take "
                f"{K95 * sigma / INCH_M:.1f} in; {limit.shown()} is asked for{_called(outcome)}."
            )
            again = "Shoot both inverts again from a second set-up."
            act = _act(outcome, "Look whether the tank stands level and the right way round; set it again.", again)
            measured = f"{drop / INCH_M:.1f} in"
            yield CheckItem("tank-drop", GROUP, tank.name, outcome, words, measured, limit.shown(), limit.source(), act)


def _ends_at(look: Look, tank: Component, outlines: Outlines) -> tuple[Elevation | None, Elevation | None]:
    """Find the levelled inverts of the pipe that enters a tank and of the one that leaves it.

    A line enters where its last point lies at the tank, and leaves where its first does; points of the tank itself may
    be named inlet and outlet.
    """
    levels, shape = look.solution.levels, outlines.of(tank.name)
    own = {name.rpartition("/")[2].casefold(): levels.of(name, "invert") for name in look.points(tank.name)}
    inlet = next((each for name, each in own.items() if "inlet" in name and each is not None), None)
    outlet = next((each for name, each in own.items() if "outlet" in name and each is not None), None)
    if shape is None:
        return inlet, outlet
    for line in look.of_kinds("gravity line"):
        points = [name for name in look.points(line.name) if look.position(name) is not None]
        for name in (points[:1] + points[-1:]) if len(points) > 1 else []:
            position = look.position(name)
            near = position is not None and shape.distance(Place(position.place)) <= AT_TANK_M
            if near and name == points[-1]:
                inlet = inlet or levels.of(name, "invert")
            elif near:
                outlet = outlet or levels.of(name, "invert")
    return inlet, outlet


# Runs that must be level


def _runs(look: Look) -> Iterator[CheckItem]:
    trenches, untold = look.of_kinds("trench"), []
    declared = look.record.property.measured.level_tolerance
    for component in trenches:
        shot = _shot(look, component)
        if len(shot) < 2:
            untold.append(component.name)
            continue
        low, high = min(shot, key=lambda it: it.elevation_m), max(shot, key=lambda it: it.elevation_m)
        spread, sigma = look.solution.levels.difference(high, low)
        if declared is not None:
            own = _declared(declared.metres)
            yield _spread(look, component, (low, high), (spread, sigma), own, "the tolerance declared in [measured]")
        else:
            for limit in look.profile.limits_for("level_spread", component.kind):
                yield _spread(look, component, (low, high), (spread, sigma), limit, limit.source())
        yield from _run_slope(look, component, (low, high), (spread, sigma))
    if untold:
        words = f"Whether they are level cannot be told, fewer than two levels each: {listed(untold)}."
        act = "Shoot the invert or the bottom at both ends (levels.csv)."
        subject = untold[0] if len(untold) == 1 else f"{len(untold)} trenches"
        yield CheckItem("level-unknown", GROUP, subject, Outcome.DOUBTFUL, words, next_act=act)
    tolerated = any(look.profile.limits_for("level_spread", each.kind) for each in trenches)
    if trenches and declared is None and not tolerated:
        words = f"How level the trenches must be is not declared; {CITED_NOTHING}. Held against the cited slope only."
        act = "Write level_tolerance under [measured] in property.toml, as the design or the permit has it."
        yield CheckItem("tolerance-undeclared", GROUP, "level_tolerance", Outcome.DOUBTFUL, words, next_act=act)


def _shot(look: Look, component: Component) -> list[Elevation]:
    """Levelled points of a run: its bottom where two of it were shot, else its inverts, else its tops."""
    for to in ("bottom", "invert", "top"):
        found = [
            each for name in look.points(component.name) if (each := look.solution.levels.of(name, to)) is not None
        ]
        if len(found) > 1:
            return found
    return []


def _declared(metres: float) -> Limit:
    return Limit("level_spread", metres, "m", "at most", "trench", Reference("[measured] level_tolerance"), "seen")


def _spread(
    look: Look,
    component: Component,
    ends: tuple[Elevation, Elevation],
    spread: tuple[float, float],
    limit: Limit,
    source: str,
) -> CheckItem:
    outcome = verdict(*spread, limit)
    units = look.record.property.units
    allowed = format_length(limit.si, units, _EIGHTH) if units == "ft-in" else look.length(limit.si)
    words = (
        f"{component.name}: {ends[0].name} lies {_fine(spread[0], units)} below {ends[1].name}, give or take "
        f"{_fine(K95 * spread[1], units)}; at most {allowed} is declared{_called(outcome)}."
    )
    act = _act(outcome, "Level it before it is covered, or ask the designer.", "Shoot both again from a second set-up.")
    measured = _fine(spread[0], units)
    return CheckItem("level-spread", GROUP, component.name, outcome, words, measured, f"at most {allowed}", source, act)


_EIGHTH = Fraction(1, 8)


def _fine(metres: float, units: str) -> str:
    """Write a small height as it is read off a rod: 1.2 in, 30 mm."""
    return f"{1000 * metres:.0f} mm" if units == "m" else f"{metres / INCH_M:.1f} in"


def _run_slope(
    look: Look, component: Component, ends: tuple[Elevation, Elevation], spread: tuple[float, float]
) -> Iterator[CheckItem]:
    places = [position.place for each in ends if (position := look.position(each.name)) is not None]
    if len(places) < 2 or places[0] is None or places[1] is None:
        return
    length = float(np.hypot(*(places[1] - places[0])))
    if length <= 0:
        return
    for limit in look.profile.limits_for("level_slope", component.kind):
        slope, sigma = spread[0] / length, spread[1] / length
        outcome = verdict(slope, sigma, limit)
        measured = f"{1200 * slope:.1f} in/100 ft"
        words = (
            f"{component.name}: {measured}, give or take {1200 * K95 * sigma:.1f}, over {look.length(length)}; "
            f"{limit.shown()} is asked for{_called(outcome)}."
        )
        act = _act(outcome, "Level it before it is covered, or ask the designer.", "Shoot both ends again.")
        yield CheckItem(
            "level-slope", GROUP, component.name, outcome, words, measured, limit.shown(), limit.source(), act
        )


# Depths


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
    act = _act(outcome, "Ask the designer or the authority before it is covered.", "")
    return CheckItem(
        "trench-depth", GROUP, name, outcome, words, look.length(metres), limit.shown(), limit.source(), act
    )


def _cover(look: Look, component: Component) -> Iterator[CheckItem]:
    """Hold the soil over a component against the rules: the least cover over its points, or what is noted of it."""
    limits = look.profile.limits_for("cover", component.kind)
    if not limits:
        return
    covers = _covers(look, component)
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
            f"{limit.shown()} is asked for{_called(outcome)}."
        )
        act = _act(outcome, "Ask the authority before it is covered.", "Measure it again at finished grade.")
        measured = look.length(metres)
        yield CheckItem("cover", GROUP, component.name, outcome, words, measured, limit.shown(), limit.source(), act)


def _covers(look: Look, component: Component) -> list[tuple[str, float, float]]:
    """Give soil over each point of a component, metres, with its standard deviation; from levels, else as noted."""
    found = []
    for name in look.points(component.name):
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
            f"{look.small(K95 * sigma)}; {limit.shown()} is asked for{_called(outcome)}."
        )
        act = _act(outcome, "Ask the designer before it is covered.", "Measure both again.")
        measured = look.length(apart)
        yield CheckItem(
            "separation", GROUP, component.name, outcome, words, measured, limit.shown(), limit.source(), act
        )


_SIDES: Sequence[str] = ("depth-uphill", "depth-downhill")

"""Falls of pipes, inlet above outlet, and what must be level: held against the rules of the profile."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np
from shapely.geometry import Point as Place

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.look import K95, Look, act_for, called, listed, verdict
from asbuilt.checks.sizes import nominal_in
from asbuilt.model.components import Component
from asbuilt.rules.profile import Limit
from asbuilt.rules.reference import Reference
from asbuilt.shapes import Outlines
from asbuilt.survey.levels import Elevation
from asbuilt.survey.slopes import Slope, pipe_slopes
from asbuilt.units import FOOT_M, INCH_M, format_length

GROUP = "levels"

AT_TANK_M = 2 * FOOT_M
"""How far the end of a pipe may lie from a tank's outline and still be its inlet or outlet (our own: the fitting, and
the outline's own accuracy)."""

CITED_NOTHING = "no published tolerance of levelness is known to us; it must be declared"


def level_items(look: Look, outlines: Outlines) -> list[CheckItem]:
    """Hold falls and levels against the rules of the profile."""
    return [*_falls(look), *_drops(look, outlines), *_runs(look)]


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
            f"{limit.shown()} is asked for{called(outcome)}."
        )
        act = act_for(outcome, "Relay it before it is covered.", "Shoot both inverts again from a second set-up.")
        yield CheckItem("fall", GROUP, component.name, outcome, words, measured, limit.shown(), limit.source(), act)


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
                f"{K95 * sigma / INCH_M:.1f} in; {limit.shown()} is asked for{called(outcome)}."
            )
            again = "Shoot both inverts again from a second set-up."
            act = act_for(outcome, "Look whether the tank stands level and the right way round; set it again.", again)
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
        if not _is_pressure(look, component):
            yield from _run_slopes(look, component, shot, (low, high), declared=declared is not None)
    if untold:
        words = f"Whether they are level cannot be told, fewer than two levels each: {listed(untold)}."
        act = "Shoot the invert or the bottom at both ends (levels.csv)."
        subject = untold[0] if len(untold) == 1 else f"{len(untold)} trenches"
        yield CheckItem("level-unknown", GROUP, subject, Outcome.DOUBTFUL, words, next_act=act)
    tolerated = any(look.profile.limits_for("level_spread", each.kind) for each in trenches)
    if trenches and declared is None and not tolerated:
        alone = all(_is_pressure(look, each) for each in trenches)
        held = "Held against nothing." if alone else "Trenches are held against the cited slope only."
        words = f"How level the trenches must be is not declared; {CITED_NOTHING}. {held}"
        act = "Write level_tolerance under [measured] in property.toml, as the design or the permit has it."
        yield CheckItem("tolerance-undeclared", GROUP, "level_tolerance", Outcome.DOUBTFUL, words, next_act=act)


def _is_pressure(look: Look, component: Component) -> bool:
    """Tell whether a run is a lateral that a pump feeds: its slope is the design's, so only `level_tolerance` holds."""
    return look.pumped() and look.profile.closeness("lateral", component.kind) is not None


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
        f"{_fine(K95 * spread[1], units)}; at most {allowed} is declared{called(outcome)}."
    )
    act = act_for(
        outcome, "Level it before it is covered, or ask the designer.", "Shoot both again from a second set-up."
    )
    measured = _fine(spread[0], units)
    return CheckItem("level-spread", GROUP, component.name, outcome, words, measured, f"at most {allowed}", source, act)


_EIGHTH = Fraction(1, 8)


def _fine(metres: float, units: str) -> str:
    """Write a small height as it is read off a rod: 1.2 in, 30 mm."""
    return f"{1000 * metres:.0f} mm" if units == "m" else f"{metres / INCH_M:.1f} in"


@dataclass(frozen=True, slots=True)
class _Stretch:
    """The slope between two levelled points of a run, either way."""

    names: tuple[str, str]
    length_m: float
    slope: float
    sigma: float


def _run_slopes(
    look: Look, component: Component, shot: Sequence[Elevation], ends: tuple[Elevation, Elevation], *, declared: bool
) -> Iterator[CheckItem]:
    """Hold the slope from the lowest to the highest point, and the steepest one between neighbours, against the rules.

    Where a tolerance of levelness is declared the run is meant to be level, and no least slope is asked for.
    """
    whole = _stretch(look, *ends)
    for limit in look.profile.limits_for("level_slope", component.kind):
        if whole is None or (declared and not limit.upper):
            continue
        yield _run_slope(look, component, whole, limit)
        local = _steepest(look, shot, limit) if limit.upper else None
        if local is not None and set(local.names) != set(whole.names):
            yield _run_slope(look, component, local, limit)


def _steepest(look: Look, shot: Sequence[Elevation], limit: Limit) -> _Stretch | None:
    """Give the steepest stretch between neighbours: a hump that the two ends do not show.

    Neighbours so near one another that not even two of one height could be told to keep the limit count only where
    they surely break it.
    """
    found = [each for pair in pairwise(shot) if (each := _stretch(look, *pair)) is not None]
    told = [
        each
        for each in found
        if K95 * each.sigma < limit.si or verdict(each.slope, each.sigma, limit) is Outcome.OUTSIDE
    ]
    return min(told, key=lambda each: (verdict(each.slope, each.sigma, limit).rank, -each.slope), default=None)


def _stretch(look: Look, one: Elevation, other: Elevation) -> _Stretch | None:
    places = [position.place for each in (one, other) if (position := look.position(each.name)) is not None]
    if len(places) < 2 or places[0] is None or places[1] is None:
        return None
    length = float(np.hypot(*(places[1] - places[0])))
    if length <= 0:
        return None
    apart, sigma = look.solution.levels.difference(one, other)
    return _Stretch((one.name, other.name), length, abs(apart) / length, sigma / length)


def _run_slope(look: Look, component: Component, stretch: _Stretch, limit: Limit) -> CheckItem:
    outcome = verdict(stretch.slope, stretch.sigma, limit)
    measured = f"{1200 * stretch.slope:.1f} in/100 ft"
    one, other = (name.removeprefix(f"{component.name}/") for name in stretch.names)
    words = (
        f"{component.name}, {one} to {other}: {measured}, give or take {1200 * K95 * stretch.sigma:.1f}, over "
        f"{look.length(stretch.length_m)}; {limit.shown()} is asked for{called(outcome)}."
    )
    mend = "Level it before it is covered, or ask the designer." if limit.upper else "Ask the designer: it is too flat."
    act = act_for(outcome, mend, "Shoot both ends again.")
    return CheckItem("level-slope", GROUP, component.name, outcome, words, measured, limit.shown(), limit.source(), act)

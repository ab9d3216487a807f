"""Slope of pipes between levelled inverts, and what heights say against the rest of the record.

Metres. Falls are positive downhill in the order of a component's points.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding, Severity
from asbuilt.model.components import Component, Point
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.level_wording import LevelWording
from asbuilt.survey.solution import Solution
from asbuilt.units import INCH_M, format_length

Array = NDArray[np.float64]

GRAVITY_KINDS = ("building sewer", "sewer", "effluent line", "drain line")
"""Kinds of component in which water runs by itself, so that none of it may run uphill."""

FLAT_M = INCH_M / 2
"""How far the ends of a pressure lateral may differ in height (common practice; the permit's design decides)."""

DEPTH_SIGMA_M = 0.02
"""How well a depth is taped down from the ground into a hole, standard deviation (our own)."""

SURELY = 1.645  # one-sided 5 %
DISAGREES = 2.576  # two-sided 1 %: there are many depths on one property


@dataclass(frozen=True, slots=True)
class Slope:
    """The fall of one stretch of pipe between two inverts."""

    component: str
    start: str  #: full name of the point
    end: str
    length_m: float  #: horizontal, along the located points between
    length_sigma_m: float
    fall_m: float  #: positive downhill from start to end
    fall_sigma_m: float

    @property
    def ratio(self) -> float:
        """Fall a metre."""
        return self.fall_m / self.length_m

    @property
    def ratio_sigma(self) -> float:
        """Standard deviation of `ratio`."""
        return math.hypot(self.fall_sigma_m, self.ratio * self.length_sigma_m) / self.length_m

    @property
    def percent(self) -> float:
        """Fall in a hundred."""
        return 100 * self.ratio

    @property
    def percent_sigma(self) -> float:
        """Standard deviation of `percent`."""
        return 100 * self.ratio_sigma

    @property
    def inches_a_foot(self) -> float:
        """Fall in inches a foot: 1/4 is 2.083 %."""
        return 12 * self.ratio

    @property
    def inches_a_foot_sigma(self) -> float:
        """Standard deviation of `inches_a_foot`."""
        return 12 * self.ratio_sigma

    @property
    def uphill(self) -> bool:
        """Tell whether it surely rises."""
        return self.fall_m < -SURELY * self.fall_sigma_m


def pipe_slopes(record: PropertyRecord, solution: Solution) -> tuple[Slope, ...]:
    """Give the slope between every two inverts that follow one another along a component of the shape of a line."""
    levels = solution.levels
    if not any(each.to == "invert" for each in levels.elevations):
        return ()
    not_lines = {component.name for component in record.components if not _is_line(component)}
    named = dict.fromkeys(record.component_of(name) for name in record.point_names())
    slopes: list[Slope] = []
    for component in named:
        if component not in not_lines:
            slopes += _slopes_of(component, record.points_of(component), solution)
    return tuple(slopes)


def _is_line(component: Component) -> bool:
    if component.shape is not None:
        return component.shape == "line"
    return component.length is None or component.width is None  # a box has both


def _slopes_of(component: str, names: Sequence[str], solution: Solution) -> Iterator[Slope]:
    levels = solution.levels
    places = {position.name: position.place for position in solution.points if position.place is not None}
    located = [name for name in names if name in places]
    shot = [name for name in located if levels.of(name, "invert") is not None]
    for start, end in pairwise(shot):
        way = located[located.index(start) : located.index(end) + 1]
        length, sigma = _length_along(way, solution)
        upper, lower = levels.of(start, "invert"), levels.of(end, "invert")
        if upper is not None and lower is not None and length > 0:
            yield Slope(component, start, end, length, sigma, *levels.difference(upper, lower))


def _length_along(names: Sequence[str], solution: Solution) -> tuple[float, float]:
    """Horizontal length from point to point, and its standard deviation by the joint covariance."""
    index = {name: number for number, name in enumerate(solution.names)}
    total, gradient = 0.0, np.zeros(2 * len(solution.names))
    for a, b in pairwise(names):
        one, other = solution.position(a).place, solution.position(b).place
        if one is None or other is None:
            continue
        step = other - one
        size = float(np.hypot(*step))
        if size == 0:
            continue
        total += size
        gradient[2 * index[b] : 2 * index[b] + 2] += step / size
        gradient[2 * index[a] : 2 * index[a] + 2] -= step / size
    return total, math.sqrt(max(0.0, float(gradient @ solution.covariance @ gradient)))


def level_findings(record: PropertyRecord, solution: Solution) -> list[Finding]:
    """Say what the levels themselves leave in doubt, and what they say against pipes and noted depths."""
    slopes = pipe_slopes(record, solution)
    words = LevelWording(record)
    found = list(solution.levels.findings)
    found += [_uphill(slope, words) for slope in slopes if slope.uphill and _is_gravity(record, slope.component)]
    for component in record.components:
        if component.kind.casefold() == "lateral":
            found += _not_level(component.name, record.points_of(component.name), solution, words)
    known = {*record.reference_names(), *record.point_names()}
    strange = {each.name: None for each in solution.levels.elevations if "/" in each.name and each.name not in known}
    found += [_no_point(name) for name in strange]
    for point in record.points:
        found += _other_depth(point, solution, record.property.units)
    return found


def _no_point(name: str) -> Finding:
    message = f"{name} was levelled, but no such point is listed or taped."
    act = "Look whether its name is written right, or tape it."
    return Finding("levelled-only", name, message, Severity.NOTE, act)


def _is_gravity(record: PropertyRecord, name: str) -> bool:
    return any(c.name == name and c.kind.casefold() in GRAVITY_KINDS for c in record.components)


def _uphill(slope: Slope, words: LevelWording) -> Finding:
    message = (
        f"{slope.component} runs uphill from {slope.start} to {slope.end}: its invert rises by "
        f"{words.fine(-slope.fall_m)}."
    )
    act = "Relay it before it is covered, or shoot both inverts again."
    return Finding("uphill", slope.component, message, Severity.ATTENTION, act)


def _not_level(name: str, points: Sequence[str], solution: Solution, words: LevelWording) -> list[Finding]:
    """Note a lateral whose inverts differ by surely more than they may."""
    levels = solution.levels
    shot = [each for point in points if (each := levels.of(point, "invert")) is not None]
    if len(shot) < 2:
        return []
    low, high = min(shot, key=lambda each: each.elevation_m), max(shot, key=lambda each: each.elevation_m)
    apart, sigma = levels.difference(high, low)
    if apart <= FLAT_M + SURELY * sigma:
        return []
    message = (
        f"{name} is not level: {low.name} lies {words.fine(apart)} below {high.name}; {words.fine(FLAT_M)} (1/2 in) "
        "is usual as the most (common practice)."
    )
    act = "Ask the designer; local rules and the permit decide."
    return [Finding("lateral-not-level", name, message, Severity.NOTE, act)]


def _other_depth(point: Point, solution: Solution, units: str) -> list[Finding]:
    """Note a taped depth that the levels contradict."""
    if point.depth is None:
        return []
    levelled = solution.levels.depth(point.name, point.depth_to or "top")
    if levelled is None:
        return []
    spread = math.hypot(levelled.sigma_m, DEPTH_SIGMA_M, point.depth.step_m / math.sqrt(12))
    if abs(levelled.depth_m - point.depth.metres) <= DISAGREES * spread:
        return []
    day = f" of {levelled.day}" if levelled.day else ""
    message = (
        f"{point.name}: the noted depth is {point.depth.as_read}, but the levels put it "
        f"{format_length(levelled.depth_m, units)} below the ground{day}."
    )
    act = "Look which surface the depth was taped from, or shoot it again."
    return [Finding("depth-disagrees", point.name, message, Severity.NOTE, act)]

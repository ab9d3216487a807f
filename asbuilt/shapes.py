"""Points of a component -> its outline (shapely), in the plane that the points are given in, metres.

And how far two outlines are apart, with the standard deviation that follows from the joint covariance of their points.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import permutations
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, MultiPoint, Polygon, box
from shapely.geometry import Point as Place
from shapely.geometry.base import BaseGeometry

from asbuilt.model.components import Component
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import Walk, split_walks
from asbuilt.survey.earth import Rigid, fit_rigid
from asbuilt.survey.solution import Solution

Array = NDArray[np.float64]

NEAR_CORNERS = 0.25
"""How far, as a share of the box's short side, points may miss its corners and still be taken for them (our own:
half-way between a corner and the middle of the box)."""

NO_WIDTHS: Mapping[str, float] = MappingProxyType({})
"""Nothing is wider than it is drawn."""

STEP_M = 0.001
"""How far a coordinate is moved to see how a distance follows it; far below what a tape tells."""


def outline(component: Component, places: Sequence[Array], along: Array) -> BaseGeometry | None:
    """Draw one component from its located points.

    Parameters
    ----------
    component
        Its shape word, length and width.
    places
        Located points in order, each (2,), metres.
    along
        Unit vector of the first wall: where one point says nothing of the direction of a box.

    Returns
    -------
    A point, line or polygon; None where no point is located.
    """
    if not places:
        return None
    shape = component.shape or _usual_shape(component, len(places))
    if shape == "box" and component.length is not None and component.width is not None:
        return _box(component, component.length.metres, component.width.metres, places, along)
    if shape in ("area", "box") and len(places) >= 3:
        ring = Polygon(places)
        return ring if ring.is_valid else MultiPoint(places).convex_hull
    if shape == "point" or len(places) == 1:
        return Place(np.mean(places, axis=0))
    return LineString(places)


def _usual_shape(component: Component, count: int) -> str:
    if component.length is not None and component.width is not None:
        return "box"
    return "point" if count == 1 else "line"


def _box(component: Component, length: float, width: float, places: Sequence[Array], along: Array) -> Polygon:
    """Lay a box of known size: one point = centre, two = long axis, three or four = fitted to its corners.

    Where it was taped how far the first point lies from the end of a tank, the second one gives the direction only.
    """
    long, short = max(length, width), min(length, width)
    if len(places) > 1 and component.end_to_lid is not None:
        axis = (places[1] - places[0]) / (np.hypot(*(places[1] - places[0])) or 1.0)
        side = short / 2 if component.side_to_lid is None else component.side_to_lid.metres
        left = np.array([-axis[1], axis[0]])
        center = places[0] + axis * (long / 2 - component.end_to_lid.metres) - left * (short / 2 - side)
    elif len(places) == 1:
        center, axis = places[0], along
    elif len(places) == 2:
        center, axis = (places[0] + places[1]) / 2, places[1] - places[0]
    else:
        center, axis = _fitted(long, short, places)
    upright = box(-long / 2, -short / 2, long / 2, short / 2)
    turned = rotate(upright, math.degrees(math.atan2(axis[1], axis[0])), origin=(0, 0))
    return translate(turned, center[0], center[1])


def _fitted(long: float, short: float, places: Sequence[Array]) -> tuple[Array, Array]:
    """Centre and long axis of a box of known size laid on three or more points.

    On its corners where the points lie near them; a rectangle drawn round three corners would not do, for the one along
    their diagonal is as small. Points that lie elsewhere on it, such as lids, take its long axis along their spread.
    """
    corners = np.array([(x * long / 2, y * short / 2) for x in (-1, 1) for y in (-1, 1)])
    target, sigma = np.array(places), np.ones(len(places))
    fits = [fit_rigid(corners[list(order)], target, sigma) for order in permutations(range(4), len(places))]
    best = min(fits, key=_misfit_m, default=None)
    if best is not None and _misfit_m(best) <= NEAR_CORNERS * short:
        return best.shift, best.lay((1.0, 0.0)) - best.shift
    center = target.mean(axis=0)
    axes = np.linalg.svd(target - center)[2]
    spread = (target - center) @ axes.T
    return center + (spread.min(axis=0) + spread.max(axis=0)) / 2 @ axes, axes[0]


def _misfit_m(fit: Rigid) -> float:
    """Root mean square distance of what was laid from its targets."""
    return float(np.sqrt((fit.residuals**2).sum(axis=1).mean()))


def building_outline(walk: Walk, places: Mapping[str, Array]) -> BaseGeometry | None:
    """Draw a building from its located corners: a polygon where the walk closes, else a line."""
    corners = [places[name] for name in walk.corners if name in places]
    if len(corners) < 2:
        return None
    whole = walk.closed and len(corners) == len(walk.corners)
    return Polygon(corners) if whole else LineString(corners)


@dataclass(frozen=True, slots=True)
class Apart:
    """How far two outlines are from one another, level distance; 0 where they meet."""

    distance_m: float
    sigma_m: float  #: standard deviation, from the joint covariance of the points of both
    nearer_m: float = 0.0  #: how much nearer they may be: a box's direction, a line's width was not measured
    wide_m: float = 0.0  #: what of that is for widths that are not recorded


class Outlines:
    """The outlines of all components and buildings of one solved property.

    Parameters
    ----------
    record
        Its components, also those that only points name; a building is known by the name of `buildings`.
    solution
        Where their points are.
    """

    def __init__(self, record: PropertyRecord, solution: Solution) -> None:
        self._places: dict[str, Array] = {
            position.name: position.place
            for position in (*solution.references, *solution.points)
            if position.place is not None
        }
        self._covariance = solution.covariance
        self._index = {name: number for number, name in enumerate(solution.names)}
        last = sorted(record.components, key=lambda each: (each.removed_on or date.max, each.installed_on or date.min))
        self._points = record.points_by_component()
        self._components = {name: Component(name, "unknown") for name in self._points}  # where only points name it
        self._components |= {each.name: each for each in last}  # of one name the one in use
        self._walks = {f"building at {walk.corners[0]}": walk for walk in split_walks(record.walls)}
        self._walls = [(wall.from_, wall.to) for wall in record.walls]

    @property
    def buildings(self) -> tuple[str, ...]:
        """Names of the buildings, each by its first corner."""
        return tuple(self._walks)

    def of(self, name: str) -> BaseGeometry | None:
        """Give the outline of a component or building, in the plane of the solution; None where it is not located.

        A line with a width, such as a trench, is as wide as that.
        """
        return self._outline(name, self._places)

    def line_of(self, name: str) -> BaseGeometry | None:
        """Give the outline of a component as `of` does, but a line without its width; None where it is not located."""
        component = self._components.get(name)
        return None if component is None else self._bare(component, self._places)

    def direction_known(self, name: str) -> bool:
        """Tell whether the direction of an outline was measured: of a box of one located point it was not."""
        component = self._components.get(name)
        if component is None or component.form == "round":
            return True
        return not (self._is_box(component) and len(self._located(name)) == 1)

    def apart(
        self, one: str, other: str, *, edge: bool = False, half_widths_m: Mapping[str, float] = NO_WIDTHS
    ) -> Apart | None:
        """Measure how far two outlines are from one another.

        Parameters
        ----------
        edge
            Measure to the edge of `other` also from within it, as to a property line.
        half_widths_m
            By name of a line: so much nearer may its edge be where its width is not recorded, such as half a trench.

        Returns
        -------
        None where one of the two is not located.
        """
        distance = self._distance(one, other, self._places, edge=edge)
        if distance is None:
            return None
        names = [each for name in (one, other) for each in self._located(name) if each in self._index]
        gradient = np.zeros(len(self._covariance))
        for name in dict.fromkeys(names):
            for axis in (0, 1):
                ends = [self._moved(one, other, name, axis, step, edge=edge) for step in (STEP_M, -STEP_M)]
                gradient[2 * self._index[name] + axis] = (ends[0] - ends[1]) / (2 * STEP_M)
        sigma = math.sqrt(max(0.0, float(gradient @ self._covariance @ gradient)))
        wide = sum(half_widths_m.get(name, 0.0) for name in (one, other) if self._is_thin(name))
        return Apart(distance, sigma, distance - self._nearest(one, other, distance, edge=edge) + wide, wide)

    def _moved(self, one: str, other: str, name: str, axis: int, step_m: float, *, edge: bool) -> float:
        """Distance of two outlines with one coordinate of one point moved."""
        moved = self._places[name].copy()
        moved[axis] += step_m
        return self._distance(one, other, {**self._places, name: moved}, edge=edge) or 0.0

    def _distance(self, one: str, other: str, places: Mapping[str, Array], *, edge: bool) -> float | None:
        a, b = self._outline(one, places), self._outline(other, places)
        if a is None or b is None:
            return None
        return float(a.distance(b.boundary if edge and b.geom_type == "Polygon" else b))

    def _nearest(self, one: str, other: str, distance: float, *, edge: bool) -> float:
        """Give the distance where a box whose direction was not measured lies as near as it may."""
        if self.direction_known(one) and self.direction_known(other):
            return distance
        shapes = [self.of(name) if self.direction_known(name) else self._round(name) for name in (one, other)]
        a, b = shapes
        if a is None or b is None:
            return distance
        return min(distance, float(a.distance(b.boundary if edge and b.geom_type == "Polygon" else b)))

    def _round(self, name: str) -> BaseGeometry:
        """Draw the circle in which a box of one point lies, whichever way it is turned."""
        component = self._components[name]
        half = [0.0 if side is None else side.metres / 2 for side in (component.length, component.width)]
        return Place(self._places[self._located(name)[0]]).buffer(math.hypot(*half))

    def _located(self, name: str) -> list[str]:
        walk = self._walks.get(name)
        names = list(walk.corners) if walk is not None else self._points.get(name, [])
        return [each for each in names if each in self._places]

    def _outline(self, name: str, places: Mapping[str, Array]) -> BaseGeometry | None:
        if name in self._walks:
            return building_outline(self._walks[name], places)
        component = self._components.get(name)
        if component is None:
            return None
        shape = self._bare(component, places)
        if component.width is not None and isinstance(shape, LineString):
            return shape.buffer(component.width.metres / 2)
        return shape

    def _bare(self, component: Component, places: Mapping[str, Array]) -> BaseGeometry | None:
        """Draw a component, a line without its width."""
        located = [places[each] for each in self._points.get(component.name, []) if each in places]
        if component.form == "round" and component.width is not None and located:
            return Place(np.mean(located, axis=0)).buffer(component.width.metres / 2)
        return outline(component, located, self._along(places))

    def _is_thin(self, name: str) -> bool:
        """Tell whether an outline is drawn without its width: as a line or a point."""
        shape = self.of(name)
        return shape is not None and shape.area == 0

    def _is_box(self, component: Component) -> bool:
        sized = component.length is not None and component.width is not None
        return sized and component.shape in (None, "box")

    def _along(self, places: Mapping[str, Array]) -> Array:
        """Give the unit vector of the first wall that is located; the first axis where there is none."""
        for start, end in self._walls:
            if start in places and end in places:
                delta = places[end] - places[start]
                return np.asarray(delta / np.hypot(*delta))
        return np.array([1.0, 0.0])

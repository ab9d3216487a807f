"""Points of a component -> its outline (shapely), in the plane that the points are given in, metres."""

import math
from collections.abc import Mapping, Sequence
from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, MultiPoint, Polygon, box
from shapely.geometry import Point as Place
from shapely.geometry.base import BaseGeometry

from asbuilt.model.components import Component, Point
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import Walk
from asbuilt.survey.earth import Rigid, fit_rigid

Array = NDArray[np.float64]

NEAR_CORNERS = 0.25
"""How far, as a share of the box's short side, points may miss its corners and still be taken for them (our own:
half-way between a corner and the middle of the box)."""


def component_points(record: PropertyRecord, component: str) -> list[str]:
    """Full names of a component's points: by `order` where it is given, else as they stand in the sheets."""
    rows = {point.name: point for point in record.points}
    names = [name for name in record.point_names() if record.component_of(name) == component]
    return sorted(names, key=lambda name: _order(rows.get(name)))


def _order(point: Point | None) -> float:
    return math.inf if point is None or point.order is None else point.order


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
        return _box(component.length.metres, component.width.metres, places, along)
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


def _box(length: float, width: float, places: Sequence[Array], along: Array) -> Polygon:
    """Lay a box of known size: one point = centre, two = long axis, three or four = fitted to its corners."""
    long, short = max(length, width), min(length, width)
    if len(places) == 1:
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

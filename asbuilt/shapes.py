"""Points of a component -> its outline (shapely), in the plane that the points are given in, metres."""

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, MultiPoint, Polygon, box
from shapely.geometry import Point as Place
from shapely.geometry.base import BaseGeometry

from asbuilt.model.components import Component, Point
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import Walk

Array = NDArray[np.float64]


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
        center, axis = _fitted_axis(places)
    upright = box(-long / 2, -short / 2, long / 2, short / 2)
    turned = rotate(upright, math.degrees(math.atan2(axis[1], axis[0])), origin=(0, 0))
    return translate(turned, center[0], center[1])


def _fitted_axis(places: Sequence[Array]) -> tuple[Array, Array]:
    """Centre and long axis of the smallest rectangle round three or four corners."""
    rectangle = MultiPoint(places).minimum_rotated_rectangle
    if not isinstance(rectangle, Polygon):  # all on one line
        ends = np.array(rectangle.coords)
        return ends.mean(axis=0), ends[-1] - ends[0]
    ring = np.array(rectangle.exterior.coords)
    sides = np.diff(ring[:3], axis=0)
    return ring[:4].mean(axis=0), sides[int(np.hypot(*sides.T).argmax())]


def building_outline(walk: Walk, places: Mapping[str, Array]) -> BaseGeometry | None:
    """Draw a building from its located corners: a polygon where the walk closes, else a line."""
    corners = [places[name] for name in walk.corners if name in places]
    if len(corners) < 2:
        return None
    whole = walk.closed and len(corners) == len(walk.corners)
    return Polygon(corners) if whole else LineString(corners)

"""A still plan for viewers that run no script: black lines on white, points numbered as in the table under it.

Plain SVG without a style, a script or an address; the only words in it are our own keys.
"""

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from shapely import transform
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from asbuilt.output.drawing.svg import circle, document, line, path, text, text_size
from asbuilt.output.features import Feature
from asbuilt.output.map.symbols import GROUPS, group_of
from asbuilt.units import FOOT_M

WIDTH_MM, MOST_HIGH_MM, EDGE_MM = 180.0, 240.0, 12.0
SIZE_MM = 3.6
SIDES = ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1))
GAPS_MM = (1.8, 4.5, 8.0)
LED_MM = 7.0
"""Where a key may stand from its point, the first that is free; beyond the last a line leads to it."""

SMALLEST_M = 3.0
"""A plan of one point shows this much ground at least."""

ROUND = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)

Lay = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def still_plan(
    features: Sequence[Feature],
    keys: Sequence[str],
    metres_per_degree: tuple[float, float],
    *,
    metric: bool,
    north_up: bool,
) -> str:
    """Draw the plan; empty where nothing is located.

    Parameters
    ----------
    features
        What is drawn; geometries are longitude, latitude in degrees.
    keys
        What each of them is called on the plan, constant words; empty = no label.
    metres_per_degree
        Metres in a degree of longitude and of latitude there.
    """
    drawn = [(f, k) for f, k in zip(features, keys, strict=True) if f.geometry is not None and not f.geometry.is_empty]
    if not drawn:
        return ""
    scaled = np.array(metres_per_degree)
    bounds = unary_union([box(*transform(f.geometry, lambda xy: xy * scaled).bounds) for f, _ in drawn]).bounds
    left, bottom, right, top = bounds
    per_m = min(
        (WIDTH_MM - 2 * EDGE_MM) / max(right - left, SMALLEST_M),
        (MOST_HIGH_MM - 2 * EDGE_MM) / max(top - bottom, SMALLEST_M),
    )
    corner = np.array([(left + right) / 2 - WIDTH_MM / 2 / per_m, top + EDGE_MM / per_m])
    high = (top - bottom) * per_m + 2 * EDGE_MM + 10.0

    def lay(places: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray((places * scaled - corner) * per_m * np.array([1.0, -1.0]))

    shapes = [(feature, transform(feature.geometry, lay), key) for feature, key in drawn]
    parts = [mark for feature, shape, _ in shapes for mark in _shape(feature, shape)]
    parts += _labels(shapes)
    parts += _scale_bar(per_m, high, metric=metric)
    if north_up:
        parts += _north(high)
    return document(parts, WIDTH_MM, high, "Plan")


def _shape(feature: Feature, shape: BaseGeometry) -> Iterator[str]:
    """Draw one geometry, its parts one by one."""
    if hasattr(shape, "geoms"):
        for part in shape.geoms:
            yield from _shape(feature, part)
    elif shape.geom_type == "Polygon":
        fill = "#ddd" if feature.role == "building" else "none"
        yield path(shape.exterior.coords, 0.5, _dash(feature), closed=True, fill=fill)
    elif shape.geom_type == "Point":
        yield from _spot(feature, (shape.x, shape.y))
    else:
        yield path(shape.coords, 0.5, _dash(feature))


def _spot(feature: Feature, at: tuple[float, float]) -> Iterator[str]:
    x, y = at
    if feature.role == "reference":
        yield line((x - 2, y), (x + 2, y), 0.5)
        yield line((x, y - 2), (x, y + 2), 0.5)
    else:
        yield circle(at, 1.3, 0.5)


def _dash(feature: Feature) -> str:
    """Give the dashes of the coloured map, smaller."""
    dash = next((group.dash for group in GROUPS if group.key == group_of(feature)), "")
    return " ".join(f"{float(step) / 5:g}" for step in dash.split())


def _labels(shapes: Sequence[tuple[Feature, BaseGeometry, str]]) -> list[str]:
    """Set the keys beside what they name, on the first side that is free; where none is, farther off with a line."""
    spots = [((shape.x, shape.y), key) for _, shape, key in shapes if shape.geom_type == "Point" and key]
    taken = np.array([(x - 1.5, y - 1.5, x + 1.5, y + 1.5) for (x, y), _ in spots])
    parts = []
    for (x, y), key in spots:
        width, height = text_size(key, SIZE_MM, bold=True)
        boxes = np.array([_box(x, y, width, height, side, gap) for gap in GAPS_MM for side in SIDES])
        low = np.all(boxes[:, None, :2] < taken[:, 2:], axis=2)
        over = low & np.all(boxes[:, None, 2:] > taken[:, :2], axis=2)
        box = boxes[int(np.argmin(np.any(over, axis=1)))]  # the first side where none is free
        taken = np.vstack([taken, box])
        middle = (float(box[0] + box[2]) / 2, float(box[1] + box[3]) / 2)
        if np.hypot(middle[0] - x, middle[1] - y) > LED_MM:
            parts.append(line((x, y), middle, 0.15))
        parts.append(text(key, float(box[0]), float(box[1]), SIZE_MM, bold=True))
    return parts


def _box(x: float, y: float, width: float, height: float, side: tuple[int, int], gap: float) -> list[float]:
    left = x + side[0] * gap - width * (1 - side[0]) / 2
    top = y + side[1] * gap - height * (1 - side[1]) / 2
    return [left, top, left + width, top + height]


def _scale_bar(per_m: float, high: float, *, metric: bool) -> list[str]:
    unit, name = (1.0, "m") if metric else (FOOT_M, "ft")
    long = max((each for each in ROUND if each * unit * per_m <= 60), default=1)
    y = high - 4.0
    end = 4 + long * unit * per_m
    ends = [line((x, y - 1.5), (x, y + 1.5), 0.6) for x in (4.0, end)]
    return [line((4, y), (end, y), 0.6), *ends, text(f"{long} {name}", end + 2, y - 2.2, SIZE_MM)]


def _north(high: float) -> list[str]:
    x, y = WIDTH_MM - 8.0, high - 3.0
    return [
        path([(x, y - 11), (x + 3, y - 2), (x, y - 4), (x - 3, y - 2)], 0.3, closed=True, fill="#000"),
        text("N", x - 6.5, y - 8.5, SIZE_MM, bold=True),
    ]

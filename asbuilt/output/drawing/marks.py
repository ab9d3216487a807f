"""Lines, hatches and symbols of the record drawing: told apart in black on white, at any size that can be printed.

Our own choice; pipes by their dashes and by the small signs along them. Millimetres of paper.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from shapely.affinity import rotate
from shapely.geometry import LineString, MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from asbuilt.output.drawing.svg import Pair, circle, line, path

SIGN_EVERY_MM = 9.0


@dataclass(frozen=True, slots=True)
class Line:
    """How the line or the outline of a thing is drawn."""

    title: str
    width: float
    dash: str = ""  #: SVG dash pattern; empty = unbroken
    sign: str = ""  #: what stands on the line again and again: one of _SIGNS
    hatch_deg: float | None = None  #: direction of the hatch of an area; None = none
    hatch_mm: float = 3.0  #: distance of its lines


LINES: Mapping[str, Line] = {
    "building": Line("House, building", 0.7, hatch_deg=45),
    "tank": Line("Tank or other box", 0.6),
    "laid": Line("Box, direction not known", 0.5, "2 1"),
    "field": Line("Drainfield, bed", 0.5, hatch_deg=135, hatch_mm=4),
    "sewer": Line("Sewer, by gravity", 0.6),
    "pressure": Line("Pressure pipe", 0.5, "4 1", "chevron"),
    "lateral": Line("Lateral", 0.45, sign="tick"),
    "dug": Line("Trench, as wide as dug", 0.2),
    "water": Line("Drinking water", 0.35, "3 1", "ring"),
    "electric": Line("Electric cable", 0.35, "1.6 0.8", "cross"),
    "signal": Line("Alarm, signal cable", 0.35, "0.8 0.8", "cross"),
    "gas": Line("Gas, oil", 0.35, "6 1 0.8 1"),
    "reclaimed": Line("Irrigation, reclaimed", 0.35, "5 1 0.8 1 0.8 1", "ring"),
    "survey": Line("Property line, apparent", 0.35, "6 1 0.8 1 0.8 1"),
    "reserve": Line("Reserve area", 0.4, "3 2"),
    "other": Line("Other", 0.35, "2 1.5"),
    "gone": Line("Abandoned in place", 0.3, "0.5 1.2"),
    "tie": Line("8: Tape to point 8", 0.13, "1.6 0.8"),
}

SYMBOLS: Mapping[str, tuple[str, float]] = {
    "lid": ("Lid, riser", 1.5),
    "cleanout": ("Cleanout", 1.3),
    "flush": ("Flushing turn-up", 1.3),
    "valve": ("Valve", 1.5),
    "port": ("Inspection port", 1.3),
    "box": ("Panel, box", 1.2),
    "well": ("Well, spigot", 1.6),
    "spot": ("Point of a pipe or area", 0.6),
    "mark": ("Reference point", 1.2),
}
"""Title and radius of each symbol; its middle is the measured place."""


def symbol(kind: str, at: Pair) -> str:
    """Draw one symbol round its place."""
    x, y = at
    r = SYMBOLS[kind][1]
    middle = circle(at, 0.25, 0.1, "#000")
    return {
        "lid": lambda: circle(at, r, 0.3) + line((x - r, y), (x + r, y), 0.2) + line((x, y - r), (x, y + r), 0.2),
        "cleanout": lambda: _square(at, r, 0.3) + line((x - r, y - r), (x + r, y + r), 0.2) + middle,
        "flush": lambda: path([(x, y - r), (x + r, y), (x, y + r), (x - r, y)], 0.3, closed=True, fill="#fff") + middle,
        "valve": lambda: path(
            [(x - r, y - r * 0.8), (x + r, y + r * 0.8), (x + r, y - r * 0.8), (x - r, y + r * 0.8)],
            0.3,
            closed=True,
            fill="#fff",
        ),
        "port": lambda: circle(at, r, 0.3) + circle(at, 0.5, 0.1, "#000"),
        "box": lambda: _square(at, r, 0.3) + middle,
        "well": lambda: circle(at, r, 0.35) + circle(at, r * 0.6, 0.25) + middle,
        "spot": lambda: circle(at, r, 0.1, "#000"),
        "mark": lambda: (
            path([(x, y - r * 1.2), (x + r, y + r * 0.6), (x - r, y + r * 0.6)], 0.3, closed=True, fill="#fff") + middle
        ),
    }[kind]()


def draw_geometry(geometry: BaseGeometry, style: Line) -> Iterator[str]:
    """Draw a thing that already lies in paper millimetres; a point is drawn by its symbol alone."""
    for part in getattr(geometry, "geoms", [geometry]):
        if isinstance(part, Polygon):
            yield from hatch(part, style)
            yield path(part.exterior.coords, style.width, style.dash, closed=True)
        elif isinstance(part, LineString):
            yield path(part.coords, style.width, style.dash)
            yield from signs(part, style)


def hatch(area: Polygon, style: Line) -> Iterator[str]:
    """Draw the hatch of an area, line by line, so that every viewer and printer shows the same."""
    if style.hatch_deg is None:
        return
    turned = rotate(area, -style.hatch_deg, origin=(0, 0))
    left, top, right, bottom = turned.bounds
    steps = range(math.ceil(top / style.hatch_mm), math.floor(bottom / style.hatch_mm) + 1)
    rows = MultiLineString([[(left, k * style.hatch_mm), (right, k * style.hatch_mm)] for k in steps])
    cut = rotate(rows.intersection(turned), style.hatch_deg, origin=(0, 0))
    for part in getattr(cut, "geoms", [cut]):
        if isinstance(part, LineString) and not part.is_empty:
            yield path(part.coords, 0.1)


def signs(way: LineString, style: Line) -> Iterator[str]:
    """Draw the small signs along a line."""
    if not style.sign:
        return
    count = max(1, int(way.length / SIGN_EVERY_MM))
    for k in range(count):
        at = (k + 0.5) * way.length / count
        before, after = way.interpolate(max(0.0, at - 0.1)), way.interpolate(min(way.length, at + 0.1))
        angle = math.atan2(after.y - before.y, after.x - before.x)
        middle = way.interpolate(at)
        yield _SIGNS[style.sign]((middle.x, middle.y), angle)


def _turned(at: Pair, angle: float, places: Sequence[Pair]) -> list[Pair]:
    c, s = math.cos(angle), math.sin(angle)
    return [(at[0] + c * x - s * y, at[1] + s * x + c * y) for x, y in places]


def _chevron(at: Pair, angle: float) -> str:
    return path(_turned(at, angle, [(-0.6, -0.9), (0.6, 0.0), (-0.6, 0.9)]), 0.3)


def _tick(at: Pair, angle: float) -> str:
    return path(_turned(at, angle, [(0.0, -0.8), (0.0, 0.8)]), 0.25)


def _ring(at: Pair, _angle: float) -> str:
    return circle(at, 0.65, 0.25)


def _cross(at: Pair, angle: float) -> str:
    a, b, c, d = _turned(at, angle, [(-0.7, -0.7), (0.7, 0.7), (-0.7, 0.7), (0.7, -0.7)])
    return line(a, b, 0.25) + line(c, d, 0.25)


_SIGNS: Mapping[str, Callable[[Pair, float], str]] = {
    "chevron": _chevron,
    "tick": _tick,
    "ring": _ring,
    "cross": _cross,
}


def _square(at: Pair, half: float, width: float) -> str:
    x, y = at
    corners = [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]
    return path(corners, width, closed=True, fill="#fff")


def arrow(tip: Pair, angle: float) -> str:
    """Draw an arrow head with its tip at a place; the angle is that of the paper: 0 to the right, then downward."""
    return path(_turned(tip, angle, [(0.0, 0.0), (-3.0, -1.0), (-3.0, 1.0)]), 0.2, closed=True, fill="#000")


def sample(kind: str, at: Pair, width: float) -> str:
    """Draw what stands in the legend before a title: a piece of line, a small area, or a symbol."""
    x, y = at
    if kind in SYMBOLS:
        return symbol(kind, (x + width / 2, y))
    style = LINES[kind]
    if kind in ("building", "tank", "laid", "field", "dug", "reserve"):
        area = Polygon([(x, y - 1.2), (x + width, y - 1.2), (x + width, y + 1.2), (x, y + 1.2)])
        return "".join(draw_geometry(area, style))
    return "".join(draw_geometry(LineString([(x, y), (x + width, y)]), style))

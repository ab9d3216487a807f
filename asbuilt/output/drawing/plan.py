"""One plan: a piece of the ground laid on paper at true scale, with everything named that there is room for."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from shapely.affinity import affine_transform
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from asbuilt.output.drawing.labels import Ground, Label, Placed, Text, place_labels
from asbuilt.output.drawing.marks import LINES, SYMBOLS, arrow, draw_geometry, symbol
from asbuilt.output.drawing.scale import Scale
from asbuilt.output.drawing.scene import OPENINGS, Mark, Numbered, Scene, Spot, Thing, TieLine, WallLine
from asbuilt.output.drawing.svg import Pair, blank, group, line, text, text_size
from asbuilt.output.words import one_line

LABEL_MM, FINE_MM = 2.3, 2.0
"""Size of the type of names, and of readings: 6.5 and 5.7 points; less cannot be read on a copy (our own)."""

DIMENSION_OFF_MM = 4.5
"""How far from the wall its length is written (our own)."""

LONGEST_LABEL = 28
"""Letters of a name up to which it is written on the plan; a longer one stands in the table under its key."""

ORDER = ("mark", "wall", "edge", "area", "point", "line", "tie")
"""Kinds of labels, those with the least freedom and the most weight first."""

ALONG = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)


@dataclass(frozen=True, slots=True)
class Window:
    """Which piece of the ground lies where on the paper."""

    frame: tuple[float, float, float, float]  #: left, top, right, bottom, millimetres of paper
    centre: Spot  #: of the ground, metres
    scale: Scale

    def lay(self, place: Spot) -> Pair:
        """Bring a place of the ground to the paper."""
        left, top, right, bottom = self.frame
        k = self.scale.mm_per_m
        return (left + right) / 2 + k * (place[0] - self.centre[0]), (top + bottom) / 2 - k * (
            place[1] - self.centre[1]
        )

    def lay_geometry(self, geometry: BaseGeometry) -> BaseGeometry:
        """Bring a geometry to the paper and cut off what lies beyond the frame."""
        x, y = self.lay((0.0, 0.0))
        k = self.scale.mm_per_m
        return affine_transform(geometry, [k, 0, 0, -k, x, y]).intersection(box(*self.frame))

    def shows(self, place: Spot, edge_mm: float = 1.5) -> bool:
        """Tell whether a place lies within the frame, with room for its symbol."""
        left, top, right, bottom = self.frame
        x, y = self.lay(place)
        return left + edge_mm <= x <= right - edge_mm and top + edge_mm <= y <= bottom - edge_mm


@dataclass(slots=True)
class Plan:
    """A drawn plan."""

    parts: list[str] = field(default_factory=list)
    used: set[str] = field(default_factory=set)  #: keys of LINES and SYMBOLS for the legend
    unnamed: list[str] = field(default_factory=list)  #: names of points and things that found no room for even a key
    outside: list[str] = field(default_factory=list)  #: things that lie beyond the frame
    ties: int = 0  #: tapes that are drawn with their reading


def draw_plan(scene: Scene, window: Window, *, detail: bool) -> Plan:
    """Draw one plan.

    Parameters
    ----------
    detail
        Also walls' lengths, tapes, and every point; else outlines, names, and the points of what lies far off.
    """
    return _Planner(scene, window, detail).plan()


class _Planner:
    def __init__(self, scene: Scene, window: Window, detail: bool) -> None:
        self.scene, self.window, self.detail = scene, window, detail
        self.done = Plan()
        self.ground = Ground(window.frame)
        self.labels: list[Label] = []
        self.names: dict[str, str] = {}  #: of what a label is about, by its key

    def plan(self) -> Plan:
        lines = [*self._buildings(), *self._things()]
        points = [*self._points(), *self._marks()]
        walls = dict(self._walls()) if self.detail else {}
        ties = dict(self._ties()) if self.detail else {}
        points += self._beyond()
        self.labels.sort(key=lambda label: ORDER.index(label.key.partition(":")[0]))
        placed = place_labels(self.labels, self.ground)
        measured = [walls[key] for key in walls if key in placed] + [ties[key] for key in ties if key in placed]
        self.done.ties = sum(key in placed for key in ties)
        self._use("tie", self.done.ties > 0)
        self.done.unnamed += [name for key, name in self.names.items() if key not in placed]
        self.done.parts += [*lines, *measured, *points, *_written(placed.values())]
        return self.done

    # ------------------------------------------------------------ what is there

    def _buildings(self) -> Iterator[str]:
        for geometry in self.scene.buildings:
            yield from self._draw(geometry, "building", "building")

    def _things(self) -> Iterator[str]:
        for thing in self.scene.things:
            if thing.geometry is None:
                continue
            laid = self.window.lay_geometry(thing.geometry)
            if laid.is_empty:
                self.done.outside.append(thing.name)
                continue
            drawn = list(self._draw(thing.geometry, "dug" if thing.way else thing.style, thing.key))
            if thing.way is not None:
                drawn += self._draw(thing.way, thing.style, thing.key)
            if drawn:
                yield group(drawn, "component", name=thing.name)
            if not _alone(thing) and (self.detail or thing.far or (laid.geom_type == "Polygon" and thing.way is None)):
                self._name_thing(thing, laid)

    def _draw(self, geometry: BaseGeometry, style: str, name: str) -> Iterator[str]:
        laid = self.window.lay_geometry(geometry)
        for part in getattr(laid, "geoms", [laid]):
            if isinstance(part, Polygon | LineString) and not part.is_empty:
                self._use(style)
                ring = part.exterior if isinstance(part, Polygon) else part
                self.ground.lines += [(name, (*a, *b)) for a, b in _steps(ring)]
                yield from draw_geometry(part, LINES[style])

    def _points(self) -> list[str]:
        drawn = []
        for point in self.scene.points:
            shown = self.detail or point.thing.far
            if point.place is None or not shown or not self.window.shows(point.place):
                continue
            drawn.append(self._symbol(point.symbol, point.place, "point", point.name))
            self._name_point(point, point.place)
        return drawn

    def _marks(self) -> list[str]:
        drawn = []
        for mark in self.scene.marks:
            if mark.place is None or not (self.detail or mark.far) or not self.window.shows(mark.place):
                continue
            drawn.append(self._symbol("mark", mark.place, "reference", mark.name))
            self._name_mark(mark, mark.place)
        return drawn

    def _symbol(self, kind: str, place: Spot, role: str, name: str) -> str:
        at, radius = self.window.lay(place), SYMBOLS[kind][1]
        self._use(kind)
        self.ground.symbols.append((at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius))
        return group([symbol(kind, at)], role, name=name)

    def _use(self, key: str, when: bool = True) -> None:
        if when:
            self.done.used.add(key)

    # ------------------------------------------------------------ what it is called

    def _want(
        self, kind: str, key: str, name: str, texts: Sequence[str], size: float = LABEL_MM, **where: object
    ) -> None:
        """Ask for a place for a label; texts that are too long for a plan are left to the table."""
        short = [words for words in map(one_line, texts) if len(words) <= LONGEST_LABEL]
        sized = tuple(Text(words, *text_size(words, size)) for words in dict.fromkeys(short))
        whole = f"{kind}:{key}"
        if name:
            self.names[whole] = name
        self.labels.append(Label(whole, sized, **where))  # type: ignore[arg-type]  # the fields of Label by name

    def _name_point(self, point: Numbered, place: Spot) -> None:
        said = []
        if _alone(point.thing):
            said = [f"{point.number} {point.thing.name}"]
        elif point.symbol in OPENINGS or not self.detail:
            said = [f"{point.number} {point.own_name}"]
        clear = SYMBOLS[point.symbol][1]
        at = self.window.lay(place)
        self._want("point", str(point.number), point.name, [*said, str(point.number)], at=at, clear=clear)

    def _name_mark(self, mark: Mark, place: Spot) -> None:
        said = f"{mark.name} (gone)" if mark.gone else mark.name
        clear = SYMBOLS["mark"][1]
        self._want("mark", mark.key, mark.name, [said, mark.key], at=self.window.lay(place), clear=clear)

    def _name_thing(self, thing: Thing, laid: BaseGeometry) -> None:
        """Name a component along its line, within its area, or beside it."""
        parts = sorted(getattr(laid, "geoms", [laid]), key=lambda part: -part.length)
        area = isinstance(parts[0], Polygon)
        ring = parts[0].exterior if area else parts[0]
        named, size = f"{thing.key} {thing.name}", _size(thing)
        texts = [f"{named} {size}", named, thing.key] if size else [named, thing.key]
        middle = parts[0].representative_point() if area else ring.interpolate(0.5, normalized=True)
        spots: list[Pair] = [(middle.x, middle.y)] if area else []
        spots += self._beside(ring, texts[-1])
        kind, near = ("area", 25.0) if area else ("line", 12.0)
        self._want(kind, thing.key, thing.name, texts, at=(middle.x, middle.y), spots=tuple(spots), near=near)

    def _beside(self, way: BaseGeometry, words: str) -> Iterator[Pair]:
        """Give places just off a line, here and there along it, on both sides."""
        width, height = text_size(words, LABEL_MM)
        for share in ALONG:
            at = way.interpolate(share, normalized=True)
            ahead = way.interpolate(min(1.0, share + 0.02), normalized=True)
            step = math.hypot(ahead.x - at.x, ahead.y - at.y) or 1.0
            across = ((at.y - ahead.y) / step, (ahead.x - at.x) / step)
            off = abs(across[0]) * width / 2 + abs(across[1]) * height / 2 + 1.2
            yield from ((at.x + sign * off * across[0], at.y + sign * off * across[1]) for sign in (1, -1))

    # ------------------------------------------------------------ what was measured

    def _walls(self) -> Iterator[tuple[str, str]]:
        for k, wall in enumerate(self.scene.walls):
            if self.window.shows(wall.a) and self.window.shows(wall.b):
                key = f"wall:{k}"
                yield key, self._dimension(k, wall)

    def _dimension(self, k: int, wall: WallLine) -> str:
        """Draw a dimension line outside its wall and ask for a place for the length on it."""
        a, b = self.window.lay(wall.a), self.window.lay(wall.b)
        out = (wall.outward[0], -wall.outward[1])
        begin, end = (_moved(each, out, DIMENSION_OFF_MM) for each in (a, b))
        name = f"wall {k}"
        self.ground.lines.append((name, (*begin, *end)))
        width, height = text_size(wall.words, FINE_MM)
        away = abs(out[0]) * width / 2 + abs(out[1]) * height / 2
        on = [_between(begin, end, share) for share in ALONG]
        spots = [*on, *(_moved(_between(begin, end, share), out, away + 0.6) for share in ALONG)]
        self._want("wall", str(k), "", [wall.words], FINE_MM, spots=tuple(spots), around=False, own=frozenset({name}))
        ticks = [_tick(each, begin, end) for each in (begin, end)]
        rests = [line(_moved(each, out, 1.0), _moved(each, out, DIMENSION_OFF_MM + 1.2), 0.13) for each in (a, b)]
        return group([line(begin, end, 0.13), *ticks, *rests], "dimension")

    def _ties(self) -> Iterator[tuple[str, str]]:
        for k, tie in enumerate(self.scene.ties):
            if self.window.shows(tie.a) and self.window.shows(tie.b):
                yield f"tie:{k}", self._tie(k, tie)

    def _tie(self, k: int, tie: TieLine) -> str:
        a, b = self.window.lay(tie.a), self.window.lay(tie.b)
        name = f"tie {k}"
        self.ground.lines.append((name, (*a, *b)))
        spots = tuple(_between(a, b, share / 40) for share in sorted(range(5, 36), key=lambda s: abs(s - 22)))
        self._want(
            "tie", str(k), "", [f"{tie.number}: {tie.words}"], FINE_MM, spots=spots, around=False, own=frozenset({name})
        )
        return group([line(a, b, LINES["tie"].width, LINES["tie"].dash)], "tie")

    def _beyond(self) -> list[str]:
        """Point with an arrow at the edge to each thing that lies beyond the frame."""
        drawn = []
        for thing in self.scene.things:
            if thing.name in self.done.outside and thing.geometry is not None:
                middle = thing.geometry.centroid
                tip, angle = _exit(self.window, self.window.lay((middle.x, middle.y)))
                self.ground.symbols.append((tip[0] - 2.5, tip[1] - 2.5, tip[0] + 2.5, tip[1] + 2.5))
                texts = [f"to {thing.name}", f"to {thing.key}"]
                self._want("edge", thing.key, thing.name, texts, FINE_MM, at=tip, clear=3.0)
                drawn.append(group([arrow(tip, angle)], "beyond"))
        return drawn


def _size(thing: Thing) -> str:
    """Write length and width of a thing as they were read."""
    length, width = thing.component.length, thing.component.width
    if length is not None and width is not None:
        return f"{length.as_read} x {width.as_read}"
    return f"{width.as_read} wide" if width is not None else f"{length.as_read} long" if length is not None else ""


def _alone(thing: Thing) -> bool:
    """Tell whether a component is one point and nothing else: then the point bears its name."""
    return thing.geometry is not None and thing.geometry.geom_type == "Point"


def _written(placed: Iterable[Placed]) -> Iterator[str]:
    """Write the labels in their places: leaders first, then white paper, then words."""
    each_one = list(placed)
    for each in each_one:
        if each.leader is not None:
            yield line(each.leader[:2], each.leader[2:], 0.13)
    yield from (blank(each.box) for each in each_one)
    for each in each_one:
        size = FINE_MM if each.label.key.partition(":")[0] in ("tie", "wall", "edge") else LABEL_MM
        yield text(each.text.words, each.box[0], each.box[1], size, kind="label")


def _steps(way: BaseGeometry) -> list[tuple[Pair, Pair]]:
    places = [(float(x), float(y)) for x, y, *_ in way.coords]
    return list(pairwise(places))


def _between(a: Pair, b: Pair, share: float) -> Pair:
    return a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])


def _moved(place: Pair, direction: Pair, by: float) -> Pair:
    return place[0] + by * direction[0], place[1] + by * direction[1]


def _tick(at: Pair, a: Pair, b: Pair) -> str:
    """Draw the stroke across the end of a dimension line, at 45 degrees to it."""
    angle = math.atan2(b[1] - a[1], b[0] - a[0]) + math.pi / 4
    step = (0.9 * math.cos(angle), 0.9 * math.sin(angle))
    return line(_moved(at, step, -1), _moved(at, step, 1), 0.25)


def _exit(window: Window, towards: Pair) -> tuple[Pair, float]:
    """Find where the way from the middle of the frame to a place leaves it, and in which direction."""
    left, top, right, bottom = window.frame
    middle = ((left + right) / 2, (top + bottom) / 2)
    dx, dy = towards[0] - middle[0], towards[1] - middle[1]
    reach = min(
        (right - middle[0] - 1) / abs(dx) if dx else math.inf, (bottom - middle[1] - 1) / abs(dy) if dy else math.inf
    )
    return (middle[0] + reach * dx, middle[1] + reach * dy), math.atan2(dy, dx)

"""What a record drawing shows, in metres and turned so that north is up where it is known.

Everything has the key by which plan and tables call it: points are numbered, components are C1, C2 ..., reference
points R1, R2 ...
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray
from shapely import transform
from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as Place
from shapely.geometry.base import BaseGeometry

from asbuilt.model.components import ABANDONED, Component
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import split_walks
from asbuilt.output.features import Feature
from asbuilt.output.map.symbols import group_of, symbol_of
from asbuilt.output.text.positions import best_two_tapes
from asbuilt.shapes import Outlines
from asbuilt.survey.earth import Placement
from asbuilt.survey.solution import Position, Solution
from asbuilt.units import Length, format_length, parse_length

Array = NDArray[np.float64]
Spot = tuple[float, float]

MAY_BE_FAR = frozenset({"water", "survey", "gas", "reclaimed", "other"})
"""Groups of things that may lie so far off that the plan would become small for their sake (our own choice)."""

OPENINGS = frozenset({"lid", "cleanout", "flush", "valve", "port", "box"})
"""Symbols of points that are opened again; the first that somebody will look for with two tapes."""

MOST_TIES = 24
"""Drawn tapes up to which a plan can still be read (our own); beyond it two a point, of the openings first."""

TANK = re.compile(r"tank|box|chamber|basin|vault|unit|riser", re.IGNORECASE)
FIELD = re.compile(r"\b(bed|field|drain ?field|mound)s?\b|soil absorption", re.IGNORECASE)
PRESSURE = re.compile(r"transport|force ?main|pressure|supply|manifold|header", re.IGNORECASE)
LATERAL = re.compile(r"lateral|trench|leach|drip", re.IGNORECASE)

_SEWER_STYLES = ((TANK, "tank"), (FIELD, "field"), (LATERAL, "lateral"), (PRESSURE, "pressure"))


@dataclass(frozen=True, slots=True)
class Thing:
    """One component."""

    key: str
    component: Component
    style: str  #: how its line is drawn, see `drawing_marks.LINES`
    geometry: BaseGeometry | None  #: None where nothing of it is located
    far: bool  #: may be left to the plan of the whole site
    way: BaseGeometry | None = None  #: of a line that is drawn as wide as it is: the line itself

    @property
    def name(self) -> str:
        """Its name in the record."""
        return self.component.name


@dataclass(frozen=True, slots=True)
class Numbered:
    """One point of a component."""

    number: int
    name: str
    thing: Thing
    symbol: str  #: see `drawing_marks.SYMBOLS`
    place: Spot | None

    @property
    def own_name(self) -> str:
        """Its name without the component's."""
        return self.name.removeprefix(f"{self.thing.name}/")


@dataclass(frozen=True, slots=True)
class Mark:
    """One reference point."""

    key: str
    name: str
    place: Spot | None
    gone: bool
    far: bool


@dataclass(frozen=True, slots=True)
class WallLine:
    """One wall with its length as measured."""

    a: Spot
    b: Spot
    words: str
    outward: Spot  #: unit vector


@dataclass(frozen=True, slots=True)
class TieLine:
    """One taped distance between two located places."""

    a: Spot
    b: Spot
    words: str
    number: int  #: of the point


@dataclass(frozen=True, slots=True)
class Scene:
    """All that is drawn of one property."""

    north_up: bool
    buildings: tuple[BaseGeometry, ...] = ()
    things: tuple[Thing, ...] = ()
    points: tuple[Numbered, ...] = ()
    marks: tuple[Mark, ...] = ()
    walls: tuple[WallLine, ...] = ()
    ties: tuple[TieLine, ...] = ()
    tied: int = 0  #: tapes in the record between located places, drawn or not
    numbers: Mapping[str, int] = field(default_factory=dict)  #: of each point, by its full name

    def extent(self, *, near: bool) -> tuple[float, float, float, float] | None:
        """Left, bottom, right, top of what is drawn, metres; `near` leaves out what may be far; None = nothing."""
        geometries = [thing.geometry for thing in self.things if not (near and thing.far)]
        geometries += [Place(mark.place) for mark in self.marks if mark.place and not (near and mark.far)]
        geometries += [Place(each.place) for each in self.points if each.place and not (near and each.thing.far)]
        drawn = [each for each in (*self.buildings, *geometries) if each is not None and not each.is_empty]
        if not drawn:
            return self.extent(near=False) if near else None
        bounds = [each.bounds for each in drawn]
        low, high = [min(axis) for axis in zip(*bounds, strict=True)], [max(axis) for axis in zip(*bounds, strict=True)]
        return low[0], low[1], high[2], high[3]


def build_scene(record: PropertyRecord, solution: Solution, placement: Placement | None, today: date) -> Scene:
    """Gather what is drawn of one solved property as on a day: what stands then or was abandoned in place."""
    return _Builder(record, solution, placement, today).scene()


def reading_words(length: Length, units: str) -> str:
    """Write a reading in the property's units; as it was read where that would round it."""
    words = format_length(length.metres, units)
    return words if abs(parse_length(words).metres - length.metres) < 1e-4 else length.as_read


class _Builder:
    def __init__(self, record: PropertyRecord, solution: Solution, placement: Placement | None, today: date) -> None:
        self.record, self.solution, self.today = record, solution, today
        self.units = record.property.units
        self.turn: Callable[[Array], Array] = placement.fit.lay if placement is not None else np.asarray
        self.north_up = placement is not None or solution.azimuth_deg is not None
        located = [each for each in (*solution.references, *solution.points) if each.place is not None]
        self.outlines = Outlines(record, solution)
        self.places = {each.name: self.turn(np.asarray(each.place)) for each in located}

    def scene(self) -> Scene:
        things = tuple(self._things())
        points = tuple(self._points(things))
        numbers = {each.name: each.number for each in points}
        ties, tied = self._ties(points)
        return Scene(
            self.north_up, self._buildings(), things, points, self._marks(), tuple(self._walls()), ties, tied, numbers
        )

    def _buildings(self) -> tuple[BaseGeometry, ...]:
        drawn = (self._turned(self.outlines.of(name)) for name in self.outlines.buildings)
        return tuple(each for each in drawn if each is not None)

    def _things(self) -> Iterator[Thing]:
        shown = {each.name: each for each in self.record.components if _in_the_ground(each, self.today)}
        ever = {each.name for each in self.record.components}
        named = dict.fromkeys(self.record.component_of(name) for name in self.record.point_names())
        shown |= {name: Component(name, "unknown") for name in named if name not in ever}
        for number, component in enumerate(shown.values(), 1):
            geometry = self._turned(self.outlines.of(component.name))
            way = self._way(component, geometry)
            yield Thing(f"C{number}", component, self._style(component), geometry, _may_be_far(component), way)

    def _way(self, component: Component, geometry: BaseGeometry | None) -> BaseGeometry | None:
        """Give the pipe of a trench that is as wide as it was dug."""
        line = self._turned(self.outlines.line_of(component.name))
        return line if isinstance(line, LineString) and isinstance(geometry, Polygon) else None

    def _style(self, component: Component) -> str:
        style = line_style(component)
        measured = self.outlines.direction_known(component.name)
        return style if measured or style == "gone" else "laid"

    def _turned(self, geometry: BaseGeometry | None) -> BaseGeometry | None:
        return None if geometry is None else transform(geometry, self.turn)

    def _points(self, things: Sequence[Thing]) -> Iterator[Numbered]:
        number = 0
        for thing in things:
            for name in self.record.points_of(thing.name):
                number += 1
                own = name.removeprefix(f"{thing.name}/")
                seen = Feature("point", name, thing.component.kind, None, {"point": own})
                yield Numbered(number, name, thing, symbol_of(seen), self._spot(name))

    def _marks(self) -> tuple[Mark, ...]:
        corners = {end for wall in self.record.walls for end in (wall.from_, wall.to)}
        return tuple(
            Mark(
                f"R{number}",
                each.name,
                self._spot(each.name),
                each.gone_on is not None and each.gone_on <= self.today,
                each.name not in corners,
            )
            for number, each in enumerate(self.record.reference_points, 1)
        )

    def _walls(self) -> Iterator[WallLine]:
        for walk in split_walks(self.record.walls):
            corners = [self.places[name] for name in walk.corners if name in self.places]
            for wall in walk.walls:
                if wall.from_ in self.places and wall.to in self.places:
                    a, b = self.places[wall.from_], self.places[wall.to]
                    yield WallLine(_pair(a), _pair(b), reading_words(wall.length, self.units), _outward(a, b, corners))

    def _ties(self, points: Sequence[Numbered]) -> tuple[tuple[TieLine, ...], int]:
        """Choose the tapes to draw: all where they are few, else the two that find each point best."""
        known = {each.name: each for each in points if each.place is not None}
        positions = [each for each in self.solution.points if each.name in known]
        all_of_them = [tie for position in positions for tie in self._lines(position, known[position.name], best=False)]
        tied = sum(tie.from_ in self.places and tie.to in self.places for tie in self.record.ties)
        if len(all_of_them) <= MOST_TIES:
            return tuple(all_of_them), tied
        first = [each for each in positions if known[each.name].symbol in OPENINGS]
        chosen = [tie for position in first or positions for tie in self._lines(position, known[position.name])]
        return tuple(chosen[: 2 * MOST_TIES]), tied

    def _lines(self, position: Position, point: Numbered, *, best: bool = True) -> Iterator[TieLine]:
        standing = {each.name for each in self.record.reference_points if each.gone_on is None}
        readings = {(frozenset((t.from_, t.to)), t.distance.as_read): t.distance for t in self.record.ties}
        for tie in best_two_tapes(position, self.places, standing) if best else position.ties:
            reading = readings.get((frozenset((tie.from_, position.name)), tie.as_read))
            if tie.from_ in self.places and point.place is not None:
                words = tie.as_read if reading is None else reading_words(reading, self.units)
                yield TieLine(_pair(self.places[tie.from_]), point.place, words, point.number)

    def _spot(self, name: str) -> Spot | None:
        return _pair(self.places[name]) if name in self.places else None


def _in_the_ground(component: Component, today: date) -> bool:
    return component.stands_on(today) or _abandoned(component)


def _abandoned(component: Component) -> bool:
    return (component.status or "").casefold().startswith(ABANDONED)


def line_style(component: Component) -> str:
    """Tell how a component is drawn: a key of `drawing_marks.LINES`."""
    if _abandoned(component):
        return "gone"
    group = _group(component)
    if group != "sewer":
        return group
    return next((style for words, style in _SEWER_STYLES if words.search(component.kind)), "sewer")


def _may_be_far(component: Component) -> bool:
    return _group(component) in MAY_BE_FAR and not _abandoned(component)


def _group(component: Component) -> str:
    return group_of(Feature("component", component.name, component.kind, None))


def _outward(a: Array, b: Array, corners: Sequence[Array]) -> Spot:
    """Tell on which side of a wall the house is not."""
    step = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    right = np.array([step[1], -step[0]])
    middle = (a + b) / 2
    house = Polygon(corners) if len(corners) > 2 else None
    if house is not None and house.is_valid:
        inside = house.contains(Place(middle + 0.05 * right))
    else:
        inside = bool(np.dot(np.mean(corners, axis=0) - middle, right) > 0)
    return _pair(-right if inside else right)


def _pair(place: Array) -> Spot:
    return float(place[0]), float(place[1])

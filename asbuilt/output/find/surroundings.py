"""What is recorded round a buried point: what lies near it, what was built over it, what a tape cannot run through."""

import re
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LinearRing, LineString, Polygon
from shapely.geometry import Point as Spot
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points, unary_union

from asbuilt.model.components import Component
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import split_walks
from asbuilt.output.find.lid import Near, Trace, wind_of
from asbuilt.rules.profile import Profile
from asbuilt.shapes import Outlines, building_outline
from asbuilt.survey.solution import Position, Solution
from asbuilt.units import FOOT_M

Array = NDArray[np.float64]

NEAR_M = 6 * FOOT_M
"""How far from the edge of the search circle what else is recorded is named (our own: a spade's work and three times
the tolerance zone of 24 in)."""

BUILT = ("building",)
"""Groups of the rule profile that a tape cannot run through."""

COVERS = ("foundation", "paving", "traffic")
"""Groups of the rule profile under which a lid may have come to lie."""

_BITES = ("cable", "electric", "gas", "water line")  # named first among what lies near
_NOT_THERE = ("property line", "reserve area", "easement")  # nothing that a spade meets
_AT_IT_M = 0.1  # nearer than this there is no direction to speak of


class Surroundings:
    """The things of one property as they stand on a day, in the output frame.

    Parameters
    ----------
    components
        Those in the ground on that day, by name.
    profile
        Its groups say what is a building, and what covers a lid.
    """

    def __init__(
        self, record: PropertyRecord, solution: Solution, components: dict[str, Component], profile: Profile
    ) -> None:
        self.record, self.solution, self.components, self.profile = record, solution, components, profile
        positions = (*solution.references, *solution.points)
        self.places = {p.name: p.place for p in positions if p.place is not None}
        outlines = Outlines(replace(record, components=tuple(components.values())), solution)
        self.shapes = {name: outlines.of(name) for name in components}
        self.lines = {name: outlines.line_of(name) for name in components}
        self.north_up = solution.azimuth_deg is not None
        shapes = (building_outline(walk, self.places) for walk in split_walks(record.walls))
        self.houses = [each for each in shapes if isinstance(each, Polygon) and each.is_valid]
        self.built = [s for name, s in self.shapes.items() if self._stands(name, BUILT) and isinstance(s, Polygon)]

    def rings(self) -> list[Array]:
        """Give the outlines that a tape cannot run through, each (n, 2)."""
        return [np.array(each.exterior.coords)[:-1] for each in (*self.houses, *self.built)]

    def hides(self, name: str) -> bool:
        """Tell whether a mark lies within something that was built since."""
        return any(each.contains(Spot(self.places[name])) for each in self.built)

    def in_house(self, place: Array) -> bool:
        """Tell whether a place lies inside a building that was measured."""
        return any(each.contains(Spot(place)) for each in self.houses)

    def cover(self, position: Position, radius_m: float) -> str | None:
        """Name what was built over a point, or over a part of its circle."""
        if position.place is None:
            return None
        circle = Spot(position.place).buffer(max(radius_m, 0.05))
        for name, shape in self.shapes.items():
            over = name != position.component and self._stands(name, COVERS) and isinstance(shape, Polygon)
            if over and shape is not None and shape.intersects(circle):
                return name
        return None

    def near(self, position: Position, radius_m: float, *, along: bool) -> list[Near]:
        """List what else is recorded near a point, what bites first.

        Parameters
        ----------
        radius_m
            Of its search circle.
        along
            It is a line that is dug along: what lies near any part of it counts.
        """
        if position.place is None:
            return []
        spot: BaseGeometry = Spot(position.place)
        own = position.component or position.name
        line = self.lines.get(own)
        dug = unary_union([spot, line]) if along and isinstance(line, LineString) else spot
        reach = NEAR_M + radius_m
        found = []
        for name, shape in self.shapes.items():
            if name == own or shape is None or self._skipped(name):
                continue
            distance, r95 = float(dug.distance(shape)), self._worst_r95(name)
            if distance <= reach + r95:
                wind = None
                if self.north_up and distance > _AT_IT_M:
                    here, there = (np.array(each.coords[0]) for each in nearest_points(dug, shape))
                    wind = wind_of(there - here)
                found.append(Near(name, self.components[name].kind, distance, r95, wind))
        return sorted(found, key=lambda each: (not self._is(each.name, _BITES), each.distance_m))

    def without_place(self, own: str) -> list[str]:
        """List pipes and cables that are recorded and lie nobody knows where."""
        bare = [name for name, shape in self.shapes.items() if shape is None and name != own]
        return [name for name in bare if not self._skipped(name) and not self._is(name, ("control panel",))]

    def traces(self) -> Iterable[Trace]:
        """Give what the sketch shows: buildings, what was built since, and every line and tank."""
        for k, house in enumerate(self.houses, 1):
            yield Trace(f"building {k}", "house", np.array(house.exterior.coords)[:-1], closed=True)
        for name in self.shapes:
            if self._is(name, _NOT_THERE):
                continue
            shape = (self.shapes if self._stands(name, COVERS) else self.lines)[name]
            if isinstance(shape, Polygon):
                kind = "cover" if self._stands(name, COVERS) else "area"
                yield Trace(name, kind, np.array(shape.exterior.coords)[:-1], closed=True)
            elif isinstance(shape, LineString | LinearRing):
                yield Trace(name, "line", np.array(shape.coords), closed=False)

    def _worst_r95(self, component: str) -> float:
        radii = [self.solution.position(name).r95_m for name in self.record.points_of(component)]
        return max((each for each in radii if each is not None), default=0.0)

    def _is(self, name: str, words: Iterable[str]) -> bool:
        kind = self.components[name].kind.casefold()
        return any(re.search(rf"\b{re.escape(word)}", kind) for word in words)

    def _skipped(self, name: str) -> bool:
        """Tell whether it is nothing that lies in the ground."""
        return self._is(name, _NOT_THERE) or self._stands(name, COVERS)

    def _stands(self, name: str, groups: Iterable[str]) -> bool:
        """Tell whether it is a structure of one of these groups; a building sewer is none."""
        return any(self.profile.closeness(each, self.components[name].kind) is not None for each in groups)

"""On which side of a line a point lies: the words of the measurer as signs of the plane frame."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.measurements import COMPASS, Side
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import outward_pair, wall_direction
from asbuilt.survey.observations import Observations

Array = NDArray[np.float64]
Places = Mapping[int, Array]

CLEAR_OF_DIRECTION_DEG = 30.0
"""`north of A > B` says nothing where the line runs within this angle of north."""


class UnclearSideError(ValueError):
    """A compass side along a line that runs that way itself."""


@dataclass(frozen=True, slots=True)
class Heading:
    """A direction of the plane frame whose azimuth is known."""

    start: int
    end: int
    azimuth_deg: float


def left_of(a: Array, b: Array, place: Array) -> float:
    """Twice the area a-b-place: positive where `place` lies left of the line from a to b."""
    return float((b[0] - a[0]) * (place[1] - a[1]) - (b[1] - a[1]) * (place[0] - a[0]))


class Sides:
    """All sides that the measurer noted, by point."""

    def __init__(self, record: PropertyRecord, observations: Observations, azimuth_deg: float | None) -> None:
        self._walks = observations.walks
        self._index = observations.index
        self.heading = _heading(record, self._index, azimuth_deg)
        self.of: dict[int, tuple[Side, ...]] = {}
        for tie in record.ties:
            if tie.side is not None:
                node, side = self._index[tie.to], self._named(tie.side, tie.to, record)
                self.of[node] = tuple(dict.fromkeys((*self.of.get(node, ()), side)))

    def _named(self, side: Side, point: str, record: PropertyRecord) -> Side:
        """Give `out` the ends of the wall that it means."""
        if side.word != "out" or side.a is not None:
            return side
        others = [t.from_ if t.to == point else t.to for t in record.ties if point in (t.from_, t.to)]
        return Side("out", *(outward_pair(self._walks, others) or (None, None)))

    def ready(self, node: int, places: Places) -> bool:
        """Tell whether all lines of the point's sides are placed, and the direction of its compass sides."""
        return not self.waits_for(node, places)

    def waits_for(self, node: int, places: Places) -> tuple[int, ...]:
        """Nodes that must have a place before the point's sides can be told; -1 stands for a wall of no name."""
        needed: list[int] = []
        for side in self.of.get(node, ()):
            needed += [self._end(side.a), self._end(side.b)]
            if side.word in COMPASS and self.heading is not None:
                needed += [self.heading.start, self.heading.end]
        return tuple(dict.fromkeys(other for other in needed if other not in places))

    def allow(self, node: int, place: Array, places: Places) -> bool:
        """Tell whether a place lies on every noted side.

        Raises
        ------
        UnclearSideError
            If a compass side cannot be told along its line.
        """
        for side in self.of.get(node, ()):
            a, b = places[self._end(side.a)], places[self._end(side.b)]
            if left_of(a, b, place) * self._sign(side, a, b, places) < 0:
                return False
        return True

    def across(self, node: int, place: Array, places: Places) -> Array:
        """Mirror a place in the first of the lines that it lies on the wrong side of."""
        for side in self.of.get(node, ()):
            a, b = places[self._end(side.a)], places[self._end(side.b)]
            if left_of(a, b, place) * self._sign(side, a, b, places) < 0:
                u = (b - a) / np.hypot(*(b - a))
                along = a + u * float((place - a) @ u)
                return np.asarray(2 * along - place)
        return place

    def _end(self, name: str | None) -> int:
        return self._index[name] if name is not None else -1

    def _sign(self, side: Side, a: Array, b: Array, places: Places) -> int:
        """+1 where the side is left of a -> b, -1 where right."""
        if side.word in COMPASS:
            return self._compass_sign(side, a, b, places)
        if side.word == "out":
            return -self._inward(side, places)
        return 1 if side.word == "left" else -1

    def _compass_sign(self, side: Side, a: Array, b: Array, places: Places) -> int:
        if self.heading is None or not {self.heading.start, self.heading.end} <= places.keys():
            raise UnclearSideError(f"{side}: no azimuth is known; say left of or right of {side.a} > {side.b}")
        along = places[self.heading.end] - places[self.heading.start]
        turn = math.radians(self.heading.azimuth_deg - COMPASS[side.word])  # anticlockwise from the wall
        toward = math.atan2(along[1], along[0]) + turn
        line = b - a
        sine = math.sin(toward - math.atan2(line[1], line[0]))
        if abs(sine) < math.sin(math.radians(CLEAR_OF_DIRECTION_DEG)):
            raise UnclearSideError(
                f"{side}: the line {side.a} > {side.b} itself runs within 30 degrees of {side.word} or its "
                f"opposite; say left of or right of {side.a} > {side.b}"
            )
        return 1 if sine > 0 else -1

    def _inward(self, side: Side, places: Places) -> int:
        """+1 where the house lies left of a -> b."""
        run = wall_direction(self._walks, side.a or "", side.b or "")
        if run is None:
            raise UnclearSideError("out: its two reference points are not the ends of one wall; say left or right")
        hand = run[2] or self._hand_by_area(run[0], places)
        return hand if run[0] == side.a else -hand

    def _hand_by_area(self, corner: str, places: Places) -> int:
        """Hand of a closed walk with unknown turns, from the area that its placed corners enclose."""
        walk = next(walk for walk in self._walks if corner in walk.corners)
        corners = [self._index[name] for name in walk.corners]
        if not walk.closed or not places.keys() >= set(corners):
            raise UnclearSideError(f"out: the walk round the house at {corner} does not close; say left or right")
        return 1 if _area(np.array([places[node] for node in corners])) > 0 else -1


def _area(ring: Array) -> float:
    """Signed area of a ring of corners, anticlockwise positive."""
    x, y = ring.T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)


def _heading(record: PropertyRecord, index: Mapping[str, int], azimuth_deg: float | None) -> Heading | None:
    earth = record.property.earth
    if azimuth_deg is None or earth is None or earth.wall_from is None or earth.wall_to is None:
        return None
    return Heading(index[earth.wall_from], index[earth.wall_to], azimuth_deg)

"""What the map draws of each point beside its symbol: the tapes that find it, and its 95 % ellipse."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.measurements import Offset
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.text.positions import Ways, best_two_tapes
from asbuilt.survey.earth import LocalFrame, Placement
from asbuilt.survey.solution import Position, Solution
from asbuilt.units import format_length

Array = NDArray[np.float64]
LonLat = tuple[float, float]


@dataclass(frozen=True, slots=True)
class TapeLine:
    """One tape to pull, as a line on the map."""

    mark: str  #: where it is held
    words: str  #: what to read off it: 23' 4 1/2"
    at: tuple[LonLat, LonLat]  #: from the mark to its other end; longitude, latitude in degrees
    along: bool = False  #: the first half of an offset: along the wall


@dataclass(frozen=True, slots=True)
class FoundPoint:
    """How one point is found again."""

    ways: tuple[str, ...] = ()  #: the tapes in words
    check: str | None = None  #: a third distance in words, which tells a misread tape
    lines: tuple[TapeLine, ...] = ()
    ellipse: tuple[float, float, float] | None = None  #: semi-axes, metres, azimuth of the major one, degrees

    def as_json(self) -> dict[str, Any]:
        """Give what the scripts of the map draw with."""
        lines = [{"mark": each.mark, "words": each.words, "at": each.at, "along": each.along} for each in self.lines]
        return {"ways": self.ways, "check": self.check, "lines": lines, "ellipse": self.ellipse}


def found_points(record: PropertyRecord, solution: Solution, placement: Placement | None) -> Mapping[str, FoundPoint]:
    """Choose for each located point the two tapes that find it best from what still stands.

    Parameters
    ----------
    placement
        None = as drawn by `build_features` without one, round latitude 0, longitude 0.
    """
    finder = _Finder(record, solution, placement)
    return {position.name: finder.found(position) for position in solution.points if position.place is not None}


@dataclass(slots=True)
class _Finder:
    record: PropertyRecord
    solution: Solution
    placement: Placement | None
    ways: Ways = field(init=False)
    places: dict[str, Array] = field(init=False)
    standing: set[str] = field(init=False)
    offsets: dict[str, Offset] = field(init=False)

    def __post_init__(self) -> None:
        known = (*self.solution.references, *self.solution.points)
        self.ways = Ways(self.record, self.solution)
        self.places = {each.name: each.place for each in known if each.place is not None}
        gone = {each.name for each in self.record.reference_points if each.gone_on is not None}
        self.standing = set(self.record.reference_names()) - gone
        self.offsets = {each.point: each for each in reversed(self.record.offsets)}  # the first of a point counts

    def found(self, position: Position) -> FoundPoint:
        ways = self.ways.to(position)
        lines = (*self._offset_lines(position, ways), *self._tape_lines(position, ways))
        return FoundPoint(ways, self.ways.check(position), lines, self._ellipse(position))

    def _tape_lines(self, position: Position, ways: tuple[str, ...]) -> Iterator[TapeLine]:
        """Give the tapes that the words name, so that words and lines never differ."""
        for tie in best_two_tapes(position, self.places, self.standing):
            for tail in (f" from {tie.from_}", f" from {tie.from_} (gone)"):
                words = next((way.removesuffix(tail) for way in ways if way.endswith(tail)), None)
                if words is not None and tie.from_ in self.places:
                    yield TapeLine(tie.from_, words, (self._earth(self.places[tie.from_]), self._earth(position.place)))

    def _offset_lines(self, position: Position, ways: tuple[str, ...]) -> Iterator[TapeLine]:
        """Give the two legs of an offset, where the words name it: along the wall, then square out."""
        offset = self.offsets.get(position.name)
        if offset is None or not any(f" along {offset.wall_from} > {offset.wall_to}, " in way for way in ways):
            return
        if offset.wall_from not in self.places or offset.wall_to not in self.places or position.place is None:
            return
        start, units = self.places[offset.wall_from], self.record.property.units
        wall = self.places[offset.wall_to] - start
        foot = start + wall * float((position.place - start) @ wall) / float(wall @ wall)
        along, out = format_length(offset.along.metres, units), format_length(offset.out.metres, units)
        yield TapeLine(offset.wall_from, f"{along} along", (self._earth(start), self._earth(foot)), along=True)
        yield TapeLine(offset.wall_from, f"{out} out", (self._earth(foot), self._earth(position.place)))

    def _ellipse(self, position: Position) -> tuple[float, float, float] | None:
        """Turn the ellipse of the output frame as the placing turns the frame."""
        ellipse = position.ellipse
        if ellipse is None:
            return None
        turned = 0.0 if self.placement is None else math.degrees(self.placement.fit.rotation_rad)
        azimuth = (ellipse.azimuth_deg - turned) % 180.0
        return round(ellipse.major_m, 4), round(ellipse.minor_m, 4), round(azimuth, 2)

    def _earth(self, place: Array | None) -> LonLat:
        plane = np.asarray(place, dtype=float)
        if self.placement is not None:
            longitude, latitude = self.placement.to_earth(plane)
        else:
            longitude, latitude = LocalFrame(0.0, 0.0).to_earth(plane[0], plane[1])
        return round(float(longitude), 9), round(float(latitude), 9)

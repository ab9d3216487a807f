"""The sketch of a find sheet as plain numbers, in points: house, corners, tapes, search circle, and where words go."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from asbuilt.output.find.lid import FindSet, Lid
from asbuilt.output.find.words import FindWords
from asbuilt.output.sheets.pdf import shortened

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]

LID_ROOM = (250.0, 220.0)
"""Width and height of the sketch of one lid at most, points: it stands beside the steps."""

ALL_ROOM = (520.0, 300.0)
"""The same of all lids."""

LEAST_CIRCLE_PT = 9.0
"""Radius of a search circle on paper at least, points: a smaller one would not be seen."""

_SPARE = 0.1  # of the larger side, on each side: room for names
_LETTER = 0.7  # width of a bold letter, of its size
_SHARES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2)  # where on a tape its length may stand
_AWAY = 16.0  # from a corner to its name, points


def lid_sketch(found: FindSet, lid: Lid, words: FindWords) -> dict[str, Any] | None:
    """Draw one lid with the corners that find it; None where nothing finds it.

    Returns
    -------
    Points from the upper left corner, y downward.
    """
    way = lid.crossing
    if way is None:
        return None
    third = [] if way.check is None else [way.check.tape]
    tapes = [way.first, way.second, *third]
    frame = _Frame(found, [way.place, *(found.marks[each.reference] for each in tapes)], LID_ROOM)
    labels = _Labels(frame)
    middle = frame.spot(way.place)
    circle = _circle(frame, way.place, way.r95_m, "")
    labels.keep_clear(middle, circle["r"])
    ends = [frame.spot(found.marks[each.reference]) for each in tapes]
    for end in ends:
        labels.keep_clear(end, 6.0)
        labels.keep_clear_along(end, middle)
    for k, (tape, end) in enumerate(zip(tapes, ends, strict=True), 1):
        labels.beside(end, f"{k} {shortened(tape.reference, 20)}", 14.0, away_from=middle)
    for tape, end in zip(tapes, ends, strict=True):
        labels.along(end, middle, words.length(tape.distance_m), 14.0)
    lines = [{"from": end, "to": middle, "check": k == 2} for k, end in enumerate(ends)]
    return frame.data() | {"tapes": lines, "marks": ends, "circles": [circle], "labels": labels.placed}


def all_sketch(found: FindSet) -> dict[str, Any] | None:
    """Draw all lids by their numbers; None where none has a place."""
    ways = [(k, lid.crossing) for k, lid in enumerate(found.lids, 1) if lid.crossing is not None]
    if not ways:
        return None
    used = dict.fromkeys(tape.reference for _, way in ways for tape in (way.first, way.second))
    frame = _Frame(found, [*(way.place for _, way in ways), *(found.marks[name] for name in used)], ALL_ROOM)
    labels = _Labels(frame)
    circles = [_circle(frame, way.place, way.r95_m, str(k)) for k, way in ways]
    ends = {name: frame.spot(found.marks[name]) for name in used}
    for circle in circles:
        labels.keep_clear(circle["at"], circle["r"])
    for end in ends.values():
        labels.keep_clear(end, 6.0)
    middle = [float(each) for each in np.mean([*ends.values()], axis=0)]
    for name, end in ends.items():
        labels.beside(end, shortened(name, 22), 12.0, away_from=middle)
    return frame.data() | {"tapes": [], "marks": [*ends.values()], "circles": circles, "labels": labels.placed}


def _circle(frame: "_Frame", place: Array, r95_m: float, label: str) -> dict[str, Any]:
    radius = round(max(r95_m * frame.scale, LEAST_CIRCLE_PT), 2)
    return {"at": frame.spot(place), "r": radius, "label": label}


class _Frame:
    """From the plane of the survey to the sketch, at the one scale at which all of it fits its room."""

    def __init__(self, found: FindSet, spots: Iterable[Array], room: tuple[float, float]) -> None:
        self._found = found
        self._marked = np.vstack([np.atleast_2d(each) for each in spots])
        houses = [trace.places for trace in found.traces if trace.kind == "house"]
        everything = np.vstack([self._marked, *houses])
        low, high = everything.min(axis=0), everything.max(axis=0)
        spare = _SPARE * max(float((high - low).max()), 1.0)
        self._low, self._high = low - spare, high + spare
        size = self._high - self._low
        self.scale = min(room[0] / float(size[0]), room[1] / float(size[1]))
        self.width, self.height = (round(float(each) * self.scale, 2) for each in size)

    def spot(self, place: Array) -> list[float]:
        """Give one place of the sketch."""
        x, y = (place[0] - self._low[0]) * self.scale, (self._high[1] - place[1]) * self.scale
        return [round(float(x), 2), round(float(y), 2)]

    def data(self) -> dict[str, Any]:
        """Give the size and the traces."""
        traces = [
            {"kind": trace.kind, "closed": trace.closed, "places": [self.spot(place) for place in trace.places]}
            for trace in self._found.traces
            if self._seen(trace.places)
        ]
        north = list(self._free()) if self._found.north_up else None
        return {"width": self.width, "height": self.height, "traces": traces, "north": north}

    def _seen(self, places: Sequence[Array] | Array) -> bool:
        spots = np.atleast_2d(places)
        return bool(((spots.max(axis=0) >= self._low) & (spots.min(axis=0) <= self._high)).all())

    def _free(self) -> tuple[float, float]:
        """Where the arrow to the north stands: in the corner that is farthest from everything that is marked."""
        spots = np.array([self.spot(place) for place in self._marked])
        corners = [(x, y) for x in (14.0, self.width - 14.0) for y in (20.0, self.height - 22.0)]
        return max(corners, key=lambda each: float(np.hypot(*(spots - each).T).min()))


@dataclass(slots=True)
class _Labels:
    """Words on the sketch, each where it hides least."""

    frame: _Frame
    placed: list[dict[str, Any]] = field(default_factory=list)
    _taken: list[Box] = field(default_factory=list)
    _lines: list[Box] = field(default_factory=list)

    def keep_clear(self, at: Sequence[float], radius: float) -> None:
        """Keep words off a mark or circle."""
        self._taken.append((at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius))

    def keep_clear_along(self, start: Sequence[float], end: Sequence[float]) -> None:
        """Keep names off a tape."""
        for x, y in np.linspace(start, end, 20):
            self._lines.append((x - 4, y - 4, x + 4, y + 4))

    def beside(self, at: Sequence[float], words: str, size: float, *, away_from: Sequence[float]) -> None:
        """Put the name of a corner beside it, rather away from where the tapes go."""
        away = np.array(at) - away_from
        turn = float(np.arctan2(away[1], away[0]))
        self._put(words, size, list(self._round(at, words, size, turn)), [*self._taken, *self._lines])

    def along(self, start: Sequence[float], end: Sequence[float], words: str, size: float) -> None:
        """Put the length of a tape on it."""
        a, b = np.array(start), np.array(end)
        self._put(
            words, size, [(float(x), float(y)) for x, y in (a + share * (b - a) for share in _SHARES)], self._taken
        )

    def _round(self, at: Sequence[float], words: str, size: float, turn: float) -> Iterator[tuple[float, float]]:
        half = _LETTER * size * len(words) / 2
        for step in (0, 1, -1, 2, -2, 3, -3, 4):
            angle = turn + step * np.pi / 4
            x, y = float(np.cos(angle)), float(np.sin(angle))
            yield at[0] + x * (half + 8), at[1] + y * _AWAY

    def _put(self, words: str, size: float, middles: Sequence[tuple[float, float]], taken: Sequence[Box]) -> None:
        """Choose the middle that hides least, the first of those that are as good."""
        boxes = [self._box(words, size, *middle) for middle in middles]
        hidden = [sum(_overlap(box, other) for other in taken) for box in boxes]
        best = min(range(len(boxes)), key=lambda k: (round(hidden[k]), k))
        self._taken.append(boxes[best])
        x, y = (boxes[best][0] + boxes[best][2]) / 2, (boxes[best][1] + boxes[best][3]) / 2
        self.placed.append({"at": [round(x, 2), round(y, 2)], "words": words, "size": size})

    def _box(self, words: str, size: float, x: float, y: float) -> Box:
        """Where words round a middle would stand, moved into the sketch."""
        wide, high = _LETTER * size * len(words) + 4, size + 4
        left = min(max(x - wide / 2, 1.0), max(self.frame.width - wide - 1.0, 1.0))
        top = min(max(y - high / 2, 1.0), max(self.frame.height - high - 1.0, 1.0))
        return left, top, left + wide, top + high


def _overlap(a: Box, b: Box) -> float:
    """Area that two boxes share."""
    wide = min(a[2], b[2]) - max(a[0], b[0])
    high = min(a[3], b[3]) - max(a[1], b[1])
    return wide * high if wide > 0 and high > 0 else 0.0

"""Small invented houses with known corners, and readings of them: exact but for the errors that a test asks for.

The first wall runs along +x from the origin, so the survey's own frame is the frame of the places given here.
Metres. Nothing here imports `asbuilt.survey`.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.measurements import Offset, Side, Tie, Wall
from asbuilt.model.place import Earth, Measured, Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.units import Length, parse_length

Array = NDArray[np.float64]
Places = Mapping[str, tuple[float, float]]

RECTANGLE: dict[str, tuple[float, float]] = {"A": (0, 0), "B": (12, 0), "C": (12, 8), "D": (0, 8)}
"""Walked A B C D with the house on the left."""

L_HOUSE: dict[str, tuple[float, float]] = {
    "A": (0, 0),
    "B": (14, 0),
    "C": (14, 6),
    "D": (6, 6),
    "E": (6, 12),
    "F": (0, 12),
}
"""Walked A to F with the house on the left; D is the inner corner, so C, D, E bound the notch."""


def metres(value: float) -> Length:
    """Give a length read to the tenth of a millimetre."""
    return Length(f"{value:.4f} m", value, 1e-4)


def apart(places: Places, a: str, b: str) -> float:
    """Give the true distance between two names."""
    return math.dist(places[a], places[b])


def walls(places: Places, ring: str, *, unknown: str = "", errors: Mapping[str, float] | None = None) -> list[Wall]:
    """Walk along the corners of `ring` ("ABCDA" closes); turns at the corners in `unknown` are not known.

    `errors` has the error of a wall under its two letters.
    """
    found = []
    for k, (a, b) in enumerate(pairwise(ring)):
        after = ring[k + 2] if k + 2 < len(ring) else (ring[1] if ring[0] == ring[-1] else None)
        degrees = None if after is None or b in unknown else _turn_deg(places, a, b, after)
        word = "?" if degrees is None else {90: "L", -90: "R"}.get(round(degrees, 6), f"{degrees:.6g}")
        length = apart(places, a, b) + (errors or {}).get(a + b, 0.0)
        found.append(Wall(a, b, metres(length), word, degrees))
    return found


def _turn_deg(places: Places, a: str, b: str, c: str) -> float:
    into, out = (complex(*places[q]) - complex(*places[p]) for p, q in ((a, b), (b, c)))
    return round(math.degrees(math.atan2((out / into).imag, (out / into).real)), 9)


def tape(places: Places, a: str, b: str, error: float = 0.0, **columns: Any) -> Tie:
    """Tape a level distance with this error; `columns` are those of a tie, `side` as written."""
    side = columns.pop("side", None)
    words = {"held": "level"} | columns
    return Tie(a, b, metres(apart(places, a, b) + error), _side(side), **words)


def _side(written: str | None) -> Side | None:
    if written is None or written == "out":
        return None if written is None else Side("out")
    word, line = written.split(" of ")
    return Side(word, *line.split(" > "))


def tapes(
    places: Places, point: str, anchors: Sequence[str], errors: Mapping[str, float] | None = None, **columns: Any
) -> list[Tie]:
    """Tape one point from several names; the side stands on the first tape."""
    side = columns.pop("side", None)
    wrong = errors or {}
    found = [tape(places, name, point, wrong.get(name, 0.0), **columns) for name in anchors]
    return [replace(found[0], side=_side(side)), *found[1:]]


def property_of(
    references: Sequence[str | ReferencePoint],
    walked: Sequence[Wall] = (),
    ties: Sequence[Tie] = (),
    *,
    offsets: Sequence[Offset] = (),
    units: str = "m",
    earth: Earth | None = None,
    **measured: Any,
) -> PropertyRecord:
    """Put a record together; `measured` are the keys of `[measured]`."""
    marks = tuple(r if isinstance(r, ReferencePoint) else ReferencePoint(r, kind="corner") for r in references)
    place = Property("Invented place", units, measured=Measured(**measured), earth=earth)
    return PropertyRecord(place, marks, walls=tuple(walked), ties=tuple(ties), offsets=tuple(offsets))


def rectangle(places: Places, ties: Sequence[Tie], **words: Any) -> PropertyRecord:
    """Give the rectangle with its closed walk and these ties; further names of `places` are points."""
    return property_of("ABCD", walls(places, "ABCDA"), ties, **words)


def around(count: int = 24, radius_m: float = 14.0, centre: tuple[float, float] = (6.0, 4.0)) -> list[Array]:
    """Places on a circle round the rectangle, none of them on a line of its walls."""
    angles = 0.13 + 2 * math.pi * np.arange(count) / count
    return [np.array(centre) + radius_m * np.array([math.cos(a), math.sin(a)]) for a in angles]


def in_feet(record: PropertyRecord, step_in: float = 0.5) -> PropertyRecord:
    """Write all lengths of a record in feet and inches, rounded to a step, as a notebook has them."""

    def written(length: Length) -> Length:
        halves = round(length.metres / 0.0254 / step_in)
        feet, inches = divmod(halves * step_in, 12)
        whole, rest = divmod(inches, 1)
        return parse_length(f"{feet:.0f}' {whole:.0f}{' 1/2' if rest else ''}\"")

    ties = tuple(replace(tie, distance=written(tie.distance)) for tie in record.ties)
    walked = tuple(replace(wall, length=written(wall.length)) for wall in record.walls)
    return replace(record, property=replace(record.property, units="ft-in"), ties=ties, walls=walked)


def misread(observations: Any, rng: np.random.Generator) -> Any:
    """Give every equation an error of its own standard deviation; turns of a closed walk sum to a full turn."""
    bends = rng.normal(size=len(observations.turns))
    bends -= bends.mean()
    distances = tuple(replace(d, metres=d.metres + rng.normal(0, d.sigma_m)) for d in observations.distances)
    turns = tuple(
        replace(t, radians=t.radians + e * t.sigma_rad) for t, e in zip(observations.turns, bends, strict=True)
    )
    offsets = tuple(
        replace(
            o,
            along_m=o.along_m + rng.normal(0, o.along_sigma_m),
            left_m=o.left_m + rng.normal(0, o.left_sigma_m),
        )
        for o in observations.offsets
    )
    return replace(observations, distances=distances, turns=turns, offsets=offsets)

"""What was read off a tape: walls, ties, offsets and known coordinates."""

import re
from dataclasses import dataclass
from datetime import date

from asbuilt.units import Length

COMPASS = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}
"""Compass words of a side and their azimuths, degrees."""

HELD = ("level", "slope", "unknown")
"""How the tape was held."""

_SIDE = re.compile(r"(left|right|north|east|south|west|out) of (.+?) > (.+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Side:
    """On which side of the line from `a` to `b` a point lies; tells the two places of two ties apart."""

    word: str  #: left, right, north, east, south, west or out
    a: str | None = None  #: None with `out`: then the two names that the point was taped from
    b: str | None = None

    def __str__(self) -> str:
        return self.word if self.word == "out" else f"{self.word} of {self.a} > {self.b}"


def parse_side(text: str) -> Side:
    """Read `left of A > B`, `north of A > B`, `out` or, where the wall that it is out of is named, `out of A > B`.

    Raises
    ------
    ValueError
        If it is none of these; the text says what is accepted.
    """
    words = " ".join(text.split())
    if words.lower() == "out":
        return Side("out")
    match = _SIDE.fullmatch(words)
    if match is None or match[2] == match[3]:
        raise ValueError("accepted: left of A > B, right of A > B, north (east, south, west) of A > B, or out")
    return Side(match[1].lower(), match[2], match[3])


@dataclass(frozen=True, slots=True)
class Wall:
    """One wall of the walk round a building, and the turn at its far corner."""

    from_: str
    to: str
    length: Length
    turn: str  #: as read: L, R, degrees with left positive, or ? = unknown
    turn_deg: float | None  #: deflection from straight ahead at `to`, left positive; None = unknown


@dataclass(frozen=True, slots=True)
class Tie:
    """One taped distance between two named points; it has no direction."""

    from_: str
    to: str  #: the sided point
    distance: Length
    side: Side | None = None
    held: str | None = None  #: one of HELD; None = not noted
    drop: Length | None = None  #: how far `to` lies below the tape's end at `from_`
    note: str | None = None
    on: date | None = None  #: the day it was pulled; None = the day the property was measured


@dataclass(frozen=True, slots=True)
class Offset:
    """A point measured along a wall line from its first corner and square out from it."""

    wall_from: str
    wall_to: str
    point: str
    along: Length
    out: Length
    hand: str | None = None  #: left or right of wall_from -> wall_to; None = the wall's outward side


@dataclass(frozen=True, slots=True)
class KnownCoordinate:
    """A point whose place on the earth is known from elsewhere: by latitude and longitude, or in a projected system."""

    point: str
    latitude: float | None  #: degrees, WGS 84; None = given in a projected system
    longitude: float | None  #: degrees, WGS 84
    accuracy_m: float  #: radius that holds 68 % horizontally
    source: str | None = None
    on: date | None = None
    epsg: int | None = None  #: code of the projected system in the EPSG data set
    easting: float | None = None  #: in the system's own unit
    northing: float | None = None  #: in the system's own unit
    height: Length | None = None  #: above what `source` says; carried, never used in the plane

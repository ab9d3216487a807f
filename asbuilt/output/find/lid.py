"""What is said of one buried thing that is to be found again: the facts, before they become words or a page."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from asbuilt.survey.finding import AlongWall, Crossing

Array = NDArray[np.float64]

WINDS = ("n", "ne", "e", "se", "s", "sw", "w", "nw")
"""Directions of the compass that a person uses, clockwise."""


@dataclass(frozen=True, slots=True)
class LidDepth:
    """How deep it lies, and below which ground."""

    depth_m: float
    to: str  #: top or invert; empty = not noted
    day: date | None  #: of the ground; None = not known
    how: str  #: noted, levelled, cover or found


@dataclass(frozen=True, slots=True)
class Near:
    """Something else that is recorded near it."""

    name: str
    kind: str
    distance_m: float  #: from the spot, or from the line that is dug
    r95_m: float  #: how well its own place is known
    wind: str | None  #: one of WINDS, from the spot; None = no azimuth, or it lies at the spot


@dataclass(frozen=True, slots=True)
class Lid:
    """One point with everything that helps to find it."""

    name: str
    component: str
    kind: str
    r95_m: float | None  #: of its place itself; None = it has none
    checked: bool
    crossing: Crossing | None  #: by two tapes
    wall: AlongWall | None  #: along a wall and square out
    wind: str | None  #: one of WINDS: from the first corner to it
    corners: dict[str, str]  #: descriptions of the reference points that are named
    drops: dict[str, float]  #: how far it lies below the mark at a reference point, metres, where that is known
    mirror_in_house: bool  #: the other side of the two tapes lies inside a building
    cover: str | None  #: what was built over it since
    depth: LidDepth | None
    size: str | None = None
    color: str | None = None
    material: str | None = None
    description: str | None = None
    mark: str | None = None
    landmark: str | None = None
    known_by: str | None = None
    near: tuple[Near, ...] = ()
    no_place: tuple[str, ...] = ()  #: what else is recorded and has no place
    photo: bytes | None = None  #: a small picture, JPEG or PNG


@dataclass(frozen=True, slots=True)
class Trace:
    """One outline or line of the sketch."""

    name: str
    kind: str  #: house, cover, line or area
    places: Array  #: (n, 2), metres
    closed: bool


@dataclass(frozen=True, slots=True)
class FindSet:
    """The lids of one property that are to be found, and what is drawn round them."""

    property: str
    units: str
    draft: bool
    today: date
    lids: tuple[Lid, ...]
    marks: dict[str, Array]  #: reference points that can be used, metres
    traces: tuple[Trace, ...]
    north_up: bool  #: the frame is east and north
    near_m: float  #: how far from the search circle things are listed
    call: str  #: who to call, with the number; empty = not recorded


def wind_of(delta: Array) -> str:
    """Name the direction of a step east and north.

    Examples
    --------
    >>> wind_of(np.array([1.0, 1.1])), wind_of(np.array([0.0, -3.0]))
    ('ne', 's')
    """
    degrees = float(np.degrees(np.arctan2(delta[0], delta[1]))) % 360
    return WINDS[round(degrees / 45) % 8]

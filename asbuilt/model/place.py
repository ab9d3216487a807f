"""A property, how it was measured, where it lies on the earth, and what one measures from."""

from dataclasses import dataclass, field
from datetime import date

from asbuilt.model.access import Access, Panel
from asbuilt.model.handover import Drawing, Inspection
from asbuilt.model.levels import Benchmark
from asbuilt.units import Length

CARES = ("careful", "normal", "rough")
"""How carefully the tapes were pulled; the survey turns the word into a standard deviation."""


@dataclass(frozen=True, slots=True)
class Measured:
    """Who measured, when, and how well."""

    by: str | None = None
    on: date | None = None
    care: str = "normal"  #: one of CARES
    tape_sigma: Length | None = None  #: standard deviation of one taped distance; None = from `care`
    wall_sigma: Length | None = None  #: the same for house walls; None = 0.015 m
    square_sigma_deg: float = 0.2  #: how square a corner is, degrees; 0 = held exactly
    unknown_drop: Length | None = None  #: the most that an unnoted drop of a tape may be; None = 2 ft
    square_by_eye_deg: float = 2.0  #: how square an offset is set out by eye, standard deviation
    rod_sigma: Length | None = None  #: standard deviation of one rod reading; None = 1.5 mm
    level_tolerance: Length | None = None  #: how far the highest and lowest of what should be level may differ


@dataclass(frozen=True, slots=True)
class Earth:
    """One place on the earth and one direction, as given in `[earth]`."""

    reference: str | None = None  #: the reference point that the coordinates belong to; the origin of the output
    latitude: float | None = None  #: degrees, WGS 84, north positive
    longitude: float | None = None  #: degrees, WGS 84, east positive
    accuracy_m: float | None = None  #: radius that holds 68 % horizontally, as phones report it
    wall_from: str | None = None
    wall_to: str | None = None
    azimuth_deg: float | None = None  #: direction wall_from -> wall_to, degrees clockwise from `north`
    north: str = "true"  #: "true" or "magnetic"
    azimuth_sigma_deg: float | None = None  #: None = 0.1 where true, 3 where magnetic


@dataclass(frozen=True, slots=True)
class Property:
    """One place with its buildings and its wastewater system."""

    name: str
    units: str  #: "ft-in", "ft" or "m": how bare lengths of the sheets are read and how results are shown
    address: str | None = None
    parcel: str | None = None
    permit: str | None = None
    authority: str | None = None
    bedrooms: int | None = None
    design_gpd: float | None = None  #: design flow, US gallons a day
    owner: str | None = None
    phone: str | None = None
    rules: str | None = None  #: rule profile: a name, or a .toml file of the folder of sheets; None = common
    measured: Measured = field(default_factory=Measured)
    earth: Earth | None = None
    benchmark: Benchmark | None = None
    draft: bool = False  #: loaded half-filled with `load --draft`; every output says so
    access: Access = field(default_factory=Access)
    panel: Panel = field(default_factory=Panel)
    inspection: Inspection = field(default_factory=Inspection)
    drawing: Drawing = field(default_factory=Drawing)


@dataclass(frozen=True, slots=True)
class ReferencePoint:
    """A fixed, describable thing that one measures from: a house corner, a pin, a well casing."""

    name: str
    description: str | None = None  #: which face and which mark
    kind: str | None = None  #: corner, pin, well, post ...
    gone_on: date | None = None  #: the day it was found gone; its old ties still count
    sigma: Length | None = None  #: how well the mark itself is defined, standard deviation

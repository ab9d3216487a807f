"""The direction of the wall that `[earth]` names, from true north: a compass reading gets its declination."""

import math
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

from asbuilt.findings import Finding, Severity
from asbuilt.model.place import Earth, Property

AZIMUTH_SIGMA_DEG = {"true": 0.1, "magnetic": 3.0}
"""Standard deviation of a wall's azimuth where none is given; a compass near a house is no better (steel, a service
panel; 3 to 5 degrees, common practice)."""

FIRST_YEAR, LAST_YEAR = 2010, 2029
"""Years that the World Magnetic Models at hand cover."""

MODEL_SIGMA = {2015: (0.23, 5430.0), 2020: (0.26, 5625.0), 2025: (0.26, 5417.0)}
"""Error of a model's declination by its first year: a constant, degrees, and nanotesla-degrees over the horizontal
intensity. NOAA and BGS, technical reports on the World Magnetic Model 2015, 2020 and 2025."""

SPECIFIED_SIGMA_DEG = 1.0
"""Error of the declination that the model's specification allows (MIL-W-89500, from memory); used where the report of
a model states none of its own."""

BLACKOUT_NT, CAUTION_NT = 2000.0, 6000.0
"""Horizontal intensity, nanotesla, below which a compass is of no use, and below which it is doubtful: blackout and
caution zones of the technical report on the World Magnetic Model 2025."""

_ALTITUDE_KM = 0.1  # a kilometre more or less changes the declination by a few thousandths of a degree


@dataclass(frozen=True, slots=True)
class Declination:
    """Where a compass points at one place on one day."""

    degrees: float  #: magnetic north from true north, east positive
    sigma_deg: float  #: standard deviation of the model
    horizontal_nt: float  #: horizontal intensity, nanotesla
    model: str  #: such as "WMM-2025"
    day: date


@dataclass(frozen=True, slots=True)
class WallAzimuth:
    """The direction of a wall from true north."""

    degrees: float  #: 0 to 360, clockwise
    sigma_deg: float  #: standard deviation, the declination's included
    declination: Declination | None = None  #: None where the azimuth was given as true


def wall_azimuth(place: Property, where: tuple[float, float] | None) -> tuple[WallAzimuth | None, list[Finding]]:
    """Give the true azimuth of the wall that `[earth]` names.

    Parameters
    ----------
    place
        The property.
    where
        Longitude and latitude of any point of it, degrees; None = not known.

    Returns
    -------
    The azimuth, None where none is known, and findings: which declination was used, or why none could be.
    """
    earth = place.earth
    if earth is None or earth.azimuth_deg is None:
        return None, []
    own = AZIMUTH_SIGMA_DEG[earth.north] if earth.azimuth_sigma_deg is None else earth.azimuth_sigma_deg
    if earth.north == "true":
        return WallAzimuth(earth.azimuth_deg % 360.0, own), []
    day = place.measured.on
    if where is None or day is None:
        why = "its declination needs a place and the day it was measured"
        return None, [_not_used(place, why, "Give latitude, longitude and [measured] on, or a true azimuth.")]
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        why = f"the World Magnetic Models at hand cover {FIRST_YEAR} to {LAST_YEAR}, not {day}"
        return None, [_not_used(place, why, "Give a true azimuth, or two known coordinates.")]
    found = declination(*where, day)
    if found.horizontal_nt < BLACKOUT_NT:
        why = f"so near the magnetic pole ({found.horizontal_nt:.0f} nT across) a compass is of no use"
        return None, [_not_used(place, why, "Give a true azimuth, or two known coordinates.")]
    azimuth = WallAzimuth((earth.azimuth_deg + found.degrees) % 360.0, math.hypot(own, found.sigma_deg), found)
    return azimuth, [_used(earth, azimuth, found, own)]


def _not_used(place: Property, why: str, act: str) -> Finding:
    message = f"The magnetic azimuth is not used: {why}."
    return Finding("no-declination", place.name, message, Severity.ATTENTION, act)


def _used(earth: Earth, azimuth: WallAzimuth, found: Declination, own: float) -> Finding:
    """Say which declination was used, and how sure the direction is with it."""
    wall = f"{earth.wall_from} > {earth.wall_to}"
    hand = "east" if found.degrees >= 0 else "west"
    message = (
        f"The compass azimuth {earth.azimuth_deg:.1f} of {wall} is {azimuth.degrees:.1f} degrees from true north: "
        f"declination {abs(found.degrees):.1f} degrees {hand} ({found.model}, {found.day}). The wall's direction is "
        f"known to {azimuth.sigma_deg:.1f} degrees (standard deviation; compass {own:.1f}, model "
        f"{found.sigma_deg:.1f})."
    )
    doubtful = found.horizontal_nt < CAUTION_NT
    act = "So near the magnetic pole a compass is doubtful: give a true azimuth." if doubtful else ""
    return Finding("declination", wall, message, Severity.ATTENTION if doubtful else Severity.NOTE, act)


def declination(longitude: float, latitude: float, day: date) -> Declination:
    """Reckon the declination by the World Magnetic Model that is valid on a day.

    Parameters
    ----------
    longitude, latitude
        Degrees, WGS 84.

    Raises
    ------
    ValueError
        If no model covers the year.
    """
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError(f"no magnetic model for {day}; accepted: {FIRST_YEAR} to {LAST_YEAR}")
    epoch = day.year - day.year % 5
    model = _model(epoch)
    days = (date(day.year + 1, 1, 1) - date(day.year, 1, 1)).days
    year = day.year + (day.timetuple().tm_yday - 1) / days
    found = model.calculate(glat=latitude, glon=longitude, alt=_ALTITUDE_KM, time=year)
    sigma = model_sigma_deg(epoch, found.h)
    return Declination(float(found.d), sigma, float(found.h), str(model.model), day)


def model_sigma_deg(epoch: int, horizontal_nt: float) -> float:
    """Give the standard deviation of a model's declination, degrees; see `MODEL_SIGMA`."""
    if epoch not in MODEL_SIGMA:
        return SPECIFIED_SIGMA_DEG
    fixed, by_intensity = MODEL_SIGMA[epoch]
    return math.hypot(fixed, by_intensity / horizontal_nt)


@lru_cache(maxsize=4)
def _model(epoch: int) -> Any:
    from pygeomag import GeoMag  # only a compass reading needs it

    return GeoMag(base_year=epoch)

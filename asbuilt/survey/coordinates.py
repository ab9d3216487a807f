"""Known coordinates as given -> longitude and latitude WGS 84: those of a named projected system are converted.

The systems are those of the EPSG data set. Their own unit counts, so that the US survey foot and the international
foot are told apart. Nothing is fetched: where a grid of datum shifts is not installed, the shift is less sure and says
by how many metres.
"""

import math
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from pyproj import CRS, Geod, Proj
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import Transformer, TransformerGroup

from asbuilt.errors import PlaceError
from asbuilt.findings import Finding, Severity
from asbuilt.model.measurements import KnownCoordinate
from asbuilt.model.property_record import PropertyRecord

FAR_OUTSIDE_M = 200_000.0
"""A place farther than this outside a system's area of use is a slip; nearer is a neighbouring zone used on purpose."""

BAD_COORDINATE = "bad-coordinate"
"""Code of the finding for a coordinate that has no place."""

Bounds = tuple[float, float, float, float]
"""West, south, east and north of a box, degrees; it may span 180 degrees."""

_UNIT_WORDS = {"metre": "metres", "foot": "international feet", "US survey foot": "US survey feet"}
_GEOD = Geod(ellps="WGS84")


class GridError(PlaceError):
    """A coordinate that its projected system cannot place.

    Parameters
    ----------
    column
        Where it stands in `known_coordinates.csv`.
    reason
        What was read and what is wrong with it.
    accepted
        What would be accepted.
    """

    def __init__(self, column: str, reason: str, accepted: str) -> None:
        self.column, self.reason, self.accepted = column, reason, accepted
        super().__init__(f"{reason}; {accepted}")


@dataclass(frozen=True, slots=True)
class GridPlace:
    """One place of a projected system on the earth, and what the system is like there."""

    epsg: int
    system: str  #: its name, such as "NAD83 / Utah North (ftUS)"
    datum: str  #: name of the geographic system below it
    unit: str  #: in words: metres, international feet, US survey feet
    unit_m: float  #: metres in one
    longitude: float  #: degrees, WGS 84
    latitude: float  #: degrees, WGS 84
    convergence_deg: float  #: grid north from true north, east positive
    scale: float  #: a grid distance over the true one, along a meridian
    shift_m: float  #: stated accuracy of the datum shift used; 0 = none needed
    finer_shift_m: float | None  #: that of the best shift whose grid is not installed; None = the best one was used
    outside_m: float  #: how far outside the system's area of use; 0 = inside


@dataclass(frozen=True, slots=True)
class KnownPlace:
    """One known coordinate on the earth."""

    name: str
    longitude: float  #: degrees, WGS 84
    latitude: float  #: degrees, WGS 84
    accuracy_m: float  #: radius that holds 68 %, without the datum shift
    grid: GridPlace | None = None  #: None = given as longitude and latitude


@dataclass(frozen=True, slots=True)
class _System:
    """One projected system and its ways to WGS 84."""

    crs: CRS
    ways: tuple[Transformer, ...]  #: those whose accuracy is stated, in the library's order
    finer: tuple[tuple[float, Bounds], ...]  #: accuracy and area of ways whose grids are not installed


def known_places(record: PropertyRecord) -> tuple[list[KnownPlace], list[Finding]]:
    """Give every known coordinate of a property, that of `[earth]` first.

    Returns
    -------
    The places, and findings: one note for each projected system, a refusal for each coordinate that has no place.
    """
    places: list[KnownPlace] = []
    findings: list[Finding] = []
    earth = record.property.earth
    if earth is not None and earth.reference is not None:
        places += _of_earth(earth.reference, earth.longitude, earth.latitude, earth.accuracy_m)
    for known in record.known_coordinates:
        try:
            places.append(known_place(known))
        except GridError as error:
            message = f"The known coordinate of {known.point} is not used: {error.reason}."
            findings.append(Finding(BAD_COORDINATE, known.point, message, Severity.REFUSED, error.accepted))
    return places, [*findings, *_system_notes(places)]


def _of_earth(name: str, longitude: float | None, latitude: float | None, accuracy: float | None) -> list[KnownPlace]:
    given = longitude is not None and latitude is not None and accuracy is not None
    return [KnownPlace(name, longitude, latitude, accuracy)] if given else []  # type: ignore[arg-type]


def known_place(known: KnownCoordinate) -> KnownPlace:
    """Give the place of one known coordinate.

    Raises
    ------
    GridError
        If its projected system cannot place it; see `on_grid`.
    """
    if known.longitude is not None and known.latitude is not None:
        return KnownPlace(known.point, known.longitude, known.latitude, known.accuracy_m)
    if known.epsg is None or known.easting is None or known.northing is None:
        raise GridError("epsg", "it has no place", "give latitude and longitude, or epsg, easting and northing")
    grid = on_grid(known.epsg, known.easting, known.northing)
    return KnownPlace(known.point, grid.longitude, grid.latitude, known.accuracy_m, grid)


def on_grid(epsg: int, easting: float, northing: float) -> GridPlace:
    """Place a coordinate of a projected system on the earth.

    Parameters
    ----------
    epsg
        Code of the system in the EPSG data set.
    easting, northing
        In the system's own unit.

    Raises
    ------
    GridError
        If there is no such system, it is not a projected one with axes east and north, the place lies far outside its
        area of use, or no shift from its datum to WGS 84 is known.

    Notes
    -----
    Of the shifts that are installed and hold at the place, that of the best stated accuracy is used (EPSG data set by
    way of PROJ). Convergence and scale are those of the projection on its own ellipsoid.
    """
    system = _system(epsg)
    longitude, latitude, accuracy = _shifted(system, easting, northing)
    outside = _outside_m(system.crs, longitude, latitude)
    if outside > FAR_OUTSIDE_M:
        axis = system.crs.axis_info[0]
        reason = (
            f"easting {easting:.12g} and northing {northing:.12g} lie at latitude {latitude:.4f}, longitude "
            f"{longitude:.4f}, {outside / 1000:,.0f} km outside the area of {_title(system.crs)}"
        )
        raise GridError("easting", reason, f"check the system, its unit ({_unit(axis.unit_name)}) and the order")
    if math.isinf(accuracy):
        raise _no_shift(system.crs)
    axis = system.crs.axis_info[0]
    projection = Proj(system.crs)
    factors = projection.get_factors(*projection(easting, northing, inverse=True))
    finer = min((m for m, bounds in system.finer if _beyond_m(bounds, longitude, latitude) == 0), default=math.inf)
    return GridPlace(
        epsg=epsg,
        system=system.crs.name,
        datum=_datum(system.crs),
        unit=_unit(axis.unit_name),
        unit_m=float(axis.unit_conversion_factor),
        longitude=longitude,
        latitude=latitude,
        convergence_deg=float(factors.meridian_convergence),
        scale=float(factors.meridional_scale),
        shift_m=accuracy,
        finer_shift_m=finer if finer < accuracy else None,
        outside_m=outside,
    )


@lru_cache(maxsize=64)
def _system(epsg: int) -> _System:
    """Look up a system; GridError where it cannot be used."""
    try:
        crs = CRS.from_epsg(epsg)
    except CRSError:
        accepted = "accepted: the code of a projected system, such as 26915 or 2277"
        raise GridError("epsg", f"there is no system {epsg} in the EPSG data set", accepted) from None
    accepted = "accepted: a projected system with axes east and north"
    if crs.is_compound:
        raise GridError("epsg", f"{_title(crs)} has a height in it", "give the code of its projected part alone")
    if not crs.is_projected:
        kind = "of degrees" if crs.is_geographic else "of heights" if crs.is_vertical else "of no plane"
        more = ", or latitude and longitude of WGS 84" if crs.is_geographic else ""
        raise GridError("epsg", f"{_title(crs)} is a system {kind}", accepted + more)
    if {axis.direction for axis in crs.axis_info} != {"east", "north"}:
        ways = " and ".join(axis.direction for axis in crs.axis_info)
        raise GridError("epsg", f"the axes of {_title(crs)} run {ways}", accepted)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # that a finer grid is not installed is told as a number instead
            group = TransformerGroup(crs, CRS.from_epsg(4326), always_xy=True)
    except (IndexError, ProjError):  # 32600 and the like: a name for sixty zones together
        raise GridError("epsg", f"{_title(crs)} is no system that can be reckoned with", accepted) from None
    ways_to = tuple(way for way in group.transformers if way.accuracy >= 0)
    if not ways_to:
        raise _no_shift(crs)
    finer = tuple(
        (float(way.accuracy), way.area_of_use.bounds)
        for way in group.unavailable_operations
        if way.accuracy >= 0 and way.area_of_use is not None
    )
    return _System(crs, ways_to, finer)


def _no_shift(crs: CRS) -> GridError:
    reason = (
        f"no shift from {_datum(crs)} to WGS 84 is known here; without one it may be metres or hundreds of metres off"
    )
    return GridError("epsg", reason, "convert to WGS 84 elsewhere and write latitude and longitude")


def _shifted(system: _System, easting: float, northing: float) -> tuple[float, float, float]:
    """Give longitude, latitude and the accuracy of the best shift that holds there; infinite where none does."""
    found: list[tuple[float, float, float]] = []
    for way in system.ways:
        longitude, latitude = way.transform(easting, northing)
        area = way.area_of_use
        if math.isfinite(longitude) and math.isfinite(latitude):
            holds = area is None or _beyond_m(area.bounds, longitude, latitude) == 0
            found.append((float(way.accuracy) + (0 if holds else math.inf), float(longitude), float(latitude)))
    if not found:
        reason = f"easting {easting:.12g} and northing {northing:.12g} lie nowhere in {_title(system.crs)}"
        raise GridError("easting", reason, f"check them and their unit: {_unit(system.crs.axis_info[0].unit_name)}")
    accuracy, longitude, latitude = min(found)
    return longitude, latitude, accuracy


def _outside_m(crs: CRS, longitude: float, latitude: float) -> float:
    """How far a place lies outside a system's area of use, metres."""
    return 0.0 if crs.area_of_use is None else _beyond_m(crs.area_of_use.bounds, longitude, latitude)


def _beyond_m(bounds: Bounds, longitude: float, latitude: float) -> float:
    """How far a place lies outside a box, metres."""
    west, south, east, north = bounds
    width = (east - west) % 360 or 360.0
    along = (longitude - west) % 360
    inside = along <= width
    near_longitude = longitude if inside else east if along - width <= 360 - along else west
    near_latitude = min(max(latitude, south), north)
    if inside and near_latitude == latitude:
        return 0.0
    return float(_GEOD.inv(longitude, latitude, near_longitude, near_latitude)[2])


def _title(crs: CRS) -> str:
    authority = crs.to_authority()
    return f"EPSG {authority[1]} ({crs.name})" if authority else str(crs.name)


def _datum(crs: CRS) -> str:
    return str(crs.geodetic_crs.name) if crs.geodetic_crs is not None else str(crs.name)


def _unit(name: str) -> str:
    return _UNIT_WORDS.get(name, name)


def _system_notes(places: Iterable[KnownPlace]) -> Iterable[Finding]:
    """Say what was converted, and how sure that is: one note for each system."""
    of: dict[int, list[tuple[str, GridPlace]]] = {}
    for place in places:
        if place.grid is not None:
            of.setdefault(place.grid.epsg, []).append((place.name, place.grid))
    for named in of.values():
        names, grid = ", ".join(name for name, _ in named), named[0][1]
        yield Finding("projected-coordinates", names, _system_words(names, grid), Severity.NOTE, _shift_words(grid))
        for name, each in named:
            if each.outside_m > 0:
                yield _outside_note(name, each)


def _system_words(names: str, grid: GridPlace) -> str:
    hand = "east" if grid.convergence_deg >= 0 else "west"
    return (
        f"{names}: read in EPSG {grid.epsg} ({grid.system}), {grid.unit}. Grid north is there "
        f"{abs(grid.convergence_deg):.2f} degrees {hand} of true north, and a grid distance {grid.scale:.6f} of the "
        "true one; both are taken out."
    )


def _shift_words(grid: GridPlace) -> str:
    if grid.shift_m == 0:
        return ""
    words = f"The shift from {grid.datum} to WGS 84 may be {grid.shift_m:.1f} m off, the same for all of them"
    finer = grid.finer_shift_m
    return words + ("." if finer is None else f"; with a grid that is not installed it would be {finer:.1f} m.")


def _outside_note(name: str, grid: GridPlace) -> Finding:
    message = f"{name} lies {grid.outside_m / 1000:,.0f} km outside the area that {grid.system} is meant for."
    act = "Check the code of the system, or give the one of this place."
    return Finding("outside-area", name, message, Severity.ATTENTION, act)

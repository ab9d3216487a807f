"""Coordinates of an exported file: the house's own plane, WGS 84, or a system of the EPSG data set."""

import math
import re
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.enums import TransformDirection
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import Transformer, TransformerGroup
from shapely.geometry.base import BaseGeometry

from asbuilt.errors import PlaceError
from asbuilt.findings import Finding, Severity
from asbuilt.output.features import Feature
from asbuilt.output.gis.formats import ExportError
from asbuilt.output.gis.geojson import cut_at_antimeridian, raised
from asbuilt.survey.coordinates import GridError, on_grid
from asbuilt.survey.earth import LocalFrame, Placement, turn_matrix
from asbuilt.units import FOOT_M

Array = NDArray[np.float64]

ACCEPTED = "accepted: local (the plane of the house, metres), wgs84 (longitude, latitude), or EPSG:n such as EPSG:26915"

SCALE_WORTH_SAYING = 20e-6
"""A grid that differs from the ground by less shortens 300 ft by less than 2 mm: nobody tapes that."""

_LOCAL_WKT = (
    'ENGCRS["plane of the house, true ground distance",EDATUM["the first reference point"],CS[Cartesian,2],'
    'AXIS["x",east],AXIS["y",north],LENGTHUNIT["metre",1]]'
)
_EPSG = re.compile(r"(?:epsg:?)? *(\d{4,6})", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class System:
    """What the coordinates of a file mean."""

    key: str  #: local, wgs84 or epsg
    epsg: int | None  #: None = local
    title: str
    wkt: str  #: how the libraries are told: a code or well-known text
    unit: str = "metre"
    unit_m: float | None = 1.0  #: metres in one; None = degrees

    @property
    def crs(self) -> CRS:
        """The system as pyproj knows it."""
        return CRS.from_user_input(self.wkt)


LOCAL = System("local", None, "plane of the house", _LOCAL_WKT)
WGS84 = System("wgs84", 4326, "WGS 84", "EPSG:4326", "degree", None)


def parse_system(text: str) -> System:
    """Read `local`, `wgs84` or `EPSG:n`.

    Raises
    ------
    ExportError
        If it is none of these, there is no such system, or it is not one of two axes on the ground.
    """
    words = text.strip().lower()
    match = _EPSG.fullmatch(words)
    if words in ("local", "wgs84") or (match and int(match[1]) == 4326):
        return LOCAL if words == "local" else WGS84
    if match is None:
        raise ExportError(f"{text!r} is no system of coordinates; {ACCEPTED}")
    return _epsg(int(match[1]))


def _epsg(code: int) -> System:
    try:
        crs = CRS.from_epsg(code)
    except CRSError:
        raise ExportError(f"there is no system {code} in the EPSG data set; {ACCEPTED}") from None
    if crs.is_compound or not (crs.is_projected or (crs.is_geographic and len(crs.axis_info) == 2)):
        accepted = "a projected system, or one of longitude and latitude, without heights"
        raise ExportError(f"EPSG {code} ({crs.name}) has no plain two axes on the ground; accepted: {accepted}")
    axis = crs.axis_info[0]
    unit_m = float(axis.unit_conversion_factor) if crs.is_projected else None
    return System("epsg", code, crs.name, f"EPSG:{code}", axis.unit_name, unit_m)


def lay(
    features: Sequence[Feature], placement: Placement | None, system: System, *, elevation: bool = False
) -> tuple[Feature, ...]:
    """Bring the features of one property into a system.

    Parameters
    ----------
    features
        As `build_features` makes them: longitude and latitude.
    placement
        That of the property, by which they were made; None = it has no place on the earth.
    elevation
        Also a third coordinate, metres, where all vertices have one.

    Raises
    ------
    PlaceError
        If the property has no place on the earth, and the system is on it.
    ExportError
        If no way to the system is known at that place, or it lies far outside its area.
    """
    if placement is None and system.key != "local":
        raise PlaceError("it has no place on the earth")
    shapes = np.empty(len(features), dtype=object)
    shapes[:] = [feature.geometry for feature in features]
    turn = _turn(placement, system)
    if turn is not None:
        shapes = shapely.transform(shapes, turn)
    laid = (_fit(shape, each, system, elevation) for shape, each in zip(shapes, features, strict=True))
    return tuple(replace(each, geometry=shape) for shape, each in zip(laid, features, strict=True))


def _fit(shape: Any, feature: Feature, system: System, elevation: bool) -> BaseGeometry | None:
    if shape is None:
        return None
    cut: BaseGeometry = cut_at_antimeridian(shape) if system.unit_m is None else shape
    return raised(cut, feature.heights_m) if elevation else cut


def _turn(placement: Placement | None, system: System) -> Callable[[Array], Array] | None:
    """Give how longitude and latitude become places of a system; None = they stay."""
    if system.key == "wgs84":
        return None
    if system.epsg is not None and placement is not None:
        way = way_to(system.epsg, placement.frame.longitude, placement.frame.latitude)
        back_way = TransformDirection.INVERSE
        return lambda lonlat: np.column_stack(way.transform(lonlat[:, 0], lonlat[:, 1], direction=back_way))
    if placement is None:
        return lambda lonlat: np.column_stack(LocalFrame(0.0, 0.0).to_plane(*lonlat.T))
    fit, frame = placement.fit, placement.frame
    back = turn_matrix(fit.rotation_rad)
    return lambda lonlat: np.asarray((np.column_stack(frame.to_plane(*lonlat.T)) - fit.shift) @ back)


@lru_cache(maxsize=4096)
def way_to(epsg: int, longitude: float, latitude: float) -> Transformer:
    """Give the most accurate way from a system to WGS 84 that holds at a place; east and north, longitude first.

    Raises
    ------
    ExportError
        If none is known.
    """
    holding = [way for way in _ways(epsg) if way.accuracy >= 0 and _holds(way, longitude, latitude)]
    if not holding:
        name = CRS.from_epsg(epsg).name
        raise ExportError(
            f"no way from WGS 84 to EPSG {epsg} ({name}) is known at latitude {latitude:.4f}, longitude "
            f"{longitude:.4f}; give the system of that place, or wgs84"
        )
    return min(holding, key=lambda way: float(way.accuracy))


@lru_cache(maxsize=16)
def _ways(epsg: int) -> tuple[Transformer, ...]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # that a finer grid is not installed is told by the stated accuracy
            group = TransformerGroup(CRS.from_epsg(epsg), CRS.from_epsg(4326), always_xy=True)
    except (IndexError, ProjError):  # a name for sixty zones together
        return ()
    return tuple(group.transformers)


def _holds(way: Transformer, longitude: float, latitude: float) -> bool:
    if way.area_of_use is None:
        return True
    west, south, east, north = way.area_of_use.bounds
    return south <= latitude <= north and (longitude - west) % 360 <= ((east - west) % 360 or 360.0)


def system_findings(name: str, placement: Placement | None, system: System) -> list[Finding]:
    """Say what a map in a projected system does to lengths at a property, and how sure the shift to it is.

    Raises
    ------
    ExportError
        If the property lies far outside the system's area.
    """
    if system.key != "epsg" or system.epsg is None or placement is None or system.unit_m is None:
        return []
    frame = placement.frame
    way = way_to(system.epsg, frame.longitude, frame.latitude)
    easting, northing = way.transform(frame.longitude, frame.latitude, direction=TransformDirection.INVERSE)
    if not (math.isfinite(easting) and math.isfinite(northing)):
        raise ExportError(f"{name} lies nowhere in EPSG {system.epsg} ({system.title}); give the system of that place")
    try:
        grid = on_grid(system.epsg, float(easting), float(northing))
    except GridError as error:
        place = f"latitude {frame.latitude:.4f}, longitude {frame.longitude:.4f}"
        raise ExportError(
            f"{name}, at {place}, cannot be drawn in EPSG {system.epsg} ({system.title}): it lies far outside its "
            "area; give the system of that place, or wgs84"
        ) from error
    found = []
    if abs(grid.scale - 1) > SCALE_WORTH_SAYING:
        hundred = 100 * grid.scale
        message = (
            f"EPSG {grid.epsg} ({grid.system}) is not true to the ground here: 100 ft of tape are {hundred:.3f} ft on "
            f"its grid (scale {grid.scale:.6f}), and its north lies {abs(grid.convergence_deg):.2f} degrees "
            f"{'east' if grid.convergence_deg >= 0 else 'west'} of true north."
        )
        act = "Measure with the tapes, or on an export with --crs local."
        found.append(Finding("grid-not-ground", name, message, Severity.NOTE, act))
    if grid.shift_m > 0:
        message = f"The shift from WGS 84 to {grid.datum} may be {grid.shift_m:.1f} m off, the same for the whole file."
        found.append(Finding("datum-shift", name, message, Severity.NOTE))
    if grid.outside_m > 0:
        message = f"{name} lies {grid.outside_m / 1000:,.0f} km outside the area that {grid.system} is meant for."
        found.append(Finding("outside-area", name, message, Severity.ATTENTION, "Give the system of this place."))
    return found


def drawing_unit(system: System, units: str) -> tuple[str, float]:
    """Give the unit of a drawing and its metres: the system's own; in the house's plane the property's."""
    if system.key != "local":
        return system.unit, system.unit_m or 1.0
    return ("metre", 1.0) if units == "m" else ("foot", FOOT_M)

"""Features -> GeoJSON, RFC 7946 to the letter: WGS 84, longitude first, right-hand rule, no crs member."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

from shapely import transform
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, Polygon, box, mapping
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from asbuilt.output.features import Feature

DECIMALS = 8
"""Decimals of a degree: 1 mm. RFC 7946 section 11.2 leaves the number to the writer."""


HEIGHT_DECIMALS = 3
"""Decimals of a metre of height: what a rod reads."""


def feature_collection(features: Iterable[Feature], *, elevation: bool = False) -> dict[str, Any]:
    """Make the FeatureCollection as plain JSON values; see `write_geojson`."""
    return {"type": "FeatureCollection", "features": list(_features(features, elevation))}


def write_geojson(features: Iterable[Feature], *, elevation: bool = False) -> str:
    """Write the FeatureCollection as text, one feature a line; NaN and infinity are refused, as JSON has none.

    Parameters
    ----------
    elevation
        Also a third coordinate, metres, of points and lines whose every vertex has an elevation. It counts from the
        property's benchmark. RFC 7946 section 4 means the height above the WGS 84 ellipsoid there: it is that only
        where the benchmark was given so.
    """
    lines = map(_dumps, _features(features, elevation))
    return '{"type":"FeatureCollection","features":[\n' + ",\n".join(lines) + "\n]}\n"


def _dumps(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _features(features: Iterable[Feature], elevation: bool) -> Iterator[dict[str, Any]]:
    known = list(features)
    times = Counter(_own_id(feature) for feature in known)
    for feature in known:
        name = _own_id(feature)
        removed = feature.attributes.get("removed_on")
        own = f"{name}/removed {removed}" if times[name] > 1 and removed else name
        yield _feature(feature, own, feature.heights_m if elevation else None)


def _own_id(feature: Feature) -> str:
    return f"{feature.role}/{feature.name}"


def _feature(feature: Feature, name: str, heights: tuple[float, ...] | None) -> dict[str, Any]:
    properties = {"name": feature.name, "role": feature.role, "kind": feature.kind, **feature.attributes}
    geometry = _geometry(feature.geometry)
    if geometry is not None and heights is not None:
        geometry = _raised(geometry, heights)
    return {"type": "Feature", "id": name, "geometry": geometry, "properties": properties}


def _raised(geometry: dict[str, Any], heights: tuple[float, ...]) -> dict[str, Any]:
    """Give each position its third coordinate; a line that was cut at the antimeridian stays flat."""
    if geometry["type"] == "Point" and len(heights) == 1:
        return geometry | {"coordinates": [*geometry["coordinates"], round(heights[0], HEIGHT_DECIMALS)]}
    if geometry["type"] != "LineString" or len(heights) != len(geometry["coordinates"]):
        return geometry
    pairs = zip(geometry["coordinates"], heights, strict=True)
    return geometry | {"coordinates": [[*place, round(height, HEIGHT_DECIMALS)] for place, height in pairs]}


def _geometry(geometry: BaseGeometry | None) -> dict[str, Any] | None:
    if geometry is None:
        return None
    shape = mapping(_wound(_cut(geometry)))
    return {"type": shape["type"], "coordinates": _rounded(shape["coordinates"])}


def _cut(geometry: BaseGeometry) -> BaseGeometry:
    """Cut at the antimeridian what crosses it (section 3.1.9)."""
    west, south, east, north = geometry.bounds
    if east - west <= 180.0:
        return geometry
    whole = transform(geometry, lambda lonlat: lonlat + (lonlat[:, :1] < 0) * (360.0, 0.0))
    halves = (whole.intersection(box(0.0, south, 180.0, north)), whole.intersection(box(180.0, south, 360.0, north)))
    return halves[0].union(translate(halves[1], -360.0))


def _wound(geometry: BaseGeometry) -> BaseGeometry:
    """Wind exterior rings counterclockwise (section 3.1.6)."""
    if isinstance(geometry, MultiPolygon):
        return MultiPolygon([orient(part, 1.0) for part in geometry.geoms])
    return orient(geometry, 1.0) if isinstance(geometry, Polygon) else geometry


def _rounded(coordinates: Any) -> Any:
    if isinstance(coordinates, float | int):
        return round(float(coordinates), DECIMALS)
    return [_rounded(part) for part in coordinates]

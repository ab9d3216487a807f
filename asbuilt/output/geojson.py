"""Features -> GeoJSON, RFC 7946 to the letter: WGS 84, longitude first, right-hand rule, no crs member."""

import json
from collections.abc import Iterable
from typing import Any

from shapely.geometry import Polygon, mapping
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from asbuilt.output.features import Feature

DECIMALS = 8
"""Decimals of a degree: 1 mm. RFC 7946 section 11.2 leaves the number to the writer."""


def feature_collection(features: Iterable[Feature]) -> dict[str, Any]:
    """Make the FeatureCollection as plain JSON values."""
    return {"type": "FeatureCollection", "features": [_feature(feature) for feature in features]}


def write_geojson(features: Iterable[Feature]) -> str:
    """Write the FeatureCollection as text, one feature a line; NaN and infinity are refused, as JSON has none."""
    lines = (_dumps(_feature(feature)) for feature in features)
    return '{"type":"FeatureCollection","features":[\n' + ",\n".join(lines) + "\n]}\n"


def _dumps(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _feature(feature: Feature) -> dict[str, Any]:
    properties = {"name": feature.name, "role": feature.role, "kind": feature.kind, **feature.attributes}
    return {
        "type": "Feature",
        "id": f"{feature.role}/{feature.name}",
        "geometry": _geometry(feature.geometry),
        "properties": properties,
    }


def _geometry(geometry: BaseGeometry | None) -> dict[str, Any] | None:
    if geometry is None:
        return None
    if isinstance(geometry, Polygon):
        geometry = orient(geometry, 1.0)  # section 3.1.6: exterior rings are counterclockwise
    shape = mapping(geometry)
    return {"type": shape["type"], "coordinates": _rounded(shape["coordinates"])}


def _rounded(coordinates: Any) -> Any:
    if isinstance(coordinates, float | int):
        return round(float(coordinates), DECIMALS)
    return [_rounded(part) for part in coordinates]

"""A shape that somebody drew: one GeoJSON file (RFC 7946) with a polygon, a line or a point in longitude, latitude."""

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from asbuilt.errors import Problem, SheetError
from asbuilt.record.sheets.cells import shown

LARGEST_BYTES = 1_000_000
"""A drawn outline is some kilobytes; more is another file."""

MOST_CORNERS = 500
"""Corners of one outline; nobody sets out more."""

_ACCEPTED = "accepted: GeoJSON with one Polygon, LineString or Point, longitude before latitude, degrees WGS 84"


@dataclass(frozen=True, slots=True)
class DrawnShape:
    """One outline as it was drawn."""

    form: str  #: Polygon, LineString or Point
    corners: tuple[tuple[float, float], ...]  #: longitude, latitude, degrees; a polygon's ring without its last corner
    kind: str | None  #: what it is, by its property `kind`


def read_shape(path: Path) -> DrawnShape:
    """Read the one shape of a GeoJSON file.

    Raises
    ------
    SheetError
        If it cannot be read, or holds no one shape of an accepted form.
    """
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise _refusal(path, f"is larger than {LARGEST_BYTES:,} bytes")
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise _refusal(path, f"cannot be read ({error.strerror})") from error
    except (ValueError, RecursionError) as error:
        raise _refusal(path, f"is no JSON ({error})") from error
    feature = _one_feature(path, content)
    geometry = feature.get("geometry", feature) if feature.get("type") == "Feature" else feature
    properties = feature.get("properties")
    kind = properties.get("kind") if isinstance(properties, dict) else None
    return _shape(path, geometry, kind if isinstance(kind, str) and kind.strip() else None)


def _one_feature(path: Path, content: Any) -> dict[str, Any]:
    if isinstance(content, dict) and content.get("type") == "FeatureCollection":
        features = content.get("features")
        if not isinstance(features, list) or len(features) != 1:
            count = len(features) if isinstance(features, list) else 0
            raise _refusal(path, f"holds {count} features")
        content = features[0]
    if not isinstance(content, dict):
        raise _refusal(path, "holds no feature")
    return content


def _shape(path: Path, geometry: Any, kind: str | None) -> DrawnShape:
    form = geometry.get("type") if isinstance(geometry, dict) else None
    if form not in ("Polygon", "LineString", "Point"):
        raise _refusal(path, f"holds {shown(str(form))}")
    given = geometry.get("coordinates")
    if form == "Polygon":
        if not isinstance(given, list) or len(given) != 1:
            raise _refusal(path, "holds a polygon that is not one ring without holes")
        given = given[0]
    corners = _corners(path, [given] if form == "Point" else given)
    if form == "Polygon":
        if len(corners) < 4 or corners[0] != corners[-1]:
            raise _refusal(path, "holds a ring that is not closed or has fewer than three corners")
        corners = corners[:-1]
    if form == "LineString" and len(corners) < 2:
        raise _refusal(path, "holds a line of fewer than two points")
    return DrawnShape(form, corners, kind)


def _corners(path: Path, given: Any) -> tuple[tuple[float, float], ...]:
    if not isinstance(given, list) or not 1 <= len(given) <= MOST_CORNERS:
        raise _refusal(path, f"holds no corners, or more than {MOST_CORNERS}")
    return tuple(_corner(path, each) for each in given)


def _corner(path: Path, given: Any) -> tuple[float, float]:
    numbers = given[:2] if isinstance(given, list) else []
    if len(numbers) < 2 or any(isinstance(each, bool) or not isinstance(each, int | float) for each in numbers):
        raise _refusal(path, f"holds a corner that is no pair of numbers: {shown(str(given))}")
    longitude, latitude = float(numbers[0]), float(numbers[1])
    if not (math.isfinite(longitude) and abs(longitude) <= 180 and math.isfinite(latitude) and abs(latitude) <= 90):
        raise _refusal(path, f"holds a corner that is not on the earth: {longitude:g}, {latitude:g}")
    return longitude, latitude


def _refusal(path: Path, reason: str) -> SheetError:
    return SheetError([Problem(path.name, None, None, reason, _ACCEPTED)])

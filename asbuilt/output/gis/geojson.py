"""Features -> GeoJSON, RFC 7946 to the letter: WGS 84, longitude first, right-hand rule, no crs member."""

import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from json.encoder import encode_basestring as _quoted
from typing import Any, BinaryIO

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import translate
from shapely.geometry import LineString, box
from shapely.geometry import Point as Place
from shapely.geometry.base import BaseGeometry

from asbuilt.output.features import Feature

DECIMALS = 8
"""Decimals of a degree: 1 mm. RFC 7946 section 11.2 leaves the number to the writer."""

HEIGHT_DECIMALS = 3
"""Decimals of a metre of height: what a rod reads."""

BATCH = 5_000
"""Features whose geometries are brought into text at once."""

LINES = 500
"""Lines that are handed to the file at once."""

SHEETS_MEMBER = "asbuilt_sheets"
"""The foreign member (RFC 7946 section 6.1) that carries the field sheets, so that a file can be loaded again."""

# The circle check looks for loops that a list of features cannot have, and costs a tenth of the time.
_encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False, check_circular=False, separators=(",", ":")).encode
_HALVES = re.compile("[\ud800-\udfff]")


def write_geojson(features: Iterable[Feature], *, elevation: bool = False) -> str:
    """Write the FeatureCollection as text, one feature a line; NaN and infinity are refused, as JSON has none.

    Parameters
    ----------
    elevation
        Also a third coordinate, metres, of points and lines whose every vertex has an elevation. It counts from the
        property's benchmark. RFC 7946 section 4 means the height above the WGS 84 ellipsoid there: it is that only
        where the benchmark was given so.
    """
    lines = geojson_lines(with_ids(features), elevation=elevation)
    return _utf8('{"type":"FeatureCollection","features":[\n' + ",\n".join(lines) + "\n]}\n").decode()


def stream_geojson(
    file: BinaryIO, lines: Iterable[str], sheets: Iterable[tuple[str, Mapping[str, Any]]] | None = None
) -> int:
    """Write a FeatureCollection line by line, UTF-8, and give how many features it has.

    Parameters
    ----------
    file
        Open for bytes; nothing but the line at hand is kept in memory.
    lines
        Features as `geojson_lines` gives them.
    sheets
        What is to be read back of each property, by its name: the foreign member `SHEETS_MEMBER`, behind the
        features. Taken when all lines are. None = no such member.
    """
    file.write(b'{"type":"FeatureCollection","features":[\n')
    count = 0
    rest = iter(lines)
    while batch := list(islice(rest, LINES)):
        file.write((b",\n" if count else b"") + _utf8(",\n".join(batch)))
        count += len(batch)
    file.write(b"\n]")
    if sheets is not None:
        file.write(f',\n"{SHEETS_MEMBER}":{{'.encode())
        for number, (name, held) in enumerate(sheets):
            file.write((b",\n" if number else b"\n") + _utf8(f"{_encode(name)}:{_encode(held)}"))
        file.write(b"\n}")
    file.write(b"}\n")
    return count


def with_ids(features: Iterable[Feature], prefix: str = "") -> Iterator[tuple[str, Feature]]:
    """Give each feature of one property its id: role and name, and the day it was taken out where two share a name."""
    known = list(features)
    names = [f"{feature.role}/{feature.name}" for feature in known]
    times = Counter(names) if len(set(names)) < len(names) else None
    for name, feature in zip(names, known, strict=True):
        removed = feature.attributes.get("removed_on") if times is not None and times[name] > 1 else None
        yield prefix + (f"{name}/removed {removed}" if removed else name), feature


def geojson_lines(features: Iterable[tuple[str, Feature]], *, elevation: bool = False) -> Iterator[str]:
    """Write each feature, with its id, as one line of JSON, without a line end."""
    rest = iter(features)
    while batch := list(islice(rest, BATCH)):
        geometries = _geometry_texts([feature for _, feature in batch], elevation)
        for (own, feature), geometry in zip(batch, geometries, strict=True):
            yield (
                f'{{"type":"Feature","id":{_quoted(own)},"geometry":{geometry or "null"},'
                f'"properties":{_properties(feature)}}}'
            )


def cut_at_antimeridian(geometry: BaseGeometry) -> BaseGeometry:
    """Cut in two what crosses the antimeridian (section 3.1.9); degrees."""
    west, south, east, north = geometry.bounds
    if geometry.geom_type.startswith("Multi") or not east - west > 180.0:
        return geometry
    whole = shapely.transform(geometry, lambda lonlat: lonlat + (lonlat[:, :1] < 0) * (360.0, 0.0))
    halves = (whole.intersection(box(0.0, south, 180.0, north)), whole.intersection(box(180.0, south, 360.0, north)))
    return halves[0].union(translate(halves[1], -360.0))


def raised(geometry: BaseGeometry, heights: tuple[float, ...] | None) -> BaseGeometry:
    """Give each vertex of a point or line its height; what has other vertices than heights stays flat."""
    if heights is None:
        return geometry
    if isinstance(geometry, Place) and len(heights) == 1 and not geometry.is_empty:
        return Place(geometry.x, geometry.y, heights[0])
    if isinstance(geometry, LineString) and len(heights) == len(geometry.coords):
        return LineString([(x, y, z) for (x, y, *_), z in zip(geometry.coords, heights, strict=True)])
    return geometry


def _properties(feature: Feature) -> str:
    """Write the properties; the attributes are not copied into another mapping first, which takes as long again."""
    held = _encode(feature.attributes if isinstance(feature.attributes, dict) else dict(feature.attributes))
    named = f'{{"name":{_quoted(feature.name)},"role":{_quoted(feature.role)},"kind":{_quoted(feature.kind)}'
    return f"{named},{held[1:]}" if len(held) > 2 else named + "}"


def _geometry_texts(features: Sequence[Feature], elevation: bool) -> Sequence[str | None]:
    """Write the geometries of many features at once; None where there is none."""
    shapes = np.empty(len(features), dtype=object)
    shapes[:] = [feature.geometry for feature in features]
    bounds = shapely.bounds(shapes)
    for k in np.flatnonzero(bounds[:, 2] - bounds[:, 0] > 180.0):
        shapes[k] = cut_at_antimeridian(shapes[k])
    areas = shapely.get_dimensions(shapes) == 2
    if areas.any():
        shapes[areas] = shapely.orient_polygons(shapes[areas])  # exterior rings counterclockwise (section 3.1.6)
    if elevation:
        shapes[:] = [raised(s, f.heights_m) if s else s for s, f in zip(shapes, features, strict=True)]
        high = shapely.has_z(shapes)
        shapes[high] = shapely.transform(shapes[high], _rounded, include_z=True)
        shapes[~high] = shapely.transform(shapes[~high], _rounded)
    else:
        shapes = shapely.transform(shapes, _rounded)
    texts: Sequence[str | None] = shapely.to_geojson(shapes)
    return texts


def _rounded(places: NDArray[np.float64]) -> NDArray[np.float64]:
    fine = np.round(places[:, :2], DECIMALS)
    return fine if places.shape[1] == 2 else np.column_stack((fine, np.round(places[:, 2], HEIGHT_DECIMALS)))


def _utf8(text: str) -> bytes:
    """Encode; a half of a character, which UTF-8 does not have, becomes the mark of what cannot be written."""
    try:
        return text.encode()
    except UnicodeEncodeError:
        return _HALVES.sub("\N{REPLACEMENT CHARACTER}", text).encode()

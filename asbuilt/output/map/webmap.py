"""The map of one property: one HTML document with everything inside it, which opens from a file without a network.

The words of the record go into one JSON block, and the scripts in `assets/map` draw from the block with text nodes
only; see `asbuilt.output.map.frame` for what folium does and what it never gets to see.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pyproj import Geod
from shapely.geometry.base import BaseGeometry

from asbuilt.output.features import Feature
from asbuilt.output.map.frame import (
    MOST_PLACES,
    STREETS,
    Background,
    Frame,
    Page,
    TooManyError,
    json_block,
    make_frame,
    write_page,
)
from asbuilt.output.map.points import FoundPoint
from asbuilt.output.map.stillplan import still_plan
from asbuilt.output.map.symbols import GROUPS, Group, group_of, symbol_of
from asbuilt.output.words import html_text

UNITS = ("ft-in", "ft", "m")
"""How lengths are shown; the same words as `units` of the property sheet."""

MOST_PHOTO_BYTES = 3_000_000
"""What the photos of one map may weigh together, so that it still goes by message and opens at once (our own)."""

SCRIPTS = (
    *("elements.js", "lengths.js", "symbols.js", "parts.js", "shapes.js", "labels.js", "tapes.js", "card.js"),
    *("search.js", "panel.js", "layers.js", "says.js", "ruler.js", "whereabouts.js", "scale.js", "tools.js"),
    *("paper.js", "plan.js"),
)
"""Our own, each after those that it uses."""


@dataclass(frozen=True, slots=True)
class MapPhoto:
    """A small picture of a part."""

    of: str  #: a component or the full name of a point
    caption: str
    data_uri: str  #: data:image/jpeg;base64,...

    def __post_init__(self) -> None:
        if not re.fullmatch(r"data:image/(jpeg|png|webp);base64,[A-Za-z0-9+/]+=*", self.data_uri):
            raise ValueError(f"photo of {self.of}: {self.data_uri[:40]!r} is not a JPEG, PNG or WebP as a data URI")


@dataclass(frozen=True, slots=True)
class MapSheet:
    """What one map shows."""

    title: str  #: name of the property
    subtitle: tuple[str, ...]  #: lines under it: address, notes
    units: str  #: one of UNITS
    features: tuple[Feature, ...]  #: role `proposed` = what somebody would build; its attribute `lines` is said of it
    placed: bool  #: False = no place on the earth; the geometries then stand near latitude 0, longitude 0
    as_of: str  #: the day for which it is drawn
    findings: tuple[Mapping[str, Any], ...] = ()  #: code, subject, message, severity
    due: tuple[Mapping[str, Any], ...] = ()  #: the keys of `due --json`
    cautions: tuple[str, ...] = ()
    north_up: bool | None = None  #: None = as `placed`; True = an azimuth is known although no place is
    found: Mapping[str, FoundPoint] = field(default_factory=dict)  #: by the full name of a point
    photos: tuple[MapPhoto, ...] = ()  #: the most needed first: those beyond `MOST_PHOTO_BYTES` are left out

    def __post_init__(self) -> None:
        if self.units not in UNITS:
            raise ValueError(f"units {self.units!r}: one of {', '.join(UNITS)}")


def render_map(sheet: MapSheet, *, background: Background | None = STREETS) -> str:
    """Write the map of one property.

    Parameters
    ----------
    sheet
        What is shown. Geometries are longitude, latitude in degrees (WGS 84).
    background
        The optional online layer; None = none. A property without a place never has one.

    Returns
    -------
    str
        One complete HTML document; the same sheet gives the same bytes.

    Raises
    ------
    FrameError
        folium's frame asks for a library that is not packaged.
    TooManyError
        If there is more on it than one HTML document can hold.
    """
    if len(sheet.features) > MOST_PLACES:
        raise TooManyError(f"the map of {sheet.title}", len(sheet.features), "draw one property at a time")
    background = background if sheet.placed else None
    gone = _gone(sheet.features)
    features = [_feature(feature, gone) for feature in sheet.features]
    used = {feature["group"] for feature in features}
    groups = tuple(group for group in GROUPS if group.key in used)
    frame = make_frame(groups, background, collapsed=False)
    title = f"{sheet.title}: plan of what is buried"
    page = Page(title, _still(sheet), "About this property", SCRIPTS, ("plan.css",))
    return write_page(page, frame, json_block(_plan(sheet, features, groups, frame)), background)


def _plan(sheet: MapSheet, features: list[dict[str, Any]], groups: tuple[Group, ...], frame: Frame) -> dict[str, Any]:
    """Gather all that our scripts read."""
    photos = _photos_with_room(sheet.photos)
    return {
        "title": sheet.title,
        "subtitle": sheet.subtitle,
        "units": sheet.units,
        "placed": sheet.placed,
        "north_up": _north_up(sheet),
        "as_of": sheet.as_of,
        "metres_per_degree": metres_per_degree(_middle_latitude(sheet)),
        "groups": [group.as_json() for group in groups],
        "features": features,
        "found": {name: found.as_json() for name, found in sheet.found.items()},
        "photos": [{"of": photo.of, "caption": photo.caption, "src": photo.data_uri} for photo in photos],
        "notes": list(_notes(len(sheet.photos) - len(photos))),
        "findings": [dict(finding) for finding in sheet.findings],
        "due": [dict(due) for due in sheet.due],
        "cautions": sheet.cautions,
        "frame": {"map": frame.map_name, "layers": dict(frame.layers)},
    }


def _photos_with_room(photos: Sequence[MapPhoto]) -> list[MapPhoto]:
    """Take photos, the first ones first, as long as the document stays small."""
    taken, size = [], 0
    for photo in photos:
        size += len(photo.data_uri)
        if size > MOST_PHOTO_BYTES:
            break
        taken.append(photo)
    return taken


def _notes(left_out: int) -> Iterator[str]:
    if left_out:
        photos = "1 photo is" if left_out == 1 else f"{left_out} photos are"
        yield f"{photos} not on this map, to keep the file small; the record has them."


def _north_up(sheet: MapSheet) -> bool:
    return sheet.placed if sheet.north_up is None else sheet.north_up


def metres_per_degree(latitude: float) -> tuple[float, float]:
    """Give the metres in a degree of longitude and of latitude on the WGS 84 ellipsoid at a latitude.

    Leaflet's own distances are those of a sphere, and up to 0.3 % wrong; with these two factors a distance on a
    property is right to a tenth of a millimetre.

    Examples
    --------
    The published lengths of a degree at 45 degrees, 78.85 km and 111.13 km:

    >>> [round(metres / 1000, 2) for metres in metres_per_degree(45.0)]
    [78.85, 111.13]
    """
    geod, step = Geod(ellps="WGS84"), 0.001
    east = geod.inv(0.0, latitude, step, latitude)[2] / step
    north = geod.inv(0.0, latitude - step / 2, 0.0, latitude + step / 2)[2] / step
    return east, north


def _middle_latitude(sheet: MapSheet) -> float:
    """Give the latitude in the middle of all that is drawn, 0 if nothing is."""
    boxes = [f.geometry.bounds for f in sheet.features if f.geometry is not None and not f.geometry.is_empty]
    if not boxes:
        return 0.0
    return float(min(box[1] for box in boxes) + max(box[3] for box in boxes)) / 2


def _gone(features: tuple[Feature, ...]) -> frozenset[str]:
    """Name the components that were taken out, without those that another of the same name replaced."""
    components = [feature for feature in features if feature.role == "component"]
    standing = {component.name for component in components if not component.attributes.get("removed_on")}
    return frozenset(component.name for component in components) - standing


def _feature(feature: Feature, gone: frozenset[str]) -> dict[str, Any]:
    """Turn a feature into what our scripts draw; the words stay as they are."""
    return {
        "role": feature.role,
        "name": feature.name,
        "kind": feature.kind,
        "group": group_of(feature, gone),
        "symbol": symbol_of(feature),
        "parts": [] if feature.geometry is None else _parts(feature.geometry),
        "attributes": dict(feature.attributes),
    }


def _parts(geometry: BaseGeometry) -> list[dict[str, Any]]:
    """Split a geometry into simple parts: point, line, area (outer ring first); longitude, latitude."""
    if geometry.is_empty:
        return []
    if hasattr(geometry, "geoms"):
        return [part for piece in geometry.geoms for part in _parts(piece)]
    if geometry.geom_type == "Polygon":
        rings = [geometry.exterior, *geometry.interiors]
        return [{"type": "area", "at": [[list(xy[:2]) for xy in ring.coords] for ring in rings]}]
    coordinates = [list(xy[:2]) for xy in geometry.coords]
    if geometry.geom_type == "Point":
        return [{"type": "point", "at": coordinates[0]}]
    return [{"type": "line", "at": coordinates}]


# ------------------------------------------------------------ where no script runs


def _still(sheet: MapSheet) -> str:
    """Write a still plan and the tapes as a table, for viewers that run no script."""
    keys = _keys(sheet.features)
    factors = metres_per_degree(_middle_latitude(sheet))
    svg = still_plan(sheet.features, keys, factors, metric=sheet.units == "m", north_up=_north_up(sheet))
    lines = "".join(f"<p>{html_text(line)}</p>" for line in (*sheet.subtitle, f"As of {sheet.as_of}"))
    cautions = "".join(f"<p><strong>Caution: {html_text(line)}</strong></p>" for line in sheet.cautions)
    heads = "".join(f"<th scope=col>{head}</th>" for head in ("No.", "Point", "Tapes", "Depth", "How well known"))
    named = list(zip(sheet.features, keys, strict=True))
    rows = "".join(
        _still_row(feature, key, sheet.found.get(feature.name)) for feature, key in named if feature.role == "point"
    )
    marks = "".join(
        f"<li><strong>{key}</strong>: {html_text(feature.name)}{_described(feature)}</li>"
        for feature, key in named
        if feature.role == "reference"
    )
    return (
        f"<h1>{html_text(sheet.title)}</h1>{lines}{cautions}<p>This viewer runs no script, so the plan stands still. "
        f"Open the file in a web browser for the map that moves.</p>{svg}<h2>Points</h2>"
        f"<table><tr>{heads}</tr>{rows}</table><h2>Marks to measure from</h2><ul>{marks}</ul>"
    )


def _keys(features: Sequence[Feature]) -> list[str]:
    """Give each point its number, and each mark to measure from one with an R before it."""
    keys, counts = [], {"point": 0, "reference": 0}
    for feature in features:
        if feature.role in counts:
            counts[feature.role] += 1
            keys.append(f"{'R' if feature.role == 'reference' else ''}{counts[feature.role]}")
        else:
            keys.append("")
    return keys


def _described(feature: Feature) -> str:
    description = feature.attributes.get("description")
    return f", {html_text(description)}" if description else ""


def _still_row(feature: Feature, key: str, found: FoundPoint | None) -> str:
    """Write one point: the tapes that find it best in bold, then all that were pulled."""
    attributes = feature.attributes
    best = "".join(f"<strong>{html_text(way)}</strong><br>" for way in (found.ways if found else ()))
    ties = [f"{html_text(tie.get('from'))}: {html_text(tie.get('as_read'))}" for tie in attributes.get("ties") or ()]
    known = attributes.get("accuracy_text") or ("located" if feature.geometry is not None else "not located")
    if attributes.get("checked") is False:
        known = f"{known}; not checked"
    depth = html_text(attributes.get("depth_text") or "")
    return (
        f"<tr><td>{key}</td><th scope=row>{html_text(feature.name)}</th><td>{best}{'<br>'.join(ties)}</td>"
        f"<td>{depth}</td><td>{html_text(known)}</td></tr>"
    )

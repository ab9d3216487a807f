"""The map of one property: one HTML document with everything inside it, which opens from a file without a network.

The words of the record go into one JSON block, and `assets/plan.js` draws from the block with text nodes only; see
`asbuilt.output.mapframe` for what folium does and what it never gets to see.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pyproj import Geod
from shapely.geometry.base import BaseGeometry

from asbuilt.output.features import Feature
from asbuilt.output.mapframe import STREETS, Background, Frame, Page, escaped, json_block, make_frame, write_page
from asbuilt.output.mapsymbols import GROUPS, Group, group_of, symbol_of

UNITS = ("ft-in", "ft", "m")
"""How lengths are shown; the same words as `units` of the property sheet."""


@dataclass(frozen=True, slots=True)
class MapSheet:
    """What one map shows."""

    title: str  #: name of the property
    subtitle: tuple[str, ...]  #: lines under it: address, notes
    units: str  #: one of UNITS
    features: tuple[Feature, ...]
    placed: bool  #: False = no place on the earth; the geometries then stand near latitude 0, longitude 0
    as_of: str  #: the day for which it is drawn
    findings: tuple[Mapping[str, Any], ...] = ()  #: code, subject, message, severity
    due: tuple[Mapping[str, Any], ...] = ()  #: the keys of `due --json`
    cautions: tuple[str, ...] = ()
    north_up: bool | None = None  #: None = as `placed`; True = an azimuth is known although no place is

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
    """
    background = background if sheet.placed else None
    gone = _gone(sheet.features)
    features = [_feature(feature, gone) for feature in sheet.features]
    used = {feature["group"] for feature in features}
    groups = tuple(group for group in GROUPS if group.key in used)
    frame = make_frame(groups, background)
    page = Page(
        f"{sheet.title}: plan of what is buried", _plain_sheet(sheet), "About this property", "plan.js", ("plan.css",)
    )
    return write_page(page, frame, json_block(_plan(sheet, features, groups, frame)), background)


def _plan(sheet: MapSheet, features: list[dict[str, Any]], groups: tuple[Group, ...], frame: Frame) -> dict[str, Any]:
    """Gather all that plan.js reads."""
    return {
        "title": sheet.title,
        "subtitle": sheet.subtitle,
        "units": sheet.units,
        "placed": sheet.placed,
        "north_up": sheet.placed if sheet.north_up is None else sheet.north_up,
        "as_of": sheet.as_of,
        "metres_per_degree": metres_per_degree(_middle_latitude(sheet)),
        "groups": [group.as_json() for group in groups],
        "features": features,
        "findings": [dict(finding) for finding in sheet.findings],
        "due": [dict(due) for due in sheet.due],
        "cautions": sheet.cautions,
        "frame": {"map": frame.map_name, "layers": dict(frame.layers)},
    }


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
    """Turn a feature into what plan.js draws; the words stay as they are."""
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


def _plain_sheet(sheet: MapSheet) -> str:
    """Write the ties as a table for readers that run no script."""
    heads = "".join(f"<th scope=col>{head}</th>" for head in ("Point", "Ties, as read", "Depth", "How well known"))
    lines = "".join(f"<p>{escaped(line)}</p>" for line in (*sheet.subtitle, f"As of {sheet.as_of}"))
    cautions = "".join(f"<p><strong>Caution: {escaped(line)}</strong></p>" for line in sheet.cautions)
    rows = "".join(_plain_row(feature) for feature in sheet.features if feature.role == "point")
    return (
        f"<h1>{escaped(sheet.title)}</h1>{lines}{cautions}<p>This viewer runs no script, so the plan is not drawn. "
        f"These are the measurements behind it.</p><table><tr>{heads}</tr>{rows}</table>"
    )


def _plain_row(feature: Feature) -> str:
    attributes = feature.attributes
    ties = [f"{escaped(tie.get('from'))}: {escaped(tie.get('as_read'))}" for tie in attributes.get("ties") or ()]
    known = attributes.get("accuracy_text") or ("located" if feature.geometry is not None else "not located")
    if attributes.get("checked") is False:
        known = f"{known}; not checked"
    depth = escaped(attributes.get("depth_text") or "")
    return (
        f"<tr><th scope=row>{escaped(feature.name)}</th><td>{'<br>'.join(ties)}</td>"
        f"<td>{depth}</td><td>{escaped(known)}</td></tr>"
    )

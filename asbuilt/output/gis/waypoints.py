"""GPX 1.1: measured points, single components and marks as waypoints, for a hand-held receiver."""

import html
from collections.abc import Iterable

from asbuilt.output.features import Feature
from asbuilt.output.gis.columns import cell, columns_of, fit_text
from asbuilt.output.gis.formats import Sheaf
from asbuilt.output.gpx import NAMESPACE, SCHEMA
from asbuilt.output.words import one_line

LONGEST_NAME, LONGEST_WORDS = 120, 1_000
"""Signs of a name and of a description; receivers show far less, and readers stop at far more."""

_SAID = ("accuracy_text", "depth_text", "elevation_text", "ties", "description")


def gpx_text(text: str) -> str:
    """Escape text for the inside of an element; the one place where this is done."""
    return html.escape(fit_text(text), quote=False)


def write_waypoints(sheaves: Iterable[Sheaf]) -> tuple[str, int]:
    """Write GPX, and give how many waypoints it has: what is a single place. Lines and areas show as their points."""
    marks = [_waypoint(sheaf.property, each) for sheaf in sheaves for each in sheaf.features if _is_place(each)]
    head = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="asbuilt" xmlns="{NAMESPACE}" '
        f'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xsi:schemaLocation="{NAMESPACE} {SCHEMA}">\n'
    )
    return head + "".join(f"{mark}\n" for mark in marks) + "</gpx>\n", len(marks)


def _is_place(feature: Feature) -> bool:
    geometry = feature.geometry
    # a component that is one point is that point again
    own = feature.role != "component" or feature.attributes.get("points") != 1
    return geometry is not None and geometry.geom_type == "Point" and own


def _name(words: str) -> str:
    return gpx_text(_cut(one_line(words), LONGEST_NAME))


def _cut(words: str, most: int) -> str:
    return words if len(words) <= most else words[: most - 3] + "..."


def _waypoint(name: str, feature: Feature) -> str:
    place = feature.geometry
    columns = {column.name: column for column in columns_of([feature.role])}
    said = [str(value) for key in _SAID if key in columns and (value := cell(columns[key], feature)) is not None]
    height = f"<ele>{place.z:.3f}</ele>" if place is not None and place.has_z else ""
    return (
        f'<wpt lat="{place.y:.8f}" lon="{place.x:.8f}">'  # type: ignore[union-attr]
        f"{height}<name>{_name(feature.name)}</name><cmt>{_name(name)}</cmt>"
        f"<desc>{gpx_text(_cut(chr(10).join(said), LONGEST_WORDS))}</desc><type>{_name(feature.kind)}</type></wpt>"
    )

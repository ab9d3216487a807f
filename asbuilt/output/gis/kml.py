"""KML 2.2 (OGC 07-147r2) and KMZ: one folder a property, a placemark for each thing, all attributes as data.

Heights, where asked for, are carried in the coordinates and never drawn by: they count from the property's benchmark,
while a viewer would take them for heights above the sea.
"""

import html
import io
import zipfile
from collections.abc import Iterable, Iterator

import shapely
from shapely.geometry.base import BaseGeometry

from asbuilt.output.features import Feature
from asbuilt.output.gis.columns import cell, columns_of, fit_text
from asbuilt.output.gis.formats import Sheaf
from asbuilt.output.map.symbols import GROUPS, Group, group_of

NAMESPACE = "http://www.opengis.net/kml/2.2"
DECIMALS = 8  #: of a degree: 1 mm

_SHOWN = ("accuracy_text", "depth_text", "elevation_text", "ties", "next_due_on", "next_due", "note", "description")
"""Columns that the balloon of a placemark shows in words; all of them are data of the placemark."""


def kml_text(text: str) -> str:
    r"""Escape text for the inside of an element or attribute; the one place where this is done.

    Examples
    --------
    >>> kml_text("Tom & Jerry's <pump> ]]>")
    'Tom &amp; Jerry&#x27;s &lt;pump&gt; ]]&gt;'
    """
    return html.escape(fit_text(text))


def balloon_text(text: str) -> str:
    """Escape text for a description, which viewers take for HTML and look through for `$[name]`: escaped twice."""
    return kml_text(html.escape(fit_text(text)).replace("$[", "$&#91;").replace("\n", "<br/>"))


def write_kml(sheaves: Iterable[Sheaf]) -> tuple[str, int]:
    """Write KML, and give how many placemarks it has."""
    folders = [(_folder(sheaf), len(sheaf.features)) for sheaf in sheaves]
    styles = "".join(map(_style, GROUPS))
    body = "\n".join(text for text, _ in folders)
    text = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="{NAMESPACE}"><Document><name>As built</name>\n'
        f"{styles}\n{body}\n</Document></kml>\n"
    )
    return text, sum(count for _, count in folders)


def pack_kmz(kml: str) -> bytes:
    """Pack KML as KMZ; the same text gives the same bytes."""
    stream = io.BytesIO()
    entry = zipfile.ZipInfo("doc.kml")  # dated 1980, as all that has no date of its own
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = 0o644 << 16
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr(entry, kml.encode())
    return stream.getvalue()


def _folder(sheaf: Sheaf) -> str:
    gone = frozenset(f.name for f in sheaf.features if f.role == "component" and f.attributes.get("removed_on"))
    marks = "\n".join(_placemark(feature, gone) for feature in sheaf.features)
    return f"<Folder><name>{kml_text(sheaf.property)}</name>\n{marks}\n</Folder>"


def _placemark(feature: Feature, gone: frozenset[str]) -> str:
    """Write one thing; elements stand in the order of the schema."""
    cells = [(column, cell(column, feature)) for column in columns_of([feature.role])]
    known = {column.name: _words(value) for column, value in cells if value is not None}
    said = [known[key] for key in _SHOWN if key in known]
    data = "".join(
        f'<Data name="{column.name}"><displayName>{kml_text(column.title)}</displayName>'
        f"<value>{kml_text(known[column.name])}</value></Data>"
        for column, _ in cells
        if column.name in known
    )
    described = f"<description>{balloon_text(chr(10).join(said))}</description>" if said else ""
    return (
        f"<Placemark><name>{kml_text(feature.name)}</name>{described}"
        f"<styleUrl>#{group_of(feature, gone)}</styleUrl><ExtendedData>{data}</ExtendedData>"
        f"{_geometry(feature.geometry)}</Placemark>"
    )


def _words(value: object) -> str:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _style(group: Group) -> str:
    fill = group.fill or group.colour
    return (
        f'<Style id="{group.key}"><IconStyle><color>{_abgr(group.colour)}</color><scale>0.8</scale></IconStyle>'
        "<LabelStyle><scale>0.8</scale></LabelStyle>"
        f"<LineStyle><color>{_abgr(group.colour)}</color><width>3</width></LineStyle>"
        f"<PolyStyle><color>{_abgr(fill, '4d')}</color></PolyStyle></Style>"
    )


def _abgr(colour: str, alpha: str = "ff") -> str:
    """Turn #rrggbb into the aabbggrr of KML."""
    return f"{alpha}{colour[5:7]}{colour[3:5]}{colour[1:3]}"


def _geometry(geometry: BaseGeometry | None) -> str:
    if geometry is None or geometry.is_empty:
        return ""
    parts = list(_parts(geometry))
    return parts[0] if len(parts) == 1 else f"<MultiGeometry>{''.join(parts)}</MultiGeometry>"


def _parts(geometry: BaseGeometry) -> Iterator[str]:
    for part in shapely.get_parts(geometry):
        if part.geom_type == "Polygon":
            wound = shapely.orient_polygons(part)
            inner = "".join(
                f"<innerBoundaryIs><LinearRing>{_places(ring)}</LinearRing></innerBoundaryIs>"
                for ring in wound.interiors
            )
            outer = f"<outerBoundaryIs><LinearRing>{_places(wound.exterior)}</LinearRing></outerBoundaryIs>"
            yield f"<Polygon>{outer}{inner}</Polygon>"
        else:
            tag = "Point" if part.geom_type == "Point" else "LineString"
            yield f"<{tag}>{_places(part)}</{tag}>"


def _places(part: BaseGeometry) -> str:
    places = (
        f"{x:.{DECIMALS}f},{y:.{DECIMALS}f}" + "".join(f",{z:.3f}" for z in height) for x, y, *height in part.coords
    )
    return f"<coordinates>{' '.join(places)}</coordinates>"

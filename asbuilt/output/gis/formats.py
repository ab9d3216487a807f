"""What goes into a file for other programs, and which files there are: formats as data."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from asbuilt.errors import AsbuiltError
from asbuilt.output.features import Feature


class ExportError(AsbuiltError, ValueError):
    """Something that a file format cannot hold, or an option that does not go with it."""


@dataclass(frozen=True, slots=True)
class Sheaf:
    """One property on its way into a file."""

    property: str
    features: tuple[Feature, ...]  #: geometries in the system of the file
    sheets: Mapping[str, str] = field(default_factory=dict)  #: text of the field sheets by name; empty = none go along
    mark: str = ""  #: "complete" or "draft", and a digest of what they say, to see that it is read back the same


@dataclass(frozen=True, slots=True)
class Format:
    """One kind of file and what it can hold."""

    key: str
    title: str
    ending: str
    systems: tuple[str, ...]  #: of local, wgs84, epsg; the first is used where none is asked for
    most: int | None = None  #: features in one file; None = it streams, as many as there are
    high: bool = True  #: whether it has a third coordinate
    sheets: bool = False  #: whether it carries the field sheets, so that `asbuilt import` reads it


FORMATS = (
    Format("geojson", "GeoJSON", ".geojson", ("wgs84",), sheets=True),
    Format("gpkg", "GeoPackage", ".gpkg", ("wgs84", "local", "epsg"), sheets=True),
    Format("kml", "KML", ".kml", ("wgs84",), most=20_000),
    Format("kmz", "KMZ", ".kmz", ("wgs84",), most=20_000),
    Format("gpx", "GPX", ".gpx", ("wgs84",), most=10_000),
    Format("dxf", "DXF", ".dxf", ("local", "epsg"), most=50_000),
    Format("fgb", "FlatGeobuf", ".fgb", ("wgs84", "local", "epsg"), high=False),
    Format("parquet", "GeoParquet", ".parquet", ("wgs84", "local", "epsg")),
    Format("csv", "CSV of points", ".csv", ("wgs84", "local", "epsg"), high=False),
)
"""Limits by judgement: viewers of KML and hand-held receivers choke above so many, and a drawing is read as a whole.
CSV has a column for the elevation and so needs no third coordinate. FlatGeobuf has one for all of a file or for none,
and points without a level would stand at height 0 in it: the elevation is a column there too."""

_BY_KEY = {each.key: each for each in FORMATS}
_BY_ENDING = {each.ending: each for each in FORMATS} | {".json": _BY_KEY["geojson"], ".geoparquet": _BY_KEY["parquet"]}


def format_of(path: Path, key: str | None = None) -> Format:
    """Choose the format by its name, else by the ending of the file.

    Raises
    ------
    ExportError
        If neither says which.
    """
    found = _BY_ENDING.get(path.suffix.lower()) if key is None else _BY_KEY.get(key)
    if found is None:
        endings = ", ".join(each.ending for each in FORMATS)
        raise ExportError(f"{path}: the ending does not say which kind of file; accepted: {endings}, or give --format")
    return found


def counted(sheaves: Iterable[Sheaf], kind: Format) -> Iterator[Sheaf]:
    """Pass properties on until the file would hold more than its format is good for.

    Raises
    ------
    ExportError
        As soon as there are more.
    """
    total = 0
    for sheaf in sheaves:
        total += len(sheaf.features)
        if kind.most is not None and total > kind.most:
            raise ExportError(
                f"more than {kind.most:,} things are too many for one {kind.title} file; nothing was written; "
                "export single properties, or all of them as .gpkg, .fgb, .parquet, .geojson or .csv"
            )
        yield sheaf

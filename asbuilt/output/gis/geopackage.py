"""GeoPackage (OGC 12-128): a layer for each kind of thing, with titles, styles and the field sheets in it.

The layers are written by pyogrio, batch by batch. What the library does not write is added to the file afterwards:
titles of columns by the schema extension (`gpkg_data_columns`), styles in a `layer_styles` table, and the text of the
field sheets in a table of attributes, by which the file can be loaded again.
"""

import sqlite3
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from asbuilt.output.features import Feature
from asbuilt.output.gis.columns import Column, columns_of, fit_text, titles
from asbuilt.output.gis.formats import ExportError, Sheaf
from asbuilt.output.gis.styles import layer_styles
from asbuilt.output.gis.system import System
from asbuilt.output.gis.table import BATCH, batches, table_of

VERSION = "1.2"
"""Of the standard: the newest one that mapping programs of five years ago read without a warning."""

SHEETS_TABLE = "asbuilt_sheets"
MARK = ""
"""Stands in the place of the name of a sheet in the row that holds the mark of a property; see `Sheaf.mark`."""


@dataclass(frozen=True, slots=True)
class Layer:
    """One table of features."""

    name: str
    title: str
    role: str
    dimension: int | None  #: of its geometries: 0, 1, 2; None = any
    geometry_type: str

    @property
    def columns(self) -> tuple[Column, ...]:
        """Columns of the table."""
        return columns_of([self.role])


LAYERS = (
    Layer("component_areas", "Components: areas and outlines", "component", 2, "MultiPolygon"),
    Layer("component_lines", "Components: lines", "component", 1, "MultiLineString"),
    Layer("component_points", "Components: single places, and what has no place", "component", None, "Point"),
    Layer("measured_points", "Points that were measured", "point", None, "Point"),
    Layer("reference_points", "Marks to measure from", "reference", None, "Point"),
    Layer("building_walls", "Buildings of which only some walls were measured", "building", 1, "MultiLineString"),
    Layer("buildings", "House and buildings", "building", None, "MultiPolygon"),
)
"""Areas and lines may be in parts, since what crosses the antimeridian is cut there."""


def write_geopackage(path: Path, sheaves: Iterable[Sheaf], system: System, *, dated: date) -> int:
    """Write a GeoPackage, and give how many features it has.

    Parameters
    ----------
    path
        A file that is not there yet, with the ending .gpkg.
    sheaves
        One property after the other; one batch of them is in memory at a time.
    dated
        The day that the file says it was changed on, so that the same record gives the same file.
    """
    count = 0
    begun: set[str] = set()
    with _stamped(dated):
        for batch in _by_size(sheaves):
            count += _write_features(path, [f for sheaf in batch for f in sheaf.features], system, begun)
            if begun:
                _add_sheets(path, batch, dated)
        if not begun:
            raise ExportError("there is nothing to write: no property has a thing in it")
        _finish(path, begun, dated)
    return count


def _write_quietly(write: Callable[..., None], *arguments: object, **options: object) -> None:
    """Write without the note that a layer has heights besides things without: the file says so, and that is right."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".*non-Z geometry type.*Setting the Z=2 hint")
        write(*arguments, **options)


def layer_of(feature: Feature) -> Layer:
    """Tell the table that a feature belongs to."""
    dimension = None if feature.geometry is None else {"P": 2, "L": 1}.get(_shape_initial(feature))
    fitting = (layer for layer in LAYERS if layer.role == feature.role and layer.dimension in (dimension, None))
    return next(fitting)


def _shape_initial(feature: Feature) -> str:
    kind = "" if feature.geometry is None else feature.geometry.geom_type.removeprefix("Multi")
    return "" if kind == "Point" else kind[:1]


def _by_size(sheaves: Iterable[Sheaf]) -> Iterator[list[Sheaf]]:
    """Gather properties until they make a batch of features."""
    batch: list[Sheaf] = []
    size = 0
    for sheaf in sheaves:
        batch.append(sheaf)
        size += len(sheaf.features)
        if size >= BATCH:
            yield batch
            batch, size = [], 0
    if batch:
        yield batch


@contextmanager
def _stamped(dated: date) -> Iterator[None]:
    """Let the library stamp the file with a given day."""
    from pyogrio import get_gdal_config_option, set_gdal_config_options

    before = get_gdal_config_option("OGR_CURRENT_DATE")
    set_gdal_config_options({"OGR_CURRENT_DATE": _moment(dated)})
    try:
        yield
    finally:
        set_gdal_config_options({"OGR_CURRENT_DATE": before})


def _moment(dated: date) -> str:
    return f"{dated.isoformat()}T00:00:00.000Z"


def _write_features(path: Path, features: Sequence[Feature], system: System, begun: set[str]) -> int:
    from pyogrio.raw import write

    by_layer: dict[str, list[Feature]] = {}
    for feature in features:
        by_layer.setdefault(layer_of(feature).name, []).append(feature)
    for layer in LAYERS:
        for batch in batches(by_layer.get(layer.name, ())):
            table = table_of(batch, layer.columns, in_parts=layer.geometry_type.startswith("Multi"))
            _write_quietly(
                write,
                str(path),
                table.wkb,
                table.data,
                table.fields,
                field_mask=table.masks,
                layer=layer.name,
                driver="GPKG",
                geometry_type=layer.geometry_type,
                crs=system.wkt,
                append=layer.name in begun,
                dataset_options={} if begun else {"VERSION": VERSION},
                layer_options={} if layer.name in begun else {"IDENTIFIER": layer.title},
            )
            begun.add(layer.name)
    return len(features)


# ------------------------------------------------------------ what the library does not write


def _add_sheets(path: Path, sheaves: Sequence[Sheaf], dated: date) -> None:
    rows = [
        (fit_text(sheaf.property), name, text)
        for sheaf in sheaves
        if sheaf.sheets
        for name, text in ((MARK, sheaf.mark), *sheaf.sheets.items())
    ]
    if not rows:
        return
    with closing(sqlite3.connect(path)) as db, db:
        if not db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (SHEETS_TABLE,)).fetchone():
            db.execute(
                f"CREATE TABLE {SHEETS_TABLE} (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, property TEXT NOT NULL, "
                "sheet TEXT NOT NULL, text TEXT NOT NULL)"
            )
            _register(db, SHEETS_TABLE, "Field sheets: the measurements themselves", dated)
        db.executemany(f"INSERT INTO {SHEETS_TABLE} (property, sheet, text) VALUES (?, ?, ?)", rows)  # noqa: S608


def _register(db: sqlite3.Connection, table: str, title: str, dated: date) -> None:
    """List a table of attributes in the contents (OGC 12-128, 2.4)."""
    db.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id) "
        "VALUES (?, 'attributes', ?, '', ?, 0)",
        (table, title, _moment(dated)),
    )
    if db.execute("SELECT 1 FROM sqlite_master WHERE name = 'gpkg_ogr_contents'").fetchone():
        db.execute("INSERT OR IGNORE INTO gpkg_ogr_contents (table_name, feature_count) VALUES (?, NULL)", (table,))


def _finish(path: Path, begun: set[str], dated: date) -> None:
    layers = [layer for layer in LAYERS if layer.name in begun]
    with closing(sqlite3.connect(path)) as db, db:
        _add_titles(db, layers)
        _add_styles(db, layers, dated)


def _add_titles(db: sqlite3.Connection, layers: Sequence[Layer]) -> None:
    """Give columns their titles by the schema extension (OGC 12-128, annex F.9)."""
    db.execute(
        "CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, "
        "description TEXT, mime_type TEXT, constraint_name TEXT, "
        "CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), "
        "CONSTRAINT gdc_tn UNIQUE (table_name, name))"
    )
    db.execute(
        "CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, "
        "value TEXT, min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT, "
        "CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))"
    )
    definition = "http://www.geopackage.org/spec121/#extension_schema"
    for table in ("gpkg_data_columns", "gpkg_data_column_constraints"):
        db.execute(
            "INSERT INTO gpkg_extensions (table_name, column_name, extension_name, definition, scope) "
            "VALUES (?, NULL, 'gpkg_schema', ?, 'read-write')",
            (table, definition),
        )
    known: Mapping[str, str] = titles()
    rows = [(layer.name, c.name, known[c.name], known[c.name]) for layer in layers for c in layer.columns]
    db.executemany("INSERT INTO gpkg_data_columns (table_name, column_name, name, title) VALUES (?, ?, ?, ?)", rows)


def _add_styles(db: sqlite3.Connection, layers: Sequence[Layer], dated: date) -> None:
    db.execute(
        "CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT, "
        "f_table_schema TEXT, f_table_name TEXT, f_geometry_column TEXT, styleName TEXT, styleQML TEXT, "
        "styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT, ui TEXT, update_time DATETIME)"
    )
    _register(db, "layer_styles", "Styles of the layers", dated)
    for layer in layers:
        geometry = db.execute(
            "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (layer.name,)
        ).fetchone()[0]
        qml, sld = layer_styles(layer.name, layer.title, layer.geometry_type.removeprefix("Multi"))
        db.execute(
            "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, "
            "styleQML, styleSLD, useAsDefault, description, owner, ui, update_time) "
            "VALUES ('', '', ?, ?, 'as built', ?, ?, 1, ?, '', NULL, ?)",
            (layer.name, geometry, qml, sld, "Colours of the APWA Uniform Color Code, darkened", _moment(dated)),
        )

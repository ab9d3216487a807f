"""GeoParquet 1.1: everything in one file of columns, a group of rows at a time; needs the extra `parquet`."""

import json
from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from asbuilt.output.gis.columns import Column, cell, columns_of
from asbuilt.output.gis.formats import ExportError, Sheaf
from asbuilt.output.gis.system import System
from asbuilt.output.gis.table import batches, wkb_of

VERSION = "1.1.0"
"""Of the GeoParquet specification, https://geoparquet.org/releases/v1.1.0/."""


def require_parquet() -> None:
    """Refuse before any work is done where the library is missing.

    Raises
    ------
    ExportError
        If pyarrow is not installed.
    """
    if find_spec("pyarrow") is None:
        raise ExportError(
            "GeoParquet needs the library pyarrow, which is not installed: pip install pyarrow; "
            "or export as .fgb or .gpkg"
        )


def write_geoparquet(path: Path, sheaves: Iterable[Sheaf], system: System) -> int:
    """Write a GeoParquet file, and give how many features it has."""
    import pyarrow as pa
    from pyarrow import parquet

    types = {"text": pa.string(), "real": pa.float64(), "whole": pa.int64(), "flag": pa.bool_(), "day": pa.date32()}
    columns = columns_of()
    schema = pa.schema([*((column.name, types[column.type]) for column in columns), ("geometry", pa.binary())])
    count, kinds = 0, set[str]()
    extent = np.full(4, np.nan)
    with parquet.ParquetWriter(path, schema, compression="zstd") as writer:
        for batch in batches(each for sheaf in sheaves for each in sheaf.features):
            shapes = [each.geometry for each in batch]
            arrays = [pa.array(_values(column, batch), types[column.type]) for column in columns]
            writer.write_table(pa.Table.from_arrays([*arrays, pa.array(wkb_of(batch), pa.binary())], schema=schema))
            extent = _wider(extent, shapely.total_bounds(shapes))
            kinds |= {each.geom_type + (" Z" if each.has_z else "") for each in shapes if each is not None}
            count += len(batch)
        writer.add_key_value_metadata({"geo": json.dumps(_geo(system, extent, kinds))})
    return count


def _values(column: Column, batch: list[Any]) -> list[Any]:
    values = [cell(column, feature) for feature in batch]
    if column.type == "day":
        days = np.array(["NaT" if value is None else value for value in values], dtype="datetime64[D]")
        return list(days.astype(object))
    return values


def _wider(extent: Any, other: Any) -> Any:
    return np.concatenate((np.fmin(extent[:2], other[:2]), np.fmax(extent[2:], other[2:])))


def _geo(system: System, extent: Any, kinds: set[str]) -> dict[str, Any]:
    """Say what the column of geometries holds; longitude and latitude is what is meant where no system is named."""
    held: dict[str, Any] = {"encoding": "WKB", "geometry_types": sorted(kinds)}
    if system.key != "wgs84":
        held["crs"] = system.crs.to_json_dict()
    if not np.isnan(extent).any():
        held["bbox"] = [float(value) for value in extent]
    return {"version": VERSION, "primary_column": "geometry", "columns": {"geometry": held}}

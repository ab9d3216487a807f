"""FlatGeobuf: everything in one layer with a spatial index, made by way of a GeoPackage beside it, in a stream."""

from collections.abc import Iterable
from pathlib import Path

from asbuilt.output.gis.columns import columns_of
from asbuilt.output.gis.formats import ExportError, Sheaf
from asbuilt.output.gis.system import System
from asbuilt.output.gis.table import batches, table_of

LAYER = "as_built"


def write_flatgeobuf(path: Path, sheaves: Iterable[Sheaf], system: System) -> int:
    """Write a FlatGeobuf file, and give how many features it has.

    What has no place is left out, because the spatial index, for which one takes this format, has no room for it.
    A GeoPackage stands between, since FlatGeobuf is written in one go and the features come batch by batch.
    """
    from pyogrio.raw import open_arrow, write, write_arrow

    between = path.with_suffix(".gpkg")
    columns = columns_of()
    count = 0
    placed = (each for sheaf in sheaves for each in sheaf.features if each.geometry is not None)
    for batch in batches(placed):
        table = table_of(batch, columns)
        write(
            str(between),
            table.wkb,
            table.data,
            table.fields,
            field_mask=table.masks,
            layer=LAYER,
            driver="GPKG",
            geometry_type="Unknown",
            crs=system.wkt,
            append=count > 0,
            layer_options={} if count else {"SPATIAL_INDEX": "NO"},
        )
        count += len(batch)
    if not count:
        raise ExportError("there is nothing to write: nothing has a place")
    with open_arrow(str(between), layer=LAYER, use_pyarrow=False) as (meta, stream):
        write_arrow(
            stream,
            str(path),
            layer=LAYER,
            driver="FlatGeobuf",
            geometry_name=meta["geometry_name"],
            geometry_type="Unknown",
            crs=system.wkt,
        )
    between.unlink()
    return count

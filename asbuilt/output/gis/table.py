"""Features -> columns of numbers and text: what the writers of tables take, batch by batch."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiLineString, MultiPolygon

from asbuilt.output.features import Feature
from asbuilt.output.gis.columns import Column, cell

BATCH = 20_000
"""Features in memory at a time: some tens of megabytes."""

_PARTS = {"LineString": MultiLineString, "Polygon": MultiPolygon}
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Table:
    """Some features as columns."""

    wkb: NDArray[np.object_]  #: ISO well-known binary; None where there is no place
    fields: tuple[str, ...]
    data: list[NDArray[Any]]
    masks: list[NDArray[np.bool_] | None]  #: where a number or flag is missing; None = the data says it itself


def batches(items: Iterable[_T], size: int = BATCH) -> Iterator[list[_T]]:
    """Cut a stream into lists."""
    rest = iter(items)
    while batch := list(islice(rest, size)):
        yield batch


def table_of(features: Sequence[Feature], columns: Sequence[Column], *, in_parts: bool = False) -> Table:
    """Make a table of some features; `in_parts` makes lines and areas such of one part, for layers of these."""
    made = [_array(column, [cell(column, feature) for feature in features]) for column in columns]
    return Table(
        wkb_of(features, in_parts=in_parts),
        tuple(column.name for column in columns),
        [a for a, _ in made],
        [mask for _, mask in made],
    )


def wkb_of(features: Sequence[Feature], *, in_parts: bool = False) -> NDArray[np.object_]:
    """Give the geometries as ISO well-known binary, with heights where they have them."""
    shapes = np.empty(len(features), dtype=object)
    shapes[:] = [feature.geometry for feature in features]
    if in_parts:
        shapes[:] = [_PARTS[each.geom_type]([each]) if each and each.geom_type in _PARTS else each for each in shapes]
    wkb: NDArray[np.object_] = shapely.to_wkb(shapes, output_dimension=3, flavor="iso")
    return wkb


def _array(column: Column, values: list[Any]) -> tuple[NDArray[Any], NDArray[np.bool_] | None]:
    if column.type == "text":
        made = np.empty(len(values), dtype=object)
        made[:] = values
        return made, None
    if column.type == "real":
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64), None
    if column.type == "day":
        return np.array(["NaT" if value is None else value for value in values], dtype="datetime64[D]"), None
    missing = np.array([value is None for value in values], dtype=bool)
    kind = np.bool_ if column.type == "flag" else np.int64
    return np.array([0 if value is None else value for value in values], dtype=kind), missing

"""CSV of the points: where each is, how well that is known, and the tapes that say so."""

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any

from asbuilt.output.features import Feature
from asbuilt.output.gis.columns import COLUMNS, cell
from asbuilt.output.gis.formats import Sheaf
from asbuilt.output.gis.system import System
from asbuilt.output.words import csv_text

TAPES = 4
"""Pairs of columns for tapes, as in the sheet `points.csv`; more tapes of a point stand together in `more_tapes`."""

_SAID = (
    "description",
    "mark",
    "size",
    "depth_text",
    "depth_m",
    "elevation_m",
    "elevation_sigma_m",
    "elevation_to",
    "accuracy_text",
    "r95_m",
    "r95_earth_m",
    "checked",
    "draft",
)
_BY_NAME = {column.name: column for column in COLUMNS}


def headings(system: System) -> tuple[str, ...]:
    """Give the headings of the columns."""
    places = {"local": ("east_m", "north_m"), "wgs84": ("longitude", "latitude")}.get(system.key)
    if places is None:
        places = ("easting", "northing") if system.unit_m is not None else ("longitude", "latitude")
    tapes = [heading for k in range(1, TAPES + 1) for heading in (f"from{k}", f"tape{k}")]
    return ("property", "name", "role", "kind", *places, "system", *tapes, "more_tapes", *_SAID)


def csv_lines(sheaves: Iterable[Sheaf], system: System) -> Iterator[str]:
    """Write the heading, then points and marks line by line, each with its line end.

    Places are rounded to a tenth of a millimetre, degrees to eight decimals. Distances as they were read.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")  # RFC 4180

    def taken() -> str:
        text = stream.getvalue()
        stream.seek(0)
        stream.truncate()
        return text

    writer.writerow(headings(system))
    yield taken()
    for sheaf in sheaves:
        for feature in sheaf.features:
            if feature.role in ("point", "reference"):
                writer.writerow([csv_text(value) for value in _row(sheaf.property, feature, system)])
                yield taken()


def _row(name: str, feature: Feature, system: System) -> Iterator[Any]:
    yield from (name, feature.name, feature.role, feature.kind)
    decimals = 8 if system.unit_m is None else 4
    place = None if feature.geometry is None else feature.geometry.coords[0]
    yield from (None, None) if place is None else (f"{value:.{decimals}f}" for value in place[:2])
    yield system.title if system.epsg is None else f"EPSG:{system.epsg}"
    ties = [(tie["from"], tie["as_read"]) for tie in feature.attributes.get("ties", ())]
    for k in range(TAPES):
        yield from ties[k] if k < len(ties) else (None, None)
    yield "; ".join(f"{as_read} from {other}" for other, as_read in ties[TAPES:]) or None
    yield from (cell(_BY_NAME[key], feature) for key in _SAID)

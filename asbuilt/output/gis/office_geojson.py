"""GeoJSON of one or many properties as a file, in a stream; the field sheets ride behind the features."""

import json
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import IO, Any

from asbuilt.output.features import Feature
from asbuilt.output.gis.formats import Sheaf
from asbuilt.output.gis.geojson import geojson_lines, stream_geojson, with_ids


def write_geojson_file(path: Path, sheaves: Iterable[Sheaf], *, elevation: bool, sheets: bool) -> int:
    """Write a FeatureCollection, and give how many features it has.

    Parameters
    ----------
    elevation
        Also the third coordinate; see `write_geojson`.
    sheets
        Also the foreign member with the field sheets. They wait in a file of their own while the features pass, since
        the member stands behind them.
    """
    with path.open("wb") as file, tempfile.TemporaryFile("w+", encoding="utf-8", newline="\n") as waiting:
        lines = geojson_lines(_told_apart(sheaves, waiting), elevation=elevation)
        return stream_geojson(file, lines, _read_again(waiting) if sheets else None)


def _told_apart(sheaves: Iterable[Sheaf], waiting: IO[str]) -> Iterator[tuple[str, Feature]]:
    """Give the features with ids that no other property has, and let the sheets wait."""
    for sheaf in sheaves:
        yield from with_ids(sheaf.features, f"{sheaf.property}/")
        if sheaf.sheets:
            # all ASCII, so that nothing in a text ends a line
            waiting.write(json.dumps([sheaf.property, {"mark": sheaf.mark, "sheets": dict(sheaf.sheets)}]) + "\n")


def _read_again(waiting: IO[str]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    waiting.seek(0)
    for line in waiting:
        name, held = json.loads(line)
        yield name, held

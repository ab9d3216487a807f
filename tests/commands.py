"""Commands run in this process, the smallest sheets that give a position, and what a folder holds."""

import csv
import json
import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import click
from click.testing import CliRunner, Result

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "sample_property"
SAMPLE_NAME = "Fernbank Lane 14"

Run = Callable[..., Result]
"""Run one command; words that are not text are put into text."""

WriteSheets = Callable[..., Path]
"""Write a folder of sheets: `property=` TOML text, every other sheet a list of rows."""


def invoke(*words: object) -> Result:
    """Run one command in this process; an error that it should have caught is raised here."""
    from asbuilt.cli.main import main

    result = CliRunner().invoke(main, [str(word) for word in words], prog_name="asbuilt")
    if result.exception is not None and not isinstance(result.exception, SystemExit | click.exceptions.Exit):
        raise result.exception
    return result


def two_corners(name: str = "Two Corners", units: str = "ft-in", **cells: str) -> dict[str, Any]:
    """Give the smallest set of sheets: two corners, one wall of 30 ft, a lid 15 ft along it and 20 ft off it.

    The triangle 15, 20, 25 twice. `cells` replace cells of the lid's row or add to it.
    """
    lid = {
        "component": "septic tank",
        "point": "lid",
        "from1": "A",
        "tape1": "25' 0\"",
        "from2": "B",
        "tape2": "25' 0\"",
        "side": "left of A > B",
        "held": "level",
    } | cells
    return {
        "property": f'name = "{name}"\nunits = "{units}"\n',
        "reference_points": [["name"], ["A"], ["B"]],
        "walls": [["from", "to", "length", "turn"], ["A", "B", "30' 0\"", "?"]],
        "points": [list(lid), list(lid.values())],
    }


def sheets_in(folder: Path, name: str, **sheets: str | Sequence[Sequence[object]]) -> Path:
    """Write a folder of sheets into a folder; one of that name is replaced."""
    place = folder / name
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    for sheet, content in sheets.items():
        if isinstance(content, str):
            (place / f"{sheet}.toml").write_text(content, encoding="utf-8")
        else:
            with (place / f"{sheet}.csv").open("w", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows(content)
    return place


def parsed(result: Result) -> Any:
    """Give the JSON that a command printed."""
    return json.loads(result.stdout)


def point_named(positions: Mapping[str, Any], name: str) -> dict[str, Any]:
    """Give one point of `positions --json`."""
    return next(point for point in positions["points"] if point["name"] == name)


def files_below(folder: Path) -> dict[str, bytes]:
    """Give every file of a folder with its bytes, to see that nothing was written."""
    return {os.path.relpath(path, folder): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}

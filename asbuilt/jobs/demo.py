"""The demonstration: all of it on the sample property, into one folder."""

import json
from dataclasses import dataclass
from datetime import UTC, date, datetime
from importlib.resources import files
from pathlib import Path

from asbuilt.errors import AsbuiltError
from asbuilt.findings import Finding
from asbuilt.jobs.draw import geojson_of, map_of
from asbuilt.jobs.load import load_sheets
from asbuilt.jobs.locate import Located
from asbuilt.output.duelist import due_table
from asbuilt.output.features import accuracy_words
from asbuilt.output.files import write_whole
from asbuilt.output.positions import best_two_tapes, positions_json, positions_table
from asbuilt.service.schedule import Due, due_tasks

STORED_AT = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
"""The day on which the invented story of the sample property ends; the demonstration answers as on it."""


@dataclass(frozen=True, slots=True)
class Demo:
    """What the demonstration wrote and found."""

    written: tuple[Path, ...]
    facts: tuple[str, ...]  #: the three most useful ones
    findings: tuple[Finding, ...]


def sample_sheets() -> Path:
    """Find the folder of the sample sheets: in the installed package, else beside it in a checkout."""
    inside = Path(str(files("asbuilt") / "sample_property"))
    beside = Path(str(files("asbuilt"))).parent / "sample_property"
    found = next((folder for folder in (inside, beside) if folder.is_dir()), None)
    if found is None:
        raise AsbuiltError(f"the sample sheets are missing: neither {inside} nor {beside} is there")
    return found


def run_demo(folder: Path, *, overwrite: bool) -> Demo:
    """Load, solve, map, export and schedule the sample property.

    Raises
    ------
    OutputError, RecordError
        If the folder cannot be written, or holds files already and `overwrite` is not set.
    """
    folder.mkdir(parents=True, exist_ok=True)
    loaded = load_sheets(folder / "asbuilt.db", sample_sheets(), who="demo", now=STORED_AT)
    located, today = loaded.located, STORED_AT.date()
    dues, more = due_tasks(located.record, today)
    texts = {
        "map.html": map_of(located, today),
        "property.geojson": geojson_of(located, today, points=True, house=True),
        "positions.txt": positions_table(located.solution, located.findings, located.record.property.units) + "\n",
        "positions.json": _json(positions_json(located.solution, located.placement, located.findings)),
        "due.txt": due_table(dues) + "\n",
        "due.json": _json([due.as_json() for due in dues]),
    }
    for name, text in texts.items():
        write_whole(folder / name, text, overwrite=overwrite)
    written = (folder / "asbuilt.db", *(folder / name for name in texts))
    return Demo(written, _facts(located, dues, today), (*located.findings, *more))


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def _facts(located: Located, dues: tuple[Due, ...], today: date) -> tuple[str, ...]:
    """Say where the lid is, when the tank is next due, and what is least well known."""
    return (_lid_fact(located), _due_fact(dues, today), _doubt_fact(located))


def _lid_fact(located: Located) -> str:
    solution, units = located.solution, located.record.property.units
    tanks = [c.name for c in located.record.components if c.kind == "septic tank"]
    lids = [p for p in solution.points if p.component in tanks and p.place is not None]
    if not lids:
        return "No lid of the septic tank is located."
    lid = lids[0]
    places = {p.name: p.place for p in (*solution.references, *solution.points) if p.place is not None}
    tapes = best_two_tapes(lid, places, {p.name for p in solution.references})
    ways = " and ".join(f"{tie.as_read} from {tie.from_}" for tie in tapes)
    return f"{lid.name}: {ways}; {accuracy_words(lid, units)}."


def _due_fact(dues: tuple[Due, ...], today: date) -> str:
    dated = [due for due in dues if due.due_on is not None]
    if not dated:
        return "Nothing is scheduled."
    first = dated[0]
    return f"{first.task} of {first.component}: {first.due_on} (as on {today}); {first.reason}"


def _doubt_fact(located: Located) -> str:
    units = located.record.property.units
    points = [p for p in located.solution.points if p.r95_m is not None]
    checked = sum(p.checked for p in points)
    worst = max(points, key=lambda p: p.r95_m or 0.0)
    return (
        f"{checked} of {len(points)} points are checked by a spare tape; the least well known is {worst.name}, "
        f"{accuracy_words(worst, units)}."
    )

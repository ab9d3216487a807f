"""The demonstration: all of it on the sample property, into one folder."""

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

from asbuilt.errors import AsbuiltError, ChangedSheetsError
from asbuilt.findings import Finding
from asbuilt.jobs.draw import geojson_of, map_of, show_property
from asbuilt.jobs.due import dues_of
from asbuilt.jobs.load import load_sheets
from asbuilt.jobs.locate import Located
from asbuilt.model.entries import PUMP_OUT
from asbuilt.output.files import make_folder, refuse_existing, write_all
from asbuilt.output.text.duelist import due_json, due_list_text
from asbuilt.output.text.positions import Ways, positions_json, positions_table
from asbuilt.service.due import Due, Listed
from asbuilt.units import format_small

STORED_AT = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
"""The day on which the invented story of the sample property ends; the demonstration answers as on it."""

FILES = {
    "asbuilt.db": "the record: what was read, entry by entry",
    "map.html": "the map: open it in any browser, no network needed",
    "property.geojson": "the same for any mapping program (GeoJSON)",
    "positions.txt": "where everything is: two tapes to each point",
    "positions.json": "the same as data",
    "due.txt": "what is due when, and why",
    "due.json": "the same as data",
}
"""What is written, and what each file is for."""


@dataclass(frozen=True, slots=True)
class Demo:
    """What the demonstration wrote and found."""

    written: tuple[Path, ...]
    facts: tuple[str, ...]  #: the three most useful ones, each a sentence
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
        If the folder cannot be written, or holds files already and `overwrite` is not set. A record that is there
        already is never replaced: with `overwrite` the sample is loaded into it.
    """
    for name in FILES:
        refuse_existing(folder / name, overwrite=overwrite)
    make_folder(folder)
    located = _loaded(folder / "asbuilt.db")
    today = STORED_AT.date()
    shown = show_property(located, today)
    dues, notes = dues_of(located.record, today)
    place = located.record.property
    listed = [Listed(due, place.address, place.owner, place.phone) for due in dues]
    texts = {
        "map.html": map_of(shown, folder / "asbuilt.db"),
        "property.geojson": geojson_of(shown, points=True, house=True),
        "positions.txt": positions_table(located.record, located.solution, located.findings) + "\n",
        "positions.json": _json(positions_json(located.solution, located.placement, located.findings)),
        "due.txt": due_list_text(listed, notes, today) + "\n",
        "due.json": due_json([due.as_json() for due in dues]),
    }
    write_all({folder / name: text for name, text in texts.items()}, overwrite=overwrite)
    return Demo(tuple(folder / name for name in FILES), _facts(located, dues), shown.findings)


def _loaded(record_file: Path) -> Located:
    """Load the sample sheets; a record that holds other readings of them is left as it is."""
    try:
        return load_sheets(record_file, sample_sheets(), who="demo", now=STORED_AT).located
    except ChangedSheetsError as error:
        name = str(error).partition(":")[0]
        raise AsbuiltError(
            f"{record_file}: other readings of {name} are recorded there; nothing was written. "
            "Give another folder with --out"
        ) from error


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def _facts(located: Located, dues: tuple[Due, ...]) -> tuple[str, ...]:
    """Say where the lid is, when the tank is next due, and what is least well known."""
    return (_lid_fact(located), _due_fact(dues), _doubt_fact(located))


def _lid_fact(located: Located) -> str:
    record, solution = located.record, located.solution
    tanks = [c.name for c in record.components if c.kind == "septic tank"]
    lid = next((p for p in solution.points if p.component in tanks and p.r95_m is not None), None)
    if lid is None or lid.r95_m is None:
        return "No lid of the septic tank is located."
    ways = " and ".join(Ways(record, solution).to(lid))
    within = format_small(lid.r95_m, record.property.units)
    return f"The {lid.name.replace('/', ', ')}, is {ways}, within {within} (19 times in 20)."


def _due_fact(dues: tuple[Due, ...]) -> str:
    dated = [due for due in dues if due.due_on is not None]
    if not dated:
        return "Nothing is scheduled."
    first = next((due for due in dated if due.task == PUMP_OUT), dated[0])
    text = f"The {first.component} is next due for a {first.task} on {first.due_on} by the {first.method}"
    if first.earliest_on and first.latest_on:
        text += f", between {first.earliest_on} and {first.latest_on} as use varies"
    return f"{text}."


def _doubt_fact(located: Located) -> str:
    units = located.record.property.units
    radii = {p.name: p.r95_m for p in located.solution.points if p.r95_m is not None}
    checked = sum(p.checked for p in located.solution.points)
    worst = max(radii, key=lambda name: radii[name])
    return (
        f"{checked} of {len(located.solution.points)} points are checked by a spare tape; the least well known is "
        f"the {worst.replace('/', ', ')}, within {format_small(radii[worst], units)}."
    )

"""Values that came in otherwise than by sheets, held against the contract of the sheets cell by cell.

A record file from somewhere else may say in its rows what no sheet could: a unit that there is not, a line of control
characters, the name of a file that leads out of a folder.
"""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import Any

from asbuilt.errors import Problem
from asbuilt.model.photos import Photo
from asbuilt.model.place import Property
from asbuilt.model.rule_files import RuleFile
from asbuilt.model.site_readings import QUANTITIES, READINGS, SiteReading
from asbuilt.record.nouns import NOUN_OF_KIND
from asbuilt.record.pictures import ENDINGS
from asbuilt.record.sheets.cells import LONGEST_TEXT, CellError, shown
from asbuilt.record.sheets.columns import PROPERTY_KEYS, SHEETS
from asbuilt.record.sheets.rows import Column
from asbuilt.record.sheets.write import FIELD_OF_SHEET, cell_word, is_plain_name
from asbuilt.record.transfer import Entry
from asbuilt.units import Length

LONGEST_M = 1e5
"""Metres in any length or elevation."""

_SHEET_OF_FIELD = {field: sheet for sheet, field in FIELD_OF_SHEET.items()}
_HASH = re.compile(r"[0-9a-f]{64}")
_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", re.ASCII)
_UNCHECKED = {"task"}
"""Columns whose words change with what the program knows: an old word there is no fault."""


def strange_entries(entries: Sequence[Entry]) -> list[str]:
    """Say what in the entries of a property no sheet and no command could have put there, the first few things."""
    units = next((entry.body["units"] for entry in reversed(entries) if entry.body and "units" in entry.body), "m")
    found: list[str] = []
    for entry in entries:
        place = f"entry {entry.links['seq']}"
        found += [f"{place}: {fault}" for fault in _of_links(entry)]
        if entry.links["kind"] not in NOUN_OF_KIND:
            found.append(f"{place} is of an unknown kind")
        elif entry.body is not None:
            try:
                value = entry.value
            except (ValueError, TypeError, KeyError) as error:
                found.append(f"{place} cannot be read ({error})")
                continue
            found += [f"{place}: {fault}" for fault in strange_cells(value, str(units))]
        if len(found) > 5:
            break
    return found


def _of_links(entry: Entry) -> Iterable[str]:
    links = entry.links
    for name in ("who", "sheet", "reason", "at_local"):
        if links[name] is not None and not _is_line(links[name]):
            yield f"{name} is no line of text"
    try:
        aware = datetime.fromisoformat(links["at_local"]).tzinfo is not None
    except (ValueError, TypeError):
        aware = False
    if not aware or not isinstance(links["at_utc"], str) or not _UTC.fullmatch(links["at_utc"]):
        yield "its time cannot be read"


def strange_cells(value: Any, units: str) -> list[str]:
    """Say what of one value no cell of its sheet takes."""
    faults = list(_strange_plain(value))
    if isinstance(value, Property):
        for table, columns in PROPERTY_KEYS.items():
            held = getattr(value, table, None) if table else value
            faults += [] if held is None else _against(columns, held, value.units)
    elif isinstance(value, RuleFile):
        faults += [] if is_plain_name(value.name) else [f"{shown(value.name)} is no name of a rule file"]
    elif isinstance(value, Photo):
        sound = _HASH.fullmatch(value.sha256) and value.form in ENDINGS and value.width > 0 and value.height > 0
        faults += [] if sound else [f"{shown(value.file)} is described as no photo is"]
    elif isinstance(value, SiteReading) and value.reading in READINGS:
        unit = QUANTITIES[READINGS[value.reading][0]].unit
        faults += [] if value.unit == unit else [f"{value.reading} is in {shown(value.unit)}, and is kept in {unit}"]
    noun = next((noun for noun in NOUN_OF_KIND.values() if noun.cls is type(value)), None)
    sheet = None if noun is None else _SHEET_OF_FIELD.get(noun.field)
    return faults if sheet is None else [*faults, *_against(SHEETS[sheet], value, units)]


def _against(columns: Sequence[Column], value: Any, units: str) -> list[str]:
    faults = []
    names = {field.name.rstrip("_"): field.name for field in fields(value)}
    for column in columns:
        held = getattr(value, names[column.name]) if column.name in names else None
        if held is None or column.name in _UNCHECKED or isinstance(held, Length):
            continue
        try:
            column.parse(cell_word(held, units), units)
        except CellError as error:
            faults.append(f"{column.name}: {error.reason}")
    return faults


def _strange_plain(value: Any, name: str = "") -> Iterable[str]:
    """Say which texts are no lines of text, and which lengths no lengths."""
    if isinstance(value, Length) and not abs(value.metres) < LONGEST_M:
        yield f"{name} is no length"
    if isinstance(value, float) and not math.isfinite(value):
        yield f"{name} is no number"
    if isinstance(value, str) and not _is_line(value):
        yield f"{name} is no line of text"
    if is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            free = isinstance(value, RuleFile | Problem) and field.name in ("text", "reason", "accepted")
            if not free:  # a whole file, and what was said of a broken sheet, are not lines
                yield from _strange_plain(getattr(value, field.name), field.name)


def _is_line(text: Any) -> bool:
    """Tell whether a text could have come through a cell of a sheet."""
    if not isinstance(text, str) or len(text) > LONGEST_TEXT:
        return False
    return not any(letter != "\t" and (letter < " " or "\x7f" <= letter < "\xa0") for letter in text)

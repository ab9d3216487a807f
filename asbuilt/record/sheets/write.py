"""Field sheets out: a property's record as the folder of sheets that reads back as the same record.

The inverse of `record.sheets.read`: `read_sheets` of what is written here gives the record again. Readings are written
as they were read. Only two things are added to a cell: the apostrophe before a text that a spreadsheet would take for
a formula, and the wall that `out` is out of; reading knows both.
"""

import csv
import io
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import PurePath
from typing import Any

from asbuilt.errors import LengthError
from asbuilt.file_names import is_reserved
from asbuilt.model.components import Point
from asbuilt.model.measurements import Side, Tie
from asbuilt.model.photos import Photo
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.site_readings import SiteReading, parse_reading
from asbuilt.record.pictures import ENDINGS, SUFFIXES
from asbuilt.record.sheets.cells import guarded, signed_length, unguarded
from asbuilt.record.sheets.columns import PROPERTY, PROPERTY_KEYS, SHEETS, TAPES
from asbuilt.record.sheets.rows import Column
from asbuilt.units import UNITS, Length

FIELD_OF_SHEET = {
    "reference_points.csv": "reference_points",
    "walls.csv": "walls",
    "points.csv": "points",
    "ties.csv": "ties",
    "offsets.csv": "offsets",
    "known_coordinates.csv": "known_coordinates",
    "components.csv": "components",
    "household.csv": "household",
    "service.csv": "service",
    "levels.csv": "levels",
    "tasks.csv": "tasks",
    "readings.csv": "readings",
    "photos.csv": "photos",
    "sightings.csv": "sightings",
}
"""Where the rows of each sheet stand in the record."""

_LENGTH = signed_length(longest_m=1e6)
Cells = dict[str, Any]


def sheet_texts(record: PropertyRecord, *, cards: bool = True) -> dict[str, str]:
    """Write a record as field sheets: the text of each file by its name, in the order of the sheets.

    A sheet without rows is not written. The photos themselves are files of the folder `photos` beside them; see
    `photo_names`. Without `cards` every taped distance has a row of its own in `ties.csv`.
    """
    units = record.property.units
    texts = {PROPERTY: _property_text(record)}
    rows = _rows(record, cards=cards)
    for sheet, columns in SHEETS.items():
        if rows[sheet]:
            texts[sheet] = _sheet_text(columns, rows[sheet], units)
    return texts | {each.name: each.text for each in record.rule_files if is_plain_name(each.name)}


def photo_names(photos: Iterable[Photo]) -> dict[str, str]:
    """Give the name of the file of each photo by its hash: its own, changed where two would have the same."""
    names: dict[str, str] = {}
    taken: set[str] = set()
    for photo in photos:
        if photo.sha256 in names:
            continue
        name = photo.file if _is_file_name(photo) else f"photo{ENDINGS[photo.form]}"
        stem, suffix = PurePath(name).stem, PurePath(name).suffix
        number = 1
        while name.casefold() in taken:
            number += 1
            name = f"{stem}-{number}{suffix}"
        taken.add(name.casefold())
        names[photo.sha256] = name
    return names


def _is_file_name(photo: Photo) -> bool:
    """Tell whether a photo's name can stand in any folder, and says what the photo is."""
    name = photo.file
    plain = name == PurePath(name).name and name.isprintable() and not set(name) & set('/\\:*?"<>|')
    short = (
        len(name.encode("utf-8", "replace")) <= 120 and not name.startswith((".", "'", " ")) and name == name.strip()
    )
    return plain and short and not is_reserved(name) and SUFFIXES.get(PurePath(name).suffix.lower()) == photo.form


def is_plain_name(name: str) -> bool:
    """Tell whether the name of a rule file stays in the folder."""
    path = PurePath(name)
    inside = not path.is_absolute() and ".." not in path.parts and not set(name) & set("\\:")
    return inside and name.isprintable() and not any(map(is_reserved, path.parts))


def _rows(record: PropertyRecord, *, cards: bool) -> dict[str, list[Cells]]:
    """Give the cells of every sheet's rows, by column."""
    on_cards = _cards(record) if cards else {}
    loose = record.ties[sum(map(len, on_cards.values())) :]
    names = photo_names(record.photos)
    made: dict[str, Callable[[Any], Cells]] = {
        "points.csv": lambda point: _point(point, on_cards.get(point.name, ())),
        "readings.csv": lambda reading: _reading(reading, record.property.units),
        "photos.csv": lambda photo: _photo(photo, names),
    }
    values: dict[str, Sequence[Any]] = {sheet: getattr(record, field) for sheet, field in FIELD_OF_SHEET.items()}
    values["ties.csv"] = loose
    return {sheet: [made.get(sheet, _cells)(value) for value in values[sheet]] for sheet in SHEETS}


def _cells(value: Any) -> Cells:
    """Give the fields of a value by column: `from_` is `from` there."""
    return {field.name.rstrip("_"): getattr(value, field.name) for field in fields(value)}


def _cards(record: PropertyRecord) -> dict[str, tuple[Tie, ...]]:
    """Give the ties that go into the rows of their points, as many as the order of all ties lets.

    Reading gives the ties of points.csv first, row by row; so a row takes only those that come next.
    """
    cards: dict[str, tuple[Tie, ...]] = {}
    place = 0
    for point in record.points:
        first = record.ties[place] if place < len(record.ties) else None
        own: list[Tie] = []
        while first is not None and place < len(record.ties) and len(own) < len(TAPES):
            tie = record.ties[place]
            alike = (tie.side, tie.held, tie.drop) == (first.side, first.held, first.drop)
            if tie.to != point.name or not alike or tie.note or tie.on or tie.from_ in {each.from_ for each in own}:
                break
            own.append(tie)
            place += 1
        cards[point.name] = tuple(own)
    return cards


def _point(point: Point, ties: Sequence[Tie]) -> Cells:
    cells = _cells(point)
    for tape, tie in zip(TAPES, ties, strict=False):
        cells |= {f"from{tape}": tie.from_, f"tape{tape}": tie.distance}
    if ties:
        cells |= {"side": ties[0].side, "held": ties[0].held, "drop": ties[0].drop}
    return cells


def _reading(reading: SiteReading, units: str) -> Cells:
    """Part what was read into value and unit, so that it reads the same again."""
    cells = _cells(reading) | {"value": reading.as_read, "unit": None}
    value, _, last = reading.as_read.rpartition(" ")
    for written, unit in ((reading.as_read, ""), (value, last)):
        try:
            if parse_reading(reading.reading, written, unit, units) == (reading.number, reading.unit):
                return cells | {"value": written, "unit": unit or None}
        except (LengthError, ValueError):
            continue
    return cells


def _photo(photo: Photo, names: dict[str, str]) -> Cells:
    removed = photo.gps_removed or None
    return {"of": photo.of, "file": names[photo.sha256], "caption": photo.caption, "remove_gps": removed}


def _sheet_text(columns: Sequence[Column], rows: Sequence[Cells], units: str) -> str:
    """Write one sheet: the needed columns, and those in which something stands."""
    used = [each for each in columns if each.needed or any(row.get(each.name) is not None for row in rows)]
    heads = {each.name: _unit_of([row.get(each.name) for row in rows], units) if each.unit else None for each in used}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow([each.name if heads[each.name] is None else f"{each.name} [{heads[each.name]}]" for each in used])
    for row in rows:
        writer.writerow([cell_word(row.get(each.name), heads[each.name] or units) for each in used])
    return out.getvalue()


def _unit_of(cells: Sequence[Any], units: str) -> str | None:
    """Give the unit that a column's heading needs so that its lengths read the same; None = the property's."""
    lengths = [each for each in cells if isinstance(each, Length)]
    for unit in (units, *UNITS):
        if all(_reads_same(each, unit) for each in lengths):
            return None if unit == units else unit
    return None


def _reads_same(length: Length, unit: str) -> bool:
    try:
        return _LENGTH(length.as_read, unit) == length
    except (LengthError, ValueError):
        return False


def cell_word(value: Any, unit: str) -> str:
    """Write one cell; a length that would not read the same in that unit is written in metres."""
    if isinstance(value, Length):
        return value.as_read if _reads_same(value, unit) else f"{value.metres!r} m"
    if isinstance(value, Side):
        return str(value) if value.word != "out" or value.a is None else f"out of {value.a} > {value.b}"
    if isinstance(value, str):
        return guarded(value)
    return "" if value is None else _number_word(value)


def _number_word(value: bool | int | float | date) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return value.isoformat() if isinstance(value, date) else repr(value)


# property.toml


def _property_text(record: PropertyRecord) -> str:
    place = record.property
    lines = [*_keys(place, PROPERTY_KEYS[""], place.units)]
    for table, columns in PROPERTY_KEYS.items():
        held = getattr(place, table, None) if table else None
        if held is None:
            continue
        keys = list(_keys(held, columns, place.units))
        if keys or table in ("earth", "benchmark"):
            lines += ["", f"[{table}]", *keys]
    return "\n".join(lines) + "\n"


def _keys(value: Any, columns: Sequence[Column], units: str) -> Iterable[str]:
    """Write the keys that say something else than what counts where nothing is said."""
    defaults = {field.name: field.default for field in fields(value)} if is_dataclass(value) else {}
    by_name = sorted(columns, key=lambda column: column.name != "name")  # a reader looks for the name first
    for column in by_name:
        held = getattr(value, column.name)
        if held is not None and held != defaults.get(column.name):
            yield f"{column.name} = {_toml_word(held, units)}"


def _toml_word(value: Any, units: str) -> str:
    if isinstance(value, Length):
        return _toml_text(cell_word(value, units))
    if isinstance(value, str):
        # No spreadsheet opens this file; only what reading would undo is guarded.
        return _toml_text(value if unguarded(value) == value else guarded(value))
    if isinstance(value, bool):
        return "true" if value else "false"
    return _number_word(value)


def _toml_text(words: str) -> str:
    """Write a basic string of TOML 1.0: escapes are those of JSON, and U+007F must be one of them."""
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007f")

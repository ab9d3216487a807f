"""The blank field sheet: a form for the trench whose boxes are the columns of the sheets."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from asbuilt.model.components import Component
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.cautions import CAUTIONS
from asbuilt.output.drawing.plan import Window, draw_plan
from asbuilt.output.drawing.scale import FAMILIES, PAPERS_MM, Scale
from asbuilt.output.drawing.scene import Scene, build_scene
from asbuilt.output.drawing.svg import document
from asbuilt.output.sheets.blank_rows import (
    LevelRow,
    PointRow,
    columns_of,
    level_rows,
    point_rows,
    property_keys,
    reading_rows,
)
from asbuilt.output.sheets.pdf import render_pdf, shortened
from asbuilt.rules.profile import Profile
from asbuilt.survey.solution import Solution

SPARE_POINTS, SPARE_LEVELS, SPARE_READINGS = 4, 8, 3
"""Empty rows at the end of each form (our own)."""

BARE_POINTS = 16
"""Rows for points where nothing is known of what will be built: two sheets of paper."""

SKETCH_MM, ENLARGED = (94.0, 80.0), 1.6
"""Size of the sketch as it is drawn, and how much larger it is printed: letters to be read at arm's length. It is not
to scale."""

SKETCH_EDGE_MM = 13.0

CHALK = re.compile(r"\bchalk ([A-Z])\b")
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True)
class House:
    """The property that a form is made for."""

    record: PropertyRecord
    solution: Solution


def blank_sheet_pdf(
    house: House | None, components: Sequence[Component], profile: Profile, today: date, paper: str
) -> bytes:
    """Set the form.

    Parameters
    ----------
    house
        None = the property is not in the record yet: blank lines for its name, squared paper for the sketch.
    components
        What will be built; none = rows without names.
    paper
        One of `PAPERS_MM`; the form lies across it.

    Raises
    ------
    SheetPdfError
        If it cannot be set: a fault of ours.
    """
    record = None if house is None else house.record
    rows = list(point_rows(record, components, profile))
    levels = list(level_rows(rows, components, profile))
    marks = {} if house is None else chalk_letters(house.record)
    height, width = PAPERS_MM[paper]
    data: dict[str, Any] = {
        "title": f"Field sheet: {shortened(record.property.name, 60) if record else 'blank'}",
        "size": [width, height],
        "property": _particulars(record),
        "units": record.property.units if record else "",
        "marks": [[letter, shortened(name, 40), shortened(told, 80)] for name, (letter, told) in marks.items()],
        "sketch": None if house is None else _sketch(house, marks, today),
        "sketch_size": [ENLARGED * each for each in SKETCH_MM],
        "keys": [
            [key, shortened(what, 60), _known(record, key)] for key, what in property_keys(components, profile).items()
        ],
        "points": [_point(row) for row in rows] + [_point(PointRow("", "", 2, photo=False))] * _spare(rows),
        "levels": [_level(row) for row in levels] + [_level(LevelRow("", ""))] * SPARE_LEVELS,
        "components": [[shortened(each.name, 60), list(columns_of(each, profile))] for each in components],
        "readings": [
            [shortened(row.component, 50), row.reading, row.meaning] for row in reading_rows(components, profile)
        ]
        + [["", "", ""]] * SPARE_READINGS,
        "rule": f"Asked for by: {profile.title}. {profile.local_code}",
        "cautions": list(CAUTIONS),
    }
    return render_pdf("blank_sheet", data, FAMILIES[paper])


def _spare(rows: Sequence[PointRow]) -> int:
    return SPARE_POINTS if rows else BARE_POINTS


def chalk_letters(record: PropertyRecord) -> dict[str, tuple[str, str]]:
    """Give each reference point that stands the letter that is chalked beside it, and its description.

    The letter of its description ("chalk B: ...") where it has one, its own name where that is short, else the next
    one that is free.
    """
    standing = [each for each in record.reference_points if each.gone_on is None]
    own: dict[str, str] = {}
    for each in standing:
        match = CHALK.search(each.description or "")
        letter = match[1] if match else each.name if len(each.name) <= 2 else ""
        if letter and letter not in own.values():
            own[each.name] = letter
    spare = iter([*(x for x in LETTERS if x not in own.values()), *(f"{x}2" for x in LETTERS), *map(str, range(1000))])
    return {each.name: (own.get(each.name) or next(spare), each.description or "") for each in standing}


def _sketch(house: House, marks: dict[str, tuple[str, str]], today: date) -> list[int] | None:
    """Draw the house with its letters, north or the first wall up; None where no wall is located."""
    whole = build_scene(house.record, house.solution, None, today)
    if not whole.buildings:
        return None
    letters = tuple(replace(each, name=marks[each.name][0]) for each in whole.marks if each.name in marks)
    scene = Scene(whole.north_up, whole.buildings, marks=letters, walls=whole.walls)
    extent = scene.extent(near=True)
    if extent is None:
        return None
    left, bottom, right, top = extent
    width, height = SKETCH_MM
    size = (max(right - left, 0.1), max(top - bottom, 0.1))
    ratio = max(1000 * m / (mm - 2 * SKETCH_EDGE_MM) for m, mm in zip(size, SKETCH_MM, strict=True))
    window = Window((0.0, 0.0, width, height), ((left + right) / 2, (bottom + top) / 2), Scale("sketch", ratio))
    plan = draw_plan(scene, window, detail=True)
    return list(document(plan.parts, width, height, "Sketch").encode())


def _particulars(record: PropertyRecord | None) -> list[list[str]]:
    place = record.property if record else None
    known = {
        "name": place.name if place else None,
        "address": place.address if place else None,
        "permit": place.permit if place else None,
        "authority": place.authority if place else None,
        "units": place.units if place else None,
    }
    return [[key, shortened(said, 70)] for key, said in known.items()]


def _known(record: PropertyRecord | None, key: str) -> str:
    """Give what a key of property.toml holds already."""
    value: object = None if record is None else record.property
    for part in key.split("."):
        value = getattr(value, part, None)
    return "" if value is None or isinstance(value, bool) else shortened(str(value), 60)


def _point(row: PointRow) -> dict[str, Any]:
    return {
        "component": shortened(row.component, 60),
        "point": shortened(row.point, 60),
        "note": row.note,
        "tapes": row.tapes,
        "photo": row.photo,
        "size": shortened(row.size, 12),
        "mark": shortened(row.mark, 10),
    }


def _level(row: LevelRow) -> list[str]:
    return [shortened(row.on, 90), row.to]

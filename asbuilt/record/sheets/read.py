"""Field sheets in: from a folder of plain files or a workbook to the record of one property, or every problem."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, TypeVar, cast

from asbuilt.errors import Problem, SheetError
from asbuilt.findings import Finding
from asbuilt.model.access import Access, Panel
from asbuilt.model.components import Component, Point, full_name
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.handover import Drawing, Inspection
from asbuilt.model.household import Household
from asbuilt.model.levels import Benchmark, LevelShot
from asbuilt.model.measurements import KnownCoordinate, Offset, Tie, Wall
from asbuilt.model.photos import Photo
from asbuilt.model.place import Earth, Measured, Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.rule_files import RuleFile
from asbuilt.model.sightings import Sighting
from asbuilt.model.site_readings import SiteReading
from asbuilt.model.tasks import OwnTask
from asbuilt.record.profiles import gather_own
from asbuilt.record.sheets.cells import Turn
from asbuilt.record.sheets.checks import (
    check_components,
    check_contrary_sides,
    check_coordinates,
    check_earth,
    check_ground,
    check_household,
    check_offsets,
    check_sides,
    check_tapes,
    tape_readings,
)
from asbuilt.record.sheets.columns import PROPERTY, SHEET_NAMES, SHEETS, TAPES
from asbuilt.record.sheets.drafts import leave_out, refuse_without_names
from asbuilt.record.sheets.files import Notes
from asbuilt.record.sheets.levels import check_levels
from asbuilt.record.sheets.names import resolve_names
from asbuilt.record.sheets.photos import SheetPhoto, check_photos
from asbuilt.record.sheets.readings import check_access, check_readings
from asbuilt.record.sheets.rows import Row, Sheet, read_rows
from asbuilt.record.sheets.sightings import check_sightings
from asbuilt.record.sheets.sources import Place, Source, open_source
from asbuilt.record.sheets.walks import walks_of_rows

Fact = (
    Property
    | ReferencePoint
    | Wall
    | Point
    | Tie
    | Offset
    | KnownCoordinate
    | Component
    | Household
    | ServiceEntry
    | LevelShot
    | OwnTask
    | RuleFile
    | SiteReading
    | Photo
    | Sighting
    | Problem
)
"""What one row of a sheet says."""

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class SheetRow:
    """Where a fact was read."""

    sheet: str  #: file name, such as "points.csv"
    row: int | None  #: as a spreadsheet shows it; None = the whole of property.toml
    value: Fact  #: a row of points.csv gives its Point and a Tie for each of its tapes


@dataclass(frozen=True, slots=True)
class SheetSet:
    """What a folder of field sheets says."""

    record: PropertyRecord
    rows: tuple[SheetRow, ...]  #: every fact of the record with its place, in the order of the sheets
    notes: tuple[Finding, ...] = ()  #: what was guessed when the files were read
    photos: tuple[SheetPhoto, ...] = ()  #: the files of the record's photos


def read_sheets(place: Path) -> SheetSet:
    """Read the field sheets of one property.

    Parameters
    ----------
    place
        The folder that holds `property.toml` and the CSV sheets, other files in it are left alone; or a workbook with
        a tab a sheet.

    Returns
    -------
    SheetSet
        The record and where each of its facts stands. Names of points are full (`component/point`), and a
        side `out` names the wall that it is out of.

    Raises
    ------
    SheetError
        With every problem of every sheet, if there is any.
    """
    problems: list[Problem] = []
    notes: Notes = []
    source = open_source(place, problems)
    keys, sheets = _read_source(source, problems, notes)
    return assemble(sheets, keys, source, problems, tuple(notes))


def assemble(
    sheets: dict[str, Sheet],
    keys: dict[str, Row],
    place: Place,
    problems: list[Problem],
    notes: tuple[Finding, ...] = (),
) -> SheetSet:
    """Check the rows of all sheets against each other and make the record of them.

    Raises
    ------
    SheetError
        With every problem, those that were found before and those found here.
    """
    _check_all(place.home, sheets, keys, problems)
    rule_files = _own_rules(place.home, keys, problems)
    if problems:
        raise SheetError(_named(place, _sorted(problems)))
    rows = (*_facts(sheets, keys), *rule_files)
    return SheetSet(_record(rows), _placed(place, rows), notes, _photos(sheets))


def read_draft(place: Path) -> tuple[SheetSet, tuple[Problem, ...]]:
    """Read what can be taken of half-filled sheets, and say what was left out.

    Returns
    -------
    tuple
        The good rows of a property that is marked as a draft, and every problem, in the order of the sheets. The
        problems are facts of the set too, so that they are kept beside the readings.

    Raises
    ------
    SheetError
        If not even a draft can be made: see `refuse_without_names`.
    """
    problems: list[Problem] = []
    notes: Notes = []
    source = open_source(place, problems)
    keys, sheets = _read_source(source, problems, notes)
    _check_all(source.home, sheets, keys, problems)
    refuse_without_names(sheets, keys, _named(source, _sorted(problems)))
    told = dict.fromkeys(problems)
    while leave_out(sheets, keys, problems):
        problems = []
        _check_all(source.home, sheets, keys, problems)
        told |= dict.fromkeys(problems)
    problems = []
    rule_files = _own_rules(source.home, keys, problems)
    if problems:
        keys[""].values.pop("rules", None)
        rule_files = []
    left_out = _named(source, _sorted([*told, *problems]))
    facts = (*_facts(sheets, keys, draft=True), *rule_files)
    rows = (*_placed(source, facts), *(SheetRow(each.file, each.row, each) for each in left_out))
    return SheetSet(_record(rows), rows, tuple(notes), _photos(sheets)), tuple(left_out)


def _named(place: Place, problems: Iterable[Problem]) -> list[Problem]:
    """Name each sheet as the user knows it: a file, or a tab of the workbook."""
    return [replace(each, file=place.shown_as(each.file)) if each.file in SHEET_NAMES else each for each in problems]


def _placed(place: Place, rows: Iterable[SheetRow]) -> tuple[SheetRow, ...]:
    return tuple(replace(row, sheet=place.shown_as(row.sheet)) if row.sheet in SHEET_NAMES else row for row in rows)


def _read_source(source: Source, problems: list[Problem], notes: Notes) -> tuple[dict[str, Row], dict[str, Sheet]]:
    keys = source.keys(problems, notes) if source.has(PROPERTY) else _no_property(source, problems)
    unit = keys[""].get("units")
    return keys, {name: _read_sheet(source, name, unit, problems, notes) for name in SHEETS}


def _no_property(source: Source, problems: list[Problem]) -> dict[str, Row]:
    accepted = 'write at least name = "..." and units = "ft-in", "ft" or "m"'
    problems.append(Problem(PROPERTY, None, None, "is missing", source.hint or accepted))
    return {"": Row(PROPERTY, None)}


def _read_sheet(source: Source, name: str, unit: str | None, problems: list[Problem], notes: Notes) -> Sheet:
    if not source.has(name):
        return Sheet(name)
    table = source.table(name, problems, notes)
    if table is None:
        return Sheet(name, present=True, readable=False)
    return read_rows(name, table, SHEETS[name], unit, problems)


def _own_rules(folder: Path, keys: dict[str, Row], problems: list[Problem]) -> list[SheetRow]:
    rules = keys[""].get("rules")
    files = [] if rules is None else gather_own(folder, rules, problems)
    return [SheetRow(each.name, None, each) for each in files]


def _sorted(problems: Iterable[Problem]) -> list[Problem]:
    return sorted(dict.fromkeys(problems), key=_in_order)


def _check_all(folder: Path, sheets: dict[str, Sheet], keys: dict[str, Row], problems: list[Problem]) -> None:
    earth = keys.get("earth")
    check_earth(keys, bool(sheets["known_coordinates.csv"].rows), problems)
    check_coordinates(sheets["known_coordinates.csv"].rows, problems)
    names = resolve_names(sheets, earth, problems)
    check_levels(sheets["levels.csv"], keys.get("benchmark"), names, problems)
    check_access(keys.get("access"), names, problems)
    check_readings(sheets["readings.csv"].rows, keys[""].get("units"), problems)
    check_sightings(sheets["sightings.csv"].rows, names, problems)
    walks = walks_of_rows(sheets["walls.csv"].rows, problems)
    readings = tape_readings(sheets)
    check_ground(sheets, names, readings, problems)
    check_tapes(sheets, readings, problems)
    has_azimuth = earth is not None and not earth.blank("azimuth_deg")
    check_sides(sheets, readings, walks, has_azimuth, problems)
    check_contrary_sides(sheets, problems)
    check_offsets(sheets["offsets.csv"].rows, walks, problems)
    check_components(sheets["components.csv"].rows, problems)
    check_household(sheets["household.csv"].rows, problems)
    check_photos(folder, sheets, names, problems)


def _in_order(problem: Problem) -> tuple[int, int, int]:
    """Order problems as a person goes through the sheets: by file, row and column."""
    if problem.file not in SHEETS:
        return (0 if problem.file == PROPERTY else -1, 0, 0)
    columns = [column.name for column in SHEETS[problem.file]]
    place = columns.index(problem.column) if problem.column in columns else -1
    return (1 + list(SHEETS).index(problem.file), problem.row or 0, place)


def _facts(sheets: dict[str, Sheet], keys: dict[str, Row], *, draft: bool = False) -> list[SheetRow]:
    """Make the facts of all rows."""
    parts: dict[str, object] = {"draft": draft}
    parts |= {table: _build(cls, keys[table]) for table, cls in _TABLES.items() if table in keys}
    facts = [SheetRow(PROPERTY, None, _build(Property, keys[""], **parts))]
    for name, make in _MAKERS.items():
        for row in sheets[name].rows:
            facts += [SheetRow(name, row.number, value) for value in make(row)]
    return facts


def _build(cls: Callable[..., _T], row: Row, **given: object) -> _T:
    """Make a value of the model from a row whose columns are its fields; empty cells leave the defaults."""
    values = {}
    for each in fields(cast(Any, cls)):
        value = given.get(each.name, row.get(each.name.rstrip("_")))
        if value is not None and value != "":
            values[each.name] = value
    return cls(**values)


def _one(cls: Callable[..., Fact]) -> Callable[[Row], list[Fact]]:
    return lambda row: [_build(cls, row)]


def _wall(row: Row) -> list[Fact]:
    turn = row.get("turn") or Turn("?", None)  # empty: the last wall of an open walk
    return [Wall(row.get("from"), row.get("to"), row.get("length"), turn.as_read, turn.degrees)]


def _point_and_ties(row: Row) -> list[Fact]:
    facts: list[Fact] = [_build(Point, row)]
    name = full_name(row.get("component"), row.get("point"))
    for tape in TAPES:
        if row.get(f"from{tape}") is not None:  # then its reading is there too
            ends = {"from_": row.get(f"from{tape}"), "to": name, "distance": row.get(f"tape{tape}")}
            facts.append(_build(Tie, row, **ends))
    return [*facts, *_photo(row)]


def _photo(row: Row) -> list[Fact]:
    taken: SheetPhoto | None = row.get("taken")
    return [] if taken is None else [taken.photo]


def _photos(sheets: dict[str, Sheet]) -> tuple[SheetPhoto, ...]:
    rows = (row for name in ("points.csv", "photos.csv") for row in sheets[name].rows)
    return tuple(taken for row in rows if (taken := row.get("taken")) is not None)


def _known_coordinate(row: Row) -> list[Fact]:
    place = row.get("latitude"), row.get("longitude")  # both empty where a projected system gives it
    more = {key: row.get(key) for key in ("source", "on", "epsg", "easting", "northing", "height")}
    return [KnownCoordinate(row.get("point"), *place, row.get("accuracy_m"), **more)]


_TABLES: dict[str, Callable[..., object]] = {
    "measured": Measured,
    "earth": Earth,
    "benchmark": Benchmark,
    "access": Access,
    "panel": Panel,
    "inspection": Inspection,
    "drawing": Drawing,
}
"""What each table of property.toml is made into."""

_MAKERS: dict[str, Callable[[Row], list[Fact]]] = {
    "reference_points.csv": _one(ReferencePoint),
    "walls.csv": _wall,
    "points.csv": _point_and_ties,
    "ties.csv": _one(Tie),
    "offsets.csv": _one(Offset),
    "known_coordinates.csv": _known_coordinate,
    "components.csv": _one(Component),
    "household.csv": _one(Household),
    "service.csv": _one(ServiceEntry),
    "levels.csv": _one(LevelShot),
    "tasks.csv": _one(OwnTask),
    "readings.csv": _one(SiteReading),
    "photos.csv": _photo,
    "sightings.csv": _one(Sighting),
}


def _record(rows: tuple[SheetRow, ...]) -> PropertyRecord:
    """Put the facts together by kind."""

    def of(cls: type[_T]) -> tuple[_T, ...]:
        return tuple(row.value for row in rows if isinstance(row.value, cls))

    (place,) = of(Property)
    return PropertyRecord(
        place,
        of(ReferencePoint),
        of(Wall),
        of(Point),
        of(Tie),
        of(Offset),
        of(KnownCoordinate),
        of(Component),
        of(Household),
        of(ServiceEntry),
        of(LevelShot),
        of(OwnTask),
        of(RuleFile),
        of(SiteReading),
        of(Photo),
        of(Sighting),
        of(Problem),
    )

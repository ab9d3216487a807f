"""Field sheets in: from a folder of plain files to the record of one property, or every problem in it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, TypeVar, cast

from asbuilt.errors import Problem, SheetError
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
from asbuilt.record.sheets.columns import PROPERTY, PROPERTY_KEYS, SHEET_NAMES, SHEETS, TAPES
from asbuilt.record.sheets.drafts import leave_out, refuse_without_names
from asbuilt.record.sheets.files import misnamed_files, read_table, read_toml
from asbuilt.record.sheets.levels import check_levels
from asbuilt.record.sheets.names import resolve_names
from asbuilt.record.sheets.readings import check_access, check_readings
from asbuilt.record.sheets.rows import Row, Sheet, read_keys, read_rows
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


def read_sheets(folder: Path) -> SheetSet:
    """Read a folder of field sheets.

    Parameters
    ----------
    folder
        The folder that holds `property.toml` and the CSV sheets; other files in it are left alone.

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
    keys, sheets = _read_folder(folder, problems)
    _check_all(sheets, keys, problems)
    rule_files = _own_rules(folder, keys, problems)
    if problems:
        raise SheetError(_sorted(problems))
    rows = (*_facts(sheets, keys), *rule_files)
    return SheetSet(_record(rows), rows)


def read_draft(folder: Path) -> tuple[SheetSet, tuple[Problem, ...]]:
    """Read what can be taken of a folder of half-filled sheets, and say what was left out.

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
    keys, sheets = _read_folder(folder, problems)
    _check_all(sheets, keys, problems)
    refuse_without_names(sheets, keys, _sorted(problems))
    told = dict.fromkeys(problems)
    while leave_out(sheets, keys, problems):
        problems = []
        _check_all(sheets, keys, problems)
        told |= dict.fromkeys(problems)
    problems = []
    rule_files = _own_rules(folder, keys, problems)
    if problems:
        keys[""].values.pop("rules", None)
        rule_files = []
    left_out = _sorted([*told, *problems])
    rows = (*_facts(sheets, keys, draft=True), *rule_files, *(SheetRow(each.file, each.row, each) for each in left_out))
    return SheetSet(_record(rows), rows), tuple(left_out)


def _read_folder(folder: Path, problems: list[Problem]) -> tuple[dict[str, Row], dict[str, Sheet]]:
    _check_folder(folder, problems)
    keys = _read_property(folder, problems)
    unit = keys[""].get("units")
    return keys, {name: _read_sheet(folder, name, unit, problems) for name in SHEETS}


def _own_rules(folder: Path, keys: dict[str, Row], problems: list[Problem]) -> list[SheetRow]:
    rules = keys[""].get("rules")
    files = [] if rules is None else gather_own(folder, rules, problems)
    return [SheetRow(each.name, None, each) for each in files]


def _sorted(problems: Iterable[Problem]) -> list[Problem]:
    return sorted(dict.fromkeys(problems), key=_in_order)


def _check_folder(folder: Path, problems: list[Problem]) -> None:
    """Refuse what is no folder of sheets at all; note files that are misnamed."""
    accepted = f"give the folder that holds {PROPERTY} and the sheets"
    reason = None
    try:
        if not folder.exists():
            reason = "no such folder"
        elif not folder.is_dir():
            reason = "is a file, not a folder"
        else:
            problems.extend(misnamed_files(folder, SHEET_NAMES))
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        reason = f"cannot be read ({getattr(error, 'strerror', None) or error})"
    if reason is not None:
        raise SheetError([Problem(str(folder), None, None, reason, accepted)])


def _is_there(path: Path) -> bool:
    return path.exists() or path.is_symlink()  # a link that leads nowhere is there, and is told as a problem


def _read_property(folder: Path, problems: list[Problem]) -> dict[str, Row]:
    path = folder / PROPERTY
    if not _is_there(path):
        accepted = 'write at least name = "..." and units = "ft-in", "ft" or "m"'
        problems.append(Problem(PROPERTY, None, None, "is missing", accepted))
        return {"": Row(PROPERTY, None)}
    content = read_toml(path, problems)
    return {"": Row(PROPERTY, None)} if content is None else read_keys(PROPERTY, content, PROPERTY_KEYS, problems)


def _read_sheet(folder: Path, name: str, unit: str | None, problems: list[Problem]) -> Sheet:
    path = folder / name
    if not _is_there(path):
        return Sheet(name)
    table = read_table(path, problems)
    if table is None:
        return Sheet(name, present=True, readable=False)
    return read_rows(name, table, SHEETS[name], unit, problems)


def _check_all(sheets: dict[str, Sheet], keys: dict[str, Row], problems: list[Problem]) -> None:
    earth = keys.get("earth")
    check_earth(keys, bool(sheets["known_coordinates.csv"].rows), problems)
    check_coordinates(sheets["known_coordinates.csv"].rows, problems)
    names = resolve_names(sheets, earth, problems)
    check_levels(sheets["levels.csv"], keys.get("benchmark"), names, problems)
    check_access(keys.get("access"), names, problems)
    check_readings(sheets["readings.csv"].rows, keys[""].get("units"), problems)
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
    return facts


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

"""What no single cell can tell: tapes, sides and offsets against each other and against the walls."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date

from asbuilt.errors import Problem
from asbuilt.model.components import full_name
from asbuilt.model.measurements import COMPASS, Side
from asbuilt.record.sheets.cells import shown
from asbuilt.record.sheets.columns import TAPES
from asbuilt.record.sheets.names import Names
from asbuilt.record.sheets.rows import Row, Sheet
from asbuilt.record.sheets.walks import RowWalk, Runs
from asbuilt.units import Length


@dataclass(frozen=True, slots=True)
class Reading:
    """One taped distance, from `points.csv` or `ties.csv`."""

    row: Row
    column: str  #: where its length stands
    from_: str
    to: str
    length: Length | None  #: None = unreadable

    @property
    def pair(self) -> frozenset[str]:
        """The two names; a tape has no direction."""
        return frozenset((self.from_, self.to))


def point_name(row: Row) -> str | None:
    """Give the full name of the point of a row of `points.csv`; None = unreadable."""
    component, point = row.get("component"), row.get("point")
    return None if component is None or point is None else full_name(component, point)


def tape_readings(sheets: dict[str, Sheet]) -> list[Reading]:
    """Give every taped distance whose two names are known, in the order of the sheets."""
    readings = []
    for row in sheets["points.csv"].rows:
        name = point_name(row)
        for tape in TAPES:
            begin = row.get(f"from{tape}")
            if name is not None and begin is not None:
                readings.append(Reading(row, f"tape{tape}", begin, name, row.get(f"tape{tape}")))
    for row in sheets["ties.csv"].rows:
        begin, to = row.get("from"), row.get("to")
        if begin is not None and to is not None:
            readings.append(Reading(row, "distance", begin, to, row.get("distance")))
    return readings


def check_tapes(sheets: dict[str, Sheet], readings: list[Reading], problems: list[Problem]) -> None:
    """Note half tapes, tapes from a point to itself or shorter than their drop, and readings written twice."""
    for row in sheets["points.csv"].rows:
        _check_half_tapes(row, problems)
    for reading in readings:
        if reading.from_ == reading.to:
            column = "to" if reading.column == "distance" else reading.column.replace("tape", "from")
            reason = f"a tape from {shown(reading.from_)} to itself"
            problems.append(reading.row.problem(column, reason, "name its two ends"))
        else:
            _check_drop(reading, problems)
    _check_copies([each for each in readings if each.from_ != each.to], problems)


def _check_copies(readings: list[Reading], problems: list[Problem]) -> None:
    """Note readings written twice; two in `ties.csv` with different notes or days are two pulls of the tape."""
    seen: dict[tuple[object, ...], Reading] = {}
    for reading in readings:
        if reading.length is None:
            continue
        key = (reading.pair, reading.length.metres)
        day = reading.row.get("on") if reading.column == "distance" else None
        own = (*key, reading.row.get("note"), day) if reading.column == "distance" else key
        earlier = seen.get(own) or (seen.get(key) if day is None else None)  # of another day it is another reading
        seen.setdefault(own, reading)
        if earlier is not None:
            tape = f"{shown(reading.length.as_read)} from {shown(reading.from_)} to {shown(reading.to)}"
            reason = f"{tape} stands already in {earlier.row.place}"
            accepted = "write each reading once; one taped twice goes into ties.csv, with a note"
            problems.append(reading.row.problem(reading.column, reason, accepted))


def _check_half_tapes(row: Row, problems: list[Problem]) -> None:
    tapes = [tape for tape in TAPES if not row.blank(f"from{tape}") or not row.blank(f"tape{tape}")]
    for tape in tapes:
        for empty, filled in ((f"from{tape}", f"tape{tape}"), (f"tape{tape}", f"from{tape}")):
            if row.blank(empty):
                reason = f"is empty, but {filled} is {shown(row.raw.get(filled, '?'))}"
                problems.append(row.problem(empty, reason, "fill both or neither"))
    if not tapes:
        for column in ("side", "held", "drop"):
            if not row.blank(column):
                reason = f"{shown(row.raw.get(column, '?'))} stands in a row without a tape"
                problems.append(row.problem(column, reason, "write it in ties.csv beside the tape it belongs to"))


def _check_drop(reading: Reading, problems: list[Problem]) -> None:
    """Note a tape that would have to be shorter than its own drop."""
    drop: Length | None = reading.row.get("drop")
    if drop is None or reading.length is None or reading.row.get("held") == "level":
        return
    if drop.metres >= reading.length.metres:
        reason = f"{shown(drop.as_read)} is not less than {reading.column} {shown(reading.length.as_read)}"
        problems.append(reading.row.problem("drop", reason, "a tape held on a slope is longer than its drop"))


def check_sides(
    sheets: dict[str, Sheet],
    readings: list[Reading],
    walks: list[RowWalk],
    has_azimuth: bool,
    problems: list[Problem],
) -> None:
    """Note sides that tapes, walls or `[earth]` do not carry, and give `out` the wall that it means."""
    taped: dict[str, dict[str, None]] = {}
    runs = Runs(walks)
    walls = [row for walk in walks for row in walk.rows if row.get("from") and row.get("to")]
    ends = [(each.from_, each.to) for each in readings] + [(row.get("from"), row.get("to")) for row in walls]
    for begin, to in ends:
        taped.setdefault(begin, {})[to] = None
        taped.setdefault(to, {})[begin] = None
    for row in (*sheets["points.csv"].rows, *sheets["ties.csv"].rows):
        point = row.get("to") if row.sheet == "ties.csv" else point_name(row)
        side: Side | None = row.get("side")
        if side is None or point is None:
            continue
        others = list(taped.get(point, ()))
        if side.word == "out":
            _place_out(row, point, others, runs, problems)
        else:
            _check_side(row, point, side, others, has_azimuth, problems)


def _check_side(
    row: Row, point: str, side: Side, others: list[str], has_azimuth: bool, problems: list[Problem]
) -> None:
    strange = [name for name in (side.a, side.b) if name not in others]
    if side.a == side.b:
        problems.append(row.problem("side", f"{shown(str(side))} names one place twice", "name two places"))
    elif strange:
        reason = f"{shown(point)} was not taped from {' or '.join(shown(str(name)) for name in strange)}"
        listed = ", ".join(map(shown, others[:8])) or "none"
        problems.append(row.problem("side", reason, f"name two of those that it was taped from: {listed}"))
    elif side.word in COMPASS and not has_azimuth:
        reason = f"{shown(str(side))} needs a direction, and property.toml has no [earth] azimuth_deg"
        problems.append(row.problem("side", reason, "write left of A > B or right of A > B, or give the azimuth"))


def _place_out(row: Row, point: str, others: list[str], runs: Runs, problems: list[Problem]) -> None:
    """Name the wall of `out`: as written, else by the row's first two tapes, else all its tapes, or the point's."""
    side: Side = row.get("side")
    if side.a is not None:
        _check_wall_of_out(row, side, runs, problems)
        return
    own = [row.get(f"from{tape}") for tape in TAPES] if row.sheet == "points.csv" else [row.get("from")]
    own = [name for name in own if name is not None]
    found: list[tuple[str, str]] = []
    for corners in (own[:2], own, others):
        found = found or runs.through(corners)
    if row.sheet == "ties.csv" and len(found) > 1:  # a long-form row means the wall that its own tape came from
        found = [run for run in found if own and own[0] in run] or found
    if len(found) == 1:
        row.values["side"] = Side("out", *found[0])
        return
    if found:
        several = " or ".join(f"{shown(a)} > {shown(b)}" for a, b in found[:4])
        reason = f"“out” may be out of {several}"
    elif runs.unreadable:
        return  # the wall may be one of those that could not be read
    else:
        reason = f"“out”, but {shown(point)} was not taped from the two ends of one wall of a closed walk"
    problems.append(row.problem("side", reason, "write left of A > B or right of A > B"))


def _check_wall_of_out(row: Row, side: Side, runs: Runs, problems: list[Problem]) -> None:
    """Note where `out of A > B` names what is not one wall of a closed walk; put its ends in walking order."""
    found = runs.through((str(side.a), str(side.b)))
    if len(found) == 1:
        row.values["side"] = Side("out", *found[0])
    elif not runs.unreadable:
        reason = f"“out”, but {shown(str(side.a))} and {shown(str(side.b))} are not on one wall of a closed walk"
        problems.append(row.problem("side", reason, "write left of A > B or right of A > B"))


def check_contrary_sides(sheets: dict[str, Sheet], problems: list[Problem]) -> None:
    """Note a point that stands left of a line in one row and right of it in another."""
    seen: dict[tuple[str, str, str], tuple[bool, Row]] = {}
    for row in (*sheets["points.csv"].rows, *sheets["ties.csv"].rows):
        point = row.get("to") if row.sheet == "ties.csv" else point_name(row)
        side: Side | None = row.get("side")
        if point is None or side is None or side.word not in ("left", "right") or not side.a or not side.b:
            continue
        first, second = sorted((side.a, side.b))
        is_left = (side.word == "left") == (side.a == first)
        earlier, place = seen.setdefault((point, first, second), (is_left, row))
        if earlier != is_left:
            reason = f"{shown(str(side))} is contrary to {shown(str(place.get('side')))} in {place.place}"
            problems.append(row.problem("side", reason, f"{shown(point)} lies on one side of a line"))


def check_offsets(rows: list[Row], walks: list[RowWalk], problems: list[Problem]) -> None:
    """Note offsets without a wall, without a hand, or written twice."""
    seen: dict[tuple[object, ...], Row] = {}
    runs = Runs(walks)
    for row in rows:
        begin, end, point = row.get("wall_from"), row.get("wall_to"), row.get("point")
        if begin is None or end is None:
            continue
        if begin == end:
            reason = f"a wall from {shown(begin)} to itself"
            problems.append(row.problem("wall_to", reason, "name the two ends of the wall"))
        elif point in (begin, end):
            reason = f"{shown(point)} is an end of the wall that it is measured from"
            problems.append(row.problem("point", reason, "name another point"))
        elif row.blank("hand") and not runs.unreadable and not runs.through((begin, end), handed=True):
            reason = (
                f"is empty, but {shown(begin)} and {shown(end)} do not end one wall of a closed walk with known turns"
            )
            accepted = f"accepted: left or right, looking from {shown(begin)} to {shown(end)}"
            problems.append(row.problem("hand", reason, accepted))
        key = tuple(row.get(each) for each in ("wall_from", "wall_to", "point", "along", "out", "hand"))
        earlier = seen.setdefault(key, row)
        if earlier is not row and not row.bad:
            reason = f"the same offset stands already in row {earlier.number}"
            problems.append(row.problem(None, reason, "write each reading once"))


def check_ground(sheets: dict[str, Sheet], names: Names, readings: list[Reading], problems: list[Problem]) -> None:
    """Note what any position needs: the sheets, and one length between two reference points."""
    if not sheets["reference_points.csv"].present:
        reason = "is missing"
        accepted = "write a sheet with the heading name and the points that one measures from"
        problems.append(Problem("reference_points.csv", None, None, reason, accepted))
    if not sheets["points.csv"].present and not sheets["ties.csv"].present:
        accepted = "write points.csv (one row a point) or ties.csv (one row a tape)"
        problems.append(Problem("points.csv", None, None, "is missing, and so is ties.csv", accepted))
    measured = ("reference_points.csv", "walls.csv", "ties.csv")
    if not all(sheets[each].readable for each in measured) or sheets["walls.csv"].rows:
        return
    between = any(each.from_ in names.references and each.to in names.references for each in readings)
    if not between and not any(row.bad for row in sheets["ties.csv"].rows):
        reason = "no wall, and no tie between two reference points in ties.csv"
        accepted = "tape one wall, or one distance between two reference points"
        problems.append(Problem("walls.csv", None, None, reason, accepted))


def check_earth(rows: dict[str, Row], has_coordinates: bool, problems: list[Problem]) -> None:
    """Note where `[earth]` is half given."""
    earth = rows.get("earth")
    if earth is None:
        return
    _check_together(earth, ("reference", "latitude", "longitude", "accuracy_m"), (), problems)
    _check_together(earth, ("wall_from", "wall_to", "azimuth_deg"), ("north", "azimuth_sigma_deg"), problems)
    if earth.get("wall_from") is not None and earth.get("wall_from") == earth.get("wall_to"):
        problems.append(earth.problem("wall_to", "is wall_from again", "name the other end of the wall"))
    if earth.get("north") != "magnetic":
        return
    measured = rows.get("measured")
    if measured is None or measured.blank("on"):
        reason = "“magnetic” needs the day of the reading: the compass needle wanders"
        problems.append(earth.problem("north", reason, "write on = ... under [measured]"))
    if earth.blank("latitude") and not has_coordinates:
        reason = "“magnetic” needs a place: the needle points elsewhere in another country"
        problems.append(earth.problem("north", reason, "give reference, latitude, longitude and accuracy_m"))


def _check_together(row: Row, keys: tuple[str, ...], others: tuple[str, ...], problems: list[Problem]) -> None:
    given = [key for key in (*keys, *others) if not row.blank(key)]
    for key in keys:
        if given and row.blank(key):
            reason = f"is missing, but {given[0]} is given"
            problems.append(row.problem(key, reason, f"{', '.join(keys[:-1])} and {keys[-1]} belong together"))


def check_coordinates(rows: list[Row], problems: list[Problem]) -> None:
    """Note known coordinates that give no place, half a place, or two."""
    degrees, grid = ("latitude", "longitude"), ("epsg", "easting", "northing")
    for row in rows:
        given = [key for key in (*degrees, *grid) if not row.blank(key)]
        by = [pair for pair in (degrees, grid) if any(key in pair for key in given)]
        if not by:
            accepted = "fill latitude and longitude, or epsg, easting and northing"
            problems.append(row.problem(None, "has no place on the earth", accepted))
        elif len(by) == 2:
            written = f"{given[-1]} is {shown(row.raw.get(given[-1], '?'))} beside {given[0]}"
            problems.append(row.problem(given[-1], written, "write the one place or the other, not both"))
        else:
            for key in by[0]:
                if row.blank(key):
                    accepted = f"{', '.join(by[0][:-1])} and {by[0][-1]} belong together"
                    problems.append(row.problem(key, f"is empty, but {given[0]} is given", accepted))


def check_components(rows: list[Row], problems: list[Problem]) -> None:
    """Note two components of one name that stand at one time, and replacements of nothing."""
    _check_stretches(rows, "name", "installed_on", "removed_on", _is_one_name, problems)
    for row in rows:
        name = row.get("name")
        alone = all(other is row or other.get("name") != name for other in rows)
        if name is not None and row.get("replaces") == name and alone:
            reason = f"{shown(name)} replaces itself"
            problems.append(row.problem("replaces", reason, "write a row for the one before, with removed_on"))


def _is_one_name(name: str, earlier: Row) -> tuple[str, str]:
    reason = f"{shown(name)} stands already in row {earlier.number}, and both would be in the ground at one time"
    return reason, "give each its own name, or removed_on to the one and installed_on to the other"


def check_household(rows: list[Row], problems: list[Problem]) -> None:
    """Note stretches of one building that overlap."""
    _check_stretches(rows, "building", "from", "to", _is_one_building, problems)


def _is_one_building(building: str, earlier: Row) -> tuple[str, str]:
    of = f" of {shown(building)}" if building else ""
    return (
        f"the stretch overlaps row {earlier.number}{of}",
        "end the earlier one with `to` on the day of the change",
    )


def _check_stretches(
    rows: Iterable[Row],
    name: str,
    begin: str,
    end: str,
    explain: Callable[[str, Row], tuple[str, str]],
    problems: list[Problem],
) -> None:
    """Note stretches of time that end before they begin, and those of one name that overlap.

    A stretch holds from the day `begin` up to but without the day `end`; an empty day leaves it open.
    """
    groups: dict[str, list[Row]] = {}
    for row in rows:
        first, last = row.get(begin), row.get(end)
        if first is not None and last is not None and last <= first:
            reason = f"{last} is not after {begin} {first}"
            problems.append(row.problem(end, reason, "the day on which it no longer holds comes later"))
        if not row.bad & {name, begin, end}:
            groups.setdefault((row.get(name) or "").casefold(), []).append(row)
    for group in groups.values():
        in_order = sorted(group, key=lambda row: row.get(begin) or date.min)
        latest = in_order[0]
        for row in in_order[1:]:
            if (latest.get(end) or date.max) > (row.get(begin) or date.min):
                later, earlier = sorted((latest, row), key=lambda each: -(each.number or 0))
                problems.append(later.problem(None, *explain(later.get(name) or "", earlier)))
            if (row.get(end) or date.max) > (latest.get(end) or date.max):
                latest = row

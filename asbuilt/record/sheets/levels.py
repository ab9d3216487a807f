"""Rod readings across the sheets: what the rod stood on, one reading a row, and the benchmark among them."""

from collections.abc import Collection

from asbuilt.errors import Problem
from asbuilt.record.sheets.cells import CellError, did_you_mean, shown
from asbuilt.record.sheets.names import Names
from asbuilt.record.sheets.rows import Row, Sheet

SIGHTS = ("backsight", "foresight")

MOST_SHOTS = 2000
"""Readings of one property; a large one takes a tenth of it, and all of them are solved together."""


def check_levels(sheet: Sheet, benchmark: Row | None, names: Names, problems: list[Problem]) -> None:
    """Replace names in `levels.csv` and `[benchmark]` by full names, and note rows that cannot be one reading."""
    if len(sheet.rows) > MOST_SHOTS:
        accepted = f"accepted: at most {MOST_SHOTS:,} of one property"
        problems.append(Problem(sheet.name, None, None, f"holds {len(sheet.rows):,} readings", accepted))
        return
    turning_points = _turning_points(sheet.rows)
    if benchmark is not None and benchmark.get("on") is not None:
        turning_points.add(benchmark.get("on"))
    for row in sheet.rows:
        _resolve(row, names, turning_points, problems)
        _check_sights(row, problems)
    _check_copies(sheet.rows, problems)
    if benchmark is not None and sheet.present and sheet.readable:
        _check_benchmark(benchmark, sheet.rows, names, turning_points, problems)


def _turning_points(rows: list[Row]) -> set[str]:
    """Names that were shot from two set-ups or more; one that stands in one set-up only may be a slip of the pen."""
    setups: dict[str, set[str]] = {}
    for row in rows:
        if row.get("on") is not None and row.get("setup") is not None:
            setups.setdefault(row.get("on"), set()).add(row.get("setup"))
    return {name for name, where in setups.items() if len(where) > 1}


def _resolve(row: Row, names: Names, turning_points: Collection[str], problems: list[Problem]) -> None:
    if row.get("on") is not None:
        try:
            row.values["on"] = names.find_levelled(row.get("on"), turning_points)
        except CellError as error:
            problems.append(row.problem("on", error.reason, error.accepted))


def _check_sights(row: Row, problems: list[Problem]) -> None:
    """Note rows with no reading or with two."""
    if all(row.blank(sight) for sight in SIGHTS):
        problems.append(row.problem("backsight", "is empty, and so is foresight", "write the reading in one of them"))
    elif not any(row.blank(sight) for sight in SIGHTS):
        reason = f"{shown(row.raw.get('foresight', '?'))} stands beside a backsight"
        accepted = "one reading a row: a turning point has two rows, its foresight from one set-up and its backsight"
        problems.append(row.problem("foresight", reason, f"{accepted} from the next"))


def _check_copies(rows: list[Row], problems: list[Problem]) -> None:
    """Note readings written twice; two with different notes are two readings."""
    seen: dict[tuple[object, ...], Row] = {}
    for row in rows:
        if row.bad:
            continue
        sight = "foresight" if row.blank("backsight") else "backsight"
        key = (sight, row.get(sight), *(row.get(each) for each in ("setup", "on", "to", "day", "note")))
        earlier = seen.setdefault(key, row)
        if earlier is not row:
            reason = f"the same {sight} stands already in row {earlier.number}"
            problems.append(row.problem(None, reason, "write each reading once; one read twice gets a note"))


def _check_benchmark(
    row: Row, shots: list[Row], names: Names, turning_points: Collection[str], problems: list[Problem]
) -> None:
    """Note a benchmark on whose mark or top no rod stood."""
    if row.get("on") is None:
        return
    written = row.get("on")
    try:
        row.values["on"] = names.find_levelled(written, turning_points)
    except CellError as error:
        problems.append(row.problem("on", error.reason, error.accepted))
        return
    at_top = [each for each in shots if each.get("to") in (None, "top")]
    shot = {each.get("on") for each in at_top} | {each.raw.get("on") for each in at_top}
    if row.get("on") not in shot and not any("on" in each.bad for each in shots):
        accepted = did_you_mean(written, filter(None, shot), "name what the first backsight stood on")
        problems.append(row.problem("on", f"{shown(written)} was not shot in levels.csv", accepted))

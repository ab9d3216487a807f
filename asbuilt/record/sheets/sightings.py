"""Sightings across the sheets: the tapes of a mark in pairs, off which way, and none written twice."""

from asbuilt.errors import Problem
from asbuilt.model.sightings import parse_toward
from asbuilt.record.sheets.cells import CellError, shown
from asbuilt.record.sheets.names import Names
from asbuilt.record.sheets.rows import Row

_ZERO_M = 1e-9


def check_sightings(rows: list[Row], names: Names, problems: list[Problem]) -> None:
    """Note rows of `sightings.csv` that cannot be, and give each `toward` its full name.

    Parameters
    ----------
    rows
        The rows; their `toward` is replaced by how it is stored.
    names
        The names of the folder.
    problems
        Where what is wrong is noted.
    """
    seen: dict[tuple[object, object], Row] = {}
    for row in rows:
        _check_mark(row, problems)
        _check_toward(row, names, problems)
        earlier = seen.setdefault((row.get("point"), row.get("on")), row)
        if earlier is not row and not row.bad and row.get("point") is not None:
            reason = f"{shown(row.get('point'))} uncovered on {row.get('on')} stands already in row {earlier.number}"
            problems.append(row.problem(None, reason, "write one row a point and day"))


def _check_mark(row: Row, problems: list[Problem]) -> None:
    """Note half tapes, and one tape alone."""
    for tape in "12":
        for empty, filled in ((f"from{tape}", f"tape{tape}"), (f"tape{tape}", f"from{tape}")):
            if row.blank(empty) and not row.blank(filled):
                reason = f"is empty, but {filled} is {shown(row.raw.get(filled, '?'))}"
                problems.append(row.problem(empty, reason, "fill both or neither"))


def _check_toward(row: Row, names: Names, problems: list[Problem]) -> None:
    off, words = row.get("off"), row.get("toward")
    if words is None:
        if off is not None and off.metres > _ZERO_M and row.blank("toward"):
            reason = f"is empty, but off is {shown(off.as_read)}"
            problems.append(row.problem("toward", reason, "say which way: north-east, toward NAME, away from NAME"))
        return
    try:
        toward = parse_toward(words)
        if toward.name is not None:
            full = names.find(toward.name)
            row.values["toward"] = f"{'away from' if toward.away else 'toward'} {full}"
        else:
            row.values["toward"] = str(toward)
    except CellError as error:
        problems.append(row.problem("toward", error.reason, error.accepted))
    except ValueError as error:
        problems.append(row.problem("toward", f"{shown(words)} says no direction", str(error)))

"""Half-filled sheets: what has to be left out so that the good rows can be stored, and what a draft cannot do without.

Of points, ties, reference points and walls only the bad cell is left out, with what hangs on it; of every other sheet
the whole row, because a pump-out without its gallons would say something else.
"""

from collections.abc import Iterable

from asbuilt.errors import Problem, SheetError
from asbuilt.record.sheets.cells import Turn
from asbuilt.record.sheets.columns import PROPERTY, TAPES
from asbuilt.record.sheets.rows import Row, Sheet

_NEEDED = {
    "points.csv": {"component", "point"},
    "ties.csv": {"from", "to", "distance"},
    "reference_points.csv": {"name"},
    "walls.csv": {"from", "to", "length"},
}
"""Sheets whose rows can do without a cell, and the cells that they cannot do without."""

_NAMES = ("reference_points.csv", "points.csv", "components.csv")
"""Sheets that say what the names in all others mean."""


def refuse_without_names(sheets: dict[str, Sheet], keys: dict[str, Row], problems: list[Problem]) -> None:
    """Refuse sheets of which not even a draft can be made.

    Raises
    ------
    SheetError
        If the property's name or units are not known, or a sheet of names is missing or has no headings.
    """
    nameless = keys[""].get("name") is None or keys[""].get("units") is None
    unreadable = [name for name in _NAMES if not sheets[name].readable]
    if nameless or unreadable or not sheets["reference_points.csv"].present:
        what = f"name and units in {PROPERTY}, and the headings of {', '.join(_NAMES[:-1])} and {_NAMES[-1]}"
        mend = Problem("--draft", None, None, f"even a draft needs {what}", "mend these first")
        raise SheetError([*problems, mend])


def leave_out(sheets: dict[str, Sheet], keys: dict[str, Row], problems: Iterable[Problem]) -> bool:
    """Take out of the sheets what could not be taken, so that the rest can be checked again.

    Returns
    -------
    bool
        Whether anything was taken out; what then refers to it is found by the next check.
    """
    whole = {(each.file, each.row) for each in problems if each.column is None and each.row is not None}
    changed = _leave_out_tables(keys)
    for sheet in sheets.values():
        if not sheet.readable:
            changed = changed or bool(sheet.rows)
            sheet.rows = []
        kept = [row for row in sheet.rows if (sheet.name, row.number) not in whole and _usable(row)]
        bad = [row for row in kept if row.bad]
        for row in bad:
            _without_bad_cells(row)
        changed = changed or bool(bad) or len(kept) < len(sheet.rows)
        sheet.rows = kept
    return changed


def _leave_out_tables(keys: dict[str, Row]) -> bool:
    """Leave out bad keys of the property and `[measured]`; any other table of `property.toml` is left out whole."""
    bad = [table for table, row in keys.items() if row.bad]
    for table in bad:
        if table in ("", "measured"):
            keys[table].bad.clear()
        else:
            del keys[table]
    return bool(bad)


def _usable(row: Row) -> bool:
    return not row.bad or not row.bad & _NEEDED.get(row.sheet, row.bad)


def _without_bad_cells(row: Row) -> None:
    """Empty the cells that could not be read, and those that mean nothing without them."""
    if row.sheet == "walls.csv":
        row.values["turn"] = Turn("?", None)  # the only other cell of a wall
    if row.sheet == "points.csv":
        for tape in TAPES:
            if row.bad & {f"from{tape}", f"tape{tape}"}:
                row.values.pop(f"from{tape}", None)
                row.values.pop(f"tape{tape}", None)
        if all(row.get(f"from{tape}") is None for tape in TAPES):
            for column in ("side", "held", "drop"):
                row.values.pop(column, None)
    row.bad.clear()

"""Readings across the sheets: the value of each by its kind and unit, none twice; and where the truck stands."""

from asbuilt.errors import LengthError, Problem
from asbuilt.model.site_readings import parse_reading
from asbuilt.record.sheets.cells import CellError, shown
from asbuilt.record.sheets.names import Names
from asbuilt.record.sheets.rows import Row


def check_readings(rows: list[Row], lengths: str | None, problems: list[Problem]) -> None:
    """Read the value of each row of `readings.csv`, and note rows that cannot be, or stand there twice.

    Parameters
    ----------
    rows
        The rows; those that can be read get `as_read`, `number` and the unit in which it is.
    lengths
        The property's units; None = unknown, because property.toml is itself refused.
    problems
        Where what is wrong is noted.
    """
    seen: dict[tuple[object, ...], Row] = {}
    for row in rows:
        if row.get("reading") is None or row.get("value") is None or "number" in row.values:
            continue
        _read_value(row, lengths, problems)
        key = tuple(row.get(each) for each in ("on", "component", "reading", "as_read", "note"))
        earlier = seen.setdefault(key, row)
        if earlier is not row and not row.bad:
            reason = f"the same {row.get('reading')} stands already in row {earlier.number}"
            problems.append(row.problem(None, reason, "write each reading once; one read twice gets a note"))


def _read_value(row: Row, lengths: str | None, problems: list[Problem]) -> None:
    value, unit = row.get("value"), row.get("unit") or ""
    try:
        number, kept_in = parse_reading(row.get("reading"), value, unit, lengths)
    except LengthError as error:
        if lengths is not None or unit:
            problems.append(row.problem("value", f"{shown(error.as_read)} {error.reason}", error.mend))
        row.bad.add("value")
    except ValueError as error:
        problems.append(row.problem("value", f"{shown(value)} cannot be read as {row.get('reading')}", str(error)))
    else:
        row.values |= {"as_read": f"{value} {unit}".strip(), "number": number, "unit": kept_in}


def check_access(access: Row | None, names: Names, problems: list[Problem]) -> None:
    """Replace the truck's stand by the full name of a point or reference point, or note why not."""
    if access is None or access.get("truck") is None:
        return
    try:
        access.values["truck"] = names.find(access.get("truck"))
    except CellError as error:
        problems.append(access.problem("truck", error.reason, error.accepted))

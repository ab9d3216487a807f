"""A given table of driving times: a CSV sheet with names along its head and its left side, minutes in the cells."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import AsbuiltError, Problem
from asbuilt.record.sheets.files import Table, read_table

ACCEPTED = "accepted: minutes of driving, such as 12.5"

MOST_MINUTES = 1440.0
"""A day; a longer drive is a slip."""

_NUMBER = re.compile(r"[0-9]+(\.[0-9]*)?|\.[0-9]+", re.ASCII)


class DrivingTimesError(AsbuiltError, ValueError):
    """A table of driving times with something wrong in it.

    Parameters
    ----------
    problems
        All problems of the table.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        count = len(self.problems)
        head = f"{count} problem{'' if count == 1 else 's'} in the table of driving times; nothing was planned"
        super().__init__("\n".join([head, *map(str, self.problems)]))


@dataclass(frozen=True, slots=True)
class DrivingTimes:
    """Driving times by name; case and runs of blanks in names do not count."""

    file: str
    seconds: dict[tuple[str, str], int]  #: from, to
    names: frozenset[str]  #: those with a row and a column

    def knows(self, name: str) -> bool:
        """Tell whether a place is in the table."""
        return folded(name) in self.names

    def table(self, names: Sequence[str]) -> tuple[tuple[int, ...], ...]:
        """Give the times between places, seconds; from a place to itself is 0.

        Raises
        ------
        DrivingTimesError
            If a cell that is needed is empty.
        """
        keys = [folded(name) for name in names]
        missing = [
            Problem(self.file, None, None, f"there is no time from {a} to {b}", ACCEPTED)
            for a, one in zip(names, keys, strict=True)
            for b, other in zip(names, keys, strict=True)
            if one != other and (one, other) not in self.seconds
        ]
        if missing:
            raise DrivingTimesError(missing)
        return tuple(tuple(0 if a == b else self.seconds[a, b] for b in keys) for a in keys)


def folded(name: str) -> str:
    """Give the form of a name in which it is compared."""
    return " ".join(name.casefold().split())


def read_driving_times(path: Path) -> DrivingTimes:
    """Read a table of driving times.

    The first row holds the names to which one drives, from its second cell on; the first cell of every other row the
    name from which one drives. Empty cells are allowed where nobody needs them.

    Raises
    ------
    DrivingTimesError
        If it cannot be read, every problem in one go.
    """
    problems: list[Problem] = []
    table = read_table(path, problems)
    if table is None:
        raise DrivingTimesError(problems)
    heads = [folded(heading) for heading in table.headings]
    rows = [folded(line.cells[0]) for line in table.lines if line.cells]
    problems += _twice(path.name, heads[1:], "column") + _twice(path.name, rows, "row")
    seconds = _cells(path.name, table, heads, problems)
    if problems:
        raise DrivingTimesError(problems)
    return DrivingTimes(path.name, seconds, frozenset(heads[1:]) & frozenset(rows))


def _twice(sheet: str, names: Sequence[str], what: str) -> list[Problem]:
    again = sorted({name for name in names if names.count(name) > 1})
    return [
        Problem(sheet, None, None, f"{name} has more than one {what}", "accepted: one of each name") for name in again
    ]


def _cells(sheet: str, table: Table, heads: Sequence[str], problems: list[Problem]) -> dict[tuple[str, str], int]:
    seconds = {}
    for line in table.lines:
        if not line.cells or not line.cells[0]:
            problems.append(Problem(sheet, line.number, None, "has no name in its first cell", "give the place's name"))
            continue
        for head, cell in zip(heads[1:], line.cells[1:], strict=False):
            if not cell:
                continue
            if not _NUMBER.fullmatch(cell) or not float(cell) <= MOST_MINUTES:
                problems.append(Problem(sheet, line.number, head, f"{cell!r} is no driving time", ACCEPTED))
                continue
            seconds[folded(line.cells[0]), head] = math.ceil(float(cell) * 60 - 1e-6)
    return seconds

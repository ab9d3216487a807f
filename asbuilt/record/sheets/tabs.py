"""One tab of a workbook as it is kept: filled cells with what the spreadsheet takes them for."""

import math
from dataclasses import dataclass, field
from enum import Enum, auto


class Kept(Enum):
    """What a spreadsheet takes a cell for."""

    TEXT = auto()
    NUMBER = auto()
    DAY = auto()  #: a date, or a date with a time
    TIME = auto()
    FLAG = auto()
    ERROR = auto()  #: a formula that failed, such as #REF!
    UNRECKONED = auto()  #: a formula whose value is not in the file
    ROUNDED = auto()  #: a number of more digits than spreadsheets keep


@dataclass(frozen=True, slots=True)
class TabCell:
    """One filled cell."""

    words: str
    kept: Kept = Kept.TEXT


@dataclass(frozen=True, slots=True)
class TabName:
    """One tab of a workbook, not yet read."""

    name: str
    hidden: bool
    part: str  #: where its cells are


@dataclass(slots=True)
class Grid:
    """The filled cells of one tab."""

    rows: dict[int, dict[int, TabCell]] = field(default_factory=dict)  #: by row from 1 and column from 0
    merged: list[str] = field(default_factory=list)  #: such as B2:B4


def number_cell(words: str) -> TabCell:
    """Give the cell of a number as a spreadsheet shows it in full: 15 figures, no trailing zeros.

    >>> number_cell("0.30000000000000004").words, number_cell("7.0").words
    ('0.3', '7')
    """
    try:
        value = float(words)
    except ValueError:
        return TabCell(words)
    if not math.isfinite(value):
        return TabCell(words)
    if abs(value) >= 1e15:
        return TabCell(f"{value:.0f}", Kept.ROUNDED)
    if value == int(value):
        return TabCell(str(int(value)), Kept.NUMBER)
    return TabCell(f"{value:.15g}", Kept.NUMBER)


def column_letters(column: int) -> str:
    """Write a column as a spreadsheet does.

    >>> column_letters(0), column_letters(27)
    ('A', 'AB')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters

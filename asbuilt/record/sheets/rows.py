"""Rows of field sheets: cells and keys read by the columns of the contract, problems with their place."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from asbuilt.errors import Problem
from asbuilt.record.sheets.cells import CellError, Numeric, Parser, did_you_mean, shown, text
from asbuilt.record.sheets.days import iso_date
from asbuilt.record.sheets.files import QUOTE_MEND, Line, Table
from asbuilt.record.sheets.numerals import Manner, with_point
from asbuilt.units import UNITS

_HEADING = re.compile(r"(.*?)\s*\[\s*(.*?)\s*\]")
TYPED_AGAIN = "format the column as text, then type the cell again (a length with its marks)"
"""What mends a cell of which a spreadsheet has made a date."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet, or one key of `property.toml`."""

    name: str
    parse: Parser
    needed: bool = False  #: its heading must be there
    blank: bool = False  #: whether a needed column's cell may be empty all the same
    unit: bool = False  #: whether it holds lengths, so that the sheet's unit or the heading's counts
    kind: str = "text"  #: what TOML holds: text, number, date or flag
    unit_from: str = ""  #: what else gives the unit of its numbers, so that a heading must not


@dataclass(slots=True)
class Row:
    """One row as far as it could be read."""

    sheet: str
    number: int | None  #: as a spreadsheet shows it; None = a TOML table
    values: dict[str, Any] = field(default_factory=dict)
    raw: dict[str, str] = field(default_factory=dict)
    bad: set[str] = field(default_factory=set)  #: columns that could not be read
    table: str = ""  #: table of the TOML file

    def get(self, column: str) -> Any:
        """Give the value of a column; None = empty, absent or unreadable."""
        return self.values.get(column)

    def blank(self, column: str) -> bool:
        """Tell whether nothing was written in a column (an unreadable cell is not blank)."""
        return column not in self.values and column not in self.bad

    def problem(self, column: str | None, reason: str, accepted: str) -> Problem:
        """Give a problem of this row, and remember that the column cannot be used."""
        if column is not None:
            self.bad.add(column)
            self.values.pop(column, None)
            column = f"[{self.table}] {column}" if self.table else column
        return Problem(self.sheet, self.number, column, reason, accepted)

    @property
    def place(self) -> str:
        """Where the row stands, for messages about another one."""
        return self.sheet if self.number is None else f"{self.sheet} row {self.number}"


@dataclass(slots=True)
class Sheet:
    """One sheet of the folder with its rows."""

    name: str
    present: bool = False  #: the file is in the folder
    readable: bool = True  #: its needed columns could be read; True also where it is absent
    rows: list[Row] = field(default_factory=list)


def read_rows(name: str, table: Table, columns: Sequence[Column], unit: str | None, problems: list[Problem]) -> Sheet:
    """Read the rows of a sheet by its columns.

    Parameters
    ----------
    name
        File name of the sheet.
    table
        Its cells.
    columns
        Its columns by the contract.
    unit
        Unit of the property's lengths; None = unknown: only headings with a unit are read.
    problems
        Where what is wrong is noted.
    """
    placed = _place_columns(name, table, columns, problems)
    present = {column.name for column, _, _ in placed}
    missing = [column.name for column in columns if column.needed and column.name not in present]
    for each in missing:
        needed = ", ".join(column.name for column in columns if column.needed)
        problems.append(Problem(name, table.heading_row, each, "is missing", f"needed columns: {needed}"))
    rows = [_read_line(name, table, line, placed, unit, problems) for line in table.lines]
    return Sheet(name, True, not missing, rows)


def _place_columns(
    name: str, table: Table, columns: Sequence[Column], problems: list[Problem]
) -> list[tuple[Column, int, str | None]]:
    """Find the column of each heading and the unit that the heading names."""
    known = {column.name: column for column in columns}
    placed: dict[str, tuple[Column, int, str | None]] = {}
    for index, heading in enumerate(table.headings):
        match = _HEADING.fullmatch(heading)
        word, unit = (match[1], match[2]) if match else (heading, None)
        if not heading:
            continue
        problem = None
        if word not in known:
            problem = (
                f"{shown(word)} is no column of this sheet",
                did_you_mean(word, known, f"accepted: {', '.join(known)}"),
            )
        elif word in placed:
            problem = "the heading stands there twice", "write each heading once"
        elif unit is not None and known[word].unit_from:
            problem = f"names the unit {shown(unit)}, but {known[word].unit_from} has its own", f"write {word}"
        elif unit is not None and not known[word].unit:
            problem = f"names the unit {shown(unit)}, but holds no lengths", f"write {word}"
        elif unit is not None and unit not in UNITS:
            problem = f"names the unit {shown(unit)}", f"accepted: {', '.join(UNITS)}"
        if problem is not None:
            problems.append(Problem(name, table.heading_row, heading, *problem))
            unit = None
        if word in known and word not in placed:
            placed[word] = (known[word], index, unit)
    return list(placed.values())


def _read_line(
    name: str,
    table: Table,
    line: Line,
    placed: list[tuple[Column, int, str | None]],
    unit: str | None,
    problems: list[Problem],
) -> Row:
    """Read the cells of one row."""
    row = Row(name, line.number)
    broken_at = line.broken_at
    refused = {index: (reason, accepted) for index, reason, accepted in line.refused}
    for column, index, own_unit in placed:
        if index in refused:
            problems.append(row.problem(column.name, *refused[index]))
            continue
        if broken_at is not None and index >= broken_at:
            row.bad.add(column.name)
            continue
        words = line.cells[index] if index < len(line.cells) else ""
        if column.unit and f'"{table.separator}' in words:  # no length holds this; the cells after it are misplaced
            reason = f"{shown(words)} holds more than one cell (an inch mark that ate the next cells)"
            problems.append(row.problem(column.name, reason, QUOTE_MEND))
            broken_at = index
            continue
        if index in line.dated and column.parse is not iso_date:
            reason = f"the spreadsheet keeps a date or a time there, {shown(words)}"
            problems.append(row.problem(column.name, reason, TYPED_AGAIN))
            continue
        if "\n" in words and line.whole and column.parse is text:
            words = " ".join(words.split())
        _read_cell(row, column, words, own_unit or unit, problems, table.manner)
    for index, cell in enumerate(line.cells):
        if cell and (index >= len(table.headings) or not table.headings[index]):
            problems.append(
                row.problem(None, f"cell {index + 1} {shown(cell)} has no heading", "give it a heading or empty it")
            )
    return row


def read_row(
    row: Row,
    cells: Sequence[tuple[Column, str, str | None, bool]],
    problems: list[Problem],
    manner: Manner,
) -> None:
    """Read the cells of a row that was put together from elsewhere.

    Parameters
    ----------
    row
        The row, which gets the values.
    cells
        Each with its column, its words, its unit, and whether a spreadsheet kept a date or a time there.
    problems
        Where what is wrong is noted.
    manner
        How the figures are written.
    """
    for column, words, unit, dated in cells:
        if dated and column.parse is not iso_date:
            reason = f"the spreadsheet keeps a date or a time there, {shown(words)}"
            problems.append(row.problem(column.name, reason, TYPED_AGAIN))
            continue
        _read_cell(row, column, words, unit or row.get("units"), problems, manner)


_POINTS = Manner()


def _read_cell(
    row: Row, column: Column, words: str, unit: str | None, problems: list[Problem], manner: Manner = _POINTS
) -> None:
    """Read one cell into its row."""
    if not words:
        if column.needed and not column.blank:
            problems.append(row.problem(column.name, "is empty", _needed(row)))
        return
    row.raw[column.name] = " ".join(words.split())
    if "\n" in words:
        reason = f"{shown(words)} holds a line break (an inch mark that ate the next cells)"
        problems.append(row.problem(column.name, reason, f"keep a cell on one line; {QUOTE_MEND}"))
    elif column.unit and unit is None:
        row.bad.add(column.name)  # property.toml, which would say the unit, is itself refused
    else:
        plain = words
        try:
            if isinstance(column.parse, Numeric) and "," in words:
                plain = with_point(words, unit or "", manner, is_length=column.parse.is_length)
            row.values[column.name] = column.parse(plain, unit or "")
        except CellError as error:
            reason = error.reason.replace(shown(plain), shown(words))
            problems.append(row.problem(column.name, reason, error.accepted))
            return
        if row.values[column.name] == "" and column.needed:
            problems.append(row.problem(column.name, "is empty", _needed(row)))


def _needed(row: Row) -> str:
    return "it is needed" if row.number is None else "it is needed in every row"


def read_keys(
    name: str,
    content: dict[str, object],
    tables: dict[str, tuple[Column, ...]],
    problems: list[Problem],
    words_of: Callable[[object, str], str] | None = None,
) -> dict[str, Row]:
    """Read a TOML file by its keys.

    Parameters
    ----------
    name
        File name.
    content
        What the file holds.
    tables
        Keys of each table by the contract; the table "" is the top of the file and holds the key `units`.
    problems
        Where what is wrong is noted.
    words_of
        How a value of some kind becomes words; None = as TOML has it.

    Returns
    -------
    dict
        One row a table that the file holds.
    """
    rows = {"": Row(name, None)}
    top = dict(content)
    for table in filter(None, tables):
        inner = top.pop(table, None)
        if isinstance(inner, dict):
            rows[table] = Row(name, None, table=table)
        elif inner is not None:
            problems.append(Problem(name, None, table, "is no table", f"write [{table}] on a line of its own"))
    for table, row in rows.items():
        keys = top if table == "" else content[table]
        assert isinstance(keys, dict)  # noqa: S101 - for the type checker: only tables became rows
        _read_table_keys(row, keys, tables, rows[""].get("units"), problems, words_of or _toml_words)
    return rows


def _read_table_keys(
    row: Row,
    keys: dict[str, object],
    tables: dict[str, tuple[Column, ...]],
    unit: str | None,
    problems: list[Problem],
    words_of: Callable[[object, str], str],
) -> None:
    """Read the keys of one table into its row."""
    known = {column.name: column for column in tables[row.table]}
    for key in (each for each in keys if each not in known):
        homes = [f"[{table}]" if table else "the top of the file" for table in tables if key in _names(tables[table])]
        otherwise = f"it belongs in {homes[0]}" if homes else f"accepted: {', '.join(known)}"
        accepted = otherwise if homes else did_you_mean(key, known, otherwise)
        problems.append(row.problem(key, f"{shown(key)} is no key here", accepted))
    for column in known.values():
        if column.name not in keys:
            if column.needed:
                problems.append(row.problem(column.name, "is missing", f"write {column.name} = ..."))
            continue
        try:
            words = words_of(keys[column.name], column.kind)
        except CellError as error:
            problems.append(row.problem(column.name, error.reason, error.accepted))
            continue
        _read_cell(row, column, words, unit, problems)


def _names(columns: Sequence[Column]) -> list[str]:
    return [column.name for column in columns]


def _toml_words(value: object, kind: str) -> str:
    """Turn a TOML value of the right kind into the words that the parsers of cells read."""
    if kind == "text" and isinstance(value, str):
        return value.strip()
    if isinstance(value, int) and value.bit_length() > 1000:  # Python refuses to write out larger ones
        raise CellError("a number of hundreds of digits is too large", "write a plain number")
    if kind == "number" and isinstance(value, int | float) and not isinstance(value, bool):
        return repr(value)
    if kind == "date" and isinstance(value, date) and not isinstance(value, datetime):
        return value.isoformat()
    if kind == "flag" and isinstance(value, bool):
        return "yes" if value else "no"
    accepted = {
        "text": "write it between quotation marks",
        "number": "write a number without quotation marks",
        "flag": "write true or false without quotation marks",
        "date": "write a date without quotation marks, such as 2025-04-03",
    }
    is_simple = isinstance(value, str | int | float | date | bool)
    read = shown(str(value).lower() if isinstance(value, bool) else str(value)) if is_simple else "a list or table"
    raise CellError(f"{read} is not a {kind}" if kind != "text" else f"{read} is not text", accepted[kind])

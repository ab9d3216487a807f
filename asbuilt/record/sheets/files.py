"""Files of a folder of field sheets: from bytes to cells and keys, each with its row."""

import csv
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import Problem
from asbuilt.record.sheets.cells import did_you_mean, shown

BIGGEST_BYTES = 10_000_000
"""Bytes in one sheet; a property of a thousand points takes a hundredth of it."""

MOST_ROWS = 100_000
"""Rows in one sheet."""

MOST_COLUMNS = 200
"""Headings in one sheet; the widest of ours has 25."""

LONGEST_CELL_LINES = 20
"""How far the end of a cell with line breaks in it is looked for."""

QUOTE_MEND = 'write the inch mark twice ("") in a quoted cell, or write in for it'
_SAVE_MEND = {
    ".csv": "save the sheet again as CSV UTF-8 (plain text, commas)",
    ".toml": "save it again as plain text in UTF-8",
}
_LINE_END = re.compile(r"\r\n|\r|\n")
_CELL = re.compile(r' *"[^"]*(?:""[^"]*)*"(?=,|$)| *[^", ][^,]*| *(?=,|$)')


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a sheet that is not empty."""

    number: int  #: as a spreadsheet shows it, the first row is 1
    cells: tuple[str, ...]
    broken_at: int | None = None  #: index of the cell from which on nothing could be read; None = all read


@dataclass(frozen=True, slots=True)
class Table:
    """One CSV sheet as cells."""

    headings: tuple[str, ...]  #: stripped, small letters; without the empty ones at the end
    heading_row: int
    lines: tuple[Line, ...]


def misnamed_files(folder: Path, known: tuple[str, ...]) -> list[Problem]:
    """Find files that were meant as sheets but would not be read under their name.

    A name that differs only by case is one, and a near miss of a sheet that is not there; a copy such as
    `points_old.csv` beside `points.csv` is left alone, and so is every other file.
    """
    names = sorted(path.name for path in folder.iterdir())
    problems = []
    for name in names:
        if name in known or name[:1] in ".~" or Path(name).suffix.lower() not in (".csv", ".toml"):
            continue
        absent = [each for each in known if each not in names or each.casefold() == name.casefold()]
        hint = did_you_mean(name, absent, "", likeness=0.85)
        if hint:
            problems.append(Problem(name, None, None, "is not the name of a field sheet", hint))
    return problems


def read_text(path: Path, problems: list[Problem]) -> str | None:
    """Read a sheet as UTF-8 with or without byte order mark; None = unreadable, with the problem noted."""
    try:
        if not path.is_file():
            problems.append(Problem(path.name, None, None, "is not a file", "put the sheet itself in the folder"))
            return None
        with path.open("rb") as stream:
            content = stream.read(BIGGEST_BYTES + 1)
    except OSError as error:
        reason = f"cannot be read ({error.strerror or error})"
        problems.append(Problem(path.name, None, None, reason, "close it elsewhere, or mend its access rights"))
        return None
    try:
        return _decode(content)
    except ValueError as error:
        problems.append(Problem(path.name, None, None, str(error), _SAVE_MEND[path.suffix]))
        return None


def _decode(content: bytes) -> str:
    """Turn bytes into text, or raise ValueError with the reason."""
    if len(content) > BIGGEST_BYTES:
        raise ValueError(f"is larger than {BIGGEST_BYTES:,} bytes")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise ValueError("is UTF-16 text")
    if content.startswith(b"PK\x03\x04"):
        raise ValueError("is a spreadsheet or archive under the name of a text file")
    if b"\0" in content:
        raise ValueError("holds NUL bytes, so it is not plain text")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise ValueError(f"is not UTF-8 (byte 0x{content[error.start]:02X} in line {line})") from None


def read_toml(path: Path, problems: list[Problem]) -> dict[str, object] | None:
    """Read a TOML file; None = unreadable, with the problem noted."""
    content = read_text(path, problems)
    if content is None:
        return None
    try:
        return tomllib.loads(content)
    except RecursionError:
        reason = "is nested too deep"
    except ValueError as error:
        reason = f"is not TOML: {error}"
    accepted = 'accepted: lines such as name = "Mill Lane 4"'
    problems.append(Problem(path.name, None, None, reason, accepted))
    return None


def read_table(path: Path, problems: list[Problem]) -> Table | None:
    """Read a CSV sheet; None = no table in it, with the problem noted.

    Rows are read one by one, so a slip of a quotation mark costs its own row and not the rest of the sheet.
    """
    content = read_text(path, problems)
    if content is None:
        return None
    texts = _LINE_END.split(content)
    if len(texts) > MOST_ROWS:
        reason = f"has {len(texts):,} rows"
        problems.append(Problem(path.name, None, None, reason, f"accepted: at most {MOST_ROWS:,}"))
        return None
    first = next((index for index, each in enumerate(texts) if each.strip(', \t"')), None)
    if first is None:
        problems.append(Problem(path.name, None, None, "is empty", "write the headings in its first row"))
        return None
    headings = _headings(path.name, first + 1, texts[first], problems)
    if headings is None:
        return None
    return Table(headings, first + 1, _lines(path.name, headings, texts, first + 1, problems))


def _headings(sheet: str, row: int, content: str, problems: list[Problem]) -> tuple[str, ...] | None:
    """Read the first row; None = it holds no headings, with the problem noted."""
    delimiter = next((mark for mark in (";", "\t") if mark in content), None)
    if delimiter is not None:
        reason = f"the cells are parted by {'semicolons' if delimiter == ';' else 'tabs'}"
        problems.append(Problem(sheet, row, None, reason, "save it with commas between the cells"))
        return None
    cells = _split(content)
    if cells is None or len(cells) > 10 * MOST_COLUMNS:
        reason = "a quotation mark stands where none belongs" if cells is None else f"has {len(cells):,} columns"
        problems.append(Problem(sheet, row, None, reason, "accepted: headings as in the reference, with commas"))
        return None
    headings = [" ".join(cell.lower().split()) for cell in cells]
    while headings and not headings[-1]:
        headings.pop()
    if len(headings) > MOST_COLUMNS:
        reason = f"has {len(headings):,} headings"
        problems.append(Problem(sheet, row, None, reason, f"accepted: at most {MOST_COLUMNS}"))
        return None
    return tuple(headings)


def _lines(
    sheet: str, headings: tuple[str, ...], texts: list[str], start: int, problems: list[Problem]
) -> tuple[Line, ...]:
    """Split the rows after the headings into cells; rows without anything in them are left out."""
    lines = []
    index, joined = start, 0  # joined = line breaks inside cells so far, which a spreadsheet does not count
    while index < len(texts):
        number = index + 1 - joined
        cells = _split(texts[index])
        taken = 1
        broken_at = None
        if cells is None:
            cells, taken = _split_over_lines(texts, index, len(headings))
            joined += taken - 1
        if cells is None:
            cells, rest = _cells_before_fault(texts[index])
            broken_at = len(cells)
            heading = headings[broken_at] if broken_at < len(headings) else None
            reason = f"a quotation mark does not belong in {shown(rest)} (an inch mark that ate the next cells)"
            problems.append(Problem(sheet, number, heading or None, reason, QUOTE_MEND))
        if any(cells) or broken_at is not None:
            lines.append(Line(number, tuple(cells), broken_at))
        index += taken
    return tuple(lines)


def _split(content: str) -> list[str] | None:
    """Split one row into stripped cells; None = its quotation marks do not pair."""
    try:
        rows = list(csv.reader([content], strict=True, skipinitialspace=True))
    except csv.Error:
        return None
    return [cell.strip() for cell in rows[0]] if rows else []


def _split_over_lines(texts: list[str], index: int, columns: int) -> tuple[list[str] | None, int]:
    """Split a row one of whose cells holds line breaks; None = no such cell, but a slip of a quotation mark.

    Returns
    -------
    tuple
        The cells, the broken one with its line breaks, and how many lines they took.
    """
    for taken in range(2, LONGEST_CELL_LINES + 1):
        if index + taken > len(texts):
            break
        try:
            lines = [each + "\n" for each in texts[index : index + taken]]
            rows = list(csv.reader(lines, strict=True, skipinitialspace=True))
        except csv.Error:
            continue
        if len(rows) == 1 and len(rows[0]) <= columns:
            return [cell.strip() for cell in rows[0]], taken
        break
    return None, 1


def _cells_before_fault(content: str) -> tuple[list[str], str]:
    """Give the cells of a row up to the one whose quotation marks do not pair, and the rest of the row."""
    place = 0
    cells = []
    while (match := _CELL.match(content, place)) and match.end() < len(content):
        cells += _split(match[0]) or [""]
        place = match.end() + 1
    return cells, content[place:]

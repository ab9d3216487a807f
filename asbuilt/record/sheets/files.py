"""Files of a folder of field sheets: from bytes to cells and keys, each with its row."""

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import Problem
from asbuilt.findings import Finding, Severity
from asbuilt.record.sheets.cells import did_you_mean, shown
from asbuilt.record.sheets.encodings import decode
from asbuilt.record.sheets.numerals import Manner
from asbuilt.record.sheets.splitting import cells_before_fault, separator_of, split, split_over_lines, told_separator

BIGGEST_BYTES = 10_000_000
"""Bytes in one sheet; a property of a thousand points takes a hundredth of it."""

MOST_ROWS = 100_000
"""Rows in one sheet."""

MOST_COLUMNS = 200
"""Headings in one sheet; the widest of ours has 25."""

GUESSED_ENCODING = "guessed-encoding"
"""Code of the note that a sheet was not in UTF-8 and was read all the same."""

QUOTE_MEND = 'write the inch mark twice ("") in a quoted cell, or write in for it'
_SAVE_MEND = {
    ".csv": "save the sheet again as CSV UTF-8 (plain text, commas)",
    ".toml": "save it again as plain text in UTF-8",
}
_LINE_END = re.compile(r"\r\n|\r|\n")
_ODD_SPACES = re.compile("[\xa0\u2000-\u200a\u202f\u205f\u3000]")


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a sheet that is not empty."""

    number: int  #: as a spreadsheet shows it, the first row is 1
    cells: tuple[str, ...]
    broken_at: int | None = None  #: index of the cell from which on nothing could be read; None = all read
    whole: bool = False  #: every heading has its cell, so that a line break in one was written on purpose
    dated: frozenset[int] = frozenset()  #: indexes of cells that a spreadsheet keeps as a date or a time
    refused: tuple[tuple[int, str, str], ...] = ()  #: index, reason and mend of cells that hold no value


@dataclass(frozen=True, slots=True)
class Table:
    """One sheet as cells."""

    headings: tuple[str, ...]  #: stripped, small letters; without the empty ones at the end
    heading_row: int
    lines: tuple[Line, ...]
    separator: str = ","  #: what parts its cells
    spelling: tuple[str, ...] = ()  #: the headings as they are written, capitals and all

    @property
    def manner(self) -> Manner:
        """How it writes its figures."""
        return Manner(self.separator == ",")


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


Notes = list[Finding]


def read_text(path: Path, problems: list[Problem], notes: Notes | None = None, most: int = BIGGEST_BYTES) -> str | None:
    """Read a text file; None = unreadable, with the problem noted.

    UTF-8 with and without a byte order mark, UTF-16 with one, and Windows-1252 where that is safe, with a note.
    """
    content = read_bytes(path, problems, most)
    if content is None:
        return None
    try:
        text, guess = decode(content)
    except ValueError as error:
        mend = _SAVE_MEND.get(path.suffix.lower(), _SAVE_MEND[".csv"])
        problems.append(Problem(path.name, None, None, str(error), mend))
        return None
    if guess is not None:
        if notes is None:  # where nobody would see the note nothing is guessed
            reason = guess.partition(" and was")[0]
            problems.append(Problem(path.name, None, None, reason, _SAVE_MEND.get(path.suffix, _SAVE_MEND[".csv"])))
            return None
        notes.append(Finding(GUESSED_ENCODING, path.name, f"{path.name} {guess}.", Severity.NOTE))
    return text


def read_bytes(path: Path, problems: list[Problem], most: int = BIGGEST_BYTES) -> bytes | None:
    """Read a file of at most so many bytes; None = unreadable or larger, with the problem noted."""
    try:
        if not path.is_file():
            problems.append(Problem(path.name, None, None, "is not a file", "put the sheet itself in the folder"))
            return None
        with path.open("rb") as stream:
            content = stream.read(most + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        reason = f"cannot be read ({getattr(error, 'strerror', None) or error})"
        problems.append(Problem(path.name, None, None, reason, "close it elsewhere, or mend its access rights"))
        return None
    if len(content) > most:
        reason, accepted = f"is larger than {most:,} bytes", "take out what is no field sheet, or part it in two"
        problems.append(Problem(path.name, None, None, reason, accepted))
        return None
    return content


def read_toml(path: Path, problems: list[Problem], notes: Notes | None = None) -> dict[str, object] | None:
    """Read a TOML file; None = unreadable, with the problem noted."""
    content = read_text(path, problems, notes)
    if content is None:
        return None
    try:
        return tomllib.loads(content.replace("\r\n", "\n").replace("\r", "\n"))
    except RecursionError:
        reason = "is nested too deep"
    except ValueError as error:
        reason = f"is not TOML: {error}"
    accepted = 'accepted: lines such as name = "Mill Lane 4"'
    problems.append(Problem(path.name, None, None, reason, accepted))
    return None


def read_table(path: Path, problems: list[Problem], notes: Notes | None = None) -> Table | None:
    """Read a CSV sheet; None = no table in it, with the problem noted."""
    content = read_text(path, problems, notes)
    return None if content is None else table_of(path.name, content, problems)


def table_of(name: str, content: str, problems: list[Problem], most_rows: int = MOST_ROWS) -> Table | None:
    """Part the text of a sheet into cells; None = no table in it, with the problem noted.

    Rows are read one by one, so a slip of a quotation mark costs its own row and not the rest of the sheet.
    """
    texts = _LINE_END.split(content)
    separator = told_separator(texts[0])
    if separator is not None:  # a line for the spreadsheet, which does not count it
        del texts[0]
    if texts and not texts[-1]:
        del texts[-1]
    if len(texts) > most_rows:
        problems.append(Problem(name, None, None, f"has {len(texts):,} rows", f"accepted: at most {most_rows:,}"))
        return None
    first = next((index for index, each in enumerate(texts) if each.strip(", \t;\"'")), None)
    if first is None:
        problems.append(Problem(name, None, None, "is empty", "write the headings in its first row"))
        return None
    try:
        separator = separator or separator_of(texts[first])
    except ValueError as error:
        problems.append(Problem(name, first + 1, None, str(error), "save it with one of them between all cells"))
        return None
    spelling = _headings(name, first + 1, texts[first], separator, problems)
    if spelling is None:
        return None
    headings = tuple(each.lower() for each in spelling)
    lines = _lines(name, headings, texts, first + 1, separator, problems)
    return Table(headings, first + 1, lines, separator, spelling)


def headings_of(sheet: str, row: int, cells: Sequence[str], problems: list[Problem]) -> tuple[str, ...] | None:
    """Clean the headings of a sheet and leave off empty ones at the end; None = too many, with the problem noted."""
    headings = [" ".join(cell.split()) for cell in cells]
    while headings and not headings[-1]:
        headings.pop()
    if len(headings) > MOST_COLUMNS:
        reason = f"has {len(headings):,} headings"
        problems.append(Problem(sheet, row, None, reason, f"accepted: at most {MOST_COLUMNS}"))
        return None
    return tuple(headings)


def _headings(sheet: str, row: int, content: str, separator: str, problems: list[Problem]) -> tuple[str, ...] | None:
    """Read the first row; None = it holds no headings, with the problem noted."""
    cells = split(content, separator)
    if cells is None or len(cells) > 10 * MOST_COLUMNS:
        reason = "a quotation mark stands where none belongs" if cells is None else f"has {len(cells):,} columns"
        problems.append(Problem(sheet, row, None, reason, "accepted: headings as in the reference, with commas"))
        return None
    return headings_of(sheet, row, cells, problems)


def _lines(
    sheet: str, headings: tuple[str, ...], texts: list[str], start: int, separator: str, problems: list[Problem]
) -> tuple[Line, ...]:
    """Split the rows after the headings into cells; rows without anything in them are left out."""
    lines = []
    index, joined = start, 0  # joined = line breaks inside cells so far, which a spreadsheet does not count
    while index < len(texts):
        number = index + 1 - joined
        cells = split(texts[index], separator)
        taken = 1
        broken_at = None
        if cells is None:
            cells, taken = split_over_lines(texts, index, len(headings), separator)
            joined += taken - 1
        if cells is None:
            cells, rest = cells_before_fault(texts[index], separator)
            broken_at = len(cells)
            heading = headings[broken_at] if broken_at < len(headings) else None
            reason = f"a quotation mark does not belong in {shown(rest)} (an inch mark that ate the next cells)"
            problems.append(Problem(sheet, number, heading or None, reason, QUOTE_MEND))
        if any(cells) or broken_at is not None:
            lines.append(_line(number, cells, broken_at, len(headings), separator))
        index += taken
    return tuple(lines)


def _line(number: int, cells: list[str], broken_at: int | None, columns: int, separator: str) -> Line:
    # An inch mark that ate the end of its row and the whole next one swallowed a separator for every heading but one.
    whole = len(cells) >= columns and all(cell.count(separator) < columns - 1 for cell in cells if "\n" in cell)
    return Line(number, tuple(map(plain_spaces, cells)), broken_at, whole)


def plain_spaces(cell: str) -> str:
    r"""Put plain spaces in the place of those that do not break and of thin ones, which nobody sees.

    >>> plain_spaces("23\u202f4\xa01/2")
    '23 4 1/2'
    """
    return cell if cell.isascii() else _ODD_SPACES.sub(" ", cell).strip()

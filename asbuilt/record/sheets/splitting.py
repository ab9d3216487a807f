"""One row of a text file into cells, whichever sign parts them, and what becomes of a quotation mark too many."""

import csv
import re
from functools import cache

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
"""Signs that may part the cells of a sheet, and their names."""

LONGEST_CELL_LINES = 20
"""How far the end of a cell with line breaks in it is looked for."""

_TOLD = re.compile(r'\s*"?sep=(.)"?[,;\t\s]*', re.IGNORECASE)
_QUOTED = re.compile(r'"[^"]*"')


def told_separator(line: str) -> str | None:
    """Give the separator that a first line such as `sep=;` tells the spreadsheet; None = it tells none.

    >>> told_separator("sep=;"), told_separator("name,kind")
    (';', None)
    """
    match = _TOLD.fullmatch(line)
    return match[1] if match and match[1] in SEPARATORS else None


def separator_of(headings: str) -> str:
    """Find what parts the cells of a row of headings, in which none of the signs has another use.

    Raises
    ------
    ValueError
        If more than one of them stands outside quotation marks.

    Examples
    --------
    >>> separator_of("name;kind;gone_on")
    ';'
    """
    outside = _QUOTED.sub("", headings)
    found = [mark for mark in SEPARATORS if mark in outside]
    if len(found) > 1:
        raise ValueError(f"has {' and '.join(SEPARATORS[mark] for mark in found)} between its headings")
    return found[0] if found else ","


def split(content: str, separator: str) -> list[str] | None:
    """Split one row into stripped cells; None = its quotation marks do not pair."""
    try:
        rows = list(csv.reader([content], strict=True, skipinitialspace=True, delimiter=separator))
    except csv.Error:
        return None
    return [cell.strip() for cell in rows[0]] if rows else []


def split_over_lines(texts: list[str], index: int, columns: int, separator: str) -> tuple[list[str] | None, int]:
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
            rows = list(csv.reader(lines, strict=True, skipinitialspace=True, delimiter=separator))
        except csv.Error:
            continue
        if len(rows) == 1 and len(rows[0]) <= max(columns, 1):
            return [cell.strip() for cell in rows[0]], taken
        break
    return None, 1


def cells_before_fault(content: str, separator: str) -> tuple[list[str], str]:
    """Give the cells of a row up to the one whose quotation marks do not pair, and the rest of the row."""
    place = 0
    cells = []
    while (match := _cell(separator).match(content, place)) and match.end() < len(content):
        cells += split(match[0], separator) or [""]
        place = match.end() + 1
    return cells, content[place:]


@cache
def _cell(separator: str) -> re.Pattern[str]:
    mark = re.escape(separator)
    return re.compile(rf' *"[^"]*(?:""[^"]*)*"(?={mark}|$)| *[^"{mark} ][^{mark}]*| *(?={mark}|$)')

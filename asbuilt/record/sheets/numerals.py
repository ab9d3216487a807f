"""Figures as spreadsheets of other countries write them: a decimal comma, and when a comma may be something else."""

import re
from dataclasses import dataclass

from asbuilt.record.sheets.cells import LONGEST_M, CellError, shown
from asbuilt.units import FOOT_M, INCH_M

_ONE_COMMA = re.compile(r"[^,.]*\d,\d+[^,.]*", re.ASCII)
_POINTS_AND_COMMA = re.compile(r"[^\d.,]*(\d{1,3}(?:\.\d{3})+,\d+)[^\d.,]*", re.ASCII)
_THOUSANDS = re.compile(r"\D*(?!0)(\d{1,3}),(\d{3})(?!\d)[^,]*", re.ASCII)
_FIGURE = re.compile(r"-?\d+,(\d+)", re.ASCII)
_UNIT_SAID = re.compile(r"(?<![a-z])(mm|cm|m|ft|feet|foot|in|inch|inches)\.?\s*$|(['\"])\s*$", re.IGNORECASE)
_METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": FOOT_M, "'": FOOT_M, '"': INCH_M, "in": INCH_M}


@dataclass(frozen=True, slots=True)
class Manner:
    """How a file writes its figures."""

    commas_part: bool = True  #: commas stand between its cells, so one within a cell is rarely a decimal comma


def with_point(words: str, unit: str, manner: Manner, *, is_length: bool) -> str:
    """Put a point in the place of a decimal comma; leave alone what has none.

    Parameters
    ----------
    words
        The cell of a number or a length.
    unit
        Unit of its column; "" = none.
    manner
        How the file writes figures.
    is_length
        Whether it is a length, so that feet and inches may be meant.

    Returns
    -------
    str
        The words with a point, or as they are: what else is wrong with them the parser of the cell says.

    Raises
    ------
    CellError
        If the comma can be read in two ways; both are shown.

    Examples
    --------
    >>> with_point("7,12", "m", Manner(), is_length=True)
    '7.12'
    >>> with_point("1,234", "", Manner(), is_length=False)
    Traceback (most recent call last):
    ...
    asbuilt.record.sheets.cells.CellError: “1,234” can be read as 1234 or 1.234; write it without a comma
    """
    if both := _POINTS_AND_COMMA.fullmatch(words):
        whole = words.replace(both[1], f"{both[1].replace('.', '').replace(',', '.')}")
        raise CellError(f"{shown(words)} has points and a comma", f"if points stand between thousands, write {whole}")
    if not _ONE_COMMA.fullmatch(words):
        return words
    point = words.replace(",", ".")
    thousands = _THOUSANDS.fullmatch(words)
    if thousands and not (is_length and _too_long(thousands[1] + thousands[2], words, unit)):
        whole = words.replace(",", "")
        raise CellError(f"{shown(words)} can be read as {whole} or {point}", "write it without a comma")
    figure = _FIGURE.fullmatch(words)
    if is_length and unit == "ft" and manner.commas_part and figure and int(figure[1]) < 12:
        feet = words.partition(",")[0]
        readings = f"""{point} ft or {feet}' {int(figure[1])}\""""
        raise CellError(f"{shown(words)} can be read as {readings}", "write it without a comma")
    return point


def _too_long(digits: str, words: str, unit: str) -> bool:
    """Tell whether a length read with a comma between thousands would be longer than anything here."""
    said = _UNIT_SAID.search(words)
    word = (said[1] or said[2]).lower() if said else unit
    word = {"feet": "ft", "foot": "ft", "inch": "in", "inches": "in"}.get(word, word)
    return int(digits) * _METRES.get(word, 0.0) > LONGEST_M

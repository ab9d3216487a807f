"""Days as people and spreadsheets write them: what can be read in one way only, and the readings of what cannot."""

import re
from datetime import date

from asbuilt.model.tasks import FULL_MONTHS
from asbuilt.record.sheets.cells import CellError, shown

_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})(?:[ T]0?0:00(?::00(?:\.0+)?)?)?", re.ASCII)
_FIGURES = re.compile(r"(\d{1,2})[/.-](\d{1,2})[/.-](\d{4})(?:[ T]0?0:00(?::00)?)?", re.ASCII)
_DAY_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ -]+([a-z]+)\.?,?[ -]+(\d{4})", re.ASCII | re.IGNORECASE)
_MONTH_DAY = re.compile(r"([a-z]+)\.?[ -]+(\d{1,2})(?:st|nd|rd|th)?,?[ -]+(\d{4})", re.ASCII | re.IGNORECASE)
_SERIAL = re.compile(r"[1-5]\d{4}(?:\.0+)?", re.ASCII)
_ACCEPTED = "accepted: a date such as 2025-04-03"


def iso_date(words: str, unit: str = "") -> date:
    """Read a day that can be read in one way only.

    Year-month-day is (also with / or a point, and with the midnight that spreadsheets put behind it), and so is a month
    in English words with a year of four figures. Figures alone with the year last never are, not even 25/12/2025:
    somebody who writes that writes 03/04/2025 in the next row.

    Raises
    ------
    CellError
        If it is written otherwise; where two readings are possible both are shown.

    Examples
    --------
    >>> iso_date("2025-04-03") == iso_date("3 April 2025") == iso_date("Apr. 3, 2025")
    True
    """
    words = " ".join(words.split())
    if found := _YEAR_FIRST.fullmatch(words):
        return _day(words, int(found[1]), int(found[3]), int(found[4]))
    if (found := _DAY_MONTH.fullmatch(words)) and (month := _month(found[2])):
        return _day(words, int(found[3]), month, int(found[1]))
    if (found := _MONTH_DAY.fullmatch(words)) and (month := _month(found[1])):
        return _day(words, int(found[3]), month, int(found[2]))
    if _SERIAL.fullmatch(words):
        reason = (
            f"{shown(words)} is the number of a day in a spreadsheet, and spreadsheets count from two different days"
        )
        raise CellError(reason, "format the column as dates, year-month-day")
    readings = figure_days(words)
    if len(readings) == 2:
        raise CellError(f"{shown(words)} can be read as {readings[0]} or {readings[1]}", "write year-month-day")
    accepted = f"write {readings[0]}" if readings else _ACCEPTED
    raise CellError(f"{shown(words)} is not written year-month-day", accepted)


def figure_days(words: str) -> list[date]:
    """Give the days that figures with the year last may mean, month first before day first.

    >>> [str(day) for day in figure_days("03/04/2025")]
    ['2025-03-04', '2025-04-03']
    """
    match = _FIGURES.fullmatch(words)
    if match is None:
        return []
    first, second, year = (int(group) for group in match.groups())
    days = []
    for month, day in dict.fromkeys([(first, second), (second, first)]):
        try:
            days.append(date(year, month, day))
        except ValueError:
            continue
    return days


def ordered_day(words: str, *, month_first: bool) -> date | None:
    """Read figures with the year last in the order that somebody has told; None = no such figures, or no such day.

    >>> str(ordered_day("3/4/2025", month_first=True))
    '2025-03-04'
    """
    match = _FIGURES.fullmatch(" ".join(words.split()))
    if match is None:
        return None
    first, second, year = (int(group) for group in match.groups())
    try:
        return date(year, *((first, second) if month_first else (second, first)))
    except ValueError:
        return None


def _month(word: str) -> int | None:
    """Give the number of a month; three letters or more of its name are enough."""
    word = "sep" if word.lower() == "sept" else word.lower()
    found = [number for number, name in enumerate(FULL_MONTHS, 1) if name.startswith(word) and len(word) >= 3]
    return found[0] if len(found) == 1 and word in (FULL_MONTHS[found[0] - 1], FULL_MONTHS[found[0] - 1][:3]) else None


def _day(words: str, year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError as error:
        raise CellError(f"{shown(words)} is not in the calendar ({error})", _ACCEPTED) from None

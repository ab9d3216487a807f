"""Who lives there over time, cut into stretches that do not change, in people and in residents all year."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from asbuilt.model.household import Household

YEAR_DAYS = Fraction(1461, 4)
"""365.25 days: the mean year of the Julian calendar; the pumping table's last digit is 36 days."""

DISPOSER_SHARE = Fraction(8, 10)
"""A disposer leaves 80 % of the interval; published example: 750 gal, 6 people, 1.0 - 0.2 = 0.8 years."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time over which nobody comes and nobody goes."""

    begins: date
    people: Fraction  #: who live there, each a whole person
    residents: Fraction  #: the same in people who live there all year without a disposer


def stretches(household: Sequence[Household], since: date) -> list[Stretch]:
    """Cut the time from a day on wherever a row begins or ends; the last stretch has no end.

    Rows that hold at the same time add up, in one building or in several; days without a row have nobody.
    """
    changes = {day for row in household for day in (row.from_, row.to) if day is not None and day > since}
    cut = []
    for day in sorted({since} | changes):
        rows = [row for row in household if lives(row, day)]
        people = sum((Fraction(str(row.people)) for row in rows), Fraction(0))
        cut.append(Stretch(day, people, sum(map(_residents, rows), Fraction(0))))
    return cut


def lives(row: Household, day: date) -> bool:
    """Tell whether a row puts people into the house on a day."""
    holds = row.from_ <= day and (row.to is None or day < row.to)
    return holds and row.people > 0 and row.months_a_year > 0


def _residents(row: Household) -> Fraction:
    residents = Fraction(str(row.people)) * Fraction(str(row.months_a_year)) / 12
    return residents / DISPOSER_SHARE if row.disposer else residents


def resident_years(cut: Sequence[Stretch], until: date) -> float:
    """Years of one resident from the first stretch's beginning to a day; 0 before it."""
    total = Fraction(0)
    for place, stretch in enumerate(cut):
        end = cut[place + 1].begins if place + 1 < len(cut) else until
        total += stretch.residents * max(0, (min(end, until) - stretch.begins).days)
    return float(total / YEAR_DAYS)


def day_of(cut: Sequence[Stretch], years: float) -> date | None:
    """First day on which so many years of one resident have passed; None where they never do.

    Undoes `resident_years`. Never also beyond the calendar's year 9999.
    """
    left = max(0.0, years) * float(YEAR_DAYS)
    for place, stretch in enumerate(cut):
        length = (cut[place + 1].begins - stretch.begins).days if place + 1 < len(cut) else math.inf
        held = float(stretch.residents) * length if stretch.residents else 0.0
        if left <= held or left == 0.0:
            wait = left / float(stretch.residents) if left else 0.0
            return day_after(stretch.begins, wait - 1e-9)
        left -= held
    return None


def day_after(since: date, days: float | Fraction) -> date | None:
    """First whole day on which so many days have passed; None beyond the calendar's year 9999."""
    try:
        return since + timedelta(days=math.ceil(days))
    except OverflowError:
        return None

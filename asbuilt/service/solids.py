"""From tank size and household history to the next pump-out: the published table and its closed form.

The table gives the years between pump-outs by tank size and people, for a house lived in all year. The
closed form fits its 99 cells: `T = 0.0130 V/N - 0.65` years for V US gallons and N people, the same as
`(V - 50 N) / (76.92 N)`. Our reading of the two constants, inferred from the numbers and not taken from
the paper: 76.92 gal (1/0.0130) of sludge and scum gather per person and year, and 50 gal a person
(0.65/0.0130, one day of wastewater) must stay clear. That reading is what lets the closed form run over
a household that changed. It is conservative: measured rates of rise are several times lower, so the
table's answer must not be held against a measured criterion. Local code and a licensed pumper decide.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from types import MappingProxyType

from asbuilt.errors import AsbuiltError
from asbuilt.model.household import Household
from asbuilt.service.residence import YEAR_DAYS, Stretch, day_after, stretches

REFERENCE = (
    "K. Mancl, Estimating Septic Tank Pumping Frequency, J. Environ. Eng. (ASCE) 110(1):283-285, 1984 "
    "(from memory), table as reproduced by Penn State Extension"
)
"""Source of the table, printed with every answer."""

PUBLISHED_YEARS: Mapping[int, tuple[float | None, ...]] = MappingProxyType(
    {
        500: (5.8, 2.6, 1.5, 1.0, 0.7, 0.4, 0.3, 0.2, 0.1, None),
        750: (9.1, 4.2, 2.6, 1.8, 1.3, 1.0, 0.7, 0.6, 0.4, 0.3),
        900: (11.0, 5.2, 3.3, 2.3, 1.7, 1.3, 1.0, 0.8, 0.7, 0.5),
        1000: (12.4, 5.9, 3.7, 2.6, 2.0, 1.5, 1.2, 1.0, 0.8, 0.7),
        1250: (15.6, 7.5, 4.8, 3.4, 2.6, 2.0, 1.7, 1.4, 1.2, 1.0),
        1500: (18.9, 9.1, 5.9, 4.2, 3.3, 2.6, 2.1, 1.8, 1.5, 1.3),
        1750: (22.1, 10.7, 6.9, 5.0, 3.9, 3.1, 2.6, 2.2, 1.9, 1.6),
        2000: (25.4, 12.4, 8.0, 5.9, 4.5, 3.7, 3.1, 2.6, 2.2, 2.0),
        2250: (28.6, 14.0, 9.1, 6.7, 5.2, 4.2, 3.5, 3.0, 2.6, 2.3),
        2500: (31.9, 15.6, 10.2, 7.5, 5.9, 4.8, 4.0, 3.5, 3.0, 2.6),
    }
)
"""Years between pump-outs by tank size (US gallons) for 1 to 10 people; None = none printed. `REFERENCE`."""

YEARS_A_GALLON = Fraction(130, 10_000)
"""0.0130 years for one gallon of tank and one person: least squares over the 99 cells (our fit)."""

YEARS_KEPT_CLEAR = Fraction(65, 100)
"""0.65 years: the constant term of the same fit."""

CLEAR_GAL_A_PERSON = YEARS_KEPT_CLEAR / YEARS_A_GALLON
"""50 US gallons a person that solids must not fill (our reading of the fit)."""

SOLIDS_GAL_A_PERSON_YEAR = 1 / YEARS_A_GALLON
"""76.92 US gallons of sludge and scum a person and year (our reading of the fit)."""

EARLIEST_SHARE, LATEST_SHARE = Fraction(8, 10), Fraction(12, 10)
"""Published adjustment for 20 % more or 20 % less solids: the interval times 0.8 and times 1.2."""


class SolidsError(AsbuiltError, ValueError):
    """A tank volume or a household row from which no solids can be reckoned."""


@dataclass(frozen=True, slots=True)
class SolidsDue:
    """When the solids of a tank are due to be pumped, by the closed form, and the table's nearest cell."""

    since: date  #: the day the tank was empty of solids
    volume_gal: float
    people: float | None  #: living there at the moment it falls due; None = never due
    years: float | None  #: from `since` to the due moment, years of 365.25 days; None = never due
    due_on: date | None  #: first day on which the solids have reached the limit; None = never due
    earliest_on: date | None  #: the interval times 0.8 (20 % more solids)
    latest_on: date | None  #: the interval times 1.2 (20 % less solids)
    table: str | None  #: the nearest cell in words; None = never due
    closed_form: str  #: the closed form's answer in words
    remarks: tuple[str, ...]  #: where the history leaves what the table is made for
    reference: str = REFERENCE


def closed_form_years(volume_gal: float, people: float) -> float:
    """Years between pump-outs by the closed form, for a house lived in all year without a disposer.

    Parameters
    ----------
    volume_gal
        Nominal volume of the tank, US gallons.
    people
        People who live there; more than 0.

    Returns
    -------
    float
        Years; 0 where the tank holds no more than 50 gal a person.

    Raises
    ------
    SolidsError
        If either is not a number above 0.

    Examples
    --------
    >>> round(closed_form_years(1000, 4), 2)
    2.6
    """
    volume, persons = _exact_volume(volume_gal), _exact(people)
    if persons is None or persons <= 0:
        raise SolidsError(f"people is {people}; accepted: a number above 0")
    return float(max(Fraction(0), YEARS_A_GALLON * volume / persons - YEARS_KEPT_CLEAR))


def next_pump_out(volume_gal: float, household: Sequence[Household], since: date) -> SolidsDue | None:
    """Reckon when solids fill a tank that was empty of them on a day, over the household's history.

    Solids gather at 76.92 gal for each person and year of residence: `months_a_year` scales the rate, and
    a disposer divides the rate of its own row by 0.8. The tank is due when they reach V - 50 N gallons.
    N counts everybody who lives there at that time as a whole person, whatever `months_a_year` says: the
    50 gal are one day's wastewater, and on the days that people are there they need all of it. A row of
    0 months counts for nothing. Rows that hold at the same time add up, in one building or in several;
    days without a row gather nothing. Where V <= 50 N, the tank is due at once.

    Parameters
    ----------
    volume_gal
        Nominal volume of the tank, US gallons.
    household
        Rows in any order; `to` is the first day on which a row no longer holds.
    since
        The day the tank was empty of solids: a full pump-out or the day it was put in.

    Returns
    -------
    SolidsDue | None
        Dates are None where nobody lives there from some day on and the limit is not reached before, and
        where they lie beyond the year 9999. The result is None if there are no household rows at all.

    Raises
    ------
    SolidsError
        If the volume is not above 0, or a row has people below 0, months outside 0 to 12, or ends before
        it begins.

    Notes
    -----
    The reckoning is in exact fractions, so that a row split in two gives the same day. Earliest and latest
    take the published adjustment of 20 % more or less solids: the whole interval from `since`, empty
    stretches included, times 0.8 and 1.2.

    Examples
    --------
    >>> due = next_pump_out(1000, [Household(date(2015, 6, 1), people=4)], since=date(2020, 1, 1))
    >>> due.due_on.isoformat(), due.table
    ('2022-08-08', 'published table: 2.6 years for 1,000 gal and 4 people')
    """
    volume = _exact_volume(volume_gal)
    for row in household:
        check_row(row)
    if not household:
        return None
    reached = _reach(volume, stretches(household, since))
    if reached is None:
        return _never(volume_gal, household, since)
    days, stretch = reached
    people, years = float(stretch.people), float(days / YEAR_DAYS)
    return SolidsDue(
        since=since,
        volume_gal=volume_gal,
        people=people,
        years=years,
        due_on=day_after(since, days),
        earliest_on=day_after(since, days * EARLIEST_SHARE),
        latest_on=day_after(since, days * LATEST_SHARE),
        table=table_text(volume_gal, people),
        closed_form=f"closed form {years:,.1f} years over the household's history",
        remarks=_remarks(household, since, days, too_small=_limit_gal(volume, stretch) <= 0),
    )


def table_text(volume_gal: float, people: float) -> str:
    """Give the nearest cell of the published table in words.

    Halfway between two cells, the smaller tank and the larger household are taken: the shorter interval.

    Parameters
    ----------
    volume_gal
        US gallons.
    people
        People who live there.

    Examples
    --------
    >>> table_text(1100, 12)
    'published table: 0.7 years for 1,000 gal and 10 people (nearest cell to 1,100 gal and 12 people)'
    """
    gallons = min(PUBLISHED_YEARS, key=lambda size: (abs(size - volume_gal), size))
    row = PUBLISHED_YEARS[gallons]
    persons = min(range(1, len(row) + 1), key=lambda count: (abs(count - people), -count))
    years = row[persons - 1]
    cell = _size_words(gallons, persons)
    text = f"published table: {'no value' if years is None else f'{years:.1f} years'} for {cell}"
    if (gallons, persons) != (volume_gal, people):
        text += f" (nearest cell to {_size_words(volume_gal, people)})"
    return text


def number_words(value: float) -> str:
    """Write a number as people do: 1,250 or 2.5."""
    return f"{value:,.10g}"


def _size_words(gallons: float, people: float) -> str:
    return f"{number_words(gallons)} gal and {number_words(people)} {'person' if people == 1 else 'people'}"


def _exact(value: float) -> Fraction | None:
    """Take a number as it is written (0.1 is one tenth), so that sums do not depend on their order."""
    return Fraction(str(value)) if math.isfinite(value) else None


def _exact_volume(volume_gal: float) -> Fraction:
    volume = _exact(volume_gal)
    if volume is None or volume <= 0:
        raise SolidsError(f"volume_gal is {volume_gal}; accepted: US gallons above 0")
    return volume


def check_row(row: Household) -> None:
    """Refuse a row that no reckoning can use."""
    where = f"household row from {row.from_.isoformat()}"
    if not (math.isfinite(row.people) and row.people >= 0):
        raise SolidsError(f"{where}: people is {row.people}; accepted: a number from 0 up")
    if not 0 <= row.months_a_year <= 12:
        raise SolidsError(f"{where}: months_a_year is {row.months_a_year}; accepted: 0 to 12")
    if row.to is not None and row.to < row.from_:
        raise SolidsError(f"{where}: to is {row.to.isoformat()}; accepted: a day not before from, or blank")


def _gal_a_day(stretch: Stretch) -> Fraction:
    """Solids that gather."""
    return stretch.residents * SOLIDS_GAL_A_PERSON_YEAR / YEAR_DAYS


def _limit_gal(volume: Fraction, stretch: Stretch) -> Fraction:
    """Solids at which the tank is due while these people live there."""
    return volume - CLEAR_GAL_A_PERSON * stretch.people


def _reach(volume: Fraction, cut: list[Stretch]) -> tuple[Fraction, Stretch] | None:
    """Days from the first stretch's beginning until solids reach the limit, and the stretch it happens in."""
    solids, elapsed = Fraction(0), 0
    for index, stretch in enumerate(cut):
        last = index + 1 == len(cut)
        length = None if last else (cut[index + 1].begins - stretch.begins).days
        wait = _wait_days(_limit_gal(volume, stretch) - solids, _gal_a_day(stretch))
        if wait is not None and (length is None or wait <= length):
            return elapsed + wait, stretch
        solids += _gal_a_day(stretch) * (length or 0)
        elapsed += length or 0
    return None


def _wait_days(room_gal: Fraction, gal_a_day: Fraction) -> Fraction | None:
    """Days until the room is filled; 0 where there is none left, None where nothing gathers."""
    if room_gal <= 0:
        return Fraction(0)
    return room_gal / gal_a_day if gal_a_day else None


def _remarks(household: Sequence[Household], since: date, days: Fraction, *, too_small: bool) -> tuple[str, ...]:
    """Say where the history leaves what the table is made for: residence all year, no disposer."""
    ends = day_after(since, days)
    rows = [
        row
        for row in household
        if (row.to is None or row.to > since) and (ends is None or row.from_ <= ends) and row.people > 0
    ]
    remarks = []
    if too_small:
        remarks.append("the tank then holds no more than 50 gal a person, which makes it due at once")
    if any(row.months_a_year < 12 for row in rows):
        remarks.append("the table is for residence all year, the closed form counts the months lived there")
    if any(row.disposer for row in rows):
        remarks.append("a waste disposer shortens the closed form's interval by 20 % while it is in use")
    return tuple(remarks)


def _never(volume_gal: float, household: Sequence[Household], since: date) -> SolidsDue:
    ends = [row.to for row in household if row.to is not None and row.people > 0 and row.months_a_year > 0]
    empty_from = max([since, *ends])
    words = f"nobody is recorded as living there from {empty_from.isoformat()} on, so the limit is not reached"
    return SolidsDue(since, volume_gal, None, None, None, None, None, None, words, ())

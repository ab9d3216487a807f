"""Solids over a household's history: a day-by-day count, properties that must hold, special places."""

import math
from datetime import date, timedelta
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt.model.household import Household
from asbuilt.service.solids import SolidsError, closed_form_years, next_pump_out, table_text

START = date(2010, 1, 1)
FAR = date.max


@st.composite
def rows(draw: st.DrawFn) -> Household:
    from_ = START + timedelta(days=draw(st.integers(-2000, 3000)))
    length = draw(st.none() | st.integers(0, 2500))
    return Household(
        from_=from_,
        people=draw(st.integers(0, 7) | st.sampled_from([0.5, 2.5])),
        to=None if length is None else from_ + timedelta(days=length),
        months_a_year=draw(st.sampled_from([0.0, 1.5, 6.0, 9.0, 12.0])),
        disposer=draw(st.booleans()),
        building=draw(st.sampled_from([None, "house", "cottage"])),
    )


households = st.lists(rows(), min_size=1, max_size=4)
volumes = st.integers(100, 3000)
starts = st.integers(-1500, 1500).map(lambda days: START + timedelta(days=days))


def due_on(volume: float, household: list[Household], since: date) -> date:
    """Give the due date, the end of the calendar where it is never due."""
    due = next_pump_out(volume, household, since)
    assert due is not None
    return due.due_on or FAR


def by_counting_days(volume: float, household: list[Household], since: date, horizon: int) -> date | None:
    """Count solids one day after the other in floats: another way to the same day."""
    solids = 0.0
    for number in range(horizon + 1):
        day = since + timedelta(days=number)
        here = [
            row for row in household if row.from_ <= day and (row.to is None or row.to > day) and row.months_a_year > 0
        ]
        if solids >= volume - 50 * sum(row.people for row in here) - 1e-9:
            return day
        for row in here:
            solids += row.people * row.months_a_year / 12 / 0.0130 / 365.25 / (0.8 if row.disposer else 1.0)
    return None


@settings(max_examples=60, deadline=None)
@given(volumes, households, starts)
def test_the_date_is_that_of_counting_day_by_day(volume: int, household: list[Household], since: date) -> None:
    counted = by_counting_days(volume, household, since, horizon=8000)
    reckoned = due_on(volume, household, since)
    if counted is None:
        assert reckoned > since + timedelta(days=8000)
    else:
        # The count looks once a day: it can find a limit that was crossed on a household's last day late,
        # where that household has left by the time it looks.
        moved = any(row.to is not None and abs((row.to - reckoned).days) <= 1 for row in household)
        assert reckoned == counted or (moved and reckoned < counted)


@given(volumes, households, starts, st.integers(0, 3), st.integers(1, 3))
def test_more_people_are_never_due_later(
    volume: int, household: list[Household], since: date, which: int, more: int
) -> None:
    row = household[which % len(household)]
    fuller = Household(row.from_, row.people + more, row.to, row.months_a_year, row.disposer, row.building)
    others = [other for other in household if other is not row]
    assert due_on(volume, [*others, fuller], since) <= due_on(volume, household, since)
    extra = Household(row.from_, more, row.to, building="lodge")
    assert due_on(volume, [*household, extra], since) <= due_on(volume, household, since)


@given(volumes, households, starts)
def test_a_disposer_is_never_due_later(volume: int, household: list[Household], since: date) -> None:
    ground = [Household(r.from_, r.people, r.to, r.months_a_year, True, r.building) for r in household]
    assert due_on(volume, ground, since) <= due_on(volume, household, since)


@given(volumes, st.integers(0, 2000), households, starts)
def test_a_larger_tank_is_never_due_earlier(volume: int, more: int, household: list[Household], since: date) -> None:
    assert due_on(volume + more, household, since) >= due_on(volume, household, since)


@given(volumes, households, starts, st.integers(0, 2000))
def test_a_later_start_is_never_due_earlier(volume: int, household: list[Household], since: date, days: int) -> None:
    assert due_on(volume, household, since + timedelta(days=days)) >= due_on(volume, household, since)


@given(volumes, households, starts, st.integers(0, 3), st.integers(0, 4000))
def test_splitting_a_row_in_two_changes_nothing(
    volume: int, household: list[Household], since: date, which: int, days: int
) -> None:
    row = household[which % len(household)]
    cut = row.from_ + timedelta(days=days)
    if row.to is not None:
        cut = min(cut, row.to)
    before = Household(row.from_, row.people, cut, row.months_a_year, row.disposer, row.building)
    after = Household(cut, row.people, row.to, row.months_a_year, row.disposer, row.building)
    others = [other for other in household if other is not row]
    assert next_pump_out(volume, [*others, after, before], since) == next_pump_out(volume, household, since)


@given(volumes, households, starts, st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_nothing(
    volume: int, household: list[Household], since: date, random: Random
) -> None:
    shuffled = list(household)
    random.shuffle(shuffled)
    assert next_pump_out(volume, shuffled, since) == next_pump_out(volume, household, since)


@given(volumes, households, starts)
def test_the_due_date_lies_in_its_own_range(volume: int, household: list[Household], since: date) -> None:
    due = next_pump_out(volume, household, since)
    assert due is not None
    if due.due_on is None:
        assert due.people is None
        assert due.earliest_on is None
        assert due.latest_on is None
        return
    assert due.earliest_on is not None
    assert due.latest_on is not None
    assert since <= due.earliest_on <= due.due_on <= due.latest_on


def test_the_range_is_the_interval_times_eight_and_twelve_tenths() -> None:
    due = next_pump_out(1000, [Household(date(2000, 1, 1), people=4)], since=date(2021, 1, 1))
    assert due is not None
    # 2.6 years of 365.25 days = 949.65 days; times 0.8 = 759.72, times 1.2 = 1139.58; whole days, up.
    assert due.years == pytest.approx(2.6)
    assert due.due_on == date(2021, 1, 1) + timedelta(days=950)
    assert due.earliest_on == date(2021, 1, 1) + timedelta(days=760)
    assert due.latest_on == date(2021, 1, 1) + timedelta(days=1140)


def test_two_buildings_on_one_tank_add_up_to_the_tables_seven_people() -> None:
    household = [
        Household(date(2010, 1, 1), people=4, building="house"),
        Household(date(2010, 1, 1), people=3, building="cottage"),
    ]
    due = next_pump_out(1500, household, since=date(2020, 1, 1))
    assert due is not None
    assert due.people == 7
    assert due.table == "published table: 2.1 years for 1,500 gal and 7 people"
    assert due.years == pytest.approx(2.1, abs=0.05)  # half of the table's last digit


def test_a_household_that_grew_is_due_where_the_two_stretches_fill_the_tank() -> None:
    # By hand: 1,000 gal, 2 people for 1,000 days, then 4: 1,000 * 2/0.0130/365.25 = 421.19 gal are there,
    # 800 - 421.19 = 378.81 gal are left at 4/0.0130/365.25 = 0.84241 gal a day: 449.67 days more.
    household = [
        Household(date(2020, 1, 1), people=2, to=date(2020, 1, 1) + timedelta(days=1000)),
        Household(date(2020, 1, 1) + timedelta(days=1000), people=4),
    ]
    assert due_on(1000, household, date(2020, 1, 1)) == date(2020, 1, 1) + timedelta(days=1450)


def test_an_empty_stretch_only_moves_the_date_by_its_length() -> None:
    steady = [Household(date(2020, 1, 1), people=4)]
    away = [
        Household(date(2020, 1, 1), people=4, to=date(2021, 1, 1)),
        Household(date(2022, 1, 1), people=4),
    ]
    assert due_on(1000, away, date(2020, 1, 1)) == due_on(1000, steady, date(2020, 1, 1)) + timedelta(days=365)


def test_nothing_gathers_before_the_household_moves_in() -> None:
    household = [Household(date(2020, 1, 1), people=4)]
    assert due_on(1000, household, date(2015, 1, 1)) == due_on(1000, household, date(2020, 1, 1))


def test_months_a_year_slow_the_solids_but_leave_the_people_whole() -> None:
    due = next_pump_out(1000, [Household(date(2000, 1, 1), people=4, months_a_year=6)], date(2020, 1, 1))
    assert due is not None
    assert due.years == pytest.approx(5.2)  # (1000 - 50 * 4) / (76.92 * 4 * 6/12), not that of two people: 5.85
    assert due.people == 4
    assert due.remarks == ("the table is for residence all year, the closed form counts the months lived there",)


def test_a_disposer_in_one_building_speeds_only_that_buildings_solids() -> None:
    household = [
        Household(date(2000, 1, 1), people=2, building="house", disposer=True),
        Household(date(2000, 1, 1), people=2, building="cottage"),
    ]
    due = next_pump_out(1000, household, date(2020, 1, 1))
    assert due is not None
    assert due.years == pytest.approx(800 / (2 / 0.0130 / 0.8 + 2 / 0.0130))
    assert due.remarks == ("a waste disposer shortens the closed form's interval by 20 % while it is in use",)


def test_a_remark_is_not_made_of_a_household_that_had_left_before() -> None:
    household = [
        Household(date(2000, 1, 1), people=2, to=date(2010, 1, 1), disposer=True, months_a_year=3),
        Household(date(2010, 1, 1), people=4),
    ]
    due = next_pump_out(1000, household, date(2020, 1, 1))
    assert due is not None
    assert due.remarks == ()


@pytest.mark.parametrize("people", [10, 11])
def test_a_tank_of_no_more_than_fifty_gallons_a_person_is_due_at_once(people: int) -> None:
    due = next_pump_out(500, [Household(date(2000, 1, 1), people=people)], date(2020, 1, 1))
    assert due is not None
    assert due.due_on == due.earliest_on == due.latest_on == date(2020, 1, 1)
    assert due.years == 0
    assert "no more than 50 gal a person" in due.remarks[0]


def test_a_tank_that_becomes_too_small_is_due_on_that_day() -> None:
    household = [
        Household(date(2020, 1, 1), people=1),
        Household(date(2020, 7, 1), people=9, building="cottage"),
    ]
    assert due_on(500, household, date(2020, 1, 1)) == date(2020, 7, 1)


def test_the_last_day_of_a_household_still_counts() -> None:
    # 949.65 days fill the tank: within 950 days of residence, not within 949.
    for length, due in [(950, date(2020, 1, 1) + timedelta(days=950)), (949, FAR)]:
        household = [Household(date(2020, 1, 1), people=4, to=date(2020, 1, 1) + timedelta(days=length))]
        assert due_on(1000, household, date(2020, 1, 1)) == due


def test_a_house_that_stays_empty_is_never_due() -> None:
    due = next_pump_out(1000, [Household(date(2018, 1, 1), people=4, to=date(2020, 6, 1))], date(2019, 1, 1))
    assert due is not None
    assert (due.due_on, due.earliest_on, due.latest_on, due.table, due.years) == (None,) * 5
    assert due.closed_form == ("nobody is recorded as living there from 2020-06-01 on, so the limit is not reached")


@pytest.mark.parametrize(("people", "months"), [(0, 12.0), (3, 0.0)])
def test_a_row_of_nobody_or_of_no_months_never_fills_the_tank(people: int, months: float) -> None:
    household = [Household(date(2000, 1, 1), people=people, months_a_year=months)]
    assert due_on(100, household, date(2020, 1, 1)) == FAR


def test_no_household_rows_give_no_answer() -> None:
    assert next_pump_out(1000, [], date(2020, 1, 1)) is None


def test_a_date_beyond_the_calendar_is_no_crash() -> None:
    due = next_pump_out(100_000, [Household(date(2000, 1, 1), people=0.1)], date(2020, 1, 1))
    assert due is not None
    assert due.due_on is None
    assert due.closed_form == "closed form 12,999.4 years over the household's history"


@pytest.mark.parametrize("since", [date(2020, 2, 29), date(2024, 2, 29), date(2023, 3, 1)])
def test_leap_days_count_as_days(since: date) -> None:
    # 2.6 years of 365.25 days are 949.65 days, wherever 29 February falls.
    assert due_on(1000, [Household(date(2000, 2, 29), people=4)], since) == since + timedelta(days=950)


def test_half_way_between_cells_the_shorter_interval_is_printed() -> None:
    assert table_text(1125, 2.5) == (
        "published table: 3.7 years for 1,000 gal and 3 people (nearest cell to 1,125 gal and 2.5 people)"
    )
    assert table_text(5000, 0.2) == (
        "published table: 31.9 years for 2,500 gal and 1 person (nearest cell to 5,000 gal and 0.2 people)"
    )


@pytest.mark.parametrize(
    ("volume", "row", "message"),
    [
        (0, Household(START, 4), "volume_gal is 0; accepted: US gallons above 0"),
        (math.nan, Household(START, 4), "volume_gal is nan; accepted: US gallons above 0"),
        (
            1000,
            Household(START, -1),
            "household row from 2010-01-01: people is -1; accepted: a number from 0 up",
        ),
        (
            1000,
            Household(START, 4, months_a_year=13),
            "household row from 2010-01-01: months_a_year is 13; accepted: 0 to 12",
        ),
        (
            1000,
            Household(START, 4, to=date(2009, 1, 1)),
            "household row from 2010-01-01: to is 2009-01-01; accepted: a day not before from, or blank",
        ),
    ],
    ids=["no volume", "volume nan", "people", "months", "to"],
)
def test_what_cannot_be_reckoned_is_refused_in_one_sentence(volume: float, row: Household, message: str) -> None:
    with pytest.raises(SolidsError) as caught:
        next_pump_out(volume, [row], START)
    assert str(caught.value) == message


def test_the_closed_form_wants_people() -> None:
    with pytest.raises(SolidsError) as caught:
        closed_form_years(1000, 0)
    assert str(caught.value) == "people is 0; accepted: a number above 0"

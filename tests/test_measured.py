"""Measured sludge and scum: synthetic truth, properties of the reckoning, readings that cannot be. Data invented."""

from dataclasses import replace
from datetime import date, timedelta
from math import erf, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt.findings import Severity
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.profiles import built_in
from asbuilt.service.due import Due
from asbuilt.service.rates import Line, fit
from asbuilt.service.schedule import due_tasks
from tests.synthetic_tanks import PUMPED, Tank, drawn_tank, inches, readings, record_of

COMMON = built_in("common")
TODAY = date(2025, 1, 1)
ON = date(2022, 1, 1)


def pump_out(record: PropertyRecord, today: date = TODAY) -> Due:
    (due,) = (each for each in due_tasks(record, today, COMMON)[0] if each.task == "pump-out")
    return due


def read(on: date = ON, **layers: object) -> ServiceEntry:
    return ServiceEntry(on, "tank", "inspection", **layers)  # type: ignore[arg-type]


def codes(record: PropertyRecord, today: date = TODAY) -> list[str]:
    return [finding.code for finding in due_tasks(record, today, COMMON)[1] if finding.code != "overdue"]


# ------------------------------------------------------------ synthetic truth


@pytest.mark.parametrize("years", [[1.0], [1.0, 2.0], [0.5, 1.0, 1.5, 2.0]], ids=["one", "two", "four"])
def test_the_range_holds_the_true_day_four_times_in_five(years: list[float]) -> None:
    """Rates drawn from the prior, read with its noise: 1,000 tanks, 99 % band bootstrapped over tanks.

    Measured here: 0.83, 0.79 and 0.79 with one, two and four readings.
    """
    rng = np.random.default_rng(20260601)
    held = np.zeros(1000)
    for place in range(len(held)):
        tank = drawn_tank(rng)
        due = pump_out(record_of(tank, readings(tank, years, (1.0, 0.5), rng)))
        truth = PUMPED + timedelta(days=365.25 * tank.years_until_due())
        assert due.method == "measured solids"
        assert due.earliest_on is not None
        held[place] = due.earliest_on <= truth <= (due.latest_on or date.max)
    means = rng.choice(held, (2000, len(held))).mean(axis=1)
    low, high = np.quantile(means, [0.005, 0.995])
    assert low - 0.02 <= 0.80 <= high + 0.02  # 0.02: rates below 0 were not drawn, which the prior allows


def test_the_range_shrinks_with_readings_round_the_true_day() -> None:
    tank = Tank(sludge_rate=55, scum_rate=20)
    widths = []
    for years in ([1.0], [1.0, 2.0], [0.5, 1.0, 1.5, 2.0, 2.5]):
        exact = readings(tank, years, (0.0, 0.0), np.random.default_rng(1))
        due = pump_out(record_of(tank, exact))
        assert due.earliest_on is not None
        assert due.latest_on is not None
        widths.append((due.latest_on - due.earliest_on).days)
        truth = PUMPED + timedelta(days=365.25 * tank.years_until_due())
        assert due.earliest_on < truth < due.latest_on
    assert widths == sorted(widths, reverse=True)
    assert widths[2] < 0.4 * widths[0]


def test_the_posterior_is_that_of_the_textbook() -> None:
    """Normal prior, normal readings: precision adds up, mean is the weighted mean (any text on Bayesian statistics)."""
    line = fit([(1.0, 2.0), (3.0, 7.0)], 0.5, (1.0, 0.25), None, from_zero=True)
    assert line is not None
    precision = 1 / 0.25 + (1.0**2 + 3.0**2) / 0.5
    assert line.rate_var == pytest.approx(1 / precision)
    assert line.rate_m == pytest.approx((1.0 / 0.25 + (1.0 * 2.0 + 3.0 * 7.0) / 0.5) / precision)
    assert line.measured_share == pytest.approx(1 - (1 / precision) / 0.25)


def test_a_line_with_a_free_start_is_that_of_plain_least_squares_where_nothing_is_known() -> None:
    x, y = np.array([0.0, 1.0, 2.5, 4.0]), np.array([1.0, 1.8, 3.9, 5.1])
    line = fit(list(zip(x.tolist(), y.tolist(), strict=True)), 0.04, None, None, from_zero=False)
    assert line is not None
    slope, start = np.polyfit(x, y, 1)
    assert (line.rate_m, line.start_m) == (pytest.approx(slope), pytest.approx(start))


@given(
    st.floats(0.0, 0.2),
    st.floats(0.0, 0.01),
    st.floats(0.01, 0.2),
    st.floats(1e-6, 0.002),
    st.floats(-0.9, 0.9),
    st.sampled_from([0.1, 0.5, 0.9]),
)
def test_the_bound_is_reached_with_the_probability_that_was_asked_for(
    start: float, start_var: float, rate: float, rate_var: float, correlation: float, probability: float
) -> None:
    line = Line(start, start_var, rate, rate_var, correlation * sqrt(start_var * rate_var), 0.5)
    years = line.reached(0.5, probability)
    if years is None or years == 0.0:
        return
    mean = start + rate * years
    spread = sqrt(start_var + 2 * line.covariance * years + rate_var * years**2)
    assert 0.5 * (1 + erf((mean - 0.5) / spread / sqrt(2))) == pytest.approx(probability, abs=1e-6)


# ------------------------------------------------------------ which method, and why


def test_without_a_reading_the_table_answers_and_with_one_it_has_no_say() -> None:
    tank = Tank()
    table = pump_out(record_of(tank, []))
    assert table.method == "published table"
    assert "measured" not in table.reason
    measured = pump_out(record_of(tank, [read(sludge=inches(3), scum=inches(1))]))
    assert measured.method == "measured solids"
    assert "published table" not in measured.reason
    assert "1 reading since 2020-01-01" in measured.reason
    assert "25 % of liquid depth" in measured.reason


def test_the_same_tank_is_not_overdue_by_measure_where_it_is_by_the_table() -> None:
    """The table's implied 77 gal a person and year is several times the measured rates."""
    tank = Tank(sludge_rate=30, scum_rate=10)
    exact = readings(tank, [1.0, 2.0, 3.0], (0.0, 0.0), np.random.default_rng(1))
    assert pump_out(record_of(tank, [])).overdue
    assert not pump_out(record_of(tank, exact)).overdue


def test_readings_before_the_last_full_pump_out_have_no_say() -> None:
    full = ServiceEntry(date(2023, 1, 1), "tank", "pump-out", gallons=1200, sludge=inches(10), scum=inches(3))
    due = pump_out(record_of(Tank(), [read(sludge=inches(9), scum=inches(2)), full]))
    assert due.method == "published table"
    assert due.reason.startswith("pumped 2023-01-01 (1,200 gal of 1,250)")


def test_after_a_partial_pump_out_the_depth_starts_where_it_was_measured() -> None:
    tank = Tank()
    part = ServiceEntry(date(2022, 1, 1), "tank", "pump-out", gallons=500)
    before = read(date(2021, 6, 1), sludge=inches(5), scum=inches(2))
    after = read(date(2022, 6, 1), sludge=inches(2), scum=inches(1))
    due = pump_out(record_of(tank, [before, part, after]))
    naive = pump_out(record_of(tank, [before, after]))
    assert due.due_on is not None
    assert naive.due_on is not None
    # By hand, in inches and years of this house: prior 3.04 +- 1.18, 7 in read after 1.414 years +- 1.118.
    years, noise = (before.on - PUMPED).days / 365.25, 1.0**2 + 0.5**2
    prior, spread = tank.inches_a_year(75.0), tank.inches_a_year(sqrt(25.0**2 + 15.0**2))
    rate = (prior / spread**2 + years * 7 / noise) / (1 / spread**2 + years**2 / noise)
    expected = after.on + timedelta(days=365.25 * (12 - 3) / rate)
    assert abs((due.due_on - expected).days) <= 2
    assert due.due_on < naive.due_on  # which takes 3 in as what has gathered since the tank was empty
    assert "the pump-out of 2022-01-01 (500 gal of 1,250) does not start the clock again" in str(
        due_tasks(record_of(tank, [before, part, after]), TODAY, COMMON)[1]
    )


def test_compartments_are_reckoned_apart_and_the_first_to_fill_decides() -> None:
    inlet = read(compartment="inlet", sludge=inches(6), scum=inches(2))
    outlet = read(compartment="outlet", sludge=inches(2), scum=inches(0.5))
    due = pump_out(record_of(Tank(), [inlet, outlet]))
    assert "in the inlet compartment: sludge 6 in and scum 2 in" in due.reason
    alone = pump_out(record_of(Tank(), [outlet]))
    assert alone.due_on is not None
    assert due.due_on is not None
    assert due.due_on < alone.due_on


def test_minnesota_counts_the_capacity_of_all_compartments_together() -> None:
    """25 % of the capacity: 1,250 gal in 840 and 410; 15 and 5 in of solids are 24.5 % of it, 16 and 5 in 26 %."""
    record = record_of(Tank(outlet_depth_in=20), [])
    tank = replace(record.components[0], compartments="inlet 840, outlet 410")
    for sludge, met in ((13, False), (14, True)):
        share = (840 * (sludge + 2) + 410 * 5) / 1250 / 48
        assert (share > 0.25) is met
        both = (
            read(compartment="inlet", sludge=inches(sludge), scum=inches(2)),
            read(compartment="outlet", sludge=inches(4), scum=inches(1)),
        )
        minnesota = built_in("minnesota")
        capacity = replace(minnesota, limits=tuple(x for x in minnesota.limits if x.key == "solids_share"))
        dues = due_tasks(replace(record, components=(tank,), service=both), TODAY, capacity)[0]
        (due,) = (each for each in dues if each.task == "pump-out")
        assert ("all compartments" in due.reason, due.due_on == ON) == (True, met)


def test_without_the_tanks_own_depths_the_table_answers_and_the_readings_are_missed_aloud() -> None:
    record = record_of(Tank(), [read(sludge=inches(3), scum=inches(1))])
    bare = replace(record, components=(replace(record.components[0], liquid_depth=None, outlet_depth=None),))
    assert pump_out(bare).method == "published table"
    assert codes(bare) == ["readings-not-used"]


def test_without_a_household_the_layers_rise_with_time_and_two_readings_are_needed() -> None:
    record = record_of(Tank(), readings(Tank(), [1.0, 2.0], (0.0, 0.0), np.random.default_rng(1)))
    due = pump_out(replace(record, household=()))
    assert due.due_on is not None
    truth = PUMPED + timedelta(days=365.25 * Tank().years_until_due())
    assert abs((due.due_on - truth).days) <= 30
    assert "no household is recorded" in due.reason
    assert "100 % of what is known of the rate is measured" in due.reason


# ------------------------------------------------------------ readings that cannot be


@pytest.mark.parametrize(
    ("layers", "why"),
    [
        ({"sludge": inches(-1)}, "sludge -1.000 in is negative"),
        ({"sludge": inches(49)}, "sludge is 49.000 in, and the liquid depth is 48.000 in"),
        ({"sludge_top": inches(60)}, "sludge_top is 60.000 in, and the liquid depth is 48.000 in"),
        ({"sludge": inches(30), "scum_bottom": inches(20)}, "are more than the tank: the liquid depth is 48.000 in"),
        ({"sludge_top": inches(10), "scum_bottom": inches(12)}, "lies below the top of the sludge"),
        ({"sludge": inches(40), "scum": inches(30)}, "more than the tank and the air in it: the liquid depth is 48.0"),
        ({"sludge": inches(10), "sludge_top": inches(30)}, "do not add up: the liquid depth is 48.000 in"),
    ],
    ids=["negative", "deep", "top", "both", "crossed", "thick", "sum"],
)
def test_a_reading_that_cannot_be_is_a_finding_and_left_out(layers: dict[str, object], why: str) -> None:
    record = record_of(Tank(), [read(**layers)])
    (finding,) = (each for each in due_tasks(record, TODAY, COMMON)[1] if each.code == "impossible-reading")
    assert finding.severity is Severity.ATTENTION
    assert why in finding.message
    assert pump_out(record).method == "published table"


def test_sludge_that_falls_without_a_pump_out_is_noted() -> None:
    entries = [read(date(2021, 1, 1), sludge=inches(10)), read(date(2022, 1, 1), sludge=inches(5))]
    assert "sludge-falls" in codes(record_of(Tank(), entries))
    between = ServiceEntry(date(2021, 6, 1), "tank", "pump-out", gallons=1200)
    assert "sludge-falls" not in codes(record_of(Tank(), [*entries, between]))


# ------------------------------------------------------------ properties

LAYERS = st.tuples(st.integers(30, 1200), st.floats(0.5, 6), st.floats(0, 2))


@settings(max_examples=40, deadline=None)
@given(st.lists(LAYERS, min_size=1, max_size=4), st.integers(1, 6), st.floats(500, 2500), st.randoms())
def test_more_people_never_make_it_later_and_a_larger_tank_never_earlier_nor_does_order_matter(
    layers: list[tuple[int, float, float]], people: int, volume: float, random: object
) -> None:
    entries = [
        read(PUMPED + timedelta(days=days), sludge=inches(sludge), scum=inches(scum)) for days, sludge, scum in layers
    ]
    record = record_of(Tank(people=people), entries)
    due = pump_out(record)
    random.shuffle(entries)  # type: ignore[attr-defined]
    assert pump_out(record_of(Tank(people=people), entries)) == due
    more = (*record.household, Household(TODAY, 1.0, building="annex"))
    later_people = pump_out(replace(record, household=more))
    # Later is compared where the same readings stand: who comes after them can only bring the day nearer.
    assert (later_people.due_on or date.max) <= (due.due_on or date.max)
    emptied = ServiceEntry(TODAY, "tank", "pump-out", gallons=1250)
    assert pump_out(replace(record, service=(*entries, emptied))).method == "published table"


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 8), st.integers(500, 2500), st.integers(1, 500))
def test_by_the_table_too_a_larger_tank_is_never_earlier(people: int, volume: int, more: int) -> None:
    small, large = (
        pump_out(record_of(Tank(volume_gal=float(size), people=people), [])).due_on for size in (volume, volume + more)
    )
    assert small is not None
    assert large is not None
    assert small <= large

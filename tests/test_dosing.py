"""The pump tank in figures: gallons an inch, floats, drawdown, flow between entries, changes, hours left."""

import math
from datetime import date, timedelta
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.findings import Severity
from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.site_readings import SiteReading
from asbuilt.service.design_flow import DesignFlow, design_flow, mean_people
from asbuilt.service.dosing import gallons_per_inch, levels_on, pump_rates, reserve_hours
from asbuilt.service.flow import Flow, Stretch, flow_between, flows_of, judge, stretches_of
from asbuilt.service.pump_tank import PumpReport, pump_report
from asbuilt.units import INCH_M, Length

DAY = date(2024, 1, 1)
LATER = date(2026, 1, 1)


def inches(number: float) -> Length:
    return Length(f"{number:g} in", number * INCH_M, INCH_M)


def read(name: str, number: float, on: date = DAY, component: str = "pump tank", shown: str = "") -> SiteReading:
    return SiteReading(on, component, name, shown or f"{number:g}", number, "?")


def levels(off: float, on: float, alarm: float | None = None, inlet: float | None = None) -> list[SiteReading]:
    named = {"float-off": off, "float-on": on, "float-alarm": alarm, "inlet-invert": inlet}
    return [read(name, number * INCH_M) for name, number in named.items() if number is not None]


TANK = Component("pump tank", "pump tank", volume_gal=500, gal_per_in=12.0)


def report(readings: list[SiteReading], tank: Component = TANK, **more: object) -> PumpReport:
    place = Property("P", "ft-in", design_gpd=450)
    values: dict[str, object] = {"components": (tank,), "readings": tuple(readings)} | more
    return pump_report(PropertyRecord(place, (), **values), tank, LATER, {})  # type: ignore[arg-type]


def codes(found: PumpReport) -> list[str]:
    return [finding.code for finding in found.findings]


# ------------------------------------------------------------ gallons in an inch


def test_the_makers_figure_goes_before_the_plan_and_the_plan_before_the_nominal_volume() -> None:
    sizes = {"length": inches(72), "width": inches(54), "volume_gal": 500.0, "liquid_depth": inches(36)}
    stated = gallons_per_inch(Component("t", "pump tank", gal_per_in=12.5, wall=inches(3), **sizes))
    by_plan = gallons_per_inch(Component("t", "pump tank", wall=inches(3), **sizes))
    nominal = gallons_per_inch(Component("t", "pump tank", **sizes))
    outside = gallons_per_inch(Component("t", "pump tank", length=inches(72), width=inches(54)))
    assert stated is not None
    assert by_plan is not None
    assert nominal is not None
    assert outside is not None
    assert (stated.value, stated.rough) == (12.5, False)
    assert (by_plan.value, by_plan.words, by_plan.rough) == (
        pytest.approx(66 * 48 / 231),
        "66 x 48 in inside",
        False,
    )
    assert (nominal.value, nominal.rough) == (pytest.approx(500 / 36), True)
    assert "nominal volume 500 gal by liquid depth 36 in" in nominal.words
    assert (outside.value, outside.rough) == (pytest.approx(72 * 54 / 231), True)
    assert "outside (no wall thickness recorded" in outside.words


def test_a_round_tank_goes_by_its_inside_circle_and_a_lying_one_by_its_nominal_volume() -> None:
    upright = gallons_per_inch(
        Component("t", "pump tank", form="round", width=inches(54), length=inches(54), wall=inches(3))
    )
    lying = Component("t", "pump tank", form="lying", length=inches(96), width=inches(48), wall=inches(1))
    assert upright is not None
    assert upright.value == pytest.approx(math.pi * 24 * 24 / 231)
    assert gallons_per_inch(lying) is None


def test_a_round_tank_needs_only_its_width() -> None:
    upright = gallons_per_inch(Component("t", "pump tank", form="round", width=inches(54), wall=inches(3)))
    assert upright is not None
    assert (upright.value, upright.rough) == (pytest.approx(math.pi * 24 * 24 / 231), False)


# ------------------------------------------------------------ floats


def test_which_way_levels_were_measured_shows_in_the_floats_themselves() -> None:
    up, down = levels_on(levels(12, 18), DAY), levels_on(levels(62, 57), DAY)
    assert up is not None
    assert down is not None
    assert (up.upward, down.upward) == (True, False)


def test_the_dose_and_the_reserve_are_the_same_measured_up_or_down() -> None:
    up = report([*levels(12, 18, 24, 46), read("cycle-counter", 0), read("cycle-counter", 1000, LATER)])
    down = report([*levels(60, 54, 48, 26), read("cycle-counter", 0), read("cycle-counter", 1000, LATER)])
    assert up.dose_gal == pytest.approx(72)
    assert down.dose_gal == pytest.approx(72)
    assert up.reserve is not None
    assert down.reserve is not None
    assert up.reserve.gallons == pytest.approx(22 * 12)
    assert down.reserve.gallons == pytest.approx(up.reserve.gallons)
    assert up.reserve.hours == pytest.approx(24 * 264 / (72000 / 731))


def test_floats_that_stand_in_the_wrong_order_are_a_finding() -> None:
    assert codes(report(levels(12, 18, 15))) == ["floats-out-of-order"]
    assert codes(report(levels(12, 18, 24, 20))) == ["floats-out-of-order"]
    assert codes(report(levels(62, 57, 52, 40))) == []
    assert codes(report(levels(12, 12))) == ["floats-give-no-dose"]


def test_without_an_inlet_the_nominal_volume_bounds_the_reserve_where_levels_count_from_the_bottom() -> None:
    counter = [read("cycle-counter", 0), read("cycle-counter", 1000, LATER)]
    up, down = report([*levels(12, 18, 24), *counter]), report([*levels(62, 57, 50), *counter])
    assert up.reserve is not None
    assert up.reserve.gallons == pytest.approx(500 - 24 * 12)
    assert down.reserve is None


def test_without_a_counter_the_reserve_goes_by_the_design_flow_and_says_so() -> None:
    found = report(levels(12, 18, 24, 46)).reserve
    assert found is not None
    assert (found.gal_per_day, found.present) == (450, False)
    assert "design flow" in found.words


def test_where_nothing_runs_in_the_hours_have_no_end() -> None:
    assert reserve_hours(100, 0) == math.inf


# ------------------------------------------------------------ counters


def worth(stretch: Stretch) -> tuple[float, str]:
    return stretch.count, "one gallon a count"


def test_a_counter_that_went_back_tells_no_flow_and_is_a_finding() -> None:
    readings = [
        read("cycle-counter", n, DAY + timedelta(days=d)) for d, n in ((0, 500), (30, 900), (60, 12), (90, 100))
    ]
    stretches, (finding,) = stretches_of(readings, "cycle-counter")
    assert [each.count for each in stretches] == [400, 88]
    assert (finding.code, finding.severity) == ("counter-went-back", Severity.ATTENTION)
    assert "went back from 900 on 2024-01-31 to 12 on 2024-03-01" in finding.message


def test_a_counter_near_its_last_digit_may_have_run_over() -> None:
    readings = [read("cycle-counter", 9990), read("cycle-counter", 15, DAY + timedelta(days=9))]
    _, (finding,) = stretches_of(readings, "cycle-counter")
    assert "it ran over its last digit (then it went on by 25)" in finding.message


def test_a_counter_that_was_replaced_has_two_readings_of_one_day_and_no_gap() -> None:
    change = DAY + timedelta(days=100)
    readings = [
        read("cycle-counter", 400),
        read("cycle-counter", 0, change),
        read("cycle-counter", 700, change),
        read("cycle-counter", 90, change + timedelta(days=30)),
    ]
    for order in permutations(readings):
        stretches, findings = stretches_of(order, "cycle-counter")
        assert ([each.count for each in stretches], findings) == ([300, 90], [])


def test_gallons_a_day_between_any_two_entries_add_up_the_stretches_between() -> None:
    days = [DAY + timedelta(days=30 * k) for k in range(4)]
    flows, _ = flows_of([read("cycle-counter", n, d) for d, n in zip(days, (0, 100, 400, 600), strict=True)], worth)
    whole = flow_between(flows, days[0], days[3])
    part = flow_between(flows, days[1], days[3])
    assert whole is not None
    assert part is not None
    assert (whole.gal_per_day, part.gal_per_day) == (pytest.approx(600 / 90), pytest.approx(500 / 60))
    assert flow_between(flows, days[0], days[3] + timedelta(days=1)) is None


@given(st.lists(st.integers(0, 5000), min_size=2, max_size=6))
def test_the_order_of_the_readings_does_not_matter_and_gallons_add_up(steps: list[int]) -> None:
    total, readings = 0, []
    for k, step in enumerate(steps):
        total += step
        readings.append(read("cycle-counter", total, DAY + timedelta(days=10 * k)))
    flows, findings = flows_of(readings, worth)
    again, _ = flows_of(readings[::-1], worth)
    assert findings == []
    assert again == flows
    assert sum(flow.gallons for flow in flows) == total - steps[0]


def test_an_hour_meter_goes_by_the_drawdown_test_and_its_share_that_drains_back() -> None:
    line = Component("line", "transport line", pipe="2 in sch 40", drains_back=True, length=inches(600))
    readings = [
        *levels(12, 18),
        read("drawdown", 5 * INCH_M),
        read("drawdown-time", 1.5),
        read("hour-meter", 10),
        read("hour-meter", 40, LATER),
    ]
    found = report(readings, components=(TANK, line))
    (flow,) = found.flows
    back = math.pi / 4 * 2.067**2 * 600 / 231
    assert found.rates[0].gal_per_min == pytest.approx(40)
    assert found.drainback_gal == pytest.approx(back)
    assert flow.gallons == pytest.approx(30 * 60 * 40 * (1 - back / 72))


def test_a_line_that_drains_back_without_size_or_length_is_said_and_the_dose_counts_in_full() -> None:
    line = Component("line", "transport line", drains_back=True)
    readings = [*levels(12, 18), read("cycle-counter", 0), read("cycle-counter", 10, LATER)]
    found = report(readings, components=(TANK, line))
    assert codes(found) == ["drainback-unknown"]
    assert found.flows[0].gallons == pytest.approx(720)


def test_a_drawdown_without_its_time_gives_no_rate() -> None:
    assert pump_rates([read("drawdown", 0.1)], 12) == []


# ------------------------------------------------------------ against design and people


def flow(gal_per_day: float) -> Flow:
    return Flow("cycle-counter", DAY, DAY + timedelta(days=100), 100 * gal_per_day, "words")


FOUR = [Household(date(2020, 1, 1), 4)]


@pytest.mark.parametrize(
    ("gal_per_day", "said"),
    [
        (300, []),
        (300.1, ["over-design-flow"]),
        (4 * 103, ["over-design-flow"]),
        (4 * 104, ["over-design-flow", "use-high"]),
        (4 * 23, []),
        (4 * 22.9, ["use-low"]),
    ],
)
def test_flow_is_held_against_design_and_people_at_the_edges(gal_per_day: float, said: list[str]) -> None:
    """69 gallons a person and day is the mean (US EPA 2002: from memory); half as much again and a third are ours."""
    found = judge("t", flow(gal_per_day), DesignFlow(300, "words"), FOUR)
    assert [finding.code for finding in found] == said
    assert all(
        "69 is usual (US EPA 2002, from memory)" in each.message for each in found if each.code.startswith("use")
    )


def test_people_count_by_the_days_and_months_they_live_there() -> None:
    rows = [Household(DAY, 2, DAY + timedelta(days=50)), Household(DAY + timedelta(days=50), 4, months_a_year=6)]
    assert mean_people(rows, DAY, DAY + timedelta(days=100)) == pytest.approx((50 * 2 + 50 * 4 / 2) / 100)
    assert mean_people(rows, DAY, DAY) == 0.0


def test_the_recorded_design_flow_goes_before_the_bedrooms_and_without_both_there_is_none() -> None:
    stated = design_flow(Property("P", "ft", bedrooms=3, design_gpd=360))
    assert stated is not None
    assert stated.gal_per_day == 360
    assert design_flow(Property("P", "ft")) is None


# ------------------------------------------------------------ against the first day


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        (60, 49, []),
        (60, 48, ["squirt-height-down"]),
        (60, 72, ["squirt-height-up"]),
        (60, 71, []),
    ],
)
def test_a_squirt_height_that_changed_by_a_fifth_is_a_finding(first: float, last: float, said: list[str]) -> None:
    heights = [
        read("squirt-height", first * INCH_M, DAY, "lateral 1"),
        read("squirt-height", last * INCH_M, LATER, "lateral 1"),
    ]
    found = report(heights)
    assert codes(found) == said
    assert all("Likely causes (common practice): " in finding.next_act for finding in found.findings)


def test_a_change_says_its_size_and_both_days() -> None:
    found = report([read("dose-time", 1.5, DAY, shown="1.5 min"), read("dose-time", 2.0, LATER, shown="2 min")])
    (finding,) = found.findings
    assert finding.message == (
        "pump tank: the time for one dose was 1.5 min on 2024-01-01 and is 2 min on 2026-01-01, 33 % more."
    )


def test_a_new_pump_and_moved_floats_begin_a_baseline_of_their_own() -> None:
    new = ServiceEntry(date(2025, 1, 1), "pump tank", "pump replacement")
    readings = [read("amps", 9, DAY), read("amps", 12, date(2025, 1, 1)), read("amps", 12.5, LATER)]
    assert codes(report(readings)) == ["amps-up"]
    assert codes(report(readings, service=(new,))) == []
    moved = [read("float-on", 24 * INCH_M, date(2025, 1, 1)), read("dose-time", 3.0, date(2025, 1, 1))]
    times = [*levels(12, 18), read("dose-time", 1.5), read("dose-time", 3.1, LATER)]
    assert codes(report(times)) == ["dose-time-up"]
    assert codes(report([*times, *moved])) == []


def test_readings_of_the_tank_before_and_of_the_time_to_come_are_left_out() -> None:
    tank = Component("pump tank", "pump tank", gal_per_in=12.0, installed_on=date(2025, 1, 1))
    readings = [
        read("cycle-counter", 90000, DAY),
        read("cycle-counter", 5, date(2025, 1, 1)),
        read("cycle-counter", 105, LATER),
        read("cycle-counter", 3, LATER + timedelta(days=1)),
        *[
            SiteReading(date(2025, 1, 1), "pump tank", n, "?", v * INCH_M, "m")
            for n, v in (("float-off", 12), ("float-on", 18))
        ],
    ]
    found = report(readings, tank)
    assert [each.gallons for each in found.flows] == [pytest.approx(7200)]
    assert codes(found) == []

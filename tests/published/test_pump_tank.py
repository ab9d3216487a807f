"""The published arithmetic of a pump tank, step by step and through the record, and published design flows.

Source and what of it was read: `pump_tank.toml`. The published flow counts each dose in full; what drains back is a
further step of the same article, so the flow that leaves the tank is recomputed here.
"""

import tomllib
from datetime import date, timedelta
from pathlib import Path

import pytest

from asbuilt.model.components import Component
from asbuilt.model.pipes import inside_diameter_in
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.site_readings import SiteReading
from asbuilt.service.design_flow import DESIGN_RULES, USUAL_RULE, design_flow
from asbuilt.service.dosing import GALLON_IN3, dose_gal, pipe_gal_per_ft, plan_gal_per_in
from asbuilt.service.pump_tank import PumpReport, pump_report
from asbuilt.units import FOOT_M, INCH_M, US_GALLON_M3

PUBLISHED = tomllib.loads(Path(__file__).with_name("pump_tank.toml").read_text(encoding="utf-8"))
CASE = PUBLISHED["arithmetic"]
FIRST = date(2015, 1, 1)
SECOND = FIRST + timedelta(days=CASE["days"])


def report(gal_per_in: float, *, drains_back: bool) -> PumpReport:
    tank = Component("tank", "pump tank", gal_per_in=gal_per_in)
    line = Component("line", "transport line", pipe=CASE["pipe"], drains_back=drains_back)
    told = [
        (FIRST, "float-off", CASE["float_off_in"] * INCH_M, "m"),
        (FIRST, "float-on", CASE["float_on_in"] * INCH_M, "m"),
        (FIRST, "cycle-counter", CASE["counter_first"], "cycles"),
        (SECOND, "cycle-counter", CASE["counter_second"], "cycles"),
    ]
    record = PropertyRecord(
        Property("P", "ft-in", design_gpd=CASE["design_gal_per_day"]),
        (),
        components=(tank, line),
        readings=tuple(SiteReading(on, "tank", name, "?", number, unit) for on, name, number, unit in told),
    )
    return pump_report(record, tank, SECOND, {"line": CASE["pipe_length_ft"] * FOOT_M})


def test_a_gallon_is_231_cubic_inches() -> None:
    assert PUBLISHED["gallon"]["cubic_inches"] == GALLON_IN3
    assert pytest.approx(US_GALLON_M3, rel=1e-12) == GALLON_IN3 * INCH_M**3


def test_gallons_in_an_inch_of_the_plan_area() -> None:
    exact = plan_gal_per_in(*CASE["tank_in"])
    assert exact == pytest.approx(CASE["gal_per_in_exact"], abs=0.0005)
    assert exact == pytest.approx(CASE["gal_per_in"], abs=0.08)  # printed with 4.1 ft and 7.5 gal a cubic foot
    assert round(4.1 * 5.0 * 7.5 / 12, 1) == CASE["gal_per_in"]  # the printed way, by its own figures


def test_the_dose_between_the_floats_measured_down_from_a_mark() -> None:
    off, on = CASE["float_off_in"] * INCH_M, CASE["float_on_in"] * INCH_M
    assert dose_gal(off, on, CASE["gal_per_in"]) == pytest.approx(CASE["dose_gal"])
    assert dose_gal(off, on, plan_gal_per_in(*CASE["tank_in"])) == pytest.approx(CASE["dose_gal_exact"], abs=0.05)


def test_what_drains_back_from_the_pipe() -> None:
    a_foot = pipe_gal_per_ft(inside_diameter_in(CASE["pipe"]))
    assert a_foot == pytest.approx(CASE["pipe_gal_per_ft"], abs=0.005)  # printed to a hundredth
    assert CASE["pipe_gal_per_ft"] * CASE["pipe_length_ft"] == pytest.approx(CASE["drainback_gal"])
    assert a_foot * CASE["pipe_length_ft"] == pytest.approx(CASE["drainback_gal_exact"], abs=0.05)


def test_the_counter_gives_341_gallons_a_day_over_a_design_of_300() -> None:
    found = report(CASE["gal_per_in"], drains_back=False)
    (flow,) = found.flows
    assert CASE["counter_second"] - CASE["counter_first"] == CASE["cycles"]
    assert flow.gallons == pytest.approx(CASE["gallons"])
    assert flow.gal_per_day == pytest.approx(CASE["gal_per_day"], abs=0.5)
    (finding,) = found.findings
    assert finding.code == "over-design-flow"
    assert "341 gal a day" in finding.message
    assert "14 % over the design flow of 300 gal" in finding.message  # 341.3 / 300


def test_what_drains_back_after_each_dose_comes_off_the_flow() -> None:
    found = report(CASE["gal_per_in"], drains_back=True)
    back = 640 * 80 * 12 * 3.14159265 / 4 * 2.067**2 / 231  # another way: the whole pipe, 640 times
    assert found.flows[0].gallons == pytest.approx(CASE["gallons"] - back, rel=1e-6)
    assert "less 13.9 that drain back" in found.flows[0].words
    assert found.findings == ()  # 267 gal a day are under the design of 300


@pytest.mark.parametrize("bedrooms", range(1, 7))
def test_the_design_flow_by_bedrooms_is_that_of_the_table(bedrooms: int) -> None:
    table = PUBLISHED["design_flow"]["I"]
    found = design_flow(Property("P", "ft", bedrooms=bedrooms, rules="minnesota"))
    assert found is not None
    assert found.gal_per_day == table[max(0, bedrooms - 2)]
    assert "Minn. R. 7080.1860" in found.words


def test_the_figures_a_bedroom_are_the_published_ones() -> None:
    assert USUAL_RULE.per_bedroom_gal == PUBLISHED["design_flow_iowa"]["gal_per_bedroom"]
    assert DESIGN_RULES["massachusetts"].per_bedroom_gal == PUBLISHED["design_flow_massachusetts"]["gal_per_bedroom"]

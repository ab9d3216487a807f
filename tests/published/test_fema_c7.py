"""The published worked example of a tank held down against floating, and the factors that the profile takes from it.

Source and what of it was read: `fema_c7.toml`.
"""

import tomllib
from pathlib import Path

import pytest

from asbuilt.model.components import Component
from asbuilt.record.profiles import built_in
from asbuilt.service.flotation import (
    CONCRETE_LB_FT3,
    WATER_LB_FT3,
    Factors,
    anchor_concrete_ft3,
    factors_of,
    flotation,
    net_uplift_lb,
)
from asbuilt.units import FOOT_M, Length

CASE = tomllib.loads(Path(__file__).with_name("fema_c7.toml").read_text(encoding="utf-8"))


def test_the_weights_are_those_of_the_example() -> None:
    assert (CASE["water_lb_ft3"], CASE["concrete_lb_ft3"]) == (WATER_LB_FT3, CONCRETE_LB_FT3)


def test_net_uplift_and_concrete_come_out_as_printed() -> None:
    net = net_uplift_lb(CASE["gallons"] * CASE["ft3_per_gal"], CASE["weight_lb"], CASE["factor"])
    assert net == pytest.approx(CASE["net_uplift_lb"], abs=0.5 + 1e-9)  # printed to the pound
    assert anchor_concrete_ft3(net) == pytest.approx(CASE["concrete_ft3"], abs=0.05)  # printed to a tenth


def test_the_answer_for_a_tank_of_the_example_says_its_net_uplift_and_its_concrete() -> None:
    """The same volume as a box under water to its top, no soil over it."""
    length, width, height = (Length("", feet * FOOT_M, 0.0) for feet in (CASE["gallons"] * CASE["ft3_per_gal"], 1, 1))
    sizes = {"length": length, "width": width, "height": height, "cover": Length("0", 0.0, 0.0)}
    factors = Factors(CASE["factor"], 0.0, ())
    found = flotation(Component("t", "septic tank", weight_lb=CASE["weight_lb"], **sizes), factors, 0.0)
    assert found.concrete_ft3 == pytest.approx(CASE["concrete_ft3"], abs=0.05)
    assert f"{CASE['net_uplift_lb']:,} lb are short" in found.words


def test_the_factor_of_the_common_profile_is_that_of_the_example_and_says_so() -> None:
    factors = factors_of(built_in("common"))
    assert factors is not None
    assert factors.required == CASE["factor"]
    assert "FEMA P-259" in factors.sources[0]

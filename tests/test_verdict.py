"""How a number stands to a limit: just inside, just outside, too close to call, for each comparison."""

import numpy as np
import pytest

from asbuilt.checks.item import Outcome
from asbuilt.checks.look import K95, verdict
from asbuilt.checks.squirt import orifice_gpm, spread_percent
from asbuilt.model.components import Component
from asbuilt.rules.profile import Limit
from asbuilt.rules.reference import Reference
from asbuilt.service.holding_water import holding_water
from asbuilt.units import FOOT_M, Length


def limit(comparison: str, value: float = 10.0, unit: str = "ft", key: str = "setback") -> Limit:
    return Limit(key, value, unit, comparison, "tank", Reference("R."), "seen", to="well" if key == "setback" else None)


@pytest.mark.parametrize(
    ("comparison", "below", "at", "above"),
    [
        ("at least", Outcome.OUTSIDE, Outcome.DONE, Outcome.DONE),
        ("more than", Outcome.OUTSIDE, Outcome.OUTSIDE, Outcome.DONE),
        ("at most", Outcome.DONE, Outcome.DONE, Outcome.OUTSIDE),
        ("less than", Outcome.DONE, Outcome.OUTSIDE, Outcome.OUTSIDE),
    ],
)
def test_without_doubt_the_edge_decides(comparison: str, below: Outcome, at: Outcome, above: Outcome) -> None:
    got = [verdict(10 * FOOT_M + step, 0.0, limit(comparison)) for step in (-1e-6, 0.0, 1e-6)]
    assert got == [below, at, above]


@pytest.mark.parametrize("comparison", ["at least", "at most"])
def test_with_doubt_the_edge_lies_1_96_standard_deviations_off(comparison: str) -> None:
    sigma, edge = 0.05, K95 * 0.05
    way = 1 if comparison == "at least" else -1
    for step, outcome in (
        (way * (edge + 1e-6), Outcome.DONE),
        (way * (edge - 1e-6), Outcome.DOUBTFUL),
        (0.0, Outcome.DOUBTFUL),
        (-way * (edge - 1e-6), Outcome.DOUBTFUL),
        (-way * (edge + 1e-6), Outcome.OUTSIDE),
    ):
        assert verdict(10 * FOOT_M + step, sigma, limit(comparison)) is outcome


@pytest.mark.parametrize(
    ("value", "unit", "si"),
    [(0.25, "in/ft", 0.25 / 12), (2, "%", 0.02), (6, "in/100 ft", 0.005), (1, "in/ft", 1 / 12)],
)
def test_a_slope_is_the_same_in_every_unit(value: float, unit: str, si: float) -> None:
    assert limit("at least", value, unit, "pipe_slope").si == pytest.approx(si)


def test_a_percentage_that_is_no_slope_stays_one() -> None:
    assert limit("at most", 21, "%", "squirt_in_lateral").si == 21


@pytest.mark.parametrize(("size", "holds"), [(None, False), (2.9, False), (3, True), (6, True), (6.1, False)])
def test_a_limit_for_some_sizes_holds_for_no_other(size: float | None, holds: bool) -> None:
    sized = Limit("pipe_slope", 1, "%", "at least", "x", Reference("R."), "seen", None, None, 3, 6)
    assert sized.holds_for_size(size) is holds


def test_flow_goes_by_the_root_of_the_head_and_the_square_of_the_hole() -> None:
    assert orifice_gpm(0.25, 4.0) == pytest.approx(2 * orifice_gpm(0.25, 1.0))
    assert orifice_gpm(0.25, 1.0) == pytest.approx(4 * orifice_gpm(0.125, 1.0))


def test_a_lateral_that_is_dry_at_one_end_is_infinitely_uneven() -> None:
    assert spread_percent([1.0, 0.0]) == float("inf")


def feet(number: float) -> Length:
    return Length(f"{number} ft", number * FOOT_M, 0.01)


def tank(weight_lb: float | None, wall: float = 0.25) -> Component:
    size = feet(8), feet(5), feet(5)
    return Component("tank", "septic tank", "box", *size, wall=feet(wall), weight_lb=weight_lb)


def test_the_water_that_holds_a_bare_tank_makes_up_what_its_weight_lacks() -> None:
    """8 x 5 x 5 ft outside: 12,480 lb of uplift; inside plan 7.5 x 4.5 ft: 2,106 lb a foot of water."""
    held = holding_water(tank(8000))
    assert held.depth_m == pytest.approx((12480 - 8000) / 2106 * FOOT_M, rel=1e-3)
    assert not held.quarter_holds  # 1.25 ft hold 2,633 lb of the 4,480 that lack
    heavier = holding_water(tank(12480 - 2600))
    assert heavier.quarter_holds


def test_a_tank_heavier_than_its_uplift_needs_no_water_and_a_weightless_one_is_not_held() -> None:
    heavy, light = holding_water(tank(13000)), holding_water(tank(100))
    assert (heavy.depth_m, heavy.quarter_holds) == (0.0, True)
    assert light.depth_m is None


def test_without_a_weight_or_a_size_nothing_is_reckoned() -> None:
    weightless = holding_water(tank(None))
    assert (weightless.depth_m, weightless.why) == (None, "without its weight on record nobody can tell")
    flat = holding_water(Component("tank", "septic tank", "box", feet(8), feet(5), weight_lb=5000))
    assert (flat.depth_m, flat.why) == (None, "without its outside sizes on record nobody can tell")
    solid = holding_water(tank(8000, wall=2.5))
    assert (solid.depth_m, "leave no room" in solid.why) == (None, True)


def test_where_no_wall_is_recorded_the_water_that_holds_a_tank_may_have_to_be_deeper() -> None:
    """The outside plan gives more room than there is, so the depth is a least one and says why."""
    outside = holding_water(Component("t", "septic tank", "box", feet(8), feet(5), feet(5), weight_lb=8000))
    known = holding_water(tank(8000))
    assert outside.depth_m is not None and known.depth_m is not None
    assert outside.depth_m < known.depth_m
    assert ("no wall thickness recorded" in outside.rough, known.rough) == (True, "")
    nearly = holding_water(Component("t", "septic tank", "box", feet(8), feet(5), feet(5), weight_lb=12480 - 2900))
    assert nearly.quarter_holds is None  # by the outside plan it would: 3,120 lb in a quarter


@pytest.mark.parametrize("weight_lb", [1900.0, 3000.0, 4500.0])
def test_a_lying_tank_is_held_by_its_own_segment_of_water(weight_lb: float) -> None:
    """8 ft long, 4 ft across, wall 1/4 ft; the segment is summed up here from the chords of thin layers."""
    lying = Component(
        "t", "septic tank", length=feet(8), width=feet(4), form="lying", wall=feet(0.25), weight_lb=weight_lb
    )
    held = holding_water(lying)
    assert (held.rough, held.why) == ("", "")
    assert held.depth_m is not None
    middles = (np.arange(20_000) + 0.5) / 20_000 * held.depth_m / FOOT_M
    chords = 2 * np.sqrt(1.75**2 - (1.75 - middles) ** 2)
    water_lb = 62.4 * 7.5 * chords.mean() * held.depth_m / FOOT_M
    assert water_lb == pytest.approx(62.4 * np.pi * 4 * 8 - weight_lb, rel=1e-4)

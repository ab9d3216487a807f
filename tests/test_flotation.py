"""Whether an emptied tank floats: three answers, each at its edge, kept on the safe side."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.model.components import Component
from asbuilt.service.flotation import Factors, Flotation, Verdict, flotation
from asbuilt.service.tank_body import Body
from asbuilt.units import FOOT_M, Length

FACTORS = Factors(1.3, 37.6, ("one", "two"))


def feet(number: float) -> Length:
    return Length(f"{number:g} ft", number * FOOT_M, 0.01)


def tank(**more: object) -> Component:
    """Give a concrete box of 10 x 5 x 5 ft under 1 ft of soil: 250 ft3, 50 ft2, 15,600 lb of uplift under water."""
    values: dict[str, object] = {
        "length": feet(10),
        "width": feet(5),
        "height": feet(5),
        "cover": feet(1),
        "weight_lb": 10000.0,
        "material": "concrete",
        "wall": feet(0.25),
        "liquid_depth": feet(4),
    }
    return Component("septic tank", "septic tank", **(values | more))  # type: ignore[arg-type]


def judged(groundwater_ft: float | None, **more: object) -> Flotation:
    return flotation(tank(**more), FACTORS, None if groundwater_ft is None else groundwater_ft * FOOT_M)


def test_the_factor_is_weight_and_soil_by_uplift() -> None:
    found = judged(3)  # bottom at 6 ft: 3 ft of it under water
    assert found.uplift_lb == pytest.approx(62.4 * 50 * 3)
    assert found.soil_lb == pytest.approx(37.6 * 50 * 1)
    assert found.factor == pytest.approx((10000 + 1880) / 9360)
    assert found.worst_factor == pytest.approx(11880 / 15600)


@pytest.mark.parametrize(
    ("factor", "verdict"),
    [(1.3001, Verdict.HOLDS), (1.2999, Verdict.UNKNOWN), (1.0001, Verdict.UNKNOWN), (0.9999, Verdict.FLOATS)],
)
def test_the_answer_changes_at_one_and_at_what_is_asked_for(factor: float, verdict: Verdict) -> None:
    assert judged(0, weight_lb=factor * 15600 - 1880).verdict is verdict


@pytest.mark.parametrize("missing", ["weight_lb", "length", "width", "height"])
def test_without_weight_or_size_nobody_can_tell(missing: str) -> None:
    found = judged(20, **{missing: None})
    assert (found.verdict, found.factor) == (Verdict.UNKNOWN, None)
    assert missing in found.missing
    assert str(found.verdict) == "cannot tell: treat as able to float"


def test_without_groundwater_nobody_can_tell_but_the_worst_case_is_said() -> None:
    found = judged(None)
    assert found.verdict is Verdict.UNKNOWN
    assert found.words == (
        "Not recorded: the groundwater depth. With water up to the ground the weights would be 0.76 times the uplift: "
        "then it floats."
    )


def test_soil_that_is_not_recorded_does_not_count_and_the_tank_counts_as_under_water() -> None:
    found = judged(20, cover=None)
    assert (found.soil_lb, found.uplift_lb) == (0, pytest.approx(15600))
    assert found.verdict is Verdict.UNKNOWN
    assert judged(20, cover=None, weight_lb=1.31 * 15600).verdict is Verdict.HOLDS


def test_where_no_water_reaches_the_tank_it_holds_and_the_flood_is_said_all_the_same() -> None:
    found = judged(6)
    assert (found.verdict, found.factor) == (Verdict.HOLDS, math.inf)
    assert "does not reach the tank" in found.words
    assert "then it floats" in found.words


def test_the_water_left_inside_makes_up_what_is_short() -> None:
    found = judged(3)
    short = 1.3 * 9360 - 11880
    assert found.water_inside_m == pytest.approx(short / (62.4 * 9.5 * 4.5) * FOOT_M, rel=1e-6)
    assert judged(6).water_inside_m is None  # none needed
    assert judged(0, weight_lb=100.0).water_inside_m is None  # a full tank would not hold it


def test_water_left_in_a_tank_of_unknown_walls_is_not_told_and_it_is_said_why() -> None:
    for found in (judged(3, wall=None), judged(3, wall=None, form="lying", weight_lb=4000.0)):
        assert found.water_inside_m is None
        assert "only roughly known" in found.no_water
    assert judged(0, weight_lb=100.0).no_water == "even filled to its liquid level it does not weigh enough"
    assert judged(6).no_water == ""  # none needed


def test_the_water_left_in_a_lying_tank_goes_by_its_segment() -> None:
    """Wall 0: the same cylinder in and out, so that half a tank of water makes up half its uplift."""
    half = 62.4 * math.pi * 2.5**2 * 10 / 2
    lying = {"form": "lying", "height": None, "wall": feet(0), "liquid_depth": None, "cover": feet(0)}
    found = judged(0, weight_lb=(2 * 1.3 - 1) * half, **lying)
    assert found.water_inside_m == pytest.approx(2.5 * FOOT_M)


def test_a_tank_that_is_too_light_says_how_much_concrete_would_hold_it_and_leaves_the_anchoring_to_an_engineer() -> (
    None
):
    found = judged(3)
    short = 1.3 * 9360 - 11880
    assert found.concrete_ft3 == pytest.approx(short / (150 - 62.4))
    assert "288 lb are short of what is asked for; concrete of about 3 ft3 under water" in found.words
    assert "FEMA P-259, Example C7" in found.words
    assert found.words.endswith("a licensed engineer's design.")
    assert judged(6).concrete_ft3 is None
    assert "concrete" not in judged(6).words


def test_a_round_tank_and_a_lying_one_displace_their_own_volume() -> None:
    assert Body(6, 6, 5, "round").volume_ft3(5) == pytest.approx(math.pi * 9 * 5)
    lying = Body(8, 4, 4, "lying")
    assert lying.volume_ft3(4) == pytest.approx(math.pi * 4 * 8)
    assert lying.volume_ft3(2) == pytest.approx(math.pi * 4 * 8 / 2)
    assert lying.volume_ft3(1) == pytest.approx(8 * (4 * math.acos(0.5) - math.sqrt(3)))  # segment, r = 2, h = 1
    round_tank = judged(3, form="round", length=None, width=feet(6))
    assert round_tank.uplift_lb == pytest.approx(62.4 * math.pi * 9 * 3)


@pytest.mark.parametrize(
    ("material", "fragile"),
    [("concrete", False), ("Polyethylene", True), ("fiberglass", True), ("HDPE", True), (None, True)],
)
def test_plastic_fiberglass_and_the_unknown_can_be_pressed_in(material: str | None, fragile: bool) -> None:
    assert judged(3, material=material).fragile is fragile


@given(st.floats(0, 10), st.floats(0, 10), st.floats(100, 30000), st.floats(0, 3))
def test_higher_water_never_helps_and_weight_and_soil_never_hurt(
    high: float, low: float, weight: float, cover: float
) -> None:
    shallow, deep = sorted((high, low))
    base = judged(deep, weight_lb=weight, cover=feet(cover))
    wetter = judged(shallow, weight_lb=weight, cover=feet(cover))
    heavier = judged(deep, weight_lb=weight + 100, cover=feet(cover))
    assert base.factor is not None
    assert wetter.factor is not None
    assert heavier.factor is not None
    assert wetter.factor <= base.factor <= heavier.factor
    assert base.worst_factor is not None
    assert base.worst_factor <= base.factor

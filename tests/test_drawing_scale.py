"""Standard scales: what they are, which is the largest that fits, and what is refused."""

import pytest

from asbuilt.output.drawing.scale import (
    FEET_TO_THE_INCH,
    PAPERS_MM,
    ScaleError,
    bar_steps,
    largest_fitting,
    metric_scale,
    parse_scale,
    scales,
    us_scale,
)
from asbuilt.units import FOOT_M


def test_papers_have_the_sizes_of_their_standards() -> None:
    """ISO 216 (A series, whole millimetres) and ANSI Y14.1 A and B (8.5 x 11 in, 11 x 17 in)."""
    assert PAPERS_MM["a4"] == (210, 297)
    assert PAPERS_MM["a3"] == (297, 420)
    assert PAPERS_MM["us-letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))
    assert PAPERS_MM["tabloid"] == pytest.approx((11 * 25.4, 17 * 25.4))


@pytest.mark.parametrize("feet", FEET_TO_THE_INCH)
def test_an_inch_of_paper_is_so_many_feet_of_ground(feet: int) -> None:
    scale = parse_scale(f"1 in = {feet} ft")
    assert scale.ratio == pytest.approx(12 * feet)
    assert scale.mm_per_m * feet * FOOT_M == pytest.approx(25.4)


@pytest.mark.parametrize("text", ["1:200", " 1 : 200 ", "1 :200"])
def test_metric_scales_are_read_with_and_without_blanks(text: str) -> None:
    assert parse_scale(text) == metric_scale(200)


@pytest.mark.parametrize("text", ["1\" = 20'", "1in=20ft", "1 inch = 20 feet"])
def test_feet_to_the_inch_are_read_as_people_write_them(text: str) -> None:
    assert parse_scale(text) == us_scale(20)


@pytest.mark.parametrize("text", ["1 in = 25 ft", "1:240", "20", "", "1:0", "1/4 in = 1 ft", "1 in = 20 m", "1:२००"])
def test_what_is_no_standard_scale_is_refused_with_the_standard_ones(text: str) -> None:
    with pytest.raises(ScaleError) as refused:
        parse_scale(text)
    assert str(refused.value) == (
        f'{text!r} is no standard scale; accepted: "1 in = N ft" with N one of 10, 20, 30, 40, 50, 60, 100, '
        "or one of 1:50, 1:100, 1:200, 1:250, 1:500"
    )


def test_the_largest_scale_that_fits_is_taken() -> None:
    # 130 ft in 7 in: 130 / 20 = 6.5 in fits, 130 / 10 = 13 in does not
    assert largest_fitting((130 * FOOT_M, 10.0), [(7 * 25.4, 200.0)], "ft").name == "1 in = 20 ft"
    assert largest_fitting((17.0, 34.0), [(180.0, 180.0)], "m").name == "1:200"
    assert largest_fitting((17.0, 34.0), [(180.0, 180.0), (180.0, 350.0)], "m").name == "1:100"


def test_beyond_the_standard_scales_there_is_always_a_smaller_round_one() -> None:
    assert largest_fitting((3000.0, 3000.0), [(180.0, 180.0)], "m").name == "1:20000"
    found = [scale.ratio for _, scale in zip(range(20), scales("ft-in"), strict=False)]
    assert found == sorted(found)
    assert len(set(found)) == 20


def test_the_scale_bar_has_round_steps_and_room() -> None:
    for units in ("ft-in", "m"):
        for scale in (us_scale(10), us_scale(40), metric_scale(50), metric_scale(500)):
            step_m, step, count = bar_steps(scale, units, 40.0)
            assert step_m == pytest.approx(step * (1.0 if units == "m" else FOOT_M))
            assert str(f"{step:e}")[0] in "125"
            assert 2 <= count <= 4
            assert count * step_m * scale.mm_per_m <= 40.0

"""Where two tapes meet, which is left, how far they miss, and what their crossing angle costs."""

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from asbuilt.survey.quality import K95_CIRCLE, ellipse_95, radius_95
from asbuilt.survey.start import circle_gap, locate_point, pair_starts

CASE = tomllib.loads(Path(__file__).with_name("two_circles.toml").read_text(encoding="utf-8"))
ROWS = [dict(zip(CASE["crossings"]["columns"], row, strict=True)) for row in CASE["crossings"]["rows"]]


def crossing(gamma_deg: float, sigmas: list[float]) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Covariance of a place that two tapes reach at this angle."""
    half = math.radians(gamma_deg) / 2
    anchors = 100 * np.array([(math.cos(half), math.sin(half)), (math.cos(half), -math.sin(half))])
    found = locate_point(anchors, [100.0, 100.0], np.array(sigmas))
    (at_origin,) = (candidate for candidate in found if np.hypot(*candidate.place) < 1e-6)
    return at_origin.covariance


@pytest.mark.parametrize("case", CASE["meetings"])
def test_two_circles_meet_left_first_and_right_second(case: dict[str, Any]) -> None:
    a, b, (ra, rb) = case["a"], case["b"], case["radii"]
    found = pair_starts(np.array([a, b]), np.array([ra, rb]))
    assert found == pytest.approx(np.array([case["left"], case["right"]]), abs=case["rounding"])
    assert circle_gap(a, ra, b, rb) == 0
    back = pair_starts(np.array([b, a]), np.array([rb, ra]))  # seen from the other end left and right change places
    assert back == pytest.approx(found[::-1], abs=1e-9)


@pytest.mark.parametrize("case", CASE["misses"])
def test_circles_that_miss_give_their_gap(case: dict[str, Any]) -> None:
    a, b, (ra, rb) = case["a"], case["b"], case["radii"]
    assert circle_gap(a, ra, b, rb) == pytest.approx(case["gap"], abs=1e-12)
    assert circle_gap(b, rb, a, ra) == pytest.approx(case["gap"], abs=1e-12)


@pytest.mark.parametrize("case", CASE["touches"])
def test_circles_that_touch_give_one_place_twice(case: dict[str, Any]) -> None:
    a, b, (ra, rb) = case["a"], case["b"], case["radii"]
    assert pair_starts(np.array([a, b]), np.array([ra, rb])) == pytest.approx(np.array([case["place"]] * 2), abs=1e-12)
    assert circle_gap(a, ra, b, rb) == 0


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['gamma_deg']} degrees")
def test_the_crossing_angle_costs_what_the_table_says(row: dict[str, float]) -> None:
    tolerance = CASE["crossings"]["rounding"]
    for gamma_deg in (row["gamma_deg"], 180 - row["gamma_deg"]):
        covariance = crossing(gamma_deg, [0.01, 0.01]) / 0.01**2
        ellipse = ellipse_95(covariance)
        assert ellipse.major_m / K95_CIRCLE == pytest.approx(row["a"], abs=tolerance)
        assert ellipse.minor_m / K95_CIRCLE == pytest.approx(row["b"], abs=tolerance)
        assert math.sqrt(np.trace(covariance)) == pytest.approx(row["drms"], abs=tolerance)
        assert radius_95(covariance) == pytest.approx(row["r95"], abs=tolerance)


def test_unequal_tapes_follow_the_formula_of_crossing_lines() -> None:
    case = CASE["unequal"]
    covariance = crossing(case["gamma_deg"], case["sigmas"])
    assert math.sqrt(np.trace(covariance)) == pytest.approx(case["drms"], abs=case["rounding"])
    formula = math.hypot(*case["sigmas"]) / math.sin(math.radians(case["gamma_deg"]))
    assert math.sqrt(np.trace(covariance)) == pytest.approx(formula, rel=1e-6)

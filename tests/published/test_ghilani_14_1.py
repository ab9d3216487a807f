"""Three long distances to one station: Ghilani, *Adjustment Computations*, Example 14.1."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from asbuilt.survey.quality import K95_CIRCLE, chi2_quantile, ellipse_95
from asbuilt.survey.start import Candidate, locate_point

CASE = tomllib.loads(Path(__file__).with_name("ghilani_14_1.toml").read_text(encoding="utf-8"))
CONTROL = np.array(CASE["data"]["control"])
DISTANCES = np.array(CASE["data"]["distances"])


def located(sigma: float) -> Candidate:
    return locate_point(CONTROL, DISTANCES, np.full(3, sigma))[0]


def test_the_station_is_where_the_book_prints_it() -> None:
    printed = CASE["printed"]
    assert located(1.0).place == pytest.approx(printed["U"], abs=printed["rounding"])


def test_the_station_agrees_with_the_recomputation_to_its_last_digit() -> None:
    ours = CASE["recomputed"]
    found = located(1.0)
    assert found.place == pytest.approx(ours["U"], abs=ours["U_rounding"])
    assert np.sqrt(found.chi2) == pytest.approx(ours["s0"], abs=ours["s0_rounding"])  # one degree of freedom
    residuals = np.hypot(*(found.place - CONTROL).T) - DISTANCES
    assert residuals == pytest.approx(ours["residuals"], abs=ours["residual_rounding"])


def test_the_covariance_and_its_ellipse_agree() -> None:
    ours = CASE["recomputed"]
    found = located(1.0)
    assert found.covariance == pytest.approx(np.array(ours["Q"]), abs=1e-5)  # the ridge against singular cases
    ellipse = ellipse_95(found.covariance * ours["s0"] ** 2)
    assert ellipse.major_m / K95_CIRCLE == pytest.approx(ours["Su"], abs=ours["axis_rounding"])
    assert ellipse.minor_m / K95_CIRCLE == pytest.approx(ours["Sv"], abs=ours["axis_rounding"])
    assert ellipse.azimuth_deg == pytest.approx(ours["azimuth_deg"], abs=ours["azimuth_rounding"])


def test_the_global_test_passes_and_fails_a_hair_apart() -> None:
    case = CASE["global_test"]
    limit = chi2_quantile(0.95, 1)
    passes, fails = (located(case[f"{word}_with_sigma"]).chi2 for word in ("passes", "fails"))
    assert passes == pytest.approx(case["passes_T"], abs=case["T_rounding"])
    assert fails == pytest.approx(case["fails_T"], abs=case["T_rounding"])
    assert passes < limit < fails

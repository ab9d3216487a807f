"""Chi-square quantiles against printed tables and against scipy."""

import math
import tomllib
from pathlib import Path

import pytest
from scipy import stats

from asbuilt.survey.quality import chi2_quantile

CASE = tomllib.loads(Path(__file__).with_name("chi_square.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize(("probability", "dof", "quantile"), CASE["rows"])
def test_the_quantile_is_the_printed_one(probability: float, dof: int, quantile: float) -> None:
    assert chi2_quantile(probability, dof) == pytest.approx(quantile, abs=CASE["rounding"])


def test_two_degrees_of_freedom_have_a_closed_form() -> None:
    for probability in (0.05, 0.5, 0.95, 0.999):
        assert chi2_quantile(probability, 2) == pytest.approx(-2 * math.log(1 - probability), rel=1e-10)


@pytest.mark.parametrize("dof", [1, 2, 3, 5, 8, 13, 40, 101, 250, 1001])
def test_the_quantile_agrees_with_scipy(dof: int) -> None:
    for probability in (0.005, 0.05, 0.5, 0.9, 0.95, 0.99, 0.999):
        assert chi2_quantile(probability, dof) == pytest.approx(stats.chi2.ppf(probability, dof), rel=1e-8)

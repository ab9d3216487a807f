"""The limit of a standardised residual, and the shift that it notices four times in five."""

import tomllib
from pathlib import Path

import pytest
from scipy import stats

from asbuilt.survey.quality import DELTA_0, W_LIMIT

CASE = tomllib.loads(Path(__file__).with_name("baarda_1968.toml").read_text(encoding="utf-8"))


def test_the_constants_are_the_tabulated_ones() -> None:
    assert W_LIMIT == pytest.approx(CASE["tabulated_k"], abs=CASE["tabulated_rounding"])
    assert DELTA_0 == pytest.approx(CASE["tabulated_delta0"], abs=CASE["tabulated_rounding"])
    assert DELTA_0**2 == pytest.approx(CASE["tabulated_lambda0"], abs=CASE["tabulated_lambda0_rounding"])
    assert W_LIMIT == pytest.approx(CASE["k"], abs=CASE["rounding"])
    assert DELTA_0 == pytest.approx(CASE["delta0"], abs=CASE["rounding"])
    assert DELTA_0**2 == pytest.approx(CASE["lambda0"], abs=CASE["rounding"])


def test_the_constants_follow_from_the_normal_distribution() -> None:
    assert stats.norm.sf(W_LIMIT) == pytest.approx(0.0005, rel=1e-9)
    seen = stats.norm.sf(W_LIMIT - DELTA_0)  # the other tail is left out, as Baarda does
    assert seen == pytest.approx(0.80, abs=1e-9)

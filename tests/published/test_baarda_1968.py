"""The limit of a standardised residual, and the shift that it notices four times in five."""

import tomllib
from pathlib import Path

import pytest
from scipy import stats

from asbuilt.survey.quality import DELTA_0, W_LIMIT

CASE = tomllib.loads(Path(__file__).with_name("baarda_1968.toml").read_text(encoding="utf-8"))


def test_the_constants_are_the_tabulated_ones() -> None:
    ours = {"k": W_LIMIT, "delta0": DELTA_0, "lambda0": DELTA_0**2}
    for word, value in ours.items():
        assert value == pytest.approx(CASE["tabulated"][word], abs=CASE["tabulated"][f"{word}_rounding"])
        assert value == pytest.approx(CASE["recomputed"][word], abs=CASE["recomputed"]["rounding"])


def test_the_constants_follow_from_the_normal_distribution() -> None:
    assert stats.norm.sf(W_LIMIT) == pytest.approx(0.0005, rel=1e-9)
    seen = stats.norm.sf(W_LIMIT - DELTA_0)  # the other tail is left out, as Baarda does
    assert seen == pytest.approx(0.80, abs=1e-9)

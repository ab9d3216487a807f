"""Least squares of ranges, not of squared ranges: Beck, Stoica & Li 2008."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from asbuilt.survey.start import locate_point

CASE = tomllib.loads(Path(__file__).with_name("beck_2008.toml").read_text(encoding="utf-8"))


def test_the_source_is_where_the_paper_prints_it() -> None:
    printed, ours = CASE["printed"], CASE["recomputed"]
    best = locate_point(CASE["data"]["sensors"], CASE["data"]["ranges"], np.ones(5))[0]
    assert best.place == pytest.approx(printed["place"], abs=printed["rounding"])
    assert best.place == pytest.approx(ours["place"], abs=ours["rounding"])
    assert np.sqrt(best.chi2 / 3) == pytest.approx(ours["s0"], abs=ours["rounding"])
    assert np.hypot(*(best.place - ours["squared_range_place"])) > 0.09


def test_exact_ranges_give_the_true_source_back() -> None:
    sensors, source = np.array(CASE["data"]["sensors"], dtype=float), np.array(CASE["data"]["true_source"])
    best = locate_point(sensors, np.hypot(*(sensors - source).T), np.full(5, 0.02))[0]
    assert best.place == pytest.approx(source, abs=1e-7)
    assert best.chi2 == pytest.approx(0, abs=1e-9)

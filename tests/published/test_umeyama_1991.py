"""A rigid fit that must not turn into a reflection: Umeyama 1991."""

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from asbuilt.survey.earth import Rigid, fit_rigid

CASE = tomllib.loads(Path(__file__).with_name("umeyama_1991.toml").read_text(encoding="utf-8"))
X, Y = (np.array(CASE["data"][word], dtype=float) for word in ("x", "y"))


def matrix(rigid: Rigid) -> np.ndarray[Any, np.dtype[np.float64]]:
    cos, sin = math.cos(rigid.rotation_rad), math.sin(rigid.rotation_rad)
    return np.array([[cos, -sin], [sin, cos]])


def test_the_rotation_is_the_printed_one_and_no_reflection() -> None:
    printed, ours = CASE["printed"], CASE["recomputed"]
    R = matrix(fit_rigid(X, Y, np.ones(3)))
    assert pytest.approx(np.array(printed["R"]), abs=printed["rounding"]) == R
    assert pytest.approx(np.array(ours["R"]), abs=ours["rounding"]) == R


def test_the_scale_that_the_fit_would_have_liked_is_the_printed_one() -> None:
    printed, ours = CASE["printed"], CASE["recomputed"]
    rigid = fit_rigid(X, Y, np.ones(3))
    assert rigid.free_scale == pytest.approx(printed["c"], abs=printed["rounding"])
    assert rigid.free_scale == pytest.approx(ours["c"], abs=ours["rounding"])
    scaled = rigid.free_scale * X @ matrix(rigid).T
    t = (Y - scaled).mean(axis=0)
    assert t == pytest.approx(ours["t"], abs=ours["rounding"])
    misfit = ((Y - scaled - t) ** 2).sum(axis=1).mean()
    assert misfit == pytest.approx(ours["mean_squared_error"], abs=ours["rounding"])


def test_with_scale_held_at_one_the_shift_and_the_misfit_are_the_recomputed_ones() -> None:
    ours = CASE["recomputed"]
    rigid = fit_rigid(X, Y, np.ones(3))
    assert rigid.shift == pytest.approx(ours["rigid_t"], abs=ours["rounding"])
    misfit = (rigid.residuals**2).sum(axis=1).mean()
    assert misfit == pytest.approx(ours["rigid_mean_squared_error"], abs=ours["rounding"])
    assert np.abs(rigid.residuals) == pytest.approx(np.abs(X @ matrix(rigid).T + rigid.shift - Y), abs=1e-12)


def test_a_turned_and_shifted_pattern_is_given_back() -> None:
    rng = np.random.default_rng(4)
    for turn in (-3.0, -1.2, 0.0, 0.4, 2.9):
        x = rng.uniform(-20, 20, (5, 2))
        cos, sin = math.cos(turn), math.sin(turn)
        y = x @ np.array([[cos, -sin], [sin, cos]]).T + (3.0, -40.0)
        rigid = fit_rigid(x, y, rng.uniform(0.5, 5, 5))
        assert rigid.rotation_rad == pytest.approx(turn, abs=1e-12)
        assert rigid.shift == pytest.approx((3.0, -40.0), abs=1e-10)
        assert rigid.free_scale == pytest.approx(1, abs=1e-12)
        assert np.abs(rigid.residuals).max() < 1e-10

"""The turn of the rigid fit and the scale that it would have liked, against a conformal transformation with scale."""

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from asbuilt.survey.earth import fit_rigid, turn_matrix

CASE: dict[str, Any] = tomllib.loads(Path(__file__).with_name("ghilani_18_1.toml").read_text(encoding="utf-8"))
XY, TARGET = (np.array(CASE["data"][word], dtype=float) for word in ("xy", "target"))
FIT = fit_rigid(XY, TARGET, np.ones(3))
SHIFT = TARGET.mean(axis=0) - FIT.free_scale * turn_matrix(FIT.rotation_rad) @ XY.mean(axis=0)


def test_scale_and_turn_are_the_printed_parameters() -> None:
    printed = CASE["printed"]
    a, b = FIT.free_scale * math.cos(FIT.rotation_rad), FIT.free_scale * math.sin(FIT.rotation_rad)
    assert [a, b] == pytest.approx([printed["a"], printed["b"]], abs=printed["parameter_rounding"])
    assert pytest.approx([printed["Te"], printed["Tn"]], abs=printed["shift_rounding"]) == SHIFT


def test_scale_and_turn_are_the_recomputed_ones() -> None:
    ours = CASE["recomputed"]
    degrees, minutes, seconds = ours["rotation_dms"]
    assert FIT.free_scale == pytest.approx(ours["scale"], abs=ours["scale_rounding"])
    turn = math.degrees(FIT.rotation_rad) % 360
    assert turn == pytest.approx(degrees + minutes / 60 + seconds / 3600, abs=0.005 / 3600)


def test_four_more_points_come_out_as_printed() -> None:
    printed = CASE["printed"]
    moved = FIT.free_scale * np.array(printed["points"]) @ turn_matrix(FIT.rotation_rad).T + SHIFT
    assert moved == pytest.approx(np.array(printed["transformed"]), abs=printed["transformed_rounding"])


def test_the_residuals_with_that_scale_are_the_recomputed_ones() -> None:
    ours = CASE["recomputed"]
    v = (FIT.free_scale * XY @ turn_matrix(FIT.rotation_rad).T + SHIFT - TARGET).ravel()
    assert v == pytest.approx(ours["v"], abs=ours["v_rounding"])
    assert math.sqrt(float(v @ v) / 2) == pytest.approx(ours["s0"], abs=ours["s0_rounding"])

"""Ranges with a local minimum that traps a bad start: Boyd & Vandenberghe, VMLS, section 18."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from asbuilt.survey.start import Candidate, locate_point

CASE = tomllib.loads(Path(__file__).with_name("vmls_ranges.toml").read_text(encoding="utf-8"))
DEGREES_OF_FREEDOM = 3


def minima() -> list[Candidate]:
    return locate_point(CASE["data"]["points"], CASE["data"]["ranges"], np.ones(5))


def test_the_cheapest_place_is_the_global_minimum() -> None:
    printed, ours = CASE["printed"], CASE["recomputed"]
    best = minima()[0]
    assert best.place == pytest.approx(printed["place"], abs=printed["rounding"])
    assert best.place == pytest.approx(ours["place"], abs=ours["rounding"])
    assert np.sqrt(best.chi2 / DEGREES_OF_FREEDOM) == pytest.approx(ours["s0"], abs=ours["rounding"])


def test_the_trap_is_found_as_the_second_place_and_costs_more() -> None:
    printed, ours = CASE["printed"], CASE["recomputed"]
    best, *others = minima()
    (trap,) = others
    assert trap.place == pytest.approx(printed["trapped"], abs=printed["trapped_rounding"])
    assert trap.place == pytest.approx(ours["trapped"], abs=ours["rounding"])
    assert np.sqrt(trap.chi2 / DEGREES_OF_FREEDOM) == pytest.approx(ours["trapped_s0"], abs=ours["rounding"])
    assert trap.chi2 > 30 * best.chi2

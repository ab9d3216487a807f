"""A loop of levels: misclosure, its share of it by distance, and third order of FGCC 1984."""

import math
import tomllib
from pathlib import Path

import pytest

from asbuilt.survey.level_loops import fgcc_allowance_m, find_loops
from asbuilt.survey.level_network import Sight, Target, adjust_sights

CASE = tomllib.loads(Path(__file__).with_name("levels_loop.toml").read_text(encoding="utf-8"))
START = Target("BM1")
STATIONS = [START, *(Target(str(k)) for k in range(1, len(CASE["km"]))), START]


def sights() -> list[Sight]:
    """Each leg as one set-up, its variance in proportion to its length."""
    heights, found = [CASE["benchmark"], *CASE["observed"]], []
    for k, (begin, end) in enumerate(zip([0.0, *CASE["km"]], CASE["km"], strict=False)):
        sigma = 0.001 * math.sqrt((end - begin) / 2)
        half = 1000 * (end - begin) / 2
        found.append(Sight(str(k), STATIONS[k], 0.0, sigma, True, half))
        found.append(Sight(str(k), STATIONS[k + 1], heights[k] - heights[k + 1], sigma, False, half))
    return found


def test_the_loop_misses_by_the_published_amount_and_fails_third_order() -> None:
    (loop,) = find_loops(sights(), {START: CASE["benchmark"]})
    assert loop.misclosure_m == pytest.approx(CASE["misclosure"], abs=1e-9)
    assert loop.km == pytest.approx(CASE["km"][-1])
    assert loop.third_order_m is not None
    assert 1000 * loop.third_order_m == pytest.approx(CASE["third_order_mm"], abs=CASE["third_order_rounding_mm"])
    assert abs(loop.misclosure_m) > loop.third_order_m == fgcc_allowance_m(CASE["km"][-1])
    assert not loop.closes


def test_the_misclosure_is_spread_in_proportion_to_distance() -> None:
    fit = adjust_sights(sights(), {START: CASE["benchmark"]})
    found = [float(fit.elevations[fit.targets.index(station)]) for station in STATIONS[1:]]
    assert found == pytest.approx(CASE["adjusted"], abs=CASE["rounding"])
    corrections = [height - observed for height, observed in zip(found, CASE["observed"], strict=True)]
    assert corrections == pytest.approx(CASE["corrections"], abs=1e-4)

"""A line of levels between two benchmarks: height of instrument, elevation, misclosure."""

import tomllib
from pathlib import Path

import pytest

from asbuilt.survey.level_loops import find_loops
from asbuilt.survey.level_network import LevelFit, Sight, Target, adjust_sights

CASE = tomllib.loads(Path(__file__).with_name("levels_hi_notes.toml").read_text(encoding="utf-8"))
START, END = Target("A"), Target("B")
STATIONS = (START, Target("1"), Target("2"), Target("3"), END)


def sights() -> list[Sight]:
    """Give the notes as readings; their unit is feet throughout, which a linear problem does not mind."""
    found = []
    for k, (back, fore) in enumerate(zip(CASE["backsights"], CASE["foresights"], strict=True)):
        found.append(Sight(str(k), STATIONS[k], back, 0.01, True))
        found.append(Sight(str(k), STATIONS[k + 1], fore, 0.01, False))
    return found


def heights(fit: LevelFit) -> list[float]:
    return [float(fit.elevations[fit.targets.index(station)]) for station in STATIONS[1:]]


def test_elevations_are_height_of_instrument_less_foresight() -> None:
    fit = adjust_sights(sights(), {START: CASE["start"]})
    assert heights(fit) == pytest.approx(CASE["elevations"], abs=CASE["rounding"])
    carried = [CASE["start"], *heights(fit)[:-1]]
    instruments = [height + back for height, back in zip(carried, CASE["backsights"], strict=True)]
    assert instruments == pytest.approx(CASE["heights_of_instrument"], abs=CASE["rounding"])
    assert heights(fit)[-1] - CASE["start"] == pytest.approx(CASE["rise"], abs=CASE["rounding"])


def test_the_line_misses_the_second_benchmark_by_the_published_amount() -> None:
    (loop,) = find_loops(sights(), {START: CASE["start"], END: CASE["known_end"]})
    assert loop.misclosure_m == pytest.approx(CASE["misclosure"], abs=CASE["rounding"])
    assert loop.setups == ("0", "1", "2", "3")


def test_equal_set_ups_share_the_misclosure_equally() -> None:
    fit = adjust_sights(sights(), {START: CASE["start"], END: CASE["known_end"]})
    assert heights(fit) == pytest.approx(CASE["adjusted"]["elevations"], abs=CASE["rounding"])

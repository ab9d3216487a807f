"""A slope tape reduced to horizontal, with the drop noted and with the drop from levels."""

import math
import tomllib
from pathlib import Path

import pytest

from asbuilt.model.components import Point
from asbuilt.model.levels import LevelShot
from asbuilt.model.measurements import Tie
from asbuilt.model.place import Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.observations import observe
from asbuilt.units import FOOT_M, Length

CASE = tomllib.loads(Path(__file__).with_name("tape_slope.toml").read_text(encoding="utf-8"))
DROP = CASE["slope_distance"] * math.sin(math.radians(CASE["slope_deg"]))


def feet(number: float) -> Length:
    return Length(f"{number:.3f}", number * FOOT_M, FOOT_M / 1000)


def horizontal(drop: Length | None, levels: tuple[LevelShot, ...] = ()) -> float:
    """Give the reduced length of the published tape, feet."""
    tie = Tie("A", "tank/lid", feet(CASE["slope_distance"]), held="slope", drop=drop)
    record = PropertyRecord(
        Property("p", "ft"), (ReferencePoint("A"),), points=(Point("tank", "lid"),), ties=(tie,), levels=levels
    )
    (distance,) = observe(record).distances
    return distance.metres / FOOT_M


def test_the_slope_is_the_published_fall_and_the_tape_the_published_length() -> None:
    assert pytest.approx(CASE["vertical"], abs=CASE["rounding"]) == DROP
    found = horizontal(feet(DROP))
    assert found == pytest.approx(CASE["horizontal"], abs=CASE["rounding"])
    assert CASE["slope_distance"] - found == pytest.approx(CASE["correction"], abs=CASE["rounding"])


def test_levels_give_the_same_length_where_no_drop_was_noted() -> None:
    """Two set-ups down the hill, as a rod of 25 ft would need."""
    levels = (
        LevelShot("1", "A", backsight=feet(1.2)),
        LevelShot("1", "TP", foresight=feet(14.3)),
        LevelShot("2", "TP", backsight=feet(0.9)),
        LevelShot("2", "tank/lid", foresight=feet(DROP + 1.2 - 14.3 + 0.9)),
    )
    assert horizontal(None, levels) == pytest.approx(CASE["horizontal"], abs=CASE["rounding"])
    assert horizontal(None) == pytest.approx(CASE["slope_distance"])  # nothing known, nothing reduced

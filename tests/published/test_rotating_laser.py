"""What a rotating laser makes of one set-up, and the falls that plumbers name in inches a foot."""

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from asbuilt.model.levels import LevelShot
from asbuilt.model.place import Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.level_loops import ALLOWED_SIGMAS
from asbuilt.survey.levels import BEAM_SIGMA_RAD, READ_SIGMA_M, solve_levels
from asbuilt.survey.slopes import Slope
from asbuilt.units import INCH_M, Length

CASE = tomllib.loads(Path(__file__).with_name("rotating_laser.toml").read_text(encoding="utf-8"))


def metres(value: float) -> Length:
    return Length(f"{value:.3f}", value, 0.001)


def test_reading_and_beam_are_the_stated_ones() -> None:
    assert CASE["read_sigma_mm"] == 1000 * READ_SIGMA_M
    assert CASE["beam_rad"] == BEAM_SIGMA_RAD


@pytest.mark.parametrize("row", CASE["set_up"], ids=lambda row: f"{row['backsight_m']} and {row['foresight_m']} m")
def test_a_set_up_has_the_recomputed_standard_deviation(row: dict[str, Any]) -> None:
    shots = (
        LevelShot("1", "A", backsight=metres(1.5), distance=metres(row["backsight_m"])),
        LevelShot("1", "B", foresight=metres(1.2), distance=metres(row["foresight_m"])),
    )
    references = (ReferencePoint("A"), ReferencePoint("B"))
    found = solve_levels(PropertyRecord(Property("p", "m"), references, levels=shots)).of("B")
    assert found is not None
    assert 1000 * found.sigma_m == pytest.approx(row["total_mm"], abs=CASE["rounding_mm"])


def test_the_allowance_at_the_scale_of_a_house_is_twice_sigma_root_n() -> None:
    case = CASE["house_scale"]
    allowed = ALLOWED_SIGMAS * case["sigma_set_up_mm"] * math.sqrt(case["set_ups"])
    assert allowed == pytest.approx(case["allowance_mm"])


def test_a_quarter_inch_a_foot_is_two_per_cent() -> None:
    case = CASE["pipe_fall"]
    for inches, percent in ((0.25, case["quarter_inch_percent"]), (0.125, case["eighth_inch_percent"])):
        slope = Slope("sewer", "a", "b", 10.0, 0.0, 10 * inches * INCH_M / (12 * INCH_M), 0.0)
        assert slope.percent == pytest.approx(percent, abs=case["rounding_percent"])
        assert slope.inches_a_foot == pytest.approx(inches)

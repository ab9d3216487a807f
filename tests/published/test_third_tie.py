"""What a third and a fourth tie bring: accuracy, and whether a misread tape would show."""

import math
import tomllib
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from asbuilt.model.measurements import Tie
from asbuilt.survey.adjust import Datum, adjust
from asbuilt.survey.checking import Checker
from asbuilt.survey.observations import Distance, Observations
from asbuilt.survey.quality import K95_CIRCLE, ellipse_95, radius_95
from asbuilt.survey.start import Candidate, locate_point
from asbuilt.units import Length

CASE = tomllib.loads(Path(__file__).with_name("third_tie.toml").read_text(encoding="utf-8"))
REFERENCES = {name: np.array(place, dtype=float) for name, place in CASE["references"].items()}
POINT = np.array(CASE["point"], dtype=float)
NAMES = (*REFERENCES, "lid")
THIRDS = [dict(zip(CASE["three"]["columns"], row, strict=True)) for row in CASE["three"]["rows"]]


def far(a: np.ndarray[Any, Any], b: np.ndarray[Any, Any]) -> float:
    return float(np.hypot(*(a - b)))


def located(names: str) -> Candidate:
    """Locate the point from error-free references, by their names."""
    anchors = np.array([REFERENCES[name] for name in names])
    distances = [far(REFERENCES[name], POINT) for name in names]
    found = locate_point(anchors, distances, np.full(len(names), CASE["sigma_m"]))
    (right,) = (candidate for candidate in found if far(candidate.place, POINT) < 1e-6)
    return right


def taped(a: str, b: str, sigma_m: float) -> Distance:
    """Give one error-free tape; the tie is only its label."""
    places = REFERENCES | {"lid": POINT}
    metres = far(places[a], places[b])
    tie = Tie(a, b, Length(f"{metres:.6f} m", metres, 1e-6), held="level")
    return Distance(NAMES.index(a), NAMES.index(b), metres, sigma_m, tie, sigma_m)


def checked(tied: str) -> tuple[list[float], float | None]:
    """Redundancy of the point's ties and its worst unnoticed shift, among references all but error-free."""
    braces = [taped(a, b, 1e-5) for a, b in combinations(REFERENCES, 2)]
    ties = [taped(name, "lid", CASE["sigma_m"]) for name in tied]
    observations = Observations(NAMES, len(REFERENCES), (*braces, *ties), (), (), ())
    fit = adjust(observations, np.array([*REFERENCES.values(), POINT]), Datum(0, 0, 1))
    return list(fit.redundancy[len(braces) :]), Checker(observations, fit).check(len(NAMES) - 1).unnoticed_m


def test_two_ties_have_the_recomputed_covariance_and_ellipse() -> None:
    case = CASE["two"]
    covariance = located("AB").covariance
    assert covariance == pytest.approx(np.array(case["covariance_m2"]), abs=case["covariance_rounding_m2"])
    ellipse = ellipse_95(covariance)
    axes_mm = [1000 * axis / K95_CIRCLE for axis in (ellipse.major_m, ellipse.minor_m)]
    assert axes_mm == pytest.approx(case["semi_axes_mm"], abs=case["rounding_mm"])
    assert ellipse.azimuth_deg == pytest.approx(case["azimuth_deg"], abs=case["azimuth_rounding_deg"])
    assert 1000 * radius_95(covariance) == pytest.approx(case["r95_mm"], abs=case["rounding_mm"])
    rays = [complex(*(REFERENCES[name] - POINT)) for name in "AB"]
    crossing = abs(math.degrees(np.angle(rays[0] / rays[1])))
    assert crossing == pytest.approx(case["crossing_deg"], abs=case["crossing_rounding_deg"])


@pytest.mark.parametrize("row", THIRDS, ids=lambda row: f"third from {row['third']}")
def test_a_third_tie_brings_what_the_table_says(row: dict[str, Any]) -> None:
    covariance = located("AB" + row["third"]).covariance
    assert np.trace(covariance) == pytest.approx(row["trace_m2"], abs=6e-11)
    assert 1000 * radius_95(covariance) == pytest.approx(row["r95_mm"], abs=CASE["three"]["rounding_r95_mm"])


@pytest.mark.parametrize("row", THIRDS, ids=lambda row: f"third from {row['third']}")
def test_a_third_tie_checks_the_others_as_the_table_says(row: dict[str, Any]) -> None:
    case = CASE["three"]
    redundancy, unnoticed_m = checked("AB" + row["third"])
    assert redundancy == pytest.approx(row["redundancy"], abs=case["rounding_redundancy"])
    assert sum(redundancy) == pytest.approx(1, abs=1e-4)  # three ties, two coordinates
    assert unnoticed_m == pytest.approx(row["unnoticed_m"], abs=case["rounding_shift_m"])


def test_a_fourth_tie_buys_checking_more_than_accuracy() -> None:
    case = CASE["four"]
    assert 1000 * radius_95(located("ABCD").covariance) == pytest.approx(case["r95_mm"], abs=case["rounding_mm"])
    _, unnoticed_m = checked("ABCD")
    assert unnoticed_m == pytest.approx(case["unnoticed_m"], abs=case["rounding_shift_m"])


def test_two_ties_check_nothing() -> None:
    redundancy, unnoticed_m = checked("AB")
    assert redundancy == pytest.approx([0, 0], abs=1e-4)
    assert unnoticed_m is None or unnoticed_m > 30  # only the tiny spread of the references holds it

"""A closed walk and a network of walls and diagonals against reckonings by another method."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from asbuilt.model.measurements import Tie, Wall
from asbuilt.model.place import Measured, Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.adjust import Adjustment, Datum, adjust
from asbuilt.survey.footprint import first_places
from asbuilt.survey.observations import observe
from asbuilt.survey.solve import solve
from asbuilt.units import Length

CASE = tomllib.loads(Path(__file__).with_name("house_walk.toml").read_text(encoding="utf-8"))
WALK, NETWORK = CASE["walk"], CASE["network"]


def metres(value: float) -> Length:
    return Length(f"{value} m", value, 0.0001)


def walk_record(sigma_m: float) -> PropertyRecord:
    names = WALK["corners"]
    ends = zip(names, names[1:] + names[:1], WALK["lengths_m"], WALK["turns"], strict=True)
    degrees = {"L": 90.0, "R": -90.0}
    walls = tuple(Wall(a, b, metres(length), turn, degrees[turn]) for a, b, length, turn in ends)
    measured = Measured(wall_sigma=metres(sigma_m), square_sigma_deg=0.0)
    return PropertyRecord(
        Property("Invented L", "m", measured=measured), tuple(map(ReferencePoint, names)), walls=walls
    )


def network_record() -> PropertyRecord:
    """All six distances with a standard deviation of 1 m, so that the covariance is Q."""
    lengths = dict(zip(NETWORK["pairs"], map(metres, NETWORK["distances_m"]), strict=True))
    one = metres(1.0)
    return PropertyRecord(
        Property("Invented rectangle", "m", measured=Measured(tape_sigma=one, wall_sigma=one)),
        tuple(map(ReferencePoint, "ABCD")),
        walls=tuple(Wall(a, b, lengths[a + b], "?", None) for a, b in ("AB", "BC", "CD", "DA")),
        ties=tuple(Tie(a, b, lengths[a + b], held="level") for a, b in ("AC", "BD")),
    )


def adjusted(record: PropertyRecord, sigmas_m: list[float] | None = None) -> Adjustment:
    """Adjust a record whose first wall is A -> B, with other standard deviations of the distances if given."""
    observations = observe(record)
    if sigmas_m is not None:
        pairs = zip(observations.distances, sigmas_m, strict=True)
        observations = replace(observations, distances=tuple(replace(d, sigma_m=s) for d, s in pairs))
    placed = first_places(observations)
    places = np.array([placed[node] for node in range(len(observations.names))])
    return adjust(observations, places, Datum(0, 0, 1))


def test_the_example_misses_closing_by_what_is_stated() -> None:
    headings = np.radians(np.cumsum([0.0] + [90.0 if turn == "L" else -90.0 for turn in WALK["turns"][:-1]]))
    steps = np.array(WALK["lengths_m"]) * np.exp(1j * headings)
    assert [steps.sum().real, steps.sum().imag] == pytest.approx(WALK["misclosure_m"], abs=1e-9)


def test_a_square_walk_shares_its_misclosure_by_least_squares() -> None:
    case = WALK["equal"]
    solution = solve(walk_record(case["sigma_m"]))
    corners = np.array([reference.place for reference in solution.references])
    lengths = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    assert lengths == pytest.approx(case["adjusted_m"], abs=case["rounding_m"])
    assert solution.fit.chi2 == pytest.approx(case["chi2"], abs=case["chi2_rounding"])
    covariance = solution.position(case["corner"]).covariance
    assert covariance is not None
    assert np.sqrt(covariance[0, 0]) == pytest.approx(case["corner_sd_m"], abs=case["corner_sd_rounding_m"])
    assert np.sqrt(covariance[1, 1]) == pytest.approx(0, abs=1e-6)  # the direction A -> B is held


def test_the_free_conditions_of_a_closed_walk_are_two() -> None:
    fit = solve(walk_record(0.010)).fit
    assert fit.observations - fit.unknowns == 2  # the two misclosures; the turns sum to a full turn by themselves


def test_walls_whose_error_grows_with_length_take_up_more_of_it() -> None:
    case = WALK["growing"]
    sigmas = [float(np.hypot(case["fixed_m"], case["growth"] * length)) for length in WALK["lengths_m"]]
    fit = adjusted(walk_record(0.010), sigmas)
    residuals = 1000 * fit.residuals[:6] * sigmas
    assert residuals == pytest.approx(case["residuals_mm"], abs=case["rounding_mm"])
    assert fit.chi2 == pytest.approx(case["chi2"], abs=case["chi2_rounding"])


def test_a_network_of_distances_needs_no_angle() -> None:
    fit = adjusted(network_record())
    assert 1000 * fit.residuals == pytest.approx(NETWORK["residuals_mm"], abs=NETWORK["rounding_mm"])
    assert 1000 * np.sqrt(fit.chi2) == pytest.approx(NETWORK["s0_mm"], abs=NETWORK["s0_rounding_mm"])
    assert np.trace(fit.covariance) == pytest.approx(NETWORK["trace_Q"], abs=1e-4)  # the ridge of `adjust`
    for name, place in NETWORK["corners_m"].items():
        assert fit.places["ABCD".index(name)] == pytest.approx(place, abs=NETWORK["corner_rounding_m"])

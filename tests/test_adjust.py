"""The joint least-squares solution: against an independent solver, and independent of what is held fixed."""

import math
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from asbuilt.model.measurements import Offset, Tie
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.adjust import Adjustment, Datum, adjust, to_datum
from asbuilt.survey.observations import Observations, observe
from tests.survey_samples import L_HOUSE, RECTANGLE, metres, misread, property_of, rectangle, tape, tapes, walls

Array = NDArray[np.float64]
PLACES = L_HOUSE | {"lid": (4.0, -7.0), "box": (11.0, -9.0), "pin": (-6.0, 5.0)}


def network(seed: int | None) -> PropertyRecord:
    """Walls, turns, ties through a point, an offset: with errors of a seed's drawing, None = exact."""
    rng = np.random.default_rng(seed)
    noise = 0.0 if seed is None else 1.0
    errors = {a + b: noise * rng.normal(0, 0.015) for a, b in zip("ABCDEF", "BCDEFA", strict=True)}

    def noisy(name: str, anchors: list[str]) -> list[Tie]:
        return tapes(PLACES, name, anchors, {a: noise * rng.normal(0, 0.02) for a in anchors})

    ties = [*noisy("pin", ["A", "F", "B"]), *noisy("lid", ["A", "B", "pin"]), *noisy("box", ["B", "C", "lid"])]
    along, out = 11 + noise * rng.normal(0, 0.2), 9 + noise * rng.normal(0, 0.02)
    offsets = [Offset("A", "B", "box", metres(along), metres(out), "right")]
    return property_of(
        ["A", "B", "C", "D", "E", "F", "pin"], walls(PLACES, "ABCDEFA", errors=errors), ties, offsets=offsets
    )


def start_of(observations: Observations, off_m: float = 0.0, seed: int = 0) -> Array:
    rng = np.random.default_rng(seed)
    return np.array([PLACES[name] for name in observations.names]) + rng.normal(0, off_m, (len(observations.names), 2))


def by_scipy(observations: Observations, start: Array) -> tuple[Array, Array, float]:
    """Solve by scipy with equations written anew: A at the origin and B on the first axis, finite differences."""

    def unpack(free: Array) -> Array:
        return np.concatenate([[0.0, 0.0, free[0], 0.0], free[1:]]).reshape(-1, 2)

    def misfit(free: Array) -> Array:
        z = unpack(free) @ [1, 1j]
        rows = [(abs(z[d.j] - z[d.i]) - d.metres) / d.sigma_m for d in observations.distances]
        for t in observations.turns:
            bend = np.angle((z[t.k] - z[t.j]) / (z[t.j] - z[t.i]) * np.exp(-1j * t.radians))
            rows.append(bend / t.sigma_rad)
        for o in observations.offsets:
            foot = (z[o.p] - z[o.a]) / (z[o.b] - z[o.a]) * abs(z[o.b] - z[o.a])
            rows += [(foot.real - o.along_m) / o.along_sigma_m, (foot.imag - o.left_m) / o.left_sigma_m]
        return np.array(rows)

    flat = start.ravel()
    result = least_squares(misfit, np.concatenate([[flat[2]], flat[4:]]), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    return unpack(result.x), np.linalg.inv(result.jac.T @ result.jac), 2 * result.cost


@pytest.mark.parametrize("seed", range(6))
def test_places_and_covariance_are_those_of_an_independent_solver(seed: int) -> None:
    observations = observe(network(seed))
    start = start_of(observations, 0.3, seed)
    fit = adjust(observations, start, Datum(0, 0, 1))
    places, covariance, chi2 = by_scipy(observations, start_of(observations))
    assert fit.chi2 == pytest.approx(chi2, rel=1e-6)
    assert fit.places == pytest.approx(places, abs=2e-6)
    free = [2, *range(4, 2 * len(observations.names))]
    assert fit.covariance[np.ix_(free, free)] == pytest.approx(covariance, rel=2e-3, abs=1e-8)
    assert fit.unknowns == len(free)


def spread_between(fit: Adjustment) -> Array:
    """Give the standard deviation of the distance between every two nodes: what no choice of axes can alter."""
    found = []
    for i, j in combinations(range(len(fit.places)), 2):
        ray = fit.places[j] - fit.places[i]
        ray = ray / np.hypot(*ray)
        joint = fit.block(i) + fit.block(j) - fit.block(i, j) - fit.block(j, i)
        found.append(math.sqrt(ray @ joint @ ray))
    return np.array(found)


@pytest.mark.parametrize("datum", [Datum(0, 1, 2), Datum(4, 4, 3), Datum(6, 0, 1), Datum(2, 6, 8), Datum(7, 7, 8)])
def test_what_the_tapes_say_does_not_depend_on_the_datum(datum: Datum) -> None:
    observations = observe(network(3))
    usual, other = (adjust(observations, start_of(observations), d) for d in (Datum(0, 0, 1), datum))
    assert other.residuals == pytest.approx(usual.residuals, abs=1e-5)
    assert other.chi2 == pytest.approx(usual.chi2, rel=1e-6)
    assert other.redundancy == pytest.approx(usual.redundancy, abs=1e-5)
    assert spread_between(other) == pytest.approx(spread_between(usual), rel=1e-3)
    between = [np.linalg.norm(fit.places[:, None] - fit.places, axis=2) for fit in (usual, other)]
    assert between[1] == pytest.approx(between[0], abs=1e-6)


def test_an_origin_off_the_orienting_wall_holds_the_origin_and_the_direction_only() -> None:
    observations = observe(network(1))
    fit = adjust(observations, start_of(observations), Datum(6, 0, 1))  # the pin; A > B is the direction
    assert fit.places[6] == pytest.approx([0, 0], abs=1e-12)
    assert fit.block(6) == pytest.approx(np.zeros((2, 2)), abs=1e-15)
    assert fit.places[1, 1] == pytest.approx(fit.places[0, 1], abs=1e-12)
    assert fit.places[1, 0] > fit.places[0, 0]
    assert fit.covariance[1, 1] > 1e-5  # how far the wall runs from the pin is not known exactly ...
    assert fit.covariance[3, 3] == pytest.approx(fit.covariance[1, 1])  # ... but it is the same at both its ends
    assert fit.covariance[1, 3] == pytest.approx(fit.covariance[1, 1])
    assert fit.unknowns == 2 * 9 - 3


def test_the_covariance_is_the_spread_of_solutions_of_misread_sets() -> None:
    true, rng = observe(network(None)), np.random.default_rng(0)
    fits = [adjust(misread(true, rng), start_of(true), Datum(0, 0, 1)) for _ in range(600)]
    stated = np.sqrt(np.diag(adjust(true, start_of(true), Datum(0, 0, 1)).covariance))
    spread = np.std([fit.places.ravel() for fit in fits], axis=0)
    held = stated < 1e-9
    assert held.nonzero()[0].tolist() == [0, 1, 3]
    assert spread[~held] / stated[~held] == pytest.approx(np.ones(15), abs=0.1)  # 600 draws: 0.03 one sigma
    chi2 = np.array([fit.chi2 for fit in fits])
    freedom = fits[0].degrees_of_freedom
    assert chi2.mean() == pytest.approx(freedom, abs=4 * math.sqrt(2 * freedom / 600))
    assert chi2.var() == pytest.approx(2 * freedom, rel=0.3)


def test_squares_held_exactly_stay_square() -> None:
    errors = {"AB": 0.03, "CD": -0.02, "BC": 0.01}
    record = property_of("ABCD", walls(RECTANGLE, "ABCDA", errors=errors), square_sigma_deg=0.0)
    observations = observe(record)
    fit = adjust(observations, np.array(list(RECTANGLE.values()), dtype=float), Datum(0, 0, 1))
    sides = np.roll(fit.places, -1, axis=0) - fit.places
    cosines = (sides * np.roll(sides, -1, axis=0)).sum(axis=1) / np.hypot(*sides.T) ** 2
    assert cosines == pytest.approx(np.zeros(4), abs=1e-6)
    lengths = np.hypot(*sides.T)
    assert lengths == pytest.approx([12.005, 8.005, 12.005, 8.005], abs=1e-6)  # opposite walls share their error


def test_a_far_start_still_finds_the_solution() -> None:
    observations = observe(network(2))
    near = adjust(observations, start_of(observations), Datum(0, 0, 1))
    far = adjust(observations, start_of(observations, 1.5, seed=4), Datum(0, 0, 1))
    assert far.places == pytest.approx(near.places, abs=1e-6)


def test_redundancy_sums_to_the_degrees_of_freedom() -> None:
    observations = observe(network(5))
    fit = adjust(observations, start_of(observations), Datum(0, 0, 1))
    assert fit.redundancy.sum() == pytest.approx(fit.degrees_of_freedom, abs=1e-4)
    walked, tied, turned, by_offset, sum_of_turns = 6, 9, 6, 2, 1
    assert fit.degrees_of_freedom == walked + tied + turned + by_offset - sum_of_turns - fit.unknowns


def test_nodes_without_a_place_are_left_out() -> None:
    places = RECTANGLE | {"lid": (5.0, -4.0), "lost": (20.0, 20.0)}
    record = rectangle(places, [*tapes(places, "lid", "ABC"), tape(places, "A", "lost")])
    observations = observe(record)
    start = np.array([*map(list, places.values())], dtype=float)
    start[5] = np.nan
    fit = adjust(observations.among(set(range(5))), start, Datum(0, 0, 1))
    assert np.isnan(fit.places[5]).all()
    assert fit.block(5) == pytest.approx(np.zeros((2, 2)), abs=0)
    assert fit.places[:5] == pytest.approx(start[:5], abs=1e-9)
    assert fit.unknowns == 7


def test_a_point_on_the_line_of_its_two_marks_has_a_finite_covariance() -> None:
    places = RECTANGLE | {"lid": (5.0, 0.0)}
    observations = observe(rectangle(places, tapes(places, "lid", "AB")))
    fit = adjust(observations, np.array([*map(list, places.values())], dtype=float), Datum(0, 0, 1))
    assert np.isfinite(fit.covariance).all()
    assert math.sqrt(fit.block(4)[1, 1]) > 100  # nothing holds it across the wall: unknown, and said so


def test_places_are_turned_into_the_frame_of_the_datum() -> None:
    turned = to_datum(np.array([[1.0, 1], [1, 4], [-1, 4]]), Datum(1, 0, 1))
    assert turned == pytest.approx(np.array([[-3, 0], [0, 0], [0, 2]]), abs=1e-12)

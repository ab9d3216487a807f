"""Where to begin: every place that a point's own tapes allow, found from their circles."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from asbuilt.survey.start import Prior, circle_gap, descend, locate_point, pair_starts

coordinate = st.floats(-40, 40)
place = st.tuples(coordinate, coordinate).map(np.array)


@settings(deadline=None)
@given(place, place, place)
def test_the_circles_of_a_place_meet_at_it_and_at_its_mirror(a: np.ndarray, b: np.ndarray, p: np.ndarray) -> None:
    line = b - a
    length = np.hypot(*line)
    if length < 0.5:
        return
    across = (line[0] * (p - a)[1] - line[1] * (p - a)[0]) / length
    if abs(across) < 0.01:
        return
    ra, rb = np.hypot(*(p - a)), np.hypot(*(p - b))
    left, right = pair_starts(np.array([a, b]), np.array([ra, rb]))
    mirror = p - 2 * across * np.array([-line[1], line[0]]) / length
    expected = (p, mirror) if across > 0 else (mirror, p)
    assert left == pytest.approx(expected[0], abs=1e-6)
    assert right == pytest.approx(expected[1], abs=1e-6)


@pytest.mark.parametrize(
    ("ra", "rb", "between"),
    [(3.0, 5.0, 4.0), (20.0, 6.0, 18.0), (6.0, 20.0, -8.0)],
    ids=["too short to meet", "b inside a", "a inside b"],
)
def test_circles_that_miss_begin_halfway_between_their_rims(ra: float, rb: float, between: float) -> None:
    starts = pair_starts(np.array([[0.0, 0], [10, 0]]), np.array([ra, rb]))
    assert starts == pytest.approx(np.array([[between, 0], [between, 0]]))
    reach = abs(between), abs(between - 10)
    assert abs(reach[0] - ra) == pytest.approx(abs(reach[1] - rb))  # the same share of the gap at either rim
    assert abs(reach[0] - ra) + abs(reach[1] - rb) == pytest.approx(circle_gap((0, 0), ra, (10, 0), rb))


def test_two_tapes_from_one_place_tell_a_circle_and_begin_anywhere_on_it() -> None:
    starts = pair_starts(np.zeros((2, 2)), np.array([5.0, 5.0]))
    assert np.hypot(*starts.T) == pytest.approx([5, 5])


def test_two_ties_leave_two_places_of_equal_cost() -> None:
    first, second = locate_point([(0, 0), (8, 0)], [5, 5], [0.02, 0.02])
    assert np.array(sorted([tuple(first.place), tuple(second.place)])) == pytest.approx(np.array([(4, -3), (4, 3)]))
    assert (first.chi2, second.chi2) == pytest.approx((0, 0), abs=1e-12)


def test_the_best_of_many_tapes_is_what_scipy_finds_from_many_starts() -> None:
    rng = np.random.default_rng(8)
    for _ in range(40):
        anchors = rng.uniform(-10, 10, (int(rng.integers(3, 6)), 2))
        true = rng.uniform(-25, 25, 2)
        sigmas = rng.uniform(0.01, 0.05, len(anchors))
        distances = np.hypot(*(true - anchors).T) + sigmas * rng.normal(size=len(anchors))

        def misfit(x: np.ndarray, a=anchors, d=distances, s=sigmas) -> np.ndarray:
            return (np.hypot(*(x - a).T) - d) / s

        tries = [least_squares(misfit, true + rng.normal(0, 20, 2), xtol=1e-12, ftol=1e-12) for _ in range(12)]
        best = min(tries, key=lambda r: r.cost)
        found = locate_point(anchors, distances, sigmas)
        assert found[0].chi2 <= 2 * best.cost + 1e-6
        # each of the places found is a minimum: scipy does not leave it
        for candidate in found:
            stays = least_squares(misfit, candidate.place, xtol=1e-12, ftol=1e-12)
            assert stays.x == pytest.approx(candidate.place, abs=1e-4)


def test_candidates_stand_cheapest_first_and_apart() -> None:
    found = locate_point([(0, 0), (10, 0), (5, 0.4)], [8.0, 7.0, 5.6], [0.02] * 3)
    costs = [candidate.chi2 for candidate in found]
    assert costs == sorted(costs)
    assert len(found) == 2
    assert np.hypot(*(found[0].place - found[1].place)) > 5


def test_a_prior_is_weighted_against_the_tapes() -> None:
    # two anchors far off along x and y measure one coordinate each; the prior measures both again
    prior = Prior(np.array([0.3, 0.4]), np.eye(2) / 0.02**2)
    found = locate_point([(-1e4, 0), (0, -1e4)], [1e4, 1e4], [0.02, 0.04], [prior])[0]
    assert found.place == pytest.approx([0.15, 0.4 * 4 / 5], abs=1e-4)


def test_a_prior_alone_is_a_place() -> None:
    (found,) = locate_point(np.empty((0, 2)), [], [], [Prior(np.array([3.0, 4.0]), np.eye(2) / 0.01)])
    assert found.place == pytest.approx([3, 4])
    assert found.covariance == pytest.approx(0.01 * np.eye(2), rel=1e-6)


def test_nothing_measured_gives_no_place() -> None:
    assert locate_point(np.empty((0, 2)), [], []) == []


def test_a_start_upon_a_reference_point_still_descends() -> None:
    anchors = np.array([[0.0, 0], [8, 0], [0, 6]])
    distances = np.hypot(*(np.array([4.0, 3.0]) - anchors).T)
    places, costs, _ = descend(anchors.copy(), anchors, distances, np.full(3, 0.02))
    assert np.isfinite(places).all()
    assert costs == pytest.approx(np.zeros(3), abs=1e-6)

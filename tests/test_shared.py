"""Errors that several tapes share: a wrong zero, a face that moved, slopes that were not reduced."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from asbuilt.model.measurements import Tie
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.adjust import adjust
from asbuilt.survey.joint import Joint, solve_together
from asbuilt.survey.shared import Shared, faces, slopes, tape_zero
from asbuilt.units import FOOT_M, INCH_M
from tests.survey_samples import RECTANGLE, metres, misread, property_of, rectangle, tapes, walls

PLACES = RECTANGLE | {"p": (4.0, -7.0), "q": (18.0, 4.0), "r": (5.0, 15.0), "s": (-6.0, 3.0)}


def record(change: Callable[[Tie], float] = lambda tie: 0.0, **measured: object) -> PropertyRecord:
    """Four points, each taped from all corners; `change` is the error of a tape."""
    ties = [t for name in "pqrs" for t in tapes(PLACES, name, "ABCD")]
    wrong = tuple(replace(t, distance=metres(t.distance.metres + change(t))) for t in ties)
    return rectangle(PLACES, wrong, **measured)


def solved(known: PropertyRecord) -> Joint:
    joint = solve_together(known)
    assert joint.fit is not None
    return joint


def again(joint: Joint, rng: np.random.Generator) -> Joint:
    """Measure it all once more, with the errors that the observations state."""
    assert joint.fit is not None and joint.datum is not None
    used = misread(joint.used, rng)
    return replace(joint, used=used, fit=adjust(used, joint.fit.places, joint.datum))


def assert_unbiased(found: list[Shared], true: float) -> None:
    """Mean and spread of estimates as their own standard deviation has them, within four of theirs."""
    sizes, sigma = np.array([each.size_m for each in found]), found[0].sigma_m
    assert sizes.mean() == pytest.approx(true, abs=4 * sigma / math.sqrt(len(sizes)) + 0.02 * abs(true))
    assert sizes.std() == pytest.approx(sigma, rel=4 / math.sqrt(2 * len(sizes)))


# ------------------------------------------------------------ the zero of the tape


@pytest.mark.parametrize("zero_m", [0.0, FOOT_M, -0.05])
def test_a_common_zero_is_estimated_without_bias_and_with_its_own_spread(zero_m: float) -> None:
    joint, rng = solved(record(lambda tie: zero_m)), np.random.default_rng(1)
    assert_unbiased([tape_zero(again(joint, rng)) for _ in range(300)], zero_m)


def test_every_tape_hooked_at_its_first_foot_is_seen() -> None:
    found = tape_zero(solved(record(lambda tie: FOOT_M)))
    assert found.size_m == pytest.approx(FOOT_M, rel=0.1)  # first order: 6 % of a foot
    assert found.tapes == 16
    assert found.significant
    assert found.noticed_m == pytest.approx(3.2905 * found.sigma_m, rel=1e-4)


def test_the_spread_of_a_common_zero_is_that_of_a_solution_with_one_more_unknown() -> None:
    joint = solved(record())
    assert joint.fit is not None
    column = np.zeros(len(joint.fit.residuals))
    for row, distance in enumerate(joint.used.distances):
        column[row] = isinstance(distance.source, Tie) / distance.sigma_m
    free = np.flatnonzero(np.diag(joint.fit.covariance) > 0)
    design = np.column_stack((joint.fit.jacobian[:, free], column))
    expected = math.sqrt(np.linalg.inv(design.T @ design)[-1, -1])
    assert tape_zero(joint).sigma_m == pytest.approx(expected, rel=1e-3)


def test_noise_is_seldom_taken_for_a_common_zero() -> None:
    joint, rng = solved(record()), np.random.default_rng(3)
    assert sum(tape_zero(again(joint, rng)).significant for _ in range(300)) <= 3  # 0.1 % test


def test_where_nothing_is_spare_a_common_zero_cannot_be_held() -> None:
    ties = tapes(PLACES, "p", "AB", side="right of A > B")
    found = tape_zero(solved(property_of("AB", walls(PLACES, "AB"), ties)))
    assert math.isinf(found.sigma_m)
    assert (found.standardised, found.significant) == (0.0, False)
    assert math.isinf(found.noticed_m)


# ------------------------------------------------------------ a face that moved


def from_new_face(tie: Tie, moved_m: float = 5 * INCH_M) -> float:
    """Error of a tape pulled from a face that moved out of the wall A > B, at its corners."""
    if tie.from_ not in "AB":
        return 0.0
    mark, point = np.array(PLACES[tie.from_]), np.array(PLACES[tie.to])
    return math.dist(mark - [0.0, moved_m], point) - math.dist(mark, point)


def test_a_face_that_was_reclad_is_estimated_outward_positive() -> None:
    joint = solved(record(from_new_face))
    found = {each.subject: each for each in faces(joint)}
    assert list(found) == ["A > B", "B > C", "C > D", "D > A"]
    assert found["A > B"].size_m == pytest.approx(5 * INCH_M, abs=0.01)
    assert found["A > B"].significant
    assert max(found.values(), key=lambda each: abs(each.standardised)).subject == "A > B"


def test_a_moved_face_is_estimated_without_bias() -> None:
    joint, rng = solved(record(from_new_face)), np.random.default_rng(2)
    assert_unbiased([next(faces(again(joint, rng))) for _ in range(200)], 5 * INCH_M)


def test_a_walk_the_other_way_round_finds_the_same_face_outward() -> None:
    known = record(from_new_face)
    joint = solved(replace(known, walls=tuple(walls(RECTANGLE, "ADCBA"))))
    found = {each.subject: each.size_m for each in faces(joint)}
    assert found["B > A"] == pytest.approx(5 * INCH_M, abs=0.01)


def test_walks_without_an_outside_have_no_face() -> None:
    known = record(from_new_face)
    assert list(faces(solved(replace(known, walls=tuple(walls(RECTANGLE, "ABCD")))))) == []


# ------------------------------------------------------------ slopes that were not reduced


def sloped(drop_m: float, point: str = "p") -> Callable[[Tie], float]:
    return lambda tie: math.hypot(tie.distance.metres, drop_m) - tie.distance.metres if tie.to == point else 0.0


def test_a_drop_that_all_tapes_of_a_point_share_is_estimated() -> None:
    found = list(slopes(solved(record(sloped(1.5)))))
    assert [each.subject for each in found] == ["p"]
    assert found[0].size_m == pytest.approx(1.5, abs=0.1)
    assert found[0].tapes == 4


def test_level_tapes_have_no_drop() -> None:
    assert list(slopes(solved(record()))) == []


def test_tapes_with_their_drop_noted_are_left_alone() -> None:
    known = record(sloped(1.5))
    noted = tuple(replace(t, held="slope", drop=metres(1.5)) if t.to == "p" else t for t in known.ties)
    assert list(slopes(solved(replace(known, ties=noted)))) == []


TRAP = {"A": (-15 * FOOT_M, 0.0), "M": (0.0, 0.0), "B": (20 * FOOT_M, 0.0), "lid": (6 * FOOT_M, -9.80 * FOOT_M)}


def trap(extra: str = "", places: dict[str, tuple[float, float]] = TRAP) -> PropertyRecord:
    """Slope tapes from three marks on one straight wall to a lid 3.5 ft lower."""
    ties = [
        replace(t, distance=metres(math.hypot(t.distance.metres, 3.5 * FOOT_M)))
        for t in tapes(places, "lid", "AMB" + extra, side="right of A > B")
    ]
    return property_of("AMB" + extra, walls(places, "AMB"), [*ties, *garage(places, extra)])


def garage(places: dict[str, tuple[float, float]], extra: str) -> list[Tie]:
    return [t for name in extra for t in tapes(places, name, "AMB", side="right of A > B")]


def test_three_tapes_from_one_straight_wall_cannot_see_a_common_drop() -> None:
    joint = solved(trap())
    assert joint.fit is not None
    assert joint.fit.chi2 < 0.001  # they agree to the thousandth ...
    place = joint.fit.places[joint.observations.index["lid"]] + np.array(TRAP["A"])
    assert math.dist(place, TRAP["lid"]) == pytest.approx(0.6 * FOOT_M, abs=0.02 * FOOT_M)  # ... and are 0.6 ft wrong
    assert list(slopes(joint)) == []


def test_a_tape_from_off_the_wall_shows_the_common_drop() -> None:
    places = TRAP | {"G": (2.0, -9.0)}
    joint = solved(trap("G", places))
    (found,) = [each for each in slopes(joint) if each.subject == "lid"]
    assert found.size_m == pytest.approx(3.5 * FOOT_M, rel=0.15)

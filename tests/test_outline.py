"""Does the walk round the house close? Misclosure, its test, and the walls that would explain it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from asbuilt.findings import Severity
from asbuilt.model.measurements import Wall
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.joint import solve_together
from asbuilt.survey.outline import Closure, closures, outline_findings
from tests.survey_samples import L_HOUSE, RECTANGLE, metres, property_of, walls

LENGTHS = (12.19, 7.31, 4.88, 2.45, 7.29, 4.88)  # SOURCES of the survey, section 5 (ours): 0.0283 m, 1 in 1379
TURNS = "LLLRLL"


def example(sigma_m: float = 0.010, square_sigma_deg: float = 0.0) -> PropertyRecord:
    degrees = {"L": 90.0, "R": -90.0}
    ends = zip("ABCDEF", "BCDEFA", LENGTHS, TURNS, strict=True)
    walked = [Wall(a, b, metres(length), turn, degrees[turn]) for a, b, length, turn in ends]
    return property_of("ABCDEF", walked, wall_sigma=metres(sigma_m), square_sigma_deg=square_sigma_deg)


def closed(record: PropertyRecord) -> Closure:
    (closure,) = closures(solve_together(record))
    return closure


def test_the_example_misses_by_what_is_stated() -> None:
    closure = closed(example())
    assert closure.misclosure_m == pytest.approx(0.0283, abs=5e-5)
    assert closure.ratio == pytest.approx(1379, abs=1)
    assert closure.length_m == pytest.approx(39.0)
    assert -closure.vector == pytest.approx([0.020, -0.020], abs=1e-9)  # where the walk ends


def test_the_test_of_the_example_has_its_stated_value_where_squares_are_held() -> None:
    assert closed(example()).chi2 == pytest.approx(2.6667, abs=1e-4)
    assert not closed(example()).doubtful


def test_the_joint_solution_of_held_squares_has_the_same_chi_square() -> None:
    joint = solve_together(example())
    assert joint.fit is not None
    assert joint.fit.chi2 == pytest.approx(closures(joint)[0].chi2, rel=1e-4)


@pytest.mark.parametrize("square_sigma_deg", [0.2, 0.5])
def test_the_misclosure_has_the_spread_that_its_test_supposes(square_sigma_deg: float) -> None:
    """Walk a true house with errors in walls and turns: chi-square of the misclosure averages 2."""
    rng, found = np.random.default_rng(4), []
    true = np.array(list(L_HOUSE.values())) @ [1, 1j]
    steps = np.roll(true, -1) - true
    for _ in range(1500):
        # the true house is out of square by these bends; declared turns are right angles
        bends = np.radians(square_sigma_deg) * rng.normal(size=6)
        heading = np.angle(steps) + np.concatenate(([0], np.cumsum(bends)[:-1]))
        lengths = np.abs(steps)
        # lengths that close the bent house: corrected in the least-squares sense, then read with their errors
        units = np.exp(1j * heading)
        gap = (lengths * units).sum()
        design = np.array([units.real, units.imag])
        lengths = lengths - design.T @ np.linalg.solve(design @ design.T, [gap.real, gap.imag])
        errors = dict(
            zip(("AB", "BC", "CD", "DE", "EF", "FA"), lengths - np.abs(steps) + rng.normal(0, 0.015, 6), strict=True)
        )
        walked = walls(L_HOUSE, "ABCDEFA", errors=errors)
        if not found:
            joint = solve_together(property_of("ABCDEF", walked, square_sigma_deg=square_sigma_deg))
        observed = replace(joint.observations, walks=(replace(joint.observations.walks[0], walls=tuple(walked)),))
        distances = tuple(replace(d, source=w) for d, w in zip(observed.distances, walked, strict=True))
        turns = tuple(replace(t, source=w) for t, w in zip(observed.turns, walked, strict=True))
        observed = replace(observed, distances=distances, turns=turns)
        found.append(closures(replace(joint, observations=observed))[0].chi2)
    assert np.mean(found) == pytest.approx(2.0, abs=4 * 2 / math.sqrt(1500))
    assert np.mean(np.array(found) > 5.9915) == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / 1500))


def test_a_closed_house_that_is_read_right_brings_no_finding() -> None:
    joint = solve_together(property_of("ABCDEF", walls(L_HOUSE, "ABCDEFA")))
    assert outline_findings(joint) == []
    assert closures(joint)[0].ratio > 1e6 or math.isinf(closures(joint)[0].ratio)


def test_a_wall_a_foot_too_long_is_named_with_those_that_run_alike() -> None:
    record = property_of("ABCDEF", walls(L_HOUSE, "ABCDEFA", errors={"BC": 0.3048}))
    (finding,) = outline_findings(solve_together(record))
    assert (finding.code, finding.subject, finding.severity) == ("misclosure", "A", Severity.ATTENTION)
    assert finding.message == "The walk round the house from A misses its beginning by 0.30 m, 1 in 172."
    # a walk tells which way it fails, not which of the walls of that way: B > C, D > E or F > A
    assert finding.next_act == (
        "If one wall is misread it is B > C (0.30 m too long) or D > E (0.30 m too long) or F > A (0.30 m too short). "
        "Tape those walls again."
    )


def test_the_size_and_the_sign_of_a_misread_wall_are_right() -> None:
    closure = closed(property_of("ABCD", walls(RECTANGLE, "ABCDA", errors={"CD": -0.5})))
    assert dict(closure.walls_along()) == pytest.approx({"A > B": 0.5, "C > D": -0.5})


def test_two_misread_walls_are_more_than_one() -> None:
    record = property_of("ABCDEF", walls(L_HOUSE, "ABCDEFA", errors={"AB": 0.4, "BC": 0.35}))
    (finding,) = outline_findings(solve_together(record))
    assert finding.next_act == "More than one wall or turn is wrong. Tape those walls again."


def test_walks_that_are_open_or_have_an_unknown_turn_are_not_closed() -> None:
    for walked in (walls(RECTANGLE, "ABCD"), walls(RECTANGLE, "ABCDA", unknown="C")):
        assert closures(solve_together(property_of("ABCD", walked))) == []


def test_two_buildings_are_closed_each_for_itself() -> None:
    garage = {"P": (18.0, -2.0), "Q": (24.0, -2.0), "R": (24.0, 4.0), "S": (18.0, 4.0)}
    places = RECTANGLE | garage
    walked = [*walls(places, "ABCDA"), *walls(places, "PQRSP", errors={"QR": 0.5})]
    joint = solve_together(property_of("ABCDPQRS", walked))
    assert [round(c.misclosure_m, 6) for c in closures(joint)] == [0.0, 0.5]
    assert [f.subject for f in outline_findings(joint)] == ["P"]


def test_a_bay_in_round_degrees_closes_with_its_turns_made_to_sum_up() -> None:
    bay = {
        "A": (0, 0),
        "M": (4, 0),
        "N": (5, -1.1),
        "O": (7, -1.1),
        "P": (8, 0),
        "B": (12, 0),
        "C": (12, 8),
        "D": (0, 8),
    }
    turns = {"M": -48.0, "N": 47.0, "O": 47.0, "P": -48.0}  # 47.7 degrees each; the sum is 358
    walked = [replace(w, turn_deg=turns.get(w.to, w.turn_deg)) for w in walls(bay, "AMNOPBCDA")]
    joint = solve_together(property_of("".join(bay), walked))
    assert closures(joint)[0].misclosure_m < 0.02
    assert outline_findings(joint) == []

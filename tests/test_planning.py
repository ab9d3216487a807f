"""The next tape: what the rank-one update promises is what solving again gives; and how tapes are ranked."""

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from asbuilt.model.measurements import Offset, Tie
from asbuilt.model.place import ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.checking import Checker
from asbuilt.survey.joint import Joint, solve_together
from asbuilt.survey.nearline import off_line_m
from asbuilt.survey.planning import NextTape, choices, next_tapes, rank
from asbuilt.survey.quality import radius_95
from asbuilt.units import Length
from tests.survey_samples import L_HOUSE, RECTANGLE, metres, property_of, rectangle, tape, tapes, walls

PLACES = L_HOUSE | {"lid": (4.0, -7.0), "box": (11.0, -9.0), "pin": (-6.0, 5.0)}
ERRORS = {"A": 0.011, "B": -0.02, "F": 0.004, "C": 0.017, "lid": -0.006, "E": 0.01}


def network() -> PropertyRecord:
    """Noisy ties, a point through a point, an offset, a pin, a blunt mark."""
    marks = [*"ABCD", ReferencePoint("E", sigma=metres(0.03)), "F", ReferencePoint("pin", kind="pin")]
    ties = [
        *tapes(PLACES, "pin", "AFB", ERRORS),
        *tapes(PLACES, "lid", ["A", "B", "pin"], ERRORS),
        *tapes(PLACES, "box", ["B", "lid"], ERRORS, side="right of lid > B"),
    ]
    offsets = [Offset("A", "B", "box", metres(11.1), metres(9.02), "right")]
    return property_of(marks, walls(PLACES, "ABCDEFA"), ties, offsets=offsets)


def with_tape(joint: Joint, point: str, plan: NextTape) -> Joint:
    """Pull the tape, just as long as the solution has it, and solve again."""
    length = Length(f"{plan.distance_m:.4f} m", plan.distance_m, 1e-4)
    tie = Tie(plan.reference, point, length, held="level")
    return solve_together(replace(joint.record, ties=(*joint.record.ties, tie)))


def assert_as_solved_again(joint: Joint, point: str, plan: NextTape) -> None:
    again = with_tape(joint, point, plan)
    assert again.fit is not None
    node = again.observations.index[point]
    check = Checker(again.used, again.fit).check(node)
    assert plan.r95_m == pytest.approx(float(radius_95(again.fit.block(node))), rel=1e-7, abs=1e-9)
    assert math.isinf(plan.unnoticed_m) == (check.unnoticed_m is None)
    if check.unnoticed_m is not None:
        assert plan.unnoticed_m == pytest.approx(check.unnoticed_m, rel=1e-5)


@pytest.mark.parametrize("point", ["lid", "box", "pin", "C"])
def test_a_planned_tape_does_what_solving_with_it_does(point: str) -> None:
    joint = solve_together(network())
    plans = next_tapes(joint, point)
    assert plans
    for plan in plans:
        assert_as_solved_again(joint, point, plan)


def test_a_blunt_mark_and_a_coarse_notebook_count_in_the_plan() -> None:
    sharp = [*"ABC", "D"]
    blunt = [*"ABC", ReferencePoint("D", sigma=metres(0.20))]
    places = RECTANGLE | {"lid": (4.0, -7.0)}
    plans = {}
    for word, marks in (("sharp", sharp), ("blunt", blunt)):
        joint = solve_together(property_of(marks, walls(places, "ABCDA"), tapes(places, "lid", "AB", side="out")))
        plans[word] = {p.reference: p for p in next_tapes(joint, "lid")}
        assert_as_solved_again(joint, "lid", plans[word]["D"])
    assert plans["blunt"]["D"].r95_m > plans["sharp"]["D"].r95_m
    assert plans["blunt"]["C"].r95_m == pytest.approx(plans["sharp"]["C"].r95_m)
    coarse = tuple(
        replace(t, distance=replace(t.distance, step_m=0.3048)) for t in tapes(places, "lid", "AB", side="out")
    )
    joint = solve_together(property_of(sharp, walls(places, "ABCDA"), coarse))
    plan = next_tapes(joint, "lid")[0]
    again = Tie(plan.reference, "lid", Length("", plan.distance_m, 0.3048), held="level")
    solved = solve_together(replace(joint.record, ties=(*joint.record.ties, again)))
    assert solved.fit is not None
    assert plan.r95_m == pytest.approx(float(radius_95(solved.fit.block(4))), rel=1e-6)


def test_a_tape_that_is_pulled_already_is_not_offered() -> None:
    joint = solve_together(network())
    assert {p.reference for p in next_tapes(joint, "lid")} == {"C", "D", "E", "F"}


def test_only_reference_points_are_offered_and_only_those_that_can_be_seen() -> None:
    joint = solve_together(network())
    assert {p.reference for p in next_tapes(joint, "box")} == {"A", "C", "D", "E", "F", "pin"}
    assert [p.reference for p in next_tapes(joint, "box", ["C"])] == ["C"]
    assert next_tapes(joint, "box", []) == []


def test_what_is_gone_is_never_offered_though_its_ties_count() -> None:
    gone = ReferencePoint("C", gone_on=date(2020, 1, 1))
    places = RECTANGLE | {"lid": (4.0, -7.0)}
    record = property_of(
        ["A", "B", gone, "D"], walls(places, "ABCDA"), tapes(places, "lid", "AC", side="right of A > C")
    )
    joint = solve_together(record)
    assert joint.fit is not None
    assert np.isfinite(joint.fit.places[4]).all()
    assert {p.reference for p in next_tapes(joint, "lid")} == {"B", "D"}
    assert {p.reference for p in next_tapes(joint, "lid", ["B", "C"])} == {"B"}
    assert all("C" not in c.references for c in choices(joint, np.array([4.0, -7.0]), 3))
    assert (
        next_tapes(
            solve_together(replace(record, ties=tuple(tapes(places, "lid", "BD", side="right of D > B")))), "lid"
        )[0].reference
        == "A"
    )


def test_an_unknown_or_unplaced_name_is_a_key_error() -> None:
    places = RECTANGLE | {"lid": (4.0, -7.0), "lost": (1.0, -1.0)}
    joint = solve_together(rectangle(places, [*tapes(places, "lid", "ABC"), tape(places, "A", "lost")]))
    for name in ("nowhere", "lost"):
        with pytest.raises(KeyError, match=name):
            next_tapes(joint, name)
    with pytest.raises(KeyError, match="Z"):
        next_tapes(joint, "lid", ["Z"])
    nothing = solve_together(property_of("AB", []))
    with pytest.raises(KeyError, match="nothing is placed"):
        next_tapes(nothing, "A")


def plan(reference: str, r95_m: float, unnoticed_m: float, off_line: float = 5.0) -> NextTape:
    return NextTape(reference, 10.0, r95_m, unnoticed_m, off_line, 0.1)


@pytest.mark.parametrize(
    ("tapes_", "order"),
    [
        ([plan("a", 0.05, 0.5), plan("b", 0.06, 0.2)], "ba"),  # safer first, though a little wider
        ([plan("a", 0.05, 0.24), plan("b", 0.06, 0.2)], "ab"),  # nearly as safe: the smaller radius
        ([plan("a", 0.05, 0.26), plan("b", 0.06, 0.2)], "ba"),  # a quarter more is not nearly
        ([plan("a", 0.05, 0.14), plan("b", 0.06, 0.02)], "ab"),  # both safe enough
        ([plan("a", 0.04, 0.2, 0.5), plan("b", 0.06, 0.3)], "ba"),  # better in both, but it leaves the mirror open
        ([plan("a", 0.04, math.inf), plan("b", 0.09, 0.4), plan("c", 0.05, 0.6)], "bca"),
        ([plan("a", 0.09, math.inf), plan("b", 0.04, math.inf)], "ba"),
        ([], ""),
    ],
)
def test_tapes_are_ranked_by_radius_among_those_that_are_nearly_as_safe(tapes_: list[NextTape], order: str) -> None:
    assert "".join(t.reference for t in rank(tapes_)) == order
    assert "".join(t.reference for t in rank(tapes_[::-1])) == order


def test_a_third_tape_is_advised_for_checking_and_not_for_two_millimetres() -> None:
    """SOURCES of the survey, section 11 (ours): C gives the least radius, M the least unnoticed shift."""
    places = {"A": (0.0, 0.0), "B": (12.0, 0.0), "C": (12.0, 8.0), "D": (0.0, 8.0), "M": (6.0, 8.0), "lid": (7.0, -9.0)}
    braces = [tape(places, a, b) for a, b in ("AC", "BD", "AM", "BM", "CM", "DM")]
    record = property_of(
        "ABCDM",
        walls(places, "ABCDA"),
        [*braces, *tapes(places, "lid", "AB", side="right of A > B")],
        tape_sigma=metres(0.02),
    )
    exact = replace(
        record, property=replace(record.property, measured=replace(record.property.measured, wall_sigma=metres(0.0005)))
    )
    plans = {p.reference: p for p in next_tapes(solve_together(exact), "lid")}
    assert min(plans.values(), key=lambda p: p.r95_m).reference == "C"
    assert plans["M"].r95_m - plans["C"].r95_m == pytest.approx(0.002, abs=0.0015)
    assert plans["M"].unnoticed_m < 0.5 * plans["C"].unnoticed_m
    assert next_tapes(solve_together(exact), "lid")[0].reference == "M"


# ------------------------------------------------------------ before anything is measured


def bare() -> Joint:
    return solve_together(property_of("ABCDEF", walls(L_HOUSE, "ABCDEFA")))


@pytest.mark.parametrize("count", [2, 3])
def test_before_anything_is_measured_the_choice_is_what_solving_would_give(count: int) -> None:
    joint, place = bare(), np.array([10.0, -7.0])
    places = L_HOUSE | {"lid": (10.0, -7.0)}
    for choice in choices(joint, place, count):
        ties = tapes(
            places, "lid", list(choice.references), side=f"right of {choice.references[0]} > {choice.references[1]}"
        )
        a, b = (np.array(L_HOUSE[name]) for name in choice.references[:2])
        left = (b - a)[0] * (place - a)[1] - (b - a)[1] * (place - a)[0]
        ties[0] = replace(ties[0], side=replace(ties[0].side, word="left" if left > 0 else "right"))
        solved = solve_together(replace(joint.record, ties=tuple(ties)))
        assert solved.fit is not None
        assert choice.r95_m == pytest.approx(float(radius_95(solved.fit.block(6))), rel=1e-4)
        assert choice.off_line_m == pytest.approx(off_line_m([L_HOUSE[n] for n in choice.references]), abs=1e-4)


def test_the_best_two_corners_cross_nearly_square() -> None:
    best, *_, worst = choices(bare(), np.array([10.0, -7.0]), 2)
    assert best.crossing_deg > 60
    assert best.r95_m < worst.r95_m
    assert math.isinf(best.unnoticed_m)


def test_the_best_three_are_not_on_one_line_and_catch_a_blunder() -> None:
    found = choices(bare(), np.array([10.0, -7.0]), 3)
    assert len(found) == 20
    best = found[0]
    assert best.off_line_m > 0.6
    assert (
        best.unnoticed_m <= 1.25 * min(c.unnoticed_m for c in found if c.off_line_m > 0.6) or best.unnoticed_m <= 0.15
    )


def test_only_the_corners_that_are_left_are_chosen_from() -> None:
    found = choices(bare(), np.array([10.0, -7.0]), 2, ["A", "B", "C"])
    assert sorted("".join(c.references) for c in found) == ["AB", "AC", "BC"]
    assert choices(bare(), np.array([10.0, -7.0]), 3, ["A", "B"]) == []

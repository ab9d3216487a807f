"""Hard cases of real places, and bad input: a right answer, a clear finding or a refusal each."""

import math
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from asbuilt.findings import Severity
from asbuilt.model.measurements import Offset, Tie
from asbuilt.model.place import ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.joint import solve_together
from asbuilt.survey.observations import NoDistanceError
from asbuilt.survey.planning import choices, next_tapes
from asbuilt.survey.screening import screen
from asbuilt.survey.shared import explanations
from asbuilt.survey.solve import solve
from asbuilt.survey.start import pair_starts
from asbuilt.survey.suspects import suspect_findings
from asbuilt.units import FOOT_M, INCH_M, Length, parse_length
from tests.commands import Run, WriteSheets, parsed, point_named, two_corners
from tests.survey_samples import L_HOUSE, RECTANGLE, metres, property_of, rectangle, tape, tapes, walls

# ------------------------------------------------------------ a porch post since removed


def porch(gone_on: date | None) -> PropertyRecord:
    """Tie a lid from one corner and two porch posts, the posts being tied to the house."""
    places = RECTANGLE | {"P1": (3.0, -2.5), "P2": (9.0, -2.5), "lid": (7.0, -9.0)}
    posts = [ReferencePoint(name, kind="post", gone_on=gone_on) for name in ("P1", "P2")]
    ties = [*tapes(places, "P1", "ABC"), *tapes(places, "P2", "ABD"), *tapes(places, "lid", ["P1", "P2", "A"])]
    return property_of([*"ABCD", *posts], walls(places, "ABCDA"), ties)


def test_the_ties_of_a_post_that_is_gone_still_hold_the_lid() -> None:
    stands, gone = (solve(porch(day)).position("lid") for day in (None, date(2021, 5, 1)))
    assert gone.place == pytest.approx([7.0, -9.0], abs=1e-3)
    assert gone.r95_m == stands.r95_m
    assert [tie.from_ for tie in gone.ties] == ["P1", "P2", "A"]


def test_a_post_that_is_gone_is_never_offered_for_a_new_tape() -> None:
    joint = solve_together(porch(date(2021, 5, 1)))
    assert {tape.reference for tape in next_tapes(joint, "lid")} == {"B", "C", "D"}
    assert not {"P1", "P2"} & {name for c in choices(joint, np.array([7.0, -9.0]), 2) for name in c.references}
    mends = [f.next_act for f in solve(joint.record).findings]
    assert not [words for words in mends if "P1" in words or "P2" in words]


# ------------------------------------------------------------ a house re-clad in 5-in stone

WALL_FT, OUT_FT = 40.0, 30.5


def test_old_tapes_pulled_from_new_stone_land_0_14_ft_off() -> None:
    """Both ends of a 40-ft wall lie 5 in further out, and 5 in further along, than when the lid was taped."""
    lid = (WALL_FT / 2, -OUT_FT)
    stone = 5 / 12
    old = [math.dist(corner, lid) for corner in ((0, 0), (WALL_FT, 0))]
    _, landed = pair_starts(np.array([(-stone, -stone), (WALL_FT + stone, -stone)]), np.array(old))
    assert math.dist(landed, lid) == pytest.approx(0.14, abs=0.005)
    # the figure: 5 in outward, less what the wider stance takes back, 5 in times half the wall over the distance out
    assert math.dist(landed, lid) == pytest.approx(stone * (1 - WALL_FT / 2 / OUT_FT), abs=0.005)


def test_tapes_from_the_new_stone_among_old_ones_are_said_to_share_a_face() -> None:
    places = RECTANGLE | {name: (x, y) for name, x, y in (("p", 4.0, -7.0), ("q", 8.0, -6.0), ("r", 1.0, -9.0))}
    stone = 5 * INCH_M

    def from_stone(tie: Tie) -> Tie:
        if tie.from_ not in "AB":
            return tie
        x, y = places[tie.from_]
        return replace(tie, distance=metres(math.dist((x, y - stone), places[tie.to])))

    ties = [from_stone(t) for name in "pqr" for t in tapes(places, name, "ABCD")]
    joint = solve_together(rectangle(places, ties))
    assert joint.fit is not None
    found = {each.subject: each.size_m for each in explanations(joint, screen(joint.used, joint.fit))}
    assert found["A > B"] == pytest.approx(stone, abs=0.01)
    first = suspect_findings(joint)[0]
    assert first.severity is Severity.ATTENTION
    assert "further out than when its corners were measured. Was it re-clad" in first.sentence()


# ------------------------------------------------------------ a lid 3.5 ft below the sill under a later deck


def deck(drop: str | None, held: str | None, extra: str = "") -> PropertyRecord:
    """Slope tapes 17.444, 12.012 and 23.437 ft in turn from corners at x = 20, 0, -15 ft on one straight wall."""
    read = {"A": 23.437, "M": 12.012, "B": 17.444}
    feet = {"A": (-15.0, 0.0), "M": (0.0, 0.0), "B": (20.0, 0.0), "G": (20.0, -25.0), "lid": (6.0, -9.8)}
    places = {name: (x * FOOT_M, y * FOOT_M) for name, (x, y) in feet.items()}
    below = parse_length(drop) if drop else None
    ties = [
        Tie(name, "lid", Length(f"{value} ft", value * FOOT_M, 0.001 * FOOT_M), None, held, below)
        for name, value in read.items()
    ]
    ties[0] = replace(ties[0], side=tapes(places, "lid", "A", side="right of A > B")[0].side)
    for name in extra:
        slope = math.hypot(math.dist(places[name], places["lid"]), 3.5 * FOOT_M)
        ties += [*tapes(places, name, "AMB", side="right of A > B"), Tie(name, "lid", metres(slope), None, held, below)]
    return property_of(["A", "M", "B", *extra], walls(places, "AMB"), ties, units="ft")


TRUE_FT = np.array([6.0 + 15.0, -9.8])  # from A


def lid_of(record: PropertyRecord) -> tuple[Any, float]:
    """Give the lid's position and how far off it is, feet."""
    lid = solve(record).position("lid")
    assert lid.place is not None
    return lid, math.dist(lid.place / FOOT_M, TRUE_FT)


@pytest.mark.parametrize("held", [None, "unknown", "level", "slope"])
def test_a_deep_lid_taped_without_its_drop_agrees_is_wrong_and_is_not_called_checked(held: str | None) -> None:
    lid, off_ft = lid_of(deck(None, held))
    assert off_ft == pytest.approx(0.6, abs=0.02)
    assert max(abs(tie.residual_m) for tie in lid.ties) < 0.001 * FOOT_M
    assert not lid.checked
    assert "lies on one line" in lid.unchecked_because
    if held != "level":
        assert "it is not noted whether the tape was level or how far it dropped" in lid.unchecked_because


def test_a_deep_lid_with_its_drop_lies_where_it_is() -> None:
    for held in (None, "slope"):
        lid, off_ft = lid_of(deck("3' 6\"", held))
        assert off_ft < 0.005
        assert lid.r95_m is not None and lid.r95_m < 0.3 * FOOT_M
        assert "not noted" not in lid.unchecked_because


def test_a_tape_from_off_the_wall_shows_that_the_drop_is_missing() -> None:
    joint = solve_together(deck(None, "level", extra="G"))
    assert joint.fit is not None
    screening = screen(joint.used, joint.fit)
    assert screening.alarm
    again = solve_together(deck("3' 6\"", "slope", extra="G"))
    assert again.fit is not None
    assert not screen(again.used, again.fit).alarm


def test_the_advice_for_a_deep_lid_is_a_tape_from_off_the_wall() -> None:
    record = deck(None, "slope")
    places = {"A": (0.0, 0.0), "M": (15 * FOOT_M, 0.0), "B": (35 * FOOT_M, 0.0), "G": (35 * FOOT_M, -25 * FOOT_M)}
    garage = [ReferencePoint("G", kind="corner")]
    ties = (*record.ties, *tapes(places, "G", "AMB", side="right of A > B"))
    joint = solve_together(replace(record, reference_points=(*record.reference_points, *garage), ties=ties))
    (best,) = next_tapes(joint, "lid")
    assert best.reference == "G"
    assert best.off_line_m > 0.6


# ------------------------------------------------------------ the notch of an L where both places lie outside

NOTCH = L_HOUSE | {"lid": (8.0, 8.0)}
MIRROR = (10.4, 11.2)


def notch(side: str | None, anchors: str = "CE") -> PropertyRecord:
    return property_of("ABCDEF", walls(NOTCH, "ABCDEFA"), tapes(NOTCH, "lid", anchors, side=side))


def test_both_places_of_the_notch_are_named_and_neither_is_said_to_lie_in_the_house() -> None:
    solution = solve(notch(None))
    assert solution.position("lid").place is None
    (finding,) = [f for f in solution.findings if f.subject == "lid"]
    assert (finding.code, finding.severity) == ("open-mirror", Severity.ATTENTION)
    assert "4.00 m apart" in finding.message
    assert "2.00 m left" in finding.message and "2.00 m right" in finding.message
    assert "inside the house" not in finding.message


@pytest.mark.parametrize(("side", "place"), [("left of C > E", (8.0, 8.0)), ("right of C > E", MIRROR)])
def test_the_notch_is_told_by_a_side_of_the_line_across_it(side: str, place: tuple[float, float]) -> None:
    assert solve(notch(side)).position("lid").place == pytest.approx(place, abs=1e-3)


def test_the_notch_is_told_by_one_tape_from_the_inner_corner() -> None:
    solution = solve(notch(None, "CED"))
    assert solution.position("lid").place == pytest.approx((8.0, 8.0), abs=1e-3)
    assert (
        solution.position("lid").unchecked_because is None
        or "one line" not in solution.position("lid").unchecked_because
    )


# ------------------------------------------------------------ bad input through the sheets


@pytest.mark.parametrize(
    ("cells", "problem"),
    [
        ({"tape1": "0"}, "points.csv row 2, column tape1: “0” is zero; accepted: a length above zero"),
        ({"tape1": "nan"}, "points.csv row 2, column tape1: “nan” is not a number"),
        ({"tape1": "inf"}, "points.csv row 2, column tape1: “inf” is not a number"),
        ({"tape1": "10000 m"}, "points.csv row 2, column tape1: “10000 m” is 10,000 m; accepted: at most 1,000 m"),
        ({"from1": "septic tank/lid"}, "points.csv row 2, column from1: a tape from “septic tank/lid” to itself"),
    ],
)
def test_what_is_no_distance_is_refused_by_the_sheets(
    run: Run, write_sheets: WriteSheets, cells: dict[str, str], problem: str
) -> None:
    result = run("load", write_sheets("bad", **two_corners(**cells)))
    assert result.exit_code == 2
    assert problem in result.stderr
    assert run("positions", "Two Corners").exit_code == 2  # nothing was stored


def test_two_ties_that_cannot_meet_are_stored_and_found(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners(tape1="5' 0\"", tape2="5' 0\"")
    run("load", write_sheets("apart", **sheets))
    result = run("positions", "Two Corners", "--json")
    assert result.exit_code == 1
    lid = point_named(parsed(result), "septic tank/lid")
    assert lid["east_m"] is None
    (finding,) = [f for f in parsed(result)["findings"] if f["code"] == "tapes-do-not-meet"]
    assert finding["severity"] == "attention"
    assert "20' 0\" are missing or too much" in finding["message"]


def test_a_loop_of_points_tied_only_to_each_other_is_found(run: Run, write_sheets: WriteSheets) -> None:
    loop = [[f"line/{a}", f"line/{b}", "9' 0\""] for a, b in ("12", "23", "31")]
    sheets = two_corners() | {"ties": [["from", "to", "distance"], *loop], "components": [["name", "kind"]]}
    sheets["components"] += [["line", "sewer"], ["septic tank", "septic tank"]]
    loaded = run("load", write_sheets("loop", **sheets))
    assert loaded.exit_code != 2, loaded.stderr
    result = run("positions", "Two Corners", "--json")
    assert result.exit_code == 1
    lost = [f["subject"] for f in parsed(result)["findings"] if f["code"] == "unconnected"]
    assert lost == ["line/1", "line/2", "line/3"]
    assert point_named(parsed(result), "septic tank/lid")["east_m"] is not None


# ------------------------------------------------------------ bad input through a record

LID = RECTANGLE | {"lid": (5.0, -4.0)}


@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf, 0.0, -3.0])
def test_a_tape_or_wall_of_no_length_is_refused_by_name(wrong: float) -> None:
    no_length = Length("unreadable", wrong, 0.01)
    bad_tie = rectangle(LID, [Tie("A", "lid", no_length), *tapes(LID, "lid", "BC")])
    bent = walls(LID, "ABCDA")
    bent[1] = replace(bent[1], length=no_length)
    for record, named in ((bad_tie, "A to lid"), (property_of("ABCD", bent, tapes(LID, "lid", "ABC")), "B to C")):
        with pytest.raises(NoDistanceError) as refused:
            solve(record)
        assert str(refused.value) == (
            f"{named} unreadable: accepted is a length above zero between two different places"
        )


def test_an_offset_of_no_number_is_refused_by_name() -> None:
    offset = Offset("A", "B", "lid", Length("unreadable", math.nan, 0.01), metres(2.0))
    with pytest.raises(NoDistanceError, match=r"^A > B to lid unreadable: "):
        solve(rectangle(LID, [], offsets=[offset]))


def test_a_point_tied_to_itself_is_refused_by_name() -> None:
    with pytest.raises(NoDistanceError, match=r"^lid to lid 3\.0000 m: "):
        solve(rectangle(LID, [*tapes(LID, "lid", "ABC"), Tie("lid", "lid", metres(3.0))]))


@pytest.mark.parametrize("anchors", ["AB", "ABC", "ABCD"])
def test_a_tape_of_ten_kilometres_is_found_and_named(anchors: str) -> None:
    first, *others = tapes(LID, "lid", anchors, side="right of A > B" if anchors == "AB" else None)
    record = rectangle(LID, [replace(first, distance=metres(10_000.0)), *others])
    solution = solve(record)
    gaps = [f for f in solution.findings if f.code == "tapes-do-not-meet" and f.subject == "lid"]
    assert gaps
    assert all(f.severity is Severity.ATTENTION for f in gaps)
    assert "A and B" in gaps[0].message and "99" in gaps[0].message
    if anchors != "AB":
        assert solution.fit.passed is False


def test_a_point_upon_a_reference_point_is_solved() -> None:
    """A mark is taped that turns out to be the corner itself: its tape from there would be zero, so there is none."""
    places = RECTANGLE | {"lid": (0.0, 0.0)}
    lid = solve(rectangle(places, tapes(places, "lid", "BCD"))).position("lid")
    assert lid.place == pytest.approx([0, 0], abs=1e-6)
    short = [tape(places, "A", "lid", 0.02), *tapes(places, "lid", "BCD")]
    assert solve(rectangle(places, short)).position("lid").place == pytest.approx([0, 0], abs=0.05)

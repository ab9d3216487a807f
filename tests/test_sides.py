"""Words of the measurer as sides of a line: compass words, `out` without turns, several sides of one point."""

import math

import numpy as np
import pytest

from asbuilt.findings import Severity
from asbuilt.model.measurements import Side, Tie
from asbuilt.model.place import Earth
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.observations import observe
from asbuilt.survey.sides import Sides, UnclearSideError, left_of
from asbuilt.survey.solve import solve
from tests.survey_samples import L_HOUSE, RECTANGLE, property_of, rectangle, tapes, walls

LID = RECTANGLE | {"lid": (5.0, -4.0)}
NODES = {node: np.array(place) for node, place in enumerate(RECTANGLE.values())}


def sides(record: PropertyRecord, azimuth_deg: float | None = None) -> Sides:
    return Sides(record, observe(record), azimuth_deg)


def compass(word: str, azimuth_deg: float | None) -> PropertyRecord:
    earth = None if azimuth_deg is None else Earth(wall_from="A", wall_to="B", azimuth_deg=azimuth_deg)
    return rectangle(LID, tapes(LID, "lid", "AB", side=f"{word} of A > B"), earth=earth)


def test_left_of_a_line_is_positive() -> None:
    a, b = np.array([1.0, 1.0]), np.array([4.0, 5.0])
    assert left_of(a, b, np.array([1.0, 5.0])) == pytest.approx(12)  # twice the area of a 3-4-5 triangle
    assert left_of(b, a, np.array([1.0, 5.0])) == pytest.approx(-12)
    assert left_of(a, b, np.array([7.0, 9.0])) == pytest.approx(0)


@pytest.mark.parametrize("azimuth", range(0, 360, 10))
@pytest.mark.parametrize(("word", "toward"), [("north", 0), ("east", 90), ("south", 180), ("west", 270)])
def test_a_compass_side_is_taken_30_degrees_clear_of_the_line_and_refused_within(
    word: str, toward: float, azimuth: float
) -> None:
    told = sides(compass(word, azimuth), azimuth)
    off_line = math.degrees(math.asin(abs(math.sin(math.radians(toward - azimuth)))))
    if off_line < 30 - 1e-6:
        with pytest.raises(UnclearSideError, match=f"itself runs within 30 degrees of {word} or its opposite"):
            told.allow(4, np.array([5.0, -4.0]), NODES)
        return
    # a place on that side of the wall's middle, by the azimuth: x runs along `azimuth`, y left of it
    turn = math.radians(azimuth - toward)
    place = np.array([6 + 3 * math.cos(turn), 3 * math.sin(turn)])
    mirror = place * (1, -1)
    assert told.allow(4, place, NODES)
    assert not told.allow(4, mirror, NODES)


def test_a_compass_side_along_its_line_refuses_the_property_in_words() -> None:
    solution = solve(compass("north", 20.0), 20.0)
    (finding,) = solution.findings
    assert (finding.code, finding.severity) == ("unclear-side", Severity.REFUSED)
    assert finding.message == (
        "north of A > B: the line A > B itself runs within 30 degrees of north or its opposite; "
        "say left of or right of A > B."
    )


def test_a_compass_side_without_an_azimuth_is_refused_in_words() -> None:
    (finding,) = solve(compass("south", None)).findings
    assert (finding.code, finding.severity) == ("unclear-side", Severity.REFUSED)
    assert finding.message == "south of A > B: no azimuth is known; say left of or right of A > B."


def test_a_compass_side_of_another_line_than_the_wall_with_the_azimuth_turns_with_it() -> None:
    earth = Earth(wall_from="A", wall_to="B", azimuth_deg=90.0)  # the plan lies with north up
    places = RECTANGLE | {"lid": (16.0, 4.0)}
    record = rectangle(places, tapes(places, "lid", "BC", side="east of B > C"), earth=earth)
    assert solve(record, 90.0).position("lid").place == pytest.approx([16, 4], abs=1e-3)
    record = rectangle(places, tapes(places, "lid", "BC", side="west of B > C"), earth=earth)
    assert solve(record, 90.0).position("lid").place == pytest.approx([8, 4], abs=1e-3)


@pytest.mark.parametrize("ring", ["ABCDEFA", "AFEDCBA"])
def test_out_is_told_by_the_area_where_turns_are_not_known(ring: str) -> None:
    places = L_HOUSE | {"lid": (9.0, 9.0)}
    ties = tapes(places, "lid", "DE", side="out")
    solution = solve(property_of("ABCDEF", walls(places, ring, unknown="B"), ties))
    found, corner = solution.position("lid").place, solution.position("A").place
    assert found is not None and corner is not None
    assert math.dist(found, corner) == pytest.approx(math.hypot(9, 9), abs=1e-3)  # the mirror is at (3, 9)


def test_out_of_a_walk_that_does_not_close_is_refused() -> None:
    record = property_of("ABCD", walls(LID, "ABCD"), tapes(LID, "lid", "AB", side="out"))
    (finding,) = [f for f in solve(record).findings if f.severity is Severity.REFUSED]
    assert "the walk round the house at A does not close; say left or right" in finding.message


def test_out_of_no_wall_is_never_silently_a_side() -> None:
    record = rectangle(LID, tapes(LID, "lid", "AC", side="out"))  # a diagonal; the sheets refuse it before
    solution = solve(record)
    assert solution.position("lid").place is None
    assert [f for f in solution.findings if f.subject == "lid"]


def test_a_point_must_lie_on_all_of_its_noted_sides() -> None:
    first, second = tapes(LID, "lid", "AB")
    record = rectangle(
        LID,
        [
            Tie("A", "lid", first.distance, Side("right", "A", "B"), "level"),
            Tie("B", "lid", second.distance, Side("left", "B", "A"), "level"),
        ],
    )
    told = sides(record)
    assert len(told.of[4]) == 2
    assert told.allow(4, np.array([5.0, -4.0]), NODES)
    assert not told.allow(4, np.array([5.0, 4.0]), NODES)


def test_the_place_across_is_the_mirror_in_the_noted_line() -> None:
    told = sides(rectangle(LID, tapes(LID, "lid", "AC", side="right of A > C")))
    right = np.array([8.0, 1.0])  # right of the diagonal already
    assert told.across(4, right, NODES) == pytest.approx(right)
    left = told.across(4, np.array([2.0, 5.0]), NODES)
    u = np.array([12.0, 8.0]) / math.hypot(12, 8)
    assert left == pytest.approx(2 * u * (u @ [2.0, 5.0]) - [2.0, 5.0])


def test_a_point_without_a_side_is_allowed_everywhere() -> None:
    told = sides(rectangle(LID, tapes(LID, "lid", "AB")))
    assert told.ready(4, {})
    assert told.allow(4, np.array([5.0, 4.0]), NODES)

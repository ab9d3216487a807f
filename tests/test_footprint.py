"""From walls, turns and diagonals to corners: unknown turns, open walks, bays, several buildings, no walls."""

import math
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from asbuilt.findings import Severity
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.footprint import first_places, walk_chain
from asbuilt.survey.observations import observe
from asbuilt.survey.solve import solve
from tests.survey_samples import L_HOUSE, RECTANGLE, Places, property_of, tape, tapes, walls

BAY: dict[str, tuple[float, float]] = {
    "A": (0, 0),
    "M": (4, 0),
    "N": (5, -1),
    "O": (7, -1),
    "P": (8, 0),
    "B": (12, 0),
    "C": (12, 8),
    "D": (0, 8),
}


def chain_of(record: PropertyRecord) -> dict[str, np.ndarray]:
    observations = observe(record)
    return {observations.names[node]: place for node, place in first_places(observations).items()}


def assert_corners(record: PropertyRecord, places: Places, off_m: float = 0.005) -> None:
    """Hold the solved corners to the true ones by all their distances, whatever the frame."""
    solution = solve(record)
    for a, b in combinations([r.name for r in solution.references], 2):
        one, other = solution.position(a).place, solution.position(b).place
        assert one is not None and other is not None, (a, b, solution.findings)
        assert math.dist(one, other) == pytest.approx(math.dist(places[a], places[b]), abs=off_m), (a, b)


@pytest.mark.parametrize("places", [RECTANGLE, L_HOUSE, BAY], ids=["rectangle", "L", "bay"])
def test_a_walk_with_all_turns_gives_the_corners_either_way_round(places: Places) -> None:
    names = "".join(places)
    for ring in (names + names[0], names[0] + names[:0:-1] + names[0]):
        assert_corners(property_of(names, walls(places, ring)), places)


def test_a_wall_with_a_bay_gives_its_corners_in_the_frame_of_the_first_wall() -> None:
    found = chain_of(property_of("".join(BAY), walls(BAY, "AMNOPBCDA")))
    for name, place in BAY.items():
        assert found[name] == pytest.approx(place, abs=1e-6)


@pytest.mark.parametrize("unknown", ["B", "D", "E", "BD", "CE", "BDF"])
def test_unknown_turns_of_a_closed_walk_come_from_its_walls_and_diagonals(unknown: str) -> None:
    diagonals = [tape(L_HOUSE, "A", "D"), tape(L_HOUSE, "B", "D"), tape(L_HOUSE, "A", "E")]
    record = property_of("ABCDEF", walls(L_HOUSE, "ABCDEFA", unknown=unknown), diagonals)
    assert_corners(record, L_HOUSE, off_m=0.02)


@pytest.mark.parametrize("unknown", ["A", "B", "C", "D"])
def test_one_unknown_turn_of_a_rectangle_is_what_is_left_of_a_full_turn(unknown: str) -> None:
    assert_corners(property_of("ABCD", walls(RECTANGLE, "ABCDA", unknown=unknown)), RECTANGLE)


@pytest.mark.parametrize("ring", ["ABCDA", "ADCBA"])
@pytest.mark.parametrize("unknown", ["A", "BD", "BCD", "ABC"])
def test_what_is_left_of_a_full_turn_is_shared_by_the_unknown_turns(ring: str, unknown: str) -> None:
    found = chain_of(property_of("ABCD", walls(RECTANGLE, ring, unknown=unknown)))
    assert len(found) == 4  # the walk believes its own guess; nothing is left to the ties
    for a, b in combinations("ABCD", 2):
        assert math.dist(found[a], found[b]) == pytest.approx(math.dist(RECTANGLE[a], RECTANGLE[b]), abs=1e-4)


def test_a_rectangle_of_which_no_turn_is_known_stands_by_two_diagonals() -> None:
    walked = walls(RECTANGLE, "ABCDA", unknown="ABCD")
    record = property_of("ABCD", walked, [tape(RECTANGLE, "A", "C"), tape(RECTANGLE, "B", "D")])
    assert_corners(record, RECTANGLE)


def test_unknown_turns_that_nothing_settles_leave_the_corners_without_a_place_and_say_so() -> None:
    walked = walls(L_HOUSE, "ABCDEFA", unknown="ABCDEF")
    solution = solve(property_of("ABCDEF", walked))
    lost = [r.name for r in solution.references if r.place is None]
    assert lost
    for name in lost:
        assert [f.severity for f in solution.findings if f.subject == name] == [Severity.ATTENTION]


def test_an_open_walk_stands_by_its_turns() -> None:
    record = property_of("ABCD", walls(RECTANGLE, "ABCD"))
    assert_corners(record, RECTANGLE)
    assert solve(record).fit.observations == 5  # three walls, two turns; the last turn leads nowhere


def test_an_unknown_turn_ends_the_chain_of_an_open_walk() -> None:
    walk = observe(property_of("ABCDE", walls(L_HOUSE, "ABCDE", unknown="C"))).walks[0]
    assert list(walk_chain(walk)) == ["A", "B", "C"]


def test_corners_beyond_an_unknown_turn_are_placed_by_ties() -> None:
    ties = [tape(RECTANGLE, "A", "C"), *tapes(RECTANGLE, "D", ["A", "B"], side="left of A > B")]
    assert_corners(property_of("ABCD", walls(RECTANGLE, "ABCD", unknown="BC"), ties[1:] + ties[:1]), RECTANGLE)


def test_one_wall_is_enough() -> None:
    found = chain_of(property_of("AB", walls(RECTANGLE, "AB")))
    assert found["B"] == pytest.approx([12, 0])


def test_without_walls_two_tied_reference_points_begin() -> None:
    pins = {"well": (0.0, 0.0), "pin": (9.0, 0.0), "post": (3.0, 6.0)}
    ties = [tape(pins, "well", "pin"), *tapes(pins, "post", ["well", "pin"], side="left of well > pin")]
    record = property_of(list(pins), [], ties)
    assert_corners(record, pins)
    assert solve(record).position("well").place == pytest.approx([0, 0])


def test_without_any_length_between_reference_points_nothing_begins() -> None:
    assert chain_of(property_of("AB", [])) == {}


def test_a_detached_garage_is_tied_to_the_house_by_three_tapes() -> None:
    garage = {"P": (18.0, -2.0), "Q": (24.0, -1.0), "R": (23.0, 5.0), "S": (17.0, 4.0)}
    places = RECTANGLE | garage
    walked = [*walls(places, "ABCDA"), *walls(places, "PQRSP")]
    ties = [*tapes(places, "P", "BC", side="right of B > C"), tape(places, "Q", "C"), tape(places, "S", "B")]
    assert_corners(property_of("ABCDPQRS", walked, ties), places)


def test_a_garage_that_nothing_ties_to_the_house_has_no_place() -> None:
    garage = {"P": (18.0, -2.0), "Q": (24.0, -1.0), "R": (23.0, 5.0), "S": (17.0, 4.0)}
    places = RECTANGLE | garage | {"lid": (15.0, -4.0)}
    walked = [*walls(places, "ABCDA"), *walls(places, "PQRSP")]
    solution = solve(property_of("ABCDPQRS", walked, tapes(places, "lid", ["B", "C", "A"])))
    assert [r.name for r in solution.references if r.place is None] == list("PQRS")
    assert {f.code for f in solution.findings if f.subject in "PQRS"} == {"unconnected"}
    assert solution.position("lid").place == pytest.approx([15, -4], abs=1e-3)


def test_turns_of_a_bay_in_round_degrees_do_not_fail_the_global_test_by_their_sum() -> None:
    bay = BAY | {"N": (5.0, -1.1), "O": (7.0, -1.1)}  # turns of 47.7 degrees, written as 47 and 48
    walked = walls(bay, "AMNOPBCDA")
    turns = {"M": -48.0, "N": 47.0, "O": 47.0, "P": -48.0}
    declared = [replace(w, turn_deg=turns.get(w.to, w.turn_deg), turn=f"{turns.get(w.to, 90):.0f}") for w in walked]
    record = property_of("".join(bay), declared)
    assert sum(w.turn_deg for w in record.walls if w.turn_deg is not None) == 358
    assert [round(math.degrees(t.radians), 6) for t in observe(record).turns] == [-47.5, 47.5, 47.5, -47.5, *[90] * 4]
    solution = solve(record)
    assert solution.fit.passed
    assert_corners(record, bay, off_m=0.01)
    # all turns square and 3 degrees left over: nothing but an even share can be meant
    odd = walls(RECTANGLE, "ABCDA")
    odd[0] = replace(odd[0], turn_deg=91.0)
    assert solve(property_of("ABCD", odd)).fit.passed


def test_a_house_out_of_square_takes_its_shape_from_its_diagonals() -> None:
    skew = {"A": (0.0, 0.0), "B": (12.0, 0.0), "C": (12.03, 8.0), "D": (0.03, 8.0)}
    diagonals = [tape(skew, "A", "C"), tape(skew, "B", "D")]
    square = walls(RECTANGLE, "ABCDA")
    declared = walls(skew, "ABCDA")
    record = property_of(
        "ABCD", [replace(w, turn=s.turn, turn_deg=s.turn_deg) for w, s in zip(declared, square, strict=True)], diagonals
    )
    assert_corners(record, skew, off_m=0.02)
    assert solve(record).fit.passed
    free = property_of("ABCD", walls(skew, "ABCDA", unknown="ABCD"), diagonals)
    assert_corners(free, skew, off_m=0.001)

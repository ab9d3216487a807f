"""What each reading becomes: its horizontal distance, its standard deviation, its sign."""

import math
from dataclasses import replace

import numpy as np
import pytest

from asbuilt.model.levels import Benchmark, LevelShot
from asbuilt.model.measurements import Offset, Tie, Wall
from asbuilt.model.place import Measured, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.observations import Distance, observe
from asbuilt.units import FOOT_M, Length, parse_length
from tests.survey_samples import L_HOUSE, RECTANGLE, metres, property_of, rectangle, tape, walls

PLACES = RECTANGLE | {"lid": (6.0, -9.0), "far": (6.0, -30.0)}


def one(tie: Tie, **measured: object) -> Distance:
    """Observe one tie to the rectangle."""
    found = observe(rectangle(PLACES, [tie], **measured)).distances
    assert len(found) == 5
    return found[-1]


def read(value: float, step: float = 1e-4, text: str = "as read") -> Length:
    return Length(text, value, step)


# ------------------------------------------------------------ standard deviations (the issue's own table)


@pytest.mark.parametrize(
    ("care", "fixed", "growth"), [("careful", 0.008, 0.0003), ("normal", 0.015, 0.0005), ("rough", 0.030, 0.0010)]
)
def test_care_gives_a_tape_its_standard_deviation(care: str, fixed: float, growth: float) -> None:
    for far in (3.0, 10.0, 40.0):
        tie = Tie("A", "lid", read(far), held="level")
        assert one(tie, care=care).sigma_m == pytest.approx(math.hypot(fixed, growth * far))


def test_a_stated_standard_deviation_does_not_grow_with_the_distance() -> None:
    for far in (3.0, 40.0):
        assert one(Tie("A", "lid", read(far), held="level"), tape_sigma=metres(0.02)).sigma_m == 0.02


def test_a_wall_has_its_own_standard_deviation_and_a_tie_along_it_too() -> None:
    record = rectangle(PLACES, [tape(PLACES, "A", "B"), tape(PLACES, "B", "A"), tape(PLACES, "A", "C")])
    assert [d.sigma_m for d in observe(record).distances[:6]] == [0.015] * 6
    diagonal = observe(record).distances[6]
    assert diagonal.sigma_m == pytest.approx(math.hypot(0.015, 0.0005 * diagonal.metres))
    finer = replace(record, property=replace(record.property, measured=Measured(wall_sigma=metres(0.004))))
    assert [d.sigma_m for d in observe(finer).distances[:6]] == [0.004] * 6


def test_walls_joined_by_turn_0_are_one_wall_for_a_tie_between_its_ends() -> None:
    places = {"A": (0.0, 0.0), "M": (5.0, 0.0), "B": (12.0, 0.0), "C": (12.0, 8.0)}
    walked = walls(places, "AMBC")
    assert walked[0].turn_deg == 0
    record = property_of("AMBC", walked, [tape(places, "A", "B"), tape(places, "M", "C")])
    through, across = observe(record).distances[-2:]
    assert through.sigma_m == 0.015
    assert across.sigma_m > 0.015


@pytest.mark.parametrize("inches", [1, 6, 12])
def test_no_tape_is_better_than_the_step_that_it_is_read_to(inches: int) -> None:
    step = inches * 0.0254
    tie = Tie("A", "lid", read(10.0, step), held="level")
    least = step / math.sqrt(12)
    assert one(tie, tape_sigma=metres(0.001)).sigma_m == pytest.approx(least)
    usual = math.hypot(0.015, 0.005)
    assert one(tie).sigma_m == pytest.approx(max(usual, least))


def test_one_notebook_is_read_to_one_step_the_finest_that_it_shows() -> None:
    whole, half = parse_length("30' 4\""), parse_length("29' 6 1/2\"")
    assert whole.step_m == 2 * half.step_m
    ties = [Tie("A", "lid", whole, held="level"), Tie("B", "lid", half, held="level")]
    sigmas = [d.sigma_m for d in observe(rectangle(PLACES, ties, tape_sigma=metres(0.001))).distances[4:]]
    assert sigmas == pytest.approx([half.step_m / math.sqrt(12)] * 2)


def test_a_wall_is_not_better_than_the_step_of_the_walls() -> None:
    walked = [Wall("A", "B", read(12.0, 0.3048), "?", None)]
    (wall,) = observe(property_of("AB", walked)).distances
    assert wall.sigma_m == pytest.approx(0.3048 / math.sqrt(12))


def test_a_blunt_mark_adds_to_every_tape_from_it_and_to_no_other() -> None:
    marks = [ReferencePoint("A", sigma=metres(0.03)), *map(ReferencePoint, "BCD")]
    ties = [tape(PLACES, name, "lid") for name in "AB"]
    blunt, sharp = observe(property_of(marks, walls(PLACES, "ABCDA"), ties)).distances[4:]
    usual = [math.hypot(0.015, 0.0005 * d.metres) for d in (blunt, sharp)]
    assert blunt.sigma_m == pytest.approx(math.hypot(usual[0], 0.03))
    assert sharp.sigma_m == pytest.approx(usual[1])


def test_both_ends_of_a_tape_may_be_blunt() -> None:
    marks = [ReferencePoint("A", sigma=metres(0.03)), ReferencePoint("B"), ReferencePoint("pin", sigma=metres(0.04))]
    places = PLACES | {"pin": (-5.0, -5.0)}
    found = observe(property_of(marks, walls(places, "AB"), [tape(places, "A", "pin")])).distances[-1]
    assert found.sigma_m == pytest.approx(math.hypot(0.015, 0.0005 * found.metres, 0.03, 0.04))


# ------------------------------------------------------------ slope


def test_a_slope_tape_is_reduced_by_its_drop() -> None:
    tie = Tie("A", "lid", read(5.0), held="slope", drop=read(3.0, 0.01))
    found = one(tie)
    assert found.metres == pytest.approx(4.0)
    tape_sigma = math.hypot(0.015, 0.0005 * 5) * 5 / 4  # d(horizontal)/d(slope) = slope / horizontal
    drop_sigma = 0.01 / math.sqrt(12) * 3 / 4
    assert found.sigma_m == pytest.approx(math.hypot(tape_sigma, drop_sigma))
    assert found.drop_effect_m == 0


def test_the_published_reduction_of_a_slope_is_met() -> None:
    # 300.00 ft at 5 degrees: 298.86 (slideplayer 13085605, "Taping corrections"); the drop is 300 sin 5
    drop = 300 * math.sin(math.radians(5)) * FOOT_M
    found = one(Tie("A", "lid", read(300 * FOOT_M), held="slope", drop=read(drop)))
    assert found.metres / FOOT_M == pytest.approx(298.86, abs=0.005)


def test_a_noted_drop_of_a_tape_of_unknown_hold_reduces_it() -> None:
    for held in (None, "unknown", "slope"):
        assert one(Tie("A", "lid", read(5.0), held=held, drop=read(3.0))).metres == pytest.approx(4.0)


def test_a_level_tape_is_left_as_it_is_whatever_drop_is_noted() -> None:
    found = one(Tie("A", "lid", read(5.0), held="level", drop=read(3.0)))
    assert (found.metres, found.drop_effect_m) == (5.0, 0.0)
    assert found.sigma_m == pytest.approx(math.hypot(0.015, 0.0025))


@pytest.mark.parametrize("held", [None, "unknown", "slope"])
def test_a_drop_that_nobody_noted_is_an_uncertainty(held: str | None) -> None:
    found = one(Tie("A", "lid", read(8.0), held=held))
    effect = (2 * FOOT_M) ** 2 / (2 * math.sqrt(5) * 8.0)
    assert found.metres == 8.0
    assert found.drop_effect_m == pytest.approx(effect)
    assert found.tape_sigma_m == pytest.approx(math.hypot(0.015, 0.004))
    assert found.sigma_m == pytest.approx(math.hypot(found.tape_sigma_m, effect))


def test_the_uncertainty_of_a_drop_is_the_root_mean_square_of_a_uniform_one() -> None:
    drops = np.linspace(0, 2 * FOOT_M, 100_001)
    shortened = drops**2 / (2 * 8.0)
    expected = math.sqrt((shortened**2).mean())
    assert one(Tie("A", "lid", read(8.0))).drop_effect_m == pytest.approx(expected, rel=1e-4)


def test_the_unknown_drop_can_be_set_and_counts_beside_a_stated_sigma() -> None:
    found = one(Tie("A", "lid", read(8.0)), unknown_drop=metres(1.0), tape_sigma=metres(0.01))
    assert found.sigma_m == pytest.approx(math.hypot(0.01, 1 / (2 * math.sqrt(5) * 8)))


def test_an_unknown_drop_of_nothing_adds_nothing() -> None:
    assert one(Tie("A", "lid", read(8.0)), unknown_drop=metres(0.0)).drop_effect_m == 0


def test_a_tape_between_two_corners_of_the_house_is_level() -> None:
    found = observe(rectangle(PLACES, [tape(PLACES, "A", "C", held=None)])).distances[-1]
    assert found.drop_effect_m == 0


def test_a_drop_longer_than_its_tape_is_named_and_left_out() -> None:
    tie = Tie("A", "lid", read(2.0, text="6' 7\""), held="slope", drop=read(2.5, text="8' 2\""))
    observations = observe(rectangle(PLACES, [tie]))
    assert len(observations.distances) == 4
    ((named, why),) = observations.impossible
    assert named is tie
    assert why == "the drop 8' 2\" is longer than the tape 6' 7\""


def levelled(held: str | None) -> PropertyRecord:
    """Shoot A at 100 m and the lid 3 m below it; the tape between them reads 5 m."""
    record = rectangle(PLACES, [Tie("A", "lid", read(5.0), held=held)])
    shots = (
        LevelShot("1", "A", backsight=metres(1.0), distance=metres(10.0)),
        LevelShot("1", "lid", foresight=metres(4.0), distance=metres(10.0)),
    )
    return replace(record, property=replace(record.property, benchmark=Benchmark("A")), levels=shots)


def test_a_slope_tape_without_a_drop_takes_it_from_the_levels() -> None:
    found = observe(levelled("slope")).distances[-1]
    assert found.metres == pytest.approx(4.0)
    assert found.drop_effect_m == 0


def test_a_tape_of_unknown_hold_lies_between_level_and_the_levelled_slope() -> None:
    found = observe(levelled(None)).distances[-1]
    assert found.metres == pytest.approx(4.5)
    assert found.drop_effect_m == pytest.approx(0.5)  # 4.0 or 5.0: half a metre either way


def test_a_level_tape_ignores_the_levels() -> None:
    assert observe(levelled("level")).distances[-1].metres == 5.0


# ------------------------------------------------------------ turns and offsets


def test_turns_are_observed_left_positive_and_unknown_ones_are_not() -> None:
    record = property_of("ABCDEF", walls(L_HOUSE, "ABCDEFA", unknown="E"), square_sigma_deg=0.5)
    turns = observe(record).turns
    assert [round(math.degrees(t.radians)) for t in turns] == [90, 90, -90, 90, 90]
    assert [record.reference_names()[t.j] for t in turns] == list("BCDFA")
    assert {t.sigma_rad for t in turns} == {math.radians(0.5)}


def test_exact_squares_keep_a_tiny_standard_deviation() -> None:
    turns = observe(property_of("ABCD", walls(RECTANGLE, "ABCDA"), square_sigma_deg=0.0)).turns
    assert {t.sigma_rad for t in turns} == {1e-6}


@pytest.mark.parametrize(
    ("ring", "line", "hand", "left_m"),
    [
        ("ABCDA", "AB", None, -2.0),  # the house lies left of the walk, so outward is right
        ("ABCDA", "BA", None, 2.0),
        ("ADCBA", "AD", None, 2.0),  # walked the other way round
        ("ADCBA", "DA", None, -2.0),
        ("ABCDA", "AB", "left", 2.0),
        ("ABCDA", "AC", "right", -2.0),  # no wall: the hand is said
    ],
)
def test_an_offset_lies_on_its_hand_or_outward(ring: str, line: str, hand: str | None, left_m: float) -> None:
    offset = Offset(line[0], line[1], "lid", metres(3.0), metres(2.0), hand)
    (found,) = observe(property_of("ABCD", walls(RECTANGLE, ring), offsets=[offset])).offsets
    assert (found.along_m, found.left_m) == (3.0, left_m)


def test_the_square_of_an_offset_is_judged_by_eye() -> None:
    offset = Offset("A", "B", "lid", metres(3.0), metres(5.0), "right")
    (found,) = observe(property_of("ABCD", walls(RECTANGLE, "ABCDA"), offsets=[offset])).offsets
    along = math.hypot(math.hypot(0.015, 0.0015), 5 * math.tan(math.radians(2)))
    assert found.along_sigma_m == pytest.approx(along)
    assert found.left_sigma_m == pytest.approx(math.hypot(0.015, 0.0025))
    sharper = property_of("ABCD", walls(RECTANGLE, "ABCDA"), offsets=[offset], square_by_eye_deg=0.5)
    along = math.hypot(math.hypot(0.015, 0.0015), 5 * math.tan(math.radians(0.5)))
    assert observe(sharper).offsets[0].along_sigma_m == pytest.approx(along)


def test_an_offset_without_a_hand_and_without_an_outside_is_an_error() -> None:
    offset = Offset("A", "B", "lid", metres(3.0), metres(2.0))
    with pytest.raises(ValueError, match="the offset of lid needs a hand"):
        observe(property_of("ABCD", walls(RECTANGLE, "ABCD"), offsets=[offset]))


def test_reference_points_are_numbered_first_and_their_ties_run_both_ways() -> None:
    record = rectangle(PLACES, [tape(PLACES, "lid", "far"), tape(PLACES, "A", "lid")])
    observations = observe(record)
    assert observations.names == ("A", "B", "C", "D", "lid", "far")
    assert observations.references == 4
    chain, tied = observations.distances[4:]
    assert (chain.far(4), chain.far(5), tied.far(4)) == (5, 4, 0)
    assert [d.far(4) for d in observations.tapes()[4]] == [5, 0]


def test_leaving_out_keeps_the_numbering() -> None:
    observations = observe(rectangle(PLACES, [tape(PLACES, "A", "lid"), tape(PLACES, "B", "far")]))
    left = observations.without([0, 5])
    assert left.names == observations.names
    assert [d.nodes for d in left.distances] == [(1, 2), (2, 3), (3, 0), (0, 4)]
    kept = observations.among({0, 1, 2, 4})
    assert [d.nodes for d in kept.distances] == [(0, 1), (1, 2), (0, 4)]
    assert [t.nodes for t in kept.turns] == [(0, 1, 2)]

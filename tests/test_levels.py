"""Levels against an independent formula, against a known truth, and in words."""

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from asbuilt.findings import Severity
from asbuilt.model.components import Component, Point
from asbuilt.model.levels import Benchmark, LevelShot
from asbuilt.model.measurements import Tie, Wall
from asbuilt.model.place import Measured, Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.features import Feature, build_features
from asbuilt.output.gis.geojson import write_geojson
from asbuilt.output.text.levels import levels_json, levels_table
from asbuilt.record.sheets.read import read_sheets
from asbuilt.survey.levels import Elevation, LevelSolution, solve_levels
from asbuilt.survey.observations import observe
from asbuilt.survey.slopes import level_findings, pipe_slopes
from asbuilt.survey.solve import solve
from asbuilt.units import FOOT_M, Length
from tests.commands import SAMPLE, SAMPLE_NAME, Run, parsed

DAY, LATER = date(2024, 5, 1), date(2024, 6, 1)
REFERENCES = (ReferencePoint("A"), ReferencePoint("B"))
HELD = Benchmark("A", Length("100 ft", 100 * FOOT_M, FOOT_M), "assumed")


def feet(number: float) -> Length:
    return Length(f"{number:.2f}", number * FOOT_M, FOOT_M / 100)


def metres(number: float) -> Length:
    return Length(f"{number:.3f}", number, 0.001)


def back(setup: str, on: str, reading: float, **more: Any) -> LevelShot:
    """Give a backsight, feet."""
    return LevelShot(setup, on, backsight=feet(reading), **more)


def fore(setup: str, on: str, reading: float, **more: Any) -> LevelShot:
    """Give a foresight, feet."""
    return LevelShot(setup, on, foresight=feet(reading), **more)


def levelled(*shots: LevelShot, units: str = "ft", benchmark: Benchmark | None = HELD, **more: Any) -> PropertyRecord:
    place = Property("Invented Row 3", units, measured=Measured(on=DAY), benchmark=benchmark)
    return PropertyRecord(place, REFERENCES, levels=shots, **more)


def found(record: PropertyRecord, name: str, to: str = "top") -> Elevation:
    elevation = solve_levels(record).of(name, to)
    assert elevation is not None
    return elevation


def sentences(solution: LevelSolution, *codes: str) -> list[str]:
    return [finding.sentence() for finding in solution.findings if not codes or finding.code in codes]


def codes(solution: LevelSolution) -> list[str]:
    return [finding.code for finding in solution.findings]


# ------------------------------------------------------------ elevations


def test_an_elevation_is_benchmark_and_backsight_less_foresight() -> None:
    record = levelled(back("1", "A", 4.25), fore("1", "tank/lid", 6.10), fore("1", "tank/inlet", 7.5, to="invert"))
    assert found(record, "tank/lid").elevation_m / FOOT_M == pytest.approx(100 + 4.25 - 6.10)
    assert found(record, "tank/inlet", "invert").elevation_m / FOOT_M == pytest.approx(100 + 4.25 - 7.5)
    assert solve_levels(record).of("tank/inlet") is None  # its top was not shot


def test_a_rod_held_upside_down_reads_up_from_the_line_of_sight() -> None:
    record = levelled(back("1", "A", 4.25), fore("1", "deck/beam", -3.40))
    assert found(record, "deck/beam").elevation_m / FOOT_M == pytest.approx(100 + 4.25 + 3.40)


def test_levels_are_carried_from_set_up_to_set_up_in_any_order_of_rows() -> None:
    shots = [
        back("1", "A", 5.0),
        fore("1", "TP", 7.0),
        back("2", "TP", 3.0),
        fore("2", "tank/lid", 8.0),
    ]
    for order in (shots, shots[::-1], [shots[2], shots[0], shots[3], shots[1]]):
        assert found(levelled(*order), "tank/lid").elevation_m / FOOT_M == pytest.approx(100 + 5 - 7 + 3 - 8)


def test_a_standard_deviation_grows_with_set_ups_and_sights() -> None:
    """Per set-up 2 r^2 + b^2 (d1^2 + d2^2), added along the way, by hand."""
    shots = (
        back("1", "A", 5.0, distance=metres(10)),
        fore("1", "TP", 7.0, distance=metres(30)),
        back("2", "TP", 3.0, distance=metres(25)),
        fore("2", "tank/lid", 8.0, distance=metres(5)),
    )
    first = 2 * 1.5**2 + 0.05**2 * (10**2 + 30**2)
    second = 2 * 1.5**2 + 0.05**2 * (25**2 + 5**2)
    assert 1000 * found(levelled(*shots), "TP").sigma_m == pytest.approx(math.sqrt(first))
    assert 1000 * found(levelled(*shots), "tank/lid").sigma_m == pytest.approx(math.sqrt(first + second))


def test_a_coarse_rod_a_stated_rod_and_the_ground_are_less_sharp() -> None:
    def sigma_mm(to: str = "top", step: float = 0.01, rod: Length | None = None) -> float:
        readings = (Length("5", 5 * FOOT_M, step * FOOT_M), Length("6", 6 * FOOT_M, step * FOOT_M))
        shots = (
            LevelShot("1", "A", backsight=readings[0], distance=metres(0.001)),
            LevelShot("1", "tank/lid", to, foresight=readings[1], distance=metres(0.001)),
        )
        record = levelled(*shots)
        place = replace(record.property, measured=Measured(on=DAY, rod_sigma=rod))
        return 1000 * found(replace(record, property=place), "tank/lid", to).sigma_m

    assert sigma_mm() == pytest.approx(math.sqrt(2) * 1.5, abs=1e-4)
    assert sigma_mm(step=0.1) == pytest.approx(math.sqrt(2) * 30.48 / math.sqrt(12), abs=1e-4)
    assert sigma_mm(rod=metres(0.005)) == pytest.approx(math.sqrt(2) * 5, abs=1e-4)
    assert sigma_mm("grade") == pytest.approx(math.sqrt(2 * 1.5**2 + 10**2), abs=1e-4)


def test_any_number_of_foresights_agrees_with_differences_by_an_independent_solver() -> None:
    """The same network as differences of readings, whose common backsight makes them correlated."""
    rng = np.random.default_rng(5)
    heights = {"A": 100.0, "P": 98.0, "Q": 97.0, "R": 99.0}
    plan = [("1", "APQ"), ("2", "PQR"), ("3", "RAQ")]
    shots, rows, observed, blocks = [], [], [], []
    free = ["P", "Q", "R"]
    for setup, names in plan:
        readings = [105.0 - heights[name] + rng.normal(0, 0.01) for name in names]
        shots.append(back(setup, names[0], readings[0], distance=metres(30)))
        shots += [fore(setup, n, r, distance=metres(30)) for n, r in zip(names[1:], readings[1:], strict=True)]
        for name, reading in zip(names[1:], readings[1:], strict=True):
            row = np.zeros(3)
            rise = readings[0] - reading
            for n, sign in ((name, 1), (names[0], -1)):
                if n == "A":
                    rise -= sign * 100.0
                else:
                    row[free.index(n)] += sign
            rows.append(row)
            observed.append(rise)
        blocks.append(np.full((2, 2), 1.0) + np.eye(2))
    design, covariance = np.array(rows), np.kron(np.eye(3), blocks[0])
    inverse = np.linalg.inv(covariance)
    normal = design.T @ inverse @ design
    expected = np.linalg.solve(normal, design.T @ inverse @ np.array(observed))
    variance = 1.5e-3**2 + (5e-5 * 30) ** 2
    record = levelled(*(replace(s, **{f: _unrounded(getattr(s, f))}) for s in shots for f in [_sight(s)]))
    for name, height, spread in zip(free, expected, np.diag(np.linalg.inv(normal)), strict=True):
        assert found(record, name).elevation_m / FOOT_M == pytest.approx(height, abs=1e-9)
        assert found(record, name).sigma_m == pytest.approx(math.sqrt(variance * spread), rel=1e-9)


def _sight(shot: LevelShot) -> str:
    return "foresight" if shot.backsight is None else "backsight"


def _unrounded(length: Length) -> Length:
    return replace(length, step_m=1e-6)


def test_a_difference_of_two_foresights_of_one_set_up_is_sharper_than_their_elevations() -> None:
    shots = (back("1", "A", 5), fore("1", "TP", 6), back("2", "TP", 5), fore("2", "P", 7), fore("2", "Q", 7.5))
    levels = solve_levels(levelled(*shots))
    p, q = levels.of("P"), levels.of("Q")
    assert p is not None and q is not None
    metres_apart, sigma = levels.difference(p, q)
    assert metres_apart / FOOT_M == pytest.approx(0.5)
    assert 1000 * sigma == pytest.approx(math.sqrt(2 * (1.5**2 + 1.5**2)))  # two readings, 30 m where not noted
    assert sigma < p.sigma_m


def test_without_levels_there_is_nothing_and_nothing_is_said() -> None:
    levels = solve_levels(levelled())
    assert (levels.benchmark, levels.elevations, levels.findings, levels.passed) == (None, (), (), None)


# ------------------------------------------------------------ the benchmark


@pytest.mark.parametrize(("units", "height"), [("ft-in", 100 * FOOT_M), ("ft", 100 * FOOT_M), ("m", 100.0)])
def test_a_benchmark_without_elevation_is_a_hundred_of_the_property_s_units(units: str, height: float) -> None:
    levels = solve_levels(levelled(back("1", "A", 5), fore("1", "P", 6), units=units, benchmark=Benchmark("A")))
    assert (levels.benchmark_m, levels.datum, sentences(levels, "no-benchmark")) == (height, "assumed", [])


def test_a_true_elevation_may_lie_below_its_datum() -> None:
    benchmark = Benchmark("A", Length("-12.50 ft", -12.5 * FOOT_M, FOOT_M / 100), "NAVD 88")
    record = levelled(back("1", "A", 5), fore("1", "P", 6), benchmark=benchmark)
    assert found(record, "P").elevation_m / FOOT_M == pytest.approx(-13.5)
    assert solve_levels(record).datum == "NAVD 88"


def test_an_elevation_without_a_datum_is_not_called_assumed() -> None:
    benchmark = replace(HELD, datum=None)
    assert solve_levels(levelled(back("1", "A", 5), benchmark=benchmark)).datum == "datum not named"


def test_without_a_benchmark_heights_are_relative_and_that_is_said() -> None:
    shots = [back("2", "P", 4), fore("2", "Q", 6), back("1", "B", 5), fore("1", "P", 6)]
    for order in (shots, shots[::-1]):  # rows that only moved are no change of the record
        levels = solve_levels(levelled(*order, benchmark=None))
        assert levels.benchmark == "B"  # a reference point before a turning point
        assert sentences(levels, "no-benchmark") == [
            "No benchmark is given: elevations count from B, taken as 100.00 ft. "
            "Name it under [benchmark] in property.toml to say so for good."
        ]
        one, other = levels.of("P"), levels.of("Q")
        assert one is not None and other is not None
        assert levels.difference(one, other)[0] / FOOT_M == pytest.approx(2)


def test_what_hangs_together_with_nothing_has_no_elevation() -> None:
    levels = solve_levels(levelled(back("1", "A", 5), fore("1", "P", 6), back("2", "TP", 5), fore("2", "Q", 6)))
    assert levels.of("Q") is None and levels.of("P") is not None
    (finding,) = [each for each in levels.findings if each.code == "levels-unconnected"]
    assert finding.severity is Severity.ATTENTION
    assert finding.sentence() == (
        "Levels: set-up 2 has nothing in common with the benchmark A, so 2 elevations there cannot be told. "
        "Shoot the benchmark, or a point that has an elevation, from there."
    )


# ------------------------------------------------------------ loops, misreadings, the instrument


def round_trip(**readings: float) -> list[LevelShot]:
    """Give a loop of three set-ups that closes exactly, with some readings replaced."""
    true = {"a": 5.0, "p1": 6.5, "p2": 4.0, "q2": 5.25, "q3": 6.0, "a3": 3.25}
    r = true | readings
    return [
        back("1", "A", r["a"], distance=feet(50)),
        fore("1", "P", r["p1"], distance=feet(50)),
        back("2", "P", r["p2"], distance=feet(40)),
        fore("2", "Q", r["q2"], distance=feet(40)),
        back("3", "Q", r["q3"], distance=feet(60)),
        fore("3", "A", r["a3"], distance=feet(60)),
    ]


def test_a_loop_that_closes_has_its_allowance_and_says_nothing() -> None:
    levels = solve_levels(levelled(*round_trip(), fore("1", "B", 4.4, distance=feet(50))))
    (loop,) = levels.loops
    assert loop.misclosure_m == pytest.approx(0, abs=1e-12)
    assert loop.km == pytest.approx(300 * FOOT_M / 1000)
    assert loop.third_order_m == pytest.approx(0.012 * math.sqrt(0.09144))
    by_hand = sum(2 * 1.5**2 + 2 * (0.05 * d * FOOT_M) ** 2 for d in (50, 40, 60))
    assert 1000 * loop.allowance_m == pytest.approx(2 * math.sqrt(by_hand))
    assert codes(levels) == ["levels-unchecked"]


def test_a_loop_is_signed_as_it_was_walked() -> None:
    (loop,) = solve_levels(levelled(*round_trip(a=5.02))).loops
    assert loop.misclosure_m / FOOT_M == pytest.approx(0.02)  # sum of backsights less sum of foresights
    assert loop.setups == ("1", "2", "3")


def test_a_foot_in_one_loop_is_sized_but_not_named() -> None:
    levels = solve_levels(levelled(*round_trip(q2=6.25)))
    (finding,) = [each for each in levels.findings if each.code == "level-loop"]
    assert finding.severity is Severity.ATTENTION
    assert finding.sentence() == (
        "Levels: the loop through set-ups 1, 2 and 3 misses by 1.00 ft; 0.027 ft may be (third order of FGCC 1984: "
        "0.012 ft). One of its readings looks 1 ft off; which one, these readings cannot tell. Level it again, or "
        "shoot one of its points from another set-up."
    )
    assert levels.passed is False


@pytest.mark.parametrize(
    ("slip", "read", "words"),
    [
        (1.0, "6.25", "looks 1 ft too large: 5.25"),
        (-1.0, "4.25", "looks 1 ft too small: 5.25"),
        (0.1, "5.35", "looks 0.1 ft too large: 5.25"),
        (10.0, "15.25", "looks 10 ft too large: 5.25"),
        (-10.5, "-5.25", "looks taken with the rod the other way up: 5.25"),
        (0.37, "5.62", "is 0.37 ft too large: 5.25"),
    ],
)
def test_a_slip_on_a_point_that_other_set_ups_saw_is_named(slip: float, read: str, words: str) -> None:
    shots = [*round_trip(), fore("1", "Q", 7.75), fore("3", "P", 4.75), fore("2", "A", 2.5)]
    spoiled = [replace(s, foresight=feet(5.25 + slip)) if (s.setup, s.on) == ("2", "Q") else s for s in shots]
    (finding,) = [f for f in solve_levels(levelled(*spoiled)).findings if f.severity is Severity.ATTENTION]
    assert finding.sentence() == (
        f"Levels: the foresight on Q from set-up 2, {read}, {words} ft would agree with the others. "
        "Read it again, or look in the notebook; nothing was changed."
    )
    assert "level-loop" not in codes(solve_levels(levelled(*spoiled)))


def test_a_slip_is_named_in_metres_where_the_property_is_in_metres() -> None:
    shots = [*round_trip(), fore("1", "Q", 7.75), fore("3", "P", 4.75), fore("2", "A", 2.5)]
    in_metres = [
        replace(s, **{_sight(s): metres(s.reading.metres + (1.0 if (s.setup, s.on) == ("2", "Q") else 0.0))})
        for s in shots
    ]
    (finding,) = [f for f in solve_levels(levelled(*in_metres, units="m")).findings if f.code == "level-misread"]
    assert "looks 1 m too large: 1.600 m would agree" in finding.message


def test_of_two_readings_of_one_set_up_either_may_be_the_wrong_one() -> None:
    shots = [*round_trip(q2=6.25), fore("1", "Q", 7.75), fore("3", "P", 4.75)]
    (finding,) = [f for f in solve_levels(levelled(*shots)).findings if f.severity is Severity.ATTENTION]
    assert finding.sentence() == (
        "Levels: the backsight on P from set-up 2 (4.00) or the foresight on Q from set-up 2 (6.25) is 1 ft off; the "
        "others agree. Read both again, or look in the notebook; nothing was changed."
    )


def test_a_redundant_shot_is_averaged_and_checks() -> None:
    once = levelled(back("1", "A", 5), fore("1", "P", 6))
    twice = levelled(back("1", "A", 5), fore("1", "P", 6), back("2", "A", 4), fore("2", "P", 5.02))
    assert not found(once, "P").checked
    assert found(twice, "P").checked
    assert found(twice, "P").elevation_m / FOOT_M == pytest.approx(100 - 1.01)
    assert found(twice, "P").sigma_m == pytest.approx(found(once, "P").sigma_m / math.sqrt(2))


def test_two_readings_from_one_set_up_do_not_check_its_backsight() -> None:
    record = levelled(back("1", "A", 5), fore("1", "P", 6), fore("1", "P", 6.01, note="again"))
    assert found(record, "P").shots == 2
    assert not found(record, "P").checked


def unequal(slope: float, *, both_ways: bool = True, noise: float = 0.0, seed: int = 1) -> PropertyRecord:
    """Level A to P, sights 60 m and 4 m, then from the other end: the two-peg test."""
    rng = np.random.default_rng(seed)

    def reading(height: float, target: float, sight: float) -> Length:
        return metres(height - target + slope * sight + rng.normal(0, noise))

    shots = []
    for setup, (near, far) in (("1", (60, 4)), ("2", (4, 60)))[: 2 if both_ways else 1]:
        shots.append(LevelShot(setup, "A", backsight=reading(102, 100, near), distance=metres(near)))
        shots.append(LevelShot(setup, "P", foresight=reading(102, 99, far), distance=metres(far)))
    return levelled(*shots, units="m", benchmark=Benchmark("A"))


def test_two_pegs_give_the_collimation() -> None:
    """By hand: the two differences in height differ by twice 56 m times the collimation."""
    levels = solve_levels(unequal(3e-4))
    assert levels.collimation is not None
    assert levels.collimation.slope == pytest.approx(3e-4, abs=1e-9)
    assert sentences(levels, "collimation") == [
        "Levels: the instrument seems to read 9 mm high in 30 m, give or take 3 mm; unequal sights carry it into the "
        "elevations. Have it adjusted, and set up half-way between backsight and foresight."
    ]
    assert solve_levels(unequal(0)).findings == ()


def test_the_estimate_of_the_collimation_has_the_stated_spread() -> None:
    estimates = []
    for seed in range(400):
        line = solve_levels(unequal(2e-4, noise=1.5e-3, seed=seed)).collimation
        assert line is not None
        estimates.append(line.slope)
    # readings of 1.5 mm; the model also has the beam, which is not drawn here
    expected = 2 * 1.5e-3 / 112
    assert np.std(estimates) == pytest.approx(expected, rel=0.12)
    assert np.mean(estimates) == pytest.approx(2e-4, abs=4 * expected / 20)


def test_unequal_sights_that_nothing_checks_are_said_with_what_they_could_carry() -> None:
    levels = solve_levels(unequal(0, both_ways=False))
    assert levels.collimation is None
    assert sentences(levels, "unequal-sights") == [
        "Levels: backsights and foresights are unequal, so an instrument that has had a knock (3 mm in 30 m) would "
        "put 1 elevation off by more than 3 mm, P by 6 mm. Set up half-way between backsight and foresight, or check "
        "the instrument between two pegs."
    ]


def test_balanced_sights_carry_no_collimation() -> None:
    shots = [back("1", "A", 5, distance=feet(90)), fore("1", "P", 6, distance=feet(90))]
    assert "unequal-sights" not in codes(solve_levels(levelled(*shots)))


# ------------------------------------------------------------ truth


def simulated(rng: np.random.Generator) -> tuple[PropertyRecord, dict[tuple[str, str], float]]:
    """Draw a loop of set-ups with side shots, readings noisy as stated; imports nothing of the survey."""
    heights = {("A", "top"): 30.48}
    shots = []
    turning = ["A", *(f"TP{k}" for k in range(1, int(rng.integers(2, 5)))), "A"]
    for name in turning[1:-1]:
        heights[name, "top"] = 30 + rng.uniform(-2, 2)
    for setup, (begin, end) in enumerate(pairwise(turning)):
        line = 32 + rng.uniform(0, 1)
        seen = [(begin, "top"), (end, "top")]
        for k in range(int(rng.integers(0, 5))):
            target = (f"part{setup}/p{k}", str(rng.choice(["top", "invert", "grade"])))
            heights[target] = 30 + rng.uniform(-2, 1)
            seen.append(target)
        for k, (name, to) in enumerate(seen):
            sight = rng.uniform(5, 35)
            sigma = math.hypot(0.0015, 5e-5 * sight, 0.010 if to == "grade" else 0.0)
            read = metres(round(line - heights[name, to] + rng.normal(0, sigma), 3))
            given = {"backsight": read} if k == 0 else {"foresight": read}
            shots.append(LevelShot(str(setup), name, to, distance=metres(sight), **given))
    return levelled(*shots, units="m", benchmark=Benchmark("A", metres(30.48))), heights


def test_elevations_lie_within_their_95_per_cent_band_95_per_cent_of_the_time() -> None:
    rng = np.random.default_rng(11)
    shares, passed, of_loops = [], [], []
    for _ in range(500):
        record, heights = simulated(rng)
        levels = solve_levels(record)
        inside = [
            abs(each.elevation_m - heights[each.name, each.to]) <= 1.96 * each.sigma_m
            for each in levels.elevations
            if each.sigma_m > 0
        ]
        assert len(inside) == len(heights) - 1
        shares.append(np.mean(inside))
        passed.append(levels.passed)
        of_loops += [loop.closes for loop in levels.loops]
    spread = float(np.std(shares) / math.sqrt(len(shares)))  # between properties: readings of one are correlated
    assert abs(float(np.mean(shares)) - 0.95) <= 3 * spread
    assert spread < 0.006
    # one loop a property: the global test and twice sigma are both near 5 %
    assert float(np.mean(passed)) == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / 500))
    assert float(np.mean(of_loops)) == pytest.approx(0.9545, abs=3 * math.sqrt(0.95 * 0.05 / 500))


def test_the_sample_gives_back_the_heights_it_was_made_from(truth: dict[str, Any]) -> None:
    levels = solve_levels(read_sheets(SAMPLE).record)
    off = {f"{e.name} {e.to}": (e.elevation_m, e.sigma_m) for e in levels.elevations}
    assert set(off) - set(truth["elevations"]) == set()
    misses = [abs(off[key][0] - height) / off[key][1] for key, height in truth["elevations"].items() if off[key][1]]
    assert len(misses) == 35
    assert max(misses) < 3.3
    assert np.mean([miss < 1.96 for miss in misses]) >= 0.9


# ------------------------------------------------------------ cover, slopes, drops


def test_cover_is_the_latest_ground_less_the_top_with_its_day() -> None:
    shots = (
        back("1", "A", 5.0),
        fore("1", "tank/lid", 8.0),
        fore("1", "tank/lid", 6.5, to="grade"),
        back("2", "A", 5.0, day=LATER),
        fore("2", "tank/lid", 7.0, to="grade", day=LATER),
    )
    levels = solve_levels(levelled(*shots))
    depth = levels.depth("tank/lid")
    assert depth is not None
    assert (depth.depth_m / FOOT_M, depth.day) == (pytest.approx(1.0), LATER)
    assert 1000 * depth.sigma_m == pytest.approx(math.sqrt(4 * (1.5**2 + 1.5**2) + 10**2))
    assert [e.day for e in levels.elevations if e.to == "grade"] == [DAY, LATER]  # two surfaces, not one mean
    assert levels.depth("tank/lid", "invert") is None


def sewer(falls: Sequence[float], kind: str = "building sewer") -> PropertyRecord:
    """Tape a pipe of 20 ft stretches north of a wall of 40 ft, its inverts falling as given, feet."""
    names = [f"pipe/{k}" for k in range(len(falls))]
    ties = []
    for k, name in enumerate(names):
        for corner, x in (("A", 0.0), ("B", 40.0)):
            ties.append(Tie(corner, name, feet(math.hypot(20 - x, 20 + 20 * k)), held="level"))
    shots = [back("1", "A", 5.0), *(fore("1", n, 8 + fall, to="invert") for n, fall in zip(names, falls, strict=True))]
    return levelled(
        *shots,
        walls=(Wall("A", "B", feet(40), "?", None),),
        points=tuple(Point("pipe", str(k), order=float(k)) for k in range(len(falls))),
        ties=tuple(ties),
        components=(Component("pipe", kind),),
    )


def sided(record: PropertyRecord) -> PropertyRecord:
    from asbuilt.model.measurements import Side

    return replace(record, ties=tuple(replace(tie, side=Side("left", "A", "B")) for tie in record.ties))


def test_a_slope_is_the_fall_over_the_solved_distance() -> None:
    record = sided(sewer([0.0, 20 * 0.25 / 12, 20 * 0.25 / 12 + 0.1]))
    one, other = pipe_slopes(record, solve(record))
    assert (one.start, one.end) == ("pipe/0", "pipe/1")
    assert one.length_m / FOOT_M == pytest.approx(20, abs=0.02)
    assert one.inches_a_foot == pytest.approx(0.25, abs=0.004)
    assert one.percent == pytest.approx(2.083, abs=0.03)
    assert other.percent == pytest.approx(0.5, abs=0.03)
    assert 1000 * one.fall_sigma_m == pytest.approx(math.sqrt(2 * (1.5**2 + 1.5**2)))


def test_the_spread_of_a_slope_is_that_of_its_fall_and_its_length() -> None:
    """By numbers: pushing fall and length by their standard deviations."""
    record = sided(sewer([0.0, 3.0]))
    (slope,) = pipe_slopes(record, solve(record))
    by_fall = (slope.fall_m + slope.fall_sigma_m) / slope.length_m - slope.ratio
    by_length = slope.fall_m / (slope.length_m + slope.length_sigma_m) - slope.ratio
    assert slope.length_sigma_m > 0.005
    assert slope.ratio_sigma == pytest.approx(math.hypot(by_fall, by_length), rel=0.01)


def test_the_length_of_a_slope_runs_through_the_points_between() -> None:
    record = sided(sewer([0.0, 0.3, 0.6]))
    shot_at_the_ends = tuple(shot for shot in record.levels if shot.on != "pipe/1")
    record = replace(record, levels=shot_at_the_ends)
    (slope,) = pipe_slopes(record, solve(record))
    assert (slope.start, slope.end) == ("pipe/0", "pipe/2")
    assert slope.length_m / FOOT_M == pytest.approx(40, abs=0.03)


def test_the_length_of_a_slope_has_the_spread_of_the_joint_covariance() -> None:
    """By sampling places from the joint covariance."""
    record = sided(sewer([0.0, 3.0]))
    solution = solve(record)
    (slope,) = pipe_slopes(record, solution)
    index = [solution.names.index(name) for name in ("pipe/0", "pipe/1")]
    rows = [2 * k + axis for k in index for axis in (0, 1)]
    means = np.concatenate([solution.position(name).place for name in ("pipe/0", "pipe/1")])  # type: ignore[arg-type]
    drawn = np.random.default_rng(3).multivariate_normal(means, solution.covariance[np.ix_(rows, rows)], 20_000)
    lengths = np.hypot(*(drawn[:, 2:] - drawn[:, :2]).T)
    assert slope.length_sigma_m == pytest.approx(float(lengths.std()), rel=0.03)


def test_water_does_not_run_uphill_but_a_pressure_pipe_may() -> None:
    record = sided(sewer([0.0, -0.05]))
    findings = [each for each in level_findings(record, solve(record)) if each.severity is Severity.ATTENTION]
    assert [each.sentence() for each in findings] == [
        "pipe runs uphill from pipe/0 to pipe/1: its invert rises by 0.050 ft. Relay it before it is covered, or "
        "shoot both inverts again."
    ]
    pressure = sided(sewer([0.0, -0.05], kind="transport line"))
    assert "uphill" not in [each.code for each in solve(pressure).findings]


@pytest.mark.parametrize(("fall", "said"), [(0.03, False), (0.05, False), (0.08, True)])
def test_a_lateral_is_level_within_half_an_inch_and_its_noise(fall: float, said: bool) -> None:
    record = sided(sewer([0.0, fall], kind="lateral"))
    assert ("lateral-not-level" in [each.code for each in solve(record).findings]) is said


@pytest.mark.parametrize(("noted", "said"), [(1.0, False), (1.1, False), (1.5, True)])
def test_a_taped_depth_that_the_levels_contradict_is_said(noted: float, said: bool) -> None:
    shots = (back("1", "A", 5.0), fore("1", "tank/lid", 8.0), fore("1", "tank/lid", 7.0, to="grade"))
    record = levelled(*shots, points=(Point("tank", "lid", depth=feet(noted), depth_to="top"),))
    findings = [each.sentence() for each in level_findings(record, solve(record)) if each.code == "depth-disagrees"]
    expected = (
        "tank/lid: the noted depth is 1.50, but the levels put it 1.00 ft below the ground of 2024-05-01. "
        "Look which surface the depth was taped from, or shoot it again."
    )
    assert findings == ([expected] if said else [])


def test_a_height_without_a_point_is_said_for_its_name_may_be_misspelt() -> None:
    record = levelled(back("1", "A", 5.0), fore("1", "tank/lidd", 8.0), fore("1", "TP", 8.0))
    record = replace(record, points=(Point("tank", "lid"),))
    assert [each.sentence() for each in level_findings(record, solve(record)) if each.code == "levelled-only"] == [
        "tank/lidd was levelled, but no such point is listed or taped. Look whether its name is written right, or "
        "tape it."
    ]


def dropped(held: str | None, drop: Length | None = None, fall: float = 4.0) -> PropertyRecord:
    """Pull a tape of 20 ft down to a lid that lies so much lower by the levels, feet."""
    return levelled(
        back("1", "A", 5.0),
        fore("1", "tank/lid", 5.0 + fall),
        points=(Point("tank", "lid"),),
        ties=(Tie("A", "tank/lid", feet(20.0), held=held, drop=drop),),
    )


def reduced(record: PropertyRecord) -> tuple[float, float]:
    """Give horizontal length and what the unknown drop adds to its spread, feet."""
    (distance,) = observe(record).distances
    return distance.metres / FOOT_M, distance.drop_effect_m / FOOT_M


def test_a_slope_tape_takes_its_drop_from_the_levels() -> None:
    assert reduced(dropped("slope")) == (pytest.approx(math.sqrt(20**2 - 4**2)), 0.0)
    (distance,) = observe(dropped("slope")).distances
    (by_hand,) = observe(dropped("slope", feet(4.0))).distances
    assert distance.sigma_m == pytest.approx(by_hand.sigma_m, rel=0.01)


def test_a_level_tape_is_left_and_a_noted_drop_goes_before_levels() -> None:
    assert reduced(dropped("level")) == (pytest.approx(20.0), 0.0)
    assert reduced(dropped("slope", feet(3.0)))[0] == pytest.approx(math.sqrt(20**2 - 3**2))


@pytest.mark.parametrize("held", [None, "unknown"])
def test_a_tape_that_may_have_been_level_or_not_lies_half_way(held: str | None) -> None:
    sloped = math.sqrt(20**2 - 4**2)
    assert reduced(dropped(held)) == (pytest.approx((20 + sloped) / 2), pytest.approx((20 - sloped) / 2))


def test_a_levelled_drop_longer_than_its_tape_cannot_be() -> None:
    observations = observe(dropped("slope", fall=21.0))
    assert observations.distances == ()
    ((_, why),) = observations.impossible
    assert why == "the levelled drop 21.00 ft is longer than the tape 20.00"
    assert len(observe(dropped(None, fall=21.0)).distances) == 1  # then it was level


# ------------------------------------------------------------ what is shown


def features_of(record: PropertyRecord) -> dict[str, Feature]:
    return {f"{f.role} {f.name}": f for f in build_features(record, solve(record), None)}


def test_features_carry_elevation_and_depth() -> None:
    record = sided(sewer([0.0, 0.42]))
    record = replace(record, levels=(*record.levels, fore("1", "pipe/1", 6.0, to="grade")))
    made = features_of(record)
    attributes = made["point pipe/1"].attributes
    assert attributes["elevation_m"] == pytest.approx(96.58 * FOOT_M, abs=1e-4)
    assert attributes["elevation_sigma_m"] == pytest.approx(0.003, abs=1e-4)
    assert attributes["elevation_to"] == "invert"
    assert attributes["elevation_text"] == "96.58 ft at the invert (A = 100.00 ft, assumed)"
    assert attributes["depth_m"] == pytest.approx(2.42 * FOOT_M, abs=1e-4)
    assert attributes["depth_text"] == "2.42 ft below the ground of 2024-05-01 to invert, by level"
    assert made["reference A"].attributes["elevation_m"] == pytest.approx(30.48)
    assert made["reference B"].attributes["elevation_text"] is None
    json.dumps(dict(attributes), allow_nan=False)


def test_a_taped_depth_stays_what_was_taped() -> None:
    record = sided(sewer([0.0, 0.42]))
    points = tuple(replace(p, depth=feet(2.5), depth_to="invert") for p in record.points)
    record = replace(record, points=points, levels=(*record.levels, fore("1", "pipe/1", 6.0, to="grade")))
    attributes = features_of(record)["point pipe/1"].attributes
    assert attributes["depth_text"] == "2.50 below grade to invert"
    assert attributes["depth_m"] == pytest.approx(2.5 * FOOT_M)


def test_the_third_coordinate_stands_where_it_is_known_and_only_on_request() -> None:
    record = sided(sewer([0.0, 0.42]))
    made = list(features_of(record).values())
    flat = {f["id"]: f["geometry"] for f in json.loads(write_geojson(made))["features"]}
    high = {f["id"]: f["geometry"] for f in json.loads(write_geojson(made, elevation=True))["features"]}
    assert [len(place) for place in flat["component/pipe"]["coordinates"]] == [2, 2]
    assert [place[2] for place in high["component/pipe"]["coordinates"]] == [29.566, 29.438]  # 97 ft and 96.58 ft
    assert [place[:2] for place in high["component/pipe"]["coordinates"]] == flat["component/pipe"]["coordinates"]
    assert high["point/pipe/1"]["coordinates"][2] == 29.438
    assert high["reference/B"] == flat["reference/B"]  # not shot


def test_a_line_of_which_one_point_has_no_height_stays_flat() -> None:
    record = sided(sewer([0.0, 0.42, 0.9]))
    record = replace(record, levels=record.levels[:-1])
    made = {
        f["id"]: f["geometry"]
        for f in json.loads(write_geojson(features_of(record).values(), elevation=True))["features"]
    }
    assert [len(place) for place in made["component/pipe"]["coordinates"]] == [2, 2, 2]
    assert len(made["point/pipe/1"]["coordinates"]) == 3


def test_the_table_of_positions_says_how_high_and_how_deep_a_levelled_point_lies(run: Run, loaded: Path) -> None:
    lines = run("positions", SAMPLE_NAME).stdout.splitlines()
    lid = next(k for k, line in enumerate(lines) if line.startswith("  inlet lid"))
    assert '      elevation 98.17 ft at the top; 3" below grade to top' in lines[lid : lid + 6]
    exit_ = next(k for k, line in enumerate(lines) if line.startswith("  house exit"))
    assert "      elevation 96.90 ft at the invert; 2' 4\" below grade to invert" in lines[exit_ : exit_ + 6]
    assert sum(line.startswith("      elevation") for line in lines) == 18  # the others were not levelled
    assert max(map(len, lines)) <= 100


def test_the_table_says_heights_falls_and_loops() -> None:
    record = sided(sewer([0.0, 0.42]))
    record = replace(record, levels=(*record.levels, *round_trip()[1:]))
    text = levels_table(record, solve(record), ())
    assert text.splitlines()[:2] == [
        "Invented Row 3: levels",
        "Elevations count from A = 100.00 ft (assumed).",
    ]
    assert "  0    invert  97.00 ft   0.018 ft                no" in text
    assert "  pipe, 0 to 1: falls 0.25" in text
    assert "  set-ups 1, 2, 3: misses by 0.000 ft, 0.0" in text
    assert levels_table(levelled(), solve(levelled()), ()) == (
        "Invented Row 3: no levels are recorded (sheet levels.csv)."
    )


def test_the_table_keeps_to_its_width_with_the_longest_names() -> None:
    name = "n" * 80
    shots = (back("1", "A", 5.0), fore("1", f"{name}/{name}", 6.0), fore("1", f"{name}/{name}", 5.0, to="grade"))
    record = levelled(*shots, points=(Point(name, name),))
    lines = levels_table(record, solve(record), ()).splitlines()
    assert max(len(line) for line in lines) <= 100


def test_json_has_the_same_in_metres() -> None:
    record = sided(sewer([0.0, 0.42]))
    record = replace(record, levels=(*record.levels, *round_trip()[1:]))
    said = levels_json(record, solve(record), level_findings(record, solve(record)))
    json.dumps(said, allow_nan=False)
    assert said["benchmark"] == {"on": "A", "elevation_m": 30.48, "datum": "assumed"}
    first = next(each for each in said["elevations"] if each["name"] == "pipe/0")
    assert (first["to"], first["elevation_m"], first["checked"], first["depth_m"]) == ("invert", 29.5656, False, None)
    assert said["slopes"][0]["fall_m"] == pytest.approx(0.42 * FOOT_M, abs=1e-4)
    assert said["loops"][0]["closes"] is True
    assert levels_json(levelled(), solve(levelled()), ())["benchmark"] is None


# ------------------------------------------------------------ commands


def test_the_sample_loads_with_its_levels_and_nothing_needs_attention(run: Run, folder: Path) -> None:
    result = run("load", SAMPLE)
    assert (result.exit_code, result.stderr) == (0, "")


def test_geojson_of_the_sample_has_heights_on_request(run: Run, loaded: Path) -> None:
    flat = parsed(run("geojson", SAMPLE_NAME, "--points"))
    high = parsed(run("geojson", SAMPLE_NAME, "--points", "--elevation"))
    pairs = zip(flat["features"], high["features"], strict=True)
    raised = [one["id"] for one, other in pairs if one["geometry"] != other["geometry"]]
    assert {"component/building sewer", "point/septic tank/inlet lid", "component/lateral 4"} <= set(raised)
    assert "component/septic tank" not in raised  # an area has one outline and no one height
    lid = next(each for each in high["features"] if each["id"] == "point/septic tank/inlet lid")
    assert lid["geometry"]["coordinates"][2] == pytest.approx(lid["properties"]["elevation_m"], abs=0.0006)

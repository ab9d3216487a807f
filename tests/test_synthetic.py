"""The generator of properties with known truth is itself held to what it states."""

import ast
import csv
import math
import re
import tomllib
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from asbuilt.model.measurements import Tie
from asbuilt.record.sheets.read import read_sheets
from asbuilt.units import Length, parse_length
from tests.synthetic import BLUNDERS, FOOT_M, STEPS_M, Synthetic, make_property, tape_sigma, write_length
from tests.synthetic_house import SHAPES, make_house
from tests.synthetic_sheets import write_sheets

HERE = Path(__file__).parent
DIRECTIONS = np.stack([np.cos(np.linspace(0, math.pi, 721)), np.sin(np.linspace(0, math.pi, 721))])


def many(count: int, **options: object) -> list[Synthetic]:
    return [make_property(np.random.default_rng([7, seed]), **options) for seed in range(count)]


def place(made: Synthetic, name: str | None) -> complex:
    assert name is not None
    return complex(*made.truth[name])


def across(made: Synthetic, a: str, b: str) -> float:
    return abs(place(made, b) - place(made, a))


def wall_pairs(made: Synthetic) -> list[set[str]]:
    return [{wall.from_, wall.to} for wall in made.record.walls]


def assert_standard_normal(draws: list[float]) -> None:
    """Mean and mean square within four of their standard deviations."""
    z = np.array(draws)
    assert abs(z.mean()) < 4 / math.sqrt(len(z))
    assert abs((z**2).mean() - 1) < 4 * math.sqrt(2 / len(z))


def from_points(made: Synthetic, held: str | None) -> list[Tie]:
    """Ties of points and pins, not between corners of one wall."""
    walls = wall_pairs(made)
    return [t for t in made.record.ties if t.held == held and {t.from_, t.to} not in walls]


def test_the_generator_imports_nothing_that_it_is_to_test() -> None:
    allowed = ("asbuilt.model.", "asbuilt.units", "tests.")
    for file in ("synthetic.py", "synthetic_house.py", "synthetic_sheets.py"):
        for node in ast.walk(ast.parse((HERE / file).read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert all(n.startswith(allowed) for n in names if n.startswith(("asbuilt", "tests"))), file


def test_the_same_seed_gives_the_same_property_and_another_seed_another() -> None:
    first, again, other = (make_property(np.random.default_rng(seed)) for seed in (5, 5, 6))
    assert first == again
    assert first.record != other.record


def test_an_option_that_is_none_is_refused() -> None:
    with pytest.raises(TypeError, match="colour"):
        make_property(np.random.default_rng(0), colour="green")


def test_the_frame_stands_on_the_first_wall() -> None:
    for made in many(40):
        first = made.record.walls[0]
        assert made.truth[first.from_] == (0.0, 0.0)
        x, y = made.truth[first.to]
        assert x > 0
        assert y == pytest.approx(0, abs=1e-12)


def test_the_walk_closes_and_its_turns_add_up_to_a_full_circle() -> None:
    for made in many(60):
        walls = made.record.walls
        assert [w.to for w in walls] == [w.from_ for w in walls[1:]] + [walls[0].from_]
        assert abs(sum(w.turn_deg or 0.0 for w in walls)) == 360
        for wall in walls:
            assert wall.turn_deg == {"L": 90.0, "R": -90.0}.get(wall.turn) or wall.turn == f"{wall.turn_deg:.0f}"


@pytest.mark.parametrize("shape", SHAPES)
def test_corners_are_out_of_square_by_the_stated_angle(shape: str) -> None:
    rng = np.random.default_rng(11)
    z = []
    for _ in range(200):
        bay, door_mark = rng.random(2) < 0.3
        house = make_house(rng, shape=shape, bay=bool(bay), door_mark=bool(door_mark), square_sigma_deg=0.2)
        corners = house.places @ [1, 1j]
        steps = np.roll(corners, -1) - corners
        turns = np.degrees(np.angle(np.roll(steps, -1) / steps))
        errors = (turns - house.turns_deg + 180) % 360 - 180
        assert errors.sum() == pytest.approx(0, abs=1e-9)
        z += list(errors / (0.2 * math.sqrt(1 - 1 / len(errors))))
    assert_standard_normal(z)


def test_every_shape_has_its_corners_and_a_sensible_size() -> None:
    rng = np.random.default_rng(3)
    for shape, corners in (("rectangle", 4), ("L", 6), ("U", 8), ("T", 8)):
        for bay, door_mark in ((False, False), (True, False), (False, True)):
            house = make_house(rng, shape=shape, bay=bay, door_mark=door_mark, square_sigma_deg=0.2)
            assert len(house.names) in (corners, corners + 4 * bay + door_mark)
            assert 6 < np.ptp(house.places, axis=0).max() < 27
            assert len(house.notches()) == {"rectangle": 0, "L": 1, "U": 2, "T": 2}[shape]
            (x, y), (next_x, next_y) = house.places.T, np.roll(house.places, -1, axis=0).T
            assert ((x * next_y - y * next_x).sum() > 0) == (house.outward == "right")


@pytest.mark.parametrize("reading", STEPS_M)
def test_walls_and_level_tapes_err_by_the_stated_deviation_rounding_included(reading: str) -> None:
    tapes, walls = [], []
    for made in many(30, reading=reading):
        for w in made.record.walls:
            walls.append((w.length.metres - across(made, w.from_, w.to)) / 0.015)
        for t in from_points(made, "level"):
            true = across(made, t.from_, t.to)
            tapes.append((t.distance.metres - true) / tape_sigma(true))
    assert len(walls) > 150
    assert len(tapes) > 1000
    assert_standard_normal(walls)
    assert_standard_normal(tapes)


def test_slope_tapes_read_the_slope_and_note_the_true_drop() -> None:
    z = []
    for made in many(40, slope=0.6):
        for t in from_points(made, "slope"):
            assert t.drop is not None
            assert t.drop.metres == made.drops[t.to]
            assert 0.1 < t.drop.metres < 1.6
            slope = math.hypot(across(made, t.from_, t.to), t.drop.metres)
            z.append((t.distance.metres - slope) / tape_sigma(slope))
    assert len(z) > 700
    assert_standard_normal(z)


def test_tapes_of_which_nothing_is_noted_slope_by_a_drop_of_up_to_two_feet() -> None:
    z, drops = [], []
    for made in many(40, slope=0, unknown_drop=0.6):
        for t in from_points(made, None):
            assert t.drop is None
            slope = math.hypot(across(made, t.from_, t.to), made.drops[t.to])
            z.append((t.distance.metres - slope) / tape_sigma(slope))
        drops += list(made.drops.values())
    assert_standard_normal(z)
    share = np.array(drops) / (2 * FOOT_M)
    assert 0 <= share.min() < 0.02
    assert 0.98 < share.max() <= 1
    assert abs(share.mean() - 0.5) < 4 * math.sqrt(1 / 12 / len(share))


def test_without_noise_the_readings_are_the_truth_and_the_corners_square() -> None:
    made = make_property(np.random.default_rng(2), noise=0, reading="exact", slope=0, unknown_drop=0, offsets=0.3)
    assert made.record.offsets
    for tie in made.record.ties:
        assert tie.distance.metres == pytest.approx(across(made, tie.from_, tie.to), abs=1e-8)
    for offset in made.record.offsets:
        a, b, p = (place(made, name) for name in (offset.wall_from, offset.wall_to, offset.point))
        foot = (p - a) / (b - a) * abs(b - a)
        assert offset.along.metres == pytest.approx(foot.real, abs=1e-8)
        assert offset.out.metres == pytest.approx(abs(foot.imag), abs=1e-8)


def test_offsets_err_along_by_the_eye_and_say_the_true_hand() -> None:
    along, out, unsaid = [], [], 0
    for made in many(80, offsets=0.5, points=(5, 15)):
        around = 1 if sum(w.turn_deg or 0.0 for w in made.record.walls) > 0 else -1
        for o in made.record.offsets:
            a, b, p = (place(made, name) for name in (o.wall_from, o.wall_to, o.point))
            foot = (p - a) / (b - a) * abs(b - a)
            if o.hand is None:  # outward: right of a walk that turns left
                unsaid += 1
                forward = (o.wall_from, o.wall_to) in [(w.from_, w.to) for w in made.record.walls]
                assert (foot.imag < 0) == (forward == (around == 1))
            else:
                assert o.hand == ("left" if foot.imag > 0 else "right")
            if foot.real > 0.8:  # nearer the corner the foot of an eye's square may fall short of it: drawn again
                askew = math.radians(2) * abs(foot.imag)
                along.append((o.along.metres - foot.real) / math.hypot(tape_sigma(foot.real), askew))
                out.append((o.out.metres - abs(foot.imag)) / tape_sigma(abs(foot.imag)))
    assert 30 < unsaid < len(out)
    assert len(along) > 250
    assert_standard_normal(along)
    assert np.std(out) == pytest.approx(1, abs=0.15)  # the slant of the eye's square makes `out` 4 mm long at 6 m


def test_sides_are_true_and_stand_where_they_are_needed() -> None:
    words: Counter[str] = Counter()
    for made in many(60):
        sided = {t.to: t.side for t in made.record.ties if t.side is not None}
        around = sum(w.turn_deg or 0.0 for w in made.record.walls)
        refs: dict[str, set[str]] = {}
        for t in made.record.ties:
            refs.setdefault(t.to, set()).add(t.from_)
        for name, side in sided.items():
            words[side.word] += 1
            if side.word == "out":
                ((a, b),) = ((w.from_, w.to) for w in made.record.walls if {w.from_, w.to} == refs[name])
                word = "right" if around > 0 else "left"
            else:
                assert side.a is not None and side.b is not None
                a, b, word = side.a, side.b, side.word
                assert {a, b} <= refs[name]
            turn = (place(made, name) - place(made, a)) / (place(made, b) - place(made, a))
            assert word == ("left" if turn.imag > 0 else "right")
        by_offset = {o.point for o in made.record.offsets}
        for name in made.marks.keys() - by_offset:
            assert len(refs[name]) >= 2
            tied = np.array([made.truth[n] for n in refs[name]])
            widths = np.ptp(tied @ DIRECTIONS, axis=0)
            assert len(refs[name]) > 2 or name in sided
            assert widths.min() > 0.55 or name in sided  # off a common line by less than 0.6 m
    assert words["left"] > 100
    assert words["right"] > 100
    assert words["out"] > 10


def test_points_lie_where_systems_lie() -> None:
    marks: Counter[str] = Counter()
    far = []
    for made in many(60):
        corners = np.array([made.truth[w.from_] for w in made.record.walls])
        low, high = corners.min(axis=0), corners.max(axis=0)
        for name, words in made.marks.items():
            marks.update(words)
            p = np.array(made.truth[name])
            far.append(float(np.hypot(*np.maximum(np.maximum(low - p, p - high), 0))))
    count = len(far)
    assert max(far) < 35 + 16  # two links of a chain lead on by 8 m each at most
    assert np.quantile(far, 0.9) > 20
    assert 0.10 < (marks["chain 1"] + marks["chain 2"]) / count < 0.20
    assert marks["chain 2"] > 0
    for word in ("near wall", "notch", "inside", "offset", "slope", "unknown drop"):
        assert 0.005 < marks[word] / count < 0.15, word
    assert min(len(made.record.points) for made in many(30, points=(5, 9))) >= 5


@pytest.mark.parametrize("ties", [2, 3, 4])
def test_the_number_of_ties_can_be_set(ties: int) -> None:
    for made in many(10, ties=ties, offsets=0, second_tape=0):
        counts = Counter(t.to for t in made.record.ties if t.to in made.marks)
        assert set(counts.values()) == {ties}


def test_an_open_walk_leaves_out_its_last_wall_and_its_last_turn() -> None:
    made = make_property(np.random.default_rng(4), closed_walk=False, shapes=("rectangle",), bay=0, door_mark=0)
    assert [w.turn for w in made.record.walls][-1] == "?"
    assert len(made.record.walls) == 3
    assert made.record.walls[-1].turn_deg is None
    assert all(tie.side is None or tie.side.word != "out" for tie in made.record.ties)


def test_lengths_are_written_as_people_write_them_and_mean_what_they_say() -> None:
    rng = np.random.default_rng(8)
    for metres in rng.uniform(0.01, 40, 500):
        read = write_length(metres, "half-inch")
        match = re.fullmatch(r"""(\d+)' (\d+)( 1/2)?\"""", read.as_read)
        assert match is not None
        assert parse_length(read.as_read) == read
        inches = int(match[1]) * 12 + int(match[2]) + (Fraction(1, 2) if match[3] else 0)
        assert int(match[2]) < 12
        assert read.metres == float(inches * Fraction(254, 10000))
        assert abs(read.metres - metres) <= 0.00635 + 1e-9
        tenths = write_length(metres, "hundredth-foot")
        assert tenths.metres == float(Fraction(tenths.as_read.rstrip("'")) * Fraction(3048, 10000))
        assert parse_length(tenths.as_read) == tenths
        assert write_length(metres, "mm") == Length(f"{metres:.3f} m", round(metres, 3), 0.001)


def test_blunders_are_told_and_change_one_thing_each() -> None:
    kinds: Counter[str] = Counter()
    for made in many(60, blunders=2, ties=4, points=(5, 9)):
        assert len(made.blunders) == 2
        for blunder in made.blunders:
            kinds[blunder.kind] += 1
            now, was = made.record.ties[blunder.tie], blunder.was
            change = (now.distance.metres - was.distance.metres) / FOOT_M
            assert (now.from_ != was.from_) == (blunder.kind == "wrong corner")
            assert (abs(change) > 0.02) == (blunder.kind != "wrong corner")
            if blunder.kind in ("one foot", "ten feet"):
                assert abs(abs(change) - (1 if blunder.kind == "one foot" else 10)) < 0.05
            assert now.distance.metres > 0
    assert set(kinds) == set(BLUNDERS)


@pytest.mark.parametrize("as_cards", [False, True])
def test_field_sheets_hold_every_reading_once(tmp_path: Path, as_cards: bool) -> None:
    made = make_property(np.random.default_rng(21), reading="half-inch", points=(30, 30), slope=0.3, offsets=0.1)
    write_sheets(made.record, tmp_path / "sheets", as_cards=as_cards)
    sheets = {}
    for file in (tmp_path / "sheets").glob("*.csv"):
        with file.open(encoding="utf-8", newline="") as lines:
            sheets[file.stem] = list(csv.DictReader(lines))
    rows = sheets["ties"]
    on_cards = [
        (card[f"from{k}"], f"{card['component']}/{card['point']}", card[f"tape{k}"])
        for card in sheets["points"]
        for k in range(1, 5)
        if card.get(f"from{k}")
    ]
    assert bool(on_cards) == as_cards
    found = Counter([(row["from"], row["to"], row["distance"]) for row in rows] + on_cards)
    assert found == Counter((t.from_, t.to, t.distance.as_read) for t in made.record.ties)
    sides = [row["side"] for row in rows + sheets["points"] if row.get("side")]
    assert Counter(sides) == Counter(str(t.side) for t in made.record.ties if t.side)
    assert [row["length"] for row in sheets["walls"]] == [w.length.as_read for w in made.record.walls]
    assert len(sheets["offsets"]) == len(made.record.offsets) > 0
    told = tomllib.loads((tmp_path / "sheets" / "property.toml").read_text(encoding="utf-8"))
    assert told["name"] == made.record.property.name
    assert told["units"] == "ft-in"


def unsided(ties: Iterable[Tie]) -> Counter[Tie]:
    return Counter(replace(tie, side=None) for tie in ties)


def sides_by_point(ties: Iterable[Tie]) -> dict[str, str]:
    """Give the side of each point; the reader adds to `out` the wall that it is out of."""
    return {tie.to: "out" if tie.side.word == "out" else str(tie.side) for tie in ties if tie.side}


@pytest.mark.parametrize("options", [{}, {"closed_walk": False}, {"reading": "hundredth-foot", "unknown_turns": 0.2}])
def test_field_sheets_read_back_as_the_same_record(tmp_path: Path, options: dict[str, object]) -> None:
    for seed in range(6):
        record = make_property(np.random.default_rng([9, seed]), **options).record
        for as_cards in (False, True):
            back = read_sheets(write_sheets(record, tmp_path / f"{seed}{as_cards}", as_cards=as_cards)).record
            assert unsided(back.ties) == unsided(record.ties)
            assert sides_by_point(back.ties) == sides_by_point(record.ties)
            assert replace(back, ties=()) == replace(record, ties=())


def test_a_part_of_the_property_without_room_does_not_hold_the_generator_up() -> None:
    for made in many(8, inside=1.0, chained=1.0, notch=0.0, near_wall=0.0, offsets=0.0, points=(4, 6)):
        assert len(made.marks) >= 4
    for made in many(30, near_wall=1.0, bay=1.0, door_mark=1.0, chained=0.0, offsets=0.0, points=(2, 2)):
        assert all("near wall" in words for words in made.marks.values())

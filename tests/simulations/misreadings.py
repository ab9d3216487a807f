"""How well planted misreadings are found: one seeded command prints the table.

Run `python -m tests.simulations.misreadings [properties a kind]`. Properties with known truth (tests/synthetic.py),
every point with four tapes; one slip is planted in one tape of one point, by this file's own arithmetic.
*Findable* = the slip is larger than the smallest blunder of that tape that the 0.1 % test notices with 80 % power.
"""

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from asbuilt.model.measurements import Side, Tie
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.joint import Joint, solve_together
from asbuilt.survey.misreadings import Misreading, explain
from asbuilt.survey.screening import screen
from tests.synthetic import FOOT_M, Synthetic, make_property, write_length

OPTIONS = {
    "points": (4, 8),
    "ties": 4,
    "chained": 0.0,
    "offsets": 0.0,
    "slope": 0.0,
    "unknown_drop": 0.0,
    "near_wall": 0.0,
    "second_tape": 0.0,
    "extra_sides": 0.5,
}

Spoiled = tuple[dict[int, Tie], float] | None  # number of each spoiled tie -> what it became, and the size of the slip
Spoiler = Callable[[Synthetic, int, np.random.Generator], Spoiled]


def _reread(made: Synthetic, number: int, metres: float) -> Spoiled:
    """Write another distance into one tie; None where no such reading can be."""
    tie = made.record.ties[number]
    if metres < 0.5 or metres > 80:
        return None
    written = write_length(metres, "mm" if made.record.property.units == "m" else "half-inch")
    if abs(written.metres - tie.distance.metres) < 0.02:
        return None
    return {number: replace(tie, distance=written)}, abs(written.metres - tie.distance.metres)


def _feet_off(feet: int) -> Spoiler:
    def spoil(made: Synthetic, number: int, rng: np.random.Generator) -> Spoiled:
        unit = 1.0 if made.record.property.units == "m" else FOOT_M
        return _reread(made, number, made.record.ties[number].distance.metres + feet * unit * rng.choice([-1, 1]))

    return spoil


def _swap_digits(made: Synthetic, number: int, rng: np.random.Generator) -> Spoiled:
    whole, rest = divmod(made.record.ties[number].distance.metres / FOOT_M, 1)
    tens, ones = divmod(int(whole), 10)
    return (
        None
        if tens == ones or tens > 9 or 0 in (tens, ones)
        else _reread(made, number, (10 * ones + tens + rest) * FOOT_M)
    )


def _alike_digits(made: Synthetic, number: int, rng: np.random.Generator) -> Spoiled:
    whole, rest = divmod(made.record.ties[number].distance.metres / FOOT_M, 1)
    alike = {"6": "9", "9": "6", "1": "7", "7": "1"}
    digits = list(str(int(whole)))
    places = [k for k, digit in enumerate(digits) if digit in alike]
    if not places:
        return None
    k = int(rng.choice(places))
    digits[k] = alike[digits[k]]
    return _reread(made, number, (int("".join(digits)) + rest) * FOOT_M)


def _tenths(made: Synthetic, number: int, rng: np.random.Generator) -> Spoiled:
    """Spoil by writing a tape read in tenths, 23.6, as 23' 6"."""
    whole, rest = divmod(made.record.ties[number].distance.metres / FOOT_M, 1)
    tenths = round(10 * rest)
    return None if tenths in (0, 10) else _reread(made, number, (whole + tenths / 12) * FOOT_M)


def _feet_for_metres(made: Synthetic, number: int, rng: np.random.Generator) -> Spoiled:
    metres = made.record.ties[number].distance.metres
    return _reread(made, number, metres / FOOT_M if made.record.property.units == "m" else metres)


def _slope(made: Synthetic, number: int, rng: np.random.Generator) -> Spoiled:
    return _reread(made, number, math.hypot(made.record.ties[number].distance.metres, rng.uniform(0.6, 1.5)))


def _edge(made: Synthetic, number: int, rng: np.random.Generator) -> Spoiled:
    return _reread(made, number, made.record.ties[number].distance.metres - FOOT_M)


def _wrong_corner(made: Synthetic, number: int, rng: np.random.Generator) -> Spoiled:
    tie = made.record.ties[number]
    place = np.array(made.truth[tie.to])
    taken = {t.from_ for t in made.record.ties if t.to == tie.to}
    others = [name for name in made.record.reference_names() if name not in taken]
    if not others or tie.side is not None:  # a side that names the corner would be refused at once
        return None
    other = str(rng.choice(others))
    size = float(np.hypot(*(place - np.array(made.truth[other])))) - tie.distance.metres
    return {number: replace(tie, from_=other)}, abs(size)


def _exchanged(made: Synthetic, number: int, rng: np.random.Generator) -> Spoiled:
    tie = made.record.ties[number]
    mates = [k for k, t in enumerate(made.record.ties) if t.to == tie.to and t.from_ != tie.from_]
    if not mates or tie.side is not None:
        return None
    other = int(rng.choice(mates))
    mate = made.record.ties[other]
    size = abs(mate.distance.metres - tie.distance.metres)
    return {number: replace(tie, from_=mate.from_), other: replace(mate, from_=tie.from_)}, size


def _other_side(made: Synthetic, number: int, rng: np.random.Generator) -> Spoiled:
    tie = made.record.ties[number]
    sided = {k: t for k, t in enumerate(made.record.ties) if t.to == tie.to and t.side is not None}
    if not sided or any(t.side is None or t.side.word not in ("left", "right") for t in sided.values()):
        return None
    turned = {k: replace(t, side=_turned(t.side)) for k, t in sided.items()}
    return turned, math.inf


def _turned(side: Side | None) -> Side:
    assert side is not None
    return replace(side, word="right" if side.word == "left" else "left")


SPOILERS: dict[str, tuple[Spoiler, str]] = {
    "digits swapped": (_swap_digits, "half-inch"),
    "1 ft off": (_feet_off(1), "half-inch"),
    "5 ft off": (_feet_off(5), "half-inch"),
    "10 ft off": (_feet_off(10), "half-inch"),
    "6 for 9, 1 for 7": (_alike_digits, "half-inch"),
    "inches for tenths": (_tenths, "half-inch"),
    "feet for metres": (_feet_for_metres, "mm"),
    "wrong corner": (_wrong_corner, "half-inch"),
    "names exchanged": (_exchanged, "half-inch"),
    "slope not reduced": (_slope, "half-inch"),
    "edge for centre": (_edge, "half-inch"),
    "other side": (_other_side, "half-inch"),
}


@dataclass(slots=True)
class Row:
    """Counts for one kind of slip."""

    planted: int = 0
    findable: int = 0
    detected: int = 0  #: of the findable
    first: int = 0  #: of those detected
    in_three: int = 0


def run_kind(kind: str, count: int) -> Row:
    """Plant one kind of slip in many properties."""
    spoil, reading = SPOILERS[kind]
    row = Row()
    seed = 0
    while row.planted < count and seed < 20 * count:
        seed += 1
        rng = np.random.default_rng([11, seed])
        made = make_property(rng, reading=reading, **OPTIONS)
        ties = [k for k, tie in enumerate(made.record.ties) if tie.to in made.record.point_names()]
        number = int(rng.choice(ties))
        planted = spoil(made, number, rng)
        if planted is None:
            continue
        row.planted += 1
        _judge(row, made, *planted)
    return row


def _judge(row: Row, made: Synthetic, changed: dict[int, Tie], size: float) -> None:
    ties = tuple(changed.get(k, tie) for k, tie in enumerate(made.record.ties))
    joint = solve_together(replace(made.record, ties=ties))
    noticed = min(_noticed(made.record, tie) for tie in (made.record.ties[k] for k in changed))
    if size < noticed:
        return
    row.findable += 1
    found = _detected(joint)
    if found is None:
        return
    row.detected += 1
    right = [k for k, answer in enumerate(found) if _is_truth(answer, made, changed)]
    row.first += right[:1] == [0]
    row.in_three += bool(right) and right[0] < 3


def _noticed(record: PropertyRecord, tie: Tie) -> float:
    """Smallest blunder of a tie that the clean set notices."""
    joint = solve_together(record)
    assert joint.fit is not None
    tests = screen(joint.used, joint.fit).tests
    return next((t.noticed for t in tests if getattr(t.equation, "source", None) is tie), math.inf)


def _detected(joint: Joint) -> list[Misreading] | None:
    """Explanations where the set raises the alarm, None where it does not."""
    if joint.fit is None:
        return None
    screening = screen(joint.used, joint.fit)
    if screening.alarm:
        return explain(joint, screening)
    return explain(joint, screening) if joint.against_side else None


def _is_truth(answer: Misreading, made: Synthetic, changed: dict[int, Tie]) -> bool:
    """Whether a correction gives back what the spoiled ties were, a reading within an inch."""
    restored = {id(made.record.ties[k]): made.record.ties[k] for k in changed}
    if len(answer.corrected) != len(changed):
        return False
    return all(any(_same(new, old) for old in restored.values()) for new in answer.corrected)


def _same(new: Tie, old: Tie) -> bool:
    horizontal = new.distance.metres
    if new.drop is not None and old.drop is None:
        horizontal = math.sqrt(max(horizontal**2 - new.drop.metres**2, 0.0))
    ends = {new.from_, new.to} == {old.from_, old.to}
    return (
        ends and abs(horizontal - old.distance.metres) < 0.03 + 0.02 * (new.drop is not None) and new.side == old.side
    )


def false_alarms(count: int) -> tuple[int, int]:
    """Alarms on clean properties, and how many there were."""
    alarms = 0
    for seed in range(count):
        made = make_property(np.random.default_rng([12, seed]), reading="mm", **OPTIONS)
        joint = solve_together(made.record)
        assert joint.fit is not None
        alarms += screen(joint.used, joint.fit).alarm
    return alarms, count


def main(count: int) -> None:
    """Print the table."""
    print(f"{'slip':20}{'planted':>9}{'findable':>10}{'detected':>10}{'first':>8}{'in three':>10}")
    total = Row()
    for kind in SPOILERS:
        row = run_kind(kind, count)
        shares = [_share(row.findable, row.planted)]
        shares += [_share(row.detected, row.findable)]
        shares += [_share(n, row.detected) for n in (row.first, row.in_three)]
        print(f"{kind:20}{row.planted:9}{shares[0]:>10}{shares[1]:>10}{shares[2]:>8}{shares[3]:>10}", flush=True)
        for name in ("planted", "findable", "detected", "first", "in_three"):
            setattr(total, name, getattr(total, name) + getattr(row, name))
    print(
        f"all: {_share(total.detected, total.findable)} of the findable detected, "
        f"{_share(total.in_three, total.detected)} of the detected with the truth in the first three"
    )
    alarms, clean = false_alarms(count)
    print(f"false alarms: {alarms} of {clean} clean properties, {100 * alarms / clean:.1f} %")


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.1f} %" if whole else "-"


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)

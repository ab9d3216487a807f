"""A field test by simulation: properties recorded with noise, found years later with noisy tapes and one lost corner.

Run `python -m tests.simulations.finding [properties]`. The finder is `tests/find_reader.py`, who knows the printed
sentences and the true corners only. Bands are bootstrapped over properties, because the lids of one share its corners.
"""

import sys
from dataclasses import dataclass, replace
from datetime import date
from itertools import count

import numpy as np

from asbuilt.jobs.find import Asked, find_lids
from asbuilt.jobs.locate import Located
from asbuilt.output.find.words import find_text
from asbuilt.survey.joint import solve_together
from asbuilt.survey.solve import answer
from tests.find_reader import miss_m, read_instructions, swing, tape_error, walk_out
from tests.simulations.calibration import share_and_band
from tests.synthetic import make_property

DAY = date(2041, 5, 1)
SEED = 41


@dataclass(frozen=True, slots=True)
class Find:
    """One lid looked for."""

    marks: frozenset[str]  #: how it had been measured
    within_m: float  #: the printed circle
    miss_m: float
    check_held: bool | None  #: whether the third tape read as printed; None = there was none
    wall_within_m: float | None  #: the same along a wall; None = none was offered
    wall_miss_m: float | None


def finds(number: int) -> list[Find]:
    """Record one random property, lose one of its corners, and look for every point of it."""
    rng = np.random.default_rng([SEED, number])
    made = make_property(rng, points=(3, 8))
    joint = solve_together(made.record)
    located = Located(made.record, joint, answer(joint), None, ())
    corners = [name for name in made.record.reference_names() if located.solution.position(name).place is not None]
    lost = str(rng.choice(corners))
    names = tuple(p.name for p in located.solution.points if p.place is not None)
    if not names:
        return []
    found = find_lids(located, DAY, Asked(names, (lost,)))
    truth = {name: (float(x), float(y)) for name, (x, y) in made.truth.items()}
    said = []
    for lid in found.lids:
        if lid.crossing is None:
            continue
        read = read_instructions("\n".join(find_text(replace(found, lids=(lid,)))))
        assert lost not in (read.tapes[0][0], read.tapes[1][0])
        errors = tuple(tape_error(rng, metres) for _, metres in read.tapes)
        mark = swing(truth, read, (errors[0], errors[1]))
        held = None
        if read.check is not None:
            third, metres, give = read.check
            held = abs(miss_m(truth[third], mark) + tape_error(rng, metres) - metres) <= give
        wall_within = wall_miss = None
        if read.wall is not None:
            pulled = (tape_error(rng, read.wall[2]), tape_error(rng, read.wall[3]))
            wall_within = read.wall[5]
            wall_miss = miss_m(walk_out(truth, read, pulled, float(rng.normal(0, 1.0))), truth[lid.name])
        marks = made.marks.get(lid.name, frozenset())
        said.append(Find(marks, read.within_m, miss_m(mark, truth[lid.name]), held, wall_within, wall_miss))
    return said


def run(properties: int) -> None:
    """Print what the printed circles held."""
    every: list[list[Find]] = []
    for number in count():
        if len(every) == properties:
            break
        one = finds(number)
        if one:
            every.append(one)
    flat = [each for one in every for each in one]
    _say("by two tapes", [(sum(f.miss_m <= f.within_m for f in one), len(one)) for one in every])
    for mark in sorted({mark for each in flat for mark in each.marks}):
        own = [[f for f in one if mark in f.marks] for one in every]
        _say(f"  {mark}", [(sum(f.miss_m <= f.within_m for f in one), len(one)) for one in own if one])
    checks = [[f for f in one if f.check_held is not None] for one in every]
    _say("third tape as printed", [(sum(bool(f.check_held) for f in one), len(one)) for one in checks if one])
    walls = [[f for f in one if f.wall_within_m is not None] for one in every]
    _say(
        "along a wall",
        [(sum((f.wall_miss_m or 0) <= (f.wall_within_m or 0) for f in one), len(one)) for one in walls if one],
    )
    inches = np.array([f.within_m for f in flat]) / 0.0254
    low, middle, high = np.quantile(inches, [0.1, 0.5, 0.9])
    print(f"circle by two tapes: median {middle:.1f} in, one in ten below {low:.1f} in, one in ten above {high:.1f} in")
    along = np.array([f.wall_within_m for one in walls for f in one]) / 0.0254
    print(f"circle along a wall: median {np.median(along):.1f} in")


def _say(what: str, counts: list[tuple[int, int]]) -> None:
    share, low, high = share_and_band(counts)
    total = sum(n for _, n in counts)
    print(f"{what:24}{total:8}{100 * share:8.1f} %   {100 * low:.1f} to {100 * high:.1f} %", flush=True)


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)

"""Each kind of measurement as an equation: tapes, wall turns and offsets, with their standard deviations.

Plane frame, metres and radians. Nodes are the reference points and points of one property, by index.
"""

import math
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from asbuilt.errors import AsbuiltError
from asbuilt.model.measurements import Offset, Tie, Wall
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import Walk, split_walks, wall_direction
from asbuilt.survey.levels import LevelSolution, solve_levels
from asbuilt.units import FOOT_M, Length, format_length

Array = NDArray[np.float64]

TAPE_SIGMA_M = {"careful": (0.008, 0.0003), "normal": (0.015, 0.0005), "rough": (0.030, 0.0010)}
"""Fixed part, metres, and growth, metres a metre, of a tape's standard deviation (our own; common practice)."""

WALL_SIGMA_M = 0.015
"""Standard deviation of a taped house wall (our own; common practice)."""

UNKNOWN_DROP_M = 2 * FOOT_M
"""The most that a tape of which nothing is noted may have sloped down (common practice)."""

KNOWN_BY_SIGMA_M = {"open": 0.0, "probed": 0.03, "detected": 0.15, "drawing": 0.3, "told": 1.0}
"""How far a point that was not seen open may lie from what was taped, standard deviation by `known_by` (our own
judgement): a probe finds the edge of a lid to a hand, an instrument the middle of a pipe to two feet in 19 of 20."""

EXACT_TURN_SIGMA_RAD = 1e-6
"""Stands for `held exactly`: 0.02 mm in 20 m, and the equations stay solvable."""


class NoDistanceError(AsbuiltError, ValueError):
    """A wall, tape or offset that is no distance between two places; the sheets refuse it before."""


@dataclass(frozen=True, slots=True)
class Distance:
    """A horizontal distance between two nodes."""

    i: int
    j: int
    metres: float
    sigma_m: float
    source: Tie | Wall
    tape_sigma_m: float  #: of the tape alone, before an unknown drop
    drop_effect_m: float = 0.0  #: standard deviation that an unknown drop brings

    @property
    def nodes(self) -> tuple[int, ...]:
        """Nodes that the equation binds."""
        return self.i, self.j

    def far(self, node: int) -> int:
        """Give the other end."""
        return self.j if self.i == node else self.i

    @property
    def as_read(self) -> str:
        """What stands in the notebook."""
        length = self.source.length if isinstance(self.source, Wall) else self.source.distance
        return length.as_read


@dataclass(frozen=True, slots=True)
class Turn:
    """The deflection at `j` of the walk i -> j -> k, left positive."""

    i: int
    j: int
    k: int
    radians: float
    sigma_rad: float
    source: Wall

    @property
    def nodes(self) -> tuple[int, ...]:
        """Nodes that the equation binds."""
        return self.i, self.j, self.k


@dataclass(frozen=True, slots=True)
class WallOffset:
    """Along a wall line from `a` toward `b`, and square out from it (left positive), to `p`."""

    a: int
    b: int
    p: int
    along_m: float
    left_m: float
    along_sigma_m: float
    left_sigma_m: float
    source: Offset

    @property
    def nodes(self) -> tuple[int, ...]:
        """Nodes that the equation binds."""
        return self.a, self.b, self.p


@dataclass(frozen=True)
class Observations:
    """All equations of one property."""

    names: tuple[str, ...]  #: node names, reference points first
    references: int  #: how many of the nodes are reference points
    distances: tuple[Distance, ...]
    turns: tuple[Turn, ...]
    offsets: tuple[WallOffset, ...]
    walks: tuple[Walk, ...]
    impossible: tuple[tuple[Tie, str], ...] = field(default=())  #: ties that cannot be, and why
    levels: LevelSolution = field(default_factory=LevelSolution)  #: heights, from which drops were taken

    @cached_property
    def index(self) -> dict[str, int]:
        """Node number of each name."""
        return {name: number for number, name in enumerate(self.names)}

    def tapes(self) -> dict[int, list[Distance]]:
        """List the distances of each node that has any."""
        return self._tapes

    @cached_property
    def _tapes(self) -> dict[int, list[Distance]]:
        found: dict[int, list[Distance]] = {}
        for distance in self.distances:
            for node in distance.nodes:
                found.setdefault(node, []).append(distance)
        return found

    def rings(self) -> list[list[int]]:
        """List the turns, by number, of each closed walk whose turns are all here: they sum to a full turn anyway."""
        numbers = {id(turn.source): number for number, turn in enumerate(self.turns)}
        closed = ([numbers.get(id(wall)) for wall in walk.walls] for walk in self.walks if walk.closed)
        return [[n for n in ring if n is not None] for ring in closed if None not in ring]

    def without(self, rows: Collection[int]) -> "Observations":
        """Give the same equations less some, by their rows in `Equations`; both rows of an offset go together."""
        first = len(self.distances) + len(self.turns), len(self.distances) + len(self.turns) + len(self.offsets)
        return replace(
            self,
            distances=tuple(d for k, d in enumerate(self.distances) if k not in rows),
            turns=tuple(t for k, t in enumerate(self.turns, len(self.distances)) if k not in rows),
            offsets=tuple(
                o for k, o in enumerate(self.offsets) if first[0] + k not in rows and first[1] + k not in rows
            ),
        )

    def among(self, nodes: set[int]) -> "Observations":
        """Only the equations whose nodes all belong to `nodes`; numbering stays."""
        return Observations(
            self.names,
            self.references,
            tuple(o for o in self.distances if nodes.issuperset(o.nodes)),
            tuple(o for o in self.turns if nodes.issuperset(o.nodes)),
            tuple(o for o in self.offsets if nodes.issuperset(o.nodes)),
            self.walks,
        )


def observe(record: PropertyRecord) -> Observations:
    """Turn what was read into equations.

    A tape held slope whose drop is not noted takes it from the levels where both its ends were shot. Ties whose drop
    is longer than the tape are left out and named in `impossible`.

    Raises
    ------
    NoDistanceError
        If a wall or tape is not finite, not above zero or runs from a point to itself, or an offset is not finite.
    """
    _refuse_no_distances(record)
    names = record.reference_names() + record.point_names()
    index = {name: number for number, name in enumerate(names)}
    walks = split_walks(record.walls)
    sigma, levels = Sigmas(record, walks), solve_levels(record)
    distances: list[Distance] = []
    impossible: list[tuple[Tie, str]] = []
    for wall in record.walls:
        s = sigma.wall(wall.length)
        distances.append(Distance(index[wall.from_], index[wall.to], wall.length.metres, s, wall, s))
    for tie in record.ties:
        drop = _drop(tie, levels)
        if drop is not None and drop.sure and drop.metres >= tie.distance.metres:
            said = tie.drop.as_read if tie.drop is not None else format_length(drop.metres, record.property.units)
            what = "drop" if tie.drop is not None else "levelled drop"
            impossible.append((tie, f"the {what} {said} is longer than the tape {tie.distance.as_read}"))
        else:
            distances.append(_distance(tie, index, sigma, drop))
    turns = _turns(walks, index, record.property.measured.square_sigma_deg)
    offsets = tuple(_offset(offset, index, sigma, walks) for offset in record.offsets)
    references = len(record.reference_points)
    return Observations(names, references, tuple(distances), turns, offsets, walks, tuple(impossible), levels)


def _refuse_no_distances(record: PropertyRecord) -> None:
    """Refuse what would never settle in the equations; names all of it."""
    lengths = [(w.from_, w.to, w.length) for w in record.walls] + [(t.from_, t.to, t.distance) for t in record.ties]
    wrong = [
        f"{a} to {b} {length.as_read}"
        for a, b, length in lengths
        if a == b or not (math.isfinite(length.metres) and length.metres > 0)
    ]
    wrong += [
        f"{offset.wall_from} > {offset.wall_to} to {offset.point} {length.as_read}"
        for offset in record.offsets
        for length in (offset.along, offset.out)
        if not math.isfinite(length.metres)
    ]
    if wrong:
        raise NoDistanceError(f"{'; '.join(wrong)}: accepted is a length above zero between two different places")


@dataclass(frozen=True, slots=True)
class _Drop:
    """How far apart in height the ends of a tape are."""

    metres: float
    sigma_m: float
    sure: bool  #: the tape was held along it; else it may have been level all the same


def _drop(tie: Tie, levels: LevelSolution) -> _Drop | None:
    """Give a tape's drop, as noted or else as levelled; None where it was level or nobody knows."""
    if tie.held == "level":
        return None
    if tie.drop is not None:
        return _Drop(tie.drop.metres, tie.drop.step_m / math.sqrt(12), True)
    levelled = levels.drop(tie.from_, tie.to)
    return None if levelled is None else _Drop(*levelled, tie.held == "slope")


class Sigmas:
    """Standard deviations of one property's tapes, from its `[measured]` and its reference points."""

    def __init__(self, record: PropertyRecord, walks: tuple[Walk, ...]) -> None:
        measured = record.property.measured
        self._fixed, self._growth = TAPE_SIGMA_M[measured.care]
        if measured.tape_sigma is not None:
            self._fixed, self._growth = measured.tape_sigma.metres, 0.0
        self._wall = measured.wall_sigma.metres if measured.wall_sigma is not None else WALL_SIGMA_M
        self.unknown_drop_m = measured.unknown_drop.metres if measured.unknown_drop else UNKNOWN_DROP_M
        self.square_by_eye_rad = math.radians(measured.square_by_eye_deg)
        self._mark = {r.name: r.sigma.metres for r in record.reference_points if r.sigma is not None}
        self._mark |= {p.name: KNOWN_BY_SIGMA_M[p.known_by] for p in record.points if p.known_by is not None}
        # a spreadsheet drops the last zero of 7.10: one notebook is read to one step, the finest it shows
        self._tape_step = min((tie.distance.step_m for tie in record.ties), default=0.0)
        self._wall_step = min((wall.length.step_m for wall in record.walls), default=0.0)
        self.walks = walks
        self.corners = {corner for walk in walks for corner in walk.corners}

    def wall(self, length: Length) -> float:
        """Of a taped wall, metres."""
        return max(self._wall, min(length.step_m, self._wall_step) / math.sqrt(12))

    def tape(self, length: Length, *ends: str) -> float:
        """Of a tape between marks of their own sharpness, metres."""
        reading = math.hypot(self._fixed, self._growth * length.metres)
        reading = max(reading, min(length.step_m, self._tape_step or length.step_m) / math.sqrt(12))
        return math.hypot(reading, *(self._mark.get(end, 0.0) for end in ends))

    def planned(self, metres: float, *ends: str) -> float:
        """Of a level tape that is still to be pulled, metres; read to the step of the others."""
        return self.tape(Length("", metres, self._tape_step), *ends)

    def between(self, tie: Tie) -> float:
        """Of a tie: a wall's where it joins the ends of one wall, else a tape's."""
        if wall_direction(self.walks, tie.from_, tie.to) is not None:
            return self.wall(tie.distance)
        return self.tape(tie.distance, tie.from_, tie.to)


def _distance(tie: Tie, index: dict[str, int], sigma: Sigmas, drop: _Drop | None) -> Distance:
    """Reduce a tie to horizontal.

    A tape of which neither hold nor drop is known may slope by a drop h that is uniform up to D: it then reads
    h^2/(2d) too long, whose root mean square is D^2/(2 sqrt5 d). Where levels give its drop but nobody noted how it
    was held, it was either level or on the slope: half-way between the two, half their difference either way.
    """
    read, tape = tie.distance.metres, sigma.between(tie)
    metres, effect, spread = read, 0.0, tape
    on_the_house = tie.from_ in sigma.corners and tie.to in sigma.corners  # marks of one course are level
    if drop is not None and drop.sure:
        metres = math.sqrt(read**2 - drop.metres**2)
        tape *= read / metres
        spread = math.hypot(tape, drop.sigma_m * drop.metres / metres)
    elif drop is not None and drop.metres < read and not on_the_house:
        effect = (read - math.sqrt(read**2 - drop.metres**2)) / 2
        metres = read - effect
        spread = math.hypot(tape, effect)
    elif tie.held != "level" and not on_the_house:
        effect = sigma.unknown_drop_m**2 / (2 * math.sqrt(5) * read)
        spread = math.hypot(tape, effect)
    return Distance(index[tie.from_], index[tie.to], metres, spread, tie, tape, effect)


def _turns(walks: tuple[Walk, ...], index: dict[str, int], square_sigma_deg: float) -> tuple[Turn, ...]:
    sigma = max(math.radians(square_sigma_deg), EXACT_TURN_SIGMA_RAD)
    return tuple(
        Turn(index[a.from_], index[a.to], index[b.to], math.radians(degrees), sigma, a)
        for walk in walks
        for (a, b), degrees in zip(walk.joints, _closing_turns(walk), strict=True)
        if degrees is not None
    )


def _closing_turns(walk: Walk) -> list[float | None]:
    """Give the turns of a walk's joints, degrees, those of a closed walk summing to a full turn.

    A bay is declared in round degrees. What those leave of a full turn is shared among them, as no place of the
    corners can: it would stand in chi-square for ever. Square and straight turns are left as they are.
    """
    turns = [a.turn_deg for a, _ in walk.joints]
    if walk.hand is None or walk.turn_sum_deg is None:
        return turns
    known = [turn for turn in turns if turn is not None]  # all of them: the sum is known
    excess = walk.turn_sum_deg - 360.0 * walk.hand
    round_ones = sum(turn % 90 != 0 for turn in known)
    share = excess / (round_ones or len(known))
    return [turn - share if turn % 90 != 0 or not round_ones else turn for turn in known]


def _offset(offset: Offset, index: dict[str, int], sigma: Sigmas, walks: tuple[Walk, ...]) -> WallOffset:
    """Sign an offset left or right and give the eye's square to `along`."""
    hand = offset.hand
    if hand is None:  # outward: right of a walk that has the house on its left
        run = wall_direction(walks, offset.wall_from, offset.wall_to)
        if run is None or run[2] is None:
            raise ValueError(f"the offset of {offset.point} needs a hand")  # the sheets refuse it before
        right = (run[2] == 1) == (run[0] == offset.wall_from)
        hand = "right" if right else "left"
    out = offset.out.metres
    along_sigma = math.hypot(sigma.tape(offset.along, offset.point), out * math.tan(sigma.square_by_eye_rad))
    return WallOffset(
        index[offset.wall_from],
        index[offset.wall_to],
        index[offset.point],
        offset.along.metres,
        out if hand == "left" else -out,
        along_sigma,
        sigma.tape(offset.out, offset.point),
        offset,
    )

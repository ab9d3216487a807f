"""Random properties whose truth is known: a house, points round it, and readings with the stated noise.

Nothing here imports `asbuilt.survey`, so that what the survey gives can be held against it. Truth is in
metres in the frame of the house: origin at the first wall's `from`, +x along the true direction of the first
wall from -> to, +y left of it.

The noise is that of the field sheets' contract: walls 15 mm, tapes hypot(15 mm, 0.5 mm/m), turns 0.2 degrees,
a square judged by eye 2 degrees; the sheet's rounding is part of it. A tape held slope, or held nobody knows
how, reads the slope distance; the unknown drop is uniform between 0 and 2 ft and common to all tapes of the
point.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.components import Component, Point, full_name
from asbuilt.model.measurements import Offset, Side, Tie, Wall
from asbuilt.model.place import Measured, Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.units import Length
from tests.synthetic_house import SHAPES, House, make_house

Array = NDArray[np.float64]

FOOT_M = 0.3048
WALL_SIGMA_M = 0.015
SQUARE_BY_EYE_DEG = 2.0
MOST_UNKNOWN_DROP_M = 2 * FOOT_M
STEPS_M = {"half-inch": 0.0127, "hundredth-foot": 0.003048, "mm": 0.001, "exact": 0.0}
UNITS = {"half-inch": "ft-in", "hundredth-foot": "ft", "mm": "m", "exact": "m"}
KINDS = ("septic tank", "pump tank", "lateral", "building sewer", "cleanout", "electrical cable", "well")
BLUNDERS = ("one foot", "ten feet", "swapped digits", "inches as tenths", "wrong corner")


@dataclass(frozen=True, slots=True)
class Options:
    """What to draw; every chance is a share between 0 and 1."""

    points: tuple[int, int] = (5, 40)  #: fewest and most points
    ties: Mapping[int, float] | int = field(default_factory=lambda: {2: 0.3, 3: 0.5, 4: 0.2})  #: weights
    shapes: Sequence[str] = SHAPES
    reading: str | None = None  #: a key of STEPS_M; None = half-inch or mm
    chained: float = 0.15  #: points tied through other points, at most two deep
    offsets: float = 0.05  #: points by offsets
    slope: float = 0.10  #: points taped slope, with drop
    unknown_drop: float = 0.05  #: points with nothing noted and a drop
    near_wall: float = 0.03  #: points 0.1 to 0.8 m off a wall, taped from its ends: weak on purpose
    notch: float = 0.05  #: points in the notch of an L, U or T
    inside: float = 0.02  #: points within the house
    extra_sides: float = 0.3  #: sides where none is needed
    bay: float = 0.2
    door_mark: float = 0.25  #: a reference in the middle of a straight wall
    pin: float = 0.25  #: a survey pin tied to three corners
    diagonals: float = 0.3  #: a taped diagonal
    second_tape: float = 0.03  #: a tape pulled twice
    closed_walk: bool = True
    unknown_turns: float = 0.0
    square_sigma_deg: float = 0.2
    noise: float = 1.0  #: factor on all errors of readings; 0 = none
    independent_drops: bool = False  #: the unknown drop differs from tape to tape, as the observation model has it
    min_crossing_deg: float = 15.0  #: some pair of tapes crosses at least so steeply (not for `near_wall`)
    collinear_m: float = 0.6  #: references nearer than this to one line need a side
    blunders: int = 0  #: tapes to points that are misread


@dataclass(frozen=True, slots=True)
class Blunder:
    """One reading that was spoiled on purpose."""

    tie: int  #: index in `record.ties`
    kind: str  #: one of BLUNDERS
    was: Tie  #: the tie before it was spoiled


@dataclass(frozen=True, slots=True)
class Synthetic:
    """A property as measured, and as it is."""

    record: PropertyRecord
    truth: dict[str, tuple[float, float]]  #: reference points and points, metres
    drops: dict[str, float]  #: true drop of each point below the tape's end, metres
    marks: dict[str, frozenset[str]]  #: of each point: "2 ties", "chain 1", "offset", "near wall", "slope" ...
    blunders: tuple[Blunder, ...] = ()


def make_property(rng: np.random.Generator, **options: Any) -> Synthetic:
    """Draw one property; `options` are the fields of `Options`.

    The same state of the generator gives the same property.
    """
    maker = _Maker(rng, Options(**options))
    maker.add_reference_ties()
    for _ in range(int(rng.integers(maker.options.points[0], maker.options.points[1] + 1))):
        maker.add_point()
    return maker.finish()


def tape_sigma(distance_m: float) -> float:
    """Stated standard deviation of a tape of care "normal", metres."""
    return math.hypot(0.015, 0.0005 * distance_m)


def write_length(metres: float, reading: str) -> Length:
    """Round a length to the step of the reading and write it as people do."""
    step = STEPS_M[reading]
    if reading == "exact":
        return Length(f"{metres:.9f} m", float(f"{metres:.9f}"), 1e-9)
    count = max(round(metres / step), 0)
    if reading == "mm":
        return Length(f"{count / 1000:.3f} m", count / 1000, step)
    if reading == "hundredth-foot":
        return Length(f"{count / 100:.2f}'", count * 3048 / 1_000_000, step)
    feet, halves = divmod(count, 24)
    inches = f"{halves // 2}" + (" 1/2" if halves % 2 else "")
    shown = step if halves % 2 else 2 * step  # the step that the writing shows: 9" could be read to the inch
    return Length(f"{feet}' {inches}\"", count * 127 / 10_000, shown)


def side_of(place: Array, a: Array, b: Array) -> str:
    """On which side of the line a -> b a place lies: left or right."""
    u, v = b - a, place - a
    return "left" if u[0] * v[1] - u[1] * v[0] > 0 else "right"


def off_line(places: Array) -> float:
    """How far the places lie off their best common line, at most, metres."""
    centred = places - places.mean(axis=0)
    return float(np.abs(centred @ np.linalg.svd(centred)[2][1]).max())


class _Maker:
    """One property in the making."""

    def __init__(self, rng: np.random.Generator, options: Options) -> None:
        self.rng, self.options = rng, options
        self.reading = options.reading or str(rng.choice(["half-inch", "mm"]))
        shape = str(rng.choice(list(options.shapes)))
        self.house: House = make_house(
            rng,
            shape=shape,
            bay=rng.random() < options.bay,
            door_mark=rng.random() < options.door_mark,
            square_sigma_deg=options.square_sigma_deg * options.noise,
            closed=options.closed_walk,
            unknown_turns=options.unknown_turns,
        )
        self.places: dict[str, Array] = dict(zip(self.house.names, self.house.places, strict=True))
        self.references = [ReferencePoint(name, kind="corner") for name in self.house.names]
        self.depth = dict.fromkeys(self.house.names, 0)  # how many points a place hangs through
        self.drops: dict[str, float] = {}
        self.marks: dict[str, frozenset[str]] = {}
        self.points: list[Point] = []
        self.components: list[Component] = []
        self.ties: list[list[Tie]] = []
        self.offsets: list[Offset] = []

    # --- readings

    def read(self, true_m: float, sigma_m: float) -> Length:
        """Read a length with an error of this standard deviation, the rounding included."""
        step = STEPS_M[self.reading]
        spread = math.sqrt(max(sigma_m**2 - step**2 / 12, 0.0))
        return write_length(true_m + self.options.noise * self.rng.normal(0.0, spread), self.reading)

    def tape(self, from_: str, to: str, *, side: Side | None = None, held: str | None = "level") -> Tie:
        """Pull one tape between two places."""
        across = float(np.hypot(*(self.places[to] - self.places[from_])))
        drop = self.drops.get(to, 0.0)
        if held is None and self.options.independent_drops:
            drop = float(self.rng.uniform(0, MOST_UNKNOWN_DROP_M))
        pulled = across if held == "level" else math.hypot(across, drop)
        is_wall = held == "level" and {from_, to} in [set(ends) for ends in self.house.wall_ends]
        distance = self.read(pulled, WALL_SIGMA_M if is_wall else tape_sigma(pulled))
        noted = write_length(drop, self.reading) if held == "slope" else None
        return Tie(from_, to, distance, side, held, noted)

    def add_reference_ties(self) -> None:
        """Tape a pin to three corners, and a diagonal."""
        names = self.house.names
        if self.rng.random() < self.options.pin:
            place, tied = self._choose_outside(3.0, 20.0, lambda _: 3)
            self.references.append(ReferencePoint("pin", kind="pin"))
            self.places["pin"], self.depth["pin"] = place, 0
            self.ties.append(self._tapes("pin", tied, "level", needs_side=True))
        if self.rng.random() < self.options.diagonals:
            k = int(self.rng.integers(len(names)))
            far = (k + int(self.rng.integers(2, len(names) - 1))) % len(names)
            self.ties.append([self.tape(names[k], names[far])])

    # --- points

    def add_point(self) -> None:
        """Add one point of the next component, or of the last one."""
        if not self.points or self.rng.random() < 0.5:
            kind = KINDS[len(self.components) % len(KINDS)]
            self.components.append(Component(f"{kind} {len(self.components) + 1}", kind))
        component = self.components[-1].name
        order = 1 + sum(point.component == component for point in self.points)
        self.points.append(Point(component, f"point {order}", float(order)))
        name = full_name(component, f"point {order}")
        if self.rng.random() < self.options.offsets:
            self._add_by_offset(name)
        else:
            self._add_by_ties(name)

    def _add_by_ties(self, name: str) -> None:
        draw, options = self.rng.random(4), self.options
        chained = draw[0] < options.chained and bool(self._parents())
        if draw[1] < options.near_wall and not chained:
            place, tied = self._beside_a_wall()
            mark = "near wall"
        else:
            area, mark = self._area(draw[2], chained)
            found = self._choose(area, self._tie_count, chained=chained)
            if found is None:  # no room there: a narrow notch, a parent in the middle of a large house
                mark, found = "", self._choose_outside(3.0, 35.0, self._tie_count)
            place, tied = found
        held = "level"
        if draw[3] < options.slope:
            held = "slope"
        elif draw[3] < options.slope + options.unknown_drop:
            held = "unknown drop"
        step = STEPS_M[self.reading]
        if held == "slope":  # stated as it is: how the stated drop errs is no part of the noise model
            self.drops[name] = write_length(float(self.rng.uniform(0.1, 1.5)) + step, self.reading).metres
        elif held == "unknown drop":
            self.drops[name] = float(self.rng.uniform(0, MOST_UNKNOWN_DROP_M))
        self.places[name] = place
        deep = 1 + max(self.depth[n] for n in tied) if any(n not in self._reference_names() for n in tied) else 0
        self.depth[name] = deep
        needs_side = len(tied) == 2 or off_line(np.array([self.places[n] for n in tied])) < options.collinear_m
        how = None if held == "unknown drop" else held
        tapes = self._tapes(name, tied, how, needs_side=needs_side)
        self.ties.append(tapes)
        words = {f"{len(tied)} ties", f"chain {deep}" if deep else "", mark, held}
        self.marks[name] = frozenset(words - {"", "level"} | ({"side"} if tapes[0].side else set()))

    def _tapes(self, name: str, tied: list[str], held: str | None, *, needs_side: bool) -> list[Tie]:
        """Pull the tapes to one point; the side stands on the first one."""
        side = None
        if needs_side or self.rng.random() < self.options.extra_sides:
            side = self._side(name, tied)
        tapes = [self.tape(n, name, side=side if n == tied[0] else None, held=held) for n in tied]
        if self.rng.random() < self.options.second_tape:
            tapes.append(replace(self.tape(tied[-1], name, held=held), note="second tape"))
        return tapes

    def _side(self, name: str, tied: list[str]) -> Side:
        """Word the true side of the longest line between two places that the point was taped from."""
        pairs = [(a, b) for a, b in combinations(tied, 2)]
        a, b = max(pairs, key=lambda pair: float(np.hypot(*(self.places[pair[1]] - self.places[pair[0]]))))
        walls = self._walls_with_outside()
        if len(tied) == 2 and ((a, b) in walls or (b, a) in walls) and self.rng.random() < 0.5:
            first, last = (a, b) if (a, b) in walls else (b, a)
            if side_of(self.places[name], self.places[first], self.places[last]) == self.house.outward:
                return Side("out")
        if self.rng.random() < 0.5:
            a, b = b, a
        return Side(side_of(self.places[name], self.places[a], self.places[b]), a, b)

    def _add_by_offset(self, name: str) -> None:
        """Measure along a wall and square out from it, the square judged by eye from the point."""
        while True:
            a, b = self.house.wall_ends[int(self.rng.integers(len(self.house.wall_ends)))]
            if self.rng.random() < 0.5:
                a, b = b, a
            line = self.places[b] - self.places[a]
            length = float(np.hypot(*line))
            u = line / length
            forward = (a, b) in self.house.wall_ends
            hand = self.house.outward if forward else {"left": "right", "right": "left"}[self.house.outward]
            n = np.array([-u[1], u[0]]) * (1 if hand == "left" else -1)
            along, out = float(self.rng.uniform(0, length + 5)), float(self.rng.uniform(0.5, 6))
            place = self.places[a] + along * u + out * n
            if not self.house.holds(place) and self.house.distance(place) > 0.4:
                break
        askew = math.radians(SQUARE_BY_EYE_DEG) * self.rng.normal() * self.options.noise
        met, pulled = along + out * math.tan(askew), out / math.cos(askew)
        if met < 0:  # the foot of the square fell short of the first corner, where no one can measure along
            return self._add_by_offset(name)
        self.offsets.append(
            Offset(
                a,
                b,
                name,
                self.read(met, tape_sigma(met)),
                self.read(pulled, tape_sigma(pulled)),
                None if {a, b} in map(set, self._walls_with_outside()) and self.rng.random() < 0.5 else hand,
            )
        )
        self.places[name], self.depth[name] = place, 0
        words = {"offset"}
        if self.rng.random() < 0.4:
            near = [n for n in self.house.names if np.hypot(*(self.places[n] - place)) > 1.0]
            self.ties.append([self.tape(str(self.rng.choice(near)), name)])
            words.add("1 tie")
        self.marks[name] = frozenset(words)
        return None

    # --- where

    def _reference_names(self) -> set[str]:
        return {reference.name for reference in self.references}

    def _walls_with_outside(self) -> list[tuple[str, str]]:
        """Give the walls whose outward side the sheets tell: of a closed walk, between true corners."""
        marks = {b for (_, b), turn in zip(self.house.wall_ends, self.house.turns_deg, strict=False) if turn == 0}
        if not (self.house.closed and self.house.turn_known.all()):
            return []
        return [ends for ends in self.house.wall_ends if not marks & set(ends)]

    def _parents(self) -> list[str]:
        """List the points that another point may be taped from."""
        references = self._reference_names()
        return [name for name, depth in self.depth.items() if name not in references and depth < 2]

    def _tie_count(self, available: int) -> int:
        ties = self.options.ties
        weights = {ties: 1.0} if isinstance(ties, int) else dict(ties)
        share = np.array(list(weights.values())) / sum(weights.values())
        return min(int(self.rng.choice(list(weights), p=share)), available)

    def _area(self, draw: float, chained: bool) -> tuple[Any, str]:
        """Choose what part of the property the point lies in."""
        options = self.options
        if chained:
            return (lambda: self._near(str(self.rng.choice(self._parents())))), ""
        if draw < options.inside:
            return self._inside, "inside"
        if draw < options.inside + options.notch and self.house.notches():
            return self._in_notch, "notch"
        return (lambda: self._outside(3.0, 35.0)), ""

    def _outside(self, least: float, most: float) -> Array | None:
        """Draw a place round the house, about uniform by distance: most of a system lies near the house."""
        k = int(self.rng.integers(len(self.house.names)))
        a, b = self.house.places[k], self.house.places[(k + 1) % len(self.house.names)]
        far, way, share = self.rng.uniform((least, 0.0, 0.0), (most, 2 * math.pi, 1.0))
        place = a + share * (b - a) + far * np.array([math.cos(way), math.sin(way)])
        return place if not self.house.holds(place) and self.house.distance(place) >= least else None

    def _inside(self) -> Array | None:
        place = self.rng.uniform(self.house.places.min(axis=0), self.house.places.max(axis=0))
        return place if self.house.holds(place) and self.house.distance(place) > 0.5 else None

    def _in_notch(self) -> Array | None:
        count = len(self.house.names)
        k = int(self.rng.choice(self.house.notches()))
        corner = self.house.places[k]
        arms = self.house.places[[(k - 1) % count, (k + 1) % count]] - corner
        place = corner + self.rng.uniform(0.15, 0.7, 2) @ arms
        return place if not self.house.holds(place) and self.house.distance(place) > 0.5 else None

    def _near(self, parent: str) -> Array | None:
        far, way = self.rng.uniform(2, 8), self.rng.uniform(0, 2 * math.pi)
        place = self.places[parent] + far * np.array([math.cos(way), math.sin(way)])
        return place if not self.house.holds(place) and self.house.distance(place) > 1.0 else None

    def _beside_a_wall(self) -> tuple[Array, list[str]]:
        """Give a place 0.1 to 0.8 m off a wall and that wall's ends, with more references where drawn."""
        ends = self.house.wall_ends
        lengths = [float(np.hypot(*(self.places[b] - self.places[a]))) for a, b in ends]
        k = int(self.rng.choice(np.flatnonzero(np.array(lengths) >= min(4.0, max(lengths)))))
        a, b = ends[k]
        u = (self.places[b] - self.places[a]) / lengths[k]
        n = np.array([-u[1], u[0]]) * (1 if self.house.outward == "left" else -1)
        place = self.places[a] + self.rng.uniform(0.3, 0.7) * lengths[k] * u + self.rng.uniform(0.1, 0.8) * n
        others = [n for n in self._reference_names() - {a, b} if np.hypot(*(self.places[n] - place)) > 1.0]
        more = self._tie_count(2 + len(others)) - 2
        return place, [a, b, *map(str, self.rng.choice(sorted(others), more, replace=False))]

    def _choose(self, area: Any, count: Any, *, chained: bool) -> tuple[Array, list[str]] | None:
        """Draw places until one is crossed well enough by tapes from references drawn near it; None = no luck."""
        for _ in range(300):
            place = area()
            tied = self._draw_ties(place, count, chained) if place is not None else None
            if tied is not None:
                return place, tied
        return None

    def _choose_outside(self, least: float, most: float, count: Any) -> tuple[Array, list[str]]:
        """Choose a place outside, where there always is one."""
        found = None
        while found is None:
            found = self._choose(lambda: self._outside(least, most), count, chained=False)
        return found

    def _draw_ties(self, place: Array, count: Any, chained: bool) -> list[str] | None:
        """Draw what a place is taped from, near ones likelier; None where the tapes cross too flatly."""
        away = {n: float(np.hypot(*(p - place))) for n, p in self.places.items() if n in self._reference_names()}
        mates = {n: float(np.hypot(*(self.places[n] - place))) for n in (self._parents() if chained else [])}
        mates = {n: d for n, d in mates.items() if 1.0 < d < 15}
        usable = {n: d for n, d in (away | mates).items() if d > 1.0}
        k = count(len(usable))
        if chained and not mates:
            return None
        weights = np.array([(6.0 if n in mates else 1.0) / (d + 3.0) for n, d in usable.items()])
        for _ in range(20):
            tied = [str(n) for n in self.rng.choice(list(usable), k, replace=False, p=weights / weights.sum())]
            if (not chained or any(n in mates for n in tied)) and self._crosses(place, tied):
                return tied
        return None

    def _crosses(self, place: Array, tied: list[str]) -> bool:
        rays = np.array([self.places[n] - place for n in tied])
        rays /= np.hypot(*rays.T)[:, None]
        sines = np.abs(rays[:, None, 0] * rays[None, :, 1] - rays[:, None, 1] * rays[None, :, 0])
        return bool(sines.max() >= math.sin(math.radians(self.options.min_crossing_deg)))

    # --- the whole

    def _walls(self) -> list[Wall]:
        walls = []
        for k, (a, b) in enumerate(self.house.wall_ends):
            true = float(np.hypot(*(self.places[b] - self.places[a])))
            known, turn = bool(self.house.turn_known[k]), float(self.house.turns_deg[k])
            word = {90.0: "L", -90.0: "R"}.get(turn, f"{turn:.0f}") if known else "?"
            walls.append(Wall(a, b, self.read(true, WALL_SIGMA_M), word, turn if known else None))
        return walls

    def finish(self) -> Synthetic:
        """Put the record together, its rows shuffled, for the order of rows means nothing."""
        walls = self._walls()
        self.rng.shuffle(self.ties)
        self.rng.shuffle(self.points)
        ties, blunders = [tie for group in self.ties for tie in group], []
        names = {point.name for point in self.points}
        spoilable = [k for k, tie in enumerate(ties) if tie.to in names]
        for k in sorted(self.rng.choice(spoilable, self.options.blunders, replace=False).tolist()):
            kind, spoiled = self._spoil(ties[k])
            blunders.append(Blunder(k, kind, ties[k]))
            ties[k] = spoiled
        record = PropertyRecord(
            Property(
                f"Invented place {int(self.rng.integers(1_000_000))}",
                UNITS[self.reading],
                measured=Measured(square_sigma_deg=self.options.square_sigma_deg),
            ),
            tuple(self.references),
            walls=tuple(walls),
            points=tuple(self.points),
            ties=tuple(ties),
            offsets=tuple(self.offsets),
            components=tuple(self.components),
        )
        truth = {name: (float(place[0]), float(place[1])) for name, place in self.places.items()}
        return Synthetic(record, truth, dict(self.drops), dict(self.marks), tuple(blunders))

    def _spoil(self, tie: Tie) -> tuple[str, Tie]:
        """Misread one tape, or write it under another corner's name."""
        kinds = list(BLUNDERS)
        taken = {tie.from_, tie.to} | ({tie.side.a, tie.side.b} if tie.side else set())
        if tie.side or len(self.house.names) < 5:
            kinds.remove("wrong corner")  # the side names the corners, so it would be refused at once
        kind = str(self.rng.choice(kinds))
        if kind == "wrong corner":
            others = [n for n in self.house.names if n not in taken]
            return kind, replace(tie, from_=str(self.rng.choice(others)))
        feet = tie.distance.metres / FOOT_M
        shift = float(self.rng.choice([-1, 1]))
        tens, ones = divmod(math.floor(feet) % 100, 10)
        inches = math.floor(12 * (feet % 1))
        if kind == "ten feet":
            change = 10 * shift if feet > 20 else 10.0
        elif kind == "swapped digits" and tens != ones and feet > 10:
            change = float(9 * (ones - tens))
        elif kind == "inches as tenths" and inches > 2:
            change = inches / 60
        else:
            kind, change = "one foot", shift
        return kind, replace(tie, distance=write_length((feet + change) * FOOT_M, self.reading))

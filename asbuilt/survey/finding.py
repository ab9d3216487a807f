"""How to find a buried point again: which tapes to pull years later, and the circle that holds it 19 times in 20.

The finder sets a mark by distances reckoned from the record, from corners as they stand. The mark misses the point by
what the record does not know of point and corners, jointly, and by the finder's own new tapes. Output frame, metres.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import split_walks
from asbuilt.survey.observations import KNOWN_BY_SIGMA_M, TAPE_SIGMA_M
from asbuilt.survey.quality import K95_CIRCLE, radius_95
from asbuilt.survey.solution import Position, Solution
from asbuilt.units import FOOT_M, INCH_M

Array = NDArray[np.float64]

LONG_TAPE_M = 100 * FOOT_M
"""A tape that a household or a van has; longer ones are asked for only where there is nothing else (our own)."""

AS_SHARP = 1.15
"""Pairs of corners whose circle is within this factor of the least are as good: then the shorter tapes win (ours)."""

TOO_NEAR_M = 0.3
"""A mark nearer than this to the point gives no direction worth having (our own)."""

TRIANGLE_SIGMA_DEG = 1.0
"""How square a line set out with a 3-4-5 triangle is, standard deviation: an inch in 5 ft (our own judgement)."""

FAR_OUT_M = 30 * FOOT_M
"""Farther out than this a square set out by hand misses by half a foot and more: then no wall is offered (ours)."""

PAST_THE_END_M = 10 * FOOT_M
"""How far past its end a wall may be sighted on by eye (our own judgement)."""

_SKIN_M = 0.05  # a tape along a wall's face is not in the house for standing a finger's breadth inside its line
_THROUGH_M = 0.25  # shorter stretches through a building are a corner's own error
_NORMAL_95 = 1.959963984540054
_STEP_M = {"ft-in": INCH_M / 2, "ft": FOOT_M / 100, "m": 0.01}  # what printed distances are rounded to


@dataclass(frozen=True, slots=True)
class FindTape:
    """One level tape to pull from a reference point."""

    reference: str
    distance_m: float  #: reckoned, level, whether it was ever measured or not
    through_m: float = 0.0  #: how much of its line runs through a building; 0 = it can be pulled straight


@dataclass(frozen=True, slots=True)
class Check:
    """A third tape that shows whether the mark is right."""

    tape: FindTape
    within_m: float  #: it reads so 19 times in 20, give or take this


@dataclass(frozen=True, slots=True)
class Crossing:
    """A point found by two tapes."""

    first: FindTape
    second: FindTape
    hand: str  #: left or right: where it is for one who stands at the first and looks at the second
    place: Array  #: (2,), where the record has it
    mirror: Array  #: (2,), where the same tapes meet on the other side
    crossing_deg: float  #: 0 to 90
    covariance: Array  #: (2, 2), of mark less point, square metres
    r95_m: float  #: radius round the mark that holds the point 19 times in 20
    check: Check | None


@dataclass(frozen=True, slots=True)
class AlongWall:
    """A point found along a wall and square out from it, by one person with one tape."""

    wall_from: str  #: where one starts
    wall_to: str  #: where one looks
    along_m: float
    out_m: float
    hand: str  #: left or right of the way from `wall_from` to `wall_to`
    past_m: float  #: how far beyond `wall_to` the square stands; 0 = on the wall
    r95_m: float


class Finder:
    """Finds the located points of one solved property.

    Parameters
    ----------
    record, solution
        As solved.
    usable
        What can be measured from today: reference points, or points that lie open.
    rings
        Outlines of buildings that a tape cannot run through, each (n, 2), output frame.
    care
        How carefully the finder pulls the tapes, one of CARES.
    """

    def __init__(
        self,
        record: PropertyRecord,
        solution: Solution,
        usable: Iterable[str],
        *,
        rings: Sequence[Array] = (),
        care: str = "normal",
    ) -> None:
        self._solution = solution
        self._index = {name: k for k, name in enumerate(solution.names)}
        self._places = {p.name: p.place for p in (*solution.references, *solution.points) if p.place is not None}
        self._usable = [name for name in dict.fromkeys(usable) if name in self._places]
        self._rings = rings
        self._tape = TAPE_SIGMA_M[care]
        self._step_m = _STEP_M[record.property.units]
        self._mark = {r.name: r.sigma.metres for r in record.reference_points if r.sigma is not None}
        self._known_by = {p.name: KNOWN_BY_SIGMA_M[p.known_by] for p in record.points if p.known_by is not None}
        self._walls = [(run[0], run[-1]) for walk in split_walks(record.walls) for run in walk.straight_walls]

    def sigma_m(self, distance_m: float, *ends: str) -> float:
        """Give the standard deviation of one tape of the finder's, rounding of the printed distance included."""
        reading = max(math.hypot(self._tape[0], self._tape[1] * distance_m), self._step_m / math.sqrt(12))
        rounded = self._step_m / math.sqrt(12)
        return math.hypot(reading, rounded, *(self._mark.get(end, 0.0) for end in ends))

    def by_tapes(self, name: str) -> Crossing | None:
        """Choose the two tapes that find a point best, and a third that checks them.

        Tapes that can be pulled straight go first, then those that a usual tape reaches, then the smallest circle.

        Returns
        -------
        None where the point has no place, or fewer than two marks can be used.
        """
        ranked = self.pairs(name)
        if not ranked:
            return None
        fewest = min((_blocked(each), _too_long(each)) for each in ranked)
        best = [each for each in ranked if (_blocked(each), _too_long(each)) == fewest]
        least = min(each.r95_m for each in best)
        sharp = [each for each in best if each.r95_m <= AS_SHARP * least]
        chosen = min(sharp, key=lambda each: each.first.distance_m + each.second.distance_m)
        return self._with_check(name, chosen)

    def pairs(self, name: str) -> list[Crossing]:
        """Judge every two marks that a point can be found from, without a check tape."""
        position = self._position(name)
        if position is None or position.place is None:
            return []
        place = position.place
        near = [each for each in self._usable if each != name and self._apart(each, place) > TOO_NEAR_M]
        tapes = {each: self._tape_to(each, place) for each in near}
        found = (self.crossing(name, tapes[a], tapes[b]) for a, b in combinations(near, 2))
        return [each for each in found if each is not None]

    def crossing(self, name: str, first: FindTape, second: FindTape) -> Crossing | None:
        """Judge the mark that two tapes set for a point; None where they run along one line.

        With p the point, a and b the marks, u the rays to it and e the errors of the new tapes, the mark misses the
        point by U^-1 (u_i (dp - da_i) + e_i), d being the errors of the solution.
        """
        position = self._located(name)
        assert position.place is not None  # noqa: S101 - located
        place, a, b = position.place, self._places[first.reference], self._places[second.reference]
        rays = np.array([_unit(place - a), _unit(place - b)])
        sine = abs(float(rays[0, 0] * rays[1, 1] - rays[0, 1] * rays[1, 0]))
        if sine < 1e-3:
            return None
        own, corners, tapes = self._parts(name, first, second, rays)
        if float(np.hypot(*(a - b))) > TOO_NEAR_M:
            hand = "left" if _cross(b - a, place - a) > 0 else "right"
            covariance = own @ self._joint((name, first.reference, second.reference)) @ own.T + tapes
            alone = corners @ self._joint((first.reference, second.reference)) @ corners.T + tapes
            radius = self._radius(position, covariance, alone)
            degrees = math.degrees(math.asin(min(1.0, sine)))
            mirror = _mirrored(place, a, b)
            return Crossing(first, second, hand, place, mirror, degrees, covariance, radius, None)
        return None

    def tape(self, reference: str, name: str) -> FindTape:
        """Give the level tape from a mark to a located point; KeyError where one of them has no place."""
        place = self._located(name).place
        assert place is not None  # noqa: S101 - located
        return self._tape_to(reference, place)

    def by_wall(self, name: str) -> AlongWall | None:
        """Choose the wall along and square out from which a point is found best; None where there is none."""
        position = self._position(name)
        if position is None or position.place is None:
            return None
        walls = [pair for ends in self._walls for pair in permutations(ends)]
        usable = [(a, b) for a, b in walls if a in self._usable and b in self._usable and name not in (a, b)]
        found = [each for a, b in usable if (each := self._along(position, a, b)) is not None]
        on_wall = [each for each in found if each.past_m == 0] or found
        least = min((each.r95_m for each in on_wall), default=0.0)
        sharp = [each for each in on_wall if each.r95_m <= AS_SHARP * least]
        return min(sharp, key=lambda each: each.along_m, default=None)

    def predicted(self, name: str, references: Sequence[str], shift: Array | None = None) -> tuple[Array, Array, Array]:
        """Reckon tapes from some marks to a point: distances (n,), unit rays (n, 2) and joint covariance (n, n).

        Parameters
        ----------
        shift
            The tapes go to a place that lies so from the point, (2,); None = to the point itself.

        Notes
        -----
        The covariance is that of the solution alone; the errors of new readings come to it.
        """
        place = self.place(name) + (0.0 if shift is None else shift)
        delta = np.array([place - self._places[each] for each in references])
        metres = np.hypot(*delta.T)
        rows = np.zeros((len(references), 2 * (1 + len(references))))
        for k, ray in enumerate(delta / metres[:, None]):
            rows[k, :2] = ray
            rows[k, 2 + 2 * k : 4 + 2 * k] = -ray
        return metres, delta / metres[:, None], rows @ self._joint((name, *references)) @ rows.T

    def place(self, name: str) -> Array:
        """Give the place of a point or mark, (2,); KeyError where it has none."""
        return self._places[name]

    def _parts(self, name: str, first: FindTape, second: FindTape, rays: Array) -> tuple[Array, Array, Array]:
        """How errors of point and marks (2, 6), and of the marks alone (2, 4), move the mark; and the tapes' share."""
        inverse = np.linalg.inv(rays)
        marks = np.zeros((2, 4))
        marks[0, :2], marks[1, 2:] = -rays[0], -rays[1]
        tapes = np.diag([self.sigma_m(each.distance_m, each.reference) ** 2 for each in (first, second)])
        own = np.hstack((np.eye(2), inverse @ marks))
        return own, inverse @ marks, inverse @ tapes @ inverse.T

    def _with_check(self, name: str, chosen: Crossing) -> Crossing:
        """Add the third tape that tells the mark from its mirror best, or else reads most surely."""
        used = {chosen.first.reference, chosen.second.reference, name}
        left = [each for each in self._usable if each not in used and self._apart(each, chosen.place) > TOO_NEAR_M]
        tapes = [self._tape_to(each, chosen.place) for each in left]
        if not tapes:
            return chosen
        straight = min((tape.through_m > 0, tape.distance_m > LONG_TAPE_M) for tape in tapes)
        best = [tape for tape in tapes if (tape.through_m > 0, tape.distance_m > LONG_TAPE_M) == straight]
        third = max(best, key=lambda tape: abs(tape.distance_m - self._apart(tape.reference, chosen.mirror)))
        check = Check(third, _NORMAL_95 * self._check_sigma_m(name, chosen, third))
        return Crossing(
            chosen.first,
            chosen.second,
            chosen.hand,
            chosen.place,
            chosen.mirror,
            chosen.crossing_deg,
            chosen.covariance,
            chosen.r95_m,
            check,
        )

    def _check_sigma_m(self, name: str, chosen: Crossing, third: FindTape) -> float:
        """How far a third tape from the mark may miss what is printed, standard deviation."""
        pair = (chosen.first, chosen.second)
        rays = np.array([_unit(chosen.place - self._places[each.reference]) for each in pair])
        own, _, tapes = self._parts(name, *pair, rays)
        ray = _unit(chosen.place - self._places[third.reference])
        # mark - third corner, less the reckoned distance: u (m - p) - u (dp - dc) + e
        row = np.concatenate((ray @ own, ray))
        row[:2] -= ray
        joint = self._joint((name, *(each.reference for each in pair), third.reference))
        return math.sqrt(row @ joint @ row + ray @ tapes @ ray + self.sigma_m(third.distance_m, third.reference) ** 2)

    def _along(self, position: Position, a: str, b: str) -> AlongWall | None:
        """Judge one wall, begun at one of its ends; None where the square would not stand before it."""
        place = position.place
        assert place is not None  # noqa: S101 - located
        start, line = self._places[a], self._places[b] - self._places[a]
        length = float(np.hypot(*line))
        if length < TOO_NEAR_M:
            return None
        u = line / length
        n = np.array([-u[1], u[0]])
        along, left = float((place - start) @ u), float((place - start) @ n)
        foot = start + along * u
        if not 0 <= along <= length + PAST_THE_END_M or abs(left) > FAR_OUT_M:
            return None
        if self._through(foot, place) > 0:
            return None
        if along > length and self._through(self._places[b], foot) > 0:
            return None
        turn = (np.eye(2) - np.outer(u, u)) / length  # how the wall's direction moves with its ends
        swing = along * turn + left * np.array([[0.0, -1.0], [1.0, 0.0]]) @ turn
        marks = np.hstack((swing - np.eye(2), -swing))  # by a, by b
        square = math.radians(TRIANGLE_SIGMA_DEG) * abs(left)
        own_along = math.hypot(self.sigma_m(along, a), square)
        tapes = own_along**2 * np.outer(u, u) + self.sigma_m(abs(left)) ** 2 * np.outer(n, n)
        own = np.hstack((np.eye(2), marks))
        covariance = own @ self._joint((position.name, a, b)) @ own.T + tapes
        radius = self._radius(position, covariance, marks @ self._joint((a, b)) @ marks.T + tapes)
        hand = "left" if left > 0 else "right"
        return AlongWall(a, b, along, abs(left), hand, max(0.0, along - length), radius)

    def _radius(self, position: Position, covariance: Array, without_point: Array) -> float:
        """Circle of a mark: of the joint covariance; where the point's own place is not normal, of its own interval.

        What is known by a probe or a drawing lies no nearer than that allows, however many tapes go to it.
        """
        radius = float(radius_95(covariance))
        if position.ellipse is None and position.r95_m is not None:
            radius = math.hypot(position.r95_m, float(radius_95(without_point)))
        elif position.r95_m is not None and position.covariance is not None:
            radius += max(0.0, position.r95_m - float(radius_95(position.covariance)))  # bent by a suspect
        return max(radius, K95_CIRCLE * self._known_by.get(position.name, 0.0))

    def _joint(self, names: Sequence[str]) -> Array:
        """Covariance among some names, square metres."""
        pick = [column for name in names for column in (2 * self._index[name], 2 * self._index[name] + 1)]
        return self._solution.covariance[np.ix_(pick, pick)]

    def _position(self, name: str) -> Position | None:
        return self._solution.position(name) if name in self._places else None

    def _located(self, name: str) -> Position:
        position = self._position(name)
        if position is None:
            raise KeyError(name)
        return position

    def _apart(self, reference: str, place: Array) -> float:
        return float(np.hypot(*(self._places[reference] - place)))

    def _tape_to(self, reference: str, place: Array) -> FindTape:
        start = self._places[reference]
        return FindTape(reference, self._apart(reference, place), self._through(start, place))

    def _through(self, start: Array, end: Array) -> float:
        return max((through_m(start, end, ring) for ring in self._rings), default=0.0)


def through_m(start: Array, end: Array, ring: Array) -> float:
    """How much of a straight line runs through a building, metres; a finger's breadth inside its walls is outside."""
    length = float(np.hypot(*(end - start)))
    count = max(20, math.ceil(length / 0.1))
    spots = start + (np.arange(count) + 0.5)[:, None] / count * (end - start)
    deep = inside(spots, ring) & (_to_edge_m(spots, ring) > _SKIN_M)
    metres = float(np.count_nonzero(deep)) * length / count
    return metres if metres > _THROUGH_M else 0.0


def inside(spots: Array, ring: Array) -> NDArray[np.bool_]:
    """Tell which places, (n, 2), lie within a ring of corners (crossing number)."""
    a, b = ring, np.roll(ring, -1, axis=0)
    x, y = spots[:, :1], spots[:, 1:]
    straddles = (a[:, 1] > y) != (b[:, 1] > y)
    rise = np.where(straddles, b[:, 1] - a[:, 1], 1.0)
    crosses = straddles & (x < a[:, 0] + (y - a[:, 1]) / rise * (b[:, 0] - a[:, 0]))
    return np.asarray(crosses.sum(axis=1) % 2 == 1)


def _to_edge_m(spots: Array, ring: Array) -> Array:
    """Distance of each place, (n, 2), from the nearest edge of a ring, metres."""
    a, step = ring, np.roll(ring, -1, axis=0) - ring
    size = np.maximum((step**2).sum(axis=1), 1e-12)
    delta = spots[:, None] - a
    share = np.clip((delta * step).sum(axis=2) / size, 0, 1)
    return np.asarray(np.linalg.norm(delta - share[..., None] * step, axis=2).min(axis=1))


def _blocked(crossing: Crossing) -> int:
    return (crossing.first.through_m > 0) + (crossing.second.through_m > 0)


def _too_long(crossing: Crossing) -> bool:
    return max(crossing.first.distance_m, crossing.second.distance_m) > LONG_TAPE_M


def _unit(delta: Array) -> Array:
    return np.asarray(delta / np.hypot(*delta))


def _cross(u: Array, v: Array) -> float:
    return float(u[0] * v[1] - u[1] * v[0])


def _mirrored(place: Array, a: Array, b: Array) -> Array:
    """Mirror a place in the line through two others."""
    u = _unit(b - a)
    return np.asarray(2 * (a + u * float((place - a) @ u)) - place)

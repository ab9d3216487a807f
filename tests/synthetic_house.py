"""Random houses whose true corners are known, made for the tests and independent of `asbuilt.survey`.

The frame is the truth frame of `tests.synthetic`: origin at the first wall's first corner, +x along the true
first wall, +y left of it, metres.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SHAPES = ("rectangle", "L", "U", "T")

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True)
class House:
    """A walk round a house as it was built (places) and as it was meant (turns)."""

    names: tuple[str, ...]  #: corners in the order of the walk; wall k runs from names[k] to names[k + 1]
    places: Array  #: (n, 2) true corners, metres
    turns_deg: Array  #: (n,) meant deflection at the far corner of wall k, left positive
    turn_known: NDArray[np.bool_]  #: (n,) False where the sheet says ?
    closed: bool  #: False: the last wall was not walked
    outward: str  #: left or right of the walk

    @property
    def wall_ends(self) -> list[tuple[str, str]]:
        """Names of the two corners of each walked wall, in order."""
        ends = list(zip(self.names, self.names[1:] + self.names[:1], strict=True))
        return ends if self.closed else ends[:-1]

    def holds(self, place: Array) -> bool:
        """Tell whether a place lies inside the house (crossing number)."""
        a, b = self.places, np.roll(self.places, -1, axis=0)
        straddles = (a[:, 1] > place[1]) != (b[:, 1] > place[1])
        rise = np.where(straddles, b[:, 1] - a[:, 1], 1.0)
        x = a[:, 0] + (place[1] - a[:, 1]) / rise * (b[:, 0] - a[:, 0])
        return bool(np.count_nonzero(straddles & (place[0] < x)) % 2)

    def distance(self, place: Array) -> float:
        """Shortest distance from a place to a wall, metres."""
        a, step = self.places, np.roll(self.places, -1, axis=0) - self.places
        t = np.clip(((place - a) * step).sum(axis=1) / (step**2).sum(axis=1), 0, 1)
        return float(np.hypot(*(a + t[:, None] * step - place).T).min())

    def notches(self) -> list[int]:
        """Give the indices of corners that lie inward, where an L, U or T has its notch."""
        around = 1.0 if self.outward == "right" else -1.0
        return [(k + 1) % len(self.names) for k, turn in enumerate(self.turns_deg) if turn * around < -60]


def make_house(
    rng: np.random.Generator,
    *,
    shape: str,
    bay: bool,
    door_mark: bool,
    square_sigma_deg: float,
    closed: bool = True,
    unknown_turns: float = 0.0,
) -> House:
    """Draw one house.

    The turns of the sheet are the meant ones (90, 45, 0 degrees); the true deflections differ from them by
    independent normal errors. In a closed walk these are drawn on the condition that they add up to zero, as
    the deflections of a polygon must: independent normals less their mean, whose standard deviation is
    `square_sigma_deg * sqrt(1 - 1/n)`. That condition is a function of the misclosures alone, which are
    independent of the errors of the least-squares estimate, so the estimate still errs as its covariance says
    (the global chi-square is small by one degree of freedom a house). True lengths are free; two conditions
    on them close the walk.
    """
    corners = _outline(rng, shape)
    if bay:
        corners = _with_bay(rng, corners)
    if door_mark:
        corners = _with_door_mark(rng, corners)
    outward = "right"
    if rng.random() < 0.5:
        corners, outward = corners[::-1], "left"
    corners = np.roll(corners, int(rng.integers(len(corners))), axis=0)
    steps = np.roll(corners, -1, axis=0) - corners
    headings = np.degrees(np.arctan2(steps[:, 1], steps[:, 0]))
    turns = np.round((np.roll(headings, -1) - headings + 180) % 360 - 180)
    known = rng.random(len(turns)) >= unknown_turns
    if not closed:
        known[-2:] = False  # the corners at the two ends of the unwalked wall: no turn was read there
    errors = _turn_errors(rng, known, square_sigma_deg)
    places = _walk(np.hypot(*steps.T), turns + errors)
    names = tuple(LETTERS[k] for k in range(len(corners)))
    return House(names, places, turns, known, closed, outward)


def _turn_errors(rng: np.random.Generator, known: NDArray[np.bool_], sigma_deg: float) -> Array:
    """Errors of the turns that add up to zero: unknown turns take up the sum where there are any."""
    errors = rng.normal(0.0, 1.0, len(known)) * sigma_deg
    takers = ~known if not known.all() else known
    errors[takers] -= errors.sum() / np.count_nonzero(takers)
    return errors


def _walk(lengths: Array, turns_deg: Array) -> Array:
    """Corners of the closed walk with these deflections and the nearest lengths that close it."""
    headings = np.radians(np.concatenate([[0.0], np.cumsum(turns_deg[:-1])]))
    steps = np.stack([np.cos(headings), np.sin(headings)])
    lengths = lengths - steps.T @ np.linalg.solve(steps @ steps.T, steps @ lengths)
    ends = np.cumsum(steps * lengths, axis=1).T
    return np.vstack([np.zeros(2), ends[:-1]])


def _outline(rng: np.random.Generator, shape: str) -> Array:
    """Corners of the meant outline, counter-clockwise."""
    w, h = rng.uniform(6, 25, 2)
    if shape == "rectangle":
        return np.array([(0, 0), (w, 0), (w, h), (0, h)])
    if shape == "L":
        a, b = rng.uniform(0.35, 0.65, 2) * (w, h)
        return np.array([(0, 0), (w, 0), (w, b), (a, b), (a, h), (0, h)])
    x1, x2, d = rng.uniform(0.3, 0.4) * w, rng.uniform(0.6, 0.7) * w, rng.uniform(0.35, 0.65) * h
    if shape == "T":
        return np.array([(0, 0), (w, 0), (w, d), (x2, d), (x2, h), (x1, h), (x1, d), (0, d)])
    if shape == "U":
        left = h if rng.random() < 0.5 else rng.uniform(0.8, 1.0) * h  # half of them with both fronts in line
        return np.array([(0, 0), (w, 0), (w, h), (x2, h), (x2, d), (x1, d), (x1, left), (0, left)])
    raise ValueError(f"shape {shape!r}; accepted: {', '.join(SHAPES)}")


def _long_wall(rng: np.random.Generator, corners: Array, least: float) -> int | None:
    lengths = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    choice = np.flatnonzero(lengths >= least)
    return int(rng.choice(choice)) if len(choice) else None


def _with_bay(rng: np.random.Generator, corners: Array) -> Array:
    """Add a bay with 45-degree sides to a wall of at least 6 m."""
    k = _long_wall(rng, corners, 6.0)
    if k is None:
        return corners
    a, b = corners[k], corners[(k + 1) % len(corners)]
    along = (b - a) / np.hypot(*(b - a))
    out = np.array([along[1], -along[0]])
    start, depth = rng.uniform(1.0, 1.8), rng.uniform(0.6, 1.0)
    front = rng.uniform(1.0, 1.3)
    spots = [
        (start, 0),
        (start + depth, depth),
        (start + depth + front, depth),
        (start + 2 * depth + front, 0),
    ]
    return np.insert(corners, k + 1, [a + s * along + t * out for s, t in spots], axis=0)


def _with_door_mark(rng: np.random.Generator, corners: Array) -> Array:
    """Add a mark on a straight wall, such as a door jamb: a corner of turn 0."""
    k = _long_wall(rng, corners, 5.0)
    if k is None:
        return corners
    a, b = corners[k], corners[(k + 1) % len(corners)]
    return np.insert(corners, k + 1, a + rng.uniform(0.3, 0.7) * (b - a), axis=0)

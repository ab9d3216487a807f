"""The descent of many points at once: where to begin, damped Gauss-Newton, and the minima that it finds.

Arrays lie tie by tie, (ties, points), so that each step runs through memory that is contiguous.
"""

import math
from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Self

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

_STEPS = 200  # along a flat valley it may take a hundred (measured on 20,000 points of the worst kinds)
_SETTLED_M = 1e-7
_PLAIN_STEPS = 6  # points that fit settle in three to five
_ROUNDING = 1e-13  # a step that changes the cost by no more than rounding is not turned back
_COMPACT = 0.8  # the unsettled are gathered anew when they fall to this share: measured, flat between 0.6 and 0.9

_GOOD_CHI2 = 40.0
"""A place that fits worse than this is looked for from every start."""

_SEARCHED_CHI2 = 100.0
"""Beyond `_GOOD_CHI2` by the 60 that `network.CLEAR_CHI2` leaves clear: no minimum worse than this is looked for."""


@dataclass(frozen=True, slots=True)
class Tapes:
    """The tapes of points that have equally many of them."""

    x: Array  #: (ties, points), corners, metres
    y: Array
    d: Array  #: (ties, points), taped distances, metres
    s: Array  #: (ties, points), standard deviations, metres

    @classmethod
    def of(cls, anchors: Array, distances: Array, sigmas: Array) -> Self:
        """Turn (points, ties, ...) arrays round."""
        parts = (anchors[..., 0], anchors[..., 1], distances, sigmas)
        return cls(*(np.ascontiguousarray(part.T) for part in parts))

    @property
    def ties(self) -> int:
        """How many tapes each point has."""
        return len(self.d)

    @property
    def points(self) -> int:
        """How many points there are."""
        return int(self.d.shape[1])

    def take(self, index: Index) -> Self:
        """Only some of the points, or some again and again."""
        return type(self)(self.x[:, index], self.y[:, index], self.d[:, index], self.s[:, index])


@dataclass(frozen=True, slots=True)
class Minima:
    """Where the descents ended: all of shape (starts, points), or (points,) when one a point is picked."""

    x: Array  #: metres; NaN where no descent was made
    y: Array
    cost: Array  #: chi-square; there infinite
    nxx: Array  #: normal matrix
    nxy: Array
    nyy: Array

    def take(self, points: Index) -> Self:
        """Only some of the points."""
        return type(self)(*(getattr(self, field.name)[:, points] for field in fields(self)))

    def pick(self, starts: Index) -> Self:
        """One minimum of each point."""
        points = np.arange(len(starts))
        return type(self)(*(getattr(self, field.name)[starts, points] for field in fields(self)))

    def away(self, one: "Minima") -> Array:
        """Distance of each minimum from one, metres."""
        return np.hypot(self.x - one.x, self.y - one.y)


# -- starts


@dataclass(frozen=True, slots=True)
class _Meetings:
    """Both meetings of every two circles: foot on the line of centres, and half chord square to it, (pairs, points)."""

    foot_x: Array
    foot_y: Array
    half_x: Array
    half_y: Array
    reach: Array  #: metres by which both meetings move when each tape moves by one standard deviation
    chord: Array  #: half chord, metres; 0 where the circles miss


@lru_cache(maxsize=32)
def _pairs(ties: int) -> tuple[Index, Index]:
    first, second = np.triu_indices(ties, 1)
    return first, second


def _meet(tapes: Tapes) -> _Meetings:
    """Where every two circles meet; where they miss, the place between them. See `start._nearest_meeting`."""
    i, j = _pairs(tapes.ties)
    xi, yi, ri, rj = tapes.x[i], tapes.y[i], tapes.d[i], tapes.d[j]
    dx, dy = tapes.x[j] - xi, tapes.y[j] - yi
    length = np.sqrt(dx * dx + dy * dy)
    same = length == 0
    if same.any():  # two tapes from one corner: above and below it
        dx, length = np.where(same, 1.0, dx), np.where(same, 1.0, length)
    ux, uy = dx / length, dy / length
    along = (ri * ri - rj * rj + length * length) / (2 * length)
    h2 = ri * ri - along * along
    missed = h2 < 0
    if missed.any():
        along = np.where(missed, _between_rims(length, ri, rj), along)
    if same.any():
        along, h2 = np.where(same, 0.0, along), np.where(same, ri * ri, h2)
    chord = np.sqrt(np.maximum(h2, 0.0))
    with np.errstate(divide="ignore"):
        reach = (tapes.s[i] + tapes.s[j]) * ri * rj / (length * chord)  # over the sine of the crossing
    reach[same] = np.inf
    return _Meetings(xi + along * ux, yi + along * uy, -chord * uy, chord * ux, reach, chord)


def _between_rims(length: Array, radius_a: Array, radius_b: Array) -> Array:
    """Distance from the first centre of the place between two rims that miss; see `start._between_rims`."""
    beyond = np.where(radius_a > radius_b, (radius_a + length + radius_b) / 2, -(radius_a + radius_b - length) / 2)
    return np.where(length > radius_a + radius_b, (radius_a + length - radius_b) / 2, beyond)


def all_minima(tapes: Tapes) -> Minima:
    """Descend from both meetings of every two circles."""
    m = _meet(tapes)
    x = np.concatenate((m.foot_x + m.half_x, m.foot_x - m.half_x))
    y = np.concatenate((m.foot_y + m.half_y, m.foot_y - m.half_y))
    wanted = np.ones(x.shape, dtype=bool)
    return _descend_from(x, y, wanted, tapes)


def likely_minima(tapes: Tapes) -> tuple[Minima, Mask]:
    """Descend only from the meetings of the two tapes that cross best, and only where something can be found there.

    Returns
    -------
    Minima of shape (2, points), and where they are sure to be all that matter; elsewhere call `all_minima`.

    Notes
    -----
    At a minimum of chi-square C no residual exceeds sqrt(C) standard deviations. So it lies, for *any* two of the
    point's tapes, within sqrt(C) * `reach` of one of their two meetings, and there no other tape can be off by more
    than that distance and sqrt(C) standard deviations of its own. Both meetings are crossed at one angle, so the
    pair that crosses best serves both. Sure are points whose two meetings lie well apart by this measure, and whose
    best minimum fits.
    """
    meetings = _meet(tapes)
    best = meetings.reach.argmin(axis=0)
    points = np.arange(tapes.points)
    fx, fy, hx, hy, reach, chord = (getattr(meetings, f.name)[best, points] for f in fields(meetings))
    x, y = np.array((fx + hx, fx - hx)), np.array((fy + hy, fy - hy))
    limit = math.sqrt(_SEARCHED_CHI2)
    reach = limit * reach
    clear = (reach <= chord / 2) & (reach <= tapes.d.min(axis=0) / 4)
    wanted = np.broadcast_to(clear, x.shape).copy()
    for k in range(tapes.ties):
        dx, dy = x - tapes.x[k], y - tapes.y[k]
        wanted &= np.abs(np.sqrt(dx * dx + dy * dy) - tapes.d[k]) <= reach + limit * tapes.s[k]
    minima = _descend_from(x, y, wanted, tapes)
    return minima, clear & (minima.cost.min(axis=0) <= _GOOD_CHI2)


# -- the descent


def _descend_from(x: Array, y: Array, wanted: Mask, tapes: Tapes) -> Minima:
    """Descend from the wanted ones of the starts (starts, points)."""
    found = np.full((6, *x.shape), np.nan)
    found[2] = np.inf
    found[:, wanted] = _descend(x[wanted], y[wanted], tapes.take(np.nonzero(wanted)[1]))
    return Minima(*found)


def _normals(x: Array, y: Array, tapes: Tapes, weights: Array, *, curved: bool) -> Array:
    """Cost, gradient (x, y), normal matrix (xx, xy, yy) and, if `curved`, what the bend of the circles adds to it."""
    state = np.zeros((9 if curved else 6, len(x)))
    cost, gx, gy, nxx, nxy, nyy = state[:6]
    for k in range(tapes.ties):
        dx, dy = x - tapes.x[k], y - tapes.y[k]
        ranges = np.sqrt(dx * dx + dy * dy)
        np.maximum(ranges, 1e-9, out=ranges)
        dx /= ranges
        dy /= ranges
        misfit = ranges - tapes.d[k]
        pull = weights[k] * misfit
        cost += pull * misfit
        gx += pull * dx
        gy += pull * dy
        weighted = weights[k] * dx
        nxx += weighted * dx
        nxy += weighted * dy
        nyy += weights[k] * dy * dy
        if curved:  # a circle bends away from its tangent by misfit / range
            bend = pull / ranges
            state[6] += bend * dy * dy
            state[7] -= bend * dx * dy
            state[8] += bend * dx * dx
    return state


def _descend(x: Array, y: Array, tapes: Tapes) -> Array:
    """Levenberg-Marquardt from one start of each point, the 2 x 2 system in closed form; see `start.descend`.

    Returns
    -------
    x, y, cost and the three entries of the normal matrix, (6, points).

    Notes
    -----
    Where residuals are large or the point is near a line of corners, Gauss-Newton creeps: what has not settled after
    some steps goes on with the exact second derivatives, wherever these have a minimum.
    """
    ended = np.empty((6, len(x)))
    left = np.arange(len(x))
    weights = 1 / tapes.s**2
    scale = weights.sum(axis=0)
    damping = np.full(len(x), 1e-6)
    state = _normals(x, y, tapes, weights, curved=False)
    for number in range(_STEPS):
        curved = number >= _PLAIN_STEPS
        if number == _PLAIN_STEPS:
            state = _normals(x, y, tapes, weights, curved=True)
        step_x, step_y = _step(state, damping * scale)
        tried = _normals(x + step_x, y + step_y, tapes, weights, curved=curved)
        better = tried[0] <= state[0] * (1 + _ROUNDING)
        x, y = np.where(better, x + step_x, x), np.where(better, y + step_y, y)
        state = tried if better.all() else np.where(better, tried, state)
        damping = np.where(better, np.maximum(damping / 10, 1e-12), np.clip(damping * 10, 1e-3, 1e6))
        busy = np.flatnonzero(np.maximum(np.abs(step_x), np.abs(step_y)) >= _SETTLED_M)
        if len(busy) < _COMPACT * len(left):
            ended[:, left] = (x, y, state[0], *state[3:6])
            if not len(busy):
                break
            left, x, y, damping, scale = left[busy], x[busy], y[busy], damping[busy], scale[busy]
            weights, state = weights[:, busy], state[:, busy]
            tapes = tapes.take(busy)
    ended[:, left] = (x, y, state[0], *state[3:6])
    return ended


def _step(state: Array, ridge: Array) -> tuple[Array, Array]:
    """Solve (N + ridge) step = -gradient, two by two."""
    _, gx, gy, nxx, nxy, nyy = state[:6]
    if len(state) > 6:
        hxx, hxy, hyy = state[3:6] + state[6:]
        bowl = (hxx + hyy > 0) & (hxx * hyy - hxy * hxy > 0)
        nxx, nxy, nyy = np.where(bowl, (hxx, hxy, hyy), state[3:6])
    nxx, nyy = nxx + ridge, nyy + ridge
    determinant = nxx * nyy - nxy * nxy
    return (nxy * gy - nyy * gx) / determinant, (nxy * gx - nxx * gy) / determinant

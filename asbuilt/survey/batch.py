"""Many at once: points whose tapes come from fixed corners, located as arrays.

The mathematics of `asbuilt.survey.start` and `asbuilt.survey.nearline`, for an office that types in its old cards.
Plane coordinates of any frame, metres; the points need not belong to one property.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from asbuilt.survey.batch_descent import Minima, Tapes, all_minima, likely_minima
from asbuilt.survey.nearline import ONE_LINE_M
from asbuilt.survey.network import AGAINST_SIDE_CHI2, CLEAR_CHI2, MEET_LIMIT, ONE_PLACE_M, TOLD_APART_CHI2
from asbuilt.survey.quality import radius_95
from asbuilt.survey.start import SAME_PLACE_M

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

CHUNK_POINTS = 16_000
"""Points of three tapes reckoned at a time: it bounds the memory, and more gain under 3 % (measured)."""

_NORMAL_95 = 1.959963984540054
_NORMAL_SQUARES = 3.0  # as in `nearline`
_RIDGE = 1e-6  # as in `start`: a place on the wall line has a singular normal matrix


class Status(IntEnum):
    """What became of a point."""

    LOCATED = 0
    OPEN_MIRROR = 1  #: two places stay possible; the cheaper one is given first, and it is no answer
    TAPES_DO_NOT_MEET = 2  #: its only two tapes miss by more than noise
    TOO_FEW_TIES = 3  #: tapes from fewer than two places


@dataclass(frozen=True, slots=True)
class ManyPlaces:
    """What locating many points gives; one row a point, NaN where there is nothing to give."""

    status: NDArray[np.int8]  #: (N,), values of `Status`
    places: Array  #: (N, 2), metres; of an open mirror the cheaper place
    covariance: Array  #: (N, 2, 2) square metres, corners taken as error-free
    r95_m: Array  #: (N,), radius that holds 95 %; only where located
    chi2: Array  #: (N,), sum of squared residuals over their standard deviations
    second_places: Array  #: (N, 2), the other minimum; only where it is worse than the best by less than CLEAR_CHI2
    second_chi2: Array  #: (N,)
    near_line: Mask  #: (N,), r95_m is that of the interval across the line of the corners, not of the ellipse
    against_side: Mask  #: (N,), located, but not on the side that was noted: the tapes outweigh it

    @property
    def located(self) -> Mask:
        """Points whose place is an answer."""
        return np.asarray(self.status == Status.LOCATED)


def locate_many(
    anchors: ArrayLike, distances: ArrayLike, sigmas: ArrayLike, sides: ArrayLike | None = None
) -> ManyPlaces:
    """Locate points from tapes to corners that are taken as error-free.

    Parameters
    ----------
    anchors
        Corners, (N, K, 2), metres; NaN where a point has fewer than K ties.
    distances, sigmas
        Horizontal taped distances and their standard deviations, (N, K), metres; read only where there is an anchor.
    sides
        (N, 3) whole numbers: 1 where the point is noted left of the line from one of its anchors to another, -1
        where right, 0 where nothing is noted; then the columns of these two anchors.

    Returns
    -------
    As `locate_point` and the rules of `asbuilt.survey.network` give them, one at a time, to 1e-6 m.

    Raises
    ------
    ValueError
        If an array has the wrong shape or a tie cannot be; the first such tie is named.

    Examples
    --------
    >>> corners = [[[0, 0], [30, 0], [np.nan, np.nan]], [[0, 0], [30, 0], [0, 40]]]
    >>> found = locate_many(corners, [[25, 25, 0], [25, 25, 25]], np.full((2, 3), 0.015))
    >>> [Status(code).name for code in found.status]
    ['OPEN_MIRROR', 'LOCATED']
    >>> found.places[1].round(6).tolist(), found.second_places[0].round(6).tolist()
    ([15.0, 20.0], [15.0, -20.0])
    """
    a, d, s, present = _checked(anchors, distances, sigmas)
    noted = _noted_sides(sides, a, present)
    many = _nothing(len(a))
    for rows, columns in _chunks(present):
        tapes = Tapes.of(a[rows[:, None], columns], d[rows[:, None], columns], s[rows[:, None], columns])
        _locate(many, rows, tapes, noted)
    return many


# -- input


def _checked(anchors: ArrayLike, distances: ArrayLike, sigmas: ArrayLike) -> tuple[Array, Array, Array, Mask]:
    """Arrays of matching shape, and which ties there are."""
    a, d, s = (np.asarray(v, dtype=float) for v in (anchors, distances, sigmas))
    if a.ndim != 3 or a.shape[2] != 2 or d.shape != a.shape[:2] or s.shape != a.shape[:2]:
        raise ValueError(
            f"anchors {a.shape}, distances {d.shape} and sigmas {s.shape} do not match; "
            "accepted are (N, K, 2), (N, K) and (N, K)"
        )
    present = ~np.isnan(a).all(axis=2)
    for name, wrong in (
        ("anchor", ~np.isfinite(a).all(axis=2)),
        ("distance", ~(np.isfinite(d) & (d > 0))),
        ("sigma", ~(np.isfinite(s) & (s > 0))),
    ):
        if (wrong & present).any():
            row, column = np.argwhere(wrong & present)[0]
            read = {"anchor": a, "distance": d, "sigma": s}[name][row, column]
            accepted = "two finite numbers, or NaN twice for no tie" if name == "anchor" else "a length above 0"
            raise ValueError(f"point {row}, tie {column}: {name} {read} m; accepted is {accepted}")
    return a, d, s, present


def _noted_sides(sides: ArrayLike | None, anchors: Array, present: Mask) -> Array:
    """Sign, start and unit direction of each point's line, (N, 5)."""
    noted = np.zeros((len(anchors), 5))
    if sides is None:
        return noted
    words = np.asarray(sides)
    if words.shape != (len(anchors), 3) or not np.isin(words[:, 0], (-1, 0, 1)).all():
        raise ValueError(f"sides {words.shape}; accepted are (N, 3) of sign -1, 0 or 1 and two columns of anchors")
    rows = np.flatnonzero(words[:, 0])
    ends = words[rows, 1:].astype(int)
    known = ((ends >= 0) & (ends < anchors.shape[1])).all(axis=1) & (ends[:, 0] != ends[:, 1])
    known[known] = present[rows[known, None], ends[known]].all(axis=1)
    if not known.all():
        bad = rows[~known][0]
        raise ValueError(f"point {bad}: side of the line {words[bad, 1:].tolist()}; accepted are two of its own ties")
    start = anchors[rows, ends[:, 0]]
    along = anchors[rows, ends[:, 1]] - start
    length = np.hypot(*along.T)
    if (length == 0).any():
        bad = rows[length == 0][0]
        raise ValueError(f"point {bad}: side of the line {words[bad, 1:].tolist()}; both of its ends are one place")
    noted[rows] = np.column_stack((words[rows, 0], start, along / length[:, None]))
    return noted


def _nothing(count: int) -> ManyPlaces:
    return ManyPlaces(
        status=np.full(count, Status.TOO_FEW_TIES, dtype=np.int8),
        places=np.full((count, 2), np.nan),
        covariance=np.full((count, 2, 2), np.nan),
        r95_m=np.full(count, np.nan),
        chi2=np.full(count, np.nan),
        second_places=np.full((count, 2), np.nan),
        second_chi2=np.full(count, np.nan),
        near_line=np.zeros(count, dtype=bool),
        against_side=np.zeros(count, dtype=bool),
    )


def _chunks(present: Mask) -> Iterator[tuple[Index, Index]]:
    """Points of one tie count at a time: their rows, and the columns of their ties."""
    counts = present.sum(axis=1)
    for ties in range(2, present.shape[1] + 1):
        every = np.flatnonzero(counts == ties)
        size = max(CHUNK_POINTS * 6 // (ties * (ties - 1)), 1)
        for begin in range(0, len(every), size):
            rows = every[begin : begin + size]
            yield rows, np.nonzero(present[rows])[1].reshape(-1, ties)


# -- one chunk


def _locate(many: ManyPlaces, rows: Index, tapes: Tapes, noted: Array) -> None:
    """Fill in the points of one chunk."""
    apart = (np.ptp(tapes.x, axis=0) > 0) | (np.ptp(tapes.y, axis=0) > 0)
    if not apart.all():
        rows, tapes = rows[apart], tapes.take(np.flatnonzero(apart))
    if tapes.ties == 2:
        gone = _miss(tapes)
        many.status[rows[gone]] = Status.TAPES_DO_NOT_MEET
        rows, tapes = rows[~gone], tapes.take(np.flatnonzero(~gone))
        _decide(many, rows, tapes, all_minima(tapes), noted)
        return
    minima, sure = likely_minima(tapes)
    quick, slow = np.flatnonzero(sure), np.flatnonzero(~sure)
    _decide(many, rows[quick], tapes.take(quick), minima.take(quick), noted)
    hard = tapes.take(slow)
    _decide(many, rows[slow], hard, all_minima(hard), noted)


def _miss(tapes: Tapes) -> Mask:
    """Tell where two tapes do not meet; see `circle_gap`."""
    apart = np.hypot(tapes.x[1] - tapes.x[0], tapes.y[1] - tapes.y[0])
    gap = np.maximum(apart - tapes.d[0] - tapes.d[1], np.abs(tapes.d[0] - tapes.d[1]) - apart)
    return np.asarray(gap > MEET_LIMIT * np.hypot(tapes.s[0], tapes.s[1]))


def _decide(many: ManyPlaces, rows: Index, tapes: Tapes, minima: Minima, noted: Array) -> None:
    """Choose among the minima as the single solution does, and write down what is known of the choice."""
    if not len(rows):
        return
    side, is_noted = noted[rows], noted[rows, 0] != 0
    cheapest = minima.cost.argmin(axis=0)
    best = minima.pick(cheapest)
    rival = _cheapest(minima, minima.away(best) >= ONE_PLACE_M)[1]
    located = is_noted | (rival - best.cost >= TOLD_APART_CHI2)
    chosen = cheapest
    if is_noted.any():
        index, cost = _cheapest(minima, _from_line(side, minima.x, minima.y) >= 0)
        chosen = np.where(cost - best.cost < AGAINST_SIDE_CHI2, index, cheapest)
        kept = minima.pick(chosen)
        # as far on the other side as it is on this one is another place only where these two are not one
        many.against_side[rows] = 2 * _from_line(side, kept.x, kept.y) < -ONE_PLACE_M
    _write(many, rows, minima, chosen, best.cost)
    many.status[rows] = np.where(located, Status.LOCATED, Status.OPEN_MIRROR)
    r95 = radius_95(many.covariance[rows])
    near, across = _across_line(tapes, many.places[rows], is_noted)
    r95[near] = across
    many.r95_m[rows] = np.where(located, r95, np.nan)
    many.near_line[rows[near]] = True


def _from_line(side: Array, x: Array, y: Array) -> Array:
    """Metres on the noted side of the line, negative beyond it; 0 where nothing is noted."""
    sign, start_x, start_y, along_x, along_y = side.T
    return np.asarray(sign * (along_x * (y - start_y) - along_y * (x - start_x)))


def _cheapest(minima: Minima, among: Mask) -> tuple[Index, Array]:
    """Index and cost of the cheapest minimum among some; infinite where there is none."""
    cost = np.where(among, minima.cost, np.inf)
    return cost.argmin(axis=0), cost.min(axis=0)


def _write(many: ManyPlaces, rows: Index, minima: Minima, chosen: Index, best_cost: Array) -> None:
    """Write the chosen place with its covariance, and the cheapest other one."""
    kept = minima.pick(chosen)
    many.places[rows, 0], many.places[rows, 1], many.chi2[rows] = kept.x, kept.y, kept.cost
    nxx, nyy = kept.nxx + _RIDGE, kept.nyy + _RIDGE
    determinant = nxx * nyy - kept.nxy**2
    inverse = np.array([[nyy, -kept.nxy], [-kept.nxy, nxx]]) / determinant
    many.covariance[rows] = np.moveaxis(inverse, 2, 0)
    index, cost = _cheapest(minima, minima.away(kept) > SAME_PLACE_M)
    seen = cost - best_cost < CLEAR_CHI2
    other = minima.pick(index)
    for target, value in ((many.second_places[:, 0], other.x), (many.second_places[:, 1], other.y)):
        target[rows] = np.where(seen, value, np.nan)
    many.second_chi2[rows] = np.where(seen, cost, np.nan)


# -- near the line of the corners


def _across_line(tapes: Tapes, places: Array, sided: Mask) -> tuple[Index, Array]:
    """Points too near the line of their corners for an ellipse, and their 95 % radii; see `across_line`."""
    line = np.flatnonzero(_off_line(tapes) <= ONE_LINE_M)
    t, place, sided = tapes.take(line), places[line], sided[line]
    cx, cy = t.x.mean(axis=0), t.y.mean(axis=0)
    dx, dy = t.x - cx, t.y - cy
    angle = 0.5 * np.arctan2(2 * (dx * dy).sum(axis=0), (dx**2 - dy**2).sum(axis=0))
    ux, uy = np.cos(angle), np.sin(angle)
    s, weight = dx * ux + dy * uy, (0.5 / (t.d * t.s)) ** 2
    observed = t.d**2 - s**2  # = -2 s x + q
    a, b, c = (4 * s**2 * weight).sum(axis=0), (-2 * s * weight).sum(axis=0), weight.sum(axis=0)
    f, g = (-2 * s * weight * observed).sum(axis=0), (weight * observed).sum(axis=0)
    determinant = a * c - b**2
    x, q = (c * f - b * g) / determinant, (a * g - b * f) / determinant
    h2 = q - x**2
    spread = np.sqrt((4 * x**2 * c + 4 * x * b + a) / determinant)
    along = np.sqrt(c / determinant)
    distance = np.abs((place[:, 0] - cx) * uy - (place[:, 1] - cy) * ux)
    low, high = (np.sqrt(np.maximum(0.0, h2 + z * spread)) for z in (-_NORMAL_95, _NORMAL_95))
    high = np.maximum(high, distance)
    worst = np.where(sided, np.maximum(distance - low, high - distance), distance + high)
    near = h2 < _NORMAL_SQUARES * spread
    return line[near], np.asarray(np.hypot(worst, _NORMAL_95 * along)[near])


def _off_line(tapes: Tapes) -> Array:
    """Largest distance of any corner from the line through the two that lie farthest apart; see `off_line_m`."""
    most = np.zeros(tapes.points)
    if tapes.ties == 2:
        return most
    off = np.zeros(tapes.points)
    for i in range(tapes.ties):
        for j in range(i + 1, tapes.ties):
            dx, dy = tapes.x[j] - tapes.x[i], tapes.y[j] - tapes.y[i]
            length2 = dx**2 + dy**2
            areas = np.abs((tapes.x - tapes.x[i]) * dy - (tapes.y - tapes.y[i]) * dx).max(axis=0)
            wider = length2 > most
            off = np.where(wider, areas / np.sqrt(np.maximum(length2, 1e-300)), off)
            most = np.maximum(most, length2)
    return off

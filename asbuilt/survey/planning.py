"""Which tape to pull next: what one more would make of a point's 95 % radius and of its worst unnoticed shift.

Rank-one update of the joint covariance (Sherman & Morrison 1950, Ann. Math. Statist. 21(1):124-127), so the corners'
own uncertainty counts. Datum frame, metres.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from asbuilt.survey.checking import BEARS_ON_IT_M, NOTICEABLE_M
from asbuilt.survey.joint import Joint
from asbuilt.survey.nearline import ONE_LINE_M, off_line_m
from asbuilt.survey.observations import Sigmas
from asbuilt.survey.quality import DELTA_0, radius_95

Array = NDArray[np.float64]

NEARLY_AS_SAFE = 1.25
"""A tape whose worst unnoticed shift is within this factor of the least is as safe; then radius decides (ours)."""

SAFE_ENOUGH_M = 0.15
"""A worst unnoticed shift below this needs no better: half of the half-foot that record drawings ask for (ours)."""

_NO_REDUNDANCY = 1e-6
_NO_SHIFT = 1e-6


@dataclass(frozen=True, slots=True)
class NextTape:
    """What one more tape would do for a point."""

    reference: str
    distance_m: float  #: how long the tape will be
    r95_m: float  #: 95 % radius with it
    unnoticed_m: float  #: shift by the worst blunder that could then pass unnoticed; infinite = unlimited
    off_line_m: float  #: how far the reference points then lie off one line
    misread_m: float  #: largest misreading of one of the point's tapes that could then pass; infinite = any

    @property
    def shows_misreading(self) -> bool:
        """Tell whether a misread tape of the point would then show, as *checked* means it."""
        return self.misread_m <= NOTICEABLE_M and self.off_line_m > ONE_LINE_M

    @property
    def checks(self) -> bool:
        """Tell whether the point is then checked against a mirror and against blunders of any size."""
        return math.isfinite(self.unnoticed_m) and self.off_line_m > ONE_LINE_M


@dataclass(frozen=True, slots=True)
class Choice:
    """Some reference points to tape a place from, before anything is measured."""

    references: tuple[str, ...]
    r95_m: float
    unnoticed_m: float  #: infinite with two
    crossing_deg: float  #: sharpest crossing, 0 to 90
    off_line_m: float


def next_tapes(joint: Joint, point: str, visible: Iterable[str] | None = None) -> list[NextTape]:
    """Rank the reference points by what a tape from each would do for a located point, best first.

    Parameters
    ----------
    point
        A point or reference point that has a place.
    visible
        Reference points that can be seen; None = all that are still there.

    Returns
    -------
    Those that make the point checkable stand first; among those that are nearly as safe the smallest radius wins.

    Raises
    ------
    KeyError
        If the point, or a visible reference point, is not known or has no place.
    """
    return Planner(joint).next_tapes(point, visible)


class Planner:
    """Plans more tapes for the points of one joint solution; see `next_tapes`."""

    def __init__(self, joint: Joint) -> None:
        if joint.fit is None:
            raise KeyError("nothing is placed")
        self._joint = joint
        self._spread = joint.fit.jacobian @ joint.fit.covariance  # (rows, 2n)
        self._sigmas = Sigmas(joint.record, joint.observations.walks)

    def next_tapes(self, point: str, visible: Iterable[str] | None = None) -> list[NextTape]:
        """Rank the reference points for a located point, best first."""
        node = _placed(self._joint, point)
        update = _Update(self._joint, node, self._spread, self._sigmas)
        taped = {tape.far(node) for tape in self._joint.tapes(node)}
        candidates = [n for n in _standing(self._joint, visible) if n != node and n not in taped]
        return rank([update.with_tape(n) for n in candidates])


def rank(tapes: Sequence[NextTape]) -> list[NextTape]:
    """Order tapes: checkable and nearly as safe as the safest first, the smallest radius among them."""
    if not tapes:
        return []
    checking = [tape for tape in tapes if tape.checks] or list(tapes)
    least = max(SAFE_ENOUGH_M, NEARLY_AS_SAFE * min(tape.unnoticed_m for tape in checking))
    safe = [tape for tape in checking if tape.unnoticed_m <= least]
    rest = [tape for tape in tapes if tape not in safe]
    return sorted(safe, key=lambda t: t.r95_m) + sorted(rest, key=lambda t: (t.unnoticed_m, t.r95_m))


def choices(joint: Joint, place: Array, count: int, visible: Iterable[str] | None = None) -> list[Choice]:
    """Rank every lot of two or three reference points for taping a rough place, best first.

    Parameters
    ----------
    place
        Rough place, (2,), datum frame, metres.
    count
        How many tapes: two or more.
    """
    nodes = _standing(joint, visible)
    sigmas = Sigmas(joint.record, joint.observations.walks)
    found = [_choice(joint, place, lot, sigmas) for lot in combinations(nodes, count)]
    if count < 3:
        return sorted(found, key=lambda c: c.r95_m)
    checking = [c for c in found if c.off_line_m > ONE_LINE_M] or found
    least = max(SAFE_ENOUGH_M, NEARLY_AS_SAFE * min((c.unnoticed_m for c in checking), default=0.0))
    safe = [c for c in checking if c.unnoticed_m <= least]
    rest = [c for c in found if c not in safe]
    return sorted(safe, key=lambda c: c.r95_m) + sorted(rest, key=lambda c: (c.unnoticed_m, c.r95_m))


def _placed(joint: Joint, name: str) -> int:
    node = joint.observations.index[name]
    if node not in joint.network.places:
        raise KeyError(name)
    return node


def _standing(joint: Joint, visible: Iterable[str] | None) -> list[int]:
    """Nodes of the reference points that are still there, or of those of them that the user lists."""
    gone = {r.name for r in joint.record.reference_points if r.gone_on is not None}
    if visible is not None:
        return [_placed(joint, name) for name in visible if name not in gone]
    names = joint.observations.names[: joint.observations.references]
    return [n for n, name in enumerate(names) if n in joint.network.places and name not in gone]


class _Update:
    """The joint solution with one more distance to one node."""

    def __init__(self, joint: Joint, node: int, spread: Array, sigmas: Sigmas) -> None:
        assert joint.fit is not None  # noqa: S101 - the node has a place
        self._joint, self._node, self._fit = joint, node, joint.fit
        self._rows = len(joint.used.distances)
        self._spread, self._sigmas = spread, sigmas

    def with_tape(self, anchor: int) -> NextTape:
        """Say what a level tape from `anchor` would do."""
        fit, node = self._fit, self._node
        delta = fit.places[node] - fit.places[anchor]
        metres = float(np.hypot(*delta))
        row = np.zeros(fit.covariance.shape[0])
        row[2 * node : 2 * node + 2] = delta / metres
        row[2 * anchor : 2 * anchor + 2] = -delta / metres
        names = self._joint.observations.names
        sigma = self._sigmas.planned(metres, names[anchor], names[node])
        pull = fit.covariance @ row
        total = sigma**2 + float(row @ pull)
        own = pull[2 * node : 2 * node + 2]
        covariance = fit.block(node) - np.outer(own, own) / total
        walls = [end for offset in self._joint.used.offsets if offset.p == node for end in (offset.a, offset.b)]
        anchors = [*walls, *(tape.far(node) for tape in self._joint.tapes(node))]
        return NextTape(
            self._joint.observations.names[anchor],
            metres,
            float(radius_95(covariance)),
            self._unnoticed(pull, total, sigma),
            off_line_m(fit.places[[*anchors, anchor]]),
            self._misread_m(pull, total, sigma),
        )

    def _misread_m(self, pull: Array, total: float, sigma: float) -> float:
        """Largest misreading that could pass in one of the node's own measurements, the new tape among them."""
        node, fit = slice(2 * self._node, 2 * self._node + 2), self._fit
        own = [row for row, equation in enumerate(self._joint.used.distances) if self._node in equation.nodes]
        felt = fit.jacobian[own] @ pull
        moves = self._spread[own, node] - np.outer(felt, pull[node]) / total  # by one standard deviation
        bearing = np.hypot(*moves.T) * NOTICEABLE_M / fit.sigma[own] > BEARS_ON_IT_M
        redundancy = np.append((fit.redundancy[own] + felt**2 / total)[bearing], sigma**2 / total)
        if (redundancy < _NO_REDUNDANCY).any():
            return math.inf
        return float((DELTA_0 * np.append(fit.sigma[own][bearing], sigma) / np.sqrt(redundancy)).max())

    def _unnoticed(self, pull: Array, total: float, sigma: float) -> float:
        """Worst shift of the node by a blunder that could pass unnoticed, the new tape among them."""
        node, fit = slice(2 * self._node, 2 * self._node + 2), self._fit
        felt = fit.jacobian @ pull
        redundancy = fit.redundancy + felt**2 / total
        moves = self._spread[:, node] - np.outer(felt, pull[node]) / total
        moves = moves[: self._rows]
        redundancy = np.append(redundancy[: self._rows], sigma**2 / total)
        shifts = np.append(np.hypot(moves[:, 0], moves[:, 1]), np.hypot(*pull[node]) * sigma / total)
        moving = shifts > _NO_SHIFT
        if (redundancy[moving] < _NO_REDUNDANCY).any():
            return math.inf
        return float((shifts[moving] * DELTA_0 / np.sqrt(redundancy[moving])).max(initial=0.0))


def _choice(joint: Joint, place: Array, lot: Sequence[int], sigmas: Sigmas) -> Choice:
    """Judge one lot of reference points for a rough place."""
    assert joint.fit is not None  # noqa: S101 - they have places
    anchors = joint.fit.places[list(lot)]
    delta = place - anchors
    metres = np.hypot(*delta.T)
    rays = delta / metres[:, None]
    names = joint.observations.names
    tapes = np.array([sigmas.planned(float(m), names[n]) for m, n in zip(metres, lot, strict=True)])
    # the corners' own uncertainty along each ray, with what they have in common
    between = np.array(
        [
            [a @ joint.fit.block(i, j) @ b for j, b in zip(lot, rays, strict=True)]
            for i, a in zip(lot, rays, strict=True)
        ]
    )
    weight = np.linalg.inv(np.diag(tapes**2) + between)
    normal = rays.T @ weight @ rays
    covariance = np.linalg.inv(normal + 1e-6 * np.eye(2))
    return Choice(
        tuple(joint.observations.names[n] for n in lot),
        float(radius_95(covariance)),
        _unnoticed_of(rays, weight, covariance),
        _sharpest_deg(rays),
        off_line_m(anchors),
    )


def _unnoticed_of(rays: Array, weight: Array, covariance: Array) -> float:
    """Worst unnoticed shift of a place held by these tapes alone."""
    if len(rays) < 3:
        return math.inf
    gain = covariance @ rays.T @ weight  # (2, n): shift by a metre in each tape
    checked = weight - weight @ rays @ gain
    noticed = DELTA_0 / np.sqrt(np.maximum(np.diag(checked), 1e-12))
    return float((np.hypot(*gain) * noticed).max())


def _sharpest_deg(rays: Array) -> float:
    sines = np.abs(rays[:, None, 0] * rays[:, 1] - rays[:, None, 1] * rays[:, 0])
    return float(np.degrees(np.arcsin(min(1.0, sines.max()))))

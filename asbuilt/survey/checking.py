"""Is a point checked? What a misread tape would do to it, and whether it would be noticed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asbuilt.survey.adjust import Adjustment
from asbuilt.survey.nearline import ONE_LINE_M, off_line_m
from asbuilt.survey.observations import Observations
from asbuilt.survey.quality import DELTA_0
from asbuilt.units import FOOT_M

Array = NDArray[np.float64]

NOTICEABLE_M = FOOT_M
"""A misreading of this size must be noticed for a point to count as checked."""

BEARS_ON_IT_M = 0.0254
"""A tape bears on a point where a misreading of a foot would move it by more than this, an inch (our own)."""

_NO_REDUNDANCY = 1e-6
_NO_SHIFT = 1e-6


@dataclass(frozen=True, slots=True)
class Check:
    """What can be said of one node's tapes."""

    because: str | None  #: why it is unchecked; None = checked
    unnoticed_m: float | None  #: shift by the worst blunder that could pass unnoticed; None = unlimited


class Checker:
    """Smallest blunder that would be noticed, for every tape of a solution, and what it would do.

    A blunder in equation i is noticed by the 0.1 % test with 80 % power from delta0 * sigma_i / sqrt(r_i) up, r_i
    being the redundancy number (Baarda 1968, Netherlands Geodetic Commission, Publ. on Geodesy 2(5)).
    """

    def __init__(self, observations: Observations, fit: Adjustment) -> None:
        self._observations = observations
        self._fit = fit
        free = fit.redundancy < _NO_REDUNDANCY
        with np.errstate(divide="ignore"):
            self.noticed = np.where(free, np.inf, DELTA_0 / np.sqrt(fit.redundancy))  # in standard deviations
        count = len(observations.distances)
        moves = (fit.covariance @ fit.jacobian[:count].T).reshape(len(fit.places), 2, count)
        self._moves = np.hypot(moves[:, 0], moves[:, 1])  # (nodes, distances): shift by one standard deviation
        self._rows: dict[int, list[int]] = {}
        for row, distance in enumerate(observations.distances):
            for node in distance.nodes:
                self._rows.setdefault(node, []).append(row)
        self._offset_rows: dict[int, list[int]] = {}
        first = count + len(observations.turns)
        for k, offset in enumerate(observations.offsets):
            rows = [first + k, first + len(observations.offsets) + k]
            self._offset_rows.setdefault(offset.p, []).extend(rows)

    def check(self, node: int) -> Check:
        """Judge one node that has a place."""
        return Check("; ".join(self._reasons(node)) or None, self._unnoticed(node))

    def own_ties(self, node: int) -> list[int]:
        """Rows of the node's taped distances, walls included."""
        return self._rows.get(node, [])

    def anchors(self, node: int) -> list[int]:
        """List what the node was measured from: other ends of its tapes, ends of the walls of its offsets."""
        ties = [self._observations.distances[row].far(node) for row in self.own_ties(node)]
        walls = [end for o in self._observations.offsets if o.p == node for end in (o.a, o.b)]
        return list(dict.fromkeys(ties + walls))

    def _unnoticed(self, node: int) -> float | None:
        moves = self._moves[node]
        felt = moves > _NO_SHIFT
        worst = float((moves[felt] * self.noticed[: len(moves)][felt]).max(initial=0.0))
        return worst if np.isfinite(worst) else None

    def _reasons(self, node: int) -> list[str]:
        rows = self.own_ties(node)
        anchors = self.anchors(node)
        reasons = []
        hidden = self._hidden_misreadings(node)
        if len(rows) + len(self._offset_rows.get(node, [])) <= 2 and hidden:
            reasons.append("only two measurements: a misread tape would not show")
        elif hidden:
            reasons.append(f"a misreading of 1 ft would not show in the tape from {' or '.join(hidden)}")
        if off_line_m(self._fit.places[anchors]) <= ONE_LINE_M:
            reasons.append("what it was measured from lies on one line")
        distances = [self._observations.distances[row] for row in rows]
        if any(d.drop_effect_m >= d.tape_sigma_m / 2 for d in distances):
            reasons.append("it is not noted whether the tape was level or how far it dropped")
        return reasons

    def _bears_on(self, row: int, node: int) -> bool:
        """Tell whether a tape helps to place the node; one that only hangs something else on it does not."""
        return bool(self._moves[node, row] * NOTICEABLE_M / self._fit.sigma[row] > BEARS_ON_IT_M)

    def _hidden_misreadings(self, node: int) -> list[str]:
        """Other ends of those measurements in which a foot would pass unnoticed."""
        hidden = [
            self._observations.names[self._observations.distances[row].far(node)]
            for row in self.own_ties(node)
            if self.noticed[row] * self._fit.sigma[row] > NOTICEABLE_M and self._bears_on(row, node)
        ]
        for row in self._offset_rows.get(node, []):
            if self.noticed[row] * self._fit.sigma[row] > NOTICEABLE_M:
                hidden.append("the wall line")
        return list(dict.fromkeys(hidden))

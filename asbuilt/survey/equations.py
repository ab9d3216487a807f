"""The equations of one property as arrays: residuals and their derivatives, all rows at once."""

import numpy as np
from numpy.typing import NDArray

from asbuilt.survey.observations import Observations

Array = NDArray[np.float64]


class Equations:
    """Residuals (computed - observed) and Jacobian of a set of observations.

    Rows: distances, then turns, then along and out of the offsets. Unknowns: x0, y0, x1, y1, ... of the nodes in
    their numbering. Everything in standard deviations: each row is divided by its own.
    """

    def __init__(self, observations: Observations) -> None:
        d, t, o = observations.distances, observations.turns, observations.offsets
        self.nodes = len(observations.names)
        self._ends = np.array([(e.i, e.j) for e in d], dtype=int).reshape(-1, 2)
        self._bend = np.array([(e.i, e.j, e.k) for e in t], dtype=int).reshape(-1, 3)
        self._wall = np.array([(e.a, e.b, e.p) for e in o], dtype=int).reshape(-1, 3)
        self._metres = np.array([e.metres for e in d])
        self._radians = np.array([e.radians for e in t])
        self._along = np.array([e.along_m for e in o])
        self._left = np.array([e.left_m for e in o])
        self.sigma = np.array(
            [e.sigma_m for e in d]
            + [e.sigma_rad for e in t]
            + [e.along_sigma_m for e in o]
            + [e.left_sigma_m for e in o]
        )
        self.rows = len(self.sigma)

    def residuals(self, places: Array) -> Array:
        """Give computed minus observed over standard deviation, (rows,); `places` (nodes, 2), metres."""
        _, lengths = self._rays(places, self._ends)
        parts = [lengths - self._metres]
        if len(self._bend):
            into, out = self._heading(places, 0, 1), self._heading(places, 1, 2)
            parts.append(_half_turn(out - into - self._radians))
        if len(self._wall):
            along, left, *_ = self._offsets(places)
            parts += [along - self._along, left - self._left]
        return np.asarray(np.concatenate(parts) / self.sigma)

    def jacobian(self, places: Array) -> Array:
        """Give the derivatives of `residuals`, (rows, 2 * nodes)."""
        matrix = np.zeros((self.rows, self.nodes, 2))
        rows = np.arange(len(self._ends))
        rays, _ = self._rays(places, self._ends)
        matrix[rows, self._ends[:, 1]] += rays
        matrix[rows, self._ends[:, 0]] -= rays
        start = len(rows)
        if len(self._bend):
            self._turn_rows(places, matrix, start)
            start += len(self._bend)
        if len(self._wall):
            self._offset_rows(places, matrix, start)
        return np.asarray(matrix.reshape(self.rows, -1) / self.sigma[:, None])

    def bend(self, places: Array, residuals: Array) -> Array:
        """Give what the bend of the circles adds to the normal matrix, (2 * nodes, 2 * nodes).

        Second derivatives of the distances, which alone matter, times their residuals; turns and offsets are as good
        as straight.
        """
        rays, lengths = self._rays(places, self._ends)
        rows = np.arange(len(lengths))
        across = np.zeros((len(rows), self.nodes, 2))
        square = np.column_stack((-rays[:, 1], rays[:, 0]))
        across[rows, self._ends[:, 1]] += square
        across[rows, self._ends[:, 0]] -= square
        flat = across.reshape(len(rows), -1)
        pull = residuals[: len(rows)] / (self.sigma[: len(rows)] * lengths)
        return np.asarray((flat * pull[:, None]).T @ flat)

    def _rays(self, places: Array, ends: NDArray[np.int_]) -> tuple[Array, Array]:
        delta = places[ends[:, 1]] - places[ends[:, 0]]
        lengths = np.maximum(np.hypot(delta[:, 0], delta[:, 1]), 1e-9)
        return delta / lengths[:, None], lengths

    def _heading(self, places: Array, a: int, b: int) -> Array:
        delta = places[self._bend[:, b]] - places[self._bend[:, a]]
        return np.asarray(np.arctan2(delta[:, 1], delta[:, 0]))

    def _turn_rows(self, places: Array, matrix: Array, start: int) -> None:
        rows = start + np.arange(len(self._bend))
        for a, b, sign in ((1, 2, 1.0), (0, 1, -1.0)):  # d(heading)/d(end) = left normal / length
            rays, lengths = self._rays(places, self._bend[:, [a, b]])
            swing = sign * np.column_stack((-rays[:, 1], rays[:, 0])) / lengths[:, None]
            matrix[rows, self._bend[:, b]] += swing
            matrix[rows, self._bend[:, a]] -= swing

    def _offsets(self, places: Array) -> tuple[Array, Array, Array, Array, Array]:
        u, lengths = self._rays(places, self._wall[:, :2])
        n = np.column_stack((-u[:, 1], u[:, 0]))
        reach = places[self._wall[:, 2]] - places[self._wall[:, 0]]
        return (reach * u).sum(axis=1), (reach * n).sum(axis=1), u, n, lengths

    def _offset_rows(self, places: Array, matrix: Array, start: int) -> None:
        along, left, u, n, lengths = self._offsets(places)
        a, b, p = self._wall.T
        rows = start + np.arange(len(a))
        # turning the wall by n/length moves `along` by +left and `left` by -along
        for block, move, swing in ((rows, u, left), (rows + len(a), n, -along)):
            turn = n * (swing / lengths)[:, None]
            matrix[block, p] += move
            matrix[block, a] -= move + turn
            matrix[block, b] += turn


def _half_turn(angle: Array) -> Array:
    """Bring angles to -pi..pi."""
    return (angle + np.pi) % (2 * np.pi) - np.pi

"""Many joint adjustments at once: rows of all networks side by side, normal matrices of like size in one stack."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asbuilt.survey.adjust import _RIDGE, _SETTLED_M, _STEPS, Adjustment, Datum, _unknowns, to_datum
from asbuilt.survey.equations import Equations
from asbuilt.survey.observations import Observations

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_STACK_NUMBERS = 1_000_000  # 8 MB a stack of normal matrices
_FEW = 0.3  # share of unsettled networks that go on in a stack of their own
_PLAIN_STEPS = 8  # networks without a point on the line of its corners settle in four to seven


@dataclass(frozen=True, slots=True)
class Wanted:
    """One joint adjustment to be made: the arguments of `adjust`."""

    observations: Observations
    places: Array
    datum: Datum


def adjust_many(wanted: Sequence[Wanted]) -> list[Adjustment]:
    """Make many joint adjustments.

    Returns
    -------
    What `adjust` gives for each, places to 1e-6 m; the steps and their damping are the same, network by network.
    """
    networks = [_Network(one) for one in wanted]
    fits: list[Adjustment | None] = [None] * len(networks)
    for stack in _stacks(networks):
        for number, fit in zip(stack, _Stack([networks[n] for n in stack]).adjust(), strict=True):
            fits[number] = fit
    return [fit for fit in fits if fit is not None]


class _Network:
    """One network before it is solved."""

    def __init__(self, wanted: Wanted) -> None:
        self.equations = Equations(wanted.observations)
        before = len(wanted.observations.distances)
        self.rings = [[before + turn for turn in ring] for ring in wanted.observations.rings()]  # their rows
        self.start = to_datum(wanted.places, wanted.datum)
        absent = np.isnan(self.start[:, 0])
        self.used = np.flatnonzero(~absent)
        self.start[absent] = 0.0
        free, merge = _unknowns(self.used, wanted.datum)
        self.unknowns = len(free)
        self.column = np.full(2 * len(self.start), -1)  # unknown of each coordinate; -1 = held
        self.column[free] = np.arange(len(free))
        if merge is not None:
            self.column[merge[1]] = self.column[merge[0]]


def _stacks(networks: Sequence[_Network]) -> Iterator[list[int]]:
    """Networks of like size together, so that little is filled up, and so many that the memory stays bounded."""
    stack: list[int] = []
    for number in sorted(range(len(networks)), key=lambda n: networks[n].unknowns):
        size = networks[number].unknowns
        if stack and (
            size > 1.2 * networks[stack[0]].unknowns + 4 or (len(stack) + 1) * (size + 1) ** 2 > _STACK_NUMBERS
        ):
            yield stack
            stack = []
        stack.append(number)
    if stack:
        yield stack


@dataclass(frozen=True, slots=True)
class _Rows:
    """Equations that bind equally many nodes."""

    rows: Index  #: (r,), among all rows
    coordinates: Index  #: (r, c), among all coordinates: those that the equation binds


class _SideBySide(Equations):
    """The equations of several networks as one set of rows, each with few derivatives."""

    def __init__(self, parts: Sequence[Equations]) -> None:
        first = np.cumsum([0, *(part.nodes for part in parts)])
        self.nodes = int(first[-1])
        self._ends, self._bend, self._wall = (
            np.concatenate([getattr(part, name) + at for part, at in zip(parts, first, strict=False)])
            for name in ("_ends", "_bend", "_wall")
        )
        self._metres, self._radians, self._along, self._left = (
            np.concatenate([getattr(part, name) for part in parts])
            for name in ("_metres", "_radians", "_along", "_left")
        )
        counts = np.array([(len(p._ends), len(p._bend), len(p._wall), len(p._wall)) for p in parts])
        self.owner = np.concatenate([np.repeat(np.arange(len(parts)), kind) for kind in counts.T])
        self.order = np.argsort(self.owner, kind="stable")  # rows network by network, each in its own order
        self.sigma = np.empty(len(self.owner))
        self.sigma[self.order] = np.concatenate([part.sigma for part in parts])
        self.rows = len(self.owner)
        first_rows = np.cumsum([0, *counts.sum(axis=0)])
        nodes = (self._ends, self._bend, self._wall, self._wall)
        self.blocks = [_rows(at, bound) for at, bound in zip(first_rows, nodes, strict=False)]

    def derivatives(self, places: Array) -> list[Array]:
        """Give what `jacobian` gives, without the zeros: (r, c) for each of the blocks."""
        rays, _ = self._rays(places, self._ends)
        values = [np.stack((-rays, rays), axis=1), self._turn_values(places), *self._offset_values(places)]
        return [
            v.reshape(block.coordinates.shape) / self.sigma[block.rows, None]
            for v, block in zip(values, self.blocks, strict=True)
        ]

    def bends(self, places: Array, residuals: Array) -> Array:
        """Give what the bend of the circles adds to the normal matrix, (r, c, c) for the first block: the distances."""
        rays, lengths = self._rays(places, self._ends)
        square = np.column_stack((rays[:, 1], -rays[:, 0], -rays[:, 1], rays[:, 0]))
        rows = self.blocks[0].rows
        pull = residuals[rows] / (self.sigma[rows] * lengths)
        return np.asarray(pull[:, None, None] * square[:, :, None] * square[:, None, :])

    def _turn_values(self, places: Array) -> Array:
        into, before = self._rays(places, self._bend[:, [0, 1]])
        out, after = self._rays(places, self._bend[:, [1, 2]])
        swing_in = np.column_stack((-into[:, 1], into[:, 0])) / before[:, None]
        swing_out = np.column_stack((-out[:, 1], out[:, 0])) / after[:, None]
        return np.stack((swing_in, -swing_in - swing_out, swing_out), axis=1)

    def _offset_values(self, places: Array) -> list[Array]:
        along, left, u, n, lengths = self._offsets(places)
        turned = (n * (swing / lengths)[:, None] for swing in (left, -along))
        return [np.stack((-move - turn, turn, move), axis=1) for move, turn in zip((u, n), turned, strict=True)]


def _rows(first: int, nodes: Index) -> _Rows:
    coordinates = (2 * nodes[:, :, None] + np.arange(2)).reshape(len(nodes), 2 * nodes.shape[1])
    return _Rows(np.arange(first, first + len(nodes)), coordinates)


class _Stack:
    """Networks of like size that are solved together."""

    def __init__(self, networks: Sequence[_Network]) -> None:
        self.networks = networks
        self.side = _SideBySide([n.equations for n in networks])
        self.size = max(n.unknowns for n in networks) + 1  # the last column gathers what is held
        column = np.concatenate([n.column for n in networks])
        self.column = np.where(column < 0, self.size - 1, column)
        self.home = np.repeat(np.arange(len(networks)), [len(n.start) for n in networks])  # of each node
        self.unused = np.arange(self.size) >= np.array([n.unknowns for n in networks])[:, None]
        cells = [
            (self.side.owner[b.rows][:, None] * self.size + self.column[b.coordinates], self.column[b.coordinates])
            for b in self.side.blocks
        ]
        self._in_gradient = np.concatenate([own.ravel() for own, _ in cells])
        self._in_normal = np.concatenate([(own[:, :, None] * self.size + c[:, None]).ravel() for own, c in cells])

    def adjust(self) -> list[Adjustment]:
        """Descend, then take the covariance where the descent ended."""
        start = np.concatenate([n.start for n in self.networks])
        places = self._descend(start, np.full(len(self.networks), 1e-6), _STEPS)
        derivatives = self.side.derivatives(places)
        normal = self._normal(derivatives)
        diagonal = np.arange(self.size)
        normal[:, diagonal, diagonal] += np.where(self.unused, 1.0, _RIDGE)
        inverse = np.asarray(np.linalg.inv(normal), dtype=float)
        inverse[self.unused] = 0.0  # what is held does not move
        return self._parted(places, derivatives, inverse)

    def _descend(self, x: Array, damping: Array, rounds: int) -> Array:
        """Step as `adjust` does, each network with its own damping, until all have settled or the rounds are over.

        On the line of its corners nothing but the bend of the circles holds a point across, and Gauss-Newton never
        settles: what is left after some steps goes on with the exact second derivatives of the distances.
        """
        side, diagonal = self.side, np.arange(self.size)
        residuals = side.residuals(x)
        cost = self._costs(residuals)
        busy = np.ones(len(damping), dtype=bool)
        while busy.mean() > _FEW and rounds:
            rounds -= 1
            derivatives = side.derivatives(x)
            normal, gradient = self._normal(derivatives), self._gradient(derivatives, residuals)
            if rounds < _STEPS - _PLAIN_STEPS:
                normal = self._bent(normal, side.bends(x, residuals))
            ridge = damping[:, None] * (normal[:, diagonal, diagonal] + 1e-9)
            normal[:, diagonal, diagonal] += np.where(self.unused, 1.0, ridge)
            step = np.zeros(gradient.shape)
            step[busy] = -np.linalg.solve(normal[busy], gradient[busy, :, None])[..., 0]
            moved = x + step.ravel()[self._of_coordinates].reshape(-1, 2)
            tried = side.residuals(moved)
            tried_cost = self._costs(tried)
            settled = np.abs(step).max(axis=1) < _SETTLED_M
            taken = busy & ((tried_cost <= cost) | settled)
            x = np.where(taken[self.home, None], moved, x)
            residuals = np.where(taken[side.owner], tried, residuals)
            cost = np.where(taken, tried_cost, cost)
            damping = np.where(taken, np.maximum(damping / 10, 1e-9), np.maximum(damping * 10, 1e-4))
            busy &= ~(taken & settled)
        return self._go_on(x, damping, busy, rounds) if busy.any() and rounds else x

    @property
    def _of_coordinates(self) -> Index:
        return np.asarray(np.repeat(self.home, 2) * self.size + self.column)

    def _go_on(self, x: Array, damping: Array, busy: NDArray[np.bool_], rounds: int) -> Array:
        """Let the few networks that have not settled go on by themselves."""
        mine = busy[self.home]
        few = _Stack([network for network, is_busy in zip(self.networks, busy, strict=True) if is_busy])
        x[mine] = few._descend(x[mine], damping[busy], rounds)
        return x

    def _costs(self, residuals: Array) -> Array:
        return np.asarray(np.bincount(self.side.owner, residuals**2, len(self.networks)), dtype=float)

    def _normal(self, derivatives: Sequence[Array]) -> Array:
        """Sum the normal matrices, (networks, size, size); the row and column of what is held stay zero."""
        products = np.concatenate([(v[:, :, None] * v[:, None, :]).ravel() for v in derivatives])
        total = np.bincount(self._in_normal, products, len(self.networks) * self.size**2)
        normal = np.asarray(total, dtype=float).reshape(-1, self.size, self.size)
        normal[:, -1, :] = normal[:, :, -1] = 0.0
        return normal

    def _bent(self, normal: Array, bends: Array) -> Array:
        """Add the bends, where the sum is that of a minimum."""
        total = np.bincount(self._in_normal[: bends.size], bends.ravel(), normal.size)
        exact = normal + np.asarray(total, dtype=float).reshape(normal.shape)
        exact[:, -1, :] = exact[:, :, -1] = 0.0
        filled = exact + self.unused[:, :, None] * np.eye(self.size)
        bowl = np.linalg.eigvalsh(filled)[:, 0] > 0
        return np.where(bowl[:, None, None], exact, normal)

    def _gradient(self, derivatives: Sequence[Array], residuals: Array) -> Array:
        pulls = [v * residuals[b.rows, None] for v, b in zip(derivatives, self.side.blocks, strict=True)]
        pull = np.concatenate([p.ravel() for p in pulls])
        total = np.bincount(self._in_gradient, pull, len(self.networks) * self.size)
        gradient = np.asarray(total, dtype=float).reshape(-1, self.size)
        gradient[:, -1] = 0.0
        return gradient

    def _parted(self, places: Array, derivatives: Sequence[Array], inverse: Array) -> list[Adjustment]:
        """Give each network its own part."""
        side, order = self.side, self.side.order
        residuals, sigma = side.residuals(places)[order], side.sigma[order]
        redundancy = self._redundancy(derivatives, inverse)[order]
        marks = np.arange(len(self.networks) + 1)
        first_row, first_node = np.searchsorted(side.owner[order], marks), np.searchsorted(self.home, marks)
        jacobians = self._jacobians(derivatives, first_row, first_node)
        fits = []
        for number, network in enumerate(self.networks):
            rows, nodes = (slice(*first[number : number + 2]) for first in (first_row, first_node))
            column = self.column[2 * nodes.start : 2 * nodes.stop]
            place = np.full_like(network.start, np.nan)
            place[network.used] = places[nodes][network.used]
            covariance = inverse[number][np.ix_(column, column)]
            own = redundancy[rows].copy()
            for ring in network.rings:  # as in `adjust`: they sum to a full turn, which is no check of any
                own[ring] -= 1 / len(ring)
            parts = (residuals[rows].copy(), np.clip(own, 0, 1), sigma[rows].copy())
            fits.append(Adjustment(place, covariance, jacobians[number], *parts, network.unknowns, len(network.rings)))
        return fits

    def _redundancy(self, derivatives: Sequence[Array], inverse: Array) -> Array:
        redundancy = np.empty(self.side.rows)
        for values, part in zip(derivatives, self.side.blocks, strict=True):
            column, owner = self.column[part.coordinates], self.side.owner[part.rows]
            block = inverse[owner[:, None, None], column[:, :, None], column[:, None, :]]
            redundancy[part.rows] = 1 - np.einsum("ri,rij,rj->r", values, block, values)
        return redundancy

    def _jacobians(self, derivatives: Sequence[Array], first_row: Index, first_node: Index) -> list[Array]:
        """Spread the derivatives out, network by network."""
        rank = np.empty_like(self.side.order)
        rank[self.side.order] = np.arange(self.side.rows)
        jacobians = [np.zeros(shape) for shape in zip(np.diff(first_row), 2 * np.diff(first_node), strict=True)]
        for values, part in zip(derivatives, self.side.blocks, strict=True):
            owner = self.side.owner[part.rows]
            row, column = rank[part.rows] - first_row[owner], part.coordinates - 2 * first_node[owner][:, None]
            bounds = np.searchsorted(owner, np.arange(len(self.networks) + 1))
            for number, jacobian in enumerate(jacobians):
                mine = slice(*bounds[number : number + 2])
                jacobian[row[mine, None], column[mine]] = values[mine]
        return jacobians

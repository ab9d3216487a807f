"""From ties to positions: one least-squares solution a property, with its joint covariance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asbuilt.survey.equations import Equations
from asbuilt.survey.observations import Observations

Array = NDArray[np.float64]

_STEPS = 80
_PLAIN_STEPS = 10
_SETTLED_M = 1e-8
_RIDGE = 1e-6  # 1/(1 km)^2: keeps the inverse finite where a place on a wall line is free across it


@dataclass(frozen=True, slots=True)
class Datum:
    """What is taken as error-free: a place and a direction."""

    origin: int  #: this node lies at (0, 0)
    start: int  #: the direction start -> end is that of the first axis
    end: int


@dataclass(frozen=True, slots=True)
class Adjustment:
    """A least-squares solution in the datum's frame (metres, x along start -> end, y left of it)."""

    places: Array  #: (nodes, 2); NaN where a node is not part of it
    covariance: Array  #: (2 * nodes, 2 * nodes), joint; zero where a node is not part of it
    jacobian: Array  #: (rows, 2 * nodes), over standard deviations
    residuals: Array  #: (rows,), computed - observed, over standard deviations
    redundancy: Array  #: (rows,), 0 = unchecked by the others, 1 = wholly checked
    sigma: Array  #: (rows,), metres or radians
    unknowns: int
    idle: int = 0  #: rows that say nothing: the turns of a closed walk sum to a full turn by themselves

    @property
    def chi2(self) -> float:
        """Weighted sum of squared residuals."""
        return float(self.residuals @ self.residuals)

    @property
    def degrees_of_freedom(self) -> int:
        """Observations beyond the unknowns."""
        return len(self.residuals) - self.idle - self.unknowns

    def block(self, node: int, other: int | None = None) -> Array:
        """Covariance of one node, or between two, (2, 2)."""
        k = 2 * node
        m = k if other is None else 2 * other
        return self.covariance[k : k + 2, m : m + 2]


def adjust(observations: Observations, places: Array, datum: Datum) -> Adjustment:
    """Solve all equations together.

    Parameters
    ----------
    observations
        Equations among the nodes that have a place.
    places
        Start, (nodes, 2), metres, any plane frame; NaN for nodes that are left out.
    datum
        Taken as error-free; its nodes must have places.

    Notes
    -----
    Gauss-Newton with Marquardt's damping. The datum removes exactly the three freedoms of a plane network (two
    shifts, one rotation), so residuals and relative accuracy do not depend on it (minimal constraints).
    """
    equations = Equations(observations)
    x = to_datum(places, datum)
    used = np.flatnonzero(~np.isnan(x[:, 0]))
    x[np.isnan(x)] = 0.0
    free, merge = _unknowns(used, datum)
    x = _descend(equations, x, free, merge)
    jacobian = equations.jacobian(x)
    residuals = equations.residuals(x)
    reduced = _reduce(jacobian, free, merge)
    inverse = np.linalg.inv(reduced.T @ reduced + _RIDGE * np.eye(len(free)))
    spread = _spread(2 * len(x), free, merge)
    covariance = spread @ inverse @ spread.T
    redundancy = 1 - np.einsum("ri,ij,rj->r", reduced, inverse, reduced, optimize=True)
    rings = observations.rings()
    for ring in rings:  # one combination of them is fixed by geometry, and is no check of any
        redundancy[[len(observations.distances) + turn for turn in ring]] -= 1 / len(ring)
    result = np.full_like(x, np.nan)
    result[used] = x[used]
    return Adjustment(
        result,
        covariance,
        jacobian,
        residuals,
        np.clip(redundancy, 0, 1),
        equations.sigma,
        len(free),
        len(rings),
    )


def to_datum(places: Array, datum: Datum) -> Array:
    """Turn and shift places into the datum's frame."""
    x, y = places[datum.end] - places[datum.start]
    cos, sin = np.array([x, y]) / np.hypot(x, y)
    return np.asarray((places - places[datum.origin]) @ np.array([[cos, -sin], [sin, cos]]))


def _unknowns(used: NDArray[np.int_], datum: Datum) -> tuple[list[int], tuple[int, int] | None]:
    """Free columns, and the pair of columns (kept, dropped) that move as one to hold the direction."""
    fixed = {2 * datum.origin, 2 * datum.origin + 1}
    kept, dropped = 2 * datum.start + 1, 2 * datum.end + 1
    merge: tuple[int, int] | None = None
    if kept in fixed or dropped in fixed:
        fixed |= {kept, dropped}
    else:
        merge = (kept, dropped)
        fixed.add(dropped)
    return [c for node in used for c in (2 * int(node), 2 * int(node) + 1) if c not in fixed], merge


def _reduce(jacobian: Array, free: list[int], merge: tuple[int, int] | None) -> Array:
    if merge is not None:
        jacobian = jacobian.copy()
        jacobian[:, merge[0]] += jacobian[:, merge[1]]
    return jacobian[:, free]


def _spread(columns: int, free: list[int], merge: tuple[int, int] | None) -> Array:
    """Matrix from the free unknowns to all coordinates."""
    matrix = np.zeros((columns, len(free)))
    matrix[free, np.arange(len(free))] = 1.0
    if merge is not None:
        matrix[merge[1]] = matrix[merge[0]]
    return matrix


def _descend(equations: Equations, x: Array, free: list[int], merge: tuple[int, int] | None) -> Array:
    spread = _spread(2 * len(x), free, merge)
    residuals = equations.residuals(x)
    damping = 1e-6
    for number in range(_STEPS):
        jacobian = _reduce(equations.jacobian(x), free, merge)
        normal = jacobian.T @ jacobian
        gradient = jacobian.T @ residuals
        if number >= _PLAIN_STEPS:  # a point on the line of its corners makes plain Gauss-Newton creep
            normal = _exact(normal, spread.T @ equations.bend(x, residuals) @ spread)
        scale = np.diag(normal) + 1e-9
        while True:
            step = -np.linalg.solve(normal + np.diag(damping * scale), gradient)
            moved = x + (spread @ step).reshape(-1, 2)
            tried = equations.residuals(moved)
            size = float(np.abs(step).max(initial=0.0))
            if tried @ tried <= residuals @ residuals or size < _SETTLED_M:
                break
            damping = max(damping * 10, 1e-4)
        x, residuals, damping = moved, tried, max(damping / 10, 1e-9)
        if size < _SETTLED_M:
            break
    return x


def _exact(normal: Array, bend: Array) -> Array:
    """Add the bend where the sum is that of a minimum."""
    total = normal + bend
    return np.asarray(total if np.linalg.eigvalsh(total)[0] > 0 else normal)

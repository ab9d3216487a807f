"""Does the walk round the house close? Misclosure, its ratio to the walk, and the walls that would explain it."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding, Severity
from asbuilt.model.walks import Walk
from asbuilt.survey.joint import Joint
from asbuilt.survey.observations import Distance
from asbuilt.survey.quality import chi2_tail
from asbuilt.units import format_length

Array = NDArray[np.float64]

DOUBTED = 0.001
"""A walk that closes worse than this share of good ones does is said to be wrong."""

_ALONG_DEG = 15.0  # a wall that runs within this angle of the misclosure may be the one misread


@dataclass(frozen=True, slots=True)
class Closure:
    """How well one closed walk with known turns closes."""

    walk: Walk
    steps: Array  #: (n, 2), unit vectors of the walls, first wall along x
    vector: Array  #: (2,), from where the walk ends to where it began, first wall along x, metres
    length_m: float  #: of the whole walk
    chi2: float  #: of the misclosure, two degrees of freedom

    @property
    def misclosure_m(self) -> float:
        """How far the end misses the beginning, metres."""
        return float(np.hypot(*self.vector))

    @property
    def ratio(self) -> float:
        """Length of the walk over the misclosure: 1 in so many."""
        return self.length_m / self.misclosure_m if self.misclosure_m > 0 else math.inf

    @property
    def doubtful(self) -> bool:
        """Tell whether measuring noise hardly explains it."""
        return chi2_tail(self.chi2, 2) < DOUBTED

    def walls_along(self) -> list[tuple[str, float]]:
        """Name the walls that run along the misclosure, and by how much each would be too long (negative: short)."""
        found = []
        for wall, step in zip(self.walk.walls, self.steps, strict=True):
            along = float(self.vector @ step)
            if self.misclosure_m > 0 and abs(along) > self.misclosure_m * math.cos(math.radians(_ALONG_DEG)):
                found.append((f"{wall.from_} > {wall.to}", -along))
        return found


def closures(joint: Joint) -> list[Closure]:
    """Close every closed walk whose turns are all known, its angles as declared.

    The covariance of the misclosure has the walls' standard deviations along each wall and, for each turn, the swing
    of all that follows it (the usual closure of a traverse; corners are corrected by the joint solution, not here).
    """
    return [_closure(walk, joint) for walk in joint.observations.walks if walk.turn_sum_deg is not None]


def _steps(walk: Walk, joint: Joint) -> Array:
    """Give unit vectors of the walls, first wall along x, (n, 2); their turns sum to a full turn."""
    observed = {id(turn.source): turn.radians for turn in joint.observations.turns}
    heading = np.concatenate(([0.0], np.cumsum([observed[id(wall)] for wall in walk.walls])[:-1]))
    return np.column_stack((np.cos(heading), np.sin(heading)))


def _closure(walk: Walk, joint: Joint) -> Closure:
    steps = _steps(walk, joint)
    lengths = np.array([wall.length.metres for wall in walk.walls])
    corners = np.vstack(([0.0, 0.0], np.cumsum(steps * lengths[:, None], axis=0)))
    end = corners[-1]
    swings = np.column_stack((-(end - corners[1:-1])[:, 1], (end - corners[1:-1])[:, 0]))
    turn_sigma = next((turn.sigma_rad for turn in joint.observations.turns), 0.0)
    walls = {id(d.source): d.sigma_m for d in joint.observations.distances if isinstance(d, Distance)}
    sigmas = np.array([walls[id(wall)] for wall in walk.walls])
    covariance = (steps * sigmas[:, None] ** 2).T @ steps + turn_sigma**2 * swings.T @ swings
    chi2 = float(end @ np.linalg.solve(covariance, end))
    return Closure(walk, steps, -end, float(lengths.sum()), chi2)


def outline_findings(joint: Joint) -> list[Finding]:
    """Say which walk does not close, by how much, and which walls would explain it."""
    units = joint.record.property.units
    findings = []
    for closure in closures(joint):
        if not closure.doubtful:
            continue
        start, missed = closure.walk.corners[0], format_length(closure.misclosure_m, units)
        message = f"The walk round the house from {start} misses its beginning by {missed}, 1 in {closure.ratio:.0f}."
        walls = [
            f"{name} ({format_length(abs(size), units)} too {'long' if size > 0 else 'short'})"
            for name, size in closure.walls_along()
        ]
        act = f"If one wall is misread it is {' or '.join(walls)}." if walls else "More than one wall or turn is wrong."
        findings.append(Finding("misclosure", start, message, Severity.ATTENTION, f"{act} Tape those walls again."))
    return findings

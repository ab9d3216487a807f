"""Rod readings as one linear least-squares problem: heights of instrument and elevations.

Metres. A reading is the height of instrument less the elevation of what the rod stood on, so any number of backsights
and foresights share their set-up's one unknown, and readings of one set-up come out correlated as they are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_NOTHING_LEFT = 1e-9
"""Below this a redundancy number or a sum of squared weights is rounding."""


@dataclass(frozen=True, slots=True, order=True)
class Target:
    """What a rod stood on."""

    name: str
    to: str = "top"
    day: date | None = None  #: of the ground only: another day may have another surface

    def __str__(self) -> str:
        return self.name if self.to == "top" else f"{self.name} {self.to}"


@dataclass(frozen=True, slots=True)
class Sight:
    """One rod reading as an equation."""

    setup: str
    target: Target
    reading_m: float
    sigma_m: float
    back: bool  #: a backsight
    sight_m: float | None = None  #: from the instrument to the rod; None = not noted


@dataclass(frozen=True, slots=True)
class LevelFit:
    """Readings adjusted; residuals are computed - observed."""

    sights: tuple[Sight, ...]
    targets: tuple[Target, ...]
    elevations: Array  #: (t,), metres
    covariance: Array  #: (t, t), square metres; rows of fixed targets are zero
    influence: Array  #: (t, n): what a metre more in a reading does to an elevation
    residuals: Array  #: (n,), metres
    cofactor: Array  #: (n, n): covariance of the residuals, square metres

    @property
    def sigma(self) -> Array:
        """Standard deviations of the readings, metres."""
        return np.array([sight.sigma_m for sight in self.sights])

    @property
    def redundancy(self) -> Array:
        """Share of an error in each reading that its residual shows, 0 to 1."""
        return np.asarray(np.diag(self.cofactor) / self.sigma**2)

    @property
    def standardised(self) -> Array:
        """Residuals in their own standard deviations; 0 where nothing checks the reading (Baarda 1968)."""
        checked = self.redundancy > _NOTHING_LEFT
        spread = np.sqrt(np.where(checked, np.diag(self.cofactor), 1.0))
        return np.where(checked, self.residuals / spread, 0.0)

    @property
    def chi2(self) -> float:
        """Weighted sum of squared residuals."""
        return float(((self.residuals / self.sigma) ** 2).sum())

    @property
    def spare(self) -> int:
        """Degrees of freedom: readings that check others."""
        return round(float(self.redundancy.sum()))

    def blunder_m(self, row: int) -> float:
        """Estimate how much too large a reading is, were it the only wrong one, metres."""
        return -float(self.residuals[row] / self.redundancy[row])

    def blunder_sigma_m(self, row: int) -> float:
        """Give the standard deviation of that estimate, metres."""
        return float(self.sigma[row] / np.sqrt(self.redundancy[row]))

    def test_correlation(self, row: int) -> Array:
        """Correlation of one reading's test with all others; 1 where the two cannot be told apart."""
        spread = np.sqrt(np.maximum(np.diag(self.cofactor), _NOTHING_LEFT * self.sigma**2))
        return np.asarray(np.abs(self.cofactor[row]) / (spread[row] * spread))


def adjust_sights(sights: Sequence[Sight], fixed: Mapping[Target, float]) -> LevelFit:
    """Adjust readings that all hang together with the fixed targets.

    Parameters
    ----------
    sights
        At least one; `connected` picks them.
    fixed
        Elevations that are held, metres.
    """
    setups = list(dict.fromkeys(sight.setup for sight in sights))
    targets = tuple(dict.fromkeys((*fixed, *(sight.target for sight in sights))))
    free = [target for target in targets if target not in fixed]
    columns: dict[object, int] = {key: k for k, key in enumerate([*setups, *free])}
    design = np.zeros((len(sights), len(columns)))
    observed = np.array([sight.reading_m + fixed.get(sight.target, 0.0) for sight in sights])
    for row, sight in enumerate(sights):
        design[row, columns[sight.setup]] = 1.0
        if sight.target not in fixed:
            design[row, columns[sight.target]] = -1.0
    weights = np.array([sight.sigma_m for sight in sights]) ** -2
    unknown_cofactor = np.linalg.inv(design.T @ (weights[:, None] * design))
    gain = unknown_cofactor @ (design.T * weights)
    solved = gain @ observed
    elevations = np.array([fixed[t] if t in fixed else solved[columns[t]] for t in targets])
    covariance, influence = np.zeros((len(targets),) * 2), np.zeros((len(targets), len(sights)))
    held = [k for k, target in enumerate(targets) if target not in fixed]
    covariance[np.ix_(held, held)] = unknown_cofactor[len(setups) :, len(setups) :]
    influence[held] = gain[len(setups) :]
    cofactor = np.diag(1 / weights) - design @ unknown_cofactor @ design.T
    return LevelFit(tuple(sights), targets, elevations, covariance, influence, design @ solved - observed, cofactor)


def connected(sights: Sequence[Sight], start: Target) -> tuple[list[Sight], list[Sight]]:
    """Part readings into those that hang together with a target and the others, each in their order."""
    around: dict[object, list[Sight]] = {}
    for sight in sights:
        around.setdefault(sight.target, []).append(sight)
        around.setdefault(sight.setup, []).append(sight)
    reached: set[object] = {start}
    waiting: list[object] = [start]
    while waiting:
        for sight in around.get(waiting.pop(), ()):
            new = {sight.target, sight.setup} - reached
            reached |= new
            waiting += new
    joined = [sight for sight in sights if sight.setup in reached]
    return joined, [sight for sight in sights if sight.setup not in reached]


@dataclass(frozen=True, slots=True)
class Collimation:
    """How much the line of sight rises with distance; nothing where backsights and foresights are equally long."""

    slope: float  #: metres of reading a metre of sight
    sigma: float

    @property
    def standardised(self) -> float:
        """Its size in its own standard deviations."""
        return abs(self.slope) / self.sigma


def estimate_collimation(fit: LevelFit) -> Collimation | None:
    """Estimate the collimation from unbalanced sights, as the two-peg test does; None where they do not tell it.

    All sight lengths must be noted, and some loop must have sights of unequal length.
    """
    lengths = _sight_lengths(fit)
    if lengths is None:
        return None
    weights = fit.sigma**-2
    seen = weights * (fit.cofactor @ (weights * lengths))  # what of it the residuals show
    power = float(lengths @ seen)
    if power <= _NOTHING_LEFT * float(weights @ lengths**2):
        return None
    slope = float(-(fit.residuals * weights) @ lengths / power)
    return Collimation(slope, power**-0.5)


def imbalance_m(fit: LevelFit) -> Array | None:
    """Sights by which each elevation is out of balance, metres: a collimation c puts it off by c times this.

    None where a sight length is not noted.
    """
    lengths = _sight_lengths(fit)
    return None if lengths is None else np.asarray(fit.influence @ lengths)


def _sight_lengths(fit: LevelFit) -> Array | None:
    if any(sight.sight_m is None for sight in fit.sights):
        return None
    return np.array([sight.sight_m for sight in fit.sights], dtype=float)

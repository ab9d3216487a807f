"""What the survey answers: places with their accuracy, the fit, and what was noticed."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding
from asbuilt.survey.levels import LevelSolution
from asbuilt.survey.quality import Ellipse

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TieFit:
    """One taped distance as it fits the solution."""

    from_: str  #: the other end
    as_read: str
    residual_m: float | None  #: computed - observed, metres; None where an end has no place


@dataclass(frozen=True, slots=True)
class Position:
    """Where one point or reference point is, and how well that is known.

    Metres in the output frame: east and north of the origin where an azimuth is known, else along the first wall
    and left of it. Everything but the name is None or empty where it could not be located.
    """

    name: str
    component: str | None  #: None for a reference point
    place: Array | None = None  #: (2,), east and north
    covariance: Array | None = None  #: (2, 2), square metres, origin and orienting wall taken as error-free
    r95_m: float | None = None  #: radius that holds 95 %, relative to the reference points
    ellipse: Ellipse | None = None  #: None also where the across-wall interval stands in its place
    checked: bool = False
    unchecked_because: str | None = None
    unnoticed_m: float | None = None  #: shift by the worst blunder that could pass unnoticed; None = unlimited
    ties: tuple[TieFit, ...] = ()


@dataclass(frozen=True, slots=True)
class Fit:
    """How all equations together fit."""

    observations: int
    unknowns: int
    chi2: float
    chi2_limit: float | None  #: 95 % limit; None without redundancy

    @property
    def variance_factor(self) -> float | None:
        """Chi-square over degrees of freedom; None without redundancy."""
        spare = self.observations - self.unknowns
        return self.chi2 / spare if spare > 0 else None

    @property
    def passed(self) -> bool | None:
        """Outcome of the global test at 5 %; None without redundancy."""
        return None if self.chi2_limit is None else self.chi2 <= self.chi2_limit


@dataclass(frozen=True, slots=True)
class Solution:
    """One property solved."""

    property: str
    points: tuple[Position, ...]
    references: tuple[Position, ...]
    fit: Fit
    findings: tuple[Finding, ...]
    names: tuple[str, ...]  #: order of the joint covariance
    covariance: Array  #: (2n, 2n), output frame, square metres; zero where a name has no place
    azimuth_deg: float | None  #: azimuth of the orienting wall; None = frame of the first wall
    levels: LevelSolution = field(default_factory=LevelSolution)  #: heights; empty where nothing was levelled

    def position(self, name: str) -> Position:
        """Give the position of a point or reference point by name; KeyError where there is none."""
        for position in (*self.points, *self.references):
            if position.name == name:
                return position
        raise KeyError(name)

"""Known coordinates against the survey: how far each is off, which one is wrong, and whether feet stand for metres.

The coordinates never alter the relative shape; they only place it. So what does not fit is said of the coordinates and
of the azimuth, each against all others.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding, Severity
from asbuilt.survey.quality import chi2_quantile
from asbuilt.units import FOOT_M

Array = NDArray[np.float64]

WEAK_DIRECTION_DEG = 5.0
"""Standard deviation of the direction above which it is said to be weak; beyond it 30 m swing by 2.6 m."""

SURELY = 0.999
"""An explanation is ruled out when what it leaves has less chance than one in a thousand."""

AZIMUTH = "the azimuth"
"""What is said where the azimuth, and no coordinate, is the one that does not fit."""

FEET = (FOOT_M, 1 / FOOT_M)
"""Scales of a survey in metres taken for feet, and the reverse."""


@dataclass(frozen=True, slots=True)
class FixFit:
    """How one known coordinate fits the survey."""

    name: str
    sigma_m: float  #: standard deviation of one axis as given, metres
    east_m: float  #: where the survey lays it less the coordinate given, metres
    north_m: float
    redundancy: float  #: share of a blunder in it that shows, 0 to 2 (two axes)
    chi2: float  #: by how much the misfit falls when it is left out

    @property
    def off_m(self) -> float:
        """Distance between the place that the survey gives and the coordinate given."""
        return math.hypot(self.east_m, self.north_m)


@dataclass(frozen=True, slots=True)
class Placing:
    """The equations that lay a survey on its known coordinates: two for each, and one for an azimuth."""

    names: tuple[str, ...]
    sigmas: Array  #: (n,), metres
    laid: Array  #: (n, 2), where the survey lays them, metres
    misfit: Array  #: (2n or 2n + 1,), computed - given, metres and radians
    design: Array  #: derivatives by shift and rotation
    noise: Array  #: covariance of what was given, that of the survey's own shape included
    free_scale: float  #: the scale that the fit would have liked; 1 where one coordinate cannot tell

    @property
    def chi2(self) -> float:
        """Weighted sum of squares of the misfits."""
        return float(self.misfit @ np.linalg.solve(self.noise, self.misfit))

    @property
    def spare(self) -> int:
        """Degrees of freedom."""
        return len(self.misfit) - 3

    @property
    def redundancies(self) -> Array:
        """Share of a blunder in each axis of each coordinate that shows, (2n,)."""
        weights = np.linalg.inv(self.noise)
        weighted = weights @ self.design
        seen = np.eye(len(weights)) - self.design @ np.linalg.solve(self.design.T @ weighted, weighted.T)
        return np.asarray(np.diag(seen)[: 2 * len(self.names)])

    @property
    def rotation_sigma_rad(self) -> float:
        """Standard deviation of the direction."""
        normal = self.design.T @ np.linalg.solve(self.noise, self.design)
        return math.sqrt(float(np.linalg.inv(normal)[2, 2]))

    @property
    def scale_sigma(self) -> float | None:
        """Standard deviation of the free scale; None where one coordinate cannot tell."""
        if not are_apart(self.laid):
            return None
        stretch = np.zeros(len(self.misfit))
        stretch[: 2 * len(self.names)] = (self.laid - self.laid.mean(axis=0)).ravel()
        design = np.column_stack((self.design, stretch))
        normal = design.T @ np.linalg.solve(self.noise, design)
        return math.sqrt(float(np.linalg.inv(normal)[3, 3]))


def are_apart(places: Array) -> bool:
    """Tell whether places, (n, 2), metres, lie apart from each other, so that they give a direction and a scale."""
    return bool(np.ptp(places, axis=0).max() > 1e-6)


@dataclass(frozen=True, slots=True)
class Rest:
    """What remains when one coordinate, or the azimuth, is left out."""

    name: str  #: of what is left out
    chi2: float  #: misfit of the others, fitted again
    spare: int  #: their degrees of freedom; 0 = they fit in any case

    def within(self, probability: float) -> bool:
        """Tell whether the rest fits; a rest without redundancy always does."""
        return self.spare == 0 or self.chi2 <= chi2_quantile(probability, self.spare)


def judge_fixes(
    about: str, placing: Placing, rests: Sequence[Rest], chi2_scaled: Callable[[float], float]
) -> tuple[tuple[FixFit, ...], list[Finding]]:
    """Say how the known coordinates fit, and what does not.

    Parameters
    ----------
    about
        Name of the property.
    placing
        The equations after the fit.
    rests
        What remains when one is left out and the fit is done again: for each coordinate in order, then the azimuth.
    chi2_scaled
        Gives the misfit of the whole fit with the survey made larger by a factor.
    """
    count = len(placing.names)
    residuals = placing.misfit[: 2 * count].reshape(count, 2)
    shares = placing.redundancies.reshape(count, 2).sum(axis=1)
    fits = tuple(
        FixFit(name, float(sigma), float(east), float(north), float(share), placing.chi2 - rest.chi2)
        for name, sigma, (east, north), share, rest in zip(
            placing.names, placing.sigmas, residuals, shares, rests, strict=False
        )
    )
    return fits, [*_notes(about, placing, fits), *_doubts(about, placing, fits, rests, chi2_scaled)]


def _notes(about: str, placing: Placing, fits: Sequence[FixFit]) -> list[Finding]:
    """Say how far each coordinate is off, and that the direction is weak where it is."""
    notes = []
    scale_sigma = placing.scale_sigma
    if scale_sigma is not None:
        each = ", ".join(f"{fit.name} {fit.off_m:.2f} m" for fit in fits)
        message = (
            f"The known coordinates after the best fit are off by: {each}. The fit would have liked a scale of "
            f"{placing.free_scale:.3f}, give or take {2 * scale_sigma:.3f}."
        )
        notes.append(Finding("coordinate-residuals", about, message, Severity.NOTE))
    direction = math.degrees(placing.rotation_sigma_rad)
    if direction > WEAK_DIRECTION_DEG:
        message = f"The direction of the property on the earth is known to {direction:.0f} degrees only."
        act = "Give the true azimuth of a wall, or known coordinates farther apart."
        notes.append(Finding("weak-direction", about, message, Severity.NOTE, act))
    return notes


def _doubts(
    about: str,
    placing: Placing,
    fits: Sequence[FixFit],
    rests: Sequence[Rest],
    chi2_scaled: Callable[[float], float],
) -> list[Finding]:
    """Say so where the coordinates do not fit the survey, and what would explain it."""
    spare = placing.spare
    if spare <= 0 or placing.chi2 <= chi2_quantile(0.95, spare):
        return []
    for factor in FEET if placing.scale_sigma is not None else ():
        if chi2_scaled(factor) <= chi2_quantile(0.95, spare):
            return [_feet(about, factor)]
    worst = max(fits, key=lambda fit: fit.chi2)
    head = (
        f"The known coordinates do not fit the survey: {worst.name} is {worst.off_m:.1f} m off, and the fit would have "
        f"liked a scale of {placing.free_scale:.3f}."
    )
    open_ones = [each for each in rests if each.within(SURELY)]
    if len(open_ones) == 1 and open_ones[0].spare > 0 and open_ones[0].within(0.95):
        return [_outlier(about, open_ones[0].name, head)]
    return [Finding("coordinates-disagree", about, f"{head} {_which(open_ones)}", Severity.ATTENTION, _CHECK)]


_CHECK = "Check the coordinates; one more known coordinate would tell."


def _which(open_ones: Sequence[Rest]) -> str:
    """Say which of them may be wrong, where several may."""
    if not open_ones:
        return "No single one of them explains it: more than one is off, or their accuracy is better on paper."
    if len(open_ones) == 1:
        return f"It is likely {open_ones[0].name}, but the others do not fit each other well either."
    names = list(dict.fromkeys(each.name for each in open_ones))
    if len(names) == 1:
        return f"{names[0]} was given twice, at two places: the rest cannot tell which is right."
    return f"It may be {', '.join(names[:-1])} or {names[-1]}: the rest cannot tell."


def _outlier(about: str, name: str, head: str) -> Finding:
    if name == AZIMUTH:
        message = f"{head} The coordinates agree with each other, but not with the azimuth."
        act = "Check the azimuth, its wall and which way it was read; a true one against a magnetic one too."
        return Finding("azimuth-disagrees", about, message, Severity.ATTENTION, act)
    message = f"{head} Without {name} all the others agree, and nothing else explains it."
    act = f"Check the coordinate of {name}, or take it out."
    return Finding("coordinate-outlier", name, message, Severity.ATTENTION, act)


def _feet(about: str, factor: float) -> Finding:
    message = (
        f"The known coordinates lie {factor:.3g} times as far apart as the survey has the points: feet stand for "
        "metres in one of the two."
    )
    act = "Check units in property.toml, and the unit of the coordinates and of their system."
    return Finding("feet-for-metres", about, message, Severity.ATTENTION, act)

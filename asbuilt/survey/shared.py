"""Errors that all tapes share: a worn or wrongly hooked tape, a face that was re-clad, slopes that were not reduced.

Each is one more unknown beside the places. Where the geometry holds it, it is estimated and tested; where it does not,
that is what is said: three tapes from one straight wall agree to the thousandth and can all be wrong.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.measurements import Tie
from asbuilt.survey.joint import Joint
from asbuilt.survey.network import TOLD_APART_CHI2
from asbuilt.survey.observations import Distance
from asbuilt.survey.quality import W_LIMIT, chi2_quantile
from asbuilt.survey.screening import Screening

Array = NDArray[np.float64]

SEEN_M = 0.05
"""A shared error that the set would show from this size up counts as seen (three fingers; our own)."""

MORE_THAN_ONE = 2.0
"""A shared error must take this much more off chi-square than any one measurement does (our own)."""

_BELIEVED = 0.999  # one clean set in twenty fails at 5 %: an explanation must not be refused for that


@dataclass(frozen=True, slots=True)
class Shared:
    """One error that several tapes may share, as the set estimates it."""

    kind: str  #: tape, face or slope
    subject: str  #: what it is an error of: "all tapes", a wall, a point
    size_m: float  #: estimate: tapes too long, face moved outward, drop; metres
    sigma_m: float  #: its standard deviation; infinite where the geometry cannot hold it
    tapes: int  #: how many tapes share it
    gain: float  #: what it would take off chi-square as one more unknown

    @property
    def standardised(self) -> float:
        """Estimate over its standard deviation."""
        return self.size_m / self.sigma_m if math.isfinite(self.sigma_m) else 0.0

    @property
    def significant(self) -> bool:
        """Tell whether the 0.1 % test sees it."""
        return abs(self.standardised) > W_LIMIT

    @property
    def noticed_m(self) -> float:
        """Smallest size that the 0.1 % test would notice."""
        return W_LIMIT * self.sigma_m


def explanations(joint: Joint, screening: Screening) -> list[Shared]:
    """List the shared errors that the 0.1 % test sees and that are the better explanation, best first.

    One misread tape alone makes many of them significant: the set must agree once the shared error is taken off, and
    no single measurement may explain as much. Those that explain as much as the best stand beside it.
    """
    assert joint.fit is not None  # noqa: S101 - solved ones only
    single = max((test.standardised**2 for test in screening.tests), default=0.0)
    left = chi2_quantile(_BELIEVED, max(joint.fit.degrees_of_freedom - 1, 1))
    found = [
        shared
        for shared in (tape_zero(joint), *faces(joint), *slopes(joint))
        if shared.significant and shared.gain > single + MORE_THAN_ONE and screening.chi2 - shared.gain <= left
    ]
    best = max((shared.gain for shared in found), default=0.0)
    return sorted((s for s in found if best - s.gain < TOLD_APART_CHI2), key=lambda s: -s.gain)


def tape_zero(joint: Joint) -> Shared:
    """Estimate one zero offset of all tapes: positive where every tape reads too long (hooked past its end).

    House walls are taken as measured with another tape, or from another hook.
    """
    rows, column = [], _empty(joint)
    for row, distance in enumerate(joint.used.distances):
        if isinstance(distance.source, Tie):
            column[row] = 1 / distance.sigma_m  # taking c off the reading makes computed - observed larger by c
            rows.append(row)
    return _estimate(joint, "tape", "all tapes", column, len(rows))


def faces(joint: Joint) -> Iterator[Shared]:
    """Estimate, for each straight wall, an outward shift of its face since the corners were measured.

    A re-clad wall moves every mark on it outward; tapes from the new face then read too short for points before it.
    """
    assert joint.fit is not None  # noqa: S101 - solved ones only
    for walk in joint.used.walks:
        hand = walk.hand
        for run in walk.straight_walls:
            nodes = [joint.observations.index[name] for name in run]
            if hand is None or any(np.isnan(joint.fit.places[node][0]) for node in nodes):
                continue
            along = joint.fit.places[nodes[-1]] - joint.fit.places[nodes[0]]
            outward = hand * np.array([along[1], -along[0]]) / np.hypot(*along)
            column, count = _empty(joint), 0
            for row, distance in enumerate(joint.used.distances):
                mark = next((node for node in nodes if node in distance.nodes), None)
                if mark is None or not isinstance(distance.source, Tie) or distance.far(mark) in nodes:
                    continue
                ray = joint.fit.places[mark] - joint.fit.places[distance.far(mark)]
                column[row] = float(outward @ ray) / np.hypot(*ray) / distance.sigma_m
                count += 1
            if count > 1:
                yield _estimate(joint, "face", f"{run[0]} > {run[-1]}", column, count)


def slopes(joint: Joint) -> Iterator[Shared]:
    """Estimate, for each point whose tapes were not reduced, the drop that they would share.

    The unknown is the squared drop, which enters each tape linearly as h^2 / (2 d).
    """
    for node in sorted(joint.network.places):
        tapes = [(r, d) for r, d in enumerate(joint.used.distances) if node in d.nodes and _unreduced(d)]
        if node < joint.observations.references or len(tapes) < 2:
            continue
        column = _empty(joint)
        for row, distance in tapes:
            column[row] = 1 / (2 * distance.metres) / distance.sigma_m
        squared = _estimate(joint, "slope", joint.observations.names[node], column, len(tapes))
        if squared.size_m > 0 and squared.significant:
            drop = math.sqrt(squared.size_m)
            yield Shared("slope", squared.subject, drop, squared.sigma_m / (2 * drop), len(tapes), squared.gain)


def _unreduced(distance: Distance) -> bool:
    return isinstance(distance.source, Tie) and distance.source.drop is None


def _empty(joint: Joint) -> Array:
    assert joint.fit is not None  # noqa: S101 - solved ones only
    return np.zeros(len(joint.fit.residuals))


def _estimate(joint: Joint, kind: str, subject: str, column: Array, tapes: int) -> Shared:
    """Estimate one more unknown from the residuals that the places left.

    With R = I - J C J' the estimate is -a'e / a'Ra and its variance 1 / a'Ra, a being its column and e the residuals,
    all over standard deviations.
    """
    fit = joint.fit
    assert fit is not None  # noqa: S101 - solved ones only
    reach = fit.jacobian.T @ column
    information = float(column @ column - reach @ fit.covariance @ reach)
    if information < 1e-6 * max(float(column @ column), 1e-12):
        return Shared(kind, subject, 0.0, math.inf, tapes, 0.0)
    pull = -float(column @ fit.residuals)
    return Shared(kind, subject, pull / information, 1 / math.sqrt(information), tapes, pull**2 / information)

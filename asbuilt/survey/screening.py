"""Gross errors: which measurement disagrees with the others, and whether the geometry can name it.

Standardised residuals with a-priori standard deviations, and their correlations (Baarda 1968, Netherlands Geodetic
Commission, Publ. on Geodesy 2(5)). Residual = computed - observed; blunder = observed - what it should have been.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from asbuilt.survey.adjust import Adjustment, Datum, adjust
from asbuilt.survey.joint import Joint
from asbuilt.survey.network import TOLD_APART_CHI2
from asbuilt.survey.observations import Distance, Observations, Turn, WallOffset
from asbuilt.survey.quality import DELTA_0, W_LIMIT, chi2_quantile

Array = NDArray[np.float64]
Equation = Distance | Turn | WallOffset

MOST_BLUNDERS = 5
"""After so many left out, the set can no longer tell."""

_NO_REDUNDANCY = 1e-6
_LEFT_OUT = 6  # rows that are really left out, largest first


@dataclass(frozen=True, slots=True)
class Tested:
    """One equation and what the others say of it."""

    row: int  #: row of the joint solution
    equation: Equation
    redundancy: float  #: 0 = unchecked by the others, 1 = wholly checked
    standardised: float  #: residual over its own standard deviation
    blunder: float  #: what the others say it is too long (metres, or radians for a turn); NaN without redundancy
    noticed: float  #: smallest blunder that the 0.1 % test notices with 80 % power; infinite without redundancy
    shift_m: float  #: what a blunder of that size does to the point it bears on most; 0 where it moves none
    part: str = ""  #: along or out, of an offset


@dataclass(frozen=True, slots=True)
class Place:
    """Where a point would be with one of its tapes left out."""

    left_out: Distance
    place: Array  #: (2,), datum frame, metres


@dataclass(frozen=True, slots=True)
class Screening:
    """What the tests say of one joint solution."""

    tests: tuple[Tested, ...]  #: every row, in the order of the solution
    chi2: float
    limit: float | None  #: 95 % limit of chi2; None without redundancy
    suspects: tuple[Tested, ...]  #: largest first; the first is the culprit where `named`
    named: bool  #: whether the geometry can name the first suspect alone

    @property
    def alarm(self) -> bool:
        """Tell whether the global test fails at 5 %."""
        return self.limit is not None and self.chi2 > self.limit

    @property
    def culprit(self) -> Tested | None:
        """The one measurement that the geometry names, if it can."""
        return self.suspects[0] if self.named else None


def screen(observations: Observations, fit: Adjustment, datum: Datum | None = None) -> Screening:
    """Test every equation of a joint solution against the others.

    There are suspects only where a standardised residual passes the 0.1 % limit. The first is named where leaving it
    out lowers chi-square by nine more than leaving out any other; those that come nearer stand beside it, and then
    none is named. With the datum the largest few are really left out and solved again; without it the lowering is
    taken from the linear theory, the square of the standardised residual.
    """
    tests = _tests(observations, fit)
    spare = fit.degrees_of_freedom
    limit = chi2_quantile(0.95, spare) if spare > 0 else None
    size = np.array([abs(test.standardised) for test in tests])
    if not len(size) or size.max() <= W_LIMIT:
        return Screening(tests, fit.chi2, limit, (), named=False)
    lowered = size**2
    if datum is not None:
        for row in np.argsort(-size)[:_LEFT_OUT]:
            lowered[row] = fit.chi2 - adjust(observations.without([int(row)]), fit.places, datum).chi2
    rivals = np.flatnonzero((lowered > lowered.max() - TOLD_APART_CHI2) & (size >= size.max() / 2))
    order = sorted(rivals, key=lambda row: -round(float(lowered[row]), 3))  # three ties are equal: then as read
    return Screening(tests, fit.chi2, limit, tuple(tests[row] for row in order), named=len(order) == 1)


def _tests(observations: Observations, fit: Adjustment) -> tuple[Tested, ...]:
    free = fit.redundancy < _NO_REDUNDANCY
    root = np.sqrt(np.where(free, 1.0, fit.redundancy))
    standardised = np.where(free, 0.0, fit.residuals / root)
    blunders = np.where(free, np.nan, -fit.residuals / root**2 * fit.sigma)
    right = [o.left_m < 0 for o in observations.offsets]  # out to the right is counted negative by the equations
    blunders[len(blunders) - len(right) :] *= np.where(right, -1.0, 1.0)
    noticed = np.where(free, np.inf, DELTA_0 * fit.sigma / root)
    moves = (fit.covariance @ fit.jacobian.T).reshape(len(fit.places), 2, -1)
    largest = np.hypot(moves[:, 0], moves[:, 1]).max(axis=0, initial=0.0)  # by one standard deviation
    with np.errstate(invalid="ignore"):
        shifts = np.where(largest > 0, largest * noticed / fit.sigma, 0.0)
    equations, offsets = _equations(observations), len(observations.offsets)
    parts = [""] * (len(equations) - 2 * offsets) + ["along"] * offsets + ["out"] * offsets
    columns = (fit.redundancy, standardised, blunders, noticed, shifts)
    numbers = zip(*(column.tolist() for column in columns), parts, strict=True)
    return tuple(
        Tested(row, equation, *values) for row, (equation, values) in enumerate(zip(equations, numbers, strict=True))
    )


def _equations(observations: Observations) -> list[Equation]:
    """Equation of every row; an offset has two, along and out."""
    offsets = observations.offsets
    return [*observations.distances, *observations.turns, *offsets, *offsets]


def correlations(fit: Adjustment) -> Array:
    """Give the correlation of every two rows' tests, (rows, rows); 0 where a row has no redundancy.

    Two tests that correlate by nearly one answer to the same blunders: what is wrong with one looks wrong with both.
    """
    cofactor = np.eye(len(fit.residuals)) - fit.jacobian @ fit.covariance @ fit.jacobian.T
    scale = np.sqrt(np.outer(fit.redundancy, fit.redundancy))
    return np.asarray(np.divide(cofactor, scale, out=np.zeros_like(cofactor), where=scale > _NO_REDUNDANCY))


def without(joint: Joint, rows: Sequence[int]) -> tuple[Observations, Adjustment]:
    """Solve again with some rows of `joint.fit` left out, from the places of the whole solution."""
    assert joint.fit is not None and joint.datum is not None  # noqa: S101 - only solved ones are screened
    left = joint.used.without(rows)
    return left, adjust(left, joint.fit.places, joint.datum)


def places_left_out(joint: Joint, node: int) -> list[Place]:
    """Give the places of a point with each of its tapes left out in turn.

    With three tapes a mistake can be seen but not named; how far these places lie apart is what can be said.
    """
    rows = [row for row, distance in enumerate(joint.used.distances) if node in distance.nodes]
    return [Place(joint.used.distances[row], without(joint, [row])[1].places[node]) for row in rows]


def bent_by_suspects(joint: Joint, observations: Observations, fit: Adjustment) -> dict[int, float]:
    """Give how far, metres, the worst of the suspected blunders has pulled each node; empty without a suspect.

    What the tests suspect but cannot name is in the solution all the same, and the places are bent by it: by as much
    as they move when it is left out.

    Parameters
    ----------
    observations, fit
        The set that is judged: all of `joint`, or what is left of it.
    """
    assert joint.datum is not None  # noqa: S101 - only solved ones are screened
    bent: dict[int, float] = {}
    screening = screen(observations, fit, joint.datum)
    for suspect in screening.suspects if screening.alarm else ():
        less = adjust(observations.without([suspect.row]), fit.places, joint.datum)
        moved = np.hypot(*(less.places - fit.places).T)
        bent |= {node: max(bent.get(node, 0.0), float(moved[node])) for node in joint.network.places}
    return bent


def leave_out_in_turn(joint: Joint) -> tuple[list[Tested], bool]:
    """Leave out one named measurement after the other until the rest agrees.

    Returns
    -------
    Those left out, worst first, and whether the rest then passes; False where the set can no longer tell.
    """
    assert joint.fit is not None  # noqa: S101 - only solved ones are screened
    observations, fit = joint.used, joint.fit
    rows = {id(equation): row for row, equation in reversed(list(enumerate(_equations(observations))))}
    out: list[Tested] = []
    while True:
        screening = screen(observations, fit, joint.datum)
        if not screening.alarm:
            return out, True
        culprit = screening.culprit
        if culprit is None or len(out) == MOST_BLUNDERS:
            return out, False
        out.append(replace(culprit, row=rows[id(culprit.equation)]))
        observations, fit = without(joint, [tested.row for tested in out])

"""A point uncovered again: whether it is where the record put it, and what would explain it where it is not.

New readings are held against what the solution predicts, with the joint covariance of point and corners. Output frame,
metres.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.walks import Walk
from asbuilt.survey.finding import Finder
from asbuilt.survey.quality import chi2_quantile
from asbuilt.survey.readings import slips
from asbuilt.units import FOOT_M, Length

Array = NDArray[np.float64]

EXPECTED = 0.95
"""Nineteen finds in twenty lie within this limit where nothing is wrong."""

BELIEVED = 0.999
"""Beyond this something is wrong: a mistake, a moved face, a moved lid."""

MOVED_M = (-0.1, FOOT_M)
"""How far a face may have moved outward since: siding taken off, siding and brick put on (our own)."""

HOOKED_M = 1.1 * FOOT_M
"""A zero that all new tapes share is at most that of a tape hooked at its 1-ft mark (our own)."""

THINNEST_M = 0.02
"""A face that moved by less than a finger's breadth explains nothing (our own)."""

EXPLANATIONS_SAID = 4
"""Explanations that are worth looking at on the ground (our own)."""

_FITS = 0.99  # an explanation must leave a set that happens in one of a hundred
_STEPS = 12


@dataclass(frozen=True, slots=True)
class Readings:
    """Tapes to an uncovered point, or to the mark that it was looked for at."""

    references: tuple[str, ...]
    lengths: tuple[Length, ...]  #: as read
    metres: Array  #: (n,), level
    sigmas: Array  #: (n,), of the readings alone
    off: Array  #: (2,), from the mark to the point; zero where the tapes went to the point itself
    off_covariance: Array  #: (2, 2), square metres


@dataclass(frozen=True, slots=True)
class Difference:
    """How far a point lay from where the record had it, tested against what record and tapes allow."""

    delta: Array | None  #: (2,), true less recorded; None where one tape alone does not tell
    chi2: float
    count: int  #: readings tested

    @property
    def expected_limit(self) -> float:
        """Limit that 19 finds in 20 stay under."""
        return chi2_quantile(EXPECTED, self.count)

    @property
    def believed_limit(self) -> float:
        """Limit beyond which something is wrong."""
        return chi2_quantile(BELIEVED, self.count)

    @property
    def too_large(self) -> bool:
        """Tell whether something is wrong."""
        return self.chi2 > self.believed_limit

    @property
    def as_expected(self) -> bool:
        """Tell whether it is what 19 finds in 20 give."""
        return self.chi2 <= self.expected_limit


@dataclass(frozen=True, slots=True)
class Explanation:
    """One thing that would make the readings agree with the record."""

    kind: str  #: corner, exchanged, misread, face or zero
    reference: str  #: the corner that was named, or the wall A > B; empty of a zero that all tapes share
    other: str = ""  #: the corner that it was in truth, or the reading that it should have been
    size_m: float = 0.0  #: how far a face moved outward; how much too long all tapes read
    chi2: float = 0.0  #: what is left


def compare(finder: Finder, name: str, readings: Readings) -> Difference:
    """Test readings to an uncovered point against the record."""
    misfit, covariance, rays = _misfit(finder, name, readings)
    chi2 = float(misfit @ np.linalg.solve(covariance, misfit))
    delta = _delta(finder, name, readings) if _crosses(rays) else None
    return Difference(delta, chi2, len(readings.references))


def explain(
    finder: Finder, name: str, readings: Readings, known: Sequence[str], walks: Sequence[Walk], units: str
) -> list[Explanation]:
    """List what would explain readings that the record does not allow, best first.

    Parameters
    ----------
    known
        Every located reference point, those that are gone too: one may have been mistaken for it.
    walks
        The walks round the buildings, for faces that moved.
    units
        Of the readings, for slips of the pen.

    Notes
    -----
    A single reading fits almost anything, so nothing is said of one alone.
    """
    count = len(readings.references)
    if count < 2:
        return []
    limit, less = chi2_quantile(_FITS, count), chi2_quantile(_FITS, count - 1)
    found = [each for each in _corners(finder, name, readings, known) if each.chi2 <= limit]
    found += [each for each in _slips(finder, name, readings, units) if each.chi2 <= limit]
    shared = [*_faces(finder, name, readings, walks), *_zero(finder, name, readings)]
    found += [each for each in shared if each.chi2 <= less]
    best = sorted(found, key=lambda each: each.chi2)
    first = {(each.kind, each.reference): each for each in reversed(best)}  # one of a kind and corner: the best
    return [each for each in best if first[each.kind, each.reference] is each][:EXPLANATIONS_SAID]


def agree_among_themselves(finder: Finder, name: str, readings: Readings) -> bool | None:
    """Tell whether three or more readings meet in one place, wherever it is; None where nothing can tell."""
    count = len(readings.references)
    if count < 3:
        return None
    rays, misfit = _meeting(finder, name, readings)
    _, _, corners = finder.predicted(name, readings.references, -readings.off)
    covariance = np.diag(readings.sigmas**2) + corners  # the point's own share drops out with the place
    weight = np.linalg.inv(covariance)
    left = misfit - rays @ np.linalg.solve(rays.T @ weight @ rays, rays.T @ weight @ misfit)
    return float(left @ weight @ left) <= chi2_quantile(BELIEVED, count - 2)


def _misfit(finder: Finder, name: str, readings: Readings) -> tuple[Array, Array, Array]:
    """Give readings less what is predicted (n,), its covariance (n, n), and the rays (n, 2)."""
    metres, rays, covariance = finder.predicted(name, readings.references, -readings.off)
    covariance = covariance + np.diag(readings.sigmas**2) + rays @ readings.off_covariance @ rays.T
    return readings.metres - metres, covariance, rays


def _chi2(finder: Finder, name: str, readings: Readings) -> float:
    misfit, covariance, _ = _misfit(finder, name, readings)
    return float(misfit @ np.linalg.solve(covariance, misfit))


def _crosses(rays: Array) -> bool:
    return len(rays) > 1 and float(np.linalg.svd(rays, compute_uv=False)[-1]) > 0.1


def _delta(finder: Finder, name: str, readings: Readings) -> Array:
    """Where the readings meet, with the corners as recorded, less where the record has the point."""
    moved, misfit = _meeting(finder, name, readings)
    place = np.zeros(2)
    for _ in range(_STEPS):
        step = np.linalg.lstsq(moved / readings.sigmas[:, None], misfit / readings.sigmas, rcond=None)[0]
        place = place + step
        metres, moved, _ = finder.predicted(name, readings.references, place - readings.off)
        misfit = readings.metres - metres
        if float(np.abs(step).max()) < 1e-6:
            break
    return place


def _meeting(finder: Finder, name: str, readings: Readings) -> tuple[Array, Array]:
    metres, rays, _ = finder.predicted(name, readings.references, -readings.off)
    return rays, readings.metres - metres


def _corners(finder: Finder, name: str, readings: Readings, known: Sequence[str]) -> Iterator[Explanation]:
    """Try one corner taken for another, and two exchanged."""
    references = readings.references
    for k, reference in enumerate(references):
        for other in known:
            if other not in references and other != name:
                tried = _renamed(readings, (*references[:k], other, *references[k + 1 :]))
                yield Explanation("corner", reference, other, chi2=_chi2(finder, name, tried))
    for k, m in combinations(range(len(references)), 2):
        swapped = list(references)
        swapped[k], swapped[m] = swapped[m], swapped[k]
        chi2 = _chi2(finder, name, _renamed(readings, tuple(swapped)))
        yield Explanation("exchanged", references[k], references[m], chi2=chi2)


def _renamed(readings: Readings, references: tuple[str, ...]) -> Readings:
    return Readings(
        references,
        readings.lengths,
        readings.metres,
        readings.sigmas,
        readings.off,
        readings.off_covariance,
    )


def _slips(finder: Finder, name: str, readings: Readings, units: str) -> Iterator[Explanation]:
    """Try slips of one tape."""
    for k, (reference, length) in enumerate(zip(readings.references, readings.lengths, strict=True)):
        for slip in slips(length, units, lid_radius_m=FOOT_M):
            metres = readings.metres.copy()
            metres[k] += slip.metres - length.metres
            tried = Readings(
                readings.references, readings.lengths, metres, readings.sigmas, readings.off, readings.off_covariance
            )
            yield Explanation("misread", reference, slip.text, chi2=_chi2(finder, name, tried))


def _faces(finder: Finder, name: str, readings: Readings, walks: Sequence[Walk]) -> Iterator[Explanation]:
    """Try faces that moved out or in since the corners were measured: one unknown more, from the misfits."""
    misfit, covariance, rays = _misfit(finder, name, readings)
    weight = np.linalg.inv(covariance)
    chi2 = float(misfit @ weight @ misfit)
    for walk in walks:
        for run in walk.straight_walls:
            column = _face_column(finder, walk, run, readings.references, rays)
            information = float(column @ weight @ column)
            if information < 1e-9:
                continue
            pull = float(column @ weight @ misfit)
            size = pull / information
            if abs(size) >= THINNEST_M and MOVED_M[0] <= size <= MOVED_M[1]:
                yield Explanation("face", f"{run[0]} > {run[-1]}", "", size, chi2 - pull**2 / information)


def _zero(finder: Finder, name: str, readings: Readings) -> Iterator[Explanation]:
    """Try one zero that all new tapes share: hooked past their end, or at the 1-ft mark."""
    misfit, covariance, _ = _misfit(finder, name, readings)
    weight = np.linalg.inv(covariance)
    column = np.ones(len(misfit))
    information, pull = float(column @ weight @ column), float(column @ weight @ misfit)
    size = pull / information
    if THINNEST_M <= abs(size) <= HOOKED_M:
        yield Explanation("zero", "", "", size, float(misfit @ weight @ misfit) - pull**2 / information)


def _face_column(finder: Finder, walk: Walk, run: Sequence[str], references: Sequence[str], rays: Array) -> Array:
    """How each reading changes by a metre that a face moves outward; zero where it cannot be told."""
    column = np.zeros(len(references))
    try:
        line = finder.place(run[-1]) - finder.place(run[0])
    except KeyError:
        return column
    length = math.hypot(*line)
    if walk.hand is None or length == 0:
        return column
    outward = walk.hand * np.array([line[1], -line[0]]) / length
    for k, (reference, ray) in enumerate(zip(references, rays, strict=True)):
        if reference in run:
            column[k] = -float(ray @ outward)
    return column

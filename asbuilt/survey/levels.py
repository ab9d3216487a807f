"""Rod readings -> elevations, cover and drops, each with its standard deviation.

Metres. All elevations refer to the benchmark, which is taken as error-free.
"""

import math
from collections import Counter
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding
from asbuilt.model.levels import LevelShot
from asbuilt.model.place import Measured
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.level_loops import Loop, find_loops
from asbuilt.survey.level_network import (
    Collimation,
    LevelFit,
    Sight,
    Target,
    adjust_sights,
    connected,
    estimate_collimation,
)
from asbuilt.survey.level_wording import LevelWording
from asbuilt.survey.quality import DELTA_0, chi2_quantile
from asbuilt.units import FOOT_M

Array = NDArray[np.float64]

READ_SIGMA_M = 0.0015
"""Standard deviation of one rod reading (our own; common practice for a laser with its receiver on the rod)."""

BEAM_SIGMA_RAD = 5e-5
"""How level the beam is: 1.5 mm in 30 m (common practice: what makers state of a rotating laser)."""

USUAL_SIGHT_M = 30.0
"""Length of a sight that is not noted (our own: the longest on a house lot)."""

GROUND_SIGMA_M = 0.010
"""How well the surface of the ground is defined under a rod, standard deviation (our own)."""

ASSUMED = {"ft-in": 100 * FOOT_M, "ft": 100 * FOOT_M, "m": 100.0}
"""Elevation of a benchmark that has none, by units (common practice: high enough that nothing goes below zero)."""

NOTICEABLE_M = FOOT_M / 10
"""A slip of this size must be noticed for an elevation to count as checked: a tenth of a foot on the rod (our own)."""

BEARS_ON_IT = 0.1
"""A reading bears on an elevation where it hands on more than this share of its error (our own)."""


@dataclass(frozen=True, slots=True)
class Elevation:
    """How high one thing lies."""

    name: str
    to: str  #: top, invert, grade or bottom
    elevation_m: float
    sigma_m: float  #: standard deviation, relative to the benchmark
    shots: int
    checked: bool  #: a slip of a tenth of a foot in any reading that it rests on would be noticed
    day: date | None = None  #: of the ground only: the day of this surface; None = not noted


@dataclass(frozen=True, slots=True)
class Depth:
    """How far below the ground something lies: soil cover where `to` is top."""

    name: str
    to: str
    depth_m: float
    sigma_m: float
    day: date | None  #: the day of the surface; None = not noted


@dataclass(frozen=True, slots=True)
class LevelSolution:
    """The levels of one property, adjusted."""

    benchmark: str | None = None  #: None = nothing was levelled
    benchmark_m: float = 0.0
    datum: str = "assumed"
    elevations: tuple[Elevation, ...] = ()
    covariance: Array = field(default_factory=lambda: np.zeros((0, 0)))  #: (n, n), in the order of `elevations`
    loops: tuple[Loop, ...] = ()
    chi2: float = 0.0
    chi2_limit: float | None = None  #: 95 % limit; None where nothing checks anything
    collimation: Collimation | None = None  #: None where the sights do not tell it
    findings: tuple[Finding, ...] = ()

    @property
    def passed(self) -> bool | None:
        """Outcome of the global test at 5 %; None where nothing checks anything."""
        return None if self.chi2_limit is None else self.chi2 <= self.chi2_limit

    def of(self, name: str, to: str = "top") -> Elevation | None:
        """Give one elevation; of the ground the latest surface."""
        found = [each for each in self.elevations if each.name == name and each.to == to]
        return max(found, key=lambda each: each.day or date.min, default=None)

    def difference(self, a: Elevation, b: Elevation) -> tuple[float, float]:
        """How much higher `a` is than `b`, and its standard deviation, metres."""
        i, j = self.elevations.index(a), self.elevations.index(b)
        variance = self.covariance[i, i] + self.covariance[j, j] - 2 * self.covariance[i, j]
        return a.elevation_m - b.elevation_m, math.sqrt(max(0.0, float(variance)))

    def depth(self, name: str, to: str = "top") -> Depth | None:
        """Depth below the latest surface of the ground; None unless both were shot at that point."""
        ground, part = self.of(name, "grade"), self.of(name, to)
        if ground is None or part is None:
            return None
        return Depth(name, to, *self.difference(ground, part), ground.day)

    def drop(self, a: str, b: str) -> tuple[float, float] | None:
        """How far apart in height the tops (marks) of two points are, and its standard deviation, metres."""
        one, other = self.of(a), self.of(b)
        if one is None or other is None:
            return None
        metres, sigma = self.difference(one, other)
        return abs(metres), sigma


def solve_levels(record: PropertyRecord) -> LevelSolution:
    """Adjust all levels of one property.

    Without `[benchmark]` some point that was shot as a backsight is held instead, at the assumed elevation: heights
    are then right among themselves. What does not hang together with the benchmark gets no elevation, but a finding.
    """
    if not record.levels:
        return LevelSolution()
    words, place = LevelWording(record), record.property
    # a spreadsheet drops the last zero of 7.10: one notebook is read to one step, the finest it shows
    step = min(shot.reading.step_m for shot in record.levels)
    sights = [_sight(shot, place.measured, step) for shot in record.levels]
    held = _benchmark(record, sights)
    joined, apart = connected(sights, held.target)
    findings = [] if held.given else [words.no_benchmark(held.target.name, held.height_m)]
    findings += words.unconnected(apart, held.target.name)
    fixed = {held.target: held.height_m}
    fit, loops = adjust_sights(joined, fixed), find_loops(joined, fixed)
    limit = chi2_quantile(0.95, fit.spare) if fit.spare else None
    elevations, collimation = _elevations(fit), estimate_collimation(fit)
    lost = set(apart)
    shots = [shot for shot, sight in zip(record.levels, sights, strict=True) if sight not in lost]
    findings += words.doubts(fit, loops, shots, collimation, passed=limit is None or fit.chi2 <= limit)
    findings += words.collimation(fit, collimation)
    findings += words.unchecked(sum(not each.checked for each in elevations), len(elevations))
    return LevelSolution(
        held.target.name,
        held.height_m,
        held.datum,
        elevations,
        fit.covariance,
        loops,
        fit.chi2,
        limit,
        collimation,
        tuple(findings),
    )


def _sight(shot: LevelShot, measured: Measured, step_m: float) -> Sight:
    """Turn one row into an equation.

    Its variance is that of the reading (never finer than the notebook's step over root 12), of the beam over the
    sight, and, on the ground, of the surface itself. A set-up of a backsight and a foresight on firm marks so has
    2 r^2 + b^2 (d1^2 + d2^2).
    """
    reading = measured.rod_sigma.metres if measured.rod_sigma is not None else READ_SIGMA_M
    sight_m = shot.distance.metres if shot.distance is not None else None
    parts = [
        max(reading, step_m / math.sqrt(12)),
        BEAM_SIGMA_RAD * (USUAL_SIGHT_M if sight_m is None else sight_m),
        GROUND_SIGMA_M if shot.to == "grade" else 0.0,
    ]
    day = (shot.day or measured.on) if shot.to == "grade" else None
    target = Target(shot.on, shot.to, day)
    return Sight(shot.setup, target, shot.reading.metres, math.hypot(*parts), shot.foresight is None, sight_m)


@dataclass(frozen=True, slots=True)
class _Held:
    """What all elevations refer to."""

    target: Target
    height_m: float
    datum: str
    given: bool  #: named under `[benchmark]`


def _benchmark(record: PropertyRecord, sights: list[Sight]) -> _Held:
    """Find what is held: the benchmark if it was shot, else a backsight, reference points first, then by name.

    The order of the rows does not count, for rows that only moved are no change of the record.
    """
    given, assumed = record.property.benchmark, ASSUMED[record.property.units]
    if given is not None and any(sight.target == Target(given.on) for sight in sights):
        if given.elevation is None:
            return _Held(Target(given.on), assumed, given.datum or "assumed", True)
        return _Held(Target(given.on), given.elevation.metres, given.datum or "datum not named", True)
    known = set(record.reference_names())
    candidates = [sight.target for sight in sights if sight.back] or [sight.target for sight in sights]
    held = min(candidates, key=lambda t: (t.to != "top", t.name not in known, t.name, t.to, t.day or date.min))
    return _Held(held, assumed, "assumed", False)


def _elevations(fit: LevelFit) -> tuple[Elevation, ...]:
    shots = Counter(sight.target for sight in fit.sights)
    redundancy = fit.redundancy
    free = redundancy < 1e-9
    noticed = np.where(free, np.inf, DELTA_0 * fit.sigma / np.sqrt(np.where(free, 1.0, redundancy)))
    hidden = noticed > NOTICEABLE_M
    return tuple(
        Elevation(
            target.name,
            target.to,
            float(fit.elevations[k]),
            math.sqrt(max(0.0, float(fit.covariance[k, k]))),
            shots[target],
            not bool((np.abs(fit.influence[k, hidden]) > BEARS_ON_IT).any()),
            target.day,
        )
        for k, target in enumerate(fit.targets)
    )

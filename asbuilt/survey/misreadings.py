"""Likely misreadings: what people really do wrong with a tape, tried on a set that disagrees, best first.

Nothing is ever applied here; each answer is a correction that somebody may make with a reason.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.measurements import Side, Tie
from asbuilt.survey.adjust import Adjustment, adjust
from asbuilt.survey.joint import Joint, solve_together
from asbuilt.survey.network import TOLD_APART_CHI2
from asbuilt.survey.observations import Distance, Observations
from asbuilt.survey.quality import chi2_quantile
from asbuilt.survey.readings import Slip, slips
from asbuilt.survey.screening import Screening
from asbuilt.survey.start import Candidate, locate_point
from asbuilt.units import FOOT_M, format_length

Array = NDArray[np.float64]

LID_RADIUS_M = FOOT_M
"""From the edge of a 24-in lid to its centre (common practice)."""

LARGEST_DROP_M = 2.0
"""The most that a slope tape is thought to have dropped unnoticed."""

_SLOPE = "slope not reduced"
_SUSPECT_W = 2.0  # a tape whose standardised residual stays under this is not tried by itself
_MOST_POINTS = 3  # points whose tapes are tried, most suspicious first
_SOLVED_AGAIN = 6  # trial solutions that are solved in full
_BELIEVED = 0.999  # one clean set in twenty fails at 5 %: a correction must not be refused for that
_FREE_NUMBER = 1.0  # what a slip with a free number, the drop, takes off chi-square by itself: it fits any long tape
_FAR_FROM_MEETING = 300.0  # chi-square of a point's own tapes beyond which no error of their far ends excuses them
_GATE = 3.29  # standard deviations by which a trial reading may miss the prediction


@dataclass(frozen=True, slots=True)
class Misreading:
    """One slip that would explain the disagreement."""

    kind: str  #: digits swapped, 1 ft off, wrong reference point, names exchanged, slope not reduced, other side ...
    ties: tuple[Tie, ...]  #: as they stand
    corrected: tuple[Tie, ...]  #: as they would have been written
    chi2: float  #: of the whole set with the correction
    limit: float  #: what it must stay under

    @property
    def passes(self) -> bool:
        """Tell whether the whole set agrees with the correction."""
        return self.chi2 <= self.limit

    def sentence(self) -> str:
        """Say it: what stands, what it would have been, and the slip."""
        pairs = zip(self.ties, self.corrected, strict=True)
        return f"{'; '.join(_change(old, new) for old, new in pairs)} ({self.kind})"


def _change(old: Tie, new: Tie) -> str:
    was = f"{old.from_} to {old.to} {old.distance.as_read}"
    if (old.from_, old.to) != (new.from_, new.to):
        other = new.from_ if old.from_ != new.from_ else new.to
        return f"{was} may have been taped from {other}"
    if old.distance != new.distance:
        return f"{was} may have been {new.distance.as_read}"
    if new.drop is not None and old.drop is None:
        return f"{was} may have dropped {new.drop.as_read}"
    return f"{was} may be on the other side"


@dataclass(frozen=True, slots=True)
class _Left:
    """A solution with one tape of one point left out."""

    node: int
    fit: Adjustment
    spare: int

    def predicted(self, anchor: int) -> tuple[float, float]:
        """Distance from an anchor to the point, and its standard deviation, metres."""
        delta = self.fit.places[self.node] - self.fit.places[anchor]
        metres = float(np.hypot(*delta))
        ray = delta / metres
        cross = self.fit.block(self.node, anchor)
        joint = self.fit.block(self.node) + self.fit.block(anchor) - cross - cross.T
        return metres, math.sqrt(max(float(ray @ joint @ ray), 0.0))


def explain(joint: Joint, screening: Screening) -> list[Misreading]:
    """List the slips that make a disagreeing set agree, best first.

    Parameters
    ----------
    joint
        The solution that fails.
    screening
        Its tests.

    Returns
    -------
    At most six, each solved again with its correction; empty where the set agrees or no known slip explains it. A
    point that its tapes put across from its noted side is explained even where the set agrees.
    """
    if joint.fit is None or screening.limit is None:
        return []
    trials = list(_other_side(joint, screening.limit))
    if screening.alarm:
        for node in _suspect_points(joint, screening):
            trials += _trials(joint, node, screening.limit)
    trials.sort(key=_rank)
    solved = [_solved(joint, trial) for trial in trials[:_SOLVED_AGAIN]]
    return sorted((trial for trial in solved if trial is not None and trial.passes), key=_rank)


def _rank(trial: Misreading) -> float:
    """Order of the explanations: by chi-square, less what a free number takes off it by itself."""
    return trial.chi2 + (_FREE_NUMBER if trial.kind == _SLOPE else 0.0)


def _suspect_points(joint: Joint, screening: Screening) -> list[int]:
    """Points with the most suspicious tapes, worst first."""
    worst: dict[int, float] = {}
    for test in screening.tests:
        equation = test.equation
        if isinstance(equation, Distance) and isinstance(equation.source, Tie):
            for node in equation.nodes:
                if node >= joint.observations.references and abs(test.standardised) > _SUSPECT_W:
                    worst[node] = max(worst.get(node, 0.0), abs(test.standardised))
    return sorted(worst, key=lambda node: -worst[node])[:_MOST_POINTS]


def _trials(joint: Joint, node: int, limit: float) -> Iterator[Misreading]:
    """Every slip of every tape of one point that would fit, by its predicted distance."""
    rows = [row for row, d in enumerate(joint.used.distances) if node in d.nodes and isinstance(d.source, Tie)]
    for row in rows:
        for left in _leave_out(joint, node, row):
            if left.fit.chi2 <= chi2_quantile(_BELIEVED, max(left.spare, 1)):
                yield from _of_one_tape(joint, joint.used.distances[row], left, limit)
    yield from _exchanged(joint, node, rows, limit)


def _leave_out(joint: Joint, node: int, row: int) -> Iterator[_Left]:
    """Solve with one of a point's tapes left out, the point begun anew from the tapes that stay.

    Two tapes leave two places, and a third that is misread does not tell which: there is a solution for each.
    """
    assert joint.datum is not None  # noqa: S101 - explain() has looked
    observations = joint.used.without((row,))
    tapes = [d for d in observations.distances if node in d.nodes]
    if len({d.far(node) for d in tapes}) < 2 and not any(o.p == node for o in observations.offsets):
        return
    for start in _starts(joint, node, tapes, observations):
        fit = adjust(observations, start, joint.datum)
        yield _Left(node, fit, fit.degrees_of_freedom)


def _starts(joint: Joint, node: int, tapes: Sequence[Distance], observations: Observations) -> list[Array]:
    """Give the places to begin from: those before the blunder bent the joint solution, the point's own anew."""
    placed = joint.network.places
    places = np.full((len(joint.observations.names), 2), np.nan)
    for other, place in placed.items():
        places[other] = place
    if not tapes or any(o.p == node for o in observations.offsets):
        return [places]
    allowed = _own_places(joint, node, tapes)
    near = [c for c in allowed if c.chi2 - allowed[0].chi2 < TOLD_APART_CHI2]
    starts = []
    for candidate in near:
        start = places.copy()
        start[node] = candidate.place
        starts.append(start)
    return starts or [places]


def _own_places(joint: Joint, node: int, tapes: Sequence[Distance]) -> list[Candidate]:
    """Give the places that a point's own tapes allow, on its noted side where there is one, cheapest first."""
    placed = joint.network.places
    anchors = np.array([placed[d.far(node)] for d in tapes])
    found = locate_point(anchors, [d.metres for d in tapes], [d.sigma_m for d in tapes])
    return [c for c in found if joint.sides.allow(node, c.place, placed)] or found


def _of_one_tape(joint: Joint, tape: Distance, left: _Left, limit: float) -> Iterator[Misreading]:
    tie = tape.source
    assert isinstance(tie, Tie)  # noqa: S101 - walls are not among the rows
    units = joint.record.property.units
    metres, spread = left.predicted(tape.far(left.node))
    noise = math.hypot(spread, tape.sigma_m)
    shift = tape.metres - tie.distance.metres  # slope reduction as it stands
    for slip in slips(tie.distance, units, lid_radius_m=LID_RADIUS_M):
        miss = (slip.metres + shift - metres) / noise
        if abs(miss) < _GATE:
            yield Misreading(slip.kind, (tie,), (_rewritten(tie, slip),), left.fit.chi2 + miss**2, limit)
    yield from _not_reduced(tie, tape, metres, noise, left.fit.chi2, limit, units)
    yield from _wrong_name(joint, tie, tape, left, limit)


def _rewritten(tie: Tie, slip: Slip) -> Tie:
    return replace(tie, distance=replace(tie.distance, as_read=slip.text, metres=slip.metres))


def _not_reduced(
    tie: Tie, tape: Distance, metres: float, noise: float, chi2: float, limit: float, units: str
) -> Iterator[Misreading]:
    """Try a tape that sloped although it is noted level, or of which nothing is noted."""
    long = tie.distance.metres - metres
    if tie.drop is not None or long <= 0:
        return
    drop = math.sqrt(tie.distance.metres**2 - metres**2)
    if long > noise and drop <= LARGEST_DROP_M:
        written = replace(tie.distance, as_read=format_length(drop, units), metres=drop)
        corrected = replace(tie, held="slope", drop=written)
        yield Misreading(_SLOPE, (tie,), (corrected,), chi2, limit)


def _wrong_name(joint: Joint, tie: Tie, tape: Distance, left: _Left, limit: float) -> Iterator[Misreading]:
    """Try each other reference point: the tape was pulled from another reference point than the one written down."""
    taken = {d.far(left.node) for d in joint.used.distances if left.node in d.nodes}
    name = joint.observations.names[left.node]
    for anchor in range(joint.observations.references):
        if anchor in taken or np.isnan(left.fit.places[anchor][0]):
            continue
        metres, spread = left.predicted(anchor)
        miss = (tape.metres - metres) / math.hypot(spread, tape.sigma_m)
        if abs(miss) < _GATE:
            other = joint.observations.names[anchor]
            corrected = replace(tie, from_=other) if tie.to == name else replace(tie, to=other)
            yield Misreading("wrong reference point", (tie,), (corrected,), left.fit.chi2 + miss**2, limit)


def _exchanged(joint: Joint, node: int, rows: Sequence[int], limit: float) -> Iterator[Misreading]:
    """Two tapes of the point with their names exchanged."""
    assert joint.datum is not None  # noqa: S101 - explain() has looked
    for k, first in enumerate(rows):
        for second in rows[k + 1 :]:
            a, b = joint.used.distances[first], joint.used.distances[second]
            if a.far(node) == b.far(node):
                continue
            swapped = list(joint.used.distances)
            swapped[first] = replace(a, metres=b.metres, sigma_m=b.sigma_m)
            swapped[second] = replace(b, metres=a.metres, sigma_m=a.sigma_m)
            if not _may_fit(joint, node, swapped):
                continue
            trial = _tried(joint, node, replace(joint.used, distances=tuple(swapped)))
            if trial <= 2 * limit:
                one, other = a.source, b.source
                assert isinstance(one, Tie) and isinstance(other, Tie)  # noqa: S101 - walls are not among the rows
                corrected = (_renamed(one, other, joint, node), _renamed(other, one, joint, node))
                yield Misreading("names exchanged", (one, other), corrected, trial, limit)


def _may_fit(joint: Joint, node: int, distances: Sequence[Distance]) -> bool:
    """Tell whether a point's own tapes alone, their far ends taken as error-free, come near to meeting."""
    if any(o.p == node for o in joint.used.offsets):
        return True
    own = _own_places(joint, node, [d for d in distances if node in d.nodes])
    return bool(own) and own[0].chi2 < _FAR_FROM_MEETING


def _tried(joint: Joint, node: int, observations: Observations) -> float:
    """Chi-square of a changed set, the point begun anew."""
    assert joint.datum is not None  # noqa: S101 - explain() has looked
    tapes = [d for d in observations.distances if node in d.nodes]
    return min(adjust(observations, start, joint.datum).chi2 for start in _starts(joint, node, tapes, observations))


def _renamed(tie: Tie, other: Tie, joint: Joint, node: int) -> Tie:
    """Give a tie the other one's far end."""
    name = joint.observations.names[node]
    far = other.from_ if other.to == name else other.to
    return replace(tie, from_=far) if tie.to == name else replace(tie, to=far)


def _other_side(joint: Joint, limit: float) -> Iterator[Misreading]:
    """Turn the noted side of each point that its tapes put across from it."""
    assert joint.fit is not None  # noqa: S101 - explain() has looked
    for node in joint.against_side:
        name = joint.observations.names[node]
        sided = tuple(tie for tie in joint.record.ties if tie.to == name and tie.side is not None)
        if all(tie.side is not None and tie.side.word in _OPPOSITE for tie in sided):
            corrected = tuple(replace(tie, side=_turned(tie.side)) for tie in sided)
            yield Misreading("other side", sided, corrected, joint.fit.chi2, limit)


_OPPOSITE = {"left": "right", "right": "left", "north": "south", "south": "north", "east": "west", "west": "east"}


def _turned(side: Side | None) -> Side | None:
    return None if side is None else replace(side, word=_OPPOSITE[side.word])


def _solved(joint: Joint, trial: Misreading) -> Misreading | None:
    """Solve the whole property again with the correction; None where it then loses a point."""
    changes = dict(zip(map(id, trial.ties), trial.corrected, strict=True))
    ties = tuple(changes.get(id(tie), tie) for tie in joint.record.ties)
    again = solve_together(replace(joint.record, ties=ties), joint.azimuth_deg)
    if again.fit is None or len(again.network.places) < len(joint.network.places):
        return None
    spare = again.fit.degrees_of_freedom
    return replace(trial, chi2=again.fit.chi2, limit=chi2_quantile(_BELIEVED, max(spare, 1)))

"""One point while the hole is open: is it good, which tape is wrong, on which side is it, which tape comes next."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding
from asbuilt.survey.joint import Joint
from asbuilt.survey.misreadings import Misreading
from asbuilt.survey.network import Doubt
from asbuilt.survey.observations import Distance
from asbuilt.survey.planning import NextTape, next_tapes
from asbuilt.survey.screening import Screening, Tested, screen
from asbuilt.survey.sides import left_of
from asbuilt.survey.solution import Position, Solution
from asbuilt.units import FOOT_M

Array = NDArray[np.float64]

SLIPS_SAID = 3
"""Slips that are worth trying in a trench; the truth is among the first three nine times in ten."""

TELLS_APART_M = FOOT_M
"""A tape tells two places apart where it would read this much more from the one than from the other (our own)."""

_SAID_HERE = {"suspect", "several-blunders", "open-mirror", "unchecked", "global-test"}  # in words of its own
_HARDLY_CHECKED = 0.1  # redundancy below which the others say next to nothing of a tape
_FEELS = 2.0  # a tape whose standardised residual stays under this is not blamed where the tests name none


@dataclass(frozen=True, slots=True)
class Telling:
    """One more tape that would tell two places apart."""

    reference: str
    reads_m: tuple[float, float]  #: from the reference point to the first place and to the second


@dataclass(frozen=True, slots=True)
class Mirror:
    """The two places that a point fits, seen along a line that it was taped from."""

    a: str
    b: str
    out_m: tuple[float, float]  #: of each place square out from the line a > b, left positive
    telling: Telling | None  #: None where no reference point tells them apart


@dataclass(frozen=True, slots=True)
class Verdict:
    """What can be said of one point."""

    name: str
    units: str
    position: Position | None  #: None where nothing at all is measured to it
    tapes: tuple[Tested, ...]  #: its own taped distances with their tests, in the order they came in
    from_: tuple[str, ...]  #: the other end of each of these
    suspects: tuple[int, ...]  #: which of `tapes` disagree with the others, worst first
    named: bool  #: whether the geometry can tell which one it is
    slips: tuple[Misreading, ...]  #: what would explain it, best first
    mirror: Mirror | None
    next_tapes: tuple[NextTape, ...]  #: best first; empty where it has no place
    findings: tuple[Finding, ...]  #: everything else that the survey says of it

    @property
    def good(self) -> bool:
        """Tell whether it has a place and nothing disagrees."""
        return self.position is not None and self.position.place is not None and not self.suspects


def judge(
    joint: Joint, solution: Solution, findings: Iterable[Finding], slips: Iterable[Misreading], name: str
) -> Verdict:
    """Say everything of one point that matters while the hole is open.

    Parameters
    ----------
    findings
        Everything that the survey said of the property.
    slips
        What would explain the tapes that disagree, as `asbuilt.survey.suspects.examine` gives it.
    name
        A point or reference point, whether anything is measured to it or not.
    """
    units = joint.record.property.units
    node = joint.observations.index.get(name)
    if node is None:
        return Verdict(name, units, None, (), (), (), False, (), None, (), ())
    screening = screen(joint.used, joint.fit, joint.datum) if joint.fit is not None else None
    tapes = _tapes(screening, node)
    suspects, named = _suspects(screening, tapes)
    blamed = bool(suspects) or node in joint.against_side
    own = [slip for slip in slips if blamed and any(name in (tie.from_, tie.to) for tie in slip.ties)]
    return Verdict(
        name,
        units,
        solution.position(name),
        tapes,
        tuple(joint.observations.names[_distance(each).far(node)] for each in tapes),
        suspects,
        named,
        tuple(own[:SLIPS_SAID]),
        _mirror(joint, joint.network.doubts.get(node)),
        tuple(next_tapes(joint, name)) if node in joint.network.places and joint.fit is not None else (),
        tuple(each for each in findings if each.subject == name and each.code not in _SAID_HERE),
    )


def agreement_m(verdict: Verdict) -> float | None:
    """How well the tapes of a point agree: of three the third with the other two, of more the worst; None = unknown.

    Metres. With two tapes, or tapes that nothing checks, there is nothing to agree; a tape that the others hardly
    check says nothing either, whatever it reads.
    """
    if len(verdict.tapes) < 3:
        return None
    misses = [abs(each.blunder) for each in verdict.tapes if each.redundancy > _HARDLY_CHECKED]
    if len(verdict.tapes) == 3 and verdict.tapes[-1].redundancy > _HARDLY_CHECKED:
        return misses[-1]
    return max(misses, default=None)


def _distance(tested: Tested) -> Distance:
    assert isinstance(tested.equation, Distance)  # noqa: S101 - _tapes has looked
    return tested.equation


def _tapes(screening: Screening | None, node: int) -> tuple[Tested, ...]:
    tests = screening.tests if screening is not None else ()
    return tuple(each for each in tests if isinstance(each.equation, Distance) and node in each.equation.nodes)


def _suspects(screening: Screening | None, tapes: Sequence[Tested]) -> tuple[tuple[int, ...], bool]:
    """Which of a point's tapes disagree with the others, worst first, and whether one is named."""
    if screening is None or not (screening.suspects or screening.alarm):
        return (), False
    rows = {tested.row for tested in screening.suspects}
    blamed = [k for k, tape in enumerate(tapes) if tape.row in rows]
    if not blamed and screening.alarm and not rows:
        blamed = [k for k, tape in enumerate(tapes) if abs(tape.standardised) > _FEELS]
    named = screening.named and len(blamed) == 1
    return tuple(sorted(blamed, key=lambda k: -abs(tapes[k].standardised))), named


def _mirror(joint: Joint, doubt: Doubt | None) -> Mirror | None:
    """See the two places of an open mirror along a line between two things that it was taped from."""
    if doubt is None or doubt.code != "open-mirror" or len(doubt.places) != 2:
        return None
    places = joint.network.places
    for a, b in combinations([node for node in doubt.others if node in places], 2):
        out = [_out_m(places[a], places[b], place) for place in doubt.places]
        if out[0] * out[1] < 0:
            names = joint.observations.names
            return Mirror(names[a], names[b], (out[0], out[1]), _telling(joint, doubt.places, {a, b}))
    return None


def _out_m(start: Array, end: Array, place: Array) -> float:
    return left_of(start, end, place) / float(np.linalg.norm(end - start))


def _telling(joint: Joint, places: Sequence[Array], taped: Iterable[int]) -> Telling | None:
    """Choose the reference point from which a tape would differ most between two places."""
    gone = {reference.name for reference in joint.record.reference_points if reference.gone_on is not None}
    best: Telling | None = None
    for node in range(joint.observations.references):
        name = joint.observations.names[node]
        if node in taped or name in gone or node not in joint.network.places:
            continue
        first, second = (float(np.linalg.norm(place - joint.network.places[node])) for place in places)
        least = TELLS_APART_M if best is None else abs(best.reads_m[0] - best.reads_m[1])
        if abs(first - second) > least:
            best = Telling(name, (first, second))
    return best

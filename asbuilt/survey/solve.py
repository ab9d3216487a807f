"""The survey of one property: what was read in, where everything is and how well that is known out."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding, Severity, worst_first
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.adjust import Adjustment
from asbuilt.survey.checking import Check, Checker
from asbuilt.survey.joint import Joint, solve_together
from asbuilt.survey.observations import Distance, Observations
from asbuilt.survey.planning import NextTape, Planner
from asbuilt.survey.quality import chi2_quantile, ellipse_95, radius_95
from asbuilt.survey.screening import bent_by_suspects, leave_out_in_turn, without
from asbuilt.survey.slopes import level_findings
from asbuilt.survey.solution import Fit, Position, Solution, TieFit
from asbuilt.survey.weakness import weak_place
from asbuilt.survey.wording import Wording

Array = NDArray[np.float64]


DISAGREE = "the measurements disagree: something is misread"
"""Why a point is unchecked that a misread measurement is of, or has bent."""

_MUCH = 0.25  # a pull of this share of the radius is more than noise


def solve(record: PropertyRecord, azimuth_deg: float | None = None) -> Solution:
    """Solve one property from its measurements.

    Parameters
    ----------
    record
        What was read.
    azimuth_deg
        True azimuth of the wall that `[earth]` names, degrees clockwise from north; None = not known: then the
        first wall is the first axis, whatever its azimuth.

    Returns
    -------
    Positions in the output frame, the fit, and findings worst first. What cannot be located stands without a
    place and with a finding; nothing is raised for doubtful measurements.
    """
    return answer(solve_together(record, azimuth_deg))


def answer(joint: Joint) -> Solution:
    """Turn a joint solution into positions, fit and findings."""
    solution = replace(_Answer(joint).make(), levels=joint.observations.levels)
    heights = level_findings(joint.record, solution)
    return replace(solution, findings=tuple(worst_first([*solution.findings, *heights]))) if heights else solution


class _Answer:
    """What one joint solution says, in the output frame and in words."""

    def __init__(self, joint: Joint) -> None:
        self.joint = joint
        self.record = joint.record
        self.observations = joint.observations
        self.tapes = joint.observations.tapes()
        self.findings = list(joint.findings)
        self._used: dict[int, list[Distance]] = {}  #: taped distances that the places are reckoned from, by node
        self._left_out: set[int] = set()  # ends of measurements that are left out of the places
        self.planner = Planner(joint) if joint.fit is not None else None

    def make(self) -> Solution:
        """Judge every node and put the doubts into words."""
        network, fit = self.joint.network, self.joint.fit
        if fit is None:
            return self._nowhere()
        turn = _output_turn(self.joint.azimuth_deg)
        words = Wording(self.record, self.observations, network.places)
        summary = self._fit(fit)
        used = self.joint.used
        bent: dict[int, float] = {}
        if summary.passed is False:
            used, fit, bent = self._less_the_named(fit)
        self._used = used.tapes()
        checker = Checker(used, fit)
        positions = [
            self._position(node, fit, checker, turn, words, bent.get(node, 0.0))
            if node in network.places
            else self._absent(node)
            for node in range(len(self.observations.names))
        ]
        self.findings += [words.doubt(node, doubt) for node, doubt in sorted(network.doubts.items())]
        for node, noted in self.joint.against_side.items():
            self.findings.append(words.against_side(node, noted, fit.places[node]))
        turn_all = np.asarray(np.kron(np.eye(len(positions)), turn), dtype=float)
        return self._solution(positions, summary, turn_all, fit.covariance)

    def _less_the_named(self, fit: Adjustment) -> tuple[Observations, Adjustment, dict[int, float]]:
        """Leave the measurements that the tests name out of the places until somebody mends them.

        Returns
        -------
        The equations and the solution without them, and how far what is still suspected bends each node. The ends of
        what was left out do not count as checked.
        """
        out, _ = leave_out_in_turn(self.joint)
        if not out:
            return self.joint.used, fit, bent_by_suspects(self.joint, self.joint.used, fit)
        used, less = without(self.joint, [tested.row for tested in out])
        bent = bent_by_suspects(self.joint, used, less)
        self._left_out = {node for tested in out for node in tested.equation.nodes}
        return used, less, bent

    def _solution(self, positions: list[Position], fit: Fit, turn: Array, covariance: Array) -> Solution:
        count = self.observations.references
        return Solution(
            self.record.property.name,
            tuple(positions[count:]),
            tuple(positions[:count]),
            fit,
            tuple(worst_first(self.findings)),
            self.observations.names,
            turn @ covariance @ turn.T,
            self.joint.azimuth_deg,
        )

    def _nowhere(self) -> Solution:
        """Answer where nothing joins two reference points."""
        if not any(finding.severity is Severity.REFUSED for finding in self.findings):
            message = "No wall and no tie joins two reference points, so nothing can be placed."
            self._note("unconnected", self.record.property.name, message, Severity.ATTENTION)
        size = len(self.observations.names)
        positions = [self._absent(node) for node in range(size)]
        return self._solution(positions, Fit(0, 0, 0.0, None), np.eye(2 * size), np.zeros((2 * size, 2 * size)))

    def _fit(self, fit: Adjustment) -> Fit:
        spare = fit.degrees_of_freedom
        limit = chi2_quantile(0.95, spare) if spare > 0 else None
        summary = Fit(len(fit.residuals) - fit.idle, fit.unknowns, fit.chi2, limit)
        if summary.passed is False:
            message = (
                f"The measurements disagree by more than their accuracy allows: chi-square {fit.chi2:.1f}, "
                f"limit {limit:.1f} for {spare} checks."
            )
            act = "Pull the tapes that the other findings name again, while the hole is open."
            self._note("global-test", self.record.property.name, message, Severity.ATTENTION, act)
        return summary

    def _position(
        self, node: int, fit: Adjustment, checker: Checker, turn: Array, words: Wording, bent_m: float
    ) -> Position:
        """Judge one node; `bent_m` is how far a suspected blunder has pulled it, which its radius then must hold."""
        covariance = turn @ fit.block(node) @ turn.T
        radius = float(radius_95(covariance))
        check = checker.check(node)
        if bent_m > radius * _MUCH or node in self._left_out:
            check = Check(DISAGREE, check.unnoticed_m)
        name = self.observations.names[node]
        across = None
        if self._is_point(node):
            placed = [d for d in self.tapes.get(node, ()) if not np.isnan(fit.places[d.far(node)]).any()]
            weak = weak_place(
                node, self._used.get(node, []), placed, self.observations, fit, sided=node in self.joint.sides.of
            )
            across = weak.across
            mend = self._mend(name) if weak.across or weak.crossing_deg is not None or check.because else None
            self.findings += words.weak(node, weak, mend)
            if check.because and check.because != DISAGREE:  # what disagrees is said by name elsewhere
                self.findings.append(words.unchecked(node, check.because, mend))
        return Position(
            name=name,
            component=self._component(node),
            place=turn @ fit.places[node],
            covariance=covariance,
            r95_m=(across.r95_m if across is not None else radius) + bent_m,
            ellipse=ellipse_95(covariance) if across is None and bent_m <= radius * _MUCH else None,
            checked=check.because is None,
            unchecked_because=check.because,
            unnoticed_m=check.unnoticed_m,
            ties=self._tie_fits(node, fit.places),
        )

    def _mend(self, name: str) -> NextTape | None:
        """Give the tape that would help a point most."""
        if self.planner is None:
            return None
        return next(iter(self.planner.next_tapes(name)), None)

    def _absent(self, node: int) -> Position:
        nothing = np.full((len(self.observations.names), 2), np.nan)
        because = "it could not be located"
        ties = self._tie_fits(node, nothing)
        return Position(self.observations.names[node], self._component(node), unchecked_because=because, ties=ties)

    def _component(self, node: int) -> str | None:
        return self.record.component_of(self.observations.names[node]) if self._is_point(node) else None

    def _is_point(self, node: int) -> bool:
        return node >= self.observations.references

    def _tie_fits(self, node: int, places: Array) -> tuple[TieFit, ...]:
        ties = []
        for d in self.tapes.get(node, ()):
            residual = float(np.hypot(*(places[d.j] - places[d.i]))) - d.metres
            other = self.observations.names[d.far(node)]
            ties.append(TieFit(other, d.as_read, None if np.isnan(residual) else residual))
        return tuple(ties)

    def _note(self, code: str, subject: str, message: str, severity: Severity, act: str = "") -> None:
        self.findings.append(Finding(code, subject, message, severity, act))


def _output_turn(azimuth_deg: float | None) -> Array:
    """Matrix from (along the orienting wall, left of it) to (east, north)."""
    if azimuth_deg is None:
        return np.eye(2)
    sin, cos = np.sin(np.radians(azimuth_deg)), np.cos(np.radians(azimuth_deg))
    return np.array([[sin, -cos], [cos, sin]])

"""The survey of one property: what was read in, where everything is and how well that is known out."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding, Severity, worst_first
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.adjust import Adjustment, Datum, adjust
from asbuilt.survey.checking import Checker
from asbuilt.survey.footprint import first_places
from asbuilt.survey.network import ONE_PLACE_M, TOLD_APART_CHI2, Doubt, Network, Placer
from asbuilt.survey.observations import observe
from asbuilt.survey.quality import chi2_quantile, ellipse_95, radius_95
from asbuilt.survey.sides import Sides, UnclearSideError
from asbuilt.survey.solution import Fit, Position, Solution, TieFit
from asbuilt.survey.weakness import weak_place
from asbuilt.survey.wording import Wording

Array = NDArray[np.float64]


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
    return _Survey(record, azimuth_deg).solve()


class _Survey:
    """The steps of one solution, in order."""

    def __init__(self, record: PropertyRecord, azimuth_deg: float | None) -> None:
        self.record = record
        self.azimuth_deg = azimuth_deg
        self.observations = observe(record)
        self.sides = Sides(record, self.observations, azimuth_deg)
        self.tapes = self.observations.tapes()
        self.findings: list[Finding] = []

    def solve(self) -> Solution:
        """Place, adjust, judge and put into words."""
        for tie, why in self.observations.impossible:
            subject = f"{tie.from_} - {tie.to}"
            self._note("drop-longer-than-tape", subject, f"{subject}: {why}.", Severity.REFUSED)
        network, fit = self._place({})
        if fit is None:
            return self._nowhere(network)
        return self._answer(network, fit)

    # -- places

    def _place(self, known_open: Mapping[int, Doubt]) -> tuple[Network, Adjustment | None]:
        """Place and adjust; nodes whose mirror the joint solution leaves open are left out, and all is done again."""
        try:
            network = Placer(self.observations, self.sides, known_open).run(first_places(self.observations))
        except UnclearSideError as error:
            self._note("unclear-side", str(error).partition(":")[0], f"{error}.", Severity.REFUSED)
            return Network(), None
        datum = self._datum(network.places)
        if datum is None:
            return network, None
        places = self._array(network.places)
        fit = adjust(self.observations.among(set(network.places)), places, datum)
        opened = self._still_open(network, fit, datum)
        return self._place({**known_open, **opened}) if opened else (network, fit)

    def _array(self, places: Mapping[int, Array]) -> Array:
        array = np.full((len(self.observations.names), 2), np.nan)
        for node, place in places.items():
            array[node] = place
        return array

    def _still_open(self, network: Network, fit: Adjustment, datum: Datum) -> dict[int, Doubt]:
        """Mirrors that the joint solution does not tell apart: solved again from the other place."""
        opened = {}
        for node, mirror in network.mirrors.items():
            other = adjust(
                self.observations.among(set(network.places)),
                self._array({**network.places, node: mirror}),
                datum,
            )
            away = float(np.linalg.norm(other.places[node] - fit.places[node]))
            if away > ONE_PLACE_M and other.chi2 - fit.chi2 < TOLD_APART_CHI2:
                anchors = tuple(dict.fromkeys(d.far(node) for d in self.tapes[node]))
                opened[node] = Doubt("open-mirror", (fit.places[node], other.places[node]), anchors)
        return opened

    def _datum(self, places: Mapping[int, Array]) -> Datum | None:
        """Origin and orienting wall: those that `[earth]` names, else of the first wall, else of the first points."""
        index, earth = self.observations.index, self.record.property.earth
        placed = [node for node in range(self.observations.references) if node in places]
        if len(placed) < 2:
            return None
        start, end = placed[0], placed[1]
        if self.record.walls and {index[n] for n in _ends(self.record)} <= places.keys():
            start, end = (index[name] for name in _ends(self.record))
        origin = start
        if earth is not None and earth.reference is not None:
            if index[earth.reference] in places:
                origin = index[earth.reference]
                if not self.record.walls:
                    start, end = origin, next(node for node in placed if node != origin)
            else:
                message = f"{earth.reference}, which [earth] names, has no place of its own yet."
                self._note("earth-reference", earth.reference, message, Severity.ATTENTION)
        if self.azimuth_deg is not None and earth is not None and earth.wall_from and earth.wall_to:
            named = index[earth.wall_from], index[earth.wall_to]
            if set(named) <= places.keys():
                start, end = named
        return Datum(origin, start, end)

    # -- answers

    def _answer(self, network: Network, fit: Adjustment) -> Solution:
        used = self.observations.among(set(network.places))
        turn = _output_turn(self.azimuth_deg)
        words = Wording(self.record, self.observations, network.places)
        checker = Checker(used, fit)
        positions = [
            self._position(node, fit, checker, turn, words) if node in network.places else self._absent(node)
            for node in range(len(self.observations.names))
        ]
        for node, doubt in sorted(network.doubts.items()):
            self.findings.append(words.doubt(node, doubt))
        for node, noted in network.against_side.items():
            self.findings.append(words.against_side(node, noted, network.places[node]))
        summary = self._fit(fit)
        turn_all = np.asarray(np.kron(np.eye(len(positions)), turn), dtype=float)
        return self._solution(positions, summary, turn_all, fit.covariance)

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
            self.azimuth_deg,
        )

    def _nowhere(self, network: Network) -> Solution:
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
        summary = Fit(len(fit.residuals), fit.unknowns, fit.chi2, limit)
        if summary.passed is False:
            message = (
                f"The measurements disagree by more than their accuracy allows: chi-square {fit.chi2:.1f}, "
                f"limit {limit:.1f} for {spare} checks."
            )
            act = "Pull the tapes with the largest residuals again while the hole is open."
            self._note("global-test", self.record.property.name, message, Severity.ATTENTION, act)
        return summary

    def _position(self, node: int, fit: Adjustment, checker: Checker, turn: Array, words: Wording) -> Position:
        covariance = turn @ fit.block(node) @ turn.T
        check = checker.check(node)
        name = self.observations.names[node]
        across = None
        if self._is_point(node):
            tapes = [d for d in self.tapes.get(node, ()) if not np.isnan(fit.places[d.far(node)]).any()]
            weak = weak_place(node, tapes, self.observations, fit, sided=node in self.sides.of)
            across = weak.across
            self.findings += words.weak(node, weak)
        if check.because and self._is_point(node):
            self._note("unchecked", name, f"{name} is not checked: {check.because}.", Severity.NOTE)
        return Position(
            name=name,
            component=self._component(node),
            place=turn @ fit.places[node],
            covariance=covariance,
            r95_m=across.r95_m if across is not None else float(radius_95(covariance)),
            ellipse=ellipse_95(covariance) if across is None else None,
            checked=check.because is None,
            unchecked_because=check.because,
            unnoticed_m=check.unnoticed_m,
            ties=self._tie_fits(node, fit.places),
        )

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


def _ends(record: PropertyRecord) -> tuple[str, str]:
    return record.walls[0].from_, record.walls[0].to


def _output_turn(azimuth_deg: float | None) -> Array:
    """Matrix from (along the orienting wall, left of it) to (east, north)."""
    if azimuth_deg is None:
        return np.eye(2)
    sin, cos = np.sin(np.radians(azimuth_deg)), np.cos(np.radians(azimuth_deg))
    return np.array([[sin, -cos], [cos, sin]])

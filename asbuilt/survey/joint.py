"""All measurements of one property together: which place each point takes, and the joint solution."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding, Severity
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.adjust import Adjustment, Datum, adjust
from asbuilt.survey.footprint import first_places
from asbuilt.survey.network import AGAINST_SIDE_CHI2, ONE_PLACE_M, TOLD_APART_CHI2, Doubt, Network, Placer
from asbuilt.survey.observations import Distance, Observations, observe
from asbuilt.survey.sides import Sides, UnclearSideError

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Joint:
    """One property placed and adjusted, with what it was made of."""

    record: PropertyRecord
    observations: Observations  #: every equation
    used: Observations  #: those among the nodes that have a place: the rows of `fit`
    sides: Sides
    network: Network
    fit: Adjustment | None  #: None where nothing joins two reference points
    datum: Datum | None
    azimuth_deg: float | None  #: true azimuth of the datum's direction; None = not known
    against_side: Mapping[int, Array]  #: nodes that the tapes put across from their noted side, and that side's place
    findings: tuple[Finding, ...]  #: why it could not be placed or oriented as asked

    def tapes(self, node: int) -> list[Distance]:
        """List a node's taped distances to nodes that have a place."""
        return [d for d in self.observations.tapes().get(node, ()) if d.far(node) in self.network.places]


def solve_together(record: PropertyRecord, azimuth_deg: float | None = None) -> Joint:
    """Place and adjust one property; see `asbuilt.survey.solve.solve` for the parameters."""
    return _Joining(record, azimuth_deg).run()


@dataclass(slots=True)
class _Joining:
    record: PropertyRecord
    azimuth_deg: float | None
    observations: Observations = field(init=False)
    sides: Sides = field(init=False)
    findings: dict[str, Finding] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.observations = observe(self.record)
        self.sides = Sides(self.record, self.observations, self.azimuth_deg)

    def run(self) -> Joint:
        for tie, why in self.observations.impossible:
            subject = f"{tie.from_} - {tie.to}"
            self._note("drop-longer-than-tape", subject, f"{subject}: {why}.", Severity.REFUSED)
        network, fit, datum = self._place({})
        against: dict[int, Array] = {}
        if fit is not None and datum is not None:
            fit, against = self._review_sides(network, fit, datum)
        used = self.observations.among(set(network.places))
        azimuth = self.azimuth_deg if datum is not None and self._orients(datum) else None
        findings = tuple(self.findings.values())
        return Joint(self.record, self.observations, used, self.sides, network, fit, datum, azimuth, against, findings)

    def _place(self, known_open: Mapping[int, Doubt]) -> tuple[Network, Adjustment | None, Datum | None]:
        """Place and adjust; nodes whose mirror the joint solution leaves open are left out, and all is done again."""
        try:
            network = Placer(self.observations, self.sides, known_open).run(first_places(self.observations))
        except UnclearSideError as error:
            self._note("unclear-side", str(error).partition(":")[0], f"{error}.", Severity.REFUSED)
            return Network(), None, None
        datum = self._datum(network.places)
        if datum is None:
            return network, None, None
        fit = adjust(self.observations.among(set(network.places)), self._array(network.places), datum)
        opened = self._still_open(network, fit, datum)
        return self._place({**known_open, **opened}) if opened else (network, fit, datum)

    def _array(self, places: Mapping[int, Array]) -> Array:
        array = np.full((len(self.observations.names), 2), np.nan)
        for node, place in places.items():
            array[node] = place
        return array

    def _still_open(self, network: Network, fit: Adjustment, datum: Datum) -> dict[int, Doubt]:
        """Mirrors that the joint solution does not tell apart: solved again from the other place."""
        opened = {}
        used = self.observations.among(set(network.places))
        for node, mirror in network.mirrors.items():
            other = adjust(used, self._array({**network.places, node: mirror}), datum)
            away = float(np.linalg.norm(other.places[node] - fit.places[node]))
            if away > ONE_PLACE_M and other.chi2 - fit.chi2 < TOLD_APART_CHI2:
                anchors = tuple(dict.fromkeys(d.far(node) for d in self.observations.tapes()[node]))
                opened[node] = Doubt("open-mirror", (fit.places[node], other.places[node]), anchors)
        return opened

    def _review_sides(self, network: Network, fit: Adjustment, datum: Datum) -> tuple[Adjustment, dict[int, Array]]:
        """Bring points that ended across from their noted side back over the line, where the tapes allow it.

        Returns
        -------
        The solution, and the points that the tapes clearly put on the other side, with where the note has them.
        """
        used = self.observations.among(set(network.places))
        against = {}
        for node in self.sides.of:
            if node not in network.places or self.sides.allow(node, fit.places[node], _placed(fit.places)):
                continue
            noted = self.sides.across(node, fit.places[node], _placed(fit.places))
            start = _placed(fit.places) | {node: noted}
            other = adjust(used, self._array(start), datum)
            kept = self.sides.allow(node, other.places[node], _placed(other.places))
            if kept and other.chi2 - fit.chi2 < AGAINST_SIDE_CHI2:
                fit = other
            elif float(np.linalg.norm(noted - fit.places[node])) > ONE_PLACE_M:
                against[node] = noted
        return fit, against

    def _datum(self, places: Mapping[int, Array]) -> Datum | None:
        """Origin and orienting wall: those that `[earth]` names, else of the first wall, else of the first points."""
        placed = [node for node in range(self.observations.references) if node in places]
        if len(placed) < 2:
            return None
        start, end = self._direction(places) or (placed[0], placed[1])
        return Datum(self._origin(places, start), start, end)

    def _origin(self, places: Mapping[int, Array], otherwise: int) -> int:
        """Node of the reference point that `[earth]` names, where it has a place."""
        earth = self.record.property.earth
        if earth is None or earth.reference is None:
            return self._first_corner(places, otherwise)
        node = self.observations.index[earth.reference]
        if node in places:
            return node
        message = f"{earth.reference}, which [earth] names, has no place of its own yet."
        self._note("earth-reference", earth.reference, message, Severity.ATTENTION, "Tape it from two house corners.")
        return otherwise

    def _first_corner(self, places: Mapping[int, Array], otherwise: int) -> int:
        first = self.observations.index[self.record.walls[0].from_] if self.record.walls else otherwise
        return first if first in places else otherwise

    def _direction(self, places: Mapping[int, Array]) -> tuple[int, int] | None:
        """Give the ends of the orienting wall: the one whose azimuth is known, else the first wall."""
        index, named = self.observations.index, self._named_wall()
        if named is not None and set(named) <= places.keys():
            return named
        if named is not None:
            ends = " > ".join(self.observations.names[node] for node in named)
            message = f"The azimuth is not used: the wall {ends} has no place of its own yet."
            self._note("no-azimuth-wall", ends, message, Severity.ATTENTION, "Tape both ends of it.")
        if not self.record.walls:
            return None
        first = self.record.walls[0]
        ends_of_first = index[first.from_], index[first.to]
        return ends_of_first if set(ends_of_first) <= places.keys() else None

    def _named_wall(self) -> tuple[int, int] | None:
        """Give the ends of the wall that `[earth]` gives an azimuth."""
        heading = self.sides.heading
        return None if heading is None else (heading.start, heading.end)

    def _orients(self, datum: Datum) -> bool:
        return self._named_wall() == (datum.start, datum.end)

    def _note(self, code: str, subject: str, message: str, severity: Severity, act: str = "") -> None:
        self.findings[code + subject] = Finding(code, subject, message, severity, act)


def _placed(places: Array) -> dict[int, Array]:
    """Give the nodes that have a place."""
    return {node: place for node, place in enumerate(places) if not np.isnan(place[0])}

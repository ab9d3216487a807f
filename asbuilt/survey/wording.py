"""Doubts of the survey in words, each with its number and the next act."""

from collections.abc import Mapping
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding, Severity
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.network import Doubt
from asbuilt.survey.observations import Observations
from asbuilt.survey.planning import NextTape
from asbuilt.survey.sides import left_of
from asbuilt.survey.weakness import FAR_OUT, Weakness
from asbuilt.units import format_length, format_small

Array = NDArray[np.float64]


class Wording:
    """Findings about one property, in its own units and with the names of its own nodes."""

    def __init__(self, record: PropertyRecord, observations: Observations, places: Mapping[int, Array]) -> None:
        self._units = record.property.units
        self._names = observations.names
        self._references = observations.references
        self._places = places
        index = observations.index
        closed = ([index[name] for name in walk.corners] for walk in observations.walks if walk.closed)
        self._rings = [np.array([places[n] for n in ring]) for ring in closed if places.keys() >= set(ring)]

    def length(self, metres: float) -> str:
        """Give a length as the property's people write it."""
        return format_length(metres, self._units)

    def small(self, metres: float) -> str:
        """Give an uncertainty in the property's units, rounded up."""
        return format_small(metres, self._units)

    def doubt(self, node: int, doubt: Doubt) -> Finding:
        """Say why a node has no place, and what would give it one."""
        name = self._names[node]
        if doubt.code == "open-mirror":
            return self._open_mirror(name, doubt)
        others = self._listed(doubt.others)
        if doubt.code == "tapes-do-not-meet":
            gap = self.length(doubt.gap_m)
            message = f"{name}: the tapes from {others} do not meet: {gap} are missing or too much."
            return _attention(doubt.code, name, message, "Pull both again; a third tape shows which one is wrong.")
        if doubt.code == "single-tied":
            message = f"{name} has a tape from {others} only, which leaves it anywhere on a circle."
            return _attention(doubt.code, name, message, "Tape it from a second and a third reference point.")
        if doubt.code == "hangs-on-open":
            have = "have" if len(doubt.others) > 1 else "has"
            message = f"{name} has no place because {others} {have} none."
            return _attention(doubt.code, name, message, f"Settle {others}, or tape {name} from the house.")
        if doubt.code == "unconnected":
            message = f"{name} is tied to {others}, but no measurement joins them to the house."
            return _attention(doubt.code, name, message, "Tape one of them from two house corners.")
        return self._untied(node)

    def _untied(self, node: int) -> Finding:
        name = self._names[node]
        if node < self._references:
            message = f"Nothing is measured to or from the reference point {name}."
            act = "Tape it from two other reference points to use it."
            return Finding("no-ties", name, message, Severity.NOTE, act)
        message = f"{name} is listed but nothing is measured to it."
        act = "Tape it from three reference points before it is covered."
        return _attention("no-ties", name, message, act)

    def _open_mirror(self, name: str, doubt: Doubt) -> Finding:
        line = self._line_between(doubt)
        apart = self.length(float(np.linalg.norm(doubt.places[0] - doubt.places[1])))
        if line is None:
            message = f"{name} fits two places, {apart} apart, and so does what it was taped from."
            return _attention("open-mirror", name, message, "Tape it from a third point of the house.")
        a, b = (self._names[node] for node in line)
        spots = " or ".join(self._spot(*line, place) for place in doubt.places)
        message = f"{name} fits two places, {apart} apart: {spots} of the line {a} > {b}."
        act = f"Note the side, such as `left of {a} > {b}`, or tape it from a point well off that line."
        return _attention("open-mirror", name, message, act)

    def _line_between(self, doubt: Doubt) -> tuple[int, int] | None:
        """Choose two of what it was taped from, best with the two places on either side of their line."""
        placed = [node for node in doubt.others if node in self._places]
        pairs = list(combinations(placed, 2))
        for a, b in pairs:
            line = self._places[a], self._places[b]
            if left_of(*line, doubt.places[0]) * left_of(*line, doubt.places[1]) < 0:
                return a, b
        return pairs[0] if pairs else None

    def _spot(self, a: int, b: int, place: Array) -> str:
        start, end = self._places[a], self._places[b]
        out = left_of(start, end, place) / float(np.linalg.norm(end - start))
        inside = " (inside the house)" if any(_holds(ring, place) for ring in self._rings) else ""
        return f"{self.length(abs(out))} {'left' if out >= 0 else 'right'}{inside}"

    def against_side(self, node: int, noted: Array, found: Array) -> Finding:
        """Say that the tapes and the noted side contradict each other."""
        name, apart = self._names[node], self.length(float(np.linalg.norm(noted - found)))
        message = f"{name}: the tapes put it {apart} from the noted side, across the line."
        act = "Look which side it is on, and correct the side or the tapes."
        return _attention("against-side", name, message, act)

    def weak(self, node: int, weak: Weakness, mend: NextTape | None) -> list[Finding]:
        """Say what is weak about a node that has a place, with the mend: the best tape that is still to be pulled."""
        name = self._names[node]
        findings = []
        if weak.across is not None:
            low, high = self.length(weak.across.low_m), self.length(weak.across.high_m)
            message = f"{name} lies near the line of what it was taped from: between {low} and {high} from it."
            act = self._mended(weak.across.r95_m, mend) or "A tape from a point well off that line mends it."
            findings.append(Finding("near-line", name, message, Severity.NOTE, act))
        elif weak.crossing_deg is not None:
            far = f" and it lies {weak.reach:.0f} times as far out as they are apart" if weak.reach >= FAR_OUT else ""
            message = (
                f"{name}: its tapes cross at {int(weak.crossing_deg)} degrees at best{far}, so it is known within "
                f"{self.small(weak.r95_m)} only."
            )
            act = self._mended(weak.r95_m, mend) or "A tape from another direction mends it."
            findings.append(Finding("weak-crossing", name, message, Severity.NOTE, act))
        return findings + [self._gap(name, *gap) for gap in weak.gaps]

    def unchecked(self, node: int, because: str, mend: NextTape | None) -> Finding:
        """Say why a node is not checked, and which tape would check it."""
        name = self._names[node]
        act = ""
        if mend is not None and mend.checks:
            act = f"With a tape from {mend.reference} a misread one would show."
        return Finding("unchecked", name, f"{name} is not checked: {because}.", Severity.NOTE, act)

    def _mended(self, r95_m: float, mend: NextTape | None) -> str:
        """Say what the best next tape does for the radius; empty where that is nothing worth saying."""
        if mend is None or self.small(mend.r95_m) == self.small(r95_m):
            return ""
        return f"One tape from {mend.reference} brings {self.small(r95_m)} to {self.small(mend.r95_m)}."

    def _gap(self, name: str, a: int, b: int, gap_m: float) -> Finding:
        """Say that two of a placed node's tapes do not meet."""
        message = f"{name}: the tapes from {self._listed((a, b))} do not meet by {self.length(gap_m)}."
        return _attention("tapes-do-not-meet", name, message, "Pull them again; one of them is misread.")

    def _listed(self, nodes: tuple[int, ...]) -> str:
        return " and ".join(self._names[node] for node in nodes) or "other points"


def _attention(code: str, subject: str, message: str, act: str) -> Finding:
    return Finding(code, subject, message, Severity.ATTENTION, act)


def _holds(ring: Array, place: Array) -> bool:
    """Tell whether a ring of corners holds a place: a ray to the right crosses it an odd number of times."""
    (x, y), (next_x, next_y) = ring.T, np.roll(ring, -1, axis=0).T
    spans = (y > place[1]) != (next_y > place[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        meets = x + (place[1] - y) / (next_y - y) * (next_x - x)
    return bool(np.count_nonzero(spans & (place[0] < meets)) % 2)

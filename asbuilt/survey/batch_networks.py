"""Many properties at once: their joint solutions as stacked normal equations.

What is batched: the places that the tapes of every point to seed corners allow (`batch_descent`), and the first joint
adjustment of each property, equation rows of all properties side by side, normal matrices of like size in one stack.
What stays property by property: reading the equations, the sides, the order in which points are placed, and the few
adjustments that follow where a mirror is in doubt; each hangs on the one before.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.adjust import Adjustment, Datum
from asbuilt.survey.batch_adjust import Wanted, adjust_many
from asbuilt.survey.batch_descent import Tapes, all_minima
from asbuilt.survey.footprint import first_places
from asbuilt.survey.joint import Joint, _Joining
from asbuilt.survey.network import Doubt, Network, Placer
from asbuilt.survey.observations import Distance, Observations
from asbuilt.survey.sides import Sides, UnclearSideError
from asbuilt.survey.start import SAME_PLACE_M, Candidate

Array = NDArray[np.float64]
Places = Mapping[int, Array]

RECORDS_AT_ONCE = 250
"""Properties in work at a time: it bounds the memory, and more gain under a tenth (measured)."""


def solve_many(records: Sequence[PropertyRecord], azimuths_deg: Sequence[float | None] | None = None) -> list[Joint]:
    """Place and adjust many properties.

    Parameters
    ----------
    records
        What was read.
    azimuths_deg
        True azimuth of each property's named wall, degrees; None = not known.

    Returns
    -------
    What `solve_together` gives for each, places to 1e-6 m.

    Raises
    ------
    ValueError
        If there are azimuths, but not one for each record.
    """
    azimuths = [None] * len(records) if azimuths_deg is None else azimuths_deg
    if len(azimuths) != len(records):
        raise ValueError(f"{len(azimuths)} azimuths for {len(records)} properties; accepted is one for each")
    joints: list[Joint] = []
    for begin in range(0, len(records), RECORDS_AT_ONCE):
        some = slice(begin, begin + RECORDS_AT_ONCE)
        joints += _together([_Prepared(r, a) for r, a in zip(records[some], azimuths[some], strict=True)])
    return joints


def _together(properties: "Sequence[_Prepared]") -> list[Joint]:
    _foresee(properties)
    wanted = {number: one for number, p in enumerate(properties) if (one := p.place_first()) is not None}
    for number, fit in zip(wanted, adjust_many(list(wanted.values())), strict=True):
        properties[number].first_fit = fit
    return [p.run() for p in properties]


@dataclass(slots=True)
class _Prepared(_Joining):
    """One property whose first placing and first adjustment are made beforehand; all else is that of `_Joining`."""

    seed: dict[int, Array] = field(init=False)
    foreseen: "dict[int, _Foreseen]" = field(init=False, default_factory=dict)
    first: tuple[Network, Datum] | None = field(init=False, default=None)
    first_fit: Adjustment | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        _Joining.__post_init__(self)
        self.seed = first_places(self.observations)

    def place_first(self) -> Wanted | None:
        """Place the points and say what is to be adjusted; None where `_place` has to speak."""
        try:
            network = _InformedPlacer(self.observations, self.sides, self.foreseen).run(self.seed)
        except UnclearSideError:
            return None
        datum = self._datum(network.places)
        if datum is None:
            return None
        self.first = network, datum
        return Wanted(self.observations.among(set(network.places)), self._array(network.places), datum)

    def _place(self, known_open: Mapping[int, Doubt]) -> tuple[Network, Adjustment | None, Datum | None]:
        if known_open or self.first is None or self.first_fit is None:
            return _Joining._place(self, known_open)
        network, datum = self.first
        opened = self._still_open(network, self.first_fit, datum)
        return _Joining._place(self, opened) if opened else (network, self.first_fit, datum)


# -- what the seed corners alone say


@dataclass(frozen=True, slots=True)
class _Foreseen:
    """What a node's tapes to seed corners allow."""

    ties: int  #: how many of them
    candidates: list[Candidate]


class _InformedPlacer(Placer):
    """Places as ever, but looks up what was foreseen."""

    def __init__(self, observations: Observations, sides: Sides, foreseen: Mapping[int, _Foreseen]) -> None:
        super().__init__(observations, sides, {})
        self._foreseen = foreseen

    def _options(self, node: int, places: Places) -> list[Candidate]:
        known = self._foreseen.get(node)
        # seed corners keep their places, so as many ties are the same ties
        if known is not None and known.ties == sum(d.far(node) in places for d in self._distances[node]):
            return known.candidates
        return super()._options(node, places)


def _foresee(properties: Sequence[_Prepared]) -> None:
    """Find the candidates of all nodes that only tapes to seed corners hold, of all properties, by tie count."""
    groups: dict[int, list[tuple[_Prepared, int, list[Distance]]]] = {}
    for one in properties:
        for node, ties in _seeded(one):
            groups.setdefault(len(ties), []).append((one, node, ties))
    for count, group in groups.items():
        anchors = np.array([[one.seed[d.far(node)] for d in ties] for one, node, ties in group])
        metres = np.array([[d.metres for d in ties] for _, _, ties in group])
        sigmas = np.array([[d.sigma_m for d in ties] for _, _, ties in group])
        candidates = _candidates(Tapes.of(anchors, metres, sigmas))
        for (one, node, _), found in zip(group, candidates, strict=True):
            one.foreseen[node] = _Foreseen(count, found)


def _seeded(one: _Prepared) -> Iterator[tuple[int, list[Distance]]]:
    """Nodes outside the seed, with their tapes to it; not those that a turn or an offset holds as well."""
    turns, offsets = one.observations.turns, one.observations.offsets
    held = {node for turn in turns for node in turn.nodes} | {node for offset in offsets for node in offset.nodes}
    for node, tapes in one.observations.tapes().items():
        ties = [d for d in tapes if d.far(node) in one.seed]
        if node not in one.seed and node not in held and len({d.far(node) for d in ties}) > 1:
            yield node, ties


def _candidates(tapes: Tapes) -> list[list[Candidate]]:
    """Distinct minima of each point, cheapest first, as `locate_point` gives them."""
    minima = all_minima(tapes)
    places = np.stack((minima.x, minima.y), axis=-1)
    normal = np.array([[minima.nxx, minima.nxy], [minima.nxy, minima.nyy]]).transpose(2, 3, 0, 1)
    covariance = np.linalg.inv(normal + np.eye(2) * 1e-6)
    order = np.argsort(minima.cost, axis=0, kind="stable")
    found: list[list[Candidate]] = [[] for _ in range(tapes.points)]
    for point, several in enumerate(found):
        for start in order[:, point]:
            place = places[start, point]
            if all(np.hypot(*(place - other.place)) > SAME_PLACE_M for other in several):
                several.append(Candidate(place, float(minima.cost[start, point]), covariance[start, point]))
    return found

"""Many cards at once: what a look at the tapes of each says, without solving the property as a whole.

A card is a property of one wall, whose ends are laid on the x-axis, and points and further corners taped from there. In
rounds, all that hang on what is placed already are located as arrays; corners count as error-free. That tells tapes
that do not meet, mirrors that nobody decided, and tapes that disagree; places and radii are what the joint solution
gives later, property by property.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.measurements import Side, Tie
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.batch import ManyPlaces, Status, locate_many
from asbuilt.survey.observations import Distance, observe
from asbuilt.survey.quality import chi2_quantile

Array = NDArray[np.float64]

MOST_TAPES = 6
"""Tapes to one point that are looked at; cards have two or three."""

_SIGNS = {"left": 1, "right": -1}


@dataclass(frozen=True, slots=True)
class Doubtful:
    """One point of a card that needs a look."""

    point: str
    code: str  #: tapes-do-not-meet, open-mirror, tapes-disagree or impossible-tape


@dataclass(slots=True)
class _Card:
    """One property while its points are placed."""

    places: dict[str, Array]
    references: frozenset[str]
    tapes: dict[str, list[tuple[str, Distance]]] = field(default_factory=dict)
    sides: dict[str, Side] = field(default_factory=dict)
    doubts: list[Doubtful] = field(default_factory=list)


def is_simple(record: PropertyRecord) -> bool:
    """Tell whether a property is of one wall, tapes and sides by name only, so that `look_at_many` can judge it."""
    if len(record.walls) != 1 or record.offsets or record.known_coordinates or record.levels:
        return False
    if record.property.earth is not None:
        return False
    sided = ((tie.to, tie.side) for tie in record.ties if tie.side is not None)
    return all(side.word in _SIGNS and to not in (side.a, side.b) for to, side in sided)


def look_at_many(records: Sequence[PropertyRecord]) -> list[list[Doubtful]]:
    """Look at the tapes of many simple properties.

    Parameters
    ----------
    records
        Properties for which `is_simple` holds.

    Returns
    -------
    list of list of Doubtful
        For each property the points that need a look; empty where all is well.

    Raises
    ------
    NoDistanceError
        As `observe`.
    """
    cards = [_card(record) for record in records]
    while wanted := [(card, name) for card in cards for name in _ready(card)]:
        _locate(wanted)
    return [card.doubts for card in cards]


def _card(record: PropertyRecord) -> _Card:
    seen = observe(record)
    wall = record.walls[0]
    ends = {wall.from_: np.zeros(2), wall.to: np.array([wall.length.metres, 0.0])}
    card = _Card(ends, frozenset(record.reference_names()))
    for distance in seen.distances:
        if isinstance(distance.source, Tie):
            i, j = seen.names[distance.i], seen.names[distance.j]
            card.tapes.setdefault(i, []).append((j, distance))
            card.tapes.setdefault(j, []).append((i, distance))
    card.doubts += [Doubtful(tie.to, "impossible-tape") for tie, _ in seen.impossible]
    for tie in record.ties:
        if tie.side is not None:
            card.sides.setdefault(tie.to, tie.side)
    return card


def _ready(card: _Card) -> list[str]:
    """Names that are not placed yet and have tapes from two places that are; corners before what hangs on them."""
    ready = [
        name
        for name, tapes in card.tapes.items()
        if name not in card.places and len({other for other, _ in tapes if other in card.places}) >= 2
    ]
    return [name for name in ready if name in card.references] or ready


def _locate(wanted: Sequence[tuple[_Card, str]]) -> None:
    """Locate one round of points, whatever card they belong to."""
    anchors = np.full((len(wanted), MOST_TAPES, 2), np.nan)
    distances, sigmas = np.ones(anchors.shape[:2]), np.ones(anchors.shape[:2])
    sides = np.zeros((len(wanted), 3), dtype=int)
    for row, (card, name) in enumerate(wanted):
        tapes = [(other, tape) for other, tape in card.tapes[name] if other in card.places][:MOST_TAPES]
        for column, (other, tape) in enumerate(tapes):
            anchors[row, column] = card.places[other]
            distances[row, column], sigmas[row, column] = tape.metres, tape.sigma_m
        sides[row] = _side(card.sides.get(name), [other for other, _ in tapes])
    found = locate_many(anchors, distances, sigmas, sides)
    ties = (~np.isnan(anchors[:, :, 0])).sum(axis=1)
    for row, (card, name) in enumerate(wanted):
        doubt = _doubt(found, row, int(ties[row]), name)
        if doubt is not None:
            card.doubts.append(doubt)
        if doubt is None or doubt.code == "tapes-disagree":
            card.places[name] = found.places[row]
        else:
            _without(card, name)


def _side(side: Side | None, anchors: list[str]) -> tuple[int, int, int]:
    if side is None or side.a not in anchors or side.b not in anchors:
        return 0, 0, 0
    return _SIGNS[side.word], anchors.index(side.a), anchors.index(side.b)


def _doubt(found: ManyPlaces, row: int, ties: int, name: str) -> Doubtful | None:
    status = Status(int(found.status[row]))
    if status is Status.TAPES_DO_NOT_MEET:
        return Doubtful(name, "tapes-do-not-meet")
    if status is not Status.LOCATED:
        return Doubtful(name, "open-mirror")
    disagree = ties > 2 and float(found.chi2[row]) > chi2_quantile(0.999, ties - 2)
    return Doubtful(name, "tapes-disagree") if disagree else None


def _without(card: _Card, name: str) -> None:
    """Take a point that has no place out of the card: nothing can hang on it."""
    del card.tapes[name]
    for tapes in card.tapes.values():
        tapes[:] = [(other, tape) for other, tape in tapes if other != name]

"""Walls, turns and diagonals -> first places of the corners."""

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.walks import Walk
from asbuilt.survey.adjust import Datum, adjust
from asbuilt.survey.observations import Observations
from asbuilt.survey.quality import chi2_quantile

Array = NDArray[np.float64]

_BELIEVABLE = 0.999999
"""A walk that fits worse than this by itself is left to the ties: some turn was guessed wrongly."""


def first_places(observations: Observations) -> dict[int, Array]:
    """Place the corners of the first walk, or else two reference points that a tie joins.

    Returns
    -------
    Places by node, metres; the first wall lies along x. Empty where nothing joins two reference points.
    """
    if not observations.walks:
        return _first_tie(observations)
    walk = observations.walks[0]
    index = observations.index
    chain = {index[name]: place for name, place in walk_chain(walk).items()}
    if walk.closed and any(wall.turn_deg is None for wall in walk.walls):
        return _fitted(observations, walk, chain)
    return chain


def walk_chain(walk: Walk) -> dict[str, Array]:
    """Follow the walls from the first corner, turn by turn.

    An unknown turn ends the chain of an open walk; in a closed one it is guessed from what is left of a full turn.
    """
    guess = _shared_turn(walk)
    here, heading = np.zeros(2), 0.0
    chain = {walk.walls[0].from_: here}
    for wall in walk.walls:
        here = here + wall.length.metres * np.array([np.cos(heading), np.sin(heading)])
        chain.setdefault(wall.to, here)
        turn = wall.turn_deg if wall.turn_deg is not None else guess
        if turn is None:
            break
        heading += np.radians(turn)
    return chain


def _shared_turn(walk: Walk) -> float | None:
    """Share what is left of a full turn among the unknown turns, degrees; None where the walk is open."""
    turns = [wall.turn_deg for wall in walk.walls]
    known = [turn for turn in turns if turn is not None]
    if not walk.closed or len(known) == len(turns):
        return None
    return min(((360.0 * hand - sum(known)) / (len(turns) - len(known)) for hand in (1, -1)), key=abs)


def _fitted(observations: Observations, walk: Walk, chain: dict[int, Array]) -> dict[int, Array]:
    """Fit a walk with guessed turns to its own walls and diagonals; only its first wall where that fails."""
    places = np.full((len(observations.names), 2), np.nan)
    for node, place in chain.items():
        places[node] = place
    start, end = (observations.index[name] for name in (walk.walls[0].from_, walk.walls[0].to))
    fit = adjust(observations.among(set(chain)), places, Datum(start, start, end))
    spare = fit.degrees_of_freedom
    if spare < 0 or fit.chi2 > (chi2_quantile(_BELIEVABLE, spare) if spare else 1.0):
        return {node: chain[node] for node in (start, end)}
    return {node: fit.places[node] for node in chain}


def _first_tie(observations: Observations) -> dict[int, Array]:
    among = (d for d in observations.distances if max(d.nodes) < observations.references)
    tie = min(among, key=lambda d: d.nodes, default=None)
    return {} if tie is None else {tie.i: np.zeros(2), tie.j: np.array([tie.metres, 0.0])}

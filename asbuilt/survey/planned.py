"""Something that is only planned, put beside what was measured: its corners by offsets from a wall, or by coordinates.

Its corners join the solution with their joint covariance, so that how far it will be from a lid is known as well as
the corners of the house allow.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from asbuilt.model.components import full_name
from asbuilt.survey.quality import radius_95
from asbuilt.survey.solution import Position, Solution

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Planned:
    """Corners of something planned, in the frame of a solution."""

    component: str
    places: Array  #: (n, 2), metres
    rests_on: tuple[str, ...]  #: reference points that they are set out from
    jacobian: Array  #: (2n, 2k): how the corners follow those
    own: Array  #: (2n, 2n): covariance of what is not in the reference points, square metres

    @property
    def names(self) -> tuple[str, ...]:
        """Full names of the corners."""
        return tuple(full_name(self.component, f"corner {number}") for number in range(1, len(self.places) + 1))


def set_out(
    solution: Solution, component: str, wall: tuple[str, str], corners: Sequence[tuple[float, float]], sigma_m: float
) -> Planned:
    """Plan corners along a wall line and square out from it.

    Parameters
    ----------
    wall
        Two reference points that have a place.
    corners
        How far along from the first, and to the left of the line; metres, to the right negative.
    sigma_m
        How well each will be set out, standard deviation of a coordinate.
    """
    a, b = (solution.position(name).place for name in wall)
    if a is None or b is None:
        raise ValueError(f"{wall} has no place")
    length = float(np.hypot(*(b - a)))
    u = (b - a) / length
    across = np.eye(2) - np.outer(u, u)
    places, rows = [], []
    for along, left in corners:
        lay = np.array([[along, -left], [left, along]])  # along u and left of it
        places.append(a + lay @ u)
        turn = lay @ across / length
        rows.append(np.hstack([np.eye(2) - turn, turn]))
    return Planned(component, np.array(places), wall, np.vstack(rows), sigma_m**2 * np.eye(2 * len(places)))


def put_down(component: str, places: Array, sigma_m: float) -> Planned:
    """Plan corners at places, (n, 2), metres, that are all off by the same unknown shift of this standard deviation."""
    count = len(places)
    own = np.asarray(sigma_m**2 * np.kron(np.ones((count, count)), np.eye(2)), float)
    return Planned(component, np.asarray(places, float), (), np.zeros((2 * count, 0)), own)


def with_planned(solution: Solution, planned: Planned) -> Solution:
    """Give the solution with the planned corners as points of it."""
    index = {name: number for number, name in enumerate(solution.names)}
    columns = [2 * index[name] + axis for name in planned.rests_on for axis in (0, 1)]
    cross = planned.jacobian @ solution.covariance[columns, :]
    inner = planned.jacobian @ solution.covariance[np.ix_(columns, columns)] @ planned.jacobian.T + planned.own
    covariance = np.block([[solution.covariance, cross.T], [cross, inner]])
    owns = [inner[at : at + 2, at : at + 2] for at in range(0, len(inner), 2)]
    points = [
        Position(name, planned.component, place, own, float(radius_95(own)))
        for name, place, own in zip(planned.names, planned.places, owns, strict=True)
    ]
    return replace(
        solution,
        points=(*solution.points, *points),
        names=(*solution.names, *planned.names),
        covariance=covariance,
    )

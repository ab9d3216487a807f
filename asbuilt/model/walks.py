"""The walk round a building: its corners in order, whether it closes, and which walls are one straight wall."""

from collections.abc import Sequence
from dataclasses import dataclass

from asbuilt.model.measurements import Wall

TURN_SUM_TOLERANCE_DEG = 5.0
"""How far declared turns may sum from 360: bays are declared in round degrees (our own figure)."""


@dataclass(frozen=True, slots=True)
class Walk:
    """Consecutive walls of one building."""

    walls: tuple[Wall, ...]

    @property
    def closed(self) -> bool:
        """Tell whether the walk ends where it began."""
        return self.walls[-1].to == self.walls[0].from_ and len(self.walls) > 2

    @property
    def corners(self) -> tuple[str, ...]:
        """Names of the corners in walking order, each once."""
        last = () if self.closed else (self.walls[-1].to,)
        return tuple(wall.from_ for wall in self.walls) + last

    @property
    def joints(self) -> tuple[tuple[Wall, Wall], ...]:
        """Pairs of walls that meet, the turn of the first being the angle between them."""
        pairs = list(zip(self.walls, self.walls[1:], strict=False))
        if self.closed:
            pairs.append((self.walls[-1], self.walls[0]))
        return tuple(pairs)

    @property
    def turn_sum_deg(self) -> float | None:
        """Sum of the turns of a closed walk, degrees, left positive; None if open or a turn is unknown."""
        turns = [wall.turn_deg for wall in self.walls]
        known = [turn for turn in turns if turn is not None]
        return sum(known) if self.closed and len(known) == len(turns) else None

    @property
    def hand(self) -> int | None:
        """+1 where the house lies left of the walk, -1 where right, None where the turns do not tell."""
        total = self.turn_sum_deg
        if total is None:
            return None
        return next((s for s in (1, -1) if abs(total - 360 * s) <= TURN_SUM_TOLERANCE_DEG), None)

    @property
    def straight_walls(self) -> tuple[tuple[str, ...], ...]:
        """Corners along each straight wall, in walking order; walls joined by turn 0 are one wall."""
        runs = [[self.walls[0].from_, self.walls[0].to]]
        for before, wall in zip(self.walls, self.walls[1:], strict=False):
            if before.turn_deg == 0:
                runs[-1].append(wall.to)
            else:
                runs.append([wall.from_, wall.to])
        if self.closed and self.walls[-1].turn_deg == 0 and len(runs) > 1:
            runs[0] = runs.pop() + runs[0][1:]
        return tuple(tuple(run) for run in runs)


def split_walks(walls: Sequence[Wall]) -> tuple[Walk, ...]:
    """Cut the rows of `walls.csv` into walks: a new one begins where a row does not go on from the one before."""
    walks: list[list[Wall]] = []
    for wall in walls:
        goes_on = walks and walks[-1][-1].to == wall.from_ and not Walk(tuple(walks[-1])).closed
        if goes_on:
            walks[-1].append(wall)
        else:
            walks.append([wall])
    return tuple(Walk(tuple(rows)) for rows in walks)


def wall_direction(walks: Sequence[Walk], a: str, b: str) -> tuple[str, str, int | None] | None:
    """Order two corners of one straight wall as the walk passes them.

    Returns
    -------
    The corner passed first, the other, and the walk's hand; None where the two are not on one straight wall.
    """
    for walk in walks:
        for run in walk.straight_walls:
            if a in run and b in run and a != b:
                first, second = sorted((a, b), key=run.index)
                return first, second, walk.hand
    return None


def outward_pair(walks: Sequence[Walk], names: Sequence[str]) -> tuple[str, str] | None:
    """Find the two of `names` that are the ends of one wall, as the walk passes them.

    Where more pairs than one are, the first in the order of `names`; None where there is none.
    """
    for k, a in enumerate(names):
        for b in names[k + 1 :]:
            run = wall_direction(walks, a, b)
            if run is not None:
                return run[0], run[1]
    return None

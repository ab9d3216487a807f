"""The walk round a building: whether its walls follow and close, and which are one straight run."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from asbuilt.errors import Problem
from asbuilt.model import walks
from asbuilt.model.measurements import Wall
from asbuilt.record.sheets.cells import Turn, shown
from asbuilt.record.sheets.rows import Row
from asbuilt.units import Length

_ORDER = "write the walls in walking order, each from where the one before ended; others go into ties.csv"


@dataclass(slots=True)
class RowWalk:
    """Rows of `walls.csv` that follow one another, as far as they could be read."""

    rows: list[Row] = field(default_factory=list)
    closed: bool = False  #: the last wall ends where the first began

    @property
    def corners(self) -> list[str]:
        """Names of the corners in walking order; a closed walk names its first corner again at the end."""
        return [name for name in (self.rows[0].get("from"), *(row.get("to") for row in self.rows)) if name]

    def as_walk(self) -> walks.Walk | None:
        """Give the walk of the model; None where a name in it is unreadable."""
        nowhere = Length("?", 0.0, 0.0)  # stands in for an unreadable length: only names and turns count here
        walls = [
            Wall(row.get("from"), row.get("to"), row.get("length") or nowhere, "?", _degrees(row)) for row in self.rows
        ]
        return walks.Walk(tuple(walls)) if all(wall.from_ and wall.to for wall in walls) else None


def _degrees(row: Row) -> float | None:
    turn: Turn | None = row.get("turn")
    return None if turn is None else turn.degrees


def walks_of_rows(rows: list[Row], problems: list[Problem]) -> list[RowWalk]:
    """Part the rows of `walls.csv` into walks, and note what does not follow, turn or close as it should."""
    found: list[RowWalk] = []
    corners: set[str] = set()
    pairs: dict[frozenset[str], Row] = {}
    end: str | None = None
    for row in rows:
        problem = _check_pair(row, pairs)
        begin, to = row.get("from"), row.get("to")
        if not found or found[-1].closed or (begin and end and begin != end):
            if found and not found[-1].closed and end is not None and to == end:
                reason = f"{shown(begin)} to {shown(to)} runs against the walk, which has come to {shown(end)}"
                problem = problem or ("from", reason, f"write it from {shown(to)} to {shown(begin)}")
                begin, to = to, begin
            else:
                if begin in corners:
                    ended = f"the wall before ends at {shown(end)}" if end else ""
                    ended = "that walk is closed" if found[-1].closed else ended
                    reason = f"a new walk begins at {shown(begin)}, which is a corner of another one; {ended}"
                    problem = problem or ("from", reason, _ORDER)
                found.append(RowWalk())
        walk = found[-1]
        walk.rows.append(row)
        walk.closed = to is not None and len(walk.rows) > 1 and to == walk.rows[0].get("from")
        if to in corners and not walk.closed:
            reason = f"the walk comes to {shown(to)}, where it has been or another one has"
            problem = problem or ("to", reason, f"a walk ends where it began, or stays open; {_ORDER}")
        corners |= {corner for corner in (begin, to) if corner is not None}
        if problem is not None:
            problems.append(row.problem(*problem))
        end = to
    for walk in found:
        _check_blank_turns(walk, problems)
        _check_closing(walk, problems)
        _check_reach(walk, problems)
    return found


def _check_pair(row: Row, pairs: dict[frozenset[str], Row]) -> tuple[str | None, str, str] | None:
    """Give column, reason and mend where a wall goes nowhere or is there already."""
    begin, to = row.get("from"), row.get("to")
    if begin is None or to is None:
        return None
    if begin == to:
        return "to", f"a wall from {shown(begin)} to itself", "name its two ends"
    earlier = pairs.setdefault(frozenset((begin, to)), row)
    if earlier is row:
        return None
    reason = f"the wall {shown(begin)} to {shown(to)} stands already in row {earlier.number}"
    return None, reason, "a second tape of it goes into ties.csv"


def _check_blank_turns(walk: RowWalk, problems: list[Problem]) -> None:
    for row in walk.rows:
        if row.blank("turn") and (walk.closed or row is not walk.rows[-1]):
            reason = f"the turn at {shown(row.raw.get('to', '?'))} is empty"
            accepted = "accepted: L, R, degrees or ?; only the last wall of an open walk needs none"
            problems.append(row.problem("turn", reason, accepted))


def _check_closing(walk: RowWalk, problems: list[Problem]) -> None:
    """Note a closed walk whose known turns do not make a full circle, and the one turn that would mend it."""
    turns = [_degrees(row) for row in walk.rows]
    known = [turn for turn in turns if turn is not None]
    if not walk.closed or len(known) < len(turns) or _closes(sum(known)):
        return
    mends = []
    for row, turn in zip(walk.rows, known, strict=True):
        word = {"L": "R", "R": "L"}.get(row.get("turn").as_read)
        if word is not None and _closes(sum(known) - 2 * turn):
            mends.append(f"{word} at {shown(row.raw.get('to', ''))} (row {row.number})")
    reason = f"the turns of the closed walk {' > '.join(walk.corners)} sum to {sum(known):+g} degrees"
    accepted = "a closed walk sums to +360 or -360"
    if mends:
        accepted += f"; one change would do: {' or '.join(mends)}"
    problems.append(walk.rows[-1].problem("turn", reason, accepted))


def _check_reach(walk: RowWalk, problems: list[Problem]) -> None:
    """Note a closed walk with one wall longer than all the others together: no turns at all can close it."""
    lengths = [(row.get("length"), row) for row in walk.rows]
    read = [(length.metres, length.as_read, row) for length, row in lengths if length is not None]
    if not walk.closed or len(read) < len(lengths):
        return
    longest, as_read, row = max(read, key=lambda each: each[0])
    if longest > _REACH * (sum(metres for metres, _, _ in read) - longest):
        reason = f"the wall is {shown(as_read)}, longer than all the other walls of the closed walk together"
        problems.append(row.problem("length", reason, "no turns can close such a walk; tape that wall again"))


_REACH = 1.05  # tapes may be a little out


def _closes(total: float) -> bool:
    return abs(abs(total) - 360) <= walks.TURN_SUM_TOLERANCE_DEG


class Runs:
    """The straight walls of the closed walks, found by the corners on them.

    Parameters
    ----------
    found
        The walks of the sheet.
    """

    def __init__(self, found: list[RowWalk]) -> None:
        self.unreadable = any(row.bad for walk in found for row in walk.rows)
        self._runs: list[tuple[tuple[str, ...], bool]] = []  # corners, and whether the turns tell the hand
        self._places: dict[str, list[tuple[int, int]]] = {}  # corner -> its run and its place on it
        for walk in filter(None, (each.as_walk() for each in found)):
            if walk.closed:
                handed = walk.hand is not None
                self._runs += [(run, handed) for run in walk.straight_walls]
        for number, (run, _) in enumerate(self._runs):
            for place, corner in enumerate(run):
                self._places.setdefault(corner, []).append((number, place))

    def through(self, corners: Iterable[str], *, handed: bool = False) -> list[tuple[str, str]]:
        """Find the straight walls on which at least two of these corners lie.

        Parameters
        ----------
        corners
            Names; those that are no corners count for nothing.
        handed
            Whether only walks count whose turns tell on which hand the house lies.

        Returns
        -------
        list
            For each such wall the first and the last of the corners, in walking order.
        """
        on_run: dict[int, list[int]] = {}
        for corner in dict.fromkeys(corners):
            for number, place in self._places.get(corner, ()):
                on_run.setdefault(number, []).append(place)
        return [
            (self._runs[number][0][min(places)], self._runs[number][0][max(places)])
            for number, places in sorted(on_run.items())
            if len(places) > 1 and (self._runs[number][1] or not handed)
        ]

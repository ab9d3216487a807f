"""The walk round a building: whether its walls follow and close, and which are one straight run."""

from dataclasses import dataclass, field

from asbuilt.errors import Problem
from asbuilt.record.sheet_cells import Turn, shown
from asbuilt.record.sheet_rows import Row

CLOSING_TOLERANCE_DEG = 5.0
"""How far declared turns may be from a full circle; they may be rounded, and the survey weighs them later."""

_ORDER = "write the walls in walking order, each from where the one before ended; others go into ties.csv"


@dataclass(slots=True)
class Walk:
    """Walls that follow one another."""

    rows: list[Row] = field(default_factory=list)
    closed: bool = False  #: the last wall ends where the first began

    @property
    def corners(self) -> list[str]:
        """Names of the corners in walking order; a closed walk names its first corner again at the end."""
        return [name for name in (self.rows[0].get("from"), *(row.get("to") for row in self.rows)) if name]

    def straight_runs(self) -> list[tuple[str, ...]]:
        """Give the corners of each straight run in walking order: walls joined by turn 0 are one wall."""
        rows = list(self.rows)
        if self.closed:  # begin after a corner that turns, or the run through the first corner would be cut
            start = next((i for i, row in enumerate(rows) if _degrees(row) != 0), len(rows) - 1)
            rows = rows[start + 1 :] + rows[: start + 1]
        runs = []
        run: list[str] = [rows[0].get("from")]
        for row in rows:
            run.append(row.get("to"))
            if _degrees(row) != 0:
                runs.append(run)
                run = [row.get("to")]
        if len(run) > 1:
            runs.append(run)
        return [tuple(each) for each in runs if all(each)]


def _degrees(row: Row) -> float | None:
    turn: Turn | None = row.get("turn")
    return None if turn is None else turn.degrees


def split_walks(rows: list[Row], problems: list[Problem]) -> list[Walk]:
    """Part the rows of `walls.csv` into walks, and note what does not follow, turn or close as it should."""
    walks: list[Walk] = []
    owners: dict[str, Walk] = {}
    pairs: dict[frozenset[str], Row] = {}
    end: str | None = None
    for row in rows:
        _check_pair(row, pairs, problems)
        begin, to = row.get("from"), row.get("to")
        if not walks or walks[-1].closed or (begin and end and begin != end):
            if walks and not walks[-1].closed and end is not None and to == end:
                reason = (
                    f"{shown(begin)} to {shown(to)} runs against the walk, which has come to {shown(end)}"
                )
                problems.append(row.problem("from", reason, f"write it from {shown(to)} to {shown(begin)}"))
                begin, to = to, begin
            else:
                walks.append(Walk())
                if begin is not None and begin in owners:
                    ended = f"the wall before ends at {shown(end)}" if end else "that walk is closed"
                    reason = f"a new walk begins at {shown(begin)}, which is a corner of another one; {ended}"
                    problems.append(row.problem("from", reason, _ORDER))
        walk = walks[-1]
        walk.rows.append(row)
        walk.closed = to is not None and len(walk.rows) > 1 and to == walk.rows[0].get("from")
        if begin is not None:
            owners.setdefault(begin, walk)
        if to in owners and not walk.closed and row.get("to") == to and begin != to:
            reason = f"the walk comes to {shown(to)}, where it has been or another one has"
            problems.append(row.problem("to", reason, f"a walk ends where it began, or stays open; {_ORDER}"))
        if to is not None:
            owners.setdefault(to, walk)
        end = to
    for walk in walks:
        _check_blank_turns(walk, problems)
        _check_closing(walk, problems)
    return walks


def _check_pair(row: Row, pairs: dict[frozenset[str], Row], problems: list[Problem]) -> None:
    begin, to = row.get("from"), row.get("to")
    if begin is None or to is None:
        return
    if begin == to:
        problems.append(row.problem("to", f"a wall from {shown(begin)} to itself", "name its two ends"))
        return
    earlier = pairs.setdefault(frozenset((begin, to)), row)
    if earlier is not row:
        reason = f"the wall {shown(begin)} to {shown(to)} stands already in row {earlier.number}"
        problems.append(row.problem(None, reason, "a second tape of it goes into ties.csv"))


def _check_blank_turns(walk: Walk, problems: list[Problem]) -> None:
    for row in walk.rows:
        if row.blank("turn") and (walk.closed or row is not walk.rows[-1]):
            reason = f"the turn at {shown(row.get('to') or '?')} is empty"
            accepted = "accepted: L, R, degrees or ?; only the last wall of an open walk needs none"
            problems.append(row.problem("turn", reason, accepted))


def _check_closing(walk: Walk, problems: list[Problem]) -> None:
    """Note a closed walk whose known turns do not make a full circle, and the one turn that would mend it."""
    turns = [_degrees(row) for row in walk.rows]
    known = [turn for turn in turns if turn is not None]
    if not walk.closed or len(known) < len(turns) or _closes(sum(known)):
        return
    mends = []
    for row, turn in zip(walk.rows, known, strict=True):
        word = {"L": "R", "R": "L"}.get(row.get("turn").as_read)
        if word is not None and _closes(sum(known) - 2 * turn):
            mends.append(f"{word} at {shown(row.get('to'))} (row {row.number})")
    reason = f"the turns of the closed walk {' > '.join(walk.corners)} sum to {sum(known):+g} degrees"
    accepted = "a closed walk sums to +360 or -360"
    if mends:
        accepted += f"; one change would do: {' or '.join(mends)}"
    problems.append(walk.rows[-1].problem("turn", reason, accepted))


def _closes(total: float) -> bool:
    return abs(abs(total) - 360) <= CLOSING_TOLERANCE_DEG


def runs_through(walks: list[Walk], corners: list[str]) -> list[tuple[str, str]]:
    """Find the straight walls of closed walks on which at least two of these corners lie.

    Returns
    -------
    list
        For each such wall the first and the last of the corners, in walking order.
    """
    found = []
    for walk in walks:
        if walk.closed:
            for run in walk.straight_runs():
                on_run = [corner for corner in run if corner in corners]
                if len(on_run) > 1:
                    found.append((on_run[0], on_run[-1]))
    return found

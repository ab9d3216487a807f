"""A wall line as it is typed: its two ends, and which hand is out."""

from asbuilt.jobs.locate import Located
from asbuilt.model.walks import split_walks, wall_direction
from asbuilt.record.prompt import Prompt
from asbuilt.record.sheets.cells import shown


def wall_line(found: Located, prompt: Prompt, wall: str, hand: str | None) -> tuple[str, str, str] | None:
    """Give the two ends of a wall line `A > B`, and the hand that is out; None = noted as wrong.

    Parameters
    ----------
    hand
        left or right of it; None = away from the house.
    """
    first, arrow, second = wall.partition(">")
    if not arrow or not first.strip() or not second.strip():
        prompt.refuse("--wall", f"{shown(wall)} is no wall", 'accepted: its two ends, such as "A > B"')
        return None
    a, b = prompt.reference("--wall", first.strip()), prompt.reference("--wall", second.strip())
    if a is None or b is None:
        return None
    places = {each.name: each.place for each in found.solution.references}
    if a == b or places[a] is None or places[b] is None:
        which = a if places[a] is None else b
        reason = f"{shown(a)} is named twice" if a == b else f"{shown(which)} has no place yet"
        prompt.refuse("--wall", reason, "name two reference points that are measured from one another")
        return None
    side = prompt.cell("--hand", "hand", hand) if hand is not None else _outward(found, a, b)
    if side is None and hand is None:
        prompt.refuse("--hand", f"{a} > {b} has no known outside", "say --hand left or --hand right of it")
    return None if side is None else (a, b, side)


def _outward(found: Located, a: str, b: str) -> str | None:
    run = wall_direction(split_walks(found.record.walls), a, b)
    if run is None or run[2] is None:
        return None
    inside_is_left = (run[2] == 1) == (run[0] == a)
    return "right" if inside_is_left else "left"

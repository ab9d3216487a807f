"""A rectangular house of 40 by 28 ft with a garage corner, and tapes to places near it; reckoned here, not by us.

Feet; A is the origin, B lies along the front wall, the front yard has negative y.
"""

import math
from typing import Any

CORNERS = {"A": (0.0, 0.0), "B": (40.0, 0.0), "C": (40.0, 28.0), "D": (0.0, 28.0), "garage": (70.0, 20.0)}
LID = (20.0, -15.0)
"""From A and from B the triangle 15, 20, 25."""

NAME = "Mill Lane 4"


def bare(feet: float) -> str:
    """Write feet as a person types them, feet and inches to the half inch: 23 4.5."""
    whole, inches = divmod(round(feet * 24) / 2, 12)
    return f"{whole:.0f} {inches:g}"


def feet_from(corner: str, place: tuple[float, float]) -> float:
    return math.dist(CORNERS[corner], place)


def tape(corner: str, place: tuple[float, float] = LID) -> str:
    """Read the tape from a corner to a place."""
    return bare(feet_from(corner, place))


def taped(place: tuple[float, float], *corners: str) -> list[str]:
    """Give corner and reading in turn, as they are typed."""
    return [word for corner in corners for word in (corner, tape(corner, place))]


def house(**points: dict[str, str]) -> dict[str, Any]:
    """Give the sheets of the house; the points of the septic tank with their cells, else two lids without a tape."""
    cells = points or {"inlet lid": {}, "outlet lid": {}}
    columns = ["from1", "tape1", "from2", "tape2", "from3", "tape3", "side", "held"]
    walls = [("A", "B"), ("B", "C"), ("C", "D"), ("D", "A")]
    garage = [[corner, "garage", tape(corner, CORNERS["garage"]), "level"] for corner in ("A", "B", "C")]
    return {
        "property": f'name = "{NAME}"\nunits = "ft-in"\n',
        "reference_points": [["name", "gone_on"], *([name, ""] for name in CORNERS), ["post", "2024-05-01"]],
        "walls": [["from", "to", "length", "turn"], *([a, b, bare(feet_from(a, CORNERS[b])), "L"] for a, b in walls)],
        "ties": [
            ["from", "to", "distance", "held"],
            *garage,
            ["B", "post", "12 0", "level"],
            ["A", "post", "50 0", ""],
        ],
        "points": [
            ["component", "point", *columns],
            *(["septic tank", name, *(row.get(column, "") for column in columns)] for name, row in cells.items()),
        ],
        "components": [["name", "kind"], ["septic tank", "septic tank"], ["pump tank", "pump tank"]],
    }

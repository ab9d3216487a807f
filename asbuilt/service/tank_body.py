"""The outside and the inside of a tank, feet: what it displaces, and how deep so much water stands in it."""

import math
from dataclasses import dataclass

from asbuilt.model.components import Component
from asbuilt.service.dosing import gallons_per_inch
from asbuilt.units import FOOT_M, US_GALLON_M3

HALVINGS = 60
"""Steps of the search for a depth: a range of some feet becomes far smaller than anything that is measured."""


@dataclass(frozen=True, slots=True)
class Body:
    """A box, an upright cylinder or a lying one."""

    length_ft: float
    width_ft: float
    height_ft: float
    form: str  #: box, round or lying

    @property
    def plan_ft2(self) -> float:
        """Area over which soil rests on it."""
        return math.pi * self.width_ft**2 / 4 if self.form == "round" else self.length_ft * self.width_ft

    def volume_ft3(self, up_to_ft: float) -> float:
        """Volume from its bottom up to a height."""
        height = min(max(up_to_ft, 0.0), self.height_ft)
        if self.form != "lying":
            return self.plan_ft2 * height
        r = self.height_ft / 2
        segment = r * r * math.acos((r - height) / r) - (r - height) * math.sqrt(max(0.0, 2 * r * height - height**2))
        return self.length_ft * segment


@dataclass(frozen=True, slots=True)
class Inside:
    """The room in a tank."""

    body: Body  #: inside sizes; outside ones where no wall is recorded
    plan_ft2: float | None  #: room in a foot of depth; None = a lying cylinder, whose room differs with the depth
    rough: str  #: why it is known only roughly; empty where it is known

    def volume_ft3(self, depth_ft: float) -> float:
        """Water that stands so deep in it."""
        depth = min(max(depth_ft, 0.0), self.body.height_ft)
        return self.body.volume_ft3(depth) if self.plan_ft2 is None else self.plan_ft2 * depth

    def depth_ft(self, volume_ft3: float) -> float | None:
        """Give how deep so much water stands in it; None where it cannot hold so much."""
        low, high = 0.0, self.body.height_ft
        if volume_ft3 <= 0:
            return 0.0
        if volume_ft3 > self.volume_ft3(high):
            return None
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if self.volume_ft3(middle) < volume_ft3 else (low, middle)
        return high


def body_of(tank: Component) -> Body | None:
    """Give the outside of a tank; None where a size is missing. A lying tank's height is its diameter."""
    form = tank.form or "box"
    if tank.width is None or (tank.length is None and form != "round"):
        return None
    width = tank.width.metres / FOOT_M
    height = width if form == "lying" else None if tank.height is None else tank.height.metres / FOOT_M
    length = width if tank.length is None else tank.length.metres / FOOT_M
    return None if height is None else Body(length, width, height, form)


def inside_of(tank: Component, body: Body) -> Inside | None:
    """Give the room in a tank of that outside; None where its recorded walls leave none.

    A box or an upright cylinder goes by its gallons an inch, a lying cylinder by its own sizes less the walls.
    """
    wall = 0.0 if tank.wall is None else tank.wall.metres / FOOT_M
    length, width, height = (size - 2 * wall for size in (body.length_ft, body.width_ft, body.height_ft))
    inner = Body(length, width, height, body.form)
    if min(length, width, height) <= 0:
        return None
    if body.form == "lying":
        return Inside(inner, None, "" if tank.wall is not None else "its wall is not recorded, so its room is less")
    per_inch = gallons_per_inch(tank)
    if per_inch is None:
        return None
    plan_ft2 = 12 * per_inch.value * US_GALLON_M3 / FOOT_M**3
    return Inside(inner, plan_ft2, per_inch.words if per_inch.rough else "")

"""How much water in a bare tank holds it while the hole round it is full to its top."""

from dataclasses import dataclass

from asbuilt.model.components import Component
from asbuilt.service.flotation import WATER_LB_FT3, uplift_lb
from asbuilt.service.tank_body import body_of, inside_of
from asbuilt.units import FOOT_M


@dataclass(frozen=True, slots=True)
class HoldingWater:
    """What holds a tank without any soil over it, water standing outside as high as its top."""

    depth_m: float | None  #: of water inside, so that weights just equal the uplift; None = not told
    why: str = ""  #: why it is not told
    rough: str = ""  #: why the true depth may be greater; empty where it is known
    quarter_holds: bool | None = None  #: whether water up to a quarter of its outside height would; None = not told


def holding_water(tank: Component) -> HoldingWater:
    """Reckon the water that holds a bare tank, weights just as large as the uplift: no factor of safety in it."""
    body = body_of(tank)
    if body is None or tank.weight_lb is None:
        lacking = [words for words, known in (("weight", tank.weight_lb), ("outside sizes", body)) if known is None]
        return HoldingWater(None, f"without its {' and '.join(lacking)} on record nobody can tell")
    inside = inside_of(tank, body)
    if inside is None:
        return HoldingWater(None, "the recorded walls leave no room in it; check wall in components.csv")
    short_ft3 = max(0.0, uplift_lb(body.volume_ft3(body.height_ft)) - tank.weight_lb) / WATER_LB_FT3
    depth_ft = inside.depth_ft(short_ft3)
    quarter = short_ft3 <= inside.volume_ft3(body.height_ft / 4)
    told = None if inside.rough and quarter and short_ft3 > 0 else quarter  # less room than reckoned may not hold it
    if depth_ft is None:
        return HoldingWater(None, "by its recorded weight it floats even when full; check the weight", "", told)
    return HoldingWater(depth_ft * FOOT_M, "", inside.rough if depth_ft > 0 else "", told)

"""How much water in a bare tank holds it while the hole round it is full to its top."""

from dataclasses import dataclass

from asbuilt.model.components import Component
from asbuilt.service.dosing import gallons_per_inch
from asbuilt.service.flotation import WATER_LB_FT3, Body, body_of, uplift_lb
from asbuilt.units import FOOT_M, US_GALLON_M3


@dataclass(frozen=True, slots=True)
class HoldingWater:
    """What holds a tank without any soil over it, water standing outside as high as its top."""

    depth_m: float | None  #: of water inside, so that weights just equal the uplift; None = even a full one floats
    quarter_holds: bool  #: whether water up to a quarter of its outside height would


def holding_water(tank: Component) -> HoldingWater | None:
    """Reckon the water that holds a bare tank, weights just as large as the uplift: no factor of safety in it.

    Returns
    -------
    HoldingWater or None
        None where sizes or weight are not recorded, or the form does not give gallons an inch.
    """
    body, per_inch = body_of(tank), gallons_per_inch(tank)
    if body is None or tank.weight_lb is None or per_inch is None or body.form == "lying":
        return None
    lb_per_ft = 12 * per_inch.value * US_GALLON_M3 / FOOT_M**3 * WATER_LB_FT3
    short_lb = max(0.0, uplift_lb(body.volume_ft3(body.height_ft)) - tank.weight_lb)
    depth_ft = short_lb / lb_per_ft
    fits = depth_ft <= _inside_ft(tank, body)
    return HoldingWater(depth_ft * FOOT_M if fits else None, short_lb <= lb_per_ft * body.height_ft / 4)


def _inside_ft(tank: Component, body: Body) -> float:
    """Height inside: outside less the wall at its bottom and its top."""
    return body.height_ft if tank.wall is None else body.height_ft - 2 * tank.wall.metres / FOOT_M

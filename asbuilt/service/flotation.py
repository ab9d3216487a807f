"""Can an emptied tank float? Uplift of the groundwater against the tank's weight and the soil over it.

Pounds and feet, as the trade's tables have them. The reckoning is kept on the safe side, and the rule it is kept by
(`BOOKKEEPING`) is printed with every answer: it is no substitute for an engineer's anchoring design.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from asbuilt.model.components import Component
from asbuilt.rules.profile import Limit, Profile
from asbuilt.service.tank_body import Body, body_of, inside_of
from asbuilt.units import FOOT_M

WATER_LB_FT3 = 62.4
"""Weight of fresh water (FEMA P-259, Example C7)."""

CONCRETE_LB_FT3 = 150.0
"""Weight of concrete (FEMA P-259, Example C7)."""

ANCHOR_SOURCE = "FEMA P-259, Example C7"
"""Where the reckoning of an anchor stands."""

BOOKKEEPING = (
    "Tank empty. Only the soil straight over the tank counts, at its weight under water; no friction at its sides, no "
    "risers, pipes or pump."
)
"""What is counted and what is not; every point of it is on the safe side."""

FRAGILE = ("plastic", "poly", "fiberglass", "fibreglass", "frp", "hdpe")
"""Materials whose tanks can also be pressed in when empty (common practice)."""


class Verdict(StrEnum):
    """The three answers."""

    FLOATS = "floats by these figures"
    HOLDS = "does not float by these figures"
    UNKNOWN = "cannot tell: treat as able to float"


@dataclass(frozen=True, slots=True)
class Factors:
    """What a profile asks for, and where that stands."""

    required: float  #: weights by uplift, at least
    soil_lb_ft3: float  #: weight of soil under water, at most so much counts
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Flotation:
    """Whether an emptied tank floats, by these figures."""

    verdict: Verdict
    required: float
    factor: float | None  #: weights by uplift; infinite where no water reaches it; None = not reckoned
    worst_factor: float | None  #: the same with water up to the ground; None = not reckoned
    uplift_lb: float | None
    weight_lb: float | None
    soil_lb: float | None
    water_inside_m: float | None  #: depth of water in it that holds it with the factor; None = none needed or not known
    missing: tuple[str, ...]  #: columns of components.csv that are not filled
    fragile: bool  #: its walls can be pressed in as well
    words: str
    sources: tuple[str, ...]
    no_water: str = ""  #: why water_inside_m is not told although some is needed
    concrete_ft3: float | None = None  #: of an anchor that makes up what is short; None = nothing is, or not reckoned


def factors_of(profile: Profile) -> Factors | None:
    """Take the factors out of a rule profile; None where it has none."""
    factor = _one(profile, "flotation_factor")
    soil = _one(profile, "soil_weight")
    if factor is None or soil is None:
        return None
    return Factors(factor.value, soil.value, (factor.source(), soil.source()))


def _one(profile: Profile, key: str) -> Limit | None:
    return next(iter(profile.limits_of(key, ["tank"])), None)


def uplift_lb(volume_ft3: float) -> float:
    """Uplift of so much displaced water."""
    return WATER_LB_FT3 * volume_ft3


def net_uplift_lb(volume_ft3: float, weight_lb: float, factor: float) -> float:
    """Give what is to be held down besides the weight: uplift times the factor, less the weight; FEMA P-259, C7."""
    return uplift_lb(volume_ft3) * factor - weight_lb


def anchor_concrete_ft3(net_lb: float) -> float:
    """Concrete under water that holds so much down; FEMA P-259, C7."""
    return max(0.0, net_lb) / (CONCRETE_LB_FT3 - WATER_LB_FT3)


def flotation(tank: Component, factors: Factors, groundwater_m: float | None) -> Flotation:
    """Judge whether a tank floats when it is emptied.

    Parameters
    ----------
    tank
        Its outside sizes, weight and cover are taken from the component.
    factors
        What the rule profile asks for.
    groundwater_m
        Depth of the highest groundwater that is known there below finished grade, metres; None = not known.

    Returns
    -------
    Flotation
        Where size, weight or groundwater is missing, or the factor lies between 1 and what is asked for, nobody can
        tell. A cover that is not recorded counts as no soil, with the water up to the tank's top.
    """
    body, missing = body_of(tank), _missing(tank, groundwater_m)
    if body is None or tank.weight_lb is None:
        return _unknown(tank, factors, missing)
    cover_ft = 0.0 if tank.cover is None else tank.cover.metres / FOOT_M
    soil = factors.soil_lb_ft3 * body.plan_ft2 * cover_ft
    held = tank.weight_lb + soil
    worst = held / uplift_lb(body.volume_ft3(body.height_ft))
    if groundwater_m is None:
        return _unknown(tank, factors, missing, worst, tank.weight_lb, soil)
    under_ft = body.height_ft if tank.cover is None else cover_ft + body.height_ft - groundwater_m / FOOT_M
    uplift = uplift_lb(body.volume_ft3(under_ft))
    factor = held / uplift if uplift > 0 else math.inf
    verdict = _verdict(factor, factors.required, cover_known=tank.cover is not None)
    short_lb = net_uplift_lb(body.volume_ft3(under_ft), held, factors.required)
    water_m, no_water = _water_inside(tank, body, short_lb)
    concrete = anchor_concrete_ft3(short_lb) if short_lb > 0 else None
    return Flotation(
        verdict,
        factors.required,
        factor,
        worst,
        uplift,
        tank.weight_lb,
        soil,
        water_m,
        missing,
        is_fragile(tank),
        " ".join(
            each
            for each in (_words(verdict, factor, factors.required, missing, worst), _anchor(concrete, short_lb))
            if each
        ),
        factors.sources,
        no_water,
        concrete,
    )


def is_fragile(tank: Component) -> bool:
    """Tell whether an empty tank can be pressed in as well: plastic and fiberglass, and where no material is said."""
    material = (tank.material or "").casefold()
    return not material or any(word in material for word in FRAGILE)


def _missing(tank: Component, groundwater_m: float | None) -> tuple[str, ...]:
    needless = {"round": ("length",), "lying": ("height",)}.get(tank.form or "box", ())
    asked = [each for each in ("length", "width", "height", "weight_lb", "cover") if each not in needless]
    named = [name for name in asked if getattr(tank, name) is None]
    return (*named, *(("groundwater",) if groundwater_m is None else ()))


def _verdict(factor: float, required: float, *, cover_known: bool) -> Verdict:
    if factor >= required:
        return Verdict.HOLDS
    return Verdict.FLOATS if factor < 1 and cover_known else Verdict.UNKNOWN


def _unknown(
    tank: Component,
    factors: Factors,
    missing: tuple[str, ...],
    worst: float | None = None,
    weight: float | None = None,
    soil: float | None = None,
) -> Flotation:
    words = _words(Verdict.UNKNOWN, None, factors.required, missing, worst)
    return Flotation(
        Verdict.UNKNOWN,
        factors.required,
        None,
        worst,
        None,
        weight,
        soil,
        None,
        missing,
        is_fragile(tank),
        words,
        factors.sources,
    )


_PLAIN = {"weight_lb": "the empty tank's weight", "cover": "the soil over it", "groundwater": "the groundwater depth"}


def _words(
    verdict: Verdict, factor: float | None, required: float, missing: tuple[str, ...], worst: float | None
) -> str:
    """Say the answer in a few plain sentences."""
    named = [_PLAIN.get(each, f"the tank's outside {each}") for each in missing]
    not_recorded = f"Not recorded: {', '.join(named)}." if missing else ""
    flooded = ""
    if worst is not None:
        then = ": then it floats" if worst < 1 else ""
        flooded = f"With water up to the ground the weights would be {worst:.2f} times the uplift{then}."
    if factor is None:
        return f"{not_recorded} {flooded}".strip()
    if math.isinf(factor):
        return f"The groundwater on record does not reach the tank. {flooded} {not_recorded}".strip()
    asked = f"{required:g} is asked for" if verdict is Verdict.HOLDS else f"less than the {required:g} asked for"
    said = f"Weight and soil are {factor:.2f} times the uplift; {asked}."
    return " ".join(each for each in (said, flooded, not_recorded) if each)


def _anchor(concrete_ft3: float | None, short_lb: float) -> str:
    """Say what an anchor would have to weigh; which one is built, and how it is tied on, is an engineer's design."""
    if concrete_ft3 is None:
        return ""
    return (
        f"{short_lb:,.0f} lb are short of what is asked for; concrete of about {concrete_ft3:,.0f} ft3 under water "
        f"would make that up (reckoned as in {ANCHOR_SOURCE}). The anchoring itself is a licensed engineer's design."
    )


def _water_inside(tank: Component, body: Body, short_lb: float) -> tuple[float | None, str]:
    """Give the depth of water that makes up what is short, metres, or why that is not told; neither if none is."""
    if short_lb <= 0:
        return None, ""
    inside = inside_of(tank, body)
    if inside is None:
        return None, "the recorded walls leave no room in it"
    if inside.rough:  # less room than that means deeper water, and a sheet cannot show a doubt beside a number
        return None, f"the room in it is only roughly known ({inside.rough})"
    depth = inside.depth_ft(short_lb / WATER_LB_FT3)
    if depth is None or (tank.liquid_depth is not None and depth > tank.liquid_depth.metres / FOOT_M):
        return None, "even filled to its liquid level it does not weigh enough"
    return depth * FOOT_M, ""

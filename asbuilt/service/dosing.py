"""A pump tank in figures: gallons in an inch, the dose between its floats, what drains back, what the pump moves."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from asbuilt.findings import Finding, Severity
from asbuilt.model.components import Component
from asbuilt.model.site_readings import SiteReading
from asbuilt.rules.kinds import holds
from asbuilt.units import INCH_M

GALLON_IN3 = 231
"""Cubic inches in a US gallon, exact (NIST Handbook 44, appendix C)."""

LEVELS = ("float-off", "float-on", "float-alarm", "inlet-invert")
"""Readings of levels in the tank, from the lowest to the highest."""

PUMP_TANKS = ("pump tank", "dosing tank", "dose tank", "pump chamber", "dosing chamber")
"""Kinds of components that are pump tanks."""


@dataclass(frozen=True, slots=True)
class GallonsPerInch:
    """How many US gallons an inch of depth holds, and how that is known."""

    value: float
    words: str
    rough: bool = False  #: from outside sizes, or from a volume that is only nominal


@dataclass(frozen=True, slots=True)
class Levels:
    """Float settings in force on a day, metres, all measured one way."""

    on: date  #: the day of the latest of them
    off_m: float
    on_m: float
    alarm_m: float | None
    inlet_m: float | None
    upward: bool  #: measured up from the bottom; False = down from a mark


@dataclass(frozen=True, slots=True)
class Pipe:
    """A line that runs empty into the pump tank after each dose."""

    name: str
    inside_in: float
    length_m: float

    @property
    def gallons(self) -> float:
        """What it holds, US gallons."""
        return pipe_gal_per_ft(self.inside_in) * self.length_m / INCH_M / 12


@dataclass(frozen=True, slots=True)
class PumpRate:
    """What one drawdown test gave."""

    on: date
    gal_per_min: float
    words: str


def is_pump_tank(component: Component) -> bool:
    """Tell whether a component is a pump tank, by its kind."""
    return any(holds(phrase, component.kind) for phrase in PUMP_TANKS)


def plan_gal_per_in(length_in: float, width_in: float) -> float:
    """Gallons in an inch of a box of that inside plan.

    Examples
    --------
    >>> round(plan_gal_per_in(60, 49), 3)
    12.727
    """
    return length_in * width_in / GALLON_IN3


def round_gal_per_in(diameter_in: float) -> float:
    """Gallons in an inch of an upright cylinder of that inside diameter."""
    return math.pi * diameter_in**2 / 4 / GALLON_IN3


def pipe_gal_per_ft(inside_in: float) -> float:
    """Gallons in a foot of pipe.

    Examples
    --------
    >>> round(pipe_gal_per_ft(2.067), 4)
    0.1743
    """
    return 12 * round_gal_per_in(inside_in)


def gallons_per_inch(tank: Component) -> GallonsPerInch | None:
    """Give the gallons in an inch of a tank, by the surest of what is recorded.

    First the maker's own figure, then the inside plan of a box or an upright cylinder (outside sizes less the walls),
    then nominal volume by liquid depth, then the outside plan, which says too much. None = nothing tells.
    """
    if tank.gal_per_in is not None:
        return GallonsPerInch(tank.gal_per_in, "as its maker states")
    plan = _plan(tank)
    if plan is not None and tank.wall is not None:
        return plan
    if tank.volume_gal is not None and tank.liquid_depth is not None and tank.liquid_depth.metres > 0:
        inches = tank.liquid_depth.metres / INCH_M
        words = f"nominal volume {tank.volume_gal:g} gal by liquid depth {inches:g} in: the plan area is not recorded"
        return GallonsPerInch(tank.volume_gal / inches, words, rough=True)
    return plan


def _plan(tank: Component) -> GallonsPerInch | None:
    """Reckon from length and width, of a round one from its width; None where they or the form give no plan area."""
    form = tank.form or "box"
    across = tank.width if form == "round" else tank.length
    if across is None or tank.width is None or form == "lying":
        return None
    wall = 0.0 if tank.wall is None else tank.wall.metres
    length, width = ((size.metres - 2 * wall) / INCH_M for size in (across, tank.width))
    if length <= 0 or width <= 0:
        return None
    inside = "inside" if tank.wall is not None else "outside (no wall thickness recorded, so it says too much)"
    if form == "round":
        words = f"round, {width:g} in {inside}"
        return GallonsPerInch(round_gal_per_in(width), words, rough=tank.wall is None)
    words = f"{length:g} x {width:g} in {inside}"
    return GallonsPerInch(plan_gal_per_in(length, width), words, rough=tank.wall is None)


def dose_gal(off_m: float, on_m: float, gal_per_in: float) -> float:
    """Gallons that the pump takes out between its two floats, however they were measured."""
    return abs(on_m - off_m) / INCH_M * gal_per_in


def latest(readings: Iterable[SiteReading], name: str, day: date) -> SiteReading | None:
    """Give the latest reading of a name up to a day; of several on one day the last in the sheet."""
    found = [each for each in readings if each.reading == name and each.on <= day]
    return max(enumerate(found), key=lambda pair: (pair[1].on, pair[0]))[1] if found else None


def levels_on(readings: Sequence[SiteReading], day: date) -> Levels | None:
    """Give the float settings in force on a day; None where the two of the pump are not both read, or are one."""
    found = {name: latest(readings, name, day) for name in LEVELS}
    off, on = found["float-off"], found["float-on"]
    if off is None or on is None or off.number == on.number:
        return None
    alarm, inlet = found["float-alarm"], found["inlet-invert"]
    days = [each.on for each in found.values() if each is not None]
    return Levels(max(days), off.number, on.number, _number(alarm), _number(inlet), on.number > off.number)


def _number(reading: SiteReading | None) -> float | None:
    return None if reading is None else reading.number


def level_findings(tank: str, levels: Levels | None, readings: Sequence[SiteReading]) -> list[Finding]:
    """Note levels that do not stand one above the other as they must."""
    if levels is None:
        off, on = (any(each.reading == name for each in readings) for name in LEVELS[:2])
        if not off and not on:
            return []
        message = f"{tank}: float-off and float-on give no dose: one of them is missing, or they are one level."
        mend = "Read both the same way, and write them in readings.csv."
        return [Finding("floats-give-no-dose", tank, message, Severity.NOTE, mend)]
    sign = 1 if levels.upward else -1
    ladder = [
        (name, metres)
        for name, metres in zip(LEVELS[1:], (levels.on_m, levels.alarm_m, levels.inlet_m), strict=True)
        if metres is not None
    ]
    wrong = [(low[0], high[0]) for low, high in pairwise(ladder) if sign * (high[1] - low[1]) <= 0]
    way = "up from the bottom" if levels.upward else "down from a mark"
    return [
        Finding(
            "floats-out-of-order",
            tank,
            f"{tank}: {high} does not lie above {low}, as levels measured {way} (float-on says which).",
            Severity.ATTENTION,
            "Measure all levels one way on one day; if they are right, have the floats set anew.",
        )
        for low, high in wrong
    ]


def reserve_gal(tank: Component, levels: Levels, gal_per_in: float) -> float | None:
    """Gallons between the alarm and the level at which the tank is full; None = nothing tells that level.

    Where no inlet was read, levels measured up from the bottom are held against the nominal volume.
    """
    if levels.alarm_m is None:
        return None
    if levels.inlet_m is not None:
        return max(0.0, (1 if levels.upward else -1) * (levels.inlet_m - levels.alarm_m) / INCH_M * gal_per_in)
    if levels.upward and tank.volume_gal is not None:
        return max(0.0, tank.volume_gal - levels.alarm_m / INCH_M * gal_per_in)
    return None


def reserve_hours(gallons: float, gal_per_day: float) -> float:
    """Hours until so many gallons are used up at so many gallons a day; infinite where nothing runs in."""
    return 24 * gallons / gal_per_day if gal_per_day > 0 else math.inf


def pump_rates(readings: Iterable[SiteReading], gal_per_in: float) -> list[PumpRate]:
    """Give the rate of each drawdown test: inches times gallons in an inch, by the minutes of the same day."""
    by_day: dict[date, dict[str, SiteReading]] = {}
    for reading in readings:
        by_day.setdefault(reading.on, {})[reading.reading] = reading
    rates = []
    for day, told in sorted(by_day.items()):
        fall, time = told.get("drawdown"), told.get("drawdown-time")
        if fall is not None and time is not None and time.number > 0 and fall.number > 0:
            gallons = fall.number / INCH_M * gal_per_in
            words = f"{fall.number / INCH_M:g} in x {gal_per_in:.1f} gal/in in {time.number:.2f} min"
            rates.append(PumpRate(day, gallons / time.number, words))
    return rates

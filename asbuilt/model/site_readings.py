"""What was read on a day at a pump tank, its panel or what it feeds: floats, counters, tests; and groundwater."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from asbuilt.units import UNITS, parse_length


@dataclass(frozen=True, slots=True)
class SiteReading:
    """One number read on one day at one component: a row of `readings.csv`."""

    on: date
    component: str
    reading: str  #: one of READINGS
    as_read: str  #: the cell `value`, with the unit of its own column behind it
    number: float  #: in `unit`
    unit: str  #: the unit of its kind: m, min, h, A, gal, cycles or yes
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Quantity:
    """What kind of number a reading is."""

    unit: str  #: what it is kept in
    per_unit: Mapping[str, float]  #: how many of `unit` one of each accepted unit is; a length reads its own units
    accepted: str


QUANTITIES: Mapping[str, Quantity] = MappingProxyType(
    {
        "length": Quantity("m", {}, """accepted: a length such as 18" or 1' 6\""""),
        "count": Quantity("cycles", {"cycles": 1.0}, "accepted: the whole number on the counter, such as 45850"),
        "hours": Quantity("h", {"h": 1.0, "min": 1 / 60}, "accepted: hours such as 1234.5"),
        "time": Quantity("min", {"min": 1.0, "s": 1 / 60, "h": 60.0}, "accepted: 1.5, 90 s or 1 min 30 s"),
        "current": Quantity("A", {"A": 1.0}, "accepted: amperes such as 9.5"),
        "answer": Quantity("yes", {}, "accepted: yes or no, passed or failed"),
        "volume": Quantity(
            "gal", {"gal": 1.0, "ft3": 1728 / 231, "m3": 1 / 0.003785411784}, "accepted: gal such as 52"
        ),
    }
)
"""Kinds of numbers. 1 ft3 is 1728 in3, 1 gal 231 in3 exactly (NIST Handbook 44)."""

READINGS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "float-off": ("length", "level at which the float stops the pump"),
        "float-on": ("length", "level at which the float starts the pump"),
        "float-alarm": ("length", "level at which the high-water alarm sounds"),
        "inlet-invert": ("length", "level at which the tank is full: the underside of the inlet pipe"),
        "cycle-counter": ("count", "the panel's counter of pump starts"),
        "hour-meter": ("hours", "the panel's meter of pump hours"),
        "water-meter": ("volume", "the house's water meter"),
        "drawdown": ("length", "how far the level fell in the drawdown test"),
        "drawdown-time": ("time", "how long the pump ran for it, with nothing running in"),
        "dose-time": ("time", "how long the pump runs for one dose between its floats"),
        "amps": ("current", "current of the running pump"),
        "squirt-height": ("length", "height of the jet at the end of a lateral"),
        "groundwater": ("length", "depth of the groundwater below finished grade"),
        "squirt-first": ("length", "height of the jet at the first orifice of a lateral"),
        "squirt-last": ("length", "height of the jet at the last orifice of a lateral"),
        "pump-on-time": ("time", "how long the timer lets the pump run"),
        "pump-off-time": ("time", "how long the timer lets the pump rest"),
        "watertightness": ("answer", "the tank held water in its test"),
        "watertight-drop": ("length", "how far the water fell in the watertightness test"),
        "watertight-time": ("hours", "how long the watertightness test lasted"),
        "plumbing-test": ("answer", "the building sewer held in its test"),
        "alarm-test": ("answer", "the alarm sounded and lit when its float was lifted"),
        "outlet-spread": ("length", "how far the outlets of the distribution box, full of water, differ in level"),
        "depth-uphill": ("length", "depth of the trench bottom below the ground on its uphill side"),
        "depth-downhill": ("length", "the same on its downhill side"),
        "limiting-layer": ("length", "depth of the layer that limits the soil below the ground beside the trench"),
    }
)
"""Every reading that `readings.csv` takes: its kind of number and what it means. Levels in a tank are all measured the
same way on one day, up from the inside bottom or down from one mark; which of the two shows in float-on and float-off,
because the pump starts at the higher level."""

ANSWERS: Mapping[str, float] = MappingProxyType({"yes": 1.0, "passed": 1.0, "no": 0.0, "failed": 0.0})
"""Answers that a test may have, and the number that stands for each."""

LONGEST_M = 100.0
"""Metres in a reading of level or height; no tank and no jet is taller, so more is a slip of unit or point."""

_NUMBER = re.compile(r"\d+\.?\d*|\.\d+", re.ASCII)
_PART = re.compile(rf"({_NUMBER.pattern}) ?([A-Za-z]+3?)?", re.ASCII)


def parse_reading(reading: str, value: str, unit: str, lengths: str | None) -> tuple[float, str]:
    """Read the value of one reading.

    Parameters
    ----------
    reading
        One of READINGS.
    value
        The cell as it was read.
    unit
        What stands in the column `unit`; empty = the value's own, or the usual one of its kind.
    lengths
        How a length without a unit is read: the property's units.

    Returns
    -------
    tuple
        The number, and the unit in which it is.

    Raises
    ------
    ValueError
        If it cannot be read; the text says what is wrong, and what is accepted.

    Examples
    --------
    >>> parse_reading("dose-time", "1 min 30 s", "", None), parse_reading("float-on", "18", "in", "ft-in")
    ((1.5, 'min'), (0.4572, 'm'))
    """
    kind = QUANTITIES[READINGS[reading][0]]
    if kind.unit == "m":
        if unit and unit not in UNITS:
            raise ValueError(f"the unit {unit} is no unit of length; accepted: {', '.join(UNITS)}")
        metres = parse_length(value, unit or lengths).metres
        if metres > LONGEST_M:
            raise ValueError(f"it is {metres:,.0f} m; accepted: at most {LONGEST_M:.0f} m")
        return metres, kind.unit
    if kind.unit == "yes":
        if unit or (answer := ANSWERS.get(value.strip().casefold())) is None:
            raise ValueError(kind.accepted)
        return answer, kind.unit
    number = _sum_of_parts(value, unit, kind)
    if kind.unit == "cycles" and number != int(number):
        raise ValueError(f"a counter shows a whole number; {kind.accepted}")
    return number, kind.unit


def _sum_of_parts(value: str, unit: str, kind: Quantity) -> float:
    """Add up `1 min 30 s`; a number alone is in the unit of its column, else in the usual one."""
    total, end = 0.0, 0
    words = " ".join(value.split())
    for match in _PART.finditer(words):
        if words[end : match.start()].strip():
            break
        named = match[2] or (unit if match.end() == len(words) and end == 0 else "") or (kind.unit if end == 0 else "")
        if named not in kind.per_unit:
            known = ", ".join(kind.per_unit)
            raise ValueError(f"the unit {named or 'of its second number'} is not read here; accepted units: {known}")
        total += float(match[1]) * kind.per_unit[named]
        end = match.end()
    if end != len(words) or not words or not math.isfinite(total):
        raise ValueError(f"it is no number of zero or more; {kind.accepted}")
    return total

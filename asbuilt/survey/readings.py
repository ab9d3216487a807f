"""What else a reading may have been: the slips that people make with a tape, as they would have written it.

Pure text and arithmetic: a reading goes in, other readings come out, each with the name of its slip.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from asbuilt.errors import LengthError
from asbuilt.units import FOOT_M, Length, format_length, parse_length

ALIKE_DIGITS = {"6": "9", "9": "6", "1": "7", "7": "1"}
"""Digits that are taken for one another in a muddy notebook (common practice)."""

WHOLE_STEPS = (1, 5, 10)
"""Feet or metres by which a tape is misread most often; one is also a tape hooked at its 1-ft mark."""

SAME_READING_M = 0.01
"""Two slips that give the same reading within this are one: the first of them is said."""

_NUMBER = re.compile(r"\d+")
_FEET_INCHES = re.compile(r"\D*(\d+)\s*(?:'|’|′|ft|feet|-|\s)\D*?(\d+)(?:\D+(\d+)/(\d+)|\.(\d+))?\D*")
_DECIMAL = re.compile(r"\s*(\d+)\.(\d+)\D*")


@dataclass(frozen=True, slots=True)
class Slip:
    """One way in which a reading may have come about from another."""

    kind: str  #: digits swapped, whole feet, 6 for 9, inches for tenths, feet for metres, edge for centre
    text: str  #: the reading as it would have been written
    metres: float


def slips(reading: Length, units: str, *, lid_radius_m: float) -> Iterator[Slip]:
    """List what a reading may have been instead.

    Parameters
    ----------
    reading
        As it stands in the notebook.
    units
        Unit of the sheet, "ft-in", "ft" or "m".
    lid_radius_m
        From the edge of the lid to its centre, metres.
    """
    seen = [reading.metres]
    for slip in _all_slips(reading, units, lid_radius_m):
        if slip.metres > 0 and all(abs(slip.metres - metres) > SAME_READING_M for metres in seen):
            seen.append(slip.metres)
            yield slip


def _all_slips(reading: Length, units: str, lid_radius_m: float) -> Iterator[Slip]:
    yield from _whole_units(reading, units)
    yield from _rewritten(reading, units, "digits swapped", _swapped)
    yield from _rewritten(reading, units, "6 for 9 or 1 for 7", _alike)
    yield from _tenths(reading, units)
    yield from _other_unit(reading, units)
    for sign in (1, -1):
        metres = reading.metres + sign * lid_radius_m
        yield Slip("edge for centre", _written(metres, reading, units), metres)


def _whole_units(reading: Length, units: str) -> Iterator[Slip]:
    unit = 1.0 if units == "m" else FOOT_M
    word = "m" if units == "m" else "ft"
    for step in WHOLE_STEPS:
        for sign in (1, -1):
            metres = reading.metres + sign * step * unit
            text = _counted_on(reading, units, sign * step, metres) or _written(metres, reading, units)
            yield Slip(f"{step} {word} off", text, metres)


def _counted_on(reading: Length, units: str, steps: int, metres: float) -> str:
    """Write a reading with its feet or metres counted on and the rest as it stands; empty where it has none."""
    match = _NUMBER.search(reading.as_read)
    if match is None or int(match[0]) + steps < 0:
        return ""
    text = f"{reading.as_read[: match.start()]}{int(match[0]) + steps}{reading.as_read[match.end() :]}"
    try:
        same = abs(parse_length(text, units).metres - metres) < 1e-6
    except LengthError:
        return ""
    return text if same else ""


def _rewritten(reading: Length, units: str, kind: str, change: Callable[[str], Iterator[str]]) -> Iterator[Slip]:
    """Change the digits of each number, where the new text is still a length."""
    for match in _NUMBER.finditer(reading.as_read):
        for digits in change(match[0]):
            text = reading.as_read[: match.start()] + digits + reading.as_read[match.end() :]
            try:
                yield Slip(kind, text, parse_length(text, units).metres)
            except LengthError:
                continue


def _swapped(digits: str) -> Iterator[str]:
    for k in range(len(digits) - 1):
        if digits[k] != digits[k + 1]:
            yield digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :]


def _alike(digits: str) -> Iterator[str]:
    for k, digit in enumerate(digits):
        if digit in ALIKE_DIGITS:
            yield digits[:k] + ALIKE_DIGITS[digit] + digits[k + 1 :]


def _tenths(reading: Length, units: str) -> Iterator[Slip]:
    """Read 23' 6" as 23.6 ft, and 23.6 ft as 23' 6"."""
    if units == "m":
        return
    match = _FEET_INCHES.fullmatch(reading.as_read)
    if match is not None and match[4] is None and match[5] is None:
        text = f"{match[1]}.{match[2]} ft"
        yield Slip("inches for tenths", text, parse_length(text).metres)
        return
    match = _DECIMAL.fullmatch(reading.as_read)
    if match is not None and int(match[2]) < 12:
        text = f"""{match[1]}' {int(match[2])}\""""
        yield Slip("tenths for inches", text, parse_length(text).metres)


def _other_unit(reading: Length, units: str) -> Iterator[Slip]:
    """Read the number of feet as metres, and the reverse."""
    number = reading.metres if units == "m" else reading.metres / FOOT_M
    if units == "m":
        yield Slip("feet for metres", f"{number:.2f} ft", number * FOOT_M)
    else:
        yield Slip("metres for feet", f"{number:.2f} m", number)


def _written(metres: float, reading: Length, units: str) -> str:
    """Write a length as fine as the reading was written."""
    if metres <= 0:
        return ""
    step = None
    if units == "ft-in":
        step = Fraction(round(16 * min(reading.step_m, 0.0254) / 0.0254), 16) or None
    return format_length(metres, units, step)

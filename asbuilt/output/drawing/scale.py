"""Papers and standard scales of a drawing: which scale is the largest that fits."""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count

from asbuilt.errors import AsbuiltError
from asbuilt.units import FOOT_M, INCH_M

PAPERS_MM = {
    "us-letter": (215.9, 279.4),
    "tabloid": (279.4, 431.8),
    "a4": (210.0, 297.0),
    "a3": (297.0, 420.0),
}
"""Width and height upright, millimetres (ANSI/ASME Y14.1 sizes A and B; ISO 216)."""

PAPER_WORDS = {"us-letter": "US Letter", "tabloid": "Tabloid (11 x 17 in)", "a4": "A4", "a3": "A3"}

FAMILIES = {"us-letter": "us-letter", "tabloid": "us-letter", "a4": "a4", "a3": "a4"}
"""Which of the papers of `sheet_pdf` each belongs to; a page that is larger or lies across gives its size itself."""

FEET_TO_THE_INCH = (10, 20, 30, 40, 50, 60, 100)
"""Scales of the engineer's rule: feet to one inch of paper (common practice)."""

METRIC_RATIOS = (50, 100, 200, 250, 500)
"""Scales of a metric site plan (ISO 5455 has 50, 100, 200 and 500; 250 is common practice)."""

_FORMS = (
    re.compile(r"1 ?(?:in\.?|inch|\") ?= ?([0-9]{1,6}) ?(?:ft\.?|feet|foot|')", re.ASCII | re.IGNORECASE),
    re.compile(r"1 ?: ?([0-9]{1,7})", re.ASCII),
)


class ScaleError(AsbuiltError, ValueError):
    """A scale that cannot be read, or at which the drawing does not fit its paper."""


@dataclass(frozen=True, slots=True)
class Scale:
    """How much ground one unit of paper shows."""

    name: str  #: as it is printed: 1 in = 20 ft, 1:200
    ratio: float  #: ground over paper

    @property
    def mm_per_m(self) -> float:
        """Millimetres of paper for one metre of ground."""
        return 1000 / self.ratio


def us_scale(feet: int) -> Scale:
    """Give the scale of so many feet to the inch."""
    return Scale(f"1 in = {feet} ft", feet * FOOT_M / INCH_M)


def metric_scale(ratio: int) -> Scale:
    """Give the scale 1:ratio."""
    return Scale(f"1:{ratio}", float(ratio))


def parse_scale(text: str) -> Scale:
    """Read a standard scale.

    Raises
    ------
    ScaleError
        If it is none of the standard ones; the text says which those are.

    Examples
    --------
    >>> parse_scale("1 in = 20 ft").ratio, parse_scale("1:200").name
    (240.0, '1:200')
    """
    words = " ".join(text.split())
    for pattern, make, standard in zip(
        _FORMS, (us_scale, metric_scale), (FEET_TO_THE_INCH, METRIC_RATIOS), strict=True
    ):
        match = pattern.fullmatch(words)
        if match is not None and int(match[1]) in standard:
            return make(int(match[1]))
    feet = ", ".join(str(each) for each in FEET_TO_THE_INCH)
    ratios = ", ".join(f"1:{each}" for each in METRIC_RATIOS)
    raise ScaleError(
        f'{words[:60]!r} is no standard scale; accepted: "1 in = N ft" with N one of {feet}, or one of {ratios}'
    )


def scales(units: str) -> Iterator[Scale]:
    """Give the standard scales of a property's units, the largest first, and beyond them ever smaller round ones."""
    metric = units == "m"
    make, standard = (metric_scale, METRIC_RATIOS) if metric else (us_scale, FEET_TO_THE_INCH)
    yield from map(make, standard)
    for power in count(3 if metric else 2):
        for step in (1, 2, 5):
            if step * 10**power > standard[-1]:
                yield make(step * 10**power)


def largest_fitting(size_m: tuple[float, float], rooms_mm: Sequence[tuple[float, float]], units: str) -> Scale:
    """Choose the largest standard scale at which a piece of ground fits one of the drawing areas.

    Parameters
    ----------
    size_m
        Width and height of what is drawn, metres.
    rooms_mm
        Widths and heights of the drawing areas to choose from, millimetres of paper.
    """
    return next(scale for scale in scales(units) if any(fits(size_m, room, scale) for room in rooms_mm))


def fits(size_m: tuple[float, float], room_mm: tuple[float, float], scale: Scale) -> bool:
    """Tell whether a piece of ground fits a drawing area at a scale."""
    return all(ground * scale.mm_per_m <= room for ground, room in zip(size_m, room_mm, strict=True))


def bar_steps(scale: Scale, units: str, longest_mm: float) -> tuple[float, float, int]:
    """Choose a scale bar: metres of one step, its number in feet or metres, and how many steps fit, at most 4."""
    unit_m = 1.0 if units == "m" else FOOT_M
    room = longest_mm / scale.mm_per_m / unit_m / 4
    power = 10.0 ** math.floor(math.log10(room))
    step = max(each * power for each in (1, 2, 5) if each * power <= room)
    return step * unit_m, step, min(4, int(longest_mm / (step * unit_m * scale.mm_per_m)))

"""The nominal diameter of a pipe, from what is recorded of it."""

import re
from collections.abc import Sequence

from asbuilt.errors import LengthError
from asbuilt.model.components import Component
from asbuilt.units import INCH_M, parse_length

_NOMINAL = re.compile(
    r"(?<![\d/.-])(\d+(?:[ -]\d+/\d+|/\d+|\.\d+)?) ?(?:-| )?(?:in\b|inch|\")", re.ASCII | re.IGNORECASE
)


def nominal_in(component: Component, sizes: Sequence[str | None] = ()) -> float | None:
    """Give the nominal diameter of a pipe in inches.

    From the size of its points (the smallest), else `pipe`, else the first size that its material names; None = nothing
    tells it.

    Examples
    --------
    >>> nominal_in(Component("sewer", "building sewer", material="4-in PVC, schedule 40"))
    4.0
    >>> nominal_in(Component("lateral", "lateral", pipe="1-1/2 in sch 40")), nominal_in(Component("sewer", "sewer"))
    (1.5, None)
    """
    told = [inches for size in sizes if size and (inches := _inches(size)) is not None]
    if told:
        return min(told)
    for text in (component.pipe, component.material):
        match = _NOMINAL.search(text or "")
        if match is not None:
            return _inches(match[1])
    return None


def _inches(text: str) -> float | None:
    """Read a size: 4, 4", 1-1/2", 110 mm."""
    try:
        inches = parse_length(text, "in").metres / INCH_M
    except LengthError:
        return None
    return round(inches, 4) if inches > 0 else None

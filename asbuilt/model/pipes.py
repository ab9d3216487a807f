"""Pipe as the trade names it, and its inside diameter."""

import re
from collections.abc import Mapping
from types import MappingProxyType

SCHEDULE_40_IN: Mapping[str, float] = MappingProxyType(
    {"3/4": 0.824, "1": 1.049, "1-1/4": 1.380, "1-1/2": 1.610, "2": 2.067, "2-1/2": 2.469, "3": 3.068, "4": 4.026}
)
"""Inside diameter of Schedule 40 pipe, inches, by nominal size (ASTM D1785 and ASME B36.10: from memory, high; the
published 0.17 gal/ft of 2-in pipe agrees)."""

PIPE_ACCEPTED = "accepted: 2 in sch 40 (1-1/2 in, 3 in ...), or the inside diameter such as 2.067 in inside"

_PIPE = re.compile(r"(\S+) ?(?:in|\") ?(?:(sch|schedule) ?40|(inside))", re.ASCII | re.IGNORECASE)


def inside_diameter_in(text: str) -> float:
    """Read a pipe: its inside diameter, inches.

    Raises
    ------
    ValueError
        If it is not of an accepted form; the text says which those are.

    Examples
    --------
    >>> inside_diameter_in("2 in sch 40"), inside_diameter_in("2.05 in inside")
    (2.067, 2.05)
    """
    match = _PIPE.fullmatch(" ".join(text.split()))
    if match is None:
        raise ValueError(PIPE_ACCEPTED)
    if match[2]:
        if (size := match[1].replace(" ", "-")) not in SCHEDULE_40_IN:
            raise ValueError(f"accepted sizes of schedule 40: {', '.join(SCHEDULE_40_IN)} in")
        return SCHEDULE_40_IN[size]
    try:
        inches = float(match[1])
    except ValueError:
        raise ValueError(PIPE_ACCEPTED) from None
    if not 0.25 <= inches <= 48:
        raise ValueError("accepted: an inside diameter from 0.25 to 48 in")
    return inches

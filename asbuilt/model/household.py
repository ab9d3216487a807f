"""Who lived there, from when to when."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Household:
    """The people of one building over one stretch of time."""

    from_: date
    people: float
    to: date | None = None  #: first day on which it no longer holds; None = still
    months_a_year: float = 12.0
    disposer: bool = False  #: a kitchen waste disposer grinds food into the drain
    building: str | None = None

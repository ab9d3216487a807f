"""What stands on the record drawing, and how far the authority's inspection is: `[drawing]` and `[inspection]`."""

from dataclasses import dataclass
from datetime import date

INSPECTION_STATES = ("not called", "called", "came", "released")
"""How far the inspection before cover is."""


@dataclass(frozen=True, slots=True)
class Inspection:
    """The authority's inspection before cover, as given in `[inspection]`."""

    state: str | None = None  #: one of INSPECTION_STATES
    called_on: date | None = None
    came_on: date | None = None
    released_on: date | None = None
    by: str | None = None  #: who came or released it
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Drawing:
    """What the record drawing says besides the survey, as given in `[drawing]`."""

    installer: str | None = None
    designer: str | None = None
    design: str | None = None  #: number and day of the design
    as_designed: bool | None = None  #: materials and sizes are those of the design
    deviations: str | None = None  #: how it was built otherwise than designed
    notes: str | None = None

"""What was found when something buried was uncovered again."""

from dataclasses import dataclass
from datetime import date

from asbuilt.units import Length


@dataclass(frozen=True, slots=True)
class Sighting:
    """One thing uncovered on one day, and how far it was from the place that the record named."""

    on: date
    point: str  #: full name
    from1: str | None = None  #: the reference points and tapes by which its mark was set
    tape1: Length | None = None
    from2: str | None = None
    tape2: Length | None = None
    off: Length | None = None  #: how far it lay from the mark; None = it was taped anew instead
    toward: str | None = None  #: which way: a word of the compass, or toward or away from a named point
    depth: Length | None = None  #: how deep below the ground of that day
    by: str | None = None
    note: str | None = None

"""What was found when something buried was uncovered again."""

from dataclasses import dataclass
from datetime import date

from asbuilt.units import Length

TOWARD_WORDS = {
    "north": 0.0,
    "north-east": 45.0,
    "east": 90.0,
    "south-east": 135.0,
    "south": 180.0,
    "south-west": 225.0,
    "west": 270.0,
    "north-west": 315.0,
}
"""Words of the compass by which one says which way, and their azimuths, degrees."""

TOWARD_ACCEPTED = "accepted: north, north-east ..., toward NAME, or away from NAME"


@dataclass(frozen=True, slots=True)
class Toward:
    """Which way something lay from its mark."""

    wind: str | None = None  #: a word of the compass
    name: str | None = None  #: a reference point or point
    away: bool = False  #: away from `name`, not toward it

    def __str__(self) -> str:
        if self.wind is not None:
            return self.wind
        return f"{'away from' if self.away else 'toward'} {self.name}"


def parse_toward(text: str) -> Toward:
    """Read which way: `north-east`, `toward NE corner`, `away from NE corner`, or the bare name.

    Raises
    ------
    ValueError
        If nothing is named; the text says what is accepted.

    Examples
    --------
    >>> str(parse_toward("towards  NE corner")), str(parse_toward("North East")), str(parse_toward("well"))
    ('toward NE corner', 'north-east', 'toward well')
    """
    words = " ".join(text.split())
    wind = words.casefold().replace("-", "").replace(" ", "")
    for known in TOWARD_WORDS:
        if wind == known.replace("-", ""):
            return Toward(known)
    away = words.casefold().startswith("away from ")
    for start in ("away from ", "towards ", "toward "):
        if words.casefold().startswith(start):
            words = words[len(start) :].strip()
            break
    if not words or words.casefold() in ("toward", "towards", "away", "away from"):
        raise ValueError(TOWARD_ACCEPTED)
    return Toward(None, words, away)


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
    landmark: str | None = None  #: where it is in the words of that day: 9 paces from the back door

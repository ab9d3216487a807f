"""A user's own service tasks: how often by the maker's or the owner's setting, and in which months they suit."""

import re
from dataclasses import dataclass

SOURCES = ("maker", "owner")
"""Who set an interval."""

KNOWN_TASKS = (
    *("pump-out", "inspection", "evaluation", "compliance inspection", "sale inspection"),
    *("effluent filter", "filter", "filter cleaning", "filter cleaned"),
    *("pump and alarm test", "pump test", "start-up test", "pump replacement", "pump replaced"),
    *("lateral flush and squirt test", "lateral flush", "squirt test", "treatment-unit service", "unit service"),
)
"""Tasks that the reckoning and our own rule profiles know. Any other word is a task of the user's own."""

MONTHS_ACCEPTED = "accepted: months such as 4-6, 9 or apr-jun, sep"

_RANGE = re.compile(r"([a-z]+|\d{1,2})(?: ?- ?([a-z]+|\d{1,2}))?", re.ASCII)


@dataclass(frozen=True, slots=True)
class OwnTask:
    """One task of one component as its maker or its owner wants it, or the months that suit it."""

    component: str
    task: str  #: lower case, as in the service entries
    every_months: float | None = None  #: None = only the preferred months are given
    source: str | None = None  #: one of SOURCES; None = the owner
    preferred_months: str | None = None  #: as read: 4-6, 9; a preference, never a bar
    note: str | None = None


def parse_months(text: str) -> frozenset[int]:
    """Read months by number or name, single or as ranges, which may run over the turn of the year.

    Raises
    ------
    ValueError
        If a part is no month or range of months; the text says what is accepted.

    Examples
    --------
    >>> sorted(parse_months("nov-feb, 6"))
    [1, 2, 6, 11, 12]
    """
    months: set[int] = set()
    for part in text.lower().split(","):
        match = _RANGE.fullmatch(" ".join(part.split()))
        first = None if match is None else _month(match[1])
        last = first if match is None or match[2] is None else _month(match[2])
        if first is None or last is None:
            raise ValueError(MONTHS_ACCEPTED)
        months.update((first + step - 1) % 12 + 1 for step in range((last - first) % 12 + 1))
    return frozenset(months)


def _month(word: str) -> int | None:
    """Give the number of a month written as a number or a name of three letters or more."""
    if word.isdigit():
        return int(word) if 1 <= int(word) <= 12 else None
    names = [month for month in FULL_MONTHS if len(word) >= 3 and month.startswith(word)]
    return FULL_MONTHS.index(names[0]) + 1 if names else None


FULL_MONTHS = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)

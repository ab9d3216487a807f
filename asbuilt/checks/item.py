"""One line of the check before backfill: what was looked at, what was found, against which limit, and the next act."""

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """What a check came to, the most urgent first."""

    OUTSIDE = "outside the rule"
    MISSING = "missing"
    DOUBTFUL = "doubtful"  #: too close to call, not checked, or cannot be told
    DONE = "done"

    @property
    def rank(self) -> int:
        """Order of the outcomes, 0 the most urgent."""
        return list(Outcome).index(self)


GROUPS = ("locations", "levels", "setbacks", "flotation", "tests", "evidence")
"""Parts of the list, in the order in which they are shown."""


@dataclass(frozen=True, slots=True)
class CheckItem:
    """One thing that was looked at."""

    code: str  #: stable short word, such as "lid-not-taped"
    group: str  #: one of GROUPS
    subject: str  #: the point, component or test it is about
    outcome: Outcome
    words: str  #: one sentence that a person at the trench understands, with the number in it
    measured: str | None = None  #: the number as it is shown, in the property's units
    limit: str | None = None  #: the limit as it is shown
    source: str | None = None  #: where the limit stands written
    next_act: str = ""  #: what to do about it, one sentence; empty where nothing is to be done

    def as_json(self) -> dict[str, str | None]:
        """Give the item with the keys of `backfill-check --json`."""
        return {
            "code": self.code,
            "group": self.group,
            "subject": self.subject,
            "outcome": str(self.outcome),
            "message": self.words,
            "measured": self.measured,
            "limit": self.limit,
            "source": self.source,
            "next_act": self.next_act or None,
        }

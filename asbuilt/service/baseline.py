"""Today's pump and field against their first day: squirt height, dose time, pump rate, current."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from asbuilt.findings import Finding, Severity


@dataclass(frozen=True, slots=True)
class Sign:
    """What a change of one quantity may come from; all of it common practice."""

    words: str
    share: float  #: change, as a share of the first day's, from which it is said
    higher: str
    lower: str


SIGNS: Mapping[str, Sign] = MappingProxyType(
    {
        "squirt-height": Sign(
            "squirt height",
            0.20,
            "orifices are blocked, so that fewer of them share the flow; or a new pump is stronger",
            "the pump is worn or its screen clogged, a line leaks, a valve is partly shut, or sludge blocks it",
        ),
        "dose-time": Sign(
            "time for one dose",
            0.15,
            "the pump is worn or its screen clogged, orifices are blocked, or a valve is partly shut",
            "a line or fitting has broken so that the water runs out freely, or the floats were moved closer",
        ),
        "pump-rate": Sign(
            "pump rate",
            0.15,
            "a line or fitting has broken so that the water runs out freely",
            "the pump is worn or its screen clogged, orifices are blocked, or a valve is partly shut",
        ),
        "amps": Sign(
            "current",
            0.15,
            "bearings drag, something jams the impeller, the voltage is low, or a broken line lets more through",
            "less water goes through: orifices blocked, the screen clogged, a valve partly shut, or the impeller worn",
        ),
    }
)
"""By reading. A fifth of a squirt height is what is seen from one visit to the next without any fault; the others are
read more sharply (our judgement, from common practice)."""


@dataclass(frozen=True, slots=True)
class Measure:
    """One value of one quantity on one day."""

    on: date
    value: float
    shown: str  #: as it is printed


def compare(subject: str, name: str, measures: Sequence[Measure], since: date | None = None) -> Finding | None:
    """Hold the latest value against the first one.

    Parameters
    ----------
    subject
        The component.
    name
        One of SIGNS.
    measures
        Values, in any order.
    since
        The day from which the first day is counted, such as that of a new pump; None = the first of all.

    Returns
    -------
    Finding or None
        None where fewer than two days are there, or the change is smaller than what is said.
    """
    counted = sorted((each for each in measures if since is None or each.on >= since), key=lambda each: each.on)
    if len(counted) < 2 or counted[0].on == counted[-1].on or counted[0].value <= 0:
        return None
    first, last, sign = counted[0], counted[-1], SIGNS[name]
    change = round(last.value / first.value - 1, 9)  # readings are decimal: a fifth is a fifth
    if abs(change) < sign.share:
        return None
    more = "more" if change > 0 else "less"
    message = (
        f"{subject}: the {sign.words} was {first.shown} on {first.on.isoformat()} and is {last.shown} on "
        f"{last.on.isoformat()}, {100 * abs(change):.0f} % {more}."
    )
    causes = sign.higher if change > 0 else sign.lower
    mend = f"Likely causes (common practice): {causes}."
    return Finding(f"{name}-{'up' if change > 0 else 'down'}", subject, message, Severity.ATTENTION, mend)

"""Design flow by published table, and what people use: figures to hold the counters against."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from asbuilt.model.household import Household
from asbuilt.model.place import Property


@dataclass(frozen=True, slots=True)
class DesignRule:
    """Gallons a day by bedrooms, and where that stands."""

    per_bedroom_gal: float
    least_bedrooms: int  #: a house with fewer counts as one with so many
    reference: str
    standing: str


@dataclass(frozen=True, slots=True)
class DesignFlow:
    """The flow that a system is laid out for."""

    gal_per_day: float
    words: str


DESIGN_RULES = {
    "minnesota": DesignRule(150, 2, "Minn. R. 7080.1860 Table IV, class I", "seen"),
    "massachusetts": DesignRule(110, 1, "310 CMR 15.203", "seen in copies"),
    "washington": DesignRule(120, 1, "WAC 246-272A-0230", "from memory"),
}
"""By rule profile."""

USUAL_RULE = DesignRule(150, 1, "567 IAC 69.8 (Iowa) and Minn. R. 7080.1860 Table IV, class I", "seen")
"""Where the profile has no rule of its own: what two states have in common."""

USUAL_GAL_A_PERSON = 69.0
"""Mean indoor use of a person, gallons a day (US EPA 2002, Onsite Wastewater Treatment Systems Manual: memory)."""

HIGH_GAL_A_PERSON = 1.5 * USUAL_GAL_A_PERSON
LOW_GAL_A_PERSON = USUAL_GAL_A_PERSON / 3
"""Use beyond which a person hardly explains it: half as much again as the mean, a third of it (our judgement)."""


def design_flow(place: Property) -> DesignFlow | None:
    """Give the design flow: the recorded one, else by the bedrooms and the table of the rule profile."""
    if place.design_gpd is not None:
        return DesignFlow(place.design_gpd, "the design flow in property.toml")
    if not place.bedrooms:
        return None
    rule = DESIGN_RULES.get(place.rules or "", USUAL_RULE)
    bedrooms = max(place.bedrooms, rule.least_bedrooms)
    standing = "" if rule.standing.startswith("seen") else f" ({rule.standing})"
    words = f"{rule.per_bedroom_gal:g} gal a bedroom by {rule.reference}{standing}"
    return DesignFlow(bedrooms * rule.per_bedroom_gal, words)


def mean_people(household: Sequence[Household], begins: date, ends: date) -> float:
    """People in the house on an average day from one day up to another; months of the year count in part."""
    days = (ends - begins).days
    if days <= 0:
        return 0.0
    person_days = 0.0
    for row in household:
        first, last = max(row.from_, begins), min(row.to or ends, ends)
        person_days += max(0, (last - first).days) * row.people * row.months_a_year / 12
    return person_days / days

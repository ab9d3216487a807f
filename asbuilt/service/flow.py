"""From counters and meters to gallons a day, held against the design flow and the people in the house."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise, product

from asbuilt.findings import Finding, Severity
from asbuilt.model.household import Household
from asbuilt.model.site_readings import SiteReading
from asbuilt.service.design_flow import (
    HIGH_GAL_A_PERSON,
    LOW_GAL_A_PERSON,
    USUAL_GAL_A_PERSON,
    DesignFlow,
    mean_people,
)

COUNTERS = ("cycle-counter", "hour-meter", "water-meter")
"""Readings that only go up, in the order in which they are trusted: the surest first is the counter of doses."""

FEW_DAYS = 7
"""Days below which a mean says little of how people live (common practice: a week has one wash day at least)."""


@dataclass(frozen=True, slots=True)
class Flow:
    """Gallons a day between two readings of one counter."""

    counter: str  #: one of COUNTERS
    begins: date
    ends: date
    gallons: float
    words: str  #: how it was reckoned

    @property
    def days(self) -> int:
        """Days between the two readings."""
        return (self.ends - self.begins).days

    @property
    def gal_per_day(self) -> float:
        """Mean of those days."""
        return self.gallons / self.days


@dataclass(frozen=True, slots=True)
class Stretch:
    """One counter between two of its readings."""

    counter: str
    first: SiteReading
    second: SiteReading

    @property
    def count(self) -> float:
        """How far it went on, in its own unit."""
        return self.second.number - self.first.number


Worth = Callable[[Stretch], tuple[float, str] | None]
"""From a stretch to its gallons and the words for it; None = nothing tells what a count is worth."""


def stretches_of(readings: Sequence[SiteReading], counter: str) -> tuple[list[Stretch], list[Finding]]:
    """Pair the readings of one counter day by day; where it went back, the stretch is left out with a finding.

    Several readings of one day (a counter that was replaced has two) are taken so that it went on by the least.
    """
    by_day: dict[date, list[SiteReading]] = {}
    for reading in readings:
        if reading.reading == counter:
            by_day.setdefault(reading.on, []).append(reading)
    days = sorted(by_day)
    stretches, findings = [], []
    for earlier, later in pairwise(days):
        pairs = [Stretch(counter, *pair) for pair in product(by_day[earlier], by_day[later])]
        on = [pair for pair in pairs if pair.count >= 0]
        if on:
            stretches.append(min(on, key=lambda pair: pair.count))
        else:
            findings.append(_went_back(max(pairs, key=lambda pair: pair.count)))
    return stretches, findings


def _went_back(stretch: Stretch) -> Finding:
    first, second = stretch.first, stretch.second
    whole = 10 ** len(str(int(first.number)))
    over = ""
    if first.number > 0.9 * whole:
        over = f" or it ran over its last digit (then it went on by {whole - first.number + second.number:g})"
    message = (
        f"{first.component}: the {stretch.counter} went back from {first.as_read} on {first.on.isoformat()} to "
        f"{second.as_read} on {second.on.isoformat()}, so these days tell no flow. It was replaced or set back, one of "
        f"the two was misread,{over or ' or it ran over its last digit'}."
    )
    mend = "Where it was replaced, write both readings of that day, the old one's last and the new one's first."
    return Finding("counter-went-back", first.component, message, Severity.ATTENTION, mend)


def flows_of(readings: Sequence[SiteReading], worth: Worth) -> tuple[list[Flow], list[Finding]]:
    """Give the flow of every stretch of every counter, in the order of the days; the surest counter last of a day."""
    flows: list[Flow] = []
    findings: list[Finding] = []
    for counter in COUNTERS:
        stretches, went_back = stretches_of(readings, counter)
        findings += went_back
        for stretch in stretches:
            told = worth(stretch)
            if told is not None:
                flows.append(Flow(counter, stretch.first.on, stretch.second.on, *told))
    flows.sort(key=lambda flow: (flow.ends, -COUNTERS.index(flow.counter), flow.begins))
    return flows, findings


def present_flow(flows: Sequence[Flow]) -> Flow | None:
    """Give the flow of the latest stretch that is long enough to tell, by the surest counter; None = none is."""
    long_enough = [flow for flow in flows if flow.days >= FEW_DAYS]
    return long_enough[-1] if long_enough else None


def flow_between(flows: Sequence[Flow], begins: date, ends: date) -> Flow | None:
    """Give the flow between any two days on which one counter was read, by the surest that has both; None = none has.

    Stretches in which the counter went back are left out, so that a counter without a break is asked for.
    """
    for counter in COUNTERS:
        own = [each for each in flows if each.counter == counter and begins <= each.begins and each.ends <= ends]
        days = sum(each.days for each in own)
        if own and own[0].begins == begins and own[-1].ends == ends and days == (ends - begins).days:
            words = "; ".join(each.words for each in own)
            return Flow(counter, begins, ends, sum(each.gallons for each in own), words)
    return None


def judge(tank: str, flow: Flow, design: DesignFlow | None, household: Sequence[Household]) -> list[Finding]:
    """Hold one flow against the design flow and against the people who lived there in those days."""
    findings = []
    rate, when = flow.gal_per_day, f"from {flow.begins.isoformat()} to {flow.ends.isoformat()}"
    said = f"{tank}: {rate:,.0f} gal a day {when} by the {flow.counter}"
    if design is not None and rate > design.gal_per_day:
        over = rate / design.gal_per_day - 1
        message = f"{said}, {100 * over:.0f} % over the design flow of {design.gal_per_day:g} gal ({design.words})."
        mend = (
            "Likely causes (common practice): a running toilet or tap, ground or roof water leaking in, more people "
            "than it was built for. Find it before the field fails."
        )
        findings.append(Finding("over-design-flow", tank, message, Severity.ATTENTION, mend))
    people = mean_people(household, flow.begins, flow.ends)
    if people <= 0:
        return findings
    each = rate / people
    usual = f"{USUAL_GAL_A_PERSON:g} is usual (US EPA 2002, from memory)"
    a_person = f"{each:,.0f} gal a day for each of {people:.1f} people; {usual}"
    if each > HIGH_GAL_A_PERSON:
        mend = (
            "Likely causes (common practice): a running toilet, groundwater leaking into a tank or riser, a softener "
            "or roof drain on the system, more people than are recorded."
        )
        findings.append(Finding("use-high", tank, f"{said}: {a_person}.", Severity.ATTENTION, mend))
    elif each < LOW_GAL_A_PERSON:
        mend = (
            "Likely causes (common practice): a tank or pipe that leaks out, a counter that misses doses, fewer people "
            "than are recorded."
        )
        findings.append(Finding("use-low", tank, f"{said}: {a_person}.", Severity.NOTE, mend))
    return findings

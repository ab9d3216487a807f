"""From a property's record to its due pump-outs: when each septic tank's clock started, and when it ends.

The clock of a tank starts at its last full pump-out, else on the day it was put in, else on the
household's first day. What was no full pump-out, what belongs to an older tank in the same hole and what
is dated after `today` never starts it.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import combinations, groupby

from asbuilt.findings import Finding, Severity
from asbuilt.model.components import Component
from asbuilt.model.entries import PUMP_OUT, ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.property_record import PropertyRecord
from asbuilt.service.solids import SolidsDue, SolidsError, next_pump_out, number_words

METHOD = "published table"
"""How the dates of this module come about; never mixed with measured sludge and scum."""

FULL_SHARE = 0.75
"""Share of the nominal volume that a full pump-out removes at least: below the brim there is freeboard
and a heel that the hose leaves, but one tank of two or a topped load is far less (common practice)."""

RANGE_WORDS = "earliest and latest are the interval less and plus 20 %"
"""What the range is: the published adjustment for more or less solids."""

RECORD_VOLUME = "Record volume_gal in components.csv."
RECORD_HOUSEHOLD = "Record who lives there in household.csv."
"""What to do where the record cannot say when."""


@dataclass(frozen=True, slots=True)
class Due:
    """One task on one component, when it falls due and why; the keys of `due --json`."""

    property: str
    component: str
    task: str
    due_on: date | None  #: None = never, as things are recorded
    earliest_on: date | None
    latest_on: date | None
    reason: str  #: one plain sentence
    method: str
    reference: str
    overdue: bool  #: due before `today`

    def as_json(self) -> dict[str, str | bool | None]:
        """Give the keys of `due --json`, dates as YYYY-MM-DD."""
        return {
            "property": self.property,
            "component": self.component,
            "task": self.task,
            "due_on": _iso(self.due_on),
            "earliest_on": _iso(self.earliest_on),
            "latest_on": _iso(self.latest_on),
            "reason": self.reason,
            "method": self.method,
            "reference": self.reference,
            "overdue": self.overdue,
        }


@dataclass(frozen=True, slots=True)
class _PumpOut:
    """All that was pumped from one tank on one day."""

    on: date
    full: bool
    words: str  #: how much, in words


@dataclass(frozen=True, slots=True)
class _Start:
    """The day a tank's clock starts, and why that day."""

    on: date
    words: str


def due_tasks(record: PropertyRecord, today: date) -> tuple[tuple[Due, ...], tuple[Finding, ...]]:
    """Give the next pump-out of every septic tank that stands on a day.

    A septic tank is a component whose kind holds "septic tank", in upper or lower case.

    Parameters
    ----------
    record
        One property; the order of its rows does not matter.
    today
        The day from which is judged what is overdue; service entries after it are left out.

    Returns
    -------
    tuple[tuple[Due, ...], tuple[Finding, ...]]
        What is due, soonest first (never = last), then by name; and what stands in the way, in the order
        of the components: missing data, entries left out, partial pump-outs and tasks overdue.
    """
    dues: list[Due] = []
    findings: list[Finding] = []
    tanks = [tank for tank in record.components if _is_septic_tank(tank) and tank.stands_on(today)]
    if tanks:
        findings += _overlaps(record.household)
    for tank in tanks:
        due, said = _due_of_tank(record, tank, today)
        findings += said
        if due is not None:
            dues.append(due)
    dues.sort(key=lambda due: (due.due_on is None, due.due_on or today, due.component))
    return tuple(dues), tuple(findings)


def _due_of_tank(record: PropertyRecord, tank: Component, today: date) -> tuple[Due | None, list[Finding]]:
    """Give one tank's next pump-out, or the finding that says why there is none."""
    begun = _begun_on(record, tank, today)
    entries = _entries_of(record, tank, begun)
    findings = [_future(tank, entry) for entry in entries if entry.on > today]
    if tank.volume_gal is None:
        return None, [*findings, _cannot_say(tank, "no volume is recorded", RECORD_VOLUME)]
    pumped = _pump_outs([entry for entry in entries if entry.on <= today], tank.volume_gal)
    start = _start(pumped, begun, record.household)
    findings += [_partial(tank, day) for day in pumped if not day.full and (not start or day.on > start.on)]
    if start is None:
        return None, [*findings, _cannot_say(tank, "no household is recorded", RECORD_HOUSEHOLD)]
    try:
        solids = next_pump_out(tank.volume_gal, record.household, start.on)
    except SolidsError as error:
        return None, [*findings, _cannot_say(tank, str(error), "Correct it in the sheet.")]
    if solids is None:
        return None, [*findings, _cannot_say(tank, "no household is recorded", RECORD_HOUSEHOLD)]
    due = _due(record.property.name, tank, start, solids, today)
    if due.overdue and due.due_on is not None:
        findings.append(_overdue(tank, due.due_on, today))
    return due, findings


def _entries_of(record: PropertyRecord, tank: Component, begun: _Start | None) -> list[ServiceEntry]:
    """Give a tank's own entries in the order of their days; older ones are another tank's."""
    own = [entry for entry in record.service if entry.component == tank.name]
    since = [entry for entry in own if begun is None or entry.on >= begun.on]
    return sorted(since, key=lambda entry: (entry.on, entry.task))


def _due(property_name: str, tank: Component, start: _Start, solids: SolidsDue, today: date) -> Due:
    """Put the reckoning into the words of the list."""
    parts = [start.words, solids.table, solids.closed_form, *solids.remarks]
    if solids.due_on is not None:
        parts.append(RANGE_WORDS)
    return Due(
        property=property_name,
        component=tank.name,
        task=PUMP_OUT,
        due_on=solids.due_on,
        earliest_on=solids.earliest_on,
        latest_on=solids.latest_on,
        reason="; ".join(part for part in parts if part),
        method=METHOD,
        reference=solids.reference,
        overdue=solids.due_on is not None and solids.due_on < today,
    )


def _is_septic_tank(component: Component) -> bool:
    return "septic tank" in " ".join(component.kind.casefold().split())


def _begun_on(record: PropertyRecord, tank: Component, today: date) -> _Start | None:
    """Give the day a tank was put in; without one, the day the tank that it stands in for was taken out.

    Names are unique among what stands at a time, so a tank of the same name cannot be older than that.
    """
    if tank.installed_on is not None:
        return _Start(tank.installed_on, f"installed {tank.installed_on.isoformat()}")
    gone = [
        other.removed_on
        for other in record.components
        if other is not tank
        and other.name in (tank.name, tank.replaces)
        and _is_septic_tank(other)
        and other.removed_on is not None
        and other.removed_on <= today
    ]
    if not gone:
        return None
    return _Start(max(gone), f"the tank before it was taken out {max(gone).isoformat()}")


def _start(pumped: list[_PumpOut], begun: _Start | None, household: Iterable[Household]) -> _Start | None:
    """Choose the day the clock starts: last full pump-out, else put in, else the household's first day."""
    full = [day for day in pumped if day.full]
    if full:
        last = full[-1]
        return _Start(last.on, f"pumped {last.on.isoformat()} ({last.words})")
    if begun is not None:
        return _Start(begun.on, f"{begun.words}, no full pump-out recorded since")
    first = min((row.from_ for row in household), default=None)
    if first is None:
        return None
    words = "no full pump-out and no installation date recorded, so counted from the household's first day"
    return _Start(first, f"{words} {first.isoformat()}")


def _pump_outs(entries: list[ServiceEntry], volume_gal: float) -> list[_PumpOut]:
    """Judge the pump-outs day by day, in the order of the days."""
    pumping = [entry for entry in entries if entry.task.strip().casefold() == PUMP_OUT]
    days = groupby(sorted(pumping, key=lambda entry: entry.on), key=lambda entry: entry.on)
    return [_judge_day(on, list(of_day), volume_gal) for on, of_day in days]


def _judge_day(on: date, entries: list[ServiceEntry], volume_gal: float) -> _PumpOut:
    """Tell whether one day's pumping emptied the tank; blank gallons count only where none are stated."""
    gallons = _gallons_of_day(entries)
    if gallons is not None:
        words = f"{number_words(gallons)} gal of {number_words(volume_gal)}"
        return _PumpOut(on, gallons >= FULL_SHARE * volume_gal, words)
    if any(_compartment(entry) is None for entry in entries):
        return _PumpOut(on, True, "gallons not recorded, taken as a full pump-out")
    named = " and ".join(sorted({_compartment(entry) or "" for entry in entries}))
    return _PumpOut(on, False, f"compartment {named}, gallons not recorded")


def _gallons_of_day(entries: list[ServiceEntry]) -> float | None:
    """Gallons of one day: compartments add up, but two entries of the same thing are one load told twice."""
    loads: dict[str | None, float] = {}
    for entry in entries:
        if entry.gallons is not None:
            key = _compartment(entry)
            loads[key] = max(entry.gallons, loads.get(key, 0.0))
    whole = loads.pop(None, None)
    totals = [] if whole is None else [whole]
    if loads:
        totals.append(sum(loads[key] for key in sorted(loads, key=str)))
    return max(totals, default=None)


def _compartment(entry: ServiceEntry) -> str | None:
    """Name of the one compartment that an entry is about; None = the whole tank."""
    return (entry.compartment or "").strip().casefold() or None


def _overlaps(household: Iterable[Household]) -> list[Finding]:
    """Note rows of one building that hold at the same time: often an old row whose `to` was forgotten."""
    rows = sorted(household, key=lambda row: (row.from_, row.people, row.building or ""))
    findings = []
    for first, second in combinations(rows, 2):
        if first.building == second.building and (first.to is None or second.from_ < first.to):
            if first.people <= 0 or second.people <= 0 or second.to == second.from_:
                continue
            both = " and ".join(
                f"from {row.from_.isoformat()} ({number_words(row.people)} people)" for row in (first, second)
            )
            message = f"household rows {both} of one building hold at the same time; their people are added up."
            mend = "If the second replaced the first, give the first row its to."
            subject = first.building or "household"
            findings.append(Finding("household-overlap", subject, message, Severity.NOTE, mend))
    return findings


def _cannot_say(tank: Component, why: str, mend: str) -> Finding:
    message = f"{tank.name}: cannot say when the next pump-out is due: {why}."
    return Finding("cannot-say-when", tank.name, message, Severity.NOTE, mend)


def _future(tank: Component, entry: ServiceEntry) -> Finding:
    message = f"{tank.name}: the {entry.task} entry of {entry.on.isoformat()} lies in the future and is left out."
    return Finding("future-entry", tank.name, message, Severity.NOTE, "Check its date in service.csv.")


def _partial(tank: Component, pumped: _PumpOut) -> Finding:
    message = (
        f"{tank.name}: the pump-out of {pumped.on.isoformat()} ({pumped.words}) does not start the clock "
        f"again; a full one empties the whole tank, at least {100 * FULL_SHARE:.0f} % of its volume."
    )
    mend = "If the whole tank was emptied, correct gallons, or leave gallons and compartment blank."
    return Finding("partial-pump-out", tank.name, message, Severity.NOTE, mend)


def _overdue(tank: Component, due_on: date, today: date) -> Finding:
    late = (today - due_on).days
    message = f"{tank.name}: pump-out was due {due_on.isoformat()}, {late} {'day' if late == 1 else 'days'} ago."
    mend = "Have it pumped by a licensed pumper, or have its sludge and scum measured."
    return Finding("overdue", tank.name, message, Severity.ATTENTION, mend)


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()

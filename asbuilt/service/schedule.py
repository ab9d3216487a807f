"""From a property's record to everything that falls due: pump-outs and tasks by interval, each with its reason.

A pump-out is due by its solids: by measured sludge and scum where they were read since the last full pump-out, else
by the published table; the two are never mixed. A rule's, a maker's or an owner's interval goes before it where it
is shorter. Nothing here asks what day it is: the day is given, and only what stands and what was done by then, and
what is overdue, hang on it.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from itertools import combinations

from asbuilt.findings import Finding, Severity
from asbuilt.model.components import Component
from asbuilt.model.entries import PUMP_OUT
from asbuilt.model.household import Household
from asbuilt.model.property_record import PropertyRecord
from asbuilt.rules.profile import Profile
from asbuilt.service import measured
from asbuilt.service.condition import condition_findings, lid_findings
from asbuilt.service.due import Candidate, Due, earliest_of, overdue_finding, preferred
from asbuilt.service.pumping import TankHistory, is_septic_tank, tank_history
from asbuilt.service.readings import Reading, readings_of
from asbuilt.service.solids import SolidsDue, SolidsError, check_row, next_pump_out, number_words
from asbuilt.service.tasks import (
    Last,
    due_of,
    preferred_months,
    pump_out_candidates,
    settings_of,
    tasks_by_interval,
)

__all__ = ["METHOD", "Due", "due_tasks", "settled_on"]

METHOD = "published table"
"""How dates without readings come about; never mixed with measured sludge and scum."""

RANGE_WORDS = "earliest and latest are the interval less and plus 20 %"
"""What the range of the published table is: its adjustment for more or less solids."""

MEASURED_RANGE = "earliest and latest hold the day with 80 %"
"""What the range of measured solids is."""

RECORD_VOLUME = "Record volume_gal in components.csv."
RECORD_HOUSEHOLD = "Record who lives there in household.csv."
"""What to do where the record cannot say when."""


def due_tasks(record: PropertyRecord, today: date, profile: Profile) -> tuple[tuple[Due, ...], tuple[Finding, ...]]:
    """Give every task of a property with the day it falls due.

    Parameters
    ----------
    record
        One property; the order of its rows does not matter.
    today
        The day from which is judged what is overdue; service entries after it are left out.
    profile
        Whose criteria and intervals count; `record.profiles.profile_of` gives the property's own.

    Returns
    -------
    tuple[tuple[Due, ...], tuple[Finding, ...]]
        What is due, soonest first (never = last), then by component and task; and what stands in the way: missing
        data, entries left out, partial pump-outs, readings that cannot be, what was found, and tasks overdue.
    """
    dues: list[Due] = []
    findings: list[Finding] = []
    tanks = [tank for tank in record.components if is_septic_tank(tank) and tank.stands_on(today)]
    if tanks:
        findings += _overlaps(record.household)
        findings += _unordered(tanks)
    for tank in tanks:
        due, said = _due_of_tank(record, tank, today, profile)
        findings += said
        dues += [] if due is None else [due]
    more, said = tasks_by_interval(record, profile, today)
    dues += more
    findings += said
    findings += lid_findings(record, today)
    dues.sort(key=lambda due: (due.due_on is None, due.due_on or today, due.component, due.task))
    findings += [
        overdue_finding(due.component, due.task, due.due_on, today) for due in dues if due.overdue and due.due_on
    ]
    return tuple(dues), tuple(findings)


def settled_on(record: PropertyRecord) -> date:
    """Give the day from which on a property's list no longer hangs on the day that is asked for.

    From then on every entry has happened and nothing more is put in or taken out, so that only `overdue` changes.
    """
    days = [entry.on for entry in record.service]
    for component in record.components:
        days += [day for day in (component.installed_on, component.removed_on) if day is not None]
    return max(days, default=date.min)


def _due_of_tank(
    record: PropertyRecord, tank: Component, today: date, profile: Profile
) -> tuple[Due | None, list[Finding]]:
    """Give one tank's next pump-out, or the finding that says why there is none."""
    history = tank_history(record, tank, today)
    start = history.start
    # What was read up to the last full pump-out tells nothing of what has gathered since.
    since = [entry for entry in history.entries if start is None or not start.empty or entry.on > start.on]
    readings, impossible = readings_of(tank, since)
    findings = [*history.findings, *impossible, *condition_findings(history, readings)]
    solids, said = _by_solids(record, history, readings, profile)
    findings += said
    candidates = [] if solids is None else [solids]
    last = None if history.start is None else Last(history.start.on, history.start.words)
    if last is not None:
        candidates += pump_out_candidates(record, profile, tank, last, today)
    if not candidates:
        return None, findings
    months = preferred_months(settings_of(record, tank, PUMP_OUT))
    chosen = preferred(earliest_of(candidates), date.min if last is None else last.on, months)
    return due_of(record.property.name, tank.name, PUMP_OUT, chosen, today), findings


def _by_solids(
    record: PropertyRecord, history: TankHistory, readings: Sequence[Reading], profile: Profile
) -> tuple[Candidate | None, list[Finding]]:
    """Give the day that the solids set: by readings, or else by the published table."""
    tank = history.tank
    try:
        for row in record.household:
            check_row(row)
        if tank.volume_gal is None or history.volume_gal is None:
            return None, [_cannot_say(tank, "no volume is recorded", RECORD_VOLUME)]
        by_readings = measured.measured_due(history, readings, record.household, profile)
        if by_readings is not None:
            return _measured(history, by_readings), []
        said = _unused(readings, tank)
        if history.start is None or not record.household:
            return None, [*said, _cannot_say(tank, "no household is recorded", RECORD_HOUSEHOLD)]
        solids = next_pump_out(history.volume_gal, record.household, history.start.on)
    except SolidsError as error:
        return None, [_cannot_say(tank, str(error), "Correct it in the sheet.")]
    return None if solids is None else _table(history, solids), said


def _table(history: TankHistory, solids: SolidsDue) -> Candidate:
    """Put the table's reckoning into the words of the list."""
    start = "" if history.start is None else history.start.words
    parts = [start, solids.table, solids.closed_form, *solids.remarks, history.volume_words()]
    if solids.due_on is not None:
        parts.append(RANGE_WORDS)
    return Candidate(
        solids.due_on,
        solids.earliest_on,
        solids.latest_on,
        "; ".join(part for part in parts if part),
        METHOD,
        solids.reference,
        "published table:",
    )


def _measured(history: TankHistory, due: measured.MeasuredDue) -> Candidate:
    """Put the measured reckoning into the words of the list."""
    parts = ["" if history.start is None else history.start.words, due.words, *due.remarks]
    if len(history.series) > 1:
        parts.append("this tank alone, because its own layers were measured")
    if due.due_on is not None and not due.already:
        parts.append(MEASURED_RANGE)
    return Candidate(
        due.due_on,
        due.earliest_on,
        due.latest_on,
        "; ".join(part for part in parts if part),
        measured.METHOD,
        due.reference,
        "measured solids:",
    )


def _unused(readings: Sequence[Reading], tank: Component) -> list[Finding]:
    """Say that readings stand in the record that tell no day, and what is missing."""
    if not readings:
        return []
    missing = "liquid_depth" if tank.liquid_depth is None else "outlet_depth"
    message = (
        f"{tank.name}: the readings since {readings[0].on.isoformat()} tell no day without the tank's own depths; "
        "the published table is used instead."
    )
    mend = f"Record {missing} in components.csv, and both sludge and scum of each compartment."
    return [Finding("readings-not-used", tank.name, message, Severity.NOTE, mend)]


def _unordered(tanks: list[Component]) -> list[Finding]:
    """Note several tanks of which nothing says whether the flow goes from one into the other."""
    names = {tank.name for tank in tanks}
    loose = [tank.name for tank in tanks if tank.follows not in names]
    if len(loose) < 2:
        return []
    message = (
        f"{', '.join(sorted(loose))}: nothing says whether one takes its flow from another, so each is reckoned "
        "alone, with all the people of the property."
    )
    mend = "If they stand in series, name in follows the tank that each takes its flow from."
    return [Finding("tanks-not-ordered", sorted(loose)[0], message, Severity.NOTE, mend)]


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

"""What the last look at a component left to be done: lids, baffles, liquid level, readings that fall."""

from collections.abc import Iterable, Sequence
from datetime import date
from itertools import pairwise

from asbuilt.findings import Finding, Severity
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.property_record import PropertyRecord
from asbuilt.service.pumping import TankHistory, begun_on, entries_of
from asbuilt.service.readings import Reading
from asbuilt.units import INCH_M

FALLS_M = 4 * INCH_M
"""How much less sludge a later reading may show: three times the spread of the difference of two readings, each
read to the inch (common practice)."""

REFILL_DAYS = 30
"""A tank that was emptied fills to its outlet again within days of use; a month leaves no doubt."""

_BAD = ("missing", "broken", "damaged", "corroded", "fallen", "gone")


def lid_findings(record: PropertyRecord, today: date) -> list[Finding]:
    """Say where the last entry that tells leaves a lid open, damaged or missing."""
    findings = []
    for component in record.components:
        if not component.stands_on(today):
            continue
        entries = entries_of(record, component, begun_on(record, component, today))
        past = [entry for entry in entries if entry.on <= today]
        lid = _last(past, "lid")
        secured = _last(past, "secured")
        if secured is not None and secured.secured is False:
            message = f"{component.name}: a lid was left unsecured on {secured.on.isoformat()}."
            mend = "Fasten it today: a person who falls into a tank dies. Then record it."
            findings.append(Finding("lid-not-secured", component.name, message, Severity.ATTENTION, mend))
        if lid is not None and lid.lid != "sound":
            message = f"{component.name}: a lid was found {lid.lid} on {lid.on.isoformat()}."
            mend = "Cover and fence it today, have it replaced, and record it."
            findings.append(Finding("lid-not-sound", component.name, message, Severity.ATTENTION, mend))
    return findings


def condition_findings(history: TankHistory, readings: Sequence[Reading]) -> list[Finding]:
    """Say what the last entries of a septic tank tell of its level and baffles, and where its readings fall."""
    tank, entries = history.tank, history.entries
    findings = []
    level = _last(entries, "level_before")
    if level is not None:
        findings += _of_level(history, level, (level.level_before or "").casefold())
    baffles = _last(entries, "baffles")
    if baffles is not None and any(word in (baffles.baffles or "").casefold() for word in _BAD):
        message = f"{tank.name}: the baffles were noted on {baffles.on.isoformat()} as: {baffles.baffles}."
        mend = "Have them replaced: without an outlet baffle scum goes to the field."
        findings.append(Finding("baffle", tank.name, message, Severity.ATTENTION, mend))
    return [*findings, *_falling(history, readings)]


def _of_level(history: TankHistory, entry: ServiceEntry, level: str) -> list[Finding]:
    tank, on = history.tank, entry.on
    if level.startswith("above"):
        message = f"{tank.name}: the liquid stood above the outlet on {on.isoformat()}."
        mend = "Have the filter, the outlet, the pump and the field looked at: water is held back behind one of them."
        return [Finding("level-above-outlet", tank.name, message, Severity.ATTENTION, mend)]
    emptied = any(0 <= (on - day.on).days <= REFILL_DAYS and day.on != on for day in history.pumped)
    if level.startswith("below") and not emptied:
        message = f"{tank.name}: the liquid stood below the outlet on {on.isoformat()}."
        mend = "Have the tank tested for leaks, unless nobody lived there."
        return [Finding("level-below-outlet", tank.name, message, Severity.ATTENTION, mend)]
    return []


def _falling(history: TankHistory, readings: Sequence[Reading]) -> list[Finding]:
    """Note two readings of which the later shows clearly less sludge, with no pumping between."""
    findings = []
    for compartment in dict.fromkeys(reading.compartment for reading in readings):
        own = [each for each in readings if each.compartment == compartment and each.sludge_m is not None]
        for first, second in pairwise(own):
            pumped = any(first.on <= day.on < second.on for day in history.pumped)
            fall = (first.sludge_m or 0.0) - (second.sludge_m or 0.0)
            if fall > FALLS_M and not pumped:
                message = (
                    f"{history.tank.name}: {fall / INCH_M:.0f} in less sludge on {second.on.isoformat()} than on "
                    f"{first.on.isoformat()}, and no pump-out is recorded between."
                )
                mend = "Record the pump-out that is missing, or correct the reading that is wrong."
                findings.append(Finding("sludge-falls", history.tank.name, message, Severity.NOTE, mend))
    return findings


def _last(entries: Iterable[ServiceEntry], field: str) -> ServiceEntry | None:
    """Give the latest entry in which a field is filled."""
    told = [entry for entry in entries if getattr(entry, field) is not None]
    return max(told, key=lambda entry: (entry.on, entry.task), default=None)

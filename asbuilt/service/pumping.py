"""The history of one tank: when it was last emptied, by how much, and which day its clock starts.

The clock of a tank starts at its last full pump-out, else on the day it was put in, else on the household's first
day. What was no full pump-out, what belongs to an older tank in the same hole and what is dated after the day asked
for never starts it. The order of the entries does not matter.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby

from asbuilt.findings import Finding, Severity
from asbuilt.model.components import Component, parse_compartments
from asbuilt.model.entries import PUMP_OUT, ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.property_record import PropertyRecord
from asbuilt.rules.kinds import holds
from asbuilt.service.solids import number_words

FULL_SHARE = 0.75
"""Share of the nominal volume that a full pump-out removes at least: below the brim there is freeboard
and a heel that the hose leaves, but one tank of two or a topped load is far less (common practice)."""

OVER_SHARE = 1.25
"""Share of the nominal volume above which a load cannot be the tank's own liquid: filled to the brim it holds some
10 to 20 % more than its nominal volume (common practice), so the rest ran back from the field or in from the house."""

ALL_TANKS = ("all", "both")
"""Words in `tanks` for all tanks of the row in series."""

WHOLE_TANK = (*ALL_TANKS, "whole", "whole tank")
"""Words in `compartment` that mean the same as a blank: every compartment."""


@dataclass(frozen=True, slots=True)
class PumpOut:
    """All that was pumped from one tank on one day."""

    on: date
    full: bool
    words: str  #: how much, in words
    gallons: float | None = None
    runback: bool = False  #: liquid was seen running back from the field
    compartments: frozenset[str] = frozenset()  #: those that were emptied where it was not the whole tank


@dataclass(frozen=True, slots=True)
class Start:
    """The day a clock starts, and why that day."""

    on: date
    words: str
    empty: bool = True  #: nothing was in the tank on that day, as far as the record says


@dataclass(frozen=True, slots=True)
class TankHistory:
    """What is known of one tank up to a day."""

    tank: Component
    series: tuple[Component, ...]  #: the tanks from the first of the row up to this one
    entries: tuple[ServiceEntry, ...]  #: its own, in the order of their days
    pumped: tuple[PumpOut, ...]
    start: Start | None  #: None = nothing says when
    findings: tuple[Finding, ...]

    @property
    def volume_gal(self) -> float | None:
        """The volume that the published table is asked for: the first tank's own, or that of the row so far."""
        volumes = [each.volume_gal for each in self.series]
        return None if None in volumes else sum(volume for volume in volumes if volume is not None)

    def volume_words(self) -> str | None:
        """Say which volume was taken, where there could be two."""
        if len(self.series) > 1 and self.volume_gal is not None:
            return f"volume of the {len(self.series)} tanks in series, because only what passes the first reaches it"
        return None


def tank_history(record: PropertyRecord, tank: Component, today: date) -> TankHistory:
    """Give the history of one tank up to a day.

    Parameters
    ----------
    record
        One property; the order of its rows does not matter.
    tank
        One of its septic tanks.
    today
        Entries after it are left out, with a finding.
    """
    begun = begun_on(record, tank, today)
    series = tanks_in_series(record, tank, today)
    entries = entries_of(record, tank, begun)
    findings = [_future(tank, entry) for entry in entries if entry.on > today]
    findings += [_too_early(tank, entry) for entry in _of_no_tank(record, tank)]
    past = [entry for entry in entries if entry.on <= today]
    findings += _strange_compartments(tank, past)
    pumped = () if tank.volume_gal is None else tuple(_pump_outs(record, tank, past))
    start = _start(pumped, begun, record.household)
    findings += [_partial(tank, day) for day in pumped if not day.full and (not start or day.on > start.on)]
    findings += _over(tank, pumped, past)
    return TankHistory(tank, series, tuple(past), pumped, start, tuple(findings))


def is_septic_tank(component: Component) -> bool:
    """Tell whether a component is a septic tank: its kind holds "septic tank", in upper or lower case."""
    return holds("septic tank", component.kind)


def entries_of(record: PropertyRecord, component: Component, begun: Start | None) -> list[ServiceEntry]:
    """Give a component's own entries in the order of their days; older ones are another one's."""
    own = [entry for entry in record.service if component.name in _emptied(record, entry)]
    since = [entry for entry in own if begun is None or entry.on >= begun.on]
    return sorted(since, key=lambda entry: (entry.on, entry.task, repr(entry)))


def begun_on(record: PropertyRecord, component: Component, today: date) -> Start | None:
    """Give the day a component was put in; without one, the day the one that it stands in for was taken out.

    Names are unique among what stands at a time, so one of the same name cannot be older than that.
    """
    if component.installed_on is not None:
        return Start(component.installed_on, f"installed {component.installed_on.isoformat()}")
    gone = [
        other.removed_on
        for other in record.components
        if other is not component
        and other.name in (component.name, component.replaces)
        and is_septic_tank(other) == is_septic_tank(component)
        and other.removed_on is not None
        and other.removed_on <= today
    ]
    if not gone:
        return None
    what = "tank" if is_septic_tank(component) else "one"
    return Start(max(gone), f"the {what} before it was taken out {max(gone).isoformat()}")


def tanks_in_series(record: PropertyRecord, tank: Component, today: date) -> tuple[Component, ...]:
    """Give the tanks that stand on a day from the first of the row up to this one, by `follows`."""
    standing = {each.name: each for each in record.components if is_septic_tank(each) and each.stands_on(today)}
    row = [tank]
    while row[0].follows in standing and standing[row[0].follows] not in row:
        row.insert(0, standing[row[0].follows])
    return tuple(row)


def _emptied(record: PropertyRecord, entry: ServiceEntry) -> tuple[str, ...]:
    """Names of the tanks that an entry is about."""
    if not entry.tanks:
        return (entry.component,)
    if entry.tanks.strip().casefold() in ALL_TANKS:
        standing = [each for each in record.components if is_septic_tank(each) and each.stands_on(entry.on)]
        row = {entry.component}
        for _ in standing:  # as often as the row can be long
            row |= {each.name for each in standing if each.follows in row}
            row |= {each.follows for each in standing if each.name in row and each.follows}
        return tuple(sorted(row))
    return tuple(dict.fromkeys([entry.component, *(name.strip() for name in entry.tanks.split(",") if name.strip())]))


def _pump_outs(record: PropertyRecord, tank: Component, entries: Sequence[ServiceEntry]) -> list[PumpOut]:
    """Judge the pump-outs day by day, in the order of the days."""
    pumping = [_own_share(record, tank, entry) for entry in entries if entry.task.strip().casefold() == PUMP_OUT]
    days = groupby(sorted(pumping, key=lambda entry: entry.on), key=lambda entry: entry.on)
    return [_judge_day(on, list(of_day), tank.volume_gal or 0.0) for on, of_day in days]


def _own_share(record: PropertyRecord, tank: Component, entry: ServiceEntry) -> ServiceEntry:
    """Give an entry with the gallons that fall on this tank, where one load emptied several: by their volumes."""
    names = _emptied(record, entry)
    if entry.gallons is None or len(names) < 2:
        return entry
    volumes = {each.name: each.volume_gal or 0.0 for each in record.components if each.stands_on(entry.on)}
    together = sum(volumes.get(name, 0.0) for name in names)
    if together <= 0 or tank.volume_gal is None:
        return entry
    return replace(entry, gallons=entry.gallons * tank.volume_gal / together)


def _judge_day(on: date, entries: list[ServiceEntry], volume_gal: float) -> PumpOut:
    """Tell whether one day's pumping emptied the tank; blank gallons count only where none are stated."""
    gallons = _gallons_of_day(entries)
    runback = any(entry.runback for entry in entries)
    named = frozenset(name for entry in entries if (name := compartment_of(entry)) is not None)
    whole = any(compartment_of(entry) is None for entry in entries)
    if gallons is not None:
        words = f"{number_words(round(gallons, 1))} gal of {number_words(volume_gal)}"
        if any(entry.tanks for entry in entries):
            words += ", its share of one load for several tanks"
        emptied = frozenset() if whole else named
        return PumpOut(on, gallons >= FULL_SHARE * volume_gal, words, gallons, runback, emptied)
    if whole:
        return PumpOut(on, True, "gallons not recorded, taken as a full pump-out", None, runback)
    words = f"compartment {' and '.join(sorted(named))}, gallons not recorded"
    return PumpOut(on, False, words, None, runback, named)


def _gallons_of_day(entries: list[ServiceEntry]) -> float | None:
    """Gallons of one day: compartments add up, but two entries of the same thing are one load told twice."""
    loads: dict[str | None, float] = {}
    for entry in entries:
        if entry.gallons is not None:
            key = compartment_of(entry)
            loads[key] = max(entry.gallons, loads.get(key, 0.0))
    whole = loads.pop(None, None)
    totals = [] if whole is None else [whole]
    if loads:
        totals.append(sum(loads[key] for key in sorted(loads, key=str)))
    return max(totals, default=None)


def compartment_of(entry: ServiceEntry) -> str | None:
    """Name of the one compartment that an entry is about; None = the whole tank."""
    name = " ".join((entry.compartment or "").casefold().split())
    return None if name in WHOLE_TANK else name or None


def compartments_of(tank: Component) -> dict[str, float]:
    """Give the US gallons of each compartment by name; empty where they are not recorded."""
    try:
        return parse_compartments(tank.compartments) if tank.compartments else {}
    except ValueError:  # a record that did not come through the sheets
        return {}


def _start(pumped: Sequence[PumpOut], begun: Start | None, household: Iterable[Household]) -> Start | None:
    """Choose the day the clock starts: last full pump-out, else put in, else the household's first day."""
    full = [day for day in pumped if day.full]
    if full:
        last = full[-1]
        return Start(last.on, f"pumped {last.on.isoformat()} ({last.words})")
    if begun is not None:
        return Start(begun.on, f"{begun.words}, no full pump-out recorded since")
    first = min((row.from_ for row in household), default=None)
    if first is None:
        return None
    words = "no full pump-out and no installation date recorded, so counted from the household's first day"
    return Start(first, f"{words} {first.isoformat()}", empty=False)


def _over(tank: Component, pumped: Sequence[PumpOut], entries: Sequence[ServiceEntry]) -> list[Finding]:
    """Say of the last pump-out where more came out than the tank holds; a note once somebody has looked again."""
    if not pumped or tank.volume_gal is None:
        return []
    last = pumped[-1]
    over = last.gallons is not None and last.gallons > OVER_SHARE * tank.volume_gal
    if not over and not last.runback:
        return []
    seen = any(entry.on > last.on and entry.task.strip().casefold() != PUMP_OUT for entry in entries)
    what = f"far more than it holds ({last.words})" if over else f"while liquid ran back into it ({last.words})"
    message = (
        f"{tank.name}: the pump-out of {last.on.isoformat()} took {what}; likely causes: the field ran back "
        "into the tank because it no longer takes water, groundwater leaks in, or the recorded volume is wrong."
    )
    mend = "Have the field and the outlet looked at, and check volume_gal and the ticket."
    severity = Severity.NOTE if seen else Severity.ATTENTION
    return [Finding("field-running-back", tank.name, message, severity, mend)]


def _future(tank: Component, entry: ServiceEntry) -> Finding:
    message = f"{tank.name}: the {entry.task} entry of {entry.on.isoformat()} lies in the future and is left out."
    return Finding("future-entry", tank.name, message, Severity.NOTE, "Check its date in service.csv.")


def _of_no_tank(record: PropertyRecord, tank: Component) -> list[ServiceEntry]:
    """Give the entries under a tank's name from before it was put in, where no older tank of the record had them."""
    if tank.installed_on is None:
        return []
    older = [
        other
        for other in record.components
        if other is not tank and other.name in (tank.name, tank.replaces) and is_septic_tank(other)
    ]
    early = [entry for entry in record.service if tank.name in _emptied(record, entry) and entry.on < tank.installed_on]
    loose = [entry for entry in early if not any(other.stands_on(entry.on) for other in older)]
    return sorted(loose, key=lambda entry: (entry.on, entry.task, repr(entry)))


def _too_early(tank: Component, entry: ServiceEntry) -> Finding:
    begun = "" if tank.installed_on is None else tank.installed_on.isoformat()
    message = (
        f"{tank.name}: the {entry.task} entry of {entry.on.isoformat()} lies before the tank was put in ({begun}) "
        "and is left out."
    )
    mend = "Correct the date of either, or record the tank that was there before it."
    return Finding("entry-before-the-tank", tank.name, message, Severity.NOTE, mend)


def _strange_compartments(tank: Component, entries: Iterable[ServiceEntry]) -> list[Finding]:
    """Note names of compartments that the tank is not recorded to have: a slip of the pen counts as one more."""
    known, findings = compartments_of(tank), []
    for entry in entries:
        name = compartment_of(entry)
        if known and name is not None and name not in known:
            message = (
                f"{tank.name}: the {entry.task} entry of {entry.on.isoformat()} names the compartment “{name}”, and "
                f"recorded are {' and '.join(known)}; it is reckoned as one of its own."
            )
            mend = "Correct it by a new entry, or correct compartments in components.csv."
            findings.append(Finding("unknown-compartment", tank.name, message, Severity.NOTE, mend))
    return findings


def _partial(tank: Component, pumped: PumpOut) -> Finding:
    message = (
        f"{tank.name}: the pump-out of {pumped.on.isoformat()} ({pumped.words}) does not start the clock "
        f"again; a full one empties the whole tank, at least {100 * FULL_SHARE:.0f} % of its volume."
    )
    mend = "If the whole tank was emptied, correct gallons, or leave gallons and compartment blank."
    return Finding("partial-pump-out", tank.name, message, Severity.NOTE, mend)

"""Everything that the readings of one pump tank say: dose, flow, changes since the first day, hours left."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from asbuilt.findings import Finding, Severity
from asbuilt.model.components import Component
from asbuilt.model.pipes import inside_diameter_in
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.site_readings import SiteReading
from asbuilt.service.baseline import Measure, compare
from asbuilt.service.design_flow import DesignFlow, design_flow
from asbuilt.service.dosing import (
    GallonsPerInch,
    Levels,
    Pipe,
    PumpRate,
    dose_gal,
    gallons_per_inch,
    is_pump_tank,
    level_findings,
    levels_on,
    pump_rates,
    reserve_gal,
    reserve_hours,
)
from asbuilt.service.flow import Flow, Stretch, flows_of, judge, present_flow
from asbuilt.service.pumping import begun_on, entries_of

ROUGH_VOLUME = "reckoned from the nominal volume: may be less"
ROUGH_SIZES = "reckoned from the tank's outside sizes: may be less"
"""What is said of the hours where the tank's room is only roughly known."""

_SQUIRTS = (("squirt-height", "squirt-last"), ("squirt-first",))
"""Readings of one height of the jet: at the end of a lateral, and at its first orifice."""

_PANEL_READINGS = ("cycle-counter", "hour-meter", "amps")
"""Readings that are taken at the panel, and may stand under its name."""


@dataclass(frozen=True, slots=True)
class Reserve:
    """What fits into the tank above the alarm, and how long that lasts."""

    gallons: float
    hours: float
    gal_per_day: float
    words: str  #: what the use is taken from
    present: bool  #: from a counter; False = the design flow stands in for it
    rough: str = ""  #: what makes the gallons only rough, in plain words


@dataclass(frozen=True, slots=True)
class PumpReport:
    """One pump tank in figures; None = what is recorded does not tell it."""

    tank: Component
    gal_per_in: GallonsPerInch | None
    levels: Levels | None
    dose_gal: float | None  #: between the floats, what drains back included
    drainback: tuple[Pipe, ...]
    rates: tuple[PumpRate, ...]
    flows: tuple[Flow, ...]
    present: Flow | None
    design: DesignFlow | None
    reserve: Reserve | None
    findings: tuple[Finding, ...]

    @property
    def drainback_gal(self) -> float:
        """What runs back after each dose, US gallons."""
        return sum(pipe.gallons for pipe in self.drainback)


def pump_tanks(record: PropertyRecord, today: date) -> list[Component]:
    """Give the pump tanks that stand on a day."""
    return [each for each in record.components if is_pump_tank(each) and each.stands_on(today)]


def pump_report(record: PropertyRecord, tank: Component, today: date, lengths_m: Mapping[str, float]) -> PumpReport:
    """Reckon one pump tank from its readings up to a day.

    Parameters
    ----------
    record
        One property; the order of its rows does not matter, but for two readings of one name on one day.
    tank
        One of its pump tanks.
    today
        Readings after it are left out.
    lengths_m
        Length of each line by name, metres, where `length` of the component does not tell it.
    """
    own = _own_readings(record, tank, today)
    per_inch, levels = gallons_per_inch(tank), levels_on(own, today)
    pipes, findings = _drainback(record, tank, today, lengths_m)
    findings = [*_cannot_say(tank, per_inch, own), *level_findings(tank.name, levels, own), *findings]
    rates = [] if per_inch is None else pump_rates(own, per_inch.value)
    reckoner = _Worth(own, per_inch, rates, sum(pipe.gallons for pipe in pipes))
    flows, went_back = flows_of(own, reckoner.of)
    findings += went_back
    present, design = present_flow(flows), design_flow(record.property)
    if present is not None:
        findings += judge(tank.name, present, design, record.household)
    findings += _changes(record, tank, own, rates, today)
    return PumpReport(
        tank,
        per_inch,
        levels,
        None if per_inch is None or levels is None else dose_gal(levels.off_m, levels.on_m, per_inch.value),
        tuple(pipes),
        tuple(rates),
        tuple(flows),
        present,
        design,
        _reserve(tank, levels, per_inch, present, design),
        tuple(findings),
    )


def _own_readings(record: PropertyRecord, tank: Component, today: date) -> list[SiteReading]:
    """Give the readings of a tank since it was put in; the panel's too where it can only be this tank's."""
    names = {tank.name}
    panels = set()
    if len(pump_tanks(record, today)) == 1:
        panels = {each.name for each in record.components if "panel" in each.kind.casefold()}
    begun = begun_on(record, tank, today)
    return [
        each
        for each in record.readings
        if each.on <= today
        and (begun is None or each.on >= begun.on)
        and (each.component in names or (each.component in panels and each.reading in _PANEL_READINGS))
    ]


def _drainback(
    record: PropertyRecord, tank: Component, today: date, lengths_m: Mapping[str, float]
) -> tuple[list[Pipe], list[Finding]]:
    """Give the lines that run back, and findings for those of which size or length is not known."""
    pipes, findings = [], []
    for line in record.components:
        if not line.drains_back or not line.stands_on(today):
            continue
        length = line.length.metres if line.length is not None else lengths_m.get(line.name)
        if line.pipe is not None and length is not None:
            pipes.append(Pipe(line.name, inside_diameter_in(line.pipe), length))
        else:
            missing = "pipe" if line.pipe is None else "length"
            message = f"{tank.name}: what runs back from {line.name} is not known, so each dose counts in full."
            mend = f"Record {missing} of {line.name} in components.csv."
            findings.append(Finding("drainback-unknown", line.name, message, Severity.NOTE, mend))
    return pipes, findings


def _cannot_say(tank: Component, per_inch: GallonsPerInch | None, own: Sequence[SiteReading]) -> list[Finding]:
    if not own or (per_inch is not None and not per_inch.rough):
        return []
    how = "not known" if per_inch is None else f"only rough: {per_inch.words}"
    message = f"{tank.name}: gallons in an inch are {how}."
    mend = "Record gal_per_in from the maker's sheet, or length, width and wall, in components.csv."
    return [Finding("gallons-per-inch", tank.name, message, Severity.NOTE, mend)]


@dataclass(frozen=True, slots=True)
class _Worth:
    """What one count of a counter is worth in gallons."""

    readings: Sequence[SiteReading]
    per_inch: GallonsPerInch | None
    rates: Sequence[PumpRate]
    drainback_gal: float

    def of(self, stretch: Stretch) -> tuple[float, str] | None:
        """Give the gallons of a stretch and how they were reckoned; None = nothing tells."""
        if stretch.counter == "water-meter":
            return stretch.count, f"{stretch.count:,.0f} gal of house water, garden included"
        dose = self._dose(stretch)
        if stretch.counter == "cycle-counter":
            return None if dose is None else self._of_cycles(stretch.count, dose)
        rate = self._rate(stretch)
        return None if rate is None else self._of_hours(stretch.count, rate, dose)

    def _dose(self, stretch: Stretch) -> float | None:
        """Give the dose by the floats in force when the stretch began, else by those read first in it."""
        levels = levels_on(self.readings, stretch.first.on) or levels_on(self.readings, stretch.second.on)
        if levels is None or self.per_inch is None:
            return None
        return dose_gal(levels.off_m, levels.on_m, self.per_inch.value)

    def _rate(self, stretch: Stretch) -> PumpRate | None:
        """Give the drawdown test nearest to the end of the stretch."""
        return min(self.rates, key=lambda rate: abs((rate.on - stretch.second.on).days), default=None)

    def _of_cycles(self, cycles: float, dose: float) -> tuple[float, str]:
        net = max(0.0, dose - self.drainback_gal)
        less = f" less {self.drainback_gal:.1f} that drain back" if self.drainback_gal else ""
        return cycles * net, f"{cycles:,.0f} doses of {dose:.1f} gal{less}"

    def _of_hours(self, hours: float, rate: PumpRate, dose: float | None) -> tuple[float, str]:
        gallons = hours * 60 * rate.gal_per_min
        words = f"{hours:,.1f} h at {rate.gal_per_min:.1f} gal/min ({rate.on.isoformat()})"
        if self.drainback_gal and dose:
            gallons *= max(0.0, 1 - self.drainback_gal / dose)
            words += f" less {100 * min(1.0, self.drainback_gal / dose):.0f} % that drains back"
        return gallons, words


def _reserve(
    tank: Component,
    levels: Levels | None,
    per_inch: GallonsPerInch | None,
    present: Flow | None,
    design: DesignFlow | None,
) -> Reserve | None:
    if levels is None or per_inch is None:
        return None
    gallons = reserve_gal(tank, levels, per_inch.value)
    if present is not None:
        use, words = present.gal_per_day, f"present use, {present.begins.isoformat()} to {present.ends.isoformat()}"
    elif design is not None:
        use, words = design.gal_per_day, "the design flow, because no counter tells the present use"
    else:
        return None
    if gallons is None or use <= 0:
        return None
    rough = ROUGH_VOLUME if levels.inlet_m is None or per_inch.words.startswith("nominal") else ""
    rough = rough or (ROUGH_SIZES if per_inch.rough else "")
    return Reserve(gallons, reserve_hours(gallons, use), use, words, present is not None, rough)


def _changes(
    record: PropertyRecord, tank: Component, own: Sequence[SiteReading], rates: Sequence[PumpRate], today: date
) -> list[Finding]:
    """Hold the latest readings against the first ones; a new pump or new float settings begin anew."""
    pump_since = _new_pump(record, tank, today)
    dose_since = max((day for day in (pump_since, _floats_moved(own)) if day is not None), default=None)
    found = [
        compare(tank.name, "dose-time", _measures(own, "dose-time"), dose_since),
        compare(tank.name, "pump-rate", [_rate_measure(rate) for rate in rates], pump_since),
        compare(tank.name, "amps", _measures(own, "amps"), pump_since),
    ]
    for words in _SQUIRTS:
        heights: dict[str, list[SiteReading]] = {}
        for reading in record.readings:
            if reading.reading in words and reading.on <= today:
                heights.setdefault(reading.component, []).append(reading)
        found += [compare(name, "squirt-height", _measures(some, *words)) for name, some in heights.items()]
    return [finding for finding in found if finding is not None]


def _measures(readings: Sequence[SiteReading], *names: str) -> list[Measure]:
    return [Measure(each.on, each.number, each.as_read) for each in readings if each.reading in names]


def _rate_measure(rate: PumpRate) -> Measure:
    return Measure(rate.on, rate.gal_per_min, f"{rate.gal_per_min:.1f} gal/min")


def _new_pump(record: PropertyRecord, tank: Component, today: date) -> date | None:
    """Give the day of the last pump replacement; None = the first pump is still in."""
    entries = entries_of(record, tank, begun_on(record, tank, today))
    days = [each.on for each in entries if each.on <= today and "pump replace" in each.task]
    return max(days, default=None)


def _floats_moved(own: Sequence[SiteReading]) -> date | None:
    """Give the day from which the pump's floats read as they do now; None = they always did."""
    days = sorted({each.on for each in own if each.reading in ("float-off", "float-on")})
    since = None
    before = None
    for day in days:
        levels = levels_on(own, day)
        apart = None if levels is None else round(abs(levels.on_m - levels.off_m), 4)
        if before is not None and apart is not None and apart != before:
            since = day
        before = apart if apart is not None else before
    return since

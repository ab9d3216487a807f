"""What published rules ask for when a house is sold, and which entry of the record answers it.

Facts and gaps only: whether a system passes is for the inspector and the authority. Massachusetts, 310 CMR 15.301(1),
15.302(1) and (2)(a)-(e) and 15.303(1)(a), was read as published, its list of 15.302 up to (e)5.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from asbuilt.model.entries import PUMP_OUT, ServiceEntry
from asbuilt.model.property_record import PropertyRecord
from asbuilt.service.design_flow import design_flow
from asbuilt.service.pump_tank import PumpReport
from asbuilt.service.pumping import is_septic_tank
from asbuilt.service.tasks import is_of_kind

WATER_YEARS = 2
"""Years of water use that 310 CMR 15.302(2) asks for."""

_INSPECTIONS = ("inspection", "evaluation", "compliance inspection", "sale inspection")
_FIELD = ("lateral", "trench", "drainfield", "field", "bed", "mound", "chamber", "soil absorption")


@dataclass(frozen=True, slots=True)
class Answer:
    """One thing that is asked for, and what the record says of it."""

    asked: str
    source: str
    words: str | None  #: None = no entry of the record answers it


@dataclass(frozen=True, slots=True)
class _Known:
    record: PropertyRecord
    today: date
    pumps: Sequence[PumpReport]

    @property
    def service(self) -> list[ServiceEntry]:
        """Entries up to the day, the latest first."""
        past = [entry for entry in self.record.service if entry.on <= self.today]
        return sorted(past, key=lambda entry: entry.on, reverse=True)


def asked_at_transfer(record: PropertyRecord, today: date, pumps: Sequence[PumpReport]) -> tuple[Answer, ...]:
    """Go through what a transfer inspection asks for.

    Parameters
    ----------
    today
        Later entries are left out.
    pumps
        The property's pump tanks in figures.
    """
    known = _Known(record, today, pumps)
    return tuple(Answer(asked, source, answer(known)) for asked, source, answer in _ASKED)


def _last_inspection(known: _Known) -> str | None:
    for entry in known.service:
        if entry.task in _INSPECTIONS:
            days = (known.today - entry.on).days
            return f"{entry.component}, {entry.on.isoformat()}, {days} days ago{_by(entry)}"
    return None


def _parts(known: _Known) -> str | None:
    standing = [each for each in known.record.components if each.stands_on(known.today)]
    return f"{len(standing)} parts are recorded; see the table of parts and the drawing" if standing else None


def _design(known: _Known) -> str | None:
    flow = design_flow(known.record.property)
    return None if flow is None else f"{flow.gal_per_day:g} gal a day: {flow.words}"


def _occupied(known: _Known) -> str | None:
    now = [row for row in known.record.household if row.from_ <= known.today and (row.to or date.max) > known.today]
    if not now:
        return None
    people = sum(row.people for row in now)
    months = "" if all(row.months_a_year == 12 for row in now) else ", not all year"
    return f"{people:g} people{months}"


def _water_use(known: _Known) -> str | None:
    since = known.today - timedelta(days=round(365.25 * WATER_YEARS))
    flows = [flow for report in known.pumps for flow in report.flows if flow.ends > since]
    if not flows:
        return None
    return "; ".join(
        f"{flow.gal_per_day:,.0f} gal a day from {flow.begins.isoformat()} to {flow.ends.isoformat()} "
        f"by the {flow.counter}"
        for flow in flows
    )


def _tanks(known: _Known) -> str | None:
    told = []
    for tank in known.record.components:
        if is_septic_tank(tank) and tank.stands_on(known.today):
            age = None if tank.installed_on is None else (known.today - tank.installed_on).days / 365.25
            parts = [
                tank.material,
                None if tank.volume_gal is None else f"{tank.volume_gal:,.0f} gal",
                None if age is None else f"{age:.1f} years old",
            ]
            told.append(f"{tank.name}: {', '.join(part for part in parts if part) or 'size and age not recorded'}")
    return "; ".join(told) or None


def _field_of(name: str) -> Callable[[_Known], str | None]:
    """Look for the latest entry that fills one of some fields."""
    names = name.split()

    def answer(known: _Known) -> str | None:
        for entry in known.service:
            filled = [each for each in names if getattr(entry, each) is not None]
            if filled:
                read = ", ".join(f"{each.replace('_', ' ')} {_shown(getattr(entry, each))}" for each in filled)
                return f"{entry.on.isoformat()}, {entry.component}: {read}{_by(entry)}"
        return None

    return answer


def _box(known: _Known) -> str | None:
    spread = [each for each in known.record.readings if each.reading == "outlet-spread" and each.on <= known.today]
    if spread:
        last = max(spread, key=lambda each: each.on)
        return f"{last.component}: outlets differ by {last.as_read}, {last.on.isoformat()}"
    boxes = [each for each in known.record.components if is_of_kind(each, ("distribution box", "d-box", "drop box"))]
    return None if boxes else "no distribution box is recorded"


def _pump_test(known: _Known) -> str | None:
    for entry in known.service:
        if entry.task in ("pump and alarm test", "pump test"):
            return f"{entry.component}, {entry.on.isoformat()}{_by(entry)}"
    return None if known.pumps else "no pump tank is recorded"


def _field(known: _Known) -> str | None:
    field = {each.name for each in known.record.components if is_of_kind(each, _FIELD)}
    for entry in known.service:
        if entry.component in field:
            return (
                f"{entry.component}, {entry.on.isoformat()}: {entry.findings or entry.note or entry.task}{_by(entry)}"
            )
    return None


def _opened(known: _Known) -> str | None:
    for entry in known.service:
        if entry.opening is not None:
            return f"{entry.component} opened at {entry.opening}, {entry.on.isoformat()}{_by(entry)}"
    return None


def _often(known: _Known) -> str | None:
    days = sorted({entry.on for entry in known.service if entry.task == PUMP_OUT})
    if not days:
        return None
    most = max(sum(0 <= (other - day).days < 366 for other in days) for day in days)
    return f"{len(days)} days of pumping are recorded, at most {most} within a year"


def _high_level(known: _Known) -> str | None:
    told = [entry for entry in known.service if entry.level_before is not None or entry.runback is not None]
    if not told:
        return None
    high = [
        entry for entry in told if entry.runback or (entry.level_before or "").strip().casefold().startswith("above")
    ]
    if not high:
        return f"never in the {len(told)} entries that tell the level"
    return "; ".join(f"{entry.component}, {entry.on.isoformat()}{_by(entry)}" for entry in high)


def _given(known: _Known) -> str | None:
    return f"{len(known.service)} service entries stand in this report" if known.service else None


def _ties(known: _Known) -> str | None:
    points = len(known.record.point_names())
    return f"{points} points are taped from {len(known.record.reference_points)} fixed points" if points else None


def _by(entry: ServiceEntry) -> str:
    who = "" if entry.by is None else f", by {entry.by}"
    return f"{who} ({entry.evidence or 'how this is known is not recorded'})"


def _shown(value: object) -> str:
    return str(getattr(value, "as_read", value))


_ASKED: tuple[tuple[str, str, Callable[[_Known], str | None]], ...] = (
    ("An inspection within 2 years before the sale (3 where pumped every year)", "310 CMR 15.301(1)", _last_inspection),
    ("A description of the parts and their layout", "310 CMR 15.302(2)", _parts),
    ("The design flow", "310 CMR 15.302(2)", _design),
    ("Whether the house is lived in", "310 CMR 15.302(2)", _occupied),
    ("Water use of the two years before", "310 CMR 15.302(2)", _water_use),
    ("Age, size and material of the tank", "310 CMR 15.302(2)", _tanks),
    ("The tank uncovered and looked into", "310 CMR 15.302(1)", _opened),
    (
        "Thickness of the scum, and its distance to the outlet",
        "310 CMR 15.302(2)(e)",
        _field_of("scum scum_bottom"),
    ),
    ("Depth of the sludge", "310 CMR 15.302(2)(e)", _field_of("sludge sludge_top")),
    ("Condition of the baffles", "310 CMR 15.302(2)(e)", _field_of("baffles")),
    ("The distribution box: level, solids", "310 CMR 15.302 (seen in copies)", _box),
    ("Pump and dosing tanks", "310 CMR 15.302 (seen in copies)", _pump_test),
    ("Condition of the soil absorption system", "310 CMR 15.302 (seen in copies)", _field),
    ("Backup, liquid above an outlet, or running back", "310 CMR 15.303(1)(a)", _high_level),
    ("Pumping more than 4 times a year", "310 CMR 15.303(1)(a)", _often),
    ("Maintenance records handed to the buyer", "WAC 246-272A-0270(1)(k) (2007 text)", _given),
    ("A sketch with distances from fixed points", "Minnesota compliance inspection record", _ties),
)
"""What is asked, where that stands, and who looks for it. Our own short words for the cited rules."""

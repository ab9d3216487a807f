"""The service sheet and the alarm sheet of one property, set from its record as on a day."""

from datetime import date

from asbuilt.errors import AsbuiltError, UnknownNameError
from asbuilt.findings import Finding, Severity
from asbuilt.jobs.due import dues_of
from asbuilt.jobs.locate import Located
from asbuilt.jobs.pump import pump_reports, standing_pump_reports
from asbuilt.model.components import Component
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.sheets.alarm import alarm_sheet_pdf
from asbuilt.output.sheets.service import Stand, TankSheet, openings, service_sheet_pdf
from asbuilt.record.profiles import profile_of
from asbuilt.service.dosing import is_pump_tank
from asbuilt.service.flotation import Flotation, factors_of, flotation
from asbuilt.service.pumping import tank_history


def service_sheet(
    located: Located, today: date, *, component: str | None = None, truck: str | None = None, paper: str = "us-letter"
) -> bytes:
    """Set the service sheet: one page a tank.

    Parameters
    ----------
    component
        One tank; None = every tank that stands.
    truck
        Where the truck stands, a point or reference point; None = as in `[access]`.

    Raises
    ------
    UnknownNameError
        If there is no such component or point.
    AsbuiltError
        If the component is no tank, or no tank stands.
    """
    record = located.record
    tanks = _tanks(record, component, today)
    dues, _ = dues_of(record, today)
    sheets = tuple(
        TankSheet(
            tank,
            tank_flotation(record, tank, today),
            _stand(located, tank, truck),
            _last(record, tank, today),
            tuple(due for due in dues if due.component == tank.name),
        )
        for tank in tanks
    )
    return service_sheet_pdf(record, located.solution, sheets, today, paper)


def alarm_sheet(located: Located, today: date, *, paper: str = "us-letter") -> bytes:
    """Set the alarm sheet of the one pump tank, or one page a pump tank.

    Raises
    ------
    AsbuiltError
        If no pump tank stands.
    """
    reports = standing_pump_reports(located, today)
    return alarm_sheet_pdf(located.record.property, reports, today, paper)


def unknown_on_alarm_sheet(located: Located, today: date) -> tuple[Finding, ...]:
    """Say what the alarm sheet leaves blank."""
    place, findings = located.record.property, []
    for key in ("place", "breaker", "silence", "call", "phone"):
        if getattr(place.panel, key) is None:
            mend = f"Write {key} under [panel] in property.toml."
            findings.append(Finding("alarm-sheet-blank", place.name, f"The sheet has no {key}.", Severity.NOTE, mend))
    for report in pump_reports(located, today):
        if report.reserve is None:
            message = f"{report.tank.name}: the sheet cannot say how many hours are left."
            mend = "Read float-off, float-on, float-alarm, inlet-invert and a counter into readings.csv."
            findings.append(Finding("alarm-sheet-hours", report.tank.name, message, Severity.NOTE, mend))
        elif report.reserve.rough:
            message = f"{report.tank.name}: the hours on the sheet are {report.reserve.rough}."
            mend = "Record gal_per_in, or length, width and wall, in components.csv, and inlet-invert in readings.csv."
            findings.append(Finding("alarm-sheet-rough", report.tank.name, message, Severity.NOTE, mend))
    return tuple(findings)


def tank_flotation(record: PropertyRecord, tank: Component, today: date) -> Flotation | None:
    """Judge one tank by the property's profile and the highest groundwater on record; None = no factors."""
    factors = factors_of(profile_of(record))
    levels = [
        each.number
        for each in record.readings
        if each.reading == "groundwater" and each.component == tank.name and each.on <= today
    ]
    if tank.groundwater is not None:
        levels.append(tank.groundwater.metres)
    return None if factors is None else flotation(tank, factors, min(levels, default=None))


def _tanks(record: PropertyRecord, name: str | None, today: date) -> list[Component]:
    standing = [each for each in record.components if each.stands_on(today)]
    if name is None:
        tanks = [each for each in standing if _is_tank(each)]
        if not tanks:
            raise AsbuiltError(f"{record.property.name}: no tank stands on {today.isoformat()}")
        return tanks
    found = [each for each in standing if each.name == name]
    if not found:
        known = ", ".join(each.name for each in standing if _is_tank(each)) or "none"
        raise UnknownNameError(f"{record.property.name} has no component {name!r}; its tanks are: {known}")
    if not _is_tank(found[0]):
        raise AsbuiltError(f"{name} is a {found[0].kind}; a service sheet is for a tank")
    return found


def _is_tank(component: Component) -> bool:
    return is_pump_tank(component) or "tank" in component.kind.casefold()


def _stand(located: Located, tank: Component, truck: str | None) -> Stand | None:
    """Give the truck's stand, with its height over the tank where `[access]` or the levels tell it."""
    access = located.record.property.access
    name = truck or access.truck
    if name is None:
        return None
    try:
        located.solution.position(name)
    except KeyError:
        raise UnknownNameError(
            f"{located.record.property.name} has no point or reference point {name!r} for the truck to stand at"
        ) from None
    if access.truck_above is not None and name == access.truck:
        return Stand(name, access.truck_above.metres, "its stand as noted")
    levels = located.solution.levels
    ground = levels.of(name, "grade")
    beside = [levels.of(lid.name, "grade") for lid in openings(located.record, located.solution, tank)]
    known = [each for each in beside if each is not None]
    if ground is None or not known:
        return Stand(name, None, "")
    return Stand(name, ground.elevation_m - min(each.elevation_m for each in known), "by the levels")


def _last(record: PropertyRecord, tank: Component, today: date) -> str:
    pumped = tank_history(record, tank, today).pumped
    if not pumped:
        return "no pump-out is recorded"
    last = pumped[-1]
    words = f"{last.on.isoformat()}, {last.words}"
    if last.full:
        return words
    full = [each.on.isoformat() for each in pumped if each.full]
    return f"{words}: not in full" + (f"; in full {full[-1]}" if full else "")

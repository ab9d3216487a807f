"""The pump tanks of one property in figures, from its readings as on a day."""

from collections.abc import Mapping
from datetime import date

import numpy as np

from asbuilt.errors import AsbuiltError, UnknownNameError
from asbuilt.jobs.locate import Located
from asbuilt.service.dosing import PUMP_TANKS
from asbuilt.service.flow import Flow, flow_between
from asbuilt.service.pump_tank import PumpReport, pump_report, pump_tanks


def pump_reports(located: Located, today: date) -> tuple[PumpReport, ...]:
    """Reckon every pump tank that stands."""
    record = located.record
    lengths = line_lengths_m(located)
    return tuple(pump_report(record, tank, today, lengths) for tank in pump_tanks(record, today))


def standing_pump_reports(located: Located, today: date) -> tuple[PumpReport, ...]:
    """Reckon every pump tank that stands.

    Raises
    ------
    AsbuiltError
        If none does.
    """
    reports = pump_reports(located, today)
    if not reports:
        kinds = f"{', '.join(PUMP_TANKS[:-1])} or {PUMP_TANKS[-1]}"
        raise AsbuiltError(
            f"{located.record.property.name}: no component of kind {kinds} in components.csv stands on "
            f"{today.isoformat()}"
        )
    return reports


def pump_flow_between(report: PumpReport, begins: date, ends: date) -> Flow:
    """Give the gallons a day between two readings of a counter.

    Raises
    ------
    UnknownNameError
        If no counter was read on both days, or it went back between them.
    """
    found = flow_between(report.flows, begins, ends)
    if found is None:
        days = sorted({day.isoformat() for flow in report.flows for day in (flow.begins, flow.ends)})
        known = ", ".join(days) or "none"
        raise UnknownNameError(
            f"{report.tank.name}: no counter tells the days from {begins} to {ends}; read on: {known}"
        )
    return found


def line_lengths_m(located: Located) -> Mapping[str, float]:
    """Measure each line of which every point has a place along its points."""
    lengths = {}
    for component in located.record.components:
        places = [located.solution.position(name).place for name in located.record.points_of(component.name)]
        if len(places) > 1 and all(place is not None for place in places):
            steps = np.diff(np.array(places), axis=0)
            lengths[component.name] = float(np.hypot(steps[:, 0], steps[:, 1]).sum())
    return lengths

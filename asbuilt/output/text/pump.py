"""A pump tank in figures, as lines for a screen and as data."""

import math
import textwrap
from collections.abc import Iterator
from typing import Any

from asbuilt.findings import Severity
from asbuilt.service.dosing import Levels
from asbuilt.service.flow import Flow
from asbuilt.service.pump_tank import PumpReport
from asbuilt.units import INCH_M

WIDTH = 100
"""Columns: a small terminal, or a letter sheet across in a fixed-width face."""


def pump_text(report: PumpReport) -> str:
    """Write one pump tank as lines; what needs attention is left to the caller."""
    lines = [report.tank.name, ""]
    for label, words in _figures(report):
        lines += textwrap.wrap(words, WIDTH, initial_indent=f"{label:<20}", subsequent_indent=" " * 20)
    if report.flows:
        lines += ["", "FROM        TO           GAL A DAY  BY"]
        for flow in report.flows:
            head = f"{flow.begins}  {flow.ends}  {flow.gal_per_day:9,.0f}  "
            lines += textwrap.wrap(
                f"{flow.counter}: {flow.words}", WIDTH, initial_indent=head, subsequent_indent=" " * 37
            )
    notes = [each.sentence() for each in report.findings if each.severity is Severity.NOTE]
    lines += ["", *(line for each in notes for line in textwrap.wrap(f"note: {each}", WIDTH, subsequent_indent="  "))]
    return "\n".join(lines).rstrip("\n")


def _figures(report: PumpReport) -> Iterator[tuple[str, str]]:
    per_inch = report.gal_per_in
    yield "gallons an inch", "not known" if per_inch is None else f"{per_inch.value:.2f} ({per_inch.words})"
    if report.levels is not None:
        yield "floats", _levels(report.levels)
    if report.dose_gal is not None:
        yield "dose", f"{report.dose_gal:.1f} gal between the floats"
    for pipe in report.drainback:
        feet = pipe.length_m / INCH_M / 12
        yield "drains back", f"{pipe.gallons:.1f} gal from {pipe.name} ({feet:.0f} ft of {pipe.inside_in:g} in inside)"
    if report.dose_gal is not None and report.drainback:
        yield "leaves the tank", f"{report.dose_gal - report.drainback_gal:.1f} gal a dose"
    for rate in report.rates:
        yield "pump rate", f"{rate.gal_per_min:.1f} gal/min on {rate.on} ({rate.words})"
    if report.design is not None:
        yield "design flow", f"{report.design.gal_per_day:g} gal a day ({report.design.words})"
    reserve = report.reserve
    if reserve is not None:
        hours = math.floor(reserve.hours)
        yield "above the alarm", f"{reserve.gallons:.0f} gal, {hours} hours at {reserve.gal_per_day:.0f} gal a day"
        yield "", f"({reserve.words})"


def _levels(levels: Levels) -> str:
    named = [("off", levels.off_m), ("on", levels.on_m), ("alarm", levels.alarm_m), ("full", levels.inlet_m)]
    told = ", ".join(f"{name} {metres / INCH_M:g} in" for name, metres in named if metres is not None)
    return f"{told}, {'up from the bottom' if levels.upward else 'down from a mark'}, read {levels.on}"


def pump_json(report: PumpReport) -> dict[str, Any]:
    """Give the same as plain JSON values."""
    reserve = report.reserve
    return {
        "component": report.tank.name,
        "gal_per_in": None if report.gal_per_in is None else round(report.gal_per_in.value, 4),
        "gal_per_in_from": None if report.gal_per_in is None else report.gal_per_in.words,
        "dose_gal": _rounded(report.dose_gal),
        "drainback_gal": _rounded(report.drainback_gal),
        "rates": [{"on": rate.on.isoformat(), "gal_per_min": _rounded(rate.gal_per_min)} for rate in report.rates],
        "flows": [_flow(flow) for flow in report.flows],
        "design_gal_per_day": None if report.design is None else report.design.gal_per_day,
        "reserve_gal": None if reserve is None else _rounded(reserve.gallons),
        "reserve_hours": None if reserve is None else _rounded(reserve.hours),
        "findings": [finding.as_json() for finding in report.findings],
    }


def _flow(flow: Flow) -> dict[str, Any]:
    return {
        "from": flow.begins.isoformat(),
        "to": flow.ends.isoformat(),
        "counter": flow.counter,
        "gallons": _rounded(flow.gallons),
        "gal_per_day": _rounded(flow.gal_per_day),
        "words": flow.words,
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)

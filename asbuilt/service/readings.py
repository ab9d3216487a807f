"""Sludge and scum as they were measured: depths by compartment, and what cannot be as it was written down."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from asbuilt.findings import Finding, Severity
from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.service.pumping import compartment_of
from asbuilt.units import INCH_M, Length

AGREE_M = 2 * INCH_M
"""How far a depth measured from the bottom and one measured from the top may differ: both are read to the inch."""

AIR_M = 12 * INCH_M
"""The most air that a tank has over its liquid, into which scum may stand up (common practice; Minn. R. 7080.1920 asks
for 6 to 8 in)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What was measured in one compartment on one day, metres; None = not read."""

    on: date
    compartment: str | None  #: None = not said, or the tank has but one
    sludge_m: float | None = None  #: depth of settled solids
    scum_m: float | None = None  #: thickness of the floating layer
    scum_bottom_m: float | None = None  #: its underside below the liquid level

    @property
    def solids_m(self) -> float | None:
        """Sludge and scum together."""
        return None if self.sludge_m is None or self.scum_m is None else self.sludge_m + self.scum_m


def readings_of(tank: Component, entries: Iterable[ServiceEntry]) -> tuple[list[Reading], list[Finding]]:
    """Take the readings out of a tank's entries, in the order of the days.

    Sludge counts from the bottom, or is the liquid depth less `sludge_top`. Where only the thickness of the scum was
    read, all of it is taken as below the liquid level, which is on the safe side: part of it stands above.

    Returns
    -------
    tuple
        The readings that can be, and findings for those that cannot.
    """
    readings, findings = [], []
    for entry in entries:
        if all(each is None for each in (entry.sludge, entry.scum, entry.sludge_top, entry.scum_bottom)):
            continue
        why = _impossible(tank, entry)
        if why is None:
            readings.append(_reading(tank, entry))
        else:
            findings.append(_finding(tank, entry, why))
    return sorted(readings, key=lambda reading: (reading.on, reading.compartment or "")), findings


def _reading(tank: Component, entry: ServiceEntry) -> Reading:
    depth, sludge = _metres(tank.liquid_depth), _metres(entry.sludge)
    top = _metres(entry.sludge_top)
    if sludge is None and depth is not None and top is not None:
        sludge = depth - top
    scum, bottom = _metres(entry.scum), _metres(entry.scum_bottom)
    thickness = bottom if scum is None else scum
    return Reading(entry.on, compartment_of(entry), sludge, thickness, scum if bottom is None else bottom)


def _impossible(tank: Component, entry: ServiceEntry) -> str | None:
    """Say why a reading cannot be; None = it can."""
    named = {name: _metres(getattr(entry, name)) for name in ("sludge", "scum", "sludge_top", "scum_bottom")}
    said = {name: getattr(entry, name).as_read for name, metres in named.items() if metres is not None}
    for name, metres in named.items():
        if metres is not None and metres < 0:
            return f"{name} {said[name]} is negative"
    depth, sludge, top, bottom = (
        _metres(tank.liquid_depth),
        *(named[k] for k in ("sludge", "sludge_top", "scum_bottom")),
    )
    if bottom is not None and top is not None and bottom > top:
        return (
            f"the underside of the scum ({said['scum_bottom']}) lies below the top of the sludge ({said['sludge_top']})"
        )
    if depth is None or tank.liquid_depth is None:
        return None
    liquid = f"the liquid depth is {tank.liquid_depth.as_read}"
    for name in ("sludge", "scum", "sludge_top", "scum_bottom"):
        if (metres := named[name]) is not None and metres > depth + 1e-9:
            return f"{name} is {said[name]}, and {liquid}"
    if sludge is not None and top is not None and abs(sludge + top - depth) > AGREE_M:
        return f"sludge {said['sludge']} and sludge_top {said['sludge_top']} do not add up: {liquid}"
    if sludge is not None and bottom is not None and sludge + bottom > depth + 1e-9:
        return f"sludge {said['sludge']} and scum down to {said['scum_bottom']} are more than the tank: {liquid}"
    scum = named["scum"]
    if sludge is not None and bottom is None and scum is not None and sludge + scum > depth + AIR_M:
        return f"sludge {said['sludge']} and scum {said['scum']} are more than the tank and the air in it: {liquid}"
    return None


def _finding(tank: Component, entry: ServiceEntry, why: str) -> Finding:
    message = f"{tank.name}: the reading of {entry.on.isoformat()} cannot be and is left out: {why}."
    mend = "Correct it by a new entry, or correct the tank's liquid_depth."
    return Finding("impossible-reading", tank.name, message, Severity.ATTENTION, mend)


def _metres(length: Length | None) -> float | None:
    return None if length is None else length.metres

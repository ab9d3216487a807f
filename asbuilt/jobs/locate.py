"""Locate everything of one property: its record solved and laid on the earth."""

from dataclasses import dataclass
from datetime import date

from asbuilt.findings import Finding, Severity, worst_first
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.earth import Placement, place_on_earth
from asbuilt.survey.joint import Joint, solve_together
from asbuilt.survey.outline import outline_findings
from asbuilt.survey.solution import Solution
from asbuilt.survey.solve import answer
from asbuilt.survey.suspects import suspect_findings


@dataclass(frozen=True, slots=True)
class Located:
    """One property, solved."""

    record: PropertyRecord
    joint: Joint  #: what the solution was made of, for screening and planning
    solution: Solution
    placement: Placement | None  #: None where nothing places the property on the earth
    findings: tuple[Finding, ...]  #: of the survey and of the placing, worst first


def locate(record: PropertyRecord) -> Located:
    """Solve one property and lay it on the earth."""
    azimuth, findings = true_azimuth(record.property)
    joint = solve_together(record, azimuth)
    solution = answer(joint)
    placement, more = place_on_earth(record, solution)
    findings = [*outline_findings(joint), *suspect_findings(joint), *solution.findings, *findings, *more]
    return Located(record, joint, solution, placement, tuple(worst_first(findings)))


def true_azimuth(place: Property) -> tuple[float | None, list[Finding]]:
    """Give the true azimuth of the wall that `[earth]` names, degrees; a magnetic one gets its declination.

    Returns
    -------
    The azimuth, None where none is known, and findings.
    """
    earth = place.earth
    if earth is None or earth.azimuth_deg is None:
        return None, []
    if earth.north == "true":
        return earth.azimuth_deg % 360.0, []
    if earth.latitude is None or earth.longitude is None or place.measured.on is None:
        message = "The magnetic azimuth is not used: its declination needs a place and the day it was measured."
        act = "Give latitude, longitude and [measured] on, or a true azimuth."
        return None, [Finding("no-declination", place.name, message, Severity.ATTENTION, act)]
    try:
        declination = _declination_deg(earth.latitude, earth.longitude, place.measured.on)
    except ValueError:
        message = f"The magnetic azimuth is not used: the magnetic model does not cover {place.measured.on}."
        act = "Give a true azimuth, or two known coordinates."
        return None, [Finding("no-declination", place.name, message, Severity.ATTENTION, act)]
    return (earth.azimuth_deg + declination) % 360.0, []


def _declination_deg(latitude: float, longitude: float, day: date) -> float:
    """Declination of the World Magnetic Model, degrees, east positive; ValueError outside the model's years."""
    from pygeomag import GeoMag

    year = day.year + (day.timetuple().tm_yday - 1) / 365.25
    return float(GeoMag().calculate(glat=latitude, glon=longitude, alt=0.1, time=year).d)

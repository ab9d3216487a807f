"""Locate everything of one property: its record solved and laid on the earth."""

from dataclasses import dataclass

from asbuilt.findings import Finding, worst_first
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.azimuth import wall_azimuth
from asbuilt.survey.coordinates import known_places
from asbuilt.survey.earth import Placement, place_on_earth
from asbuilt.survey.joint import Joint, solve_together
from asbuilt.survey.misreadings import Misreading
from asbuilt.survey.outline import outline_findings
from asbuilt.survey.solution import Solution
from asbuilt.survey.solve import answer
from asbuilt.survey.suspects import examine


@dataclass(frozen=True, slots=True)
class Located:
    """One property, solved."""

    record: PropertyRecord
    joint: Joint  #: what the solution was made of, for screening and planning
    solution: Solution
    placement: Placement | None  #: None where nothing places the property on the earth
    findings: tuple[Finding, ...]  #: of the survey and of the placing, worst first
    slips: tuple[Misreading, ...] = ()  #: what would explain tapes that disagree, best first


def locate(record: PropertyRecord) -> Located:
    """Solve one property and lay it on the earth."""
    known, converted = known_places(record)
    where = (known[0].longitude, known[0].latitude) if known else None
    azimuth, turned = wall_azimuth(record.property, where)
    joint = solve_together(record, None if azimuth is None else azimuth.degrees)
    solution = answer(joint)
    placement, placed = place_on_earth(solution, known, azimuth)
    suspects, slips = examine(joint)
    findings = [*outline_findings(joint), *suspects, *solution.findings, *converted, *turned, *placed]
    return Located(record, joint, solution, placement, tuple(worst_first(findings)), tuple(slips))

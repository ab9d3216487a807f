"""Words of the record drawing: title block, how north and accuracy are known, who signs."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from asbuilt.checks.item import CheckItem
from asbuilt.findings import Finding
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.drawing.page import TitleBlock
from asbuilt.output.drawing.scene import Scene
from asbuilt.output.sheets.pdf import shortened
from asbuilt.output.text.positions import DRAFT_WORDS
from asbuilt.rules.profile import Profile
from asbuilt.survey.earth import Placement
from asbuilt.survey.level_wording import LevelWording
from asbuilt.survey.solution import Solution
from asbuilt.units import format_small

NOT_A_SURVEY = (
    "Property lines are apparent, as shown by the owner or by pins; this is not a boundary survey.",
    "Distances as written go before distances scaled off the paper.",
)


@dataclass(frozen=True, slots=True)
class Subject:
    """What is drawn: one solved property as on a day."""

    record: PropertyRecord
    solution: Solution
    placement: Placement | None
    findings: Sequence[Finding]
    today: date
    profile: Profile
    checks: Sequence[CheckItem] | None = None  #: None = the check before backfill was not run


def title_block(subject: Subject, scene: Scene, title: str, *, last: bool) -> TitleBlock:
    """Give what stands below a plan; all but the last plan point to the next one."""
    place, drawing = subject.record.property, subject.record.property.drawing
    measured = place.measured
    beyond = "" if last else " Beyond the frame: next sheet."
    lines = (
        place.address,
        _joined(("Permit", place.permit), ("Authority", place.authority), ("Parcel", place.parcel)),
        _joined(("Measured by", measured.by), ("on", _iso(measured.on))),
        _joined(("Installer", drawing.installer), ("Designer", drawing.designer), ("Design", drawing.design)),
        benchmark_words(subject),
        "Dig by hand. Private lines are not marked by 811; more may lie here than is drawn.",
        "Apparent property lines; not a boundary survey. Written distances go before scaled ones.",
        f"As on {subject.today.isoformat()}. Points, all tapes, sizes, signatures: see the tables.{beyond}",
    )
    warnings = [DRAFT_WORDS] if place.draft else []
    if scene.extent(near=False) is None:
        warnings.append("NOTHING IS LOCATED: no measurement fixes a place.")
    return TitleBlock(
        title, place.name, tuple(each for each in lines if each), north_words(subject), " ".join(warnings)
    )


def _joined(*parts: tuple[str, str | None]) -> str:
    return "; ".join(f"{word} {said}" for word, said in parts if said)


def benchmark_words(subject: Subject) -> str:
    """Say what elevations refer to, or that there are none."""
    levels = subject.solution.levels
    if levels.benchmark is None:
        return "No levels: depths are below finished grade."
    height = LevelWording(subject.record).height(levels.benchmark_m)
    return f"Benchmark: {levels.benchmark} = {height}, datum {levels.datum}."


def north_words(subject: Subject) -> str:
    """Say how the direction of north is known; empty where it is not."""
    placement, earth = subject.placement, subject.record.property.earth
    if placement is not None and placement.azimuth is None:
        return f"True north by known coordinates, within {_degrees(placement.rotation_sigma_deg)} deg."
    if placement is None and subject.solution.azimuth_deg is None:
        return ""
    by = "a compass" if earth is not None and earth.north == "magnetic" else "a wall's bearing"
    within = f", within {_degrees(placement.rotation_sigma_deg)} deg" if placement is not None else ""
    return f"True north by {by}{within}."


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _degrees(sigma: float) -> str:
    return f"{max(0.1, 1.96 * sigma):.1f}"


def accuracy_words(subject: Subject) -> list[str]:
    """State how well the places are known, and by which rule that is judged."""
    units = subject.record.property.units
    located = [each for each in subject.solution.points if each.r95_m is not None]
    checked = sum(each.checked for each in located)
    fit = subject.solution.fit
    words = [
        f"{len(located)} of {len(subject.solution.points)} points are located; {checked} of them are checked: a tape "
        "misread by a foot would show there."
    ]
    if located:
        worst = max(located, key=lambda each: each.r95_m or 0.0)
        words.append(
            f"The least well known is {shortened(worst.name, 80)}, within "
            f"{format_small(worst.r95_m or 0.0, units)}, 19 times in 20, seen from the reference points; the place "
            "on the earth is less well known."
        )
    if fit.passed is not None:
        agree = "agree" if fit.passed else "DO NOT AGREE"
        words.append(f"The {fit.observations} measurements {agree} with each other (global test at 5 %).")
    for limit in (each for each in subject.profile.limits if each.key == "location_accuracy"):
        over = sum((each.r95_m or 0.0) > limit.si for each in located)
        words.append(
            f"Rule for locations: {limit.shown()} ({limit.source()}); that 19 of 20 must keep it is our reading. "
            f"{over} of {len(located)} located points do not."
        )
    return words


def signatures(subject: Subject) -> list[list[str]]:
    """Give who measured, built, designed and saw it, with names and dates as far as they are known, else blank."""
    place = subject.record.property
    measured, drawing, inspection = place.measured, place.drawing, place.inspection
    came = inspection.came_on or inspection.released_on
    rows = [
        ("Measured by", measured.by, _iso(measured.on)),
        ("Installed by", drawing.installer, None),
        ("Designed by", drawing.designer, None),
        ("Seen before cover by", inspection.by, _iso(came)),
        ("Certified by", None, None),
    ]
    return [[role, shortened(name, 80), day or ""] for role, name, day in rows]

"""What is still to be taped before a property is covered: one list."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from asbuilt.findings import Finding, Severity
from asbuilt.jobs.locate import Located
from asbuilt.jobs.properties import located
from asbuilt.output.text.trench import next_tape_json, next_tape_words
from asbuilt.survey.planning import NextTape, Planner
from asbuilt.survey.solution import Position
from asbuilt.survey.solve import DISAGREE

NOT_TAPED = "not taped"
AGAIN = "tape again"
WHICH_SIDE = "which side"
NO_PLACE = "no place yet"
UNCHECKED = "one more tape"
LEFT_OUT = "left out of the draft"
DRAFT = "draft"
HEADINGS = {
    AGAIN: "Tape again: these disagree with the others",
    NOT_TAPED: "Not taped at all",
    WHICH_SIDE: "Say which side, or tape once more",
    NO_PLACE: "Taped, but without a place yet",
    UNCHECKED: "One more tape: a misread one would not show",
    LEFT_OUT: "Left out of the draft: mend the sheets and load them again",
    DRAFT: "The sheets are a draft",
}
"""What kinds of things may be missing, the most urgent first, each with its heading."""

_WHAT = {
    "no-ties": NOT_TAPED,
    "suspect": AGAIN,
    "several-blunders": AGAIN,
    "against-side": AGAIN,
    "tapes-do-not-meet": AGAIN,
    "misclosure": AGAIN,
    "drop-longer-than-tape": AGAIN,
    "level-misread": AGAIN,
    "level-loop": AGAIN,
    "open-mirror": WHICH_SIDE,
    "unclear-side": WHICH_SIDE,
}
_OF_ALL = ("shared-", "global-test")  # said of all tapes together; where one is named, that one comes first


@dataclass(frozen=True, slots=True)
class Missing:
    """One thing that is still to be done."""

    what: str  #: a key of HEADINGS
    subject: str
    words: str
    next_tape: NextTape | None = None

    def as_json(self) -> dict[str, Any]:
        """Give it as plain JSON values."""
        tape = None if self.next_tape is None else next_tape_json(self.next_tape)
        return {"what": self.what, "subject": self.subject, "words": self.words, "next_tape": tape}


@dataclass(frozen=True, slots=True)
class Readiness:
    """What is missing of one property."""

    property: str
    draft: bool
    points: int
    missing: tuple[Missing, ...]  #: by kind, the most urgent first


def what_is_missing(record_file: Path, name: str) -> Readiness:
    """List what is still to be taped at a property.

    Raises
    ------
    UnknownNameError
        If there is no such property.
    """
    return readiness(located(record_file, name))


def readiness(found: Located) -> Readiness:
    """List what is still to be taped at a solved property."""
    missing = [*_by_findings(found), *_unchecked(found), *_draft(found)]
    order = list(HEADINGS)
    missing.sort(key=lambda each: order.index(each.what))
    place = found.record.property
    return Readiness(place.name, place.draft, len(found.solution.points), tuple(missing))


def _by_findings(found: Located) -> list[Missing]:
    """Take what the survey says of points that are not as they should be; what is gone cannot be taped any more."""
    points = {point.name: point for point in found.solution.points}
    gone = {each.name for each in found.record.reference_points if each.gone_on is not None}
    serious = [each for each in found.findings if each.severity is not Severity.NOTE and each.subject not in gone]
    missing = [Missing(_kind(each, points), each.subject, each.sentence()) for each in serious if _kind(each, points)]
    if not any(each.what == AGAIN for each in missing):
        missing += [Missing(AGAIN, each.subject, each.sentence()) for each in serious if each.code.startswith(_OF_ALL)]
    return missing


def _kind(finding: Finding, points: dict[str, Position]) -> str:
    """Tell what kind of thing is missing; empty where a finding is not about tapes."""
    if finding.code in _WHAT:
        return _WHAT[finding.code]
    point = points.get(finding.subject)
    return NO_PLACE if point is not None and point.place is None else ""


def _unchecked(found: Located) -> list[Missing]:
    """List the located points in which a misread tape would not show, each with the tape that helps most."""
    if found.joint.fit is None:
        return []
    planner, units = Planner(found.joint), found.record.property.units
    missing = []
    for point in found.solution.points:
        if point.place is None or point.checked or point.unchecked_because == DISAGREE:
            continue
        best = next(iter(planner.next_tapes(point.name)), None)
        words = f"{point.name}: {point.unchecked_because}"
        if best is not None:
            words += f"; {next_tape_words(best, units)}"
        missing.append(Missing(UNCHECKED, point.name, words, best))
    return missing


def _draft(found: Located) -> list[Missing]:
    left_out = [Missing(LEFT_OUT, each.file, str(each)) for each in found.record.left_out]
    if not found.record.property.draft:
        return left_out
    words = "when nothing is missing any more, load the complete sheets: asbuilt load, without --draft"
    return [*left_out, Missing(DRAFT, found.record.property.name, words)]

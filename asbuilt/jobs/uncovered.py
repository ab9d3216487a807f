"""A point was uncovered: where it really was, tested against the record, stored, and what it is known by since."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from asbuilt.findings import Finding, Severity
from asbuilt.jobs.locate import Located, locate
from asbuilt.jobs.seen import Seen, Understood, finder_of
from asbuilt.jobs.seen import Uncovering as Uncovering  # what this job is called with
from asbuilt.jobs.solve_and_store import solve_and_store
from asbuilt.jobs.tape import refusing
from asbuilt.model.measurements import Tie
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.sightings import Sighting
from asbuilt.model.walks import split_walks
from asbuilt.output.find.lid import wind_of
from asbuilt.record.database import open_record
from asbuilt.record.entries import Action
from asbuilt.survey.misreadings import Misreading
from asbuilt.survey.uncovering import Difference, Explanation, agree_among_themselves, compare, explain

OLD_SLIPS_SAID = 2
"""Old tapes that are named as what may have been misread (our own)."""


@dataclass(frozen=True, slots=True)
class Resighted:
    """What came of it."""

    property: str
    units: str
    point: str
    on: date
    difference: Difference | None  #: None where the point had no place before
    wind: str | None  #: word of the compass from the recorded place to the true one
    explanations: tuple[Explanation, ...]
    agree: bool | None  #: three or more new readings meet in one place
    slips: tuple[Misreading, ...]  #: old tapes of the point that would explain the disagreement
    before_m: float | None  #: 95 % radius before, and since
    after_m: float | None
    ties: tuple[Tie, ...]
    sighting: Sighting
    stored: int  #: entries stored; 0 = only tried
    coarse: bool  #: the direction was too rough to tape with: only the sighting is stored
    findings: tuple[Finding, ...]


def uncovered(
    record_file: Path,
    name: str,
    asked: Uncovering,
    *,
    on: date,
    who: str,
    now: datetime,
    dry_run: bool = False,
) -> Resighted:
    """Take what was seen when a point was uncovered.

    Parameters
    ----------
    on
        The day on which it was uncovered.
    dry_run
        Solve and test, but store nothing.

    Raises
    ------
    PromptError
        If the words cannot be taken, every problem in one go.
    UnknownNameError
        If there is no such property.
    RecordError
        If the record cannot be written. Nothing was stored.
    """
    with open_record(record_file, read_only=dry_run) as record:
        tried = solve_and_store(
            record,
            name,
            lambda known: _tried(known, asked, on),
            lambda tried: [*tried.ties, tried.sighting],
            None if dry_run else Action(who, now),
        )
    return tried if dry_run else replace(tried, stored=len(tried.ties) + 1)


def _tried(known: PropertyRecord, asked: Uncovering, on: date) -> Resighted:
    before = locate(known)
    seen = Seen(before, asked, on).read()
    after = refusing(known, replace(known, ties=(*known.ties, *seen.ties), sightings=(*known.sightings, seen.sighting)))
    return _answer(before, after, seen)


def _answer(before: Located, after: Located, seen: Understood) -> Resighted:
    place, name = before.record.property, seen.point
    finder = finder_of(before)
    difference, explanations, agree = None, list[Explanation](), None
    if seen.readings is not None:
        difference = compare(finder, name, seen.readings)
        if difference.too_large:
            placed = [each.name for each in before.solution.references if each.place is not None]
            walks = split_walks(before.record.walls)
            explanations = explain(finder, name, seen.readings, placed, walks, place.units)
            agree = agree_among_themselves(finder, name, seen.readings)
    # what is wrong with the new tapes is said already; of the old ones only the likeliest
    own = [
        slip
        for slip in after.slips
        if any(name in (tie.from_, tie.to) for tie in slip.ties) and not any(tie in seen.ties for tie in slip.ties)
    ][:OLD_SLIPS_SAID]
    return Resighted(
        place.name,
        place.units,
        name,
        seen.sighting.on,
        difference,
        _wind(before, difference),
        tuple(explanations),
        agree,
        tuple(own) if difference is not None and difference.too_large else (),
        _radius(before, name),
        _radius(after, name),
        seen.ties,
        seen.sighting,
        0,
        seen.coarse,
        tuple(_findings(before, seen, difference)),
    )


def _findings(before: Located, seen: Understood, difference: Difference | None) -> list[Finding]:
    if difference is not None and difference.too_large:
        message = f"{seen.point} was not where the record has it, by more than record and tapes allow."
        act = "Look at what would explain it, and correct what was wrong: nothing was corrected."
        return [Finding("not-where-recorded", seen.point, message, Severity.ATTENTION, act)]
    gone = {each.name: each.gone_on for each in before.record.reference_points if each.gone_on is not None}
    return [
        Finding(
            "taped-from-gone", seen.point, f"{tie.from_} is recorded as gone since {gone[tie.from_]}.", Severity.NOTE
        )
        for tie in seen.ties
        if tie.from_ in gone
    ]


def _radius(found: Located, name: str) -> float | None:
    try:
        return found.solution.position(name).r95_m
    except KeyError:
        return None


def _wind(found: Located, difference: Difference | None) -> str | None:
    if difference is None or difference.delta is None or found.solution.azimuth_deg is None:
        return None
    return wind_of(difference.delta)

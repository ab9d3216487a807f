"""Tapes of one point at the trench: understood, stored as new entries, solved and judged in one transaction."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from asbuilt.errors import AsbuiltError, Problem, PromptError
from asbuilt.findings import Finding, Severity
from asbuilt.jobs.locate import Located, locate
from asbuilt.jobs.solve_and_store import solve_and_store
from asbuilt.model.components import Component
from asbuilt.model.measurements import Tie
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import open_record
from asbuilt.record.entries import Action
from asbuilt.record.prompt import Prompt, Taped, read_tapes
from asbuilt.record.prompt import Typed as Typed  # what this job is called with
from asbuilt.survey.trench import Verdict, judge


@dataclass(frozen=True, slots=True)
class Answered:
    """One point as it is known after what was typed."""

    property: str
    verdict: Verdict
    stored: int  #: entries that were stored; 0 = only tried
    elsewhere: tuple[Finding, ...]  #: what needs attention at other points
    draft: bool
    component: str | None = None  #: a component that came with it
    new_point: bool = False
    from_gone: tuple[Finding, ...] = ()  #: marks that were found gone before and were taped from all the same


def tape_point(
    record_file: Path, name: str, typed: Typed, *, who: str, now: datetime, dry_run: bool = False
) -> Answered:
    """Take one point's tapes.

    Parameters
    ----------
    name
        The property.
    dry_run
        Solve with the tapes, but store nothing.

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
        taped, located = solve_and_store(
            record,
            name,
            lambda known: _tried(known, typed),
            lambda tried: _values(tried[0]),
            None if dry_run else Action(who, now),
        )
    said = answer(located, taped.point)
    said = replace(said, from_gone=tuple(_from_gone(located.record, taped, now.date())))
    component = None if taped.component is None else taped.component.name
    stored = 0 if dry_run else len(_values(taped))
    return replace(said, stored=stored, component=component, new_point=taped.new_point)


def _from_gone(known: PropertyRecord, taped: Taped, today: date) -> list[Finding]:
    """Say of each tape that was pulled from a mark that was found gone before: it may be another mark."""
    gone = {each.name: each.gone_on for each in known.reference_points if each.gone_on and each.gone_on <= today}
    ends = dict.fromkeys(end for tie in taped.ties for end in (tie.from_, tie.to) if end in gone)
    act = "If another mark stands there now, withdraw the tape and give that mark a name of its own."
    return [
        Finding(
            "taped-from-gone",
            name,
            f"{taped.point}: a tape from {name}, which was found gone on {gone[name]}.",
            Severity.ATTENTION,
            act,
        )
        for name in ends
    ]


def _values(taped: Taped) -> list[Tie | Component]:
    return [*taped.ties, *([] if taped.component is None else [taped.component])]


def _tried(known: PropertyRecord, typed: Typed) -> tuple[Taped, Located]:
    taped = read_tapes(known, typed)
    return taped, refusing(known, _with(known, taped))


def answer(located: Located, point: str) -> Answered:
    """Judge one point of a solved property."""
    verdict = judge(located.joint, located.solution, located.findings, located.slips, point)
    known = located.record.property
    # where a point's own tapes disagree, what is said of the whole property says that again in other words
    names = {each.name for each in located.solution.points} if verdict.suspects else None
    silent = {point, *(each.name for each in located.record.reference_points if each.gone_on is not None)}
    elsewhere = tuple(
        each
        for each in located.findings
        if each.severity is not Severity.NOTE
        and each.subject not in silent
        and (names is None or each.subject in names)
    )
    return Answered(known.name, verdict, 0, elsewhere, known.draft)


def refusing(known: PropertyRecord, after: PropertyRecord) -> Located:
    """Solve a property as it would be, and refuse what makes it impossible.

    Raises
    ------
    PromptError
        If the survey says that it cannot be, and did not say so before.
    """
    located = locate(after)
    refused = [each for each in located.findings if each.severity is Severity.REFUSED]
    if refused:
        before = {each.message for each in locate(known).findings}
        new = [each for each in refused if each.message not in before]
        if new:
            raise PromptError(
                [Problem(f.subject, None, None, f.message, f.next_act or "look at it again") for f in new]
            )
    return located


def point_of(known: PropertyRecord, point: str) -> str:
    """Give the full name of a reference point or a point as somebody typed it.

    Raises
    ------
    PromptError
        If there is none.
    """
    prompt = Prompt(known)
    name = prompt.known_name("the point", point)
    prompt.stop()
    if name is None:
        raise AsbuiltError(f"{point}: no such point")
    return name


def _with(known: PropertyRecord, taped: Taped) -> PropertyRecord:
    components = () if taped.component is None else (taped.component,)
    return replace(known, ties=(*known.ties, *taped.ties), components=(*known.components, *components))

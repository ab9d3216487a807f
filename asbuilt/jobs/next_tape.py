"""Which tape to pull next: for a point that has a place, or for a rough place before anything is measured."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from asbuilt.jobs.locate import Located
from asbuilt.jobs.properties import located
from asbuilt.jobs.wall_line import wall_line
from asbuilt.record.prompt import Prompt
from asbuilt.record.sheets.cells import shown
from asbuilt.survey.planning import Choice, NextTape, choices, next_tapes
from asbuilt.survey.solution import Position
from asbuilt.units import Length

CHOICES_SHOWN = 3
"""Lots of corners shown of each size: the best, and two to take where the best is blocked."""


@dataclass(frozen=True, slots=True)
class Rough:
    """A rough place, as typed: along a wall line and square out from it."""

    wall: str
    along: str
    out: str
    hand: str | None = None  #: left or right; None = the outward side of a wall of a closed walk


@dataclass(frozen=True, slots=True)
class Plan:
    """What one more tape would bring to a point."""

    property: str
    units: str
    draft: bool
    position: Position
    tapes: tuple[NextTape, ...]  #: best first


@dataclass(frozen=True, slots=True)
class FirstPlan:
    """Which corners to tape a rough place from."""

    property: str
    units: str
    draft: bool
    place: str  #: in words
    two: tuple[Choice, ...]  #: best first
    three: tuple[Choice, ...]


def plan_next(record_file: Path, name: str, point: str, *, visible: Sequence[str], lost: Sequence[str]) -> Plan:
    """Rank the reference points by what a tape from each would do for a point.

    Parameters
    ----------
    visible
        Reference points that can be seen; empty = all that still stand.
    lost
        Reference points that cannot be used.

    Raises
    ------
    PromptError
        If a name is not known, a visible reference point is gone, or the point has no place yet.
    """
    found = located(record_file, name)
    prompt = Prompt(found.record)
    known = prompt.known_name("the point", point)
    standing = _usable(found, prompt, visible, lost)
    position = None if known is None else found.solution.position(known)
    if position is not None and position.place is None:
        mend = 'give a rough place: --wall "A > B" --along LENGTH --out LENGTH --hand left'
        prompt.refuse("the point", f"{shown(position.name)} has no place yet", mend)
    prompt.stop()
    assert position is not None  # noqa: S101 - else it was noted
    tapes = tuple(next_tapes(found.joint, position.name, [each for each in standing if each != position.name]))
    place = found.record.property
    return Plan(place.name, place.units, place.draft, position, tapes)


def plan_first(record_file: Path, name: str, rough: Rough, *, visible: Sequence[str], lost: Sequence[str]) -> FirstPlan:
    """Choose the best two and the best three reference points for a rough place.

    Raises
    ------
    PromptError
        If a name is not known, a length cannot be read, or fewer than two reference points can be used.
    """
    found = located(record_file, name)
    prompt = Prompt(found.record)
    wall = wall_line(found, prompt, rough.wall, rough.hand)
    along: Length | None = prompt.cell("--along", "length", rough.along) if rough.along.strip() != "0" else _NOTHING
    out: Length | None = prompt.cell("--out", "length", rough.out)
    standing = _usable(found, prompt, visible, lost)
    if not prompt.problems and len(standing) < 2:
        reason = f"{len(standing)} reference point{'' if len(standing) == 1 else 's'} can be used"
        prompt.refuse("the property", reason, "it needs two that are measured from one another")
    prompt.stop()
    assert wall is not None and along is not None and out is not None  # noqa: S101 - else it was noted
    a, b, hand = wall
    place = _place(found, a, b, along.metres, out.metres if hand == "left" else -out.metres)
    lots = [tuple(choices(found.joint, place, count, standing)[:CHOICES_SHOWN]) for count in (2, 3)]
    facts = found.record.property
    words = f"{along.as_read} along {a} > {b}, {out.as_read} out to the {hand}"
    return FirstPlan(facts.name, facts.units, facts.draft, words, lots[0], lots[1])


_NOTHING = Length("0", 0.0, 0.0254)


def _usable(found: Located, prompt: Prompt, visible: Sequence[str], lost: Sequence[str]) -> list[str]:
    """List the reference points that a tape can be pulled from: standing, placed, seen and not lost."""
    gone = {each.name: each.gone_on for each in found.record.reference_points if each.gone_on is not None}
    placed = [each.name for each in found.solution.references if each.place is not None]
    seen = [each for each in (prompt.reference("--visible", words) for words in visible) if each is not None]
    away = {prompt.reference("--lost", words) for words in lost}
    for name in seen:
        if name in gone:
            prompt.refuse("--visible", f"{shown(name)} is gone since {gone[name]}", "leave it away")
        elif name not in placed:
            prompt.refuse("--visible", f"{shown(name)} has no place yet", "tape it from two house corners first")
    return [name for name in placed if name not in gone and name not in away and (not seen or name in seen)]


def _place(found: Located, a: str, b: str, along_m: float, left_m: float) -> NDArray[np.float64]:
    """Give a place in the frame of the joint solution, metres."""
    joint = found.joint
    assert joint.fit is not None  # noqa: S101 - the wall's ends have places
    start, end = (joint.fit.places[joint.observations.index[name]] for name in (a, b))
    u = (end - start) / np.hypot(*(end - start))
    return np.asarray(start + along_m * u + left_m * np.array([-u[1], u[0]]))

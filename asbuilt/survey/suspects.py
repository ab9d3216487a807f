"""Which tape to pull again, in words: what the tests name, what they cannot, and what the slip may have been."""

from itertools import combinations

import numpy as np

from asbuilt.findings import Finding, Severity
from asbuilt.model.measurements import Wall
from asbuilt.survey.joint import Joint
from asbuilt.survey.misreadings import Misreading, explain
from asbuilt.survey.observations import Distance, Turn
from asbuilt.survey.screening import Screening, Tested, leave_out_in_turn, places_left_out, screen
from asbuilt.survey.shared import Shared, explanations
from asbuilt.units import format_length

_SAID = 3  # explanations that are printed


def suspect_findings(joint: Joint) -> list[Finding]:
    """Say which measurements disagree with the others, and the slips that would explain them.

    A set that passes the global test but holds one standardised residual beyond the 0.1 % limit brings a note only:
    among fifty tapes that happens in one clean property of twenty.
    """
    return examine(joint)[0]


def examine(joint: Joint) -> tuple[list[Finding], list[Misreading]]:
    """Give what `suspect_findings` says, and all the slips that would explain it, best first."""
    if joint.fit is None:
        return [], []
    screening = screen(joint.used, joint.fit, joint.datum)
    together = [_together(joint, shared) for shared in explanations(joint, screening)]
    if not (screening.alarm or screening.suspects or joint.against_side):
        return together, []
    answers = explain(joint, screening)
    return [*together, *_suspected(joint, screening, answers), *_further(joint, screening)], answers


def _suspected(joint: Joint, screening: Screening, answers: list[Misreading]) -> list[Finding]:
    severity = Severity.ATTENTION if screening.alarm else Severity.NOTE
    said = _explained(answers)
    if screening.culprit is not None:
        words = _named(joint, screening.culprit)
        return [Finding("suspect", _subject(joint, screening.culprit), words, severity, said or "Measure it again.")]
    if screening.suspects:
        words = _undecided(joint, screening)
        act = said or "Pull these tapes again, and one more from another reference point."
        return [Finding("suspect", _subject(joint, screening.suspects[0]), words, severity, act)]
    if answers:
        return [Finding("suspect", answers[0].ties[0].to, "A slip would explain the disagreement.", severity, said)]
    return []


def _explained(answers: list[Misreading]) -> str:
    """Put the best explanations into one sentence; empty where there is none."""
    if not answers:
        return ""
    return "Measure again: " + ", or ".join(answer.sentence() for answer in answers[:_SAID]) + "."


def _named(joint: Joint, tested: Tested) -> str:
    large, small = ("large", "small") if isinstance(tested.equation, Turn) else ("long", "short")
    size = _size(joint, tested)
    return f"{_what(joint, tested)}: by all the others it is {size} too {large if tested.blunder > 0 else small}."


def _size(joint: Joint, tested: Tested) -> str:
    if isinstance(tested.equation, Turn):
        return f"{np.degrees(abs(tested.blunder)):.1f} degrees"
    return format_length(abs(tested.blunder), joint.record.property.units)


def _what(joint: Joint, tested: Tested) -> str:
    """Name a measurement as the notebook does."""
    equation, names = tested.equation, joint.observations.names
    if isinstance(equation, Distance):
        word = "wall" if isinstance(equation.source, Wall) else "tape"
        return f"The {word} {names[equation.i]} to {names[equation.j]}, {equation.as_read}"
    if isinstance(equation, Turn):
        return f"The turn {equation.source.turn} at {names[equation.j]}"
    read = equation.source.along if tested.part == "along" else equation.source.out
    line = f"{names[equation.a]} > {names[equation.b]}"
    way = "out of" if tested.part == "out" else "along"
    return f"The offset {way} {line} to {names[equation.p]}, {read.as_read}"


def _subject(joint: Joint, tested: Tested) -> str:
    """Name the point that a measurement is of."""
    nodes = tested.equation.nodes
    return joint.observations.names[max(nodes) if isinstance(tested.equation, Distance) else nodes[-1]]


def _undecided(joint: Joint, screening: Screening) -> str:
    """Say that one of some is wrong but not which, and how far apart the places are that leaving one out gives."""
    measured = "; ".join(_what(joint, tested).removeprefix("The ") for tested in screening.suspects)
    words = f"One of these is wrong, and the figures cannot tell which: {measured}."
    tapes = [t.equation for t in screening.suspects if isinstance(t.equation, Distance)]
    points = set.intersection(*(set(tape.nodes) for tape in tapes)) if len(tapes) > 1 else set()
    point = next((node for node in points if node >= joint.observations.references), None)
    if point is None:
        return words
    places = [place for place in places_left_out(joint, point) if place.left_out in tapes]
    apart = [
        f"without {joint.observations.names[a.left_out.far(point)]} and without "
        f"{joint.observations.names[b.left_out.far(point)]} "
        f"{format_length(float(np.linalg.norm(a.place - b.place)), joint.record.property.units)}"
        for a, b in combinations(places, 2)
    ]
    return f"{words} The places of {joint.observations.names[point]} that leaving one out gives lie apart: " + (
        ", ".join(apart) + "."
    )


_SHARED = {
    "tape": ("All tapes read {size} too {long}, against the walls and each other.", "Check the tape's hook and its "
             "first foot on a wall of known length; then measure again or say which."),
    "face": ("The face {subject} seems to lie {size} further {out} than when its corners were measured.", "Was it "
             "re-clad, or were the tapes pulled from another face of it?"),
    "slope": ("The tapes to {subject} fit better if it lay {size} lower than the tape's ends.", "Note the drop, or "
              "pull the tapes level and drop a plumb line."),
}  # fmt: skip


def _together(joint: Joint, shared: Shared) -> Finding:
    """Say what several tapes seem to share."""
    words, act = _SHARED[shared.kind]
    size = format_length(abs(shared.size_m), joint.record.property.units)
    long, out = ("long", "out") if shared.size_m > 0 else ("short", "in")
    message = words.format(subject=shared.subject, size=size, long=long, out=out)
    return Finding(f"shared-{shared.kind}", shared.subject, message, Severity.ATTENTION, act)


def _further(joint: Joint, screening: Screening) -> list[Finding]:
    """Leave out one named tape after the other, where the first alone does not mend the set."""
    if screening.culprit is None or not screening.alarm:
        return []
    out, passes = leave_out_in_turn(joint)
    if len(out) < 2 and passes:
        return []
    more = "; ".join(_named(joint, tested) for tested in out[1:])
    words = f"There is more than one: {more}" if more else "Leaving it out does not mend the set."
    if not passes:
        words += " Then the figures can no longer tell what is wrong."
    act = "Pull these again first; more tapes from other reference points tell the rest."
    return [Finding("several-blunders", joint.record.property.name, words, Severity.ATTENTION, act)]

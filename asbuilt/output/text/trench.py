"""What is said of one point while the hole is open: one line to act on, then the slip, the side or the next tape."""

import math
import re
import shlex
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from asbuilt.findings import Severity
from asbuilt.model.measurements import Tie
from asbuilt.survey.misreadings import Misreading
from asbuilt.survey.planning import NextTape
from asbuilt.survey.trench import Mirror, Verdict, agreement_m
from asbuilt.units import FOOT_M, INCH_M, Length, format_length, format_small

_PLAIN = re.compile(r"[\w./-]+")
_SHELL_OBEYS = set('"$`\\!')


class TrenchWords:
    """Puts verdicts on the points of one property into words.

    Parameters
    ----------
    property_name
        As commands that are proposed name it.
    tail
        What such a command needs beside its own words, such as ` --record office.db`.
    stored
        Whether the readings are in the record, so that a correction is a command; else they are only typed again.
    """

    def __init__(self, property_name: str, *, tail: str = "", stored: bool = True) -> None:
        self._property = property_name
        self._tail = tail
        self._stored = stored

    def lines(self, verdict: Verdict) -> list[str]:
        """Say it: the answer in the first line, what to do about it in the others."""
        said = [f"{verdict.name}: {self._answer(verdict)}"]
        if self._undecided(verdict):
            said += self._one_of(verdict)
        said += self._slips(verdict)
        if verdict.mirror is not None:
            said += self._mirror(verdict, verdict.mirror)
        said += [f"{each.severity}: {each.sentence()}" for each in verdict.findings]
        return said + self._next(verdict)

    def _answer(self, verdict: Verdict) -> str:
        position = verdict.position
        if position is None:
            return "nothing is measured to it"
        if verdict.suspects:
            worst = verdict.suspects[0]
            if verdict.named:
                return f"tape {verdict.from_[worst]} again: it misses by {_missed(verdict, worst)}"
            return "tape it again: the tapes disagree, and the figures cannot tell which is wrong"
        if position.r95_m is None:
            return "no place yet"
        if any(each.code == "against-side" for each in verdict.findings):
            return "look which side it is on: the tapes put it across from the noted side"
        within = f"within {format_small(position.r95_m, verdict.units)}, 19 times in 20"
        return f"{within}; {_agreement(verdict)}"

    def _one_of(self, verdict: Verdict) -> list[str]:
        """Say by how much each of the tapes that may be wrong would be wrong: a round number is the likely one."""
        found = []
        for k in verdict.suspects:
            by = "too long" if verdict.tapes[k].blunder > 0 else "too short"
            found.append(f"  {_reading(verdict, k)} would be {_missed(verdict, k)} {by}")
        return [*(f"{line}, or" for line in found[:-1]), *found[-1:]]

    def _slips(self, verdict: Verdict) -> list[str]:
        said = []
        for slip in verdict.slips:
            words = "the other side was written down" if slip.kind == "other side" else slip.sentence()
            said.append(f"  likely slip, look again: {words}")
            if self._stored:
                said += [f"    {command}" for command in self.corrections(slip, verdict)]
        return said

    def corrections(self, slip: Misreading, verdict: Verdict) -> list[str]:
        """Write the commands that would apply a slip's correction, one a tape."""
        pairs = zip(slip.ties, slip.corrected, strict=True)
        return [*dict.fromkeys(self._correction(old, new, slip.kind, verdict) for old, new in pairs)]

    def _correction(self, old: Tie, new: Tie, kind: str, verdict: Verdict) -> str:
        far = _far(old, verdict.name)
        if new.side is not None and new.side != old.side:
            return self._command(verdict, ["--side", str(new.side)], kind)
        words = ["--from", far, "--was", typed(old.distance, verdict.units)]
        if _far(new, verdict.name) != far:
            words += ["--new-from", _far(new, verdict.name)]
        elif new.distance != old.distance:
            words += ["--read", typed(new.distance, verdict.units)]
        elif new.drop is not None and new.drop != old.drop:
            words += ["--held", "slope", "--drop", typed(new.drop, verdict.units)]
        return self._command(verdict, words, kind)

    def _command(self, verdict: Verdict, words: list[str], reason: str) -> str:
        whole = ["asbuilt", "correct", self._property, verdict.name, *words, "--reason", reason]
        return " ".join(map(quoted, whole)) + self._tail

    def _mirror(self, verdict: Verdict, mirror: Mirror) -> list[str]:
        """Name both places and what to say about them."""
        units = verdict.units
        line = f"{mirror.a} > {mirror.b}"
        hands = ["left" if out >= 0 else "right" for out in mirror.out_m]
        spots = [f"{format_length(abs(out), units)} {hand}" for out, hand in zip(mirror.out_m, hands, strict=True)]
        said = [f"  it fits two places: {spots[0]} of {line}, or {spots[1]} of it; look which"]
        for hand in hands:
            said.append(f"    {self._side(verdict, f'{hand} of {line}')}")
        if mirror.telling is not None:
            reads = [format_length(metres, units) for metres in mirror.telling.reads_m]
            said.append(
                f"  or tape {mirror.telling.reference}: {reads[0]} means {hands[0]}, {reads[1]} means {hands[1]}"
            )
        return said

    def _side(self, verdict: Verdict, side: str) -> str:
        if not self._stored:
            return f"--side {quoted(side)}"
        return self._command(verdict, ["--side", side], "looked which side")

    def _next(self, verdict: Verdict) -> list[str]:
        """Say which tape to pull next, where one is wanted."""
        position = verdict.position
        if position is None or position.place is None:
            return []
        if needs_act(verdict) and not verdict.suspects:
            return []
        if position.checked and not verdict.suspects:
            return ["checked: a tape misread by a foot would show; nothing more is needed"]
        if not verdict.next_tapes:
            return ["it is taped from every reference point that still stands"]
        words = next_tape_words(verdict.next_tapes[0], verdict.units)
        return [words.replace("next: ", "to tell which, pull one more: ", 1) if self._undecided(verdict) else words]

    def _undecided(self, verdict: Verdict) -> bool:
        return bool(verdict.suspects) and not verdict.named


def next_tape_words(tape: NextTape, units: str) -> str:
    """Say what one more tape would bring."""
    within = f"within {format_small(tape.r95_m, units)}"
    shows = "and a misread tape would show" if tape.shows_misreading else "but a misread tape could still pass"
    return f"next: a tape from {tape.reference} (about {format_length(tape.distance_m, units)}): {within}, {shows}"


def verdict_json(verdict: Verdict, words: TrenchWords) -> dict[str, Any]:
    """Give a verdict as plain JSON values; metres to 4 decimals."""
    position, mirror = verdict.position, verdict.mirror
    tapes = zip(verdict.tapes, verdict.from_, strict=True)
    return {
        "point": verdict.name,
        "good": verdict.good,
        "east_m": None if position is None or position.place is None else _metres(float(position.place[0])),
        "north_m": None if position is None or position.place is None else _metres(float(position.place[1])),
        "r95_m": None if position is None else _metres(position.r95_m),
        "checked": position is not None and position.checked,
        "unchecked_because": None if position is None else position.unchecked_because,
        "unnoticed_m": None if position is None else _metres(position.unnoticed_m),
        "agree_within_m": _metres(agreement_m(verdict)),
        "tapes": [
            {"from": far, "as_read": _as_read(tape.equation), "misses_m": _metres(tape.blunder)} for tape, far in tapes
        ],
        "suspects": [verdict.from_[k] for k in verdict.suspects],
        "named": verdict.named,
        "slips": [
            {"kind": slip.kind, "words": slip.sentence(), "commands": words.corrections(slip, verdict)}
            for slip in verdict.slips
        ],
        "places": []
        if mirror is None
        else [
            {"side": f"{'left' if out >= 0 else 'right'} of {mirror.a} > {mirror.b}", "out_m": _metres(abs(out))}
            for out in mirror.out_m
        ],
        "next_tapes": [next_tape_json(tape) for tape in verdict.next_tapes],
        "findings": [finding.as_json() for finding in verdict.findings],
    }


def next_tape_json(tape: NextTape) -> dict[str, Any]:
    """Give what one more tape would bring as plain JSON values; `unnoticed_m` null = without limit."""
    return {
        "reference": tape.reference,
        "distance_m": _metres(tape.distance_m),
        "r95_m": _metres(tape.r95_m),
        "unnoticed_m": _metres(tape.unnoticed_m),
        "misreading_shows": tape.shows_misreading,
    }


def needs_act(verdict: Verdict) -> bool:
    """Tell whether somebody should act before the hole is closed: exit status 1."""
    return not verdict.good or any(each.severity is not Severity.NOTE for each in verdict.findings)


def miss_words(metres: float, units: str) -> str:
    """Write by how much a tape misses, feet and inches in words.

    Examples
    --------
    >>> miss_words(0.3048, "ft-in"), miss_words(0.0381, "ft-in"), miss_words(0.3048, "m")
    ('1 ft 0 in', '1 1/2 in', '0.30 m')
    """
    if units != "ft-in":
        return format_length(metres, units)
    inches = round(metres / INCH_M) if metres >= FOOT_M else Fraction(round(2 * metres / INCH_M), 2)
    feet, rest = divmod(Fraction(inches), 12)
    whole, half = divmod(rest, 1)
    words = f"{whole} {half}" if whole and half else f"{half or whole}"
    return f"{feet} ft {words} in" if feet else f"{words} in"


def typed(length: Length, units: str) -> str:
    """Write a length so that it can be typed in a shell without its marks being obeyed.

    Examples
    --------
    >>> typed(Length("x", 7.1247, 0.0127), "ft-in"), typed(Length("x", 7.12, 0.01), "m")
    ('23 4 1/2', '7.12 m')
    """
    if units != "ft-in":
        return format_length(length.metres, units, _step(length, units))
    return format_length(length.metres, units, _step(length, units)).replace("' ", " ").rstrip('"')


def _step(length: Length, units: str) -> Fraction:
    """Give the step that a length was read to, in the property's unit."""
    if units == "ft-in":
        return Fraction(max(1, round(16 * min(length.step_m, INCH_M) / INCH_M)), 16)
    metres = length.step_m if units == "m" else length.step_m / FOOT_M
    return Fraction(1, 10 ** min(4, max(2, -math.floor(math.log10(metres) + 1e-9)))) if metres > 0 else Fraction(1, 100)


def quoted(word: str) -> str:
    """Quote a word for a shell, as plainly as can be."""
    if _PLAIN.fullmatch(word):
        return word
    return shlex.quote(word) if set(word) & _SHELL_OBEYS else f'"{word}"'


def listed(words: Iterable[str]) -> str:
    """List words with commas and `or`."""
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last


def _agreement(verdict: Verdict) -> str:
    agree = agreement_m(verdict)
    position, count = verdict.position, len(verdict.tapes)
    if agree is not None:
        who = "third tape agrees" if count == 3 else f"its {count} tapes agree"
        agreed = f"{who} to {format_small(agree, verdict.units)}"
        because = position.unchecked_because if position is not None else None
        return agreed if because is None else f"{agreed}; not checked: {because}"
    if position is not None and position.unchecked_because is not None:
        return f"not checked: {position.unchecked_because}"
    return "checked"


def _missed(verdict: Verdict, k: int) -> str:
    return miss_words(abs(verdict.tapes[k].blunder), verdict.units)


def _reading(verdict: Verdict, k: int) -> str:
    return f"{verdict.from_[k]} {_as_read(verdict.tapes[k].equation)}"


def _as_read(equation: Any) -> str:
    return str(equation.as_read)


def _far(tie: Tie, name: str) -> str:
    return tie.from_ if tie.to == name else tie.to


def _metres(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 4) + 0.0

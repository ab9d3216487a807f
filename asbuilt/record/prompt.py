"""Words typed at the prompt into readings of one property: parsed as the sheets are, every problem in one message."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import chain
from typing import Any

from asbuilt.errors import Problem, PromptError
from asbuilt.model.components import Component, full_name, split_name
from asbuilt.model.measurements import COMPASS, Side, Tie
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import split_walks
from asbuilt.record.sheets.cells import CellError, did_you_mean, shown
from asbuilt.record.sheets.columns import SHEETS
from asbuilt.units import Length

MISTYPED = 0.88
"""From this likeness on a new name is taken for a known one mistyped; found on the names of our sample (our own)."""

_PAIRS = '"NE corner" "23 4.5" "SE corner" "17 6"'
_CELLS = {column.name: column for sheet in ("components.csv", "offsets.csv", "ties.csv") for column in SHEETS[sheet]}


@dataclass(frozen=True, slots=True)
class Typed:
    """One point's tapes as they were typed."""

    point: str
    words: tuple[str, ...]  #: reference point and reading in turn
    side: str | None = None
    held: str | None = None
    drop: str | None = None
    note: str | None = None
    kind: str | None = None  #: of a component that is not known yet
    new: bool = False  #: the point is new, however like another its name is


@dataclass(frozen=True, slots=True)
class Taped:
    """One point's tapes as they are understood."""

    point: str  #: full name
    ties: tuple[Tie, ...]
    component: Component | None  #: where it is a new one
    new_point: bool


class Prompt:
    """Reads words against what is known of one property, and notes what is wrong with them."""

    def __init__(self, known: PropertyRecord) -> None:
        self.known = known
        self.units = known.property.units
        self.problems: list[Problem] = []
        self._references = known.reference_names()
        self._points = known.point_names()
        self.components = dict.fromkeys(each.name for each in known.components)
        self.components |= dict.fromkeys(known.component_of(name) for name in self._points)

    def refuse(self, what: str, reason: str, accepted: str) -> None:
        """Note a problem."""
        self.problems.append(Problem(what, None, None, reason, accepted))

    def stop(self) -> None:
        """Raise everything that was noted.

        Raises
        ------
        PromptError
            If anything was.
        """
        if self.problems:
            raise PromptError(self.problems)

    def cell(self, what: str, column: str, words: str | None) -> Any:
        """Read words as the sheets read a cell of that column; None = none, or noted as unreadable."""
        if words is None:
            return None
        if not words.strip():
            self.refuse(what, "is empty", "leave it away, or give it a word")
            return None
        try:
            return _CELLS[column].parse(words.strip(), self.units)
        except CellError as error:
            self.refuse(what, error.reason, error.accepted)
            return None

    def known_name(self, what: str, words: str) -> str | None:
        """Give the full name of a reference point or a point that is known; None = noted as unknown."""
        name: str | None = self.cell(what, "from", words)
        if name is None or name in self._references or name in self._points:
            return name
        short = self.called(name)
        if len(short) == 1:
            return short[0]
        if short:
            self.refuse(what, f"{shown(name)} may be {' or '.join(map(shown, short[:4]))}", "write component/point")
            return None
        self.refuse(what, f"{shown(name)} is no reference point or point", self._near(name))
        return None

    def called(self, name: str) -> list[str]:
        """List the points of that own name, of the component of that name, or with that mark chalked beside them."""
        marked = {each.name for each in self.known.points if each.mark == name}
        return [
            point
            for point in self._points
            if name in (split_name(point)[1], self.known.component_of(point)) or point in marked
        ]

    def reference(self, what: str, words: str) -> str | None:
        """Give the name of a reference point; None = noted as unknown."""
        name: str | None = self.cell(what, "from", words)
        if name is None or name in self._references:
            return name
        accepted = did_you_mean(name, self._references, f"it has {', '.join(map(shown, self._references))}")
        self.refuse(what, f"{shown(name)} is no reference point", accepted)
        return None

    def names(self) -> Iterator[str]:
        """Everything that a tape may be pulled from, by full and by short name."""
        return chain(self._references, self._points, self._short())

    def paired(self, words: Sequence[str]) -> str | None:
        """Join words that a shell has parted into names and readings again; None = they are not that either."""
        known, found, rest = set(self.names()), list[str](), list(words)
        while rest:
            ends = [k for k in range(len(rest), 0, -1) if " ".join(rest[:k]) in known]
            if ends and len(found) % 2 == 0:
                found.append(" ".join(rest[: ends[0]]))
                rest = rest[ends[0] :]
                continue
            stop = next((k for k in range(1, len(rest)) if self._begins_with_a_name(rest[k:], known)), len(rest))
            found.append(" ".join(rest[:stop]))
            rest = rest[stop:]
        if len(found) % 2 or any(name not in known for name in found[::2]):
            return None
        return " ".join(map(_in_quotes, found))

    def _begins_with_a_name(self, words: Sequence[str], known: Collection[str]) -> bool:
        return any(" ".join(words[:k]) in known for k in range(1, len(words) + 1))

    def _near(self, name: str) -> str:
        names = [*self._references, *self._points]
        return did_you_mean(name, [*names, *(split_name(point)[1] for point in self._points)], self._measured_from())

    def _measured_from(self) -> str:
        names = ", ".join(map(shown, self._references[:8]))
        return f"one measures from {names}" if names else "it has no reference points yet; load its sheets first"

    def point(self, words: str, *, kind: str | None, new: bool) -> tuple[str, Component | None, bool] | None:
        """Find the point that is taped, or make out that it is a new one.

        Returns
        -------
        Its full name, its component where that is new too, and whether the point is new; None = noted as unknown.
        """
        name = self.cell("the point", "to", words)
        if name is None:
            return None
        known = self._find(name)
        if known is not None and kind is None and not new:
            return known, None, False
        if known is not None:
            option = "--component-kind" if kind is not None else "--new"
            self.refuse(
                option, f"{shown(known)} is known already", "leave the option away, or give the new point a name"
            )
            return None
        return self._new_point(name, kind=kind, new=new)

    def _find(self, name: str) -> str | None:
        if name in self._references or name in self._points:
            return name
        short = self.called(name)
        return short[0] if len(short) == 1 else None

    def _new_point(self, name: str, *, kind: str | None, new: bool) -> tuple[str, Component | None, bool] | None:
        component, point = split_name(name)
        several = self.called(name)
        folded = {each.casefold(): each for each in (*self._references, *self._points, *self.components)}
        alike = None if new else self._alike_point(name)
        like_component = _alike(component, [*self.components]) if not new else None
        accepted = "write component/point of a known component, or give --component-kind KIND for a new one"
        if several:
            reason, accepted = f"{shown(name)} may be {' or '.join(map(shown, several[:4]))}", "write component/point"
        elif not component.strip() or ("/" in name and not point.strip()):
            reason = f"{shown(name)} is no name of a point"
        elif name.casefold() in folded:
            reason, accepted = f"{shown(name)} is not known", f"did you mean {shown(folded[name.casefold()])}?"
        elif alike is not None:
            reason = f"{shown(name)} is not known"
            accepted = f"did you mean {shown(alike)}? If it is a new point, add --new"
        elif component in self.components and kind is None:
            return full_name(component, point), None, True
        elif component in self.components:
            self.refuse("--component-kind", f"the component {shown(component)} is known already", "leave it away")
            return None
        elif kind is None and like_component is not None:
            reason = f"no component {shown(component)}"
            accepted = f"did you mean {shown(like_component)}? For a new component give --component-kind KIND"
        elif kind is None:
            reason = f"no point and no component {shown(component)}"
            accepted = did_you_mean(name, [*self._points, *self._short(), *self.components], accepted)
        else:
            word = self.cell("--component-kind", "kind", kind)
            return None if word is None else (full_name(component, point), Component(component, word), True)
        self.refuse("the point", reason, accepted)
        return None

    def _alike_point(self, name: str) -> str | None:
        """Find a known point of the same component, else a known name, of which this may be a slip of the finger."""
        component, point = split_name(name)
        own = {split_name(each)[1]: each for each in self._points if self.known.component_of(each) == component}
        if component in self.components:
            near = _alike(point, [*own])
            return None if near is None else own[near]
        return _alike(name, [*self._references, *self._points])

    def _short(self) -> Iterator[str]:
        return (split_name(point)[1] for point in self._points if "/" in point)

    # The words that go with a tape

    def side(self, words: str | None, point: str, own: Sequence[str]) -> Side | None:
        """Read a side and look its names up.

        Parameters
        ----------
        own
            What the point is taped from by the words themselves; `out` means their wall first.
        """
        side: Side | None = self.cell("--side", "side", words)
        if side is None:
            return None
        taped = [*own, *self._taped_from(point)]
        if side.word == "out":
            return self._out(own, taped) if side.a is None else self._out((side.a, str(side.b)), ())
        a, b = (self.known_name("--side", str(each)) for each in (side.a, side.b))
        if a is None or b is None:
            return None
        strange = [name for name in (a, b) if name not in taped]
        if strange:
            listed = ", ".join(map(shown, dict.fromkeys(taped))) or "none"
            reason = f"{shown(point)} is not taped from {' or '.join(map(shown, strange))}"
            self.refuse("--side", reason, f"name two of those that it is taped from: {listed}")
        elif side.word in COMPASS and (
            self.known.property.earth is None or self.known.property.earth.wall_from is None
        ):
            reason = f"{shown(str(side))} needs a direction, and the property has no azimuth"
            self.refuse("--side", reason, "write left of A > B or right of A > B")
        elif self._contrary(point, Side(side.word, a, b)):
            self.refuse("--side", f"{shown(str(side))} is contrary to what is recorded", self._how_to_turn(point))
        else:
            return Side(side.word, a, b)
        return None

    def _how_to_turn(self, point: str) -> str:
        return f'to turn the recorded side: asbuilt correct ... "{point}" --side ... --reason ...'

    def _contrary(self, point: str, side: Side) -> bool:
        if side.word not in ("left", "right"):
            return False
        given = {_handed(tie.side) for tie in self.known.ties if tie.to == point and tie.side is not None}
        pair, left = _handed(side)
        return (pair, not left) in given

    def _taped_from(self, point: str) -> list[str]:
        return [tie.from_ if tie.to == point else tie.to for tie in self.known.ties if point in (tie.from_, tie.to)]

    def _out(self, own: Sequence[str], taped: Sequence[str]) -> Side | None:
        """Name the wall that `out` is out of."""
        runs: list[tuple[str, str]] = []
        for names in (own[:2], own, taped):
            runs = runs or self._runs(names)
        if len(runs) == 1:
            return Side("out", *runs[0])
        several = " or ".join(f"{shown(a)} > {shown(b)}" for a, b in runs[:4])
        reason = f"“out” may be out of {several}" if runs else "“out”, but it is not taped from two ends of one wall"
        self.refuse("--side", reason, "write left of A > B or right of A > B")
        return None

    def _runs(self, names: Sequence[str]) -> list[tuple[str, str]]:
        walls = [wall for walk in split_walks(self.known.walls) if walk.closed for wall in walk.straight_walls]
        ends = [[corner for corner in wall if corner in names] for wall in walls]
        return [(found[0], found[-1]) for found in ends if len(found) > 1]

    def drop(self, words: str | None, held: str | None, readings: Sequence[Length]) -> Length | None:
        """Read how far the tapes dropped."""
        drop: Length | None = self.cell("--drop", "drop", words)
        if drop is None or held == "level":
            return drop
        short = [each for each in readings if drop.metres >= each.metres]
        if short:
            reason = f"{shown(drop.as_read)} is not less than the tape {shown(short[0].as_read)}"
            self.refuse("--drop", reason, "a tape held on a slope is longer than its drop")
        return drop


def read_tapes(known: PropertyRecord, typed: Typed) -> Taped:
    """Read one point's tapes.

    Raises
    ------
    PromptError
        With everything that is wrong with the words.
    """
    prompt = Prompt(known)
    found = prompt.point(typed.point, kind=typed.kind, new=typed.new)
    name = found[0] if found is not None else typed.point
    pairs = list(_pairs(prompt, typed.words, name))
    held = prompt.cell("--held", "held", typed.held)
    note = prompt.cell("--note", "note", typed.note)
    side = prompt.side(typed.side, name, [far for far, _ in pairs]) if found is not None else None
    drop = prompt.drop(typed.drop, held, [reading for _, reading in pairs])
    ties = tuple(Tie(far, name, reading, side, held, drop, note) for far, reading in pairs)
    _refuse_copies(prompt, ties)
    prompt.stop()
    assert found is not None  # noqa: S101 - else it was noted
    return Taped(name, ties, found[1], found[2])


def _pairs(prompt: Prompt, words: Sequence[str], point: str) -> Iterator[tuple[str, Length]]:
    """Read reference points and readings in turn."""
    if not words or len(words) % 2 or any(each[:1].isdigit() and each not in prompt.names() for each in words[::2]):
        reason = f"{' '.join(words)} is not a name and a reading in turn" if words else "no tape is given"
        guess = prompt.paired(words)
        accepted = f"quote what has a space in it: {guess or _PAIRS}"
        prompt.refuse("the tapes", reason, accepted)
        return
    for far, reading in zip(words[::2], words[1::2], strict=True):
        name = prompt.known_name("the tapes", far)
        length = prompt.cell(f"tape from {far}", "distance", reading)
        if name == point:
            prompt.refuse("the tapes", f"a tape from {shown(point)} to itself", "name what it was taped from")
        elif name is not None and length is not None:
            yield name, length


def _refuse_copies(prompt: Prompt, ties: Sequence[Tie]) -> None:
    """Refuse a tape that is recorded already, unless a note tells that it is another pull."""
    seen: list[Tie] = []
    for tie in ties:
        same = [one for one in (*prompt.known.ties, *seen) if _ends(one) == _ends(tie)]
        seen.append(tie)
        if not same or (tie.note is not None and all(one.note != tie.note for one in same)):
            continue
        reading = shown(same[-1].distance.as_read)
        if any(one is same[-1] for one in seen):
            prompt.refuse(f"tape from {tie.from_}", f"is given twice, first with {reading}", "give each tape once")
            continue
        mend = (
            f'asbuilt correct "{prompt.known.property.name}" "{tie.to}" --from "{tie.from_}" '
            f"--read {_in_quotes(tie.distance.as_read)} --reason ..."
        )
        accepted = f'if that was misread: {mend}; to keep both: --note "second pull"'
        prompt.refuse(f"tape from {tie.from_}", f"is recorded already, with {reading}", accepted)


def _ends(tie: Tie) -> frozenset[str]:
    return frozenset((tie.from_, tie.to))


def _handed(side: Side) -> tuple[tuple[str, ...], bool]:
    """Give the names of a side in alphabetical order, and whether it is left of the line between them."""
    a, b = str(side.a), str(side.b)
    return tuple(sorted((a, b))), (side.word == "left") == (a < b)


def _alike(name: str, known: Sequence[str]) -> str | None:
    """Find a known name of which this may be a slip of the finger; names that differ in digits only are two names."""
    near = get_close_matches(name.casefold(), [each.casefold() for each in known], n=3, cutoff=MISTYPED)
    by_folded = {each.casefold(): each for each in known}
    return next((by_folded[each] for each in near if _without_digits(each) != _without_digits(name.casefold())), None)


def _without_digits(name: str) -> str:
    return " ".join("".join(" " if letter.isdigit() else letter for letter in name).split())


def _in_quotes(words: str) -> str:
    return f"'{words}'" if '"' in words else f'"{words}"'

"""One reading corrected or withdrawn: a new entry with a reason over the old one, and what the point is then."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from asbuilt.errors import RecordError
from asbuilt.jobs.due import reckon
from asbuilt.jobs.locate import Located
from asbuilt.jobs.tape import Answered, answer, point_of, refusing
from asbuilt.model.measurements import Side, Tie
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import Record, open_record
from asbuilt.record.due_state import keep_due
from asbuilt.record.entries import Action, Kept, read_property
from asbuilt.record.prompt import Prompt
from asbuilt.record.sheets.cells import shown
from asbuilt.record.typed import standing_ties, supersede_typed


@dataclass(frozen=True, slots=True)
class Correction:
    """What is to be corrected, and into what; as typed."""

    point: str
    from_: str | None = None  #: None = the side of the point is corrected, whichever tape carries it
    was: str | None = None  #: the reading as it stands; None = there is only one from there
    read: str | None = None
    new_from: str | None = None
    side: str | None = None
    held: str | None = None
    drop: str | None = None

    @property
    def changes(self) -> bool:
        """Tell whether it says what is to be written instead."""
        return any(each is not None for each in (self.read, self.new_from, self.side, self.held, self.drop))


@dataclass(frozen=True, slots=True)
class Corrected:
    """What was corrected, and the point as it is known since."""

    changes: tuple[tuple[Tie, Tie | None], ...]  #: each tape as it stood and as it stands; None = withdrawn
    answered: Answered


def correct_reading(
    record_file: Path, name: str, correction: Correction, *, reason: str, who: str, now: datetime
) -> Corrected:
    """Put a corrected reading over a recorded one.

    Raises
    ------
    PromptError
        If the reading is not found, more than one is meant, or the correction cannot be taken.
    RecordError
        If the reason is blank, or the record cannot be written. Nothing was stored.
    """
    return _change(record_file, name, correction, Action(who, now, told(reason)), withdraw=False)


def withdraw_reading(
    record_file: Path, name: str, correction: Correction, *, reason: str, who: str, now: datetime
) -> Corrected:
    """Withdraw a recorded reading; it stays readable and no longer counts.

    Raises
    ------
    PromptError
        If the reading is not found, or more than one is meant.
    RecordError
        If the reason is blank, or the record cannot be written. Nothing was stored.
    """
    return _change(record_file, name, correction, Action(who, now, told(reason)), withdraw=True)


def told(reason: str) -> str:
    """Give a reason without the blanks around it; RecordError where nothing is left."""
    if not reason.strip():
        raise RecordError("the reason is blank; accepted: a few words, such as 'digits swapped'")
    return reason.strip()


def _change(record_file: Path, name: str, correction: Correction, action: Action, *, withdraw: bool) -> Corrected:
    with open_record(record_file) as record:
        known, ties = _standing(record, name)
        tried = _tried(known, ties, correction, withdraw=withdraw)
        with record.write():
            # solved before anybody had to wait; what somebody else stored meanwhile counts all the same
            since = _standing(record, name)
            if since != (known, ties):
                tried = _tried(*since, correction, withdraw=withdraw)
            supersede_typed(record, name, tried.changes, action)
            keep_due(record, name, reckon)
    said = replace(answer(tried.located, tried.point), stored=len(tried.changes))
    return Corrected(tuple((kept.value, new) for kept, new in tried.changes), said)


@dataclass(frozen=True, slots=True)
class _Tried:
    """A correction that can be made, and what the property is with it."""

    point: str
    changes: list[tuple[Kept, Tie | None]]
    located: Located


def _standing(record: Record, name: str) -> tuple[PropertyRecord, list[Kept]]:
    with record.read():
        return read_property(record, name), standing_ties(record, name)


def _tried(known: PropertyRecord, ties: list[Kept], correction: Correction, *, withdraw: bool) -> _Tried:
    point = point_of(known, correction.point)
    meant = _Meant(known, Prompt(known), point, ties, correction)
    changes: list[tuple[Kept, Tie | None]] = [(meant.reading(), None)] if withdraw else [*meant.corrected()]
    return _Tried(point, changes, refusing(known, replace(known, ties=_replaced(known.ties, changes))))


def _replaced(ties: tuple[Tie, ...], changes: Iterable[tuple[Kept, Tie | None]]) -> tuple[Tie, ...]:
    found = list(ties)
    for kept, new in changes:
        place = found.index(kept.value)
        found[place : place + 1] = [] if new is None else [new]
    return tuple(found)


class _Meant:
    """The readings that a correction means, and what they become."""

    def __init__(
        self, known: PropertyRecord, prompt: Prompt, point: str, ties: list[Kept], correction: Correction
    ) -> None:
        self.known, self.prompt, self.point, self.correction = known, prompt, point, correction
        self.own = [each for each in ties if point in (each.value.from_, each.value.to)]

    def reading(self) -> Kept:
        """Find the one tape that is meant."""
        asked, prompt = self.correction, self.prompt
        far = None if asked.from_ is None else prompt.known_name("--from", asked.from_)
        was = prompt.cell("--was", "distance", asked.was)
        prompt.stop()
        meant = [each for each in self.own if far is None or far in (each.value.from_, each.value.to)]
        said = [each for each in meant if was is None or _same(each.value, asked.was, was)]
        if len(said) == 1:
            return said[0]
        what = f"{shown(self.point)}" + ("" if far is None else f" from {shown(far)}")
        reading = "" if asked.was is None else f" that reads {shown(asked.was)}"
        listed = "; ".join(_words(each) for each in said or meant or self.own) or "nothing is taped to it"
        reason = f"{len(said)} readings of {what}{reading}" if said else f"no reading of {what}{reading}"
        prompt.refuse("the reading", reason, f"recorded: {listed}" + ("; tell them apart with --was" if said else ""))
        prompt.stop()
        raise AssertionError  # stop() has raised

    def corrected(self) -> Iterator[tuple[Kept, Tie]]:
        """Give each tape that changes and what it becomes; a side is of the point, so all that carry it change."""
        asked = self.correction
        changed: dict[int, tuple[Kept, Tie]] = {}
        if asked.from_ is not None or asked.side is None:
            kept = self.reading()
            changed[kept.entry_id] = (kept, self._rewritten(kept.value))
        if asked.side is not None:
            sided = [each for each in self.own if each.value.to == self.point]
            bearers = [each for each in sided if each.value.side is not None] or sided[:1]
            if not bearers:
                self.prompt.refuse("--side", f"nothing is taped to {shown(self.point)}", "tape it first")
                self.prompt.stop()
            side = self._side()
            for each in bearers:
                tie = changed.get(each.entry_id, (each, each.value))[1]
                changed[each.entry_id] = (each, replace(tie, side=side))
        found = [(kept, new) for kept, new in changed.values() if new != kept.value]
        if not found:
            self.prompt.refuse("the correction", "says what is recorded already", "say what was read instead")
        self.prompt.stop()
        yield from found

    def _rewritten(self, old: Tie) -> Tie:
        """Write a tape as it should have been, but for its side."""
        asked, prompt = self.correction, self.prompt
        far = old.from_ if old.to == self.point else old.to
        if asked.new_from is not None:
            far = prompt.known_name("--new-from", asked.new_from) or far
        if far == self.point:
            prompt.refuse("--new-from", f"a tape from {shown(far)} to itself", "name what it was taped from")
        reading = prompt.cell("--read", "distance", asked.read) or old.distance
        held = prompt.cell("--held", "held", asked.held) or old.held
        drop = prompt.drop(asked.drop, held, [reading]) if asked.drop is not None else old.drop
        prompt.stop()
        begin, end = (far, old.to) if old.to == self.point else (old.from_, far)
        return replace(old, from_=begin, to=end, distance=reading, held=held, drop=drop)

    def _side(self) -> Side | None:
        """Read the side of the point; those that it has now are what it replaces."""
        bare = (replace(tie, side=None) if tie.to == self.point else tie for tie in self.known.ties)
        without = Prompt(replace(self.known, ties=tuple(bare)))
        side = without.side(self.correction.side, self.point, [])
        without.stop()
        return side


def _same(tie: Tie, words: str | None, was: Any) -> bool:
    return tie.distance.as_read == words or abs(tie.distance.metres - was.metres) < 1e-9


def _words(kept: Kept) -> str:
    tie = kept.value
    place = kept.sheet if kept.row is None else f"{kept.sheet} row {kept.row}"
    note = "" if tie.note is None else f", {tie.note}"
    return f"{tie.from_} to {tie.to} {tie.distance.as_read} ({place}{note})"

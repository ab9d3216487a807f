"""What differs between sheets and what is recorded of the same property, row by row and in words."""

import difflib
from collections import defaultdict, deque
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from itertools import pairwise
from typing import Any, Protocol

from asbuilt.model.measurements import Side
from asbuilt.record.entries import Draft, Kept
from asbuilt.record.nouns import Noun
from asbuilt.units import Length


class SheetRow(Protocol):
    """One row of a field sheet that has become a value of the model."""

    @property
    def sheet(self) -> str:
        """Name of the file."""

    @property
    def row(self) -> int | None:
        """Line as a spreadsheet shows it; None where the sheet has no rows."""

    @property
    def value(self) -> Any:
        """The value of the model."""


@dataclass(frozen=True, slots=True)
class Change:
    """One row that differs: corrected, added (no `old`) or gone (no `new`)."""

    noun: Noun
    old: Kept | None
    new: SheetRow | None
    position: float | None = None  #: where the new row stands among those of its kind

    def draft(self) -> Draft:
        """Make the entry that records the change."""
        if self.new is not None:
            return Draft(self.noun, self.new.value, self.position, self.new.sheet, self.new.row, self.old)
        if self.old is None:
            raise ValueError("a change has a row before or a row after it")
        return Draft(self.noun, None, None, self.old.sheet, None, self.old)

    def lines(self) -> Iterator[str]:
        """Show the change: `-` as recorded, `+` as in the sheet; of a corrected row only what differs."""
        if self.old is not None and self.new is not None:
            before, after = words_of(self.old.value), words_of(self.new.value)
            differing = [name for name in before | after if before.get(name) != after.get(name)]
            for sign, row, words in (("-", self.old, before), ("+", self.new, after)):
                said = ", ".join(f"{name} {words.get(name, 'blank')}" for name in differing)
                yield f"{sign} {self._named(row)}: {said or 'its place in the order'}"
        elif self.old is not None:
            yield f"- {self._named(self.old)}"
        elif self.new is not None:
            said = ", ".join(f"{name} {word}" for name, word in words_of(self.new.value).items())
            yield f"+ {self._named(self.new)}: {said}"

    def _named(self, row: Kept | SheetRow) -> str:
        place = row.sheet if row.row is None else f"{row.sheet} row {row.row}"
        return f"{self.noun.title(row.value)} ({place})"


def compare(noun: Noun, old: Sequence[Kept], new: Sequence[SheetRow], *, ordered: bool) -> list[Change]:
    """Find the rows of one kind that differ.

    Parameters
    ----------
    noun
        The kind.
    old
        The rows that stand in the record, in their order.
    new
        The rows of the sheet, in their order.
    ordered
        True where the order means something: then a row at another place in it is a change too.

    Returns
    -------
    list of Change
        Empty where both say the same.
    """
    before, after = [kept.value for kept in old], [row.value for row in new]
    if before == after:
        return []
    blocks = difflib.SequenceMatcher(None, before, after, autojunk=False).get_matching_blocks()
    in_place = {at.b + i: at.a + i for at in blocks for i in range(at.size)}
    positions = _positions(len(new), {place: old[was].position for place, was in in_place.items()})
    if ordered and any(one >= other for one, other in pairwise(positions)):
        # No number is left between two rows after some fifty insertions there: all rows are numbered anew.
        in_place, positions = {}, _positions(len(new), {})
    left = [kept for place, kept in enumerate(old) if place not in set(in_place.values())]
    coming = [place for place in range(len(new)) if place not in in_place]
    if not ordered:
        left, coming = _without_equal(left, coming, after)
    return list(_paired(noun, left, [(new[place], positions[place]) for place in coming]))


def _without_equal(left: list[Kept], coming: list[int], after: list[Any]) -> tuple[list[Kept], list[int]]:
    """Take out rows that only moved."""
    moved: defaultdict[Any, deque[Kept]] = defaultdict(deque)
    for kept in left:
        moved[kept.value].append(kept)
    still = []
    for place in coming:
        if moved[after[place]]:
            moved[after[place]].popleft()
        else:
            still.append(place)
    ids = {kept.entry_id for queue in moved.values() for kept in queue}
    return [kept for kept in left if kept.entry_id in ids], still


def _paired(noun: Noun, left: list[Kept], coming: list[tuple[SheetRow, float]]) -> Iterator[Change]:
    """Pair rows that are gone with rows that are new by what they are about; the first with the first."""
    by_key: defaultdict[Hashable, deque[Kept]] = defaultdict(deque)
    for kept in left:
        by_key[noun.key(kept.value)].append(kept)
    for row, position in coming:
        same = by_key[noun.key(row.value)]
        yield Change(noun, same.popleft() if same else None, row, position)
    for queue in by_key.values():
        for kept in queue:
            yield Change(noun, kept, None)


def _positions(count: int, known: dict[int, float]) -> list[float]:
    """Give each of `count` rows a position: known ones keep theirs, the others are spread between them."""
    positions: list[float] = []
    places = sorted(known)
    for place in range(count):
        if place in known:
            positions.append(known[place])
            continue
        after = next((each for each in places if each > place), None)
        if not positions and after is None:
            positions.append(1.0)
        elif not positions and after is not None:
            positions.append(known[after] - (after - place))
        elif after is None:
            positions.append(positions[-1] + 1.0)
        else:
            positions.append(positions[-1] + (known[after] - positions[-1]) / (after - place + 1))
    return positions


def words_of(value: Any, prefix: str = "") -> dict[str, str]:
    """Write the fields that are not blank as a person reads them."""
    words: dict[str, str] = {}
    for field in fields(value):
        held = getattr(value, field.name)
        name = f"{prefix}{field.name.rstrip('_')}"
        if held is None or held is False:
            continue
        if isinstance(held, Length):
            words[name] = held.as_read
        elif is_dataclass(held) and not isinstance(held, Side):
            words |= words_of(held, f"{name} ")
        else:
            words[name] = "yes" if held is True else f"{held:g}" if isinstance(held, float) else str(held)
    return words

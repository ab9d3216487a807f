"""Two copies of one record held against each other, property by property: which of them knows more."""

from dataclasses import dataclass
from enum import StrEnum

from asbuilt.record.database import Record
from asbuilt.record.soundness import Head, read_heads


class Standing(StrEnum):
    """How the record stands to the other copy, as to one property."""

    SAME = "same"
    FURTHER = "further"  #: all entries of the other one, and more
    BEHIND = "behind"  #: the other one has all of its entries, and more
    APART = "apart"  #: different entries at the same place
    ONLY_HERE = "only here"
    ONLY_THERE = "only there"


@dataclass(frozen=True, slots=True)
class Compared:
    """One property in both copies."""

    name: str
    standing: Standing
    here: int  #: entries in the record
    there: int  #: entries in the other copy
    common: int  #: entries that both have alike, from the first on

    @property
    def only_here(self) -> int:
        """Entries of the record that the other copy does not have."""
        return self.here - self.common

    @property
    def only_there(self) -> int:
        """Entries of the other copy that the record does not have."""
        return self.there - self.common


def numbers(first: int, last: int) -> str:
    """Name entries by their numbers.

    Examples
    --------
    >>> numbers(3, 3), numbers(3, 5)
    ('entry 3', 'entries 3 to 5')
    """
    return f"entry {first}" if first == last else f"entries {first} to {last}"


def compare_records(here: Record, there: Record) -> list[Compared]:
    """Compare all properties of two copies, by name; a hash stands for all entries up to its own."""
    with here.read(), there.read():
        mine = {each.name: each for each in read_heads(here)}
        other = {each.name: each for each in read_heads(there)}
        return [_compare(here, there, mine.get(name), other.get(name)) for name in sorted(mine | other)]


def entry_hashes(record: Record, name: str) -> list[str]:
    """Give the hash of every entry of a property, in their order."""
    rows = record.connection.execute(
        "SELECT e.hash FROM entry e JOIN property p ON p.id = e.property_id WHERE p.name = ? ORDER BY e.seq", (name,)
    )
    return [row[0] for row in rows]


def _compare(here: Record, there: Record, mine: Head | None, other: Head | None) -> Compared:
    if mine is None or other is None:
        known = mine or other
        if known is None:
            raise ValueError("a property is in one of the two")
        only = Standing.ONLY_THERE if mine is None else Standing.ONLY_HERE
        counts = (0, known.entries) if mine is None else (known.entries, 0)
        return Compared(known.name, only, *counts, 0)
    if mine == other:
        return Compared(mine.name, Standing.SAME, mine.entries, other.entries, mine.entries)
    common = _common(entry_hashes(here, mine.name), entry_hashes(there, other.name))
    standing = Standing.APART
    if common == other.entries:
        standing = Standing.FURTHER
    elif common == mine.entries:
        standing = Standing.BEHIND
    return Compared(mine.name, standing, mine.entries, other.entries, common)


def _common(one: list[str], other: list[str]) -> int:
    # each hash is taken over the one before it, so the first that differs ends what both have
    pairs = enumerate(zip(one, other, strict=False))
    return next((place for place, (a, b) in pairs if a != b), min(len(one), len(other)))

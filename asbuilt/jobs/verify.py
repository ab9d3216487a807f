"""Verify a record: pages, tables, the chain of hashes, photos, due lists, and that the places come out again."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import AsbuiltError, RecordError
from asbuilt.jobs.due import reckon
from asbuilt.jobs.locate import locate
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.backups import all_photos, photo_home
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import Record, open_record
from asbuilt.record.due_state import kept_differs
from asbuilt.record.entries import read_property
from asbuilt.record.photos import photo_faults, photo_file
from asbuilt.record.soundness import SHORTEST, Head, file_faults, find_hash, mark_of, read_heads
from asbuilt.record.witness import Compared, Standing, compare_records, numbers

RECORD = "record"
"""Stands in the place of the property in faults of the file as such."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is not as it must be."""

    where: str  #: the property, or record
    what: str
    message: str

    def as_json(self) -> dict[str, str]:
        """Give the fault as plain JSON values."""
        return {"where": self.where, "what": self.what, "message": self.message}


@dataclass(frozen=True, slots=True)
class Verified:
    """What was looked at, and what is not as it must be."""

    heads: tuple[Head, ...]
    mark: str  #: one hash for the whole record
    photos: int
    positions: int  #: points that came out again
    faults: tuple[Fault, ...]
    witnessed: tuple[str, ...]  #: what hashes noted elsewhere and the other copy bear out


def verify(
    record_file: Path, *, quick: bool = False, noted: Sequence[str] = (), against: Path | None = None
) -> Verified:
    """Look at all of a record; nothing of it is changed.

    Parameters
    ----------
    quick
        Leave out what takes long: indexes against tables, the bytes of the photos, the due list, the places.
    noted
        Hashes that were noted outside of the record; each must be found in it.
    against
        Another copy, such as a backup: the record must hold all of its entries.

    Raises
    ------
    RecordError
        If the file cannot be opened at all, or a noted hash is none.
    """
    for digits in noted:
        _refuse_no_hash(digits)
    with open_record(record_file, read_only=True) as record:
        look = _Look(record, record_file, quick=quick)
        try:
            with record.read():
                look.at_properties()
                look.at_photos()
                for digits in noted:
                    look.for_hash(digits)
                if against is not None:
                    look.against(against)
        except RecordError as error:  # a page that is damaged
            look.add(RECORD, "file", f"not all could be read: {error}")
    return look.result()


class _Look:
    """One look at a record, gathering what is found."""

    def __init__(self, record: Record, record_file: Path, *, quick: bool) -> None:
        self.record, self.record_file, self.quick = record, record_file, quick
        self.faults = [Fault(RECORD, "file", each) for each in file_faults(record, quick=quick)]
        self.heads: list[Head] = []
        self.photos = 0
        self.positions = 0
        self.witnessed: list[str] = []

    def add(self, where: str, what: str, message: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(where, what, message))

    def result(self) -> Verified:
        """Give all that was found."""
        mark = mark_of(self.heads)
        return Verified(tuple(self.heads), mark, self.photos, self.positions, tuple(self.faults), tuple(self.witnessed))

    def at_properties(self) -> None:
        """Look at the chain of each property, and at what follows from its entries where that is sound."""
        self.heads = read_heads(self.record)
        for head in self.heads:
            broken = verify_chain(self.record, head.name)
            for message in broken:
                self.add(head.name, "chain", message)
            if not broken and not self.quick:
                self._reckon_again(head.name)

    def _reckon_again(self, name: str) -> None:
        """Read a property twice and solve it twice: the same places must come out, and numbers they must be."""
        try:
            known = read_property(self.record, name)
            places, again = _places(known), _places(read_property(self.record, name))
        except (AsbuiltError, ValueError, TypeError) as error:
            self.add(name, "places", f"it can no longer be read and solved: {error}")
            return
        for point, place in places.items():
            if again.get(point) != place:
                self.add(name, "places", f"{point} does not come out at the same place a second time")
            if not all(map(math.isfinite, place)):
                self.add(name, "places", f"{point} comes out at no finite place")
        if kept_differs(self.record, known, reckon):
            self.add(name, "due", "the kept due list is not what its entries give; `asbuilt due --rebuild`")
        self.positions += len(places)

    def at_photos(self) -> None:
        """Look whether each photo that an entry names is there as it was kept."""
        try:
            photos = all_photos(self.record)
        except (ValueError, TypeError) as error:
            self.add(RECORD, "photo", f"the photos can no longer be read: {error}")
            return
        home = photo_home(self.record_file)
        places = (photo_file(home, each) for each in photos)
        gone = [f"{place} is missing" for place in places if self.quick and not place.is_file()]
        for message in gone if self.quick else photo_faults(home, photos):
            self.add(RECORD, "photo", message)
        self.photos = len(photos)

    def for_hash(self, digits: str) -> None:
        """Look for a hash that was noted elsewhere."""
        digits = digits.lower()
        if mark_of(self.heads).startswith(digits):
            self.witnessed.append(f"{digits}: the mark of the whole record as it is now")
            return
        found = find_hash(self.record, digits)
        if found is None:
            message = f"no entry has the hash {digits}: what was noted is no longer in the record"
            self.add(RECORD, "witness", message)
            return
        name, number, at = found
        place = f"entry {number} of {name}, made {at[:16]} UTC"
        self.witnessed.append(f"{digits}: {place}; all its entries up to there are as they were")

    def against(self, path: Path) -> None:
        """Look whether all entries of another copy are in the record."""
        with open_record(path, read_only=True) as other:
            compared = compare_records(self.record, other)
        lacking = [each for each in compared if each.only_there]
        for each in lacking:
            self.add(each.name, "witness", _lacks(each, path))
        if not lacking:
            count = sum(each.there for each in compared)
            self.witnessed.append(f"{path}: all of its {count} entries are in the record as they were")


def _places(known: PropertyRecord) -> dict[str, tuple[float, ...]]:
    solution = locate(known).solution
    return {
        each.name: (float(each.place[0]), float(each.place[1]), float(each.r95_m or 0.0))
        for each in (*solution.references, *solution.points)
        if each.place is not None
    }


def _refuse_no_hash(digits: str) -> None:
    if not SHORTEST <= len(digits) <= 64 or set(digits.lower()) - set("0123456789abcdef"):
        raise RecordError(f"--head {digits}: this is no hash; accepted: {SHORTEST} to 64 digits 0-9 and a-f")


def _lacks(each: Compared, against: Path) -> str:
    if each.standing is Standing.ONLY_THERE:
        return f"{against} has this property with {each.there} entries, and the record has none of it"
    if each.standing is Standing.APART:
        return f"from entry {each.common + 1} on the record says otherwise than {against}"
    return f"{numbers(each.common + 1, each.there)} of {against}: not in the record"

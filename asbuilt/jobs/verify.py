"""Verify a record: pages, tables, the chain of hashes, photos, due lists, and that the places come out again."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import AsbuiltError, RecordError, SheetError
from asbuilt.jobs.due import reckon
from asbuilt.jobs.locate import locate
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.backups import all_photos, photo_home
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import Record, open_record
from asbuilt.record.due_state import kept_differs
from asbuilt.record.entries import read_property
from asbuilt.record.photos import photo_faults, photo_file
from asbuilt.record.sheets.again import read_again
from asbuilt.record.soundness import SHORTEST, Head, file_faults, find_hash, mark_of, read_heads
from asbuilt.record.witness import Compared, Standing, compare_records, numbers

RECORD = "record"
"""Stands in the place of the property in faults of the file as such."""

MOST_SOLVED = 200
"""Properties that are solved where nobody asks for all; a choice: half a minute, at about 0.15 s each."""

SAME_M = 1e-6
"""Within how much a place must come out again, metres: far below any reading, far above rounding."""


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
    solved: int  #: properties solved twice: as recorded, and from their sheets written out and read again
    positions: int  #: places of theirs that were held against each other
    not_written: tuple[str, ...]  #: properties solved once only, with the reason: their sheets could not be read again
    faults: tuple[Fault, ...]
    witnessed: tuple[str, ...]  #: what hashes noted elsewhere and the other copy bear out


def verify(
    record_file: Path,
    *,
    quick: bool = False,
    every: bool = False,
    noted: Sequence[str] = (),
    against: Path | None = None,
) -> Verified:
    """Look at all of a record; nothing of it is changed.

    Parameters
    ----------
    quick
        Leave out what takes long: indexes against tables, the bytes of the photos, the due list, the places.
    every
        Reckon the places of every property; else of `MOST_SOLVED`, spread evenly over their names.
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
        look = _Look(record, record_file, quick=quick, every=every)
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

    def __init__(self, record: Record, record_file: Path, *, quick: bool, every: bool) -> None:
        self.record, self.record_file, self.quick, self.every = record, record_file, quick, every
        self.faults = [Fault(RECORD, "file", each) for each in file_faults(record, quick=quick)]
        self.heads: list[Head] = []
        self.photos = 0
        self.solved = self.positions = 0
        self.not_written: list[str] = []
        self.witnessed: list[str] = []

    def add(self, where: str, what: str, message: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(where, what, message))

    def result(self) -> Verified:
        """Give all that was found."""
        return Verified(
            tuple(self.heads),
            mark_of(self.heads),
            self.photos,
            self.solved,
            self.positions,
            tuple(self.not_written),
            tuple(self.faults),
            tuple(self.witnessed),
        )

    def at_properties(self) -> None:
        """Look at the chain of each property, and at what follows from its entries where that is sound."""
        self.heads = read_heads(self.record)
        step = 1.0 if self.every else max(1.0, len(self.heads) / MOST_SOLVED)
        chosen = {int(number * step) for number in range(math.ceil(len(self.heads) / step))}
        for place, head in enumerate(self.heads):
            broken = verify_chain(self.record, head.name)
            for message in broken:
                self.add(head.name, "chain", message)
            if not broken and not self.quick:
                self._at_what_follows(head.name, solve=place in chosen)

    def _at_what_follows(self, name: str, *, solve: bool) -> None:
        """Look at the kept due list of a property, and whether its places come out of its measurements again."""
        try:
            known = read_property(self.record, name)
            if solve:
                self._reckon_again(name, known)
        except (AsbuiltError, ValueError, TypeError) as error:
            self.add(name, "places", f"it can no longer be read and solved: {error}")
            return
        if kept_differs(self.record, known, reckon):
            self.add(name, "due", "the kept due list is not what its entries give; `asbuilt due --rebuild`")

    def _reckon_again(self, name: str, known: PropertyRecord) -> None:
        """Solve a property as recorded, and from its field sheets written out and read again; hold the places together.

        Sheets know nothing of this file, so what is compared are the measurements as a person could write them down.
        """
        places = _places(known)
        for point, place in places.items():
            if not all(map(math.isfinite, place)):
                self.add(name, "places", f"{point} comes out at no finite place")
        try:
            again = _places(read_again(known))
        except SheetError as error:
            more = "" if len(error.problems) == 1 else f" (and {len(error.problems) - 1} more)"
            self.not_written.append(f"{name}: {error.problems[0]}{more}")
            return
        for point in sorted(places.keys() | again.keys()):
            said = _apart(places.get(point), again.get(point))
            if said is not None:
                self.add(name, "places", f"{point}: {said} when its field sheets are written out and read again")
        self.solved += 1
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


def _places(known: PropertyRecord) -> dict[str, tuple[float, float, float]]:
    """Give east, north and the 95 % radius of everything that has a place, metres."""
    solution = locate(known).solution
    return {
        each.name: (float(each.place[0]), float(each.place[1]), float(each.r95_m or 0.0))
        for each in (*solution.references, *solution.points)
        if each.place is not None
    }


def _apart(place: tuple[float, ...] | None, again: tuple[float, ...] | None) -> str | None:
    """Say how a place does not come out again; None = it does."""
    if place is None or again is None:
        return "it has a place only" if place is None else "it has no place any more"
    distance = math.dist(place[:2], again[:2])
    return None if distance <= SAME_M else f"it comes out {distance:.6f} m away"


def _refuse_no_hash(digits: str) -> None:
    if not SHORTEST <= len(digits) <= 64 or set(digits.lower()) - set("0123456789abcdef"):
        raise RecordError(f"--head {digits}: this is no hash; accepted: {SHORTEST} to 64 digits 0-9 and a-f")


def _lacks(each: Compared, against: Path) -> str:
    if each.standing is Standing.ONLY_THERE:
        return f"{against} has this property with {each.there} entries, and the record has none of it"
    if each.standing is Standing.APART:
        return f"from entry {each.common + 1} on the record says otherwise than {against}"
    return f"{numbers(each.common + 1, each.there)} of {against}: not in the record"

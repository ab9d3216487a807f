"""Load an office's cards: each read, located beside many others, stored in batches; bad ones are set aside."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import TypeVar

from asbuilt.errors import AsbuiltError, Problem
from asbuilt.findings import Finding, Severity
from asbuilt.jobs.due import reckon
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.files import refuse_existing, write_whole
from asbuilt.record.cards.file import read_cards, rejects_text
from asbuilt.record.cards.mapping import card_map, read_map
from asbuilt.record.cards.reading import BadCard, Card, CardReader, cards_of
from asbuilt.record.database import Record, open_record
from asbuilt.record.due_state import keep_due_of
from asbuilt.record.entries import Action, property_id, read_property
from asbuilt.record.loading import store_new
from asbuilt.record.photos import keep_bytes
from asbuilt.record.sheets.read import SheetSet
from asbuilt.survey.azimuth import wall_azimuth
from asbuilt.survey.batch_cards import Doubtful, is_simple, look_at_many
from asbuilt.survey.batch_networks import solve_many
from asbuilt.survey.coordinates import known_places
from asbuilt.survey.joint import Joint
from asbuilt.survey.quality import chi2_quantile

_T = TypeVar("_T")

BATCH = 200
"""Cards in one transaction: others that write wait for half a second, and a kill costs no more work than that."""

_DOUBTS = {
    "tapes-do-not-meet": "the tapes to {} do not meet",
    "open-mirror": "{} fits two places; note on which side of the wall it lies",
    "tapes-disagree": "the tapes to {} disagree by more than their accuracy allows",
}
_IMPOSSIBLE = "impossible-tape"


@dataclass(slots=True)
class CardsLoaded:
    """What loading the cards did."""

    cards: int = 0
    stored: int = 0
    already: int = 0  #: recorded before, and saying the same
    set_aside: list[BadCard] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)  #: what needs a look at cards that were stored


@dataclass(frozen=True, slots=True)
class _Good:
    """A card that makes a property."""

    card: Card
    sheets: SheetSet

    @property
    def name(self) -> str:
        return self.sheets.record.property.name

    def bad(self, file: str, reason: str, accepted: str) -> BadCard:
        return BadCard(self.card, (Problem(file, self.card.row, None, reason, accepted),), self.name)


def load_cards(
    record_file: Path,
    cards_file: Path,
    map_file: Path,
    *,
    who: str,
    now: datetime,
    resume: bool = False,
    rejects: Path | None = None,
    overwrite: bool = False,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> CardsLoaded:
    """Store the properties of an office's cards; a bad card costs nothing but itself.

    Parameters
    ----------
    resume
        Pass over cards that are recorded already and say the same; else they are set aside.
    rejects
        Where the cards set aside are written, with their reasons; None = nowhere.
    overwrite
        Whether that file may be replaced.
    progress
        Called now and then with the cards done and the number of all.

    Raises
    ------
    CardsError
        If the map or the file of cards is wrong: then nothing is stored.
    RecordError
        If the record cannot be written; batches that were stored before stay.
    """
    if rejects is not None:
        refuse_existing(rejects, overwrite=overwrite)
    content = read_map(map_file)
    found = CardsLoaded()
    table = read_cards(cards_file, content, found.notes)
    mapped = card_map(map_file.name, content, table, cards_file.name)
    reader = CardReader(cards_file.name, table, mapped, map_file.parent)
    cards = list(cards_of(table, mapped))
    found.cards = len(cards)
    rows_of_names: dict[str, int] = {}
    with open_record(record_file, create=True) as record:
        for done, batch in enumerate(_batches(cards)):
            good = _read(reader, batch, rows_of_names, found)
            good = _not_recorded(record, cards_file.name, good, resume, found)
            good = _located(cards_file.name, good, found)
            _store(record, cards_file.name, good, Action(who, now), found)
            progress(min((done + 1) * BATCH, len(cards)), len(cards))
    if rejects is not None and found.set_aside:
        write_whole(rejects, rejects_text(table, found.set_aside), overwrite=overwrite, private=True)
    return found


def _batches(cards: Iterable[Card]) -> Iterator[list[Card]]:
    left = iter(cards)
    while batch := list(islice(left, BATCH)):
        yield batch


def _read(reader: CardReader, batch: Sequence[Card], rows_of_names: dict[str, int], found: CardsLoaded) -> list[_Good]:
    """Read cards; set aside bad ones, and each that has the name of an earlier one."""
    good = []
    for card in batch:
        read = reader.read(card)
        if isinstance(read, BadCard):
            found.set_aside.append(read)
            continue
        one = _Good(card, read)
        earlier = rows_of_names.setdefault(one.name, card.row)
        if earlier != card.row:
            reason = f"makes {one.name!r} as row {earlier} does"
            accepted = "give each card its own name, or tell the map the key of rows that belong together"
            found.set_aside.append(one.bad(reader.file, reason, accepted))
        else:
            good.append(one)
    return good


def _not_recorded(record: Record, file: str, good: Sequence[_Good], resume: bool, found: CardsLoaded) -> list[_Good]:
    """Pass over what is recorded; set aside what is recorded otherwise."""
    new = []
    with record.read():
        for one in good:
            if property_id(record, one.name) is None:
                new.append(one)
            elif not resume:
                accepted = "--resume passes over cards that are recorded and say the same"
                found.set_aside.append(one.bad(file, f"{one.name!r} is in the record already", accepted))
            elif read_property(record, one.name) == one.sheets.record:
                found.already += 1
            else:
                reason = f"{one.name!r} is recorded otherwise"
                accepted = "mend the record with `asbuilt correct`, or load sheets of it with --supersede REASON"
                found.set_aside.append(one.bad(file, reason, accepted))
    return new


def _located(file: str, good: Sequence[_Good], found: CardsLoaded) -> list[_Good]:
    """Locate many cards at once; set aside what cannot be, and note what needs a look."""
    simple = [is_simple(one.sheets.record) for one in good]
    looks = iter(_one_by_one(look_at_many, [one.sheets.record for one, each in zip(good, simple, strict=True) if each]))
    joints = iter(_one_by_one(_solved, [one.sheets.record for one, each in zip(good, simple, strict=True) if not each]))
    kept = []
    for one, each in zip(good, simple, strict=True):
        refused, notes = _of_look(one, next(looks), file) if each else _of_joint(one, next(joints), file)
        if refused:
            found.set_aside.append(one.bad(file, refused, "mend the card"))
        else:
            kept.append(one)
            found.notes += notes
    return kept


def _one_by_one(
    what: Callable[[Sequence[PropertyRecord]], Sequence[_T]], records: Sequence[PropertyRecord]
) -> list[_T | AsbuiltError]:
    """Do something with many properties at once; where one of them cannot be, with each by itself."""
    try:
        return list(what(records)) if records else []
    except AsbuiltError as error:
        if len(records) == 1:
            return [error]
        return [found for each in records for found in _one_by_one(what, [each])]


def _solved(records: Sequence[PropertyRecord]) -> list[Joint]:
    return solve_many(records, [_azimuth(each) for each in records])


def _azimuth(record: PropertyRecord) -> float | None:
    if record.property.earth is None:
        return None
    known = known_places(record)[0]
    azimuth = wall_azimuth(record.property, (known[0].longitude, known[0].latitude) if known else None)[0]
    return None if azimuth is None else azimuth.degrees


def _of_look(one: _Good, look: list[Doubtful] | AsbuiltError, file: str) -> tuple[str, list[Finding]]:
    """Say why a card is refused, "" = it is not, and what somebody should look at."""
    if isinstance(look, AsbuiltError):
        return str(look), []
    impossible = [each.point for each in look if each.code == _IMPOSSIBLE]
    if impossible:
        return f"a tape to {impossible[0]} is not longer than its drop", []
    return "", [_note(one, file, each.code, each.point) for each in look]


def _of_joint(one: _Good, joint: Joint | AsbuiltError, file: str) -> tuple[str, list[Finding]]:
    """As `_of_look`, for a property that was solved as a whole."""
    if isinstance(joint, AsbuiltError):
        return str(joint), []
    refused = [*joint.findings, *known_places(one.sheets.record)[1]]
    words = " ".join(each.sentence() for each in refused if each.severity is Severity.REFUSED)
    names = joint.observations.names
    doubts = joint.network.doubts.items()
    notes = [_note(one, file, doubt.code, names[node]) for node, doubt in doubts if doubt.code in _DOUBTS]
    fit = joint.fit
    if fit is not None and fit.degrees_of_freedom > 0 and fit.chi2 > chi2_quantile(0.999, fit.degrees_of_freedom):
        notes.append(_note(one, file, "tapes-disagree", "its points"))
    return words, notes


def _note(one: _Good, file: str, code: str, point: str) -> Finding:
    message = f"{file} row {one.card.row}, {one.name}: {_DOUBTS[code].format(point)}."
    return Finding(code, one.name, message, Severity.ATTENTION)


def _store(record: Record, file: str, good: Sequence[_Good], action: Action, found: CardsLoaded) -> None:
    """Store one batch in one transaction; photos that its cards name are kept before."""
    if not good:
        return
    for one in good:
        for photo in one.sheets.photos:
            keep_bytes(record.path, photo.content(), photo.photo.form)
    with record.write():
        new = []
        for one in good:
            if property_id(record, one.name) is None:
                new.append(one)
            else:  # somebody else stored it a moment ago
                reason = f"{one.name!r} is in the record already"
                found.set_aside.append(one.bad(file, reason, "look at what is recorded"))
        store_new(record, [one.sheets.rows for one in new], action)
        for one in new:
            keep_due_of(record, one.sheets.record, reckon)
    found.stored += len(new)

"""Record one service: an entry typed in, added to the record with the due list that follows, or withdrawn again."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from asbuilt.errors import AsbuiltError, RecordError, UnknownNameError
from asbuilt.findings import Finding
from asbuilt.jobs.due import dues_of, reckon
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import Record, open_record
from asbuilt.record.due_state import keep_due
from asbuilt.record.entries import (
    TYPED,
    Action,
    Draft,
    Kept,
    add_entries,
    current_rows,
    property_id,
    read_property,
    unknown_property,
)
from asbuilt.record.nouns import NOUN_OF_KIND
from asbuilt.record.profiles import profile_of
from asbuilt.record.sheets.cells import CellError, did_you_mean, shown
from asbuilt.record.sheets.columns import SHEETS
from asbuilt.rules.profile import RecordItem
from asbuilt.service.due import Due
from asbuilt.service.pumping import ALL_TANKS, is_septic_tank

_COLUMNS = {column.name: column for column in SHEETS["service.csv"] if column.name in ServiceEntry.__slots__}


class AnswerError(AsbuiltError, ValueError):
    """An answer that cannot be taken; names the option it was given by."""


@dataclass(frozen=True, slots=True)
class Place:
    """What one must know of a property to record a service there."""

    name: str
    units: str
    components: tuple[str, ...]  #: those in the ground first
    tanks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Numbered:
    """One service entry that stands, with the number that undoes it."""

    number: int
    entry: ServiceEntry


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was recorded, and what follows from it."""

    property: str
    number: int
    entry: ServiceEntry
    dues: tuple[Due, ...]  #: what is next due on the components it was about
    findings: tuple[Finding, ...]  #: about them
    missing: tuple[RecordItem, ...]  #: what a published rule wants recorded besides


def place_of(record_file: Path, name: str) -> Place:
    """Look a property up; UnknownNameError where there is none of that name."""
    with open_record(record_file, read_only=True) as record:
        known = read_property(record, name)
    standing = [each for each in known.components if each.removed_on is None]
    named = [*(each.name for each in standing), *(each.name for each in known.components)]
    named += [point.component for point in known.points]
    tanks = tuple(each.name for each in standing if is_septic_tank(each))
    return Place(name, known.property.units, tuple(dict.fromkeys(named)), tanks)


def read_answer(place: Place, column: str, words: str, today: date) -> object:
    """Read one answer as the cell of `service.csv` of that column is read.

    Raises
    ------
    AnswerError
        With what is wrong and what is accepted, under the name of its option.
    """
    option = f"--{column.replace('_', '-')}"
    try:
        value = _COLUMNS[column].parse(words.strip(), place.units)
    except CellError as error:
        raise AnswerError(f"{option}: {error}") from None
    if column == "on" and isinstance(value, date) and value > today:
        raise AnswerError(f"{option}: {shown(words)} lies in the future; accepted: a day up to {today.isoformat()}")
    if column == "component" and value not in place.components:
        accepted = did_you_mean(str(value), place.components, f"accepted: {', '.join(place.components)}")
        raise AnswerError(f"{option}: {shown(words)} is no component of {place.name}; {accepted}")
    if column == "tanks" and words.strip().casefold() not in ALL_TANKS:
        for tank in (part.strip() for part in words.split(",")):
            if tank not in place.tanks:
                accepted = f"accepted: {', '.join([*place.tanks, *ALL_TANKS])}"
                raise AnswerError(f"{option}: {shown(tank)} is no septic tank of {place.name}; {accepted}")
    return value


def read_entry(place: Place, answers: Mapping[str, str], today: date) -> ServiceEntry:
    """Make an entry from answers by column; blank ones are left out.

    Raises
    ------
    AnswerError
        With every answer that cannot be taken, and those that are needed and missing.
    """
    values: dict[str, Any] = {}
    wrong: list[str] = []
    given = {column: words for column, words in answers.items() if words.strip()}
    for column, words in given.items():
        try:
            values[column] = read_answer(place, column, words, today)
        except AnswerError as error:
            wrong.append(str(error))
    missing = [f"--{name}" for name in ("on", "component", "task") if name not in given]
    if missing:
        wrong.append(f"{' and '.join(missing)}: missing; a service entry has at least a day, a component and a task")
    if wrong:
        head = [f"{len(wrong)} problems in what was typed"] if len(wrong) > 1 else []
        raise AnswerError("\n".join([*head, *wrong]))
    return ServiceEntry(**values)


def add_service(record_file: Path, name: str, entry: ServiceEntry, *, who: str, now: datetime) -> Recorded:
    """Add one entry, and with it the due list that follows from it, in one transaction.

    Raises
    ------
    UnknownNameError
        If there is no such property.
    RecordError
        If the very same entry stands already, or the record cannot be written. Nothing was stored.
    """
    with open_record(record_file) as record, record.write():
        standing = _standing(record, name)
        same = next((kept.seq for kept in standing if kept.value == entry), None)
        if same is not None:
            raise RecordError(f"{name}: the same service stands already as entry {same}; nothing was stored")
        position = max((kept.position for kept in standing), default=0.0) + 1.0
        add_entries(record, name, [Draft(NOUN_OF_KIND["service"], entry, position, TYPED, None)], Action(who, now))
        keep_due(record, name, reckon)
        number = max(kept.seq for kept in _standing(record, name))
        known = read_property(record, name)
    return _recorded(known, number, entry, now.date())


def undo_service(record_file: Path, name: str, number: int, *, reason: str, who: str, now: datetime) -> ServiceEntry:
    """Withdraw one entry by an entry that supersedes it; the withdrawn one stays readable.

    Raises
    ------
    UnknownNameError
        If there is no such property, or no service entry of that number stands.
    RecordError
        If the reason is blank, or the record cannot be written. Nothing was stored.
    """
    if not reason.strip():
        raise RecordError("the reason for undoing is blank; accepted: a few words, such as 'wrong property'")
    with open_record(record_file) as record, record.write():
        standing = _standing(record, name)
        kept = next((each for each in standing if each.seq == number), None)
        if kept is None:
            numbers = ", ".join(str(each.seq) for each in standing[-10:]) or "none"
            raise UnknownNameError(f"{name}: no service entry {number} stands; the last ones: {numbers}")
        draft = Draft(NOUN_OF_KIND["service"], None, None, kept.sheet, None, kept)
        add_entries(record, name, [draft], Action(who, now, reason))
        keep_due(record, name, reckon)
    entry: ServiceEntry = kept.value
    return entry


def service_entries(record_file: Path, name: str) -> list[Numbered]:
    """Give the service entries of a property that stand, in the order of their days."""
    with open_record(record_file, read_only=True) as record:
        standing = _standing(record, name)
    return sorted((Numbered(kept.seq, kept.value) for kept in standing), key=lambda each: (each.entry.on, each.number))


def _standing(record: Record, name: str) -> list[Kept]:
    number = property_id(record, name)
    if number is None:
        raise unknown_property(record, name)
    return current_rows(record, number)["service"]


def _recorded(known: PropertyRecord, number: int, entry: ServiceEntry, today: date) -> Recorded:
    dues, findings = dues_of(known, today)
    about = {entry.component, *(part.strip() for part in (entry.tanks or "").split(","))}
    items = [item for item in profile_of(known).record_items if item.task == entry.task]
    missing = [item for item in items if all(getattr(entry, field) is None for field in item.fields)]
    return Recorded(
        known.property.name,
        number,
        entry,
        tuple(due for due in dues if due.component in about),
        tuple(finding for finding in findings if finding.subject in about),
        tuple(missing),
    )

"""A whole property with hostile words in every text field of the model, put into a record behind the sheets' back.

The fields are found by reflection over `PropertyRecord`, so that one that is added later takes part by itself. Three
kinds are told apart: names, which other rows repeat, are exchanged everywhere at once; words of a closed list and texts
that the survey or the schedule read (`READ`) stay as they are, for without them there would be nothing to print; all
others are free text, also where the sample leaves them blank.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, get_args, get_origin, get_type_hints

from asbuilt.errors import Problem
from asbuilt.model.measurements import KnownCoordinate
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.sightings import Sighting
from asbuilt.record.database import open_record
from asbuilt.record.entries import Action, Draft, add_entries
from asbuilt.record.nouns import NOUNS
from asbuilt.record.sheets import cells
from asbuilt.record.sheets.read import read_sheets
from asbuilt.units import Length
from tests.commands import SAMPLE
from tests.hostile import HOSTILE, LONG, WORDS

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)

NAMES = {
    *("ReferencePoint.name", "Component.name", "Component.replaces", "Component.follows"),
    *("Point.component", "Tie.from_", "Tie.to", "Offset.wall_from", "Offset.wall_to", "Offset.point"),
    *("Wall.from_", "Wall.to", "Side.a", "Side.b", "KnownCoordinate.point", "Earth.reference", "Earth.wall_from"),
    *("Earth.wall_to", "Benchmark.on", "LevelShot.on", "LevelShot.setup", "Access.truck", "Photo.of"),
    *("Sighting.point", "Sighting.from1", "Sighting.from2", "ServiceEntry.component", "OwnTask.component"),
    *("SiteReading.component", "Point.point", "Household.building"),
}
"""Fields that hold a name which stands in other rows too."""

READ = {
    "Property.units": "a closed list",
    "Property.rules": "the name of a rule profile",
    "Measured.care": "a closed list",
    "Earth.north": "a closed list",
    "Inspection.state": "a closed list",
    "Wall.turn": "read by the sheets",
    "Side.word": "a closed list",
    "Tie.held": "a closed list",
    "Offset.hand": "a closed list",
    "Point.depth_to": "a closed list",
    "Point.known_by": "a closed list",
    "Point.pin": "a closed list",
    "Component.shape": "a closed list",
    "Component.form": "a closed list",
    "Component.compartments": "gallons by name",
    "Component.pipe": "a size of pipe",
    "ServiceEntry.evidence": "a closed list",
    "ServiceEntry.lid": "a closed list",
    "ServiceEntry.tanks": "names of tanks with commas",
    "LevelShot.to": "a closed list",
    "OwnTask.source": "a closed list",
    "OwnTask.preferred_months": "months",
    "SiteReading.reading": "a closed list",
    "SiteReading.unit": "a closed list",
    "Photo.sha256": "the photo's file is found by it",
    "Photo.form": "a closed list",
    "RuleFile.name": "named by property.toml",
    "RuleFile.text": "TOML, read whole",
}
"""Fields whose words the program reads. That nothing else gets into them is tested in its own test."""

KINDS_KEPT = {"septic tank", "pump tank", "lateral", "control panel", "transport line"}
"""Kinds of components from which sheets and reckonings are made; the others get hostile kinds."""

TASKS_KEPT = {"pump-out"}
"""Without a pump-out nothing would fall due; the other tasks get hostile names."""


@cache
def text_fields() -> dict[str, tuple[type, str]]:
    """Give every text field of the model as `Class.field`."""
    found: dict[str, tuple[type, str]] = {}
    waiting, seen = [PropertyRecord], set[type]()
    while waiting:
        cls = waiting.pop()
        if cls in seen:
            continue
        seen.add(cls)
        hints = get_type_hints(cls)
        for field in fields(cls):
            for kind in _kinds(hints[field.name]):
                if kind is str:
                    found[f"{cls.__name__}.{field.name}"] = (cls, field.name)
                elif isinstance(kind, type) and is_dataclass(kind):
                    waiting.append(kind)
    return dict(sorted(found.items()))


def _kinds(hint: Any) -> Iterator[Any]:
    if get_origin(hint) in (UnionType, tuple) or get_args(hint):
        for each in get_args(hint):
            if each not in (NoneType, Ellipsis):
                yield from _kinds(each)
    else:
        yield hint


def free_fields() -> tuple[str, ...]:
    """Give the fields that take any words."""
    return tuple(name for name in text_fields() if name not in NAMES and name not in READ)


LEFT_OUT = ("lateral 2", "lateral 3", "lateral 4", "manifold", "inspection port", "water line", "reserve area")
"""Components of the sample that bring nothing new: the fewer points, the faster."""


@cache
def sample() -> PropertyRecord:
    """Give a part of the sample property, with a row in every table."""
    values: dict[str, list[Any]] = {noun.field: [] for noun in NOUNS}
    by_class = {noun.cls: noun.field for noun in NOUNS}
    for row in read_sheets(SAMPLE).rows:
        if not any(name.startswith(LEFT_OUT) for name in _names_in(row.value)):
            values[by_class[type(row.value)]].append(row.value)
    place = values.pop("property")[0]
    off = Length('2"', 0.0508, 0.0254)
    seen = Sighting(date(2026, 4, 18), "septic tank/inlet lid", "NE corner", None, "wing corner", None, off, "north")
    values["sightings"].append(seen)
    values["known_coordinates"].append(KnownCoordinate("SW corner", 42.5282927, -118.4551996, 3.0))
    values["left_out"].append(Problem("points.csv", 3, "tape1", "it cannot be read", "accepted: a length"))
    return PropertyRecord(property=place, **{key: tuple(rows) for key, rows in values.items()})


def _names_in(value: Any) -> Iterator[str]:
    for field in fields(value):
        held = getattr(value, field.name)
        if is_dataclass(held) and not isinstance(held, type):
            yield from _names_in(held)
        elif isinstance(held, str) and f"{type(value).__name__}.{field.name}" in NAMES - {"Point.point"}:
            yield held


@dataclass(frozen=True)
class Poison:
    """Which words stand where: field number n gets text number n + turn, and each row another one."""

    turn: int
    words: tuple[str, ...] = HOSTILE
    names: tuple[str, ...] = HOSTILE

    def free(self, field: str, row: int) -> str:
        """Give the words of a free field."""
        return self.words[(free_fields().index(field) + self.turn + row * 7) % len(self.words)]

    def name(self, name: str) -> str:
        """Give the words in the place of a name; the name itself behind them keeps names apart, and a lid a lid."""
        words = self.names[(names_of_sample().index(name) + self.turn) % len(self.names)]
        return f"{words if words not in LONG else words[:80]} {name}"  # the sheets take no longer name


class Harmless(Poison):
    """Plain words of its own for each text: what an output shows of them it must show of hostile ones too."""

    def free(self, field: str, row: int) -> str:
        """Give words that name the field and the row in letters."""
        return f"plain {field.replace('.', ' ').replace('_', ' ').lower()} {_letters(row)}"

    def name(self, name: str) -> str:
        """Give the name with a plain word of its own before it."""
        return f"plain{_letters(names_of_sample().index(name))} {name}"


def _letters(number: int) -> str:
    """Give two letters for a number, so that no text is the beginning of another."""
    return "".join(chr(ord("a") + digit) for digit in divmod(number, 26))


@cache
def accepted_names() -> tuple[str, ...]:
    """Give the hostile words that the sheets and the command line take as the beginning of a name."""
    parse, taken = cells.name(), []
    for words in WORDS:
        try:
            if parse(f"{words} inlet lid", None) == f"{words} inlet lid" and len(words) < 60 and "/" not in words:
                taken.append(words)
        except cells.CellError:
            continue
    return tuple(taken)


@cache
def names_of_sample() -> tuple[str, ...]:
    """Give every name in the sample, each once; a full name counts as its two parts."""
    known = sample()
    names: dict[str, None] = {known.property.name: None}
    for rows, keys in (
        (known.reference_points, ("name",)),
        (known.components, ("name",)),
        (known.points, ("component", "point")),
        (known.household, ("building",)),
        (known.levels, ("setup", "on")),
    ):
        for row in rows:
            for key in keys:
                name = getattr(row, key)
                names.update(dict.fromkeys(name.split("/") if name else ()))
    return tuple(names)


def poisoned(poison: Poison) -> PropertyRecord:
    """Give the sample with hostile words in every text."""
    full = {point.name: (point.component, point.point) for point in sample().points}

    def renamed(name: str) -> str:
        if name in full:
            component, point = full[name]
            made = poison.name(component)
            return f"{made}/{poison.name(point)}" if point else made
        return poison.name(name) if name in names_of_sample() else name

    known = sample()
    parts = {
        field.name: tuple(
            _changed(row, number, poison, renamed) for number, row in enumerate(getattr(known, field.name))
        )
        for field in fields(known)
        if field.name != "property"
    }
    return PropertyRecord(property=_changed(known.property, 0, poison, renamed), **parts)


def _changed(value: Any, row: int, poison: Poison, renamed: Callable[[str], str]) -> Any:
    changes: dict[str, Any] = {}
    for field in fields(value):
        held, name = getattr(value, field.name), f"{type(value).__name__}.{field.name}"
        if is_dataclass(held) and not isinstance(held, type):
            changes[field.name] = _changed(held, row, poison, renamed)
        elif name == "Property.name":
            changes[field.name] = poison.name(held)
        elif name in NAMES and held:
            changes[field.name] = renamed(held)
        elif name in text_fields() and name not in NAMES and name not in READ and not _kept(name, held):
            changes[field.name] = poison.free(name, row)
    return replace(value, **changes)


def _kept(name: str, held: Any) -> bool:
    return (name == "Component.kind" and held in KINDS_KEPT) or (name.endswith(".task") and held in TASKS_KEPT)


def texts_of(known: PropertyRecord) -> dict[tuple[str, int, str], str]:
    """Give every text of a property by its table, its row and its field."""
    found: dict[tuple[str, int, str], str] = {}

    def gather(table: str, row: int, value: Any, before: str = "") -> None:
        for field in fields(value):
            held = getattr(value, field.name)
            if is_dataclass(held) and not isinstance(held, type):
                gather(table, row, held, f"{before}{field.name}.")
            elif isinstance(held, str) and f"{type(value).__name__}.{field.name}" not in READ:
                found[table, row, f"{before}{field.name}"] = held

    for field in fields(known):
        held = getattr(known, field.name)
        for row, value in enumerate(held if isinstance(held, tuple) else (held,)):
            gather(field.name, row, value)
    return found


def store(record_file: Path, known: PropertyRecord, who: str = "tester") -> None:
    """Put a property into a record without asking the sheets."""
    drafts = []
    for noun in NOUNS:
        held = getattr(known, noun.field)
        for number, value in enumerate(held if isinstance(held, tuple) else (held,), start=1):
            drafts.append(Draft(noun, value, float(number), f"{noun.table}.csv", number))
    with open_record(record_file, create=True) as record, record.write():
        add_entries(record, known.property.name, drafts, Action(who, NOON, who))

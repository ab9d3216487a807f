"""The nouns of the record: for each the class, the table, and by what one row is known again."""

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any

from asbuilt.errors import Problem, RecordError
from asbuilt.model.components import Component, Point
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.levels import LevelShot
from asbuilt.model.measurements import KnownCoordinate, Offset, Tie, Wall
from asbuilt.model.photos import Photo
from asbuilt.model.place import Property, ReferencePoint
from asbuilt.model.rule_files import RuleFile
from asbuilt.model.sightings import Sighting
from asbuilt.model.site_readings import SiteReading
from asbuilt.model.tasks import OwnTask


@dataclass(frozen=True, slots=True)
class Noun:
    """One kind of row."""

    kind: str  #: stands in the column `kind` of every entry; never renamed
    table: str  #: the typed table
    cls: type
    field: str  #: the field of `PropertyRecord`
    key: Callable[[Any], Hashable]  #: a changed row with the same key corrects the recorded one
    title: Callable[[Any], str]  #: how a person names the row


def _pair(a: str, b: str) -> tuple[str, ...]:
    return tuple(sorted((a, b)))


NOUNS = (
    Noun("property", "property_facts", Property, "property", lambda _: (), lambda it: f"property {it.name}"),
    Noun(
        "reference_point",
        "reference_point",
        ReferencePoint,
        "reference_points",
        lambda it: it.name,
        lambda it: f"reference point {it.name}",
    ),
    Noun(
        "wall",
        "wall",
        Wall,
        "walls",
        lambda it: (it.from_, it.to),
        lambda it: f"wall {it.from_} to {it.to}",
    ),
    Noun("point", "point", Point, "points", lambda it: it.name, lambda it: f"point {it.name}"),
    # A tape has no direction: A to B corrects B to A.
    Noun("tie", "tie", Tie, "ties", lambda it: _pair(it.from_, it.to), lambda it: f"tie {it.from_} to {it.to}"),
    Noun(
        "offset",
        "offset",
        Offset,
        "offsets",
        lambda it: (it.point, _pair(it.wall_from, it.wall_to)),
        lambda it: f"offset of {it.point} from {it.wall_from} > {it.wall_to}",
    ),
    Noun(
        "known_coordinate",
        "known_coordinate",
        KnownCoordinate,
        "known_coordinates",
        lambda it: it.point,
        lambda it: f"known coordinate of {it.point}",
    ),
    Noun(
        "component",
        "component",
        Component,
        "components",
        lambda it: it.name,
        lambda it: f"component {it.name}",
    ),
    Noun(
        "household",
        "household",
        Household,
        "household",
        lambda it: (it.building, it.from_),
        lambda it: f"household from {it.from_}",
    ),
    Noun(
        "service",
        "service_entry",
        ServiceEntry,
        "service",
        lambda it: (it.on, it.component, it.task, it.compartment),
        lambda it: f"{it.task} of {it.component} on {it.on}",
    ),
    Noun(
        "level_shot",
        "level_shot",
        LevelShot,
        "levels",
        lambda it: (it.setup, it.on, it.to, it.day, it.backsight is None),
        lambda it: it.words,
    ),
    Noun(
        "own_task",
        "own_task",
        OwnTask,
        "tasks",
        lambda it: (it.component, it.task, it.source),
        lambda it: f"task {it.task} of {it.component}",
    ),
    Noun(
        "rule_file",
        "rule_file",
        RuleFile,
        "rule_files",
        lambda it: it.name,
        lambda it: f"rule profile {it.name}",
    ),
    Noun(
        "site_reading",
        "site_reading",
        SiteReading,
        "readings",
        lambda it: (it.component, it.reading, it.on),
        lambda it: f"{it.reading} of {it.component} on {it.on}",
    ),
    Noun(
        "photo",
        "photo",
        Photo,
        "photos",
        lambda it: (it.of, it.sha256),
        lambda it: f"photo {it.file} of {it.of}",
    ),
    Noun(
        "sighting",
        "sighting",
        Sighting,
        "sightings",
        lambda it: (it.point, it.on),
        lambda it: f"{it.point} uncovered on {it.on}",
    ),
    # What the sheets of a draft held and could not be taken; gone when the complete sheets are loaded.
    Noun(
        "left_out",
        "left_out",
        Problem,
        "left_out",
        lambda it: (it.file, it.row, it.column),
        lambda it: f"left out of the draft: {it}",
    ),
)
"""In the order in which entries of one load are written and sheets are listed."""

_BY_CLASS = {noun.cls: noun for noun in NOUNS}
NOUN_OF_KIND = {noun.kind: noun for noun in NOUNS}
"""The noun whose rows have that word in the column `kind`."""


def noun_of(value: object) -> Noun:
    """Find the noun of a value of the model.

    Raises
    ------
    RecordError
        If the record has no table for such a value.
    """
    noun = _BY_CLASS.get(type(value))
    if noun is None:
        raise RecordError(f"the record has no table for a {type(value).__name__}")
    return noun

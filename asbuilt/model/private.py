"""What is personal in a record, in one place: a public copy of a property holds none of it.

Personal is who somebody is, how to reach them, who lives there and since when, how to get in, and what was written
freely about a visit or a reading, or as a comment in a rule file, because names stand there. Not personal is what one
needs to find, to serve or to check what is in the ground: the property's name, address and parcel, its place on the
earth, what is there and where, descriptions of points and components and captions of photos (so no names belong into
these), the values of a rule file, dates and quantities.
"""

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass, replace
from types import MappingProxyType
from typing import Any, TypeVar

from asbuilt.errors import Problem
from asbuilt.model.access import Access, Panel
from asbuilt.model.components import Component, Point
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.handover import Drawing, Inspection
from asbuilt.model.household import Household
from asbuilt.model.levels import LevelShot
from asbuilt.model.measurements import KnownCoordinate, Tie
from asbuilt.model.photos import Photo
from asbuilt.model.place import Measured, Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.rule_files import without_comments
from asbuilt.model.sightings import Sighting
from asbuilt.model.site_readings import SiteReading
from asbuilt.model.tasks import OwnTask

PERSONAL: Mapping[type, tuple[str, ...]] = MappingProxyType(
    {
        Property: ("owner", "phone"),
        Measured: ("by",),
        Inspection: ("by", "note"),
        Drawing: ("installer", "designer", "notes"),
        Access: ("gate", "dog", "notes"),
        Panel: ("breaker", "alarm_breaker", "call", "phone", "notes"),
        Point: ("photo",),
        Component: ("shown_by",),
        Tie: ("note",),
        KnownCoordinate: ("source",),
        LevelShot: ("note",),
        ServiceEntry: ("by", "note", "reason", "findings", "actions", "disposal", "ticket", "advice", "scan"),
        OwnTask: ("note",),
        SiteReading: ("by", "note"),
        Photo: ("file", "latitude", "longitude"),
        Sighting: ("by", "note"),
    }
)
"""Fields that a public copy leaves blank. A test holds the list of all others."""

LEFT_OUT: tuple[type, ...] = (Household, Problem)
"""Rows that a public copy leaves out whole: who lived there, and what stood in the sheets of a draft unread."""

_T = TypeVar("_T")


def public_copy(record: PropertyRecord) -> PropertyRecord:
    """Give a property without anything personal.

    A photo's name becomes a number; its file is another one, which the caller makes. A rule file of the user's own
    loses its comments.
    """
    parts = {
        field.name: _public_rows(getattr(record, field.name))
        for field in fields(record)
        if field.name not in ("property", "left_out", "household")
    }
    numbers = {sha256: number for number, sha256 in enumerate(dict.fromkeys(p.sha256 for p in record.photos), start=1)}
    parts["photos"] = tuple(
        replace(photo, file=f"photo-{numbers[photo.sha256]}.{photo.form}".replace("jpeg", "jpg"), gps_removed=True)
        for photo in parts["photos"]
    )
    parts["rule_files"] = tuple(replace(each, text=without_comments(each.text)) for each in parts["rule_files"])
    return PropertyRecord(property=without_personal(record.property), **parts)


def without_personal(value: _T) -> _T:
    """Give one value with its personal fields blank, also those of the values in it."""
    held: Any = value
    changes: dict[str, Any] = dict.fromkeys(PERSONAL.get(type(value), ()))
    for field in fields(held):
        inner = getattr(held, field.name)
        if is_dataclass(inner) and field.name not in changes:
            changes[field.name] = without_personal(inner)
    made: _T = replace(held, **changes)
    return made


def _public_rows(rows: Iterable[Any]) -> tuple[Any, ...]:
    """Blank the personal fields; rows that only a note told apart get a number in its place."""
    kept: list[Any] = []
    seen: dict[Any, int] = {}
    for row in map(without_personal, rows):
        seen[row] = seen.get(row, 0) + 1
        kept.append(replace(row, note=f"reading {seen[row]}") if seen[row] > 1 and hasattr(row, "note") else row)
    return tuple(kept)

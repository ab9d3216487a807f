"""Columns of the files that have a table for their attributes: name, type and a title for people."""

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from asbuilt.output.features import Feature
from asbuilt.output.words import clean

ROLES = ("component", "point", "reference", "building")


@dataclass(frozen=True, slots=True)
class Column:
    """One column."""

    name: str
    type: str  #: text, real, whole, flag or day
    title: str
    roles: str = "cprb"  #: initials of the roles of `ROLES` that have it
    of: Callable[[Feature], Any] | None = None  #: None = the attribute of that name


def fit_text(text: str) -> str:
    r"""Make text fit for any of the files: see `clean`. Most has nothing to mend, which is found out fast.

    Examples
    --------
    >>> fit_text("gate\x00 4")
    'gate� 4'
    """
    return text if text.isprintable() else clean(text)


def _ties(feature: Feature) -> str | None:
    return _joined(f"{tie['as_read']} from {tie['from']}" for tie in feature.attributes.get("ties", ()))


def _dues(feature: Feature) -> str | None:
    found = feature.attributes.get("due", ())
    return _joined(f"{due['due_on'] or 'no date'} {due['task']}" for due in found)


def _next(key: str, feature: Feature) -> str | None:
    dated = [due for due in feature.attributes.get("due", ()) if due["due_on"]]
    soonest = min(dated, key=lambda due: str(due["due_on"]), default=None)
    return None if soonest is None else soonest[key]


def _service(feature: Feature) -> str | None:
    return _joined(
        f"{entry['on']} {entry['task']}" + (f", {entry['gallons']:,.0f} gal" if entry.get("gallons") else "")
        for entry in feature.attributes.get("service", ())
    )


def _joined(parts: Iterable[str]) -> str | None:
    return "; ".join(parts) or None


COLUMNS = (
    Column("property", "text", "Property"),
    Column("name", "text", "Name", of=lambda feature: feature.name),
    Column("role", "text", "What it is here", of=lambda feature: feature.role),
    Column("kind", "text", "Kind", of=lambda feature: feature.kind),
    Column("component", "text", "Belongs to", "p"),
    Column("point", "text", "Point", "p"),
    Column("mark", "text", "Mark chalked beside it", "p"),
    Column("size", "text", "Size", "p"),
    Column("shape", "text", "Shape", "c"),
    Column("material", "text", "Material", "c"),
    Column("length", "text", "Length as read", "c"),
    Column("width", "text", "Width as read", "c"),
    Column("height", "text", "Height as read", "c"),
    Column("volume_gal", "real", "Volume, US gallons", "c"),
    Column("installed_on", "day", "Installed on", "c"),
    Column("removed_on", "day", "Taken out on", "c"),
    Column("replaces", "text", "Replaces", "c"),
    Column("status", "text", "Status", "c"),
    Column("note", "text", "Note", "c"),
    Column("points", "whole", "Points measured", "c"),
    Column("points_located", "whole", "Points with a place", "c"),
    Column("depth_text", "text", "Depth", "p"),
    Column("depth_m", "real", "Depth, m", "p"),
    Column("depth_to", "text", "Depth goes to", "p"),
    Column("elevation_m", "real", "Elevation, m", "pr"),
    Column("elevation_sigma_m", "real", "Standard deviation of the elevation, m", "pr"),
    Column("elevation_to", "text", "Elevation is that of", "pr"),
    Column("elevation_text", "text", "Elevation", "pr"),
    Column("description", "text", "Description", "pr"),
    Column("gone_on", "day", "Found gone on", "r"),
    Column("photo", "text", "Photo", "p"),
    Column("accuracy_text", "text", "How well its place is known", "cpr"),
    Column("r95_m", "real", "Radius that holds 95 %, against the house, m", "cpr"),
    Column("r95_earth_m", "real", "Radius that holds 95 %, on the earth, m", "cpr"),
    Column("checked", "flag", "Checked by a spare tape", "cpr"),
    Column("unchecked_because", "text", "Why it is not checked", "pr"),
    Column("ties", "text", "Tapes", "p", _ties),
    Column("next_due_on", "day", "Next due on", "c", partial(_next, "due_on")),
    Column("next_due", "text", "Next due", "c", partial(_next, "task")),
    Column("due", "text", "Due", "c", _dues),
    Column("service", "text", "Service", "c", _service),
    Column("draft", "flag", "From half-filled sheets", of=lambda feature: bool(feature.attributes.get("draft"))),
)
"""Columns by name and in their order; what a feature has besides them goes into the column `more`."""

_TAKEN = frozenset(column.name for column in COLUMNS)


def _more(feature: Feature) -> str | None:
    rest = {key: value for key, value in feature.attributes.items() if key not in _TAKEN}
    return json.dumps(rest, allow_nan=False) if rest else None  # all ASCII, so that it stays JSON in any file


MORE = Column("more", "text", "More, as JSON", of=_more)


def columns_of(roles: Iterable[str] = ROLES) -> tuple[Column, ...]:
    """Give the columns that any of these roles has, `more` last."""
    wanted = {role[0] for role in roles}
    return (*(column for column in COLUMNS if wanted & set(column.roles)), MORE)


def cell(column: Column, feature: Feature) -> Any:
    """Give the value of one column: text that any file can hold, a number, true or false, a day as ISO text, None."""
    value = feature.attributes.get(column.name) if column.of is None else column.of(feature)
    if value is None:
        return None
    return fit_text(str(value)) if column.type == "text" else value


def titles() -> Mapping[str, str]:
    """Give the title of every column by its name."""
    return {column.name: column.title for column in (*COLUMNS, MORE)}

"""A map of places over a whole district: pins, lines between them and a list, one HTML file without a network.

It stands in the same frame as the map of a property (`webmap`): nothing that a person typed goes through folium, all of
it stands in one JSON block, and the scripts in `assets/map` draw it with text nodes only.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from asbuilt.output.map.frame import (
    MOST_PLACES,
    STREETS,
    Background,
    Page,
    TooManyError,
    json_block,
    make_frame,
    write_page,
)
from asbuilt.output.map.symbols import Group
from asbuilt.output.words import html_text

MOST_LISTED = 300
"""Entries of one section of the list; a phone scrolls no more, and the map shows the rest."""

SCRIPTS = ("elements.js", "search.js", "tools.js", "heaps.js", "pins.js")
"""Our own, each after those that it uses."""

SHAPES = {
    "octagon": "M11 3H23L31 11V23L23 31H11L3 23V11Z",
    "triangle": "M17 3L32 30H2Z",
    "square": "M5 5H29V29H5Z",
    "diamond": "M17 2L32 17L17 32L2 17Z",
    "circle": "M17 3A14 14 0 1 1 17 31A14 14 0 1 1 17 3Z",
    "drop": "M17 3A11 11 0 0 1 28 14C28 22 17 31 17 31C17 31 6 22 6 14A11 11 0 0 1 17 3Z",
    "house": "M17 3L31 15H27V30H7V15H3Z",
    "down": "M11 3H23V16H31L17 31L3 16H11Z",
}
"""Outlines of the symbols in a box of 34 by 34."""


@dataclass(frozen=True, slots=True)
class PinGroup(Group):
    """A layer of pins of one shape and colour."""

    shape: str = "circle"  #: one of SHAPES
    mark: str = ""  #: constant letters in the middle of every pin that has no label of its own

    @property
    def layer_name(self) -> str:
        """Constant markup for the layer control: the symbol and the title."""
        return (
            f'<svg width="34" height="34" viewBox="0 0 34 34" aria-hidden="true"><path d="{SHAPES[self.shape]}" '
            f'fill="{self.colour}" stroke="#fff" stroke-width="2"/></svg> <span>{self.title}</span>'
        )

    def as_json(self) -> dict[str, str]:
        """Give what pins.js draws with."""
        return {
            "key": self.key,
            "title": self.title,
            "colour": self.colour,
            "dash": self.dash,
            "outline": SHAPES[self.shape],
            "mark": self.mark,
        }


@dataclass(frozen=True, slots=True)
class Pin:
    """One place, or one entry of the list that has no place."""

    group: str  #: key of its group
    title: str
    lines: tuple[str, ...] = ()
    label: str = ""  #: short, in the middle of the symbol
    longitude: float | None = None  #: degrees, WGS 84; None = in the list only
    latitude: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Give what pins.js draws with."""
        placed = self.longitude is not None and self.latitude is not None
        return {
            "group": self.group,
            "title": self.title,
            "lines": self.lines,
            "label": self.label,
            "at": [self.longitude, self.latitude] if placed else None,
        }


@dataclass(frozen=True, slots=True)
class Path:
    """One line over the map."""

    group: str
    at: tuple[tuple[float, float], ...]  #: longitude, latitude, degrees


@dataclass(frozen=True, slots=True)
class Section:
    """A heading of the list, and what stands under it."""

    title: str
    pins: tuple[Pin, ...]
    note: str = ""
    most: int = MOST_LISTED


@dataclass(frozen=True, slots=True)
class PinSheet:
    """What one map shows."""

    title: str
    subtitle: tuple[str, ...]
    groups: tuple[PinGroup, ...]
    sections: tuple[Section, ...]
    paths: tuple[Path, ...] = ()
    marks: tuple[Pin, ...] = ()  #: pins that are not in the list: the yard, the disposal sites
    cautions: tuple[str, ...] = field(default=())
    clustered: bool = False  #: pins that lie close together become one with their number
    advice: str = "choose fewer"  #: what to do where there are too many pins


def render_pins(sheet: PinSheet, *, background: Background | None = STREETS) -> str:
    """Write the map: one complete HTML document; the same sheet gives the same bytes.

    Parameters
    ----------
    background
        The optional online layer, asked for only when it is ticked; None = none.

    Raises
    ------
    TooManyError
        If there are more pins than one HTML document can hold.
    """
    pins = [*sheet.marks, *(pin for section in sheet.sections for pin in section.pins)]
    if len(pins) > MOST_PLACES:
        raise TooManyError(f"the map {sheet.title!r}", len(pins), sheet.advice)
    used = {pin.group for pin in pins if pin.longitude is not None} | {path.group for path in sheet.paths}
    groups = tuple(group for group in sheet.groups if group.key in used)
    frame = make_frame(groups, background)
    plan = {
        "title": sheet.title,
        "subtitle": sheet.subtitle,
        "groups": [group.as_json() for group in sheet.groups],
        "pins": [pin.as_json() for pin in pins],
        "sections": _sections(sheet.sections, len(sheet.marks)),
        "paths": [{"group": path.group, "at": path.at} for path in sheet.paths],
        "cautions": sheet.cautions,
        "clustered": sheet.clustered,
        "frame": {"map": frame.map_name, "layers": dict(frame.layers)},
    }
    page = Page(sheet.title, _plain(sheet), "The list", SCRIPTS, ("plan.css", "pins.css"))
    return write_page(page, frame, json_block(plan), background)


def _sections(sections: Sequence[Section], start: int) -> list[dict[str, Any]]:
    found = []
    for section in sections:
        shown = list(range(start, start + min(len(section.pins), section.most)))
        more = len(section.pins) - len(shown)
        found.append({"title": section.title, "note": section.note, "pins": shown, "more": more})
        start += len(section.pins)
    return found


def _plain(sheet: PinSheet) -> str:
    """Write the list for readers that run no script."""
    lines = "".join(f"<p>{html_text(line)}</p>" for line in sheet.subtitle)
    cautions = "".join(f"<p><strong>Caution: {html_text(line)}</strong></p>" for line in sheet.cautions)
    body = "".join(_plain_section(section) for section in sheet.sections)
    return (
        f"<h1>{html_text(sheet.title)}</h1>{lines}{cautions}<p>This viewer runs no script: no map is drawn.</p>{body}"
    )


def _plain_section(section: Section) -> str:
    rows = "".join(
        f"<tr><th scope=row>{html_text(pin.label)} {html_text(pin.title)}</th>"
        f"<td>{'<br>'.join(html_text(line) for line in pin.lines)}</td></tr>"
        for pin in section.pins[: section.most]
    )
    return f"<h2>{html_text(section.title)}</h2><p>{html_text(section.note)}</p><table>{rows}</table>"

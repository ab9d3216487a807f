"""What a report is made of: sections with sentences, tables, charts and photos. It knows neither HTML nor PDF."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Table:
    """A table; every cell is text."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    widths: tuple[float, ...] | None = None  #: shares of the page's width; None = all alike


@dataclass(frozen=True, slots=True)
class Series:
    """Values by day that belong together."""

    name: str
    points: tuple[tuple[date, float], ...]
    joined: bool = True  #: a line through them; False = each pair of points is a stretch of its own


@dataclass(frozen=True, slots=True)
class Chart:
    """Values over the years."""

    title: str
    unit: str
    series: tuple[Series, ...]
    marks: tuple[tuple[date, str], ...] = ()  #: days on which something was done, and what
    limit: tuple[float, str] | None = None  #: a level line and its words


@dataclass(frozen=True, slots=True)
class Picture:
    """One photo, JPEG."""

    content: bytes
    caption: str


@dataclass(frozen=True, slots=True)
class Section:
    """One part of a report under its heading."""

    heading: str
    paragraphs: tuple[str, ...] = ()
    items: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    charts: tuple[Chart, ...] = ()
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True, slots=True)
class Report:
    """A whole report."""

    title: str
    name: str  #: of the property
    lines: tuple[str, ...]  #: under the title: address, permit, as of which day
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    draft: bool = False

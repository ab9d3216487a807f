"""The record drawing: plans at a true standard scale, then tables, as SVG and as PDF.

Each plan is drawn once, as SVG in millimetres of paper; the PDF holds that same SVG, page for page.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from asbuilt.output.cautions import CAUTIONS
from asbuilt.output.drawing.page import (
    EDGE_MM,
    ROOM_FOR_LABELS_MM,
    Layout,
    best_layout,
    draw_page,
    fitting_layouts,
    window_on,
)
from asbuilt.output.drawing.plan import Window
from asbuilt.output.drawing.scale import FAMILIES, Scale, ScaleError, fits
from asbuilt.output.drawing.scene import Scene, build_scene
from asbuilt.output.drawing.tables import (
    Table,
    check_tables,
    component_table,
    deviation_table,
    finding_table,
    point_table,
    reading_table,
    reference_table,
    slope_table,
    wall_table,
)
from asbuilt.output.drawing.words import (
    NOT_A_SURVEY,
    Subject,
    accuracy_words,
    benchmark_words,
    north_words,
    signatures,
    title_block,
)
from asbuilt.output.sheets.pdf import render_pdf, shortened
from asbuilt.output.text.positions import DRAFT_WORDS

TITLE = "Record drawing"
"""What it is called where the rule profile has no local name (`record_drawing` of its names)."""

MUCH_LARGER = 1.4
"""The plan leaves out what is far where its scale then is larger by more than this (our own: a step of the scales)."""

LONGEST_CELL = 1500
"""Letters of one cell of a table; what goes beyond is in the record."""


@dataclass(frozen=True, slots=True)
class View:
    """One plan of the drawing, not yet drawn."""

    layout: Layout
    window: Window
    detail: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """One drawn page."""

    svg: str
    layout: Layout
    scale: Scale
    unnamed: tuple[str, ...]  #: of the plan: what found no room for its name or key
    outside: tuple[str, ...]  #: of the plan: what lies beyond its frame
    ties: int  #: of the plan: tapes that are drawn


@dataclass(frozen=True, slots=True)
class Drawing:
    """The whole record drawing, ready to be written."""

    title: str
    sheets: tuple[Sheet, ...]
    tables: tuple[Table, ...]
    subject: Subject

    @property
    def scale(self) -> Scale:
        """Scale of the first sheet."""
        return self.sheets[0].scale


def make_drawing(subject: Subject, paper: str, scale: Scale | None = None) -> Drawing:
    """Draw one property.

    Parameters
    ----------
    paper
        One of `PAPERS_MM`.
    scale
        None = the largest standard scale at which house and system fit.

    Raises
    ------
    ScaleError
        If house and system do not fit the paper at that scale.
    """
    scene = build_scene(subject.record, subject.solution, subject.placement, subject.today)
    views = choose_views(scene, paper, subject.record.property.units, scale)
    title = subject.profile.names.get("record_drawing", TITLE)
    sheets = tuple(_sheet(subject, scene, view, k, len(views), title) for k, view in enumerate(views, 1))
    return Drawing(title, sheets, tuple(_tables(subject, scene, sheets)), subject)


def choose_views(scene: Scene, paper: str, units: str, scale: Scale | None = None) -> list[View]:
    """Choose paper's direction, scale and piece of ground: one plan of everything, or a near one and one of the site.

    Raises
    ------
    ScaleError
        If house and system do not fit the paper at the scale that was asked for.
    """
    whole, near = scene.extent(near=False), scene.extent(near=True)
    if whole is None or near is None:
        layout, chosen = best_layout(paper, (20.0, 20.0), units, ROOM_FOR_LABELS_MM)
        return [View(layout, window_on(scale or chosen, layout, (0, 0, 0, 0)), detail=True)]
    across, widest = best_layout(paper, _size(whole), units, EDGE_MM)
    close, larger = best_layout(paper, _size(near), units, ROOM_FOR_LABELS_MM)
    if scale is not None:
        close, larger = _asked(paper, _size(near), scale), scale
    if fits(_size(whole), close.room(EDGE_MM), larger):
        return [View(close, window_on(larger, close, whole), detail=True)]
    if scale is None and widest.ratio <= MUCH_LARGER * larger.ratio:
        return [View(across, window_on(widest, across, whole), detail=True)]
    return [
        View(close, window_on(larger, close, near), detail=True),
        View(across, window_on(widest, across, whole), detail=False),
    ]


def _asked(paper: str, size_m: tuple[float, float], scale: Scale) -> Layout:
    fitting = fitting_layouts(paper, size_m, scale, EDGE_MM)
    if not fitting:
        kind = "m" if scale.name.startswith("1:") else "ft"
        _, largest = best_layout(paper, size_m, kind, EDGE_MM)
        raise ScaleError(
            f"at {scale.name} house and system do not fit {paper}; the largest standard scale that fits is "
            f"{largest.name}, or take a larger --paper"
        )
    return fitting[0]


def _size(extent: tuple[float, float, float, float]) -> tuple[float, float]:
    left, bottom, right, top = extent
    return right - left, top - bottom


def _sheet(subject: Subject, scene: Scene, view: View, number: int, of: int, title: str) -> Sheet:
    heading = f"Sheet {number}: {'plan' if view.detail else 'the whole site'}"
    svg, plan = draw_page(
        scene,
        view.window,
        view.layout,
        title_block(subject, scene, title, last=number == of),
        units=subject.record.property.units,
        heading=heading,
        detail=view.detail,
    )
    return Sheet(svg, view.layout, view.window.scale, tuple(plan.unnamed), tuple(plan.outside), plan.ties)


# ------------------------------------------------------------ tables


def _tables(subject: Subject, scene: Scene, sheets: Sequence[Sheet]) -> Iterator[Table]:
    record, solution = subject.record, subject.solution
    yield _particulars(subject, scene, sheets)
    yield reference_table(record, scene, subject.today)
    yield wall_table(record)
    yield point_table(record, solution, scene)
    yield component_table(record, scene)
    slopes = slope_table(record, solution)
    if slopes is not None:
        yield slopes
    yield reading_table(record, subject.today)
    yield deviation_table(record)
    yield from check_tables(subject.checks)
    yield finding_table(subject.findings)


def _particulars(subject: Subject, scene: Scene, sheets: Sequence[Sheet]) -> Table:
    place, state = subject.record.property, subject.record.property.inspection
    days = (("called", state.called_on), ("came", state.came_on), ("released", state.released_on))
    inspection = [
        state.state or "not recorded",
        *(f"{word} {day.isoformat()}" for word, day in days if day),
        state.note,
    ]
    rows = (
        ("Property", place.name),
        ("Address", place.address),
        ("Parcel", place.parcel),
        ("Permit", place.permit),
        ("Authority", place.authority),
        ("Owner", place.owner),
        ("Bedrooms", None if place.bedrooms is None else str(place.bedrooms)),
        ("Design flow", None if place.design_gpd is None else f"{place.design_gpd:,.0f} gal a day"),
        ("Benchmark", benchmark_words(subject)),
        ("North", north_words(subject) or "Not placed to north."),
        ("Inspection before cover", ", ".join(part for part in inspection if part)),
        ("Drawn at", "; ".join(f"sheet {k}: {sheet.scale.name}" for k, sheet in enumerate(sheets, 1))),
        ("Tapes", f"{scene.tied} between located places; the plan shows {sheets[0].ties}, the table of points all"),
        ("No room on the plan", ", ".join(name for sheet in sheets[:1] for name in sheet.unnamed) or None),
        ("Draft", DRAFT_WORDS if place.draft else None),
    )
    return Table("Particulars", (("", 2), ("", 7)), tuple((word, said) for word, said in rows if said))


def drawing_pdf(drawing: Drawing, paper: str) -> bytes:
    """Set the drawing: its plans as they are drawn, then the tables.

    Raises
    ------
    SheetPdfError
        If it cannot be set: a fault of ours.
    """
    subject = drawing.subject
    place = subject.record.property
    upright = Layout(paper, across=False).size
    data: dict[str, Any] = {
        "title": f"{drawing.title}: {shortened(place.name, 80)}",
        "draft": place.draft,
        "upright": list(upright),
        # As bytes: the words in it are escaped already, and must not be broken into lines.
        "plans": [{"size": list(each.layout.size), "svg": list(each.svg.encode())} for each in drawing.sheets],
        "tables": [_cut(each) for each in drawing.tables],
        "accuracy": [*accuracy_words(subject), *NOT_A_SURVEY],
        "cautions": list(CAUTIONS),
        "local_code": subject.profile.local_code,
        "signatures": signatures(subject),
        "as_of": subject.today.isoformat(),
    }
    return render_pdf("drawing", data, FAMILIES[paper])


def _cut(table: Table) -> dict[str, object]:
    data = table.as_data()
    data["rows"] = [[shortened(cell, LONGEST_CELL) for cell in row] for row in table.rows]
    return data

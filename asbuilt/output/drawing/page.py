"""One sheet of the record drawing as SVG: the plan in its frame, below it rulers, legend, title and north.

The page is drawn in millimetres of paper; nothing on it is scaled afterwards.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from asbuilt.output.drawing.marks import LINES, SYMBOLS, arrow, sample
from asbuilt.output.drawing.plan import Plan, Window, draw_plan
from asbuilt.output.drawing.scale import PAPER_WORDS, PAPERS_MM, Scale, bar_steps, fits, largest_fitting
from asbuilt.output.drawing.scene import Scene
from asbuilt.output.drawing.svg import Pair, document, group, line, path, text, text_size
from asbuilt.output.words import one_line

MARGIN_MM = 10.0
"""Free edge: printers leave 4 to 6 mm unprinted (common practice)."""

STRIP_MM, RULERS_MM = 66.0, 12.0
"""Height of what stands below the plan, and of the rulers in it."""

ROOM_FOR_LABELS_MM, EDGE_MM = 13.0, 3.0
"""Kept free round what is drawn, for dimension lines and names; and round things far from the house."""

LEGEND_ROW_MM, LEGEND_COLUMN_MM, NORTH_MM = 3.5, 41.0, 24.0
LONGEST_WORDS = 400
"""Letters of a text of the title block that are looked at; there is room for fewer."""

TITLE_MM, NAME_MM, WORDS_MM = 4.6, 3.2, 2.3


@dataclass(frozen=True, slots=True)
class Layout:
    """A paper, upright or across."""

    paper: str
    across: bool

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, millimetres."""
        width, height = PAPERS_MM[self.paper]
        return (height, width) if self.across else (width, height)

    @property
    def frame(self) -> tuple[float, float, float, float]:
        """Where the plan lies: left, top, right, bottom."""
        width, height = self.size
        return MARGIN_MM, MARGIN_MM, width - MARGIN_MM, height - MARGIN_MM - STRIP_MM

    def room(self, edge: float) -> tuple[float, float]:
        """Width and height that what is drawn may take where so much is kept free round it."""
        left, top, right, bottom = self.frame
        return right - left - 2 * edge, bottom - top - 2 * edge


@dataclass(frozen=True, slots=True)
class TitleBlock:
    """What stands below the plan in words."""

    title: str  #: what the drawing is called there: Record drawing
    name: str  #: of the property
    lines: tuple[str, ...]  #: the rest, a line each, the most important first
    north: str  #: how the direction is known, or that it is not
    warning: str = ""  #: of a draft


def both_ways(paper: str) -> tuple[Layout, Layout]:
    """Lay a paper upright and across."""
    return Layout(paper, across=False), Layout(paper, across=True)


def best_layout(paper: str, size_m: tuple[float, float], units: str, edge: float) -> tuple[Layout, Scale]:
    """Lay the paper so that the standard scale is the largest; where both ways give the same, with more room."""
    scale = largest_fitting(size_m, [layout.room(edge) for layout in both_ways(paper)], units)
    fitting = fitting_layouts(paper, size_m, scale, edge)
    return max(fitting, key=lambda layout: _slack(layout, size_m)), scale


def fitting_layouts(paper: str, size_m: tuple[float, float], scale: Scale, edge: float) -> list[Layout]:
    """Tell which way a paper takes a piece of ground at a scale; none of both is an empty list."""
    return [layout for layout in both_ways(paper) if fits(size_m, layout.room(edge), scale)]


def _slack(layout: Layout, size_m: tuple[float, float]) -> float:
    return min(room / max(ground, 0.1) for room, ground in zip(layout.room(0.0), size_m, strict=True))


def draw_page(
    scene: Scene, window: Window, layout: Layout, block: TitleBlock, *, units: str, heading: str, detail: bool
) -> tuple[str, Plan]:
    """Draw one page.

    Returns
    -------
    The SVG file, and what the plan holds.
    """
    plan = draw_plan(scene, window, detail=detail)
    width, height = layout.size
    left, top, right, bottom = window.frame
    edge = path([(left, top), (right, top), (right, bottom), (left, bottom)], 0.5, closed=True)
    parts = [group(plan.parts, "plan"), edge, *_strip(plan, window, layout, block, units, heading)]
    return document(parts, width, height, f"{block.title}: {block.name}"), plan


def _strip(plan: Plan, window: Window, layout: Layout, block: TitleBlock, units: str, heading: str) -> Iterator[str]:
    left, _, right, top = window.frame
    bottom = top + STRIP_MM
    yield path([(left, top), (right, top), (right, bottom), (left, bottom)], 0.5, closed=True)
    yield from _rulers(window, units, (left + 3, top + 1), right - 3)
    below = top + RULERS_MM
    yield line((left, below), (right, below), 0.25)
    columns = 2 if right - left < 280 else 3
    legend_end = left + 2 + columns * LEGEND_COLUMN_MM
    yield from _legend(plan, (left + 2, below + 1), bottom, columns)
    yield line((legend_end, below), (legend_end, bottom), 0.25)
    north_from = right - NORTH_MM
    yield line((north_from, below), (north_from, bottom), 0.25)
    yield from _north(block.north, (north_from, below), (right, bottom))
    yield from _title(block, window.scale, layout, heading, (legend_end + 2, below + 1), (north_from - 1, bottom))


# ------------------------------------------------------------ rulers


def _rulers(window: Window, units: str, at: Pair, right: float) -> Iterator[str]:
    """Draw the ruler that shows whether the paper is true to scale, and the scale bar beside it."""
    inches = units != "m"
    length, words = (5 * 25.4, "This bar is exactly 5 in") if inches else (120.0, "This bar is exactly 12 cm")
    x, y = at[0], at[1] + 7.5
    yield text(f"{words} long: if not, the print is not to scale.", x, at[1], WORDS_MM)
    step = 25.4 / 2 if inches else 10.0
    yield group([line((x, y), (x + length, y), 0.4)], "ruler")
    for k in range(round(length / step) + 1):
        tall = 2.0 if not inches or k % 2 == 0 else 1.2
        at_tick = x + min(max(k * step, 0.1), length - 0.1)  # the outer edges of the outer strokes are its ends
        yield line((at_tick, y + 0.2), (at_tick, y - tall), 0.2)
    yield from _bar(window.scale, units, (x + length + 8, y), right)


def _bar(scale: Scale, units: str, at: Pair, right: float) -> Iterator[str]:
    step_m, step, count = bar_steps(scale, units, right - at[0] - 8)
    x, y = at
    wide = step_m * scale.mm_per_m
    unit = "m" if units == "m" else "ft"
    for k in range(count):
        box = [(x + k * wide, y), (x + (k + 1) * wide, y), (x + (k + 1) * wide, y - 1.5), (x + k * wide, y - 1.5)]
        yield path(box, 0.2, closed=True, fill="#000" if k % 2 == 0 else "#fff")
    for k in (0, count) if wide < 9 else range(count + 1):
        words = f"{k * step:g}" + (f" {unit}" if k == count else "")
        yield text(words, x + k * wide - text_size(f"{k * step:g}", WORDS_MM)[0] / 2, y - 5.0, WORDS_MM)


# ------------------------------------------------------------ legend, north, title


def _legend(plan: Plan, at: Pair, bottom: float, columns: int) -> Iterator[str]:
    used = [key for key in (*LINES, *SYMBOLS) if key in plan.used]
    rows = max(math.ceil(len(used) / columns), int((bottom - at[1] - 5) / LEGEND_ROW_MM))
    yield text("Legend", at[0], at[1], WORDS_MM, bold=True)
    for k, key in enumerate(used):
        column, row = divmod(k, rows)
        x, y = at[0] + column * LEGEND_COLUMN_MM, at[1] + 5.2 + row * LEGEND_ROW_MM
        title = LINES[key].title if key in LINES else SYMBOLS[key][0]
        yield sample(key, (x, y), 10.0)
        yield text(title, x + 11.0, y - 1.4, WORDS_MM, width=LEGEND_COLUMN_MM - 11.5)


def _north(words: str, corner: Pair, end: Pair) -> Iterator[str]:
    """Draw the arrow, north being up; where it is not known say so in its place."""
    middle, top = (corner[0] + end[0]) / 2, corner[1]
    if words:
        yield text("N", middle - text_size("N", 4.5, bold=True)[0] / 2, top + 1, 4.5, bold=True)
        yield line((middle, top + 27), (middle, top + 8), 0.5)
        yield arrow((middle, top + 7), -math.pi / 2)
        yield line((middle - 3, top + 20), (middle + 3, top + 20), 0.3)
    said = words or "NOT PLACED TO NORTH: the direction of north is not in the record."
    bold = not words
    size, first = (2.4, 8.0) if bold else (2.0, 29.0)
    for k, part in enumerate(_lines(said, size, NORTH_MM - 2, 7, bold=bold)):
        yield text(part, corner[0] + 1, top + first + k * 1.3 * size, size, bold=bold, width=NORTH_MM - 2)


def _title(block: TitleBlock, scale: Scale, layout: Layout, heading: str, at: Pair, end: Pair) -> Iterator[str]:
    width = end[0] - at[0]
    yield text(block.title, *at, TITLE_MM, bold=True, width=width)
    y = at[1] + TITLE_MM * 1.25
    for part in _lines(block.name, NAME_MM, width, 2, bold=True):
        yield text(part, at[0], y, NAME_MM, bold=True, width=width)
        y += NAME_MM * 1.2
    ratio = f" (1:{scale.ratio:.0f})" if "in" in scale.name else ""
    scale_words = f"Scale {scale.name}{ratio} on {PAPER_WORDS[layout.paper]}. {heading}"
    for words, bold in ((block.warning, True), (scale_words, True), *((each, False) for each in block.lines)):
        parts = _lines(words, WORDS_MM, width, 2, bold=bold)
        if y + len(parts) * WORDS_MM * 1.25 > end[1]:
            break  # the most important ones stand first; all of it is in the tables
        for part in parts:
            yield text(part, at[0], y, WORDS_MM, bold=bold, width=width)
            y += WORDS_MM * 1.25


def _lines(words: str, size: float, width: float, most: int, *, bold: bool = False) -> list[str]:
    """Break a text into lines at blanks; what goes beyond the last line hangs on to it and is cut where it is set."""
    lines: list[str] = []
    for word in one_line(words[:LONGEST_WORDS]).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and (len(lines) == most or text_size(longer, size, bold=bold)[0] <= width):
            lines[-1] = longer
        elif word:
            lines.append(word)
    return lines


def window_on(scale: Scale, layout: Layout, extent: Sequence[float]) -> Window:
    """Lay the middle of a piece of ground in the middle of the plan."""
    left, bottom, right, top = extent
    return Window(layout.frame, ((left + right) / 2, (bottom + top) / 2), scale)

"""Pieces of an SVG drawing in paper millimetres, y down: lines, texts, and every word of the record escaped."""

import math
from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape, quoteattr

from asbuilt.output.drawing.text_width import ASCENT, DESCENT, fit_text, text_width
from asbuilt.output.words import one_line

FACE = "DejaVu Sans"
Pair = tuple[float, float]


def number(value: float) -> str:
    """Write a coordinate to the thousandth of a millimetre, no more digits than it needs.

    Examples
    --------
    >>> number(12.5), number(-0.00001), number(3)
    ('12.5', '0', '3')
    """
    return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")


def line(a: Pair, b: Pair, width: float, dash: str = "") -> str:
    """Draw a straight line."""
    return path([a, b], width, dash)


def path(
    places: Iterable[Sequence[float]], width: float, dash: str = "", *, closed: bool = False, fill: str = "none"
) -> str:
    """Draw a line through places; round where it turns, cut off square where it ends, so that it is as long as told."""
    steps = " ".join(f"{number(p[0])},{number(p[1])}" for p in places)
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    tag = "polygon" if closed else "polyline"
    ink = f'stroke="#000" stroke-width="{number(width)}" stroke-linejoin="round"{dashes}'
    return f'<{tag} points="{steps}" fill="{fill}" {ink}/>'


def circle(at: Pair, radius: float, width: float, fill: str = "#fff") -> str:
    """Draw a circle."""
    x, y = at
    return (
        f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{fill}" stroke="#000" '
        f'stroke-width="{number(width)}"/>'
    )


def blank(box: Sequence[float]) -> str:
    """Lay white paper under a text."""
    left, top, right, bottom = box
    return (
        f'<rect x="{number(left)}" y="{number(top)}" width="{number(right - left)}" height="{number(bottom - top)}" '
        'fill="#fff"/>'
    )


def text_size(words: str, size: float, *, bold: bool = False) -> Pair:
    """Width and height of one line of text."""
    return text_width(words, size, bold=bold), size * (ASCENT + DESCENT)


def text(
    words: str, left: float, top: float, size: float, *, bold: bool = False, width: float = math.inf, kind: str = ""
) -> str:
    """Set one line of text by the upper left corner of its box; what is wider than `width` is cut.

    Parameters
    ----------
    words
        Any text of the record: it is escaped here, and becomes one line.
    kind
        Class of the element, for who reads the drawing with a program.
    """
    said = fit_text(one_line(words), size, width, bold=bold)
    weight = ' font-weight="bold"' if bold else ""
    named = f" class={quoteattr(kind)}" if kind else ""
    return (
        f'<text x="{number(left)}" y="{number(top + ASCENT * size)}" font-size="{number(size)}"{weight}{named} '
        f'xml:space="preserve">{escape(said)}</text>'
    )


def group(parts: Iterable[str], kind: str, **data: str) -> str:
    """Hold pieces together under a class, with names for who reads the drawing with a program."""
    named = "".join(f" data-{key}={quoteattr(one_line(value))}" for key, value in data.items())
    return f"<g class={quoteattr(kind)}{named}>{''.join(parts)}</g>"


def document(parts: Iterable[str], width: float, height: float, title: str) -> str:
    """Make the file: one unit is one millimetre of paper."""
    size = f'width="{number(width)}mm" height="{number(height)}mm" viewBox="0 0 {number(width)} {number(height)}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="{FACE}, sans-serif" fill="#000">'
    paper = f'<rect width="{number(width)}" height="{number(height)}" fill="#fff"/>'
    body = "\n".join(parts)
    return f"{head}\n<title>{escape(one_line(title))}</title>\n{paper}\n{body}\n</svg>\n"

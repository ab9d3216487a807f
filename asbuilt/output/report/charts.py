"""A chart of values over the years as SVG: lines and dots that print in black and white, every word escaped."""

import math
from collections.abc import Iterator
from datetime import date
from xml.sax.saxutils import escape, quoteattr

from asbuilt.output.report.blocks import Chart, Series
from asbuilt.output.words import one_line

WIDTH, HEIGHT = 640, 245
_LEFT, _RIGHT, _TOP, _BOTTOM = 52, 14, 56, 26
_DASHES = ("", "6 4", "2 3", "8 3 2 3")
_MOST_YEARS = 12  # labels along the foot that stand clear of each other
_LETTER = 6.2  # width of a small letter, in the drawing's own units


def chart_svg(chart: Chart) -> str:
    """Draw a chart.

    Series differ by dashes and by the form of their dots, so that they are told apart without colour.
    """
    plot = _Plot(chart)
    title = one_line(f"{chart.title}, {chart.unit}")
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" '
            f'height="{HEIGHT}" role="img" aria-label={quoteattr(title)} font-family="DejaVu Sans, sans-serif" '
            f'font-size="10">',
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
            _text(_LEFT, 13, title, weight="bold"),
            *plot.grid(),
            *plot.marks(),
            *plot.limit(),
            *(line for number, series in enumerate(chart.series) for line in plot.series(series, number)),
            *plot.legend(),
            "</svg>",
        )
    )


class _Plot:
    """The field of a chart, and where a day and a value stand in it."""

    def __init__(self, chart: Chart) -> None:
        self.chart = chart
        days = [day for series in chart.series for day, _ in series.points] + [day for day, _ in chart.marks]
        values = [value for series in chart.series for _, value in series.points]
        if chart.limit is not None:
            values.append(chart.limit[0])
        self.first_year = min(days).year
        self.last_year = max(days).year + 1
        self.step = nice_step(max(values, default=1.0))
        self.top = self.step * max(1, math.ceil(max(values, default=1.0) / self.step))

    def x(self, day: date) -> float:
        begin, end = date(self.first_year, 1, 1).toordinal(), date(min(self.last_year, 9999), 1, 1).toordinal()
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * (day.toordinal() - begin) / max(1, end - begin)

    def y(self, value: float) -> float:
        return HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * value / self.top

    def grid(self) -> Iterator[str]:
        for number in range(round(self.top / self.step) + 1):
            value = number * self.step
            yield _line(_LEFT, self.y(value), WIDTH - _RIGHT, self.y(value), "#bbb")
            yield _text(_LEFT - 5, self.y(value) + 3.5, f"{value:g}", anchor="end")
        every = math.ceil((self.last_year - self.first_year + 1) / _MOST_YEARS)
        for year in range(self.first_year, min(self.last_year, 9999) + 1, every):
            x = self.x(date(year, 1, 1))
            yield _line(x, HEIGHT - _BOTTOM, x, HEIGHT - _BOTTOM + 4, "#000")
            yield _text(x, HEIGHT - 9, str(year), anchor="middle")

    def marks(self) -> Iterator[str]:
        for day, words in self.chart.marks:
            x = self.x(day)
            yield _line(x, _TOP, x, HEIGHT - _BOTTOM, "#000", "1 3")
            told = f"<title>{escape(one_line(words))}</title>"
            yield f'<path d="M{x:.1f} {_TOP + 7} l-4 -7 h8 z" fill="#000">{told}</path>'

    def limit(self) -> Iterator[str]:
        if self.chart.limit is not None:
            value, words = self.chart.limit
            yield _line(_LEFT, self.y(value), WIDTH - _RIGHT, self.y(value), "#000", width=2)
            yield _text(WIDTH - _RIGHT - 2, self.y(value) - 4, one_line(words), anchor="end")

    def series(self, series: Series, number: int) -> Iterator[str]:
        points = [(self.x(day), self.y(value)) for day, value in series.points]
        chains = [points] if series.joined else [points[at : at + 2] for at in range(0, len(points), 2)]
        for chain in chains:
            way = " ".join(f"{x:.1f},{y:.1f}" for x, y in chain)
            dashes = f' stroke-dasharray="{_DASHES[number % len(_DASHES)]}"' if _DASHES[number % len(_DASHES)] else ""
            yield f'<polyline points="{way}" fill="none" stroke="#000" stroke-width="1.5"{dashes}/>'
        yield from (_dot(x, y, number) for x, y in points)

    def legend(self) -> Iterator[str]:
        names = [one_line(series.name) for series in self.chart.series]
        x, y = float(_LEFT), 26.0
        for number, name in enumerate([*names, *(["pumped out"] if self.chart.marks else [])]):
            width = 24 + _LETTER * len(name)
            if x + width > WIDTH:
                x, y = float(_LEFT), y + 14
            if number < len(names):
                yield _dot(x + 4, y, number)
            else:
                yield f'<path d="M{x + 4:.1f} {y + 4:.1f} l-4 -7 h8 z" fill="#000"/>'
            yield _text(x + 12, y + 3.5, name)
            x += width


def nice_step(most: float) -> float:
    """Give the step of an axis that makes about five of them: 1, 2 or 5 times a power of ten.

    Examples
    --------
    >>> nice_step(340), nice_step(14), nice_step(0.3)
    (100.0, 5.0, 0.1)
    """
    rough = max(most, 1e-6) / 4
    power: float = 10.0 ** math.floor(math.log10(rough))
    factor = next(each for each in (1, 2, 5, 10) if rough <= each * power * (1 + 1e-9))
    return round(factor * power, 9)


def _line(x1: float, y1: float, x2: float, y2: float, color: str, dashes: str = "", width: float = 1) -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{color}" '
        f'stroke-width="{width:g}"{dashed}/>'
    )


def _text(x: float, y: float, words: str, *, anchor: str = "start", weight: str = "normal") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-weight="{weight}" fill="#000">'
        f"{escape(words)}</text>"
    )


def _dot(x: float, y: float, number: int) -> str:
    """Draw a dot in the form of its series: round, square, round and empty, square and empty."""
    fill = "#000" if number % 4 < 2 else "#fff"
    if number % 2 == 0:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.4" fill="{fill}" stroke="#000"/>'
    return f'<rect x="{x - 3.2:.1f}" y="{y - 3.2:.1f}" width="6.4" height="6.4" fill="{fill}" stroke="#000"/>'

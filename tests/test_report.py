"""The history report: gaps first, each part in words, HTML and PDF from the same blocks, hostile words as text."""

import subprocess
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest

from asbuilt.output.report.blocks import Chart, Report, Section, Series, Table
from asbuilt.output.report.charts import chart_svg, nice_step
from asbuilt.output.report.page import report_html
from asbuilt.output.report.sheet import report_pdf
from asbuilt.output.words import clean
from tests.hostile import HOSTILE


def small(words: str) -> Report:
    """Make a report with these words in every place that takes words."""
    chart = Chart(
        words,
        words,
        (Series(words, ((date(2020, 1, 1), 1.0), (date(2021, 1, 1), 2.0))),),
        ((date(2020, 6, 1), words),),
        (1.5, words),
    )
    table = Table((words, words), ((words, words),), words)
    return Report(words, words, (words,), (Section(words, (words,), (words,), (table,), (chart,)),), (words,), True)


class Seen(HTMLParser):
    """What an HTML reader other than ours makes of the page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.words: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take note of a tag and its attributes."""
        self.tags += [] if tag == "time" else [tag]  # what looks like a date is kept on one line
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        """Take note of words that are shown."""
        self.words.append(data)


@pytest.mark.parametrize("words", [words for words in HOSTILE if words])
def test_hostile_words_stand_in_the_page_as_text(words: str) -> None:
    seen, harmless = Seen(report_html(small(words))), Seen(report_html(small("harmless")))
    assert seen.tags == harmless.tags
    assert [name for name, _ in seen.attributes] == [name for name, _ in harmless.attributes]
    assert clean(words) in seen.words


def test_the_paper_takes_hostile_words_too(tmp_path: Path) -> None:
    for words in HOSTILE[::6]:
        made = tmp_path / "report.pdf"
        made.write_bytes(report_pdf(small(words), "us-letter"))
        read = subprocess.run(["pdftotext", made, "-"], capture_output=True, text=True, check=True).stdout
        assert "What can hurt" in read


def test_charts_of_one_value_and_of_one_day_are_drawn() -> None:
    one = Chart("sludge", "in", (Series("sludge", ((date(2020, 1, 1), 0.0),)),))
    assert "<circle" in chart_svg(one)


def test_two_series_differ_without_colour() -> None:
    points = ((date(2020, 1, 1), 1.0), (date(2021, 1, 1), 2.0))
    svg = chart_svg(Chart("t", "in", (Series("a", points), Series("b", points))))
    assert "<circle" in svg
    assert svg.count("<rect") > 1
    assert "stroke-dasharray" in svg


@pytest.mark.parametrize(("most", "step"), [(1.0, 0.5), (8.0, 2.0), (450.0, 200.0), (0.0, 5e-07)])
def test_the_steps_of_an_axis_are_round(most: float, step: float) -> None:
    assert nice_step(most) == pytest.approx(step)

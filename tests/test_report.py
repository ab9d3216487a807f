"""The history report: gaps first, each part in words, HTML and PDF from the same blocks, hostile words as text."""

import subprocess
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest

from asbuilt.jobs.locate import Located, locate
from asbuilt.jobs.report import report_of
from asbuilt.model.components import Component
from asbuilt.output.report.blocks import Chart, Report, Section, Series, Table
from asbuilt.output.report.charts import chart_svg, nice_step
from asbuilt.output.report.page import report_html
from asbuilt.output.report.sheet import report_pdf
from asbuilt.output.words import clean
from asbuilt.record.sheets.read import read_sheets
from tests.commands import SAMPLE
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


@pytest.fixture(scope="module")
def sample() -> Located:
    return locate(read_sheets(SAMPLE).record)


def section(located: Located, heading: str) -> Section:
    return next(each for each in report_of(located, date(2026, 6, 1)).sections if each.heading == heading)


def test_the_last_full_and_the_last_partial_pump_out_of_each_tank_are_told_apart(sample: Located) -> None:
    """2024-05-14: 1,180 of 1,250 gal; 2025-11-08: the truck was full at 600; the pump tank was never pumped."""
    assert section(sample, "Days since the last pump-out").items == (
        "septic tank: last full pump-out 2024-05-14, 748 days ago (1,180 gal of 1,250); "
        "last partial one 2025-11-08, 205 days ago (600 gal of 1,250).",
        "pump tank: no pump-out is recorded.",
    )


def test_a_pump_out_of_another_tank_is_not_that_of_the_septic_tank(sample: Located) -> None:
    others = tuple(replace(each, component="pump tank", compartment=None) for each in sample.record.service)
    moved = replace(sample, record=replace(sample.record, service=others))
    lines = section(moved, "Days since the last pump-out").items
    assert lines[0] == "septic tank: no pump-out is recorded."
    assert lines[1].startswith("pump tank: last full pump-out 2025-11-08")


def test_a_tank_without_a_volume_still_tells_its_last_pump_out(sample: Located) -> None:
    unsized = tuple(replace(each, volume_gal=None) for each in sample.record.components)
    lines = section(replace(sample, record=replace(sample.record, components=unsized)), "Days since the last pump-out")
    assert lines.items[0].startswith("septic tank: last pump-out 2025-11-08, 205 days ago; whether it was a full one")


@pytest.mark.parametrize(("gallons", "shown"), [(1234567.0, "1,234,567 gal"), (1250.25, "1,250.25 gal")])
def test_no_digit_of_the_gallons_is_lost(sample: Located, gallons: float, shown: str) -> None:
    pumped = tuple(each if each.gallons is None else replace(each, gallons=gallons) for each in sample.record.service)
    table = section(replace(sample, record=replace(sample.record, service=pumped)), "What was done").tables[0]
    assert any(row[2].startswith(f"{shown};") for row in table.rows)


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


def test_what_stands_on_the_yard_is_no_part_of_the_system_whatever_it_is_called() -> None:
    """By the groups of the rule profile: drive, porch, terrace, paving, barn and hot tub once were parts."""
    located = locate(read_sheets(SAMPLE).record)
    kinds = ["gravel drive", "porch", "terrace", "paving", "barn", "hot tub", "garden shed", "oak tree"]
    built = tuple(Component(f"the {kind}", kind, installed_on=date(2020, 1, 1)) for kind in kinds)
    record = replace(located.record, components=(*located.record.components, *built))
    told = report_of(replace(located, record=record), date(2026, 6, 1))
    sections = {each.heading: each for each in told.sections}
    since = [item.split(" (")[0] for item in sections["Built and changed since"].items]
    assert since[: len(kinds)] == [f"the {kind}" for kind in kinds]
    rows = [row[0] for row in sections["What is there"].tables[0].rows]
    assert "building sewer" in rows
    assert not [name for name in rows if name.startswith("the ")]

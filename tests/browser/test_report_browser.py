"""The history report in a browser: no script, nothing fetched, no fault by axe-core, readable on a phone."""

from datetime import UTC, date, datetime

import pytest
from axe import violations
from conftest import SIZES, Opener

from asbuilt.jobs.load import load_sheets
from asbuilt.jobs.properties import located
from asbuilt.jobs.report import report_of
from asbuilt.output.report.page import report_html
from tests.commands import ROOT, SAMPLE_NAME
from tests.hostile import WORDS
from tests.test_report import small


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    record = tmp_path_factory.mktemp("report") / "asbuilt.db"
    load_sheets(record, ROOT / "sample_property", who="tester", now=datetime(2026, 6, 1, tzinfo=UTC))
    return report_html(report_of(located(record, SAMPLE_NAME), date(2026, 6, 1), record))


@pytest.mark.parametrize("width", SIZES)
def test_the_report_has_no_fault_by_axe_and_asks_for_nothing(page: str, opened: Opener, width: int) -> None:
    shown = opened(page, width)
    assert shown.page.get_by_role("heading", name="What is not known").is_visible()
    assert shown.page.locator("img").count() >= 3
    assert violations(shown.page) == []
    wide = shown.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0  # a table that is too wide scrolls by itself
    shown.ran_clean()


@pytest.mark.parametrize("width", SIZES)
def test_hostile_words_of_a_report_run_nothing(opened: Opener, width: int) -> None:
    for words in WORDS[::9]:
        opened(report_html(small(words)), width).ran_clean()

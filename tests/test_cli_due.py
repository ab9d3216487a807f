"""`asbuilt due`: what is due when, over all properties, and why."""

from pathlib import Path
from typing import Any

import pytest

from tests.commands import SAMPLE_NAME, Run, WriteSheets, files_below, parsed, two_corners

KEYS = [
    "property",
    "component",
    "task",
    "due_on",
    "earliest_on",
    "latest_on",
    "reason",
    "method",
    "reference",
    "overdue",
]


def with_a_tank(name: str, pumped: str, volume_gal: str = "1000", people: str = "4") -> dict[str, Any]:
    """Give the smallest sheets with a tank whose next pump-out can be told."""
    sheets = two_corners(name)
    sheets["components"] = [["name", "kind", "volume_gal"], ["septic tank", "septic tank", volume_gal]]
    sheets["household"] = [["from", "people"], ["2000-01-01", people]]
    sheets["service"] = [["on", "component", "task", "gallons"], [pumped, "septic tank", "pump-out", volume_gal]]
    return sheets


def test_the_json_of_due_is_a_list_with_exactly_its_keys(run: Run, loaded: Path) -> None:
    result = run("due", "--on", "2026-06-01", "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    (only,) = parsed(result)
    assert list(only) == KEYS
    assert only | {"reason": "", "reference": ""} == {
        "property": SAMPLE_NAME,
        "component": "septic tank",
        "task": "pump-out",
        "due_on": "2027-10-13",
        "earliest_on": "2027-02-06",
        "latest_on": "2028-06-18",
        "reason": "",
        "method": "published table",
        "reference": "",
        "overdue": False,
    }


def test_the_answer_is_that_of_the_published_table(run: Run, write_sheets: WriteSheets) -> None:
    """1,000 gal and 4 people: 2.6 years, by the table of years by tank size and people (Mancl 1984)."""
    run("load", write_sheets("sheets", **with_a_tank("Table", "2024-01-01")))
    (only,) = parsed(run("due", "--on", "2024-02-01", "--json"))
    assert "published table: 2.6 years for 1,000 gal and 4 people" in only["reason"]
    assert only["due_on"][:7] == "2026-08"  # 2.6 years on
    assert "Mancl" in only["reference"]


def test_properties_are_listed_soonest_first(run: Run, loaded: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("late", **with_a_tank("A late one", "2026-01-01")))
    run("load", write_sheets("soon", **with_a_tank("Z soon one", "2024-01-01")))
    days = [(one["due_on"], one["property"]) for one in parsed(run("due", "--on", "2026-06-01", "--json"))]
    assert days == sorted(days)
    assert [name for _, name in days] == ["Z soon one", SAMPLE_NAME, "A late one"]


def test_one_property_may_be_asked_for(run: Run, loaded: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("late", **with_a_tank("Other", "2026-01-01")))
    said = parsed(run("due", "--property", "Other", "--on", "2026-06-01", "--json"))
    assert [one["property"] for one in said] == ["Other"]
    refused = run("due", "--property", "Nobody")
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert refused.stderr == "asbuilt: no property 'Nobody' in asbuilt.db. It holds 'Fernbank Lane 14', 'Other'\n"


def test_what_is_overdue_brings_status_1_and_says_whose_it_is(
    run: Run, loaded: Path, write_sheets: WriteSheets
) -> None:
    run("load", write_sheets("late", **with_a_tank("Other", "2015-01-01")))
    result = run("due", "--on", "2026-06-01")
    assert result.exit_code == 1
    assert result.stdout.splitlines()[0] == "2017-08-08  OVERDUE pump-out of septic tank, Other"
    assert result.stderr == (
        "attention: Other, septic tank: pump-out was due 2017-08-08, 3219 days ago. "
        "Have it pumped by a licensed pumper, or have its sludge and scum measured.\n"
    )
    said = run("due", "--on", "2026-06-01", "--json")
    assert said.exit_code == 1
    assert [one["overdue"] for one in parsed(said)] == [True, False]


def test_the_day_that_is_asked_for_decides(run: Run, loaded: Path) -> None:
    assert run("due", "--on", "2027-10-13").exit_code == 0
    assert run("due", "--on", "2027-10-14").exit_code == 1


def test_the_list_is_readable_and_gives_each_source_once(run: Run, loaded: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("late", **with_a_tank("Other", "2026-01-01")))
    lines = run("due", "--on", "2026-06-01").stdout.splitlines()
    assert max(map(len, lines)) <= 100
    text = " ".join(" ".join(lines).split())
    assert text.count("Mancl") == 1
    assert "2027-10-13 pump-out of septic tank, Fernbank Lane 14 between 2027-02-06 and 2028-06-18" in text
    assert "published table: 3.4 years for 1,250 gal and 4 people" in text
    assert "the pump-out of 2025-11-08 (600 gal of 1,250) does not start the clock again" in text


def test_nothing_to_say_is_said(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **two_corners()))
    assert run("due").stdout == "Nothing is scheduled.\n"
    assert parsed(run("due", "--json")) == []


def test_a_tank_without_a_volume_says_what_is_missing(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **with_a_tank("Other", "2026-01-01", volume_gal="")))
    result = run("due", "--on", "2026-06-01")
    assert result.exit_code == 0
    assert result.stdout == (
        "Nothing is scheduled.\n\n"
        "note: septic tank: cannot say when the next pump-out is due: no volume is recorded. Record\n"
        "  volume_gal in components.csv.\n"
    )


@pytest.mark.parametrize("words", [("due",), ("due", "--property", "x")])
def test_a_mistyped_record_is_refused_and_not_made(run: Run, folder: Path, words: tuple[str, ...]) -> None:
    result = run(*words, "--record", "typo.db")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"asbuilt: typo.db: no record there; `asbuilt load` makes one (looked for {folder / 'typo.db'})\n"
    )
    assert files_below(folder) == {}

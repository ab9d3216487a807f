"""`asbuilt due`: what is due when, over all properties, and why."""

import csv
import io
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
    result = run("due", "--task", "pump-out", "--on", "2026-06-01", "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    (only,) = parsed(result)
    assert list(only) == KEYS
    assert only | {"reason": "", "reference": ""} == {
        "property": SAMPLE_NAME,
        "component": "septic tank",
        "task": "pump-out",
        "due_on": "2027-12-10",
        "earliest_on": "2027-04-07",
        "latest_on": "2029-09-12",
        "reason": "",
        "method": "measured solids",
        "reference": "",
        "overdue": False,
    }


def test_the_answer_is_that_of_the_published_table(run: Run, write_sheets: WriteSheets) -> None:
    """1,000 gal and 4 people: 2.6 years, by the table of years by tank size and people (Mancl 1984)."""
    run("load", write_sheets("sheets", **with_a_tank("Table", "2024-01-01")))
    (only,) = parsed(run("due", "--task", "pump-out", "--on", "2024-02-01", "--json"))
    assert "published table: 2.6 years for 1,000 gal and 4 people" in only["reason"]
    assert only["due_on"][:7] == "2026-08"  # 2.6 years on
    assert "Mancl" in only["reference"]


def test_properties_are_listed_soonest_first(run: Run, loaded: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("late", **with_a_tank("A late one", "2026-01-01")))
    run("load", write_sheets("soon", **with_a_tank("Z soon one", "2024-01-01")))
    days = [
        (one["due_on"], one["property"])
        for one in parsed(run("due", "--task", "pump-out", "--on", "2026-06-01", "--json"))
    ]
    assert days == sorted(days)
    assert [name for _, name in days] == ["Z soon one", SAMPLE_NAME, "A late one"]


def test_one_property_may_be_asked_for(run: Run, loaded: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("late", **with_a_tank("Other", "2026-01-01")))
    said = parsed(run("due", "--task", "pump-out", "--property", "Other", "--on", "2026-06-01", "--json"))
    assert [one["property"] for one in said] == ["Other"]
    refused = run("due", "--property", "Nobody")
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert refused.stderr == "asbuilt: no property 'Nobody' in asbuilt.db. It holds 'Fernbank Lane 14', 'Other'\n"


def test_what_is_overdue_brings_status_1_and_says_whose_it_is(
    run: Run, loaded: Path, write_sheets: WriteSheets
) -> None:
    run("load", write_sheets("late", **with_a_tank("Other", "2015-01-01")))
    result = run("due", "--task", "pump-out", "--on", "2026-06-01")
    assert result.exit_code == 1
    assert result.stdout.splitlines()[2] == "2017-08-08  OVERDUE pump-out of septic tank, Other"
    assert result.stderr == (
        "attention: Other, septic tank: pump-out was due 2017-08-08, 3219 days ago. "
        "Have it pumped by a licensed pumper, or have its sludge and scum measured.\n"
    )
    said = run("due", "--task", "pump-out", "--on", "2026-06-01", "--json")
    assert said.exit_code == 1
    assert [one["overdue"] for one in parsed(said)] == [True, False]


def test_the_day_that_is_asked_for_decides(run: Run, loaded: Path) -> None:
    assert run("due", "--task", "pump-out", "--on", "2027-12-10").exit_code == 0
    assert run("due", "--task", "pump-out", "--on", "2027-12-11").exit_code == 1


def test_the_list_is_readable_and_gives_each_source_once(run: Run, loaded: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("late", **with_a_tank("Other", "2026-01-01")))
    lines = run("due", "--task", "pump-out", "--on", "2026-06-01").stdout.splitlines()
    assert max(map(len, lines)) <= 100
    text = " ".join(" ".join(lines).split())
    assert text.count("Mancl") == 1
    whom = "14 Fernbank Lane, Hollow Mere (invented place), R. and L. Example (invented), 555-0142"
    assert f"2027-12-10 pump-out of septic tank, Fernbank Lane 14 {whom} between 2027-04-07 and 2029-09-12" in text
    assert "measured 2026-04-18 in the inlet compartment: sludge 5 in and scum 2 in" in text
    assert "published table: 2.6 years for 1,000 gal and 4 people" in text
    assert "the pump-out of 2025-11-08 (600 gal of 1,250) does not start the clock again" in text


def test_nothing_to_say_is_said(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **two_corners()))
    assert run("due").stdout == "Nothing is scheduled.\n"
    assert parsed(run("due", "--json")) == []


def test_a_tank_without_a_volume_says_what_is_missing(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **with_a_tank("Other", "2026-01-01", volume_gal="")))
    result = run("due", "--task", "pump-out", "--on", "2026-06-01")
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


def test_the_list_is_parted_by_how_soon_and_within_leaves_out_the_rest(run: Run, loaded: Path) -> None:
    asked = ("due", "--on", "2027-03-25")
    lines = run(*asked).stdout.splitlines()
    headings = [line for line in lines if line in ("Overdue", "Due in 30 days", "Due in a year", "Later", "No date")]
    assert headings == ["Due in 30 days", "Due in a year"]
    soon = parsed(run(*asked, "--within", "24", "--json"))
    assert {one["due_on"] for one in soon} == {"2027-04-18"}
    assert parsed(run(*asked, "--within", "23", "--json")) == []
    said = run(*asked, "--within", "23").stdout
    assert said.startswith("Nothing in 23 days; the next is 2027-04-18: ")
    assert f", {SAMPLE_NAME}." in " ".join(said.split())
    own = run(*asked, "--within", "23", "--property", SAMPLE_NAME, "--task", "pump-out").stdout
    assert own.startswith("Nothing in 23 days; the next is 2027-12-10: pump-out of septic tank.\n")


def test_the_csv_sheet_says_whom_to_call_and_no_cell_is_a_formula(run: Run, write_sheets: WriteSheets) -> None:
    sheets = with_a_tank("Caller", "2024-01-01")
    sheets["property"] += 'owner = "=1+1"\nphone = "+1 555 0100"\n'
    run("load", write_sheets("sheets", **sheets))
    rows = list(csv.DictReader(io.StringIO(run("due", "--on", "2024-02-01", "--csv").stdout)))
    assert {row["owner"] for row in rows} == {"'=1+1"}
    assert {row["phone"] for row in rows} == {"+1 555 0100"}
    assert [row["due_on"] for row in rows if row["task"] == "pump-out"] == ["2026-08-08"]


def test_two_forms_of_one_list_are_refused(run: Run, loaded: Path) -> None:
    refused = run("due", "--csv", "--json")
    assert refused.exit_code == 2
    assert "give one of them" in refused.stderr


def test_a_profile_of_ones_own_may_extend_ours(run: Run, write_sheets: WriteSheets) -> None:
    sheets = with_a_tank("County", "2024-01-01")
    sheets["components"] = [
        ["name", "kind", "volume_gal", "installed_on"],
        ["septic tank", "septic tank", "1000", "2020-05-01"],
    ]
    sheets["property"] += 'rules = "county.toml"\n'
    sheets["county"] = (
        '[profile]\nname = "county"\ntitle = "Invented County"\nextends = "washington"\n\n'
        '[[limit]]\nkey = "pump_out_interval"\nvalue = 2\nunit = "years"\ncomparison = "at most"\n'
        'applies_to = "septic tank"\nreference = { code = "Invented County Code", section = "1.2" }\n'
        'standing = "seen"\n'
    )
    folder = write_sheets("sheets", **sheets)
    run("load", folder)
    by_task = {one["task"]: one for one in parsed(run("due", "--on", "2024-02-01", "--json"))}
    assert by_task["pump-out"]["due_on"] == "2026-01-01"
    assert by_task["pump-out"]["method"] == "rule profile"
    assert "every 2 years by Invented County Code 1.2" in by_task["pump-out"]["reason"]
    assert "published table: 2026-08-08" in by_task["pump-out"]["reason"]
    assert by_task["inspection"]["due_on"] == "2023-05-01"
    assert by_task["inspection"]["reference"].startswith("WAC 246-272A-0270(1)(d)(i)")
    (folder / "county.toml").unlink()
    again = parsed(run("due", "--on", "2024-02-01", "--json"))
    assert {one["task"]: one for one in again} == by_task  # the record holds the profile itself


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('rules = "washingtn"\n', "property.toml, rules: “washingtn” is no rule profile; did you mean “washington”?"),
        ('rules = "../x.toml"\n', "property.toml, rules: “../x.toml” is no rule profile; accepted: common, constr"),
        (
            'rules = "x.toml"\n',
            "property.toml, rules: there is no x.toml beside property.toml; accepted: common, construction, epa, ",
        ),
    ],
)
def test_an_unknown_profile_is_refused_with_the_known_ones(
    run: Run, write_sheets: WriteSheets, text: str, said: str
) -> None:
    sheets = with_a_tank("County", "2024-01-01")
    sheets["property"] += text
    result = run("load", write_sheets("sheets", **sheets))
    assert result.exit_code == 2
    assert said in result.stderr


@pytest.mark.parametrize("form", [(), ("--json",), ("--csv",)])
def test_a_misspelt_task_is_refused_and_never_taken_for_nothing_due(
    run: Run, loaded: Path, form: tuple[str, ...]
) -> None:
    result = run("due", "--task", "Pumpout", "--on", "2026-06-01", *form)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "asbuilt: no task “pumpout”; did you mean “pump-out”?\n"


def test_a_task_that_a_profile_knows_may_find_nothing(run: Run, loaded: Path) -> None:
    result = run("due", "--task", "treatment-unit service", "--on", "2026-06-01", "--json")
    assert (result.exit_code, result.stdout, result.stderr) == (0, "[]\n", "")


def test_a_name_that_is_no_text_is_refused_in_one_line(run: Run, loaded: Path) -> None:
    result = run("due", "--property", "caf\udce9", "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("asbuilt: no property 'caf\\udce9' in ")


def test_the_log_says_how_long_a_rule_profile_is_and_never_prints_it(run: Run, write_sheets: WriteSheets) -> None:
    sheets = with_a_tank("County", "2024-01-01")
    sheets["property"] += 'rules = "county.toml"\n'
    folder = write_sheets("sheets", **sheets)
    head = '[profile]\nname = "county"\ntitle = "County"\nextends = "common"\n'
    (folder / "county.toml").write_text(head)
    assert run("load", folder).exit_code in (0, 1)
    (folder / "county.toml").write_text(f"{head}# checked\n")
    assert run("load", folder, "--supersede", "checked").exit_code in (0, 1)
    said = run("log", "County").stdout
    assert "rule profile county.toml: text 4 lines" in said
    assert "rule profile county.toml: text 5 lines" in said
    assert "[profile]" not in said
    assert "[profile]" not in run("log", "County", "--json").stdout

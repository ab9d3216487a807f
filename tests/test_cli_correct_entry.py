"""`asbuilt correct --entry` and `withdraw --entry`: any row of the record, by the number that `asbuilt log` shows."""

from pathlib import Path
from typing import Any

import pytest

from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from asbuilt.record.due_state import kept_differs
from asbuilt.record.entries import read_property
from tests.commands import SAMPLE, SAMPLE_NAME, Run, parsed

WHY = ("--reason", "seen again", "--who", "tester")

KINDS = (
    "point",
    "tie",
    "offset",
    "household",
    "service",
    "level_shot",
    "own_task",
    "site_reading",
    "photo",
)


@pytest.fixture
def record(loaded: Path, run: Run) -> Path:
    assert run("uncovered", SAMPLE_NAME, "outlet lid", "NE corner", "25 8 1/2", "--on", "2031-05-01").exit_code in (
        0,
        1,
    )
    return loaded


def log(run: Run) -> list[dict[str, Any]]:
    entries: list[dict[str, Any]] = parsed(run("log", SAMPLE_NAME, "--json"))
    return entries


def entry(run: Run, kind: str, words: str = "") -> int:
    """Give the number of the last entry of a kind that says these words."""
    return int([each["number"] for each in log(run) if each["kind"] == kind and words in each["what"]][-1])


def assert_sound(record: Path) -> None:
    from asbuilt.jobs.due import reckon

    with open_record(record, read_only=True) as opened:
        assert verify_chain(opened, SAMPLE_NAME) == []
        assert not kept_differs(opened, read_property(opened, SAMPLE_NAME), reckon)


@pytest.mark.parametrize("kind", [*KINDS, "sighting"])
def test_an_entry_of_every_kind_can_be_withdrawn_and_stays_readable(run: Run, record: Path, kind: str) -> None:
    """Once tapes only could be, and a wrong level or photo could be taken out by its sheet alone."""
    before = log(run)
    number = entry(run, kind, "well/casing" if kind == "point" else "")
    result = run("withdraw", SAMPLE_NAME, "--entry", number, *WHY)
    assert result.exit_code in (0, 1), result.stderr
    *same, last = log(run)
    assert same == before
    assert (last["withdrawn"], last["supersedes"], last["reason"]) == (True, number, "seen again")
    assert result.stdout == f"{last['what']}\n1 withdrawal stored as entry {last['number']}, over {number}\n"
    assert_sound(record)


def test_what_hangs_on_an_entry_is_named_and_nothing_is_stored(run: Run, record: Path) -> None:
    before = log(run)
    number = entry(run, "reference_point", "oak post")
    result = run("withdraw", SAMPLE_NAME, "--entry", number, *WHY)
    assert (result.exit_code, result.stdout) == (2, "")
    _, head, *rows = result.stderr.splitlines()
    assert head.startswith(f"entry {number}, reference point oak post: other rows hang on it")
    assert (
        "tie SE corner to oak post, column to: “oak post” is no reference point or point; mend or withdraw it first"
        in (rows)
    )
    assert log(run) == before


def test_a_component_is_withdrawn_once_nothing_hangs_on_it(run: Run, record: Path) -> None:
    tape = ("tape", SAMPLE_NAME, "spare tank/lid", "NE corner", "30 0", "--component-kind", "septic tank")
    assert run(*tape, "--who", "tester").exit_code in (0, 1)
    component, tie = entry(run, "component", "spare tank"), entry(run, "tie", "spare tank/lid")
    refused = run("withdraw", SAMPLE_NAME, "--entry", component, *WHY)
    assert refused.exit_code == 2
    assert "tie NE corner to spare tank/lid, column to: " in refused.stderr
    assert run("withdraw", SAMPLE_NAME, "--entry", tie, *WHY).exit_code in (0, 1)
    done = run("withdraw", SAMPLE_NAME, "--entry", component, *WHY)
    assert done.exit_code in (0, 1), done.stderr
    assert_sound(record)


def test_what_a_photo_is_of_is_not_withdrawn_under_it(run: Run, record: Path) -> None:
    result = run("withdraw", SAMPLE_NAME, "--entry", entry(run, "component", "component control panel"), *WHY)
    assert result.exit_code == 2
    assert "photo panel.png of control panel" in result.stderr


@pytest.mark.parametrize("command", [("withdraw",), ("correct", "--set", "units=m")])
def test_what_the_property_is_stays_with_its_sheet(run: Run, record: Path, command: tuple[str, ...]) -> None:
    result = run(command[0], SAMPLE_NAME, "--entry", 1, *command[1:], *WHY)
    assert result.exit_code == 2
    assert result.stderr.endswith("change the sheets and load them: asbuilt load SHEETS --supersede REASON\n")


def test_an_entry_that_does_not_stand_is_refused(run: Run, record: Path) -> None:
    number = entry(run, "service")
    run("withdraw", SAMPLE_NAME, "--entry", number, *WHY)
    last = log(run)[-1]["number"]
    for asked, said in (
        (number, f"entry {number} was withdrawn by entry {last}"),
        (last, f"entry {last} withdraws entry {number}"),
        (9999, "there is no entry 9999"),
    ):
        result = run("withdraw", SAMPLE_NAME, "--entry", asked, *WHY)
        message = f"asbuilt: {SAMPLE_NAME}: {said}; `asbuilt log` lists the entries (nothing was stored)\n"
        assert (result.exit_code, result.stderr) == (2, message)


def test_a_withdrawal_and_a_correction_stand_when_the_sheets_are_loaded_again(run: Run, record: Path) -> None:
    run("withdraw", SAMPLE_NAME, "--entry", entry(run, "service"), *WHY)
    run("correct", SAMPLE_NAME, "--entry", entry(run, "component", "component septic tank"), "--set", "note=seen", *WHY)
    before = log(run)
    again = run("load", SAMPLE)
    assert again.exit_code in (0, 1), again.stderr
    assert "2 readings stand as they were corrected or withdrawn at the prompt" in again.stdout
    assert log(run) == before


@pytest.mark.parametrize(
    ("kind", "words", "cells", "said"),
    [
        ("tie", "oak post", ("distance=70 10", "note="), "distance 70 10 (was 70' 9 1/2\"), note blank"),
        ("level_shot", "", ("foresight=4.21'",), "foresight 4.21' (was "),
        ("household", "", ("people=5",), "people 5 (was "),
        ("own_task", "", ("every_months=18",), "every_months 18 (was "),
        ("wall", "SW corner to SE corner", ("length=48 3 1/4",), "length 48 3 1/4 (was 48' 3\")"),
        ("component", "component septic tank", ("liquid_depth=4' 2\"", "material=concrete, two parts"),
         "liquid_depth 4' 2\""),
    ],
)  # fmt: skip
def test_a_row_is_corrected_by_the_columns_of_its_sheet(
    run: Run, record: Path, kind: str, words: str, cells: tuple[str, ...], said: str
) -> None:
    number = entry(run, kind, words)
    changes = [word for cell in cells for word in ("--set", cell)]
    result = run("correct", SAMPLE_NAME, "--entry", number, *changes, *WHY, "--json")
    assert result.exit_code in (0, 1), result.stderr
    made = parsed(result)["entry"]
    assert made == log(run)[-1]
    assert (made["kind"], made["supersedes"], made["withdrawn"]) == (kind, number, False)
    assert said in made["what"]
    assert_sound(record)


@pytest.mark.parametrize(
    ("kind", "words", "cell", "said"),
    [
        ("tie", "oak post", "distance=47.5.1", "--set, distance: “47.5.1” "),
        ("tie", "oak post", "distanse=47 5", "--set: “distanse” is no column of tie wing corner to oak post; "
         "did you mean “distance”?"),
        ("tie", "oak post", "to=old post", "--set, to: “old post” is no reference point or point"),
        ("household", "", "people=", "--set, people: is empty; it is needed in every row"),
        ("tie", "oak post", "distance=70' 9 1/2\"", "--set: says what is recorded already; say what it should be"),
        ("photo", "", "caption=x", "cannot be corrected so; withdraw it, or change the sheets and load them"),
    ],
)  # fmt: skip
def test_a_cell_that_its_sheet_would_not_take_is_refused(
    run: Run, record: Path, kind: str, words: str, cell: str, said: str
) -> None:
    before = log(run)
    result = run("correct", SAMPLE_NAME, "--entry", entry(run, kind, words), "--set", cell, *WHY)
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr
    assert log(run) == before


def test_a_new_name_that_other_rows_do_not_know_is_refused_with_those_rows(run: Run, record: Path) -> None:
    number = entry(run, "reference_point", "oak post")
    result = run("correct", SAMPLE_NAME, "--entry", number, "--set", "name=elm post", *WHY)
    assert result.exit_code == 2
    assert "tie SE corner to oak post, column to: “oak post” is no reference point or point" in result.stderr


def test_what_somebody_else_stored_meanwhile_is_not_lost(
    run: Run, record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from asbuilt.jobs import correct_entry as job
    from asbuilt.jobs.tape import refusing

    number, calls = entry(run, "service"), list[int]()

    def late(*args: Any) -> Any:
        calls.append(1)
        if len(calls) == 1:
            assert run("withdraw", SAMPLE_NAME, "--entry", number, *WHY).exit_code in (0, 1)
        return refusing(*args)

    monkeypatch.setattr(job, "refusing", late)
    result = run("correct", SAMPLE_NAME, "--entry", number, "--set", "note=x", *WHY)
    assert result.exit_code == 2
    assert f"entry {number} was withdrawn by entry " in result.stderr
    assert sum(each["supersedes"] == number for each in log(run)) == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("withdraw", SAMPLE_NAME), "say which reading: POINT and --from NAME, or --entry N"),
        (("withdraw", SAMPLE_NAME, "well", "--entry", 3), "--entry names the entry alone"),
        (("correct", SAMPLE_NAME, "--entry", 3, "--read", "4 5"), "--entry names the entry alone"),
        (("correct", SAMPLE_NAME, "--entry", 3), "say what it should be: --set COLUMN=VALUE"),
        (("correct", SAMPLE_NAME, "--entry", 3, "--set", "kind"), "--set kind: write COLUMN=VALUE"),
        (("correct", SAMPLE_NAME, "well", "--set", "kind=x"), "--set goes with --entry"),
    ],
)
def test_half_a_command_is_refused(run: Run, record: Path, words: tuple[str, ...], said: str) -> None:
    result = run(*words, *WHY)
    assert result.exit_code == 2
    assert said in result.stderr

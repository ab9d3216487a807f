"""`asbuilt load --draft`: an afternoon's readings are not lost for one bad cell, and nothing passes for complete."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from asbuilt.output.text.positions import DRAFT_WORDS
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from asbuilt.record.sheets.read import read_draft, read_sheets
from tests.commands import SAMPLE, SAMPLE_NAME, Run, WriteSheets, files_below, parsed, point_named
from tests.trench import LID, NAME, house, tape, taped

GOOD = {"from1": "A", "tape1": tape("A"), "from2": "B", "tape2": tape("B"), "from3": "C", "tape3": tape("C")}
GOOD |= {"side": "right of A > B", "held": "level"}


def sheets_of(write_sheets: WriteSheets, outlet: dict[str, str], **more: Any) -> Path:
    """Write the sheets of the house: a good row of the inlet lid, a row of the outlet lid."""
    return write_sheets("sheets", **(house(**{"inlet lid": GOOD, "outlet lid": outlet}) | more))


@pytest.fixture
def half(write_sheets: WriteSheets) -> Path:
    """Write sheets with a bad cell of a tape, an unknown way of holding it, and a service row that cannot be read."""
    outlet = {"from1": "A", "tape1": "29 9", "from2": "B", "tape2": "29.5", "from3": "C", "tape3": "53 10"}
    service = [
        ["on", "component", "task", "gallons"],
        ["2024-05-01", "septic tank", "pump-out", "lots"],
        ["2024-06-01", "septic tank", "inspection", ""],
    ]
    return sheets_of(write_sheets, outlet | {"held": "flat"}, service=service)


# ------------------------------------------------------------ what is stored


def test_the_good_rows_are_stored_and_the_rest_is_listed(run: Run, half: Path) -> None:
    result = run("load", half, "--draft")
    assert result.exit_code == 1
    assert result.stdout.splitlines() == [
        f"{NAME} (DRAFT): rows of the sheets stored in asbuilt.db: 26 added",
        "1 of 2 points located, 1 of them checked by a spare tape",
    ]
    left_out = [line for line in result.stderr.splitlines() if line.startswith("left out: ")]
    assert left_out == [
        "left out: points.csv row 3, column tape2: “29.5” could be tenths of a foot or inches; write 29.5' or 29' 5\" "
        'or 29.5"',
        "left out: points.csv row 3, column held: “flat” is not accepted here; accepted: level, slope or unknown",
        "left out: service.csv row 2, column gallons: “lots” is not a number; accepted: a number of 0 or more, "
        "written as 1234.5",
    ]
    refused = run("load", half)
    assert refused.exit_code == 2
    assert refused.stderr.splitlines()[1:] == [line.removeprefix("left out: ") for line in left_out]


def test_only_the_bad_cell_of_a_tape_is_left_out(run: Run, half: Path) -> None:
    run("load", half, "--draft")
    ties = point_named(parsed(run("positions", NAME, "--json")), "septic tank/outlet lid")["ties"]
    assert [(tie["from"], tie["as_read"]) for tie in ties] == [("A", "29 9"), ("C", "53 10")]


def test_a_service_row_with_a_bad_cell_is_left_out_whole(half: Path) -> None:
    """A pump-out without its gallons would count as a full one."""
    sheets, _ = read_draft(half)
    assert [entry.task for entry in sheets.record.service] == ["inspection"]


def test_the_json_lists_what_was_left_out(run: Run, half: Path) -> None:
    said = parsed(run("load", half, "--draft", "--json"))
    assert said["draft"] is True
    assert [(each["file"], each["row"], each["column"]) for each in said["left_out"]] == [
        ("points.csv", 3, "tape2"),
        ("points.csv", 3, "held"),
        ("service.csv", 2, "gallons"),
    ]
    assert list(said["left_out"][0]) == ["file", "row", "column", "reason", "accepted"]


def test_a_draft_loaded_again_changes_not_a_byte(run: Run, folder: Path, half: Path) -> None:
    run("load", half, "--draft")
    before = files_below(folder)
    result = run("load", half, "--draft")
    assert result.stdout.splitlines()[0] == (
        f"{NAME} (DRAFT): the sheets say what is recorded already; nothing changed"
    )
    assert files_below(folder) == before


def test_a_reference_point_that_is_left_out_takes_its_tapes_with_it(write_sheets: WriteSheets) -> None:
    sheets = house(**{"inlet lid": GOOD})
    sheets["reference_points"][3][0] = "C > D"  # C is not named any more
    sheets["walls"] = sheets["walls"][:3]
    read, problems = read_draft(write_sheets("sheets", **sheets))
    assert [reference.name for reference in read.record.reference_points] == ["A", "B", "D", "garage", "post"]
    assert {tie.from_ for tie in read.record.ties} | {tie.to for tie in read.record.ties} <= {
        "A", "B", "D", "garage", "post", "septic tank/inlet lid"
    }  # fmt: skip
    assert {(each.file, each.row, each.column) for each in problems} >= {
        ("reference_points.csv", 4, "name"),
        ("walls.csv", 3, "to"),
        ("points.csv", 2, "from3"),
    }


def test_a_wall_with_a_bad_turn_stands_with_an_unknown_one(write_sheets: WriteSheets) -> None:
    sheets = house(**{"inlet lid": GOOD})
    sheets["walls"][2][3] = "left"
    read, problems = read_draft(write_sheets("sheets", **sheets))
    assert [wall.turn for wall in read.record.walls] == ["L", "?", "L", "L"]
    assert [(each.file, each.row, each.column) for each in problems] == [("walls.csv", 3, "turn")]


def test_half_of_earth_is_left_out_whole(write_sheets: WriteSheets) -> None:
    sheets = house(**{"inlet lid": GOOD})
    sheets["property"] += '[earth]\nreference = "A"\nlatitude = 91.0\nlongitude = 10.0\naccuracy_m = 3.0\n'
    read, problems = read_draft(write_sheets("sheets", **sheets))
    assert read.record.property.earth is None
    assert [each.column for each in problems] == ["[earth] latitude"]


def test_good_sheets_read_as_a_draft_say_the_same_but_for_the_mark() -> None:
    draft, problems = read_draft(SAMPLE)
    complete = read_sheets(SAMPLE)
    assert problems == ()
    assert draft.record.property.draft is True
    assert draft.rows[1:] == complete.rows[1:]


@pytest.mark.parametrize(
    ("file", "content"),
    [
        ("property", 'units = "ft-in"\n'),
        ("property", 'name = "Mill Lane 4"\n'),
        ("reference_points", [["nam"], ["A"]]),
        ("points", [["component"], ["septic tank"]]),
    ],
)
def test_even_a_draft_needs_names_and_units(
    run: Run, folder: Path, write_sheets: WriteSheets, file: str, content: Any
) -> None:
    result = run("load", write_sheets("sheets", **(house(**{"inlet lid": GOOD}) | {file: content})), "--draft")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.splitlines()[-1] == (
        "--draft: even a draft needs name and units in property.toml, and the headings of reference_points.csv, "
        "points.csv and components.csv; mend these first"
    )
    assert not (folder / "asbuilt.db").exists()


# ------------------------------------------------------------ until it is complete


def test_complete_sheets_take_the_mark_off_without_a_reason_and_nothing_is_lost(
    run: Run, folder: Path, half: Path, write_sheets: WriteSheets
) -> None:
    run("load", half, "--draft", "--who", "T. Sample")
    outlet = dict(
        zip(("from1", "tape1", "from2", "tape2", "from3", "tape3"), taped((20, -22), "A", "B", "C"), strict=True)
    )
    result = run("load", sheets_of(write_sheets, outlet | {"side": "right of A > B", "held": "level"}))
    assert result.stdout.splitlines()[0] == (
        f"{NAME}: rows of the sheets stored in asbuilt.db: 1 added, 3 superseded, 1 withdrawn"
    )
    assert "DRAFT" not in run("positions", NAME).stdout
    assert parsed(run("ready", NAME, "--json"))["missing"] == []
    log = parsed(run("log", NAME, "--json"))
    mark = next(entry for entry in log if "draft" in entry["what"] and entry["supersedes"] == 1)
    assert mark["what"] == f"property {NAME}: draft blank (was yes)"
    assert mark["reason"] == "the sheets of a draft, loaded again"
    assert any(entry["what"].startswith("left out of the draft: points.csv row 3, column tape2") for entry in log)
    with open_record(folder / "asbuilt.db", read_only=True) as record:
        assert verify_chain(record, NAME) == []


def test_complete_sheets_over_complete_ones_still_need_a_reason(
    run: Run, half: Path, write_sheets: WriteSheets
) -> None:
    complete = sheets_of(write_sheets, {})
    run("load", complete)
    result = run("load", complete, "--draft")
    assert (result.exit_code, result.stderr) == (
        2,
        f"asbuilt: {NAME}: the record holds complete sheets, and --draft would make a draft of them; nothing was "
        "stored; load without --draft, or give the reason: --supersede REASON\n",
    )


def test_a_row_that_has_become_bad_does_not_take_the_recorded_one_away(run: Run, write_sheets: WriteSheets) -> None:
    run("load", sheets_of(write_sheets, {}), "--draft")
    assert point_named(parsed(run("positions", NAME, "--json")), "septic tank/inlet lid")["checked"] is True
    worse = house(**{"inlet lid": GOOD | {"tape2": "25.5"}, "outlet lid": {}})
    run("load", write_sheets("sheets", **worse), "--draft")
    ties = point_named(parsed(run("positions", NAME, "--json")), "septic tank/inlet lid")["ties"]
    assert sorted(tie["as_read"] for tie in ties) == ["25 0", "25 0", "47 5"]


def test_a_mended_row_is_no_longer_listed_while_another_still_is(run: Run, write_sheets: WriteSheets) -> None:
    bad = {"from1": "A", "tape1": "29.5"}
    run("load", write_sheets("sheets", **house(**{"inlet lid": bad, "outlet lid": bad})), "--draft")
    run("load", sheets_of(write_sheets, bad), "--draft")
    left_out = [each for each in parsed(run("ready", NAME, "--json"))["missing"] if "left out" in each["what"]]
    assert [each["words"].partition(":")[0] for each in left_out] == ["points.csv row 3, column tape1"]


def test_tapes_typed_at_the_prompt_stay_when_the_sheets_are_loaded_again(
    run: Run, half: Path, write_sheets: WriteSheets
) -> None:
    run("load", half, "--draft")
    said = run("tape", NAME, "outlet lid", "B", "29 9", "--side", "right of A > B", "--held", "level")
    assert said.stdout.splitlines()[-1] == f"1 tape stored; {NAME} is a DRAFT"
    run("load", half, "--draft")
    run("load", sheets_of(write_sheets, {"from1": "A", "tape1": "29 9", "from2": "C", "tape2": "53 10"}))
    ties = point_named(parsed(run("positions", NAME, "--json")), "septic tank/outlet lid")["ties"]
    assert sorted((tie["from"], tie["as_read"]) for tie in ties) == [("A", "29 9"), ("B", "29 9"), ("C", "53 10")]


def test_a_sheet_that_holds_a_tape_typed_before_is_not_a_second_one(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **house()), "--draft")
    run("tape", NAME, "inlet lid", *taped(LID, "A", "B", "C"), "--side", "right of A > B", "--held", "level")
    run("load", sheets_of(write_sheets, {}))
    assert len(point_named(parsed(run("positions", NAME, "--json")), "septic tank/inlet lid")["ties"]) == 3


# ------------------------------------------------------------ every output says so


def test_every_output_of_a_draft_says_draft(run: Run, folder: Path) -> None:
    run("load", SAMPLE, "--draft")
    assert run("positions", SAMPLE_NAME).stdout.splitlines()[1] == DRAFT_WORDS
    assert parsed(run("positions", SAMPLE_NAME, "--json"))["draft"] is True
    run("map", SAMPLE_NAME, "--out", "map.html")
    page = (folder / "map.html").read_text(encoding="utf-8")
    assert page.count(DRAFT_WORDS) >= 2  # in the page itself, and in what is printed from it
    features = json.loads(run("geojson", SAMPLE_NAME, "--points", "--house").stdout)["features"]
    assert {feature["properties"]["draft"] for feature in features} == {True}
    assert run("ready", SAMPLE_NAME).stdout.startswith(f"{SAMPLE_NAME} (DRAFT): ")


def test_no_output_of_complete_sheets_says_draft(run: Run, folder: Path, loaded: Path) -> None:
    run("map", SAMPLE_NAME, "--out", "map.html")
    texts = [
        run("positions", SAMPLE_NAME).stdout,
        run("positions", SAMPLE_NAME, "--json").stdout,
        run("geojson", SAMPLE_NAME, "--points").stdout,
        run("ready", SAMPLE_NAME).stdout,
    ]
    assert not any("DRAFT" in text for text in texts)
    assert DRAFT_WORDS not in (folder / "map.html").read_text(encoding="utf-8")
    assert not any('"draft":true' in text.replace(" ", "") for text in texts)


def test_a_draft_of_the_sample_with_one_bad_cell_a_sheet_keeps_all_the_rest(run: Run, folder: Path) -> None:
    """One tape of many is spoilt; every other reading is in the record."""
    sheets = shutil.copytree(SAMPLE, folder / "sheets")
    ties = sheets / "ties.csv"
    ties.write_text(ties.read_text(encoding="utf-8").replace('"79\' 4"""', '"79\' 14"""'), encoding="utf-8")
    said = parsed(run("load", "sheets", "--draft", "--json"))
    assert [(each["file"], each["column"]) for each in said["left_out"]] == [("ties.csv", "distance")]
    whole = parsed(run("load", SAMPLE, "--record", "whole.db", "--json"))
    assert said["added"] == whole["added"] - 1

"""`asbuilt map`: one whole file or none."""

from pathlib import Path

import pytest

from tests.commands import SAMPLE_NAME, Run, WriteSheets, files_below, parsed, two_corners


def test_the_map_is_written_under_the_propertys_name(run: Run, folder: Path, loaded: Path) -> None:
    result = run("map", SAMPLE_NAME, "--on", "2026-06-01")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        "fernbank-lane-14.html: the map of Fernbank Lane 14; open it in any browser, no network needed\n"
    )
    document = (folder / "fernbank-lane-14.html").read_text(encoding="utf-8")
    assert document.startswith("<!DOCTYPE html>")
    assert document.rstrip().endswith("</html>")
    assert "33' 7" in document


def test_the_same_record_draws_the_same_map(run: Run, folder: Path, loaded: Path) -> None:
    for name in ("one.html", "two.html"):
        run("map", SAMPLE_NAME, "--out", name, "--on", "2026-06-01")
    assert (folder / "one.html").read_bytes() == (folder / "two.html").read_bytes()


def test_a_map_that_is_there_already_is_not_replaced_unless_asked(run: Run, folder: Path, loaded: Path) -> None:
    (folder / "map.html").write_text("mine", encoding="utf-8")
    before = files_below(folder)
    result = run("map", SAMPLE_NAME, "--out", "map.html")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "asbuilt: map.html: the file is there already; --overwrite replaces it\n"
    assert files_below(folder) == before
    assert run("map", SAMPLE_NAME, "--out", "map.html", "--overwrite").exit_code == 0
    assert (folder / "map.html").read_text(encoding="utf-8") != "mine"
    assert files_below(folder).keys() == before.keys()


@pytest.mark.parametrize(
    ("out", "message"),
    [
        ("nowhere/map.html", "asbuilt: nowhere/map.html: there is no folder nowhere; make it first\n"),
        ("x" * 300 + ".html", f"asbuilt: {'x' * 300}.html: cannot be written here: File name too long\n"),
        ("asbuilt.db/map.html", "asbuilt: asbuilt.db/map.html: there is no folder asbuilt.db; make it first\n"),
        (".", "Error: Invalid value for '--out': File '.' is a directory.\n"),
    ],
)
def test_a_map_that_cannot_be_written_is_one_message(
    run: Run, folder: Path, loaded: Path, out: str, message: str
) -> None:
    before = files_below(folder)
    result = run("map", SAMPLE_NAME, "--out", out)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(message)
    assert files_below(folder) == before


def test_the_json_of_map_has_exactly_its_keys(run: Run, loaded: Path) -> None:
    said = parsed(run("map", SAMPLE_NAME, "--out", "map.html", "--on", "2026-06-01", "--json"))
    assert list(said) == ["property", "written", "findings"]
    assert (said["property"], said["written"]) == (SAMPLE_NAME, "map.html")
    assert {finding["code"] for finding in said["findings"]} == {
        "unchecked",
        "weak-crossing",
        "partial-pump-out",
        "levels-unchecked",
        "lateral-not-level",
    }


def test_a_pump_out_that_is_overdue_brings_status_1(run: Run, loaded: Path) -> None:
    result = run("map", SAMPLE_NAME, "--out", "map.html", "--on", "2030-01-01")
    assert result.exit_code == 1
    assert result.stdout.startswith("map.html: the map of ")
    assert (
        "attention: septic tank: pump-out was due 2027-12-10, 753 days ago. "
        "Have it pumped by a licensed pumper, or have its sludge and scum measured.\n"
    ) in result.stderr


def test_a_property_without_a_place_on_the_earth_has_a_map_all_the_same(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    run("load", write_sheets("sheets", **two_corners()))
    assert run("map", "Two Corners").exit_code == 0
    assert "25' 0" in (folder / "two-corners.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["{{ 7*7 }}", "Å Ö, 東 3", "...", "con<sole"])
def test_a_name_of_any_kind_gives_a_file_in_this_folder(
    run: Run, folder: Path, write_sheets: WriteSheets, name: str
) -> None:
    run("load", write_sheets("sheets", **two_corners(name)))
    result = run("map", name, "--json")
    assert result.exit_code == 0
    written = folder / parsed(result)["written"]
    assert written.parent == folder
    assert written.is_file()
    assert not written.name.startswith((".", "-"))


@pytest.mark.parametrize("day", ["2026-6-1", "tomorrow", "20260601", "2026-02-30", ""])
def test_a_day_is_written_one_way_only(run: Run, folder: Path, loaded: Path, day: str) -> None:
    before = files_below(folder)
    result = run("map", SAMPLE_NAME, "--on", day)
    assert result.exit_code == 2
    assert result.stderr.splitlines()[-1] == (
        f"Error: Invalid value for '--on': {day!r} is not a date; write it as 2026-07-31 (year-month-day)"
    )
    assert files_below(folder) == before

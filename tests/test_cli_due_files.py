"""`asbuilt due --ics` and `--map`: what is due as a calendar and as a map of the properties."""

import json
import re
from pathlib import Path

import pytest
import vobject

from asbuilt.jobs.due_files import places_of
from tests.commands import SAMPLE_NAME, Run, WriteSheets, files_below, parsed
from tests.route_samples import FIRST_DAY, YARD, sheets_of

ON = ("--on", "2027-05-03")


def block_of(path: Path) -> dict[str, object]:
    match = re.search(r'id="plan-data">(.*?)</script>', path.read_text(encoding="utf-8"), re.DOTALL)
    assert match
    found: dict[str, object] = json.loads(match[1])
    return found


def test_the_calendar_has_the_days_of_the_list(run: Run, loaded: Path, folder: Path) -> None:
    rows = [row for row in parsed(run("due", *ON, "--json")) if row["due_on"]]
    result = run("due", *ON, "--ics", "due.ics")
    assert result.stdout.startswith(f"due.ics: {len(rows)} days for a calendar program; read again, it moves them")
    events = vobject.readOne((folder / "due.ics").read_bytes().decode()).contents["vevent"]
    assert [event.dtstart.value.isoformat() for event in events] == [row["due_on"] for row in rows]
    uids = {event.uid.value for event in events}
    assert len(uids) == len(rows)
    run("due", "--on", "2027-09-01", "--ics", "due.ics", "--overwrite")
    again = vobject.readOne((folder / "due.ics").read_bytes().decode()).contents["vevent"]
    assert {event.uid.value for event in again} == uids


def test_the_map_has_a_pin_for_each_property_and_lists_those_without_a_place(
    run: Run, loaded: Path, folder: Path, write_sheets: WriteSheets
) -> None:
    old = FIRST_DAY.replace(year=2023)
    for number, place in enumerate((YARD, None)):
        sheets = write_sheets(f"s{number}", **sheets_of(f"Example Road {number}", place, old))
        assert run("load", sheets, "--who", "tester").exit_code == 0
    result = run("due", *ON, "--map", "due.html", "--ics", "due.ics")
    said = "due.html: the map of 3 properties; open it in any browser, no network needed; 1 without coordinates in"
    assert f"{said} its list only\n" in result.stdout
    assert result.exit_code == 1  # something is overdue
    data = block_of(folder / "due.html")
    places = {pin["title"]: pin["at"] for pin in data["pins"]}  # type: ignore[attr-defined]
    assert places["Example Road 0"] == [YARD[1], YARD[0]]
    assert places["Example Road 1"] is None
    assert places[SAMPLE_NAME] == [-118.4551996, 42.5282927]
    sections = [section["title"] for section in data["sections"]]  # type: ignore[attr-defined]
    assert sections[0] == "Overdue by more than a year"
    assert sections[-1] == "Without a place"


def test_places_are_read_as_the_whole_record_has_them(run: Run, loaded: Path, write_sheets: WriteSheets) -> None:
    """A superseded coordinate does not count."""
    sheets = sheets_of("Moved", YARD, FIRST_DAY)
    run("load", write_sheets("s", **sheets), "--who", "tester")
    sheets["property"] = str(sheets["property"]).replace("42.53", "42.54")
    run("load", write_sheets("s", **sheets), "--who", "tester", "--supersede", "wrong place")
    places = places_of(Path("asbuilt.db"), ["Moved", SAMPLE_NAME])
    assert places == {"Moved": (-118.45, 42.54), SAMPLE_NAME: (-118.4551996, 42.5282927)}
    assert places_of(Path("asbuilt.db"), ["Moved"]) == {"Moved": (-118.45, 42.54)}


@pytest.mark.parametrize("other", ["--csv", "--json", "--rebuild"])
def test_files_and_printed_forms_do_not_go_together(run: Run, loaded: Path, folder: Path, other: str) -> None:
    result = run("due", "--ics", "due.ics", other)
    assert result.exit_code == 2
    line = "Error: --ics and --map write files instead of printing; leave --csv, --json and --rebuild out"
    assert result.stderr.splitlines()[-1] == line
    assert not (folder / "due.ics").exists()


def test_a_file_that_is_there_is_kept_and_nothing_else_is_written(run: Run, loaded: Path, folder: Path) -> None:
    (folder / "due.html").write_text("mine", encoding="utf-8")
    before = files_below(folder)
    result = run("due", *ON, "--ics", "due.ics", "--map", "due.html")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "asbuilt: due.html: the file is there already; --overwrite replaces it\n"
    assert files_below(folder) == before


def test_a_calendar_of_nothing_is_refused(run: Run, loaded: Path, folder: Path) -> None:
    result = run("due", "--on", "2026-06-01", "--within", "0", "--task", "pump-out", "--ics", "due.ics")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "asbuilt: nothing that is due has a date, so there is no calendar to write\n"
    assert not (folder / "due.ics").exists()

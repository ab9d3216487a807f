"""`asbuilt route`: from what is due in the record to runs, files, and what could not be fitted."""

import csv
import json
import sys
from pathlib import Path
from typing import Any

import gpxpy
import pytest
import vobject

from tests.commands import Run, WriteSheets, files_below, parsed
from tests.route_samples import FIRST_DAY, YARD, load_district, sheets_of

DUMP = (42.61, -118.40)
BASE = ("route", "--date", "2027-05-03", "--from", "42.53,-118.45", "--dump", "42.61,-118.40")
TRUCK = ("--truck-gal", "2500")
OLD = FIRST_DAY.replace(year=2023)
"""A tank of 1,000 gal that four people use since then is due 2025-12 (2.6 years, published table)."""


def load(run: Run, write_sheets: WriteSheets, *sheets: dict[str, Any]) -> None:
    for number, each in enumerate(sheets):
        result = run("load", write_sheets(f"s{number}", **each), "--who", "tester")
        assert result.exit_code == 0, result.stderr


def near(number: int) -> tuple[float, float]:
    return YARD[0] + number / 100, YARD[1]


def minutes(clock: str) -> float:
    hours, rest, seconds = map(int, clock.split(":"))
    return hours * 60 + rest + seconds / 60


def test_a_day_is_planned_within_truck_hours_and_shift_with_everything_the_driver_needs(
    run: Run, write_sheets: WriteSheets
) -> None:
    more = 'address = "1 Example Road (invented)"\nphone = "555-0101"\n'
    more += '[access]\ngate = "code at the post"\ndog = "loose"\n'
    load(
        run,
        write_sheets,
        sheets_of("Example Road 1", near(1), OLD, 1500, more),
        sheets_of("Example Road 2", near(2), OLD, 1250),
    )
    result = run(*BASE, *TRUCK)
    assert result.exit_code == 0
    assert "2027-05-03 Monday, truck 1 (2,500 gal): 2 stops, 2 loads" in result.stdout
    for words in ("gate: code at the post", "dog: loose", "1 Example Road (invented), 555-0101", "dump 1: empty the"):
        assert words in result.stdout
    assert "Caution: Never enter a tank" in result.stdout
    plan = parsed(run(*BASE, *TRUCK, "--json"))
    assert plan["left_out"] == []
    (only,) = plan["runs"]
    assert [halt["kind"] for halt in only["halts"]] == ["yard", "stop", "dump", "stop", "dump", "yard"]
    assert max(halt["load_gal"] for halt in only["halts"]) == 1500
    assert only["halts"][-1]["load_gal"] == 0
    assert [halt["property"] for halt in only["halts"] if halt["kind"] == "stop"] == [
        "Example Road 1",
        "Example Road 2",
    ]


def test_driving_times_are_geodesics_times_the_road_factor_at_the_speed(run: Run, write_sheets: WriteSheets) -> None:
    """Truth by another geodesic library, and 35 miles of 1,609.344 m an hour."""
    from geographiclib.geodesic import Geodesic

    load(run, write_sheets, sheets_of("Example Road 1", near(5), OLD))
    only = parsed(run(*BASE, *TRUCK, "--road-factor", "1.3", "--speed", "35", "--json"))["runs"][0]
    metres = Geodesic.WGS84.Inverse(*YARD, *near(5))["s12"] * 1.3
    leave, arrive = only["halts"][0]["leave"], only["halts"][1]["arrive"]
    assert minutes(arrive) - minutes(leave) == pytest.approx(metres / (35 * 1609.344) * 60, abs=1 / 30)
    slow = parsed(run(*BASE, *TRUCK, "--speed", "56.32704 km/h", "--json"))["runs"][0]
    assert slow["halts"][1]["arrive"] == arrive  # 35 mph in kilometres
    assert " km\n" in run(*BASE, *TRUCK, "--speed", "56 km/h").stdout.splitlines(keepends=True)[0]


def test_several_trucks_and_days_share_the_stops_and_weekends_are_left_out(run: Run, write_sheets: WriteSheets) -> None:
    load_district(write_sheets, 16)
    words = ("--trucks", "2", "--truck-gal", "2500", "--days", "2", "--shift", "4h", "--json")
    plan = parsed(run("route", "--date", "2027-05-07", *BASE[3:], *words))
    assert {each["date"] for each in plan["runs"]} == {"2027-05-07", "2027-05-10"}  # Friday, Monday
    assert {each["truck"] for each in plan["runs"]} == {"truck 1", "truck 2"}
    for each in plan["runs"]:
        assert minutes(each["halts"][-1]["arrive"]) <= 11 * 60
        assert all(halt["load_gal"] <= 2500 for halt in each["halts"])
    names = [halt["property"] for each in plan["runs"] for halt in each["halts"] if halt["kind"] == "stop"]
    assert len(names) == len(set(names))
    weekend = parsed(run("route", "--date", "2027-05-07", *BASE[3:], *words, "--weekends"))
    assert {each["date"] for each in weekend["runs"]} == {"2027-05-07", "2027-05-08"}


def test_what_could_not_be_fitted_is_said_with_the_reason_and_status_1(run: Run, write_sheets: WriteSheets) -> None:
    yearly = [["component", "task", "every_months"], ["septic tank", "pump-out", 12]]
    load(
        run,
        write_sheets,
        sheets_of("No Place", None, OLD),
        sheets_of("No Volume", near(1), OLD, None) | {"tasks": yearly},
        sheets_of("Too Big", near(1), OLD, 3000) | {"tasks": yearly},
        sheets_of("Too Far", (45.5, -118.45), OLD),
        sheets_of("Fits", near(1), OLD),
    )
    result = run(*BASE, *TRUCK, "--json")
    assert result.exit_code == 1
    plan = parsed(result)
    why = {each["property"]: (each["code"], each["why"]) for each in plan["left_out"]}
    assert why.pop("Too Far")[0] == "hours"
    assert why == {
        "No Place": ("place", "cannot be routed: no coordinates; give [earth] or known_coordinates.csv"),
        "No Volume": ("volume", "cannot be routed: septic tank has no volume_gal, so nobody knows what it loads"),
        "Too Big": ("capacity", "its 3,000 gal do not go into the largest truck (2,500 gal)"),
    }
    assert [halt["property"] for halt in plan["runs"][0]["halts"] if halt["kind"] == "stop"] == ["Fits"]
    text = run(*BASE, *TRUCK)
    assert text.exit_code == 1
    assert "Left out (4):" in text.stdout
    assert "cannot be routed: no coordinates" in " ".join(text.stdout.split())


def test_only_what_is_due_in_time_and_asked_for_is_planned(run: Run, write_sheets: WriteSheets) -> None:
    load(
        run,
        write_sheets,
        sheets_of("Soon", near(1), FIRST_DAY.replace(year=2024, month=11, day=1)),  # due 2027-06
        sheets_of("Later", near(2), FIRST_DAY.replace(year=2025, month=6)),  # due 2028-01
    )
    assert "1 stop, 1 load" in run(*BASE, *TRUCK).stdout
    nothing = " ".join(run(*BASE, *TRUCK, "--within", "10").stdout.split())
    assert f"Nothing is planned: no pump-out is due within 10 days of {FIRST_DAY}; the next is 2027-06-" in nothing
    assert ": pump-out of septic tank, Soon." in nothing
    assert "2 stops" in run(*BASE, *TRUCK, "--within", "365").stdout
    inspections = parsed(run(*BASE, *TRUCK, "--within", "3650", "--task", "Inspection", "--json"))["runs"][0]["halts"]
    works = [work["task"] for halt in inspections if halt["kind"] == "stop" for work in halt["works"]]
    assert works == ["inspection", "inspection"]
    assert {halt["load_gal"] for halt in inspections} == {0}
    assert "dump" not in {halt["kind"] for halt in inspections}


def test_a_misspelt_task_is_refused(run: Run, loaded: Path) -> None:
    result = run(*BASE, *TRUCK, "--task", "pumpout")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "asbuilt: no task “pumpout”; did you mean “pump-out”?\n"


def test_two_tanks_of_a_property_are_one_stop_if_the_truck_holds_both(run: Run, write_sheets: WriteSheets) -> None:
    sheets = sheets_of("Two Tanks", near(1), OLD)
    sheets["components"] = [
        ["name", "kind", "volume_gal", "installed_on"],
        ["septic tank", "septic tank", 1500, OLD],
        ["tank 2", "septic tank", 800, OLD],
    ]
    load(run, write_sheets, sheets)
    stops = [h for h in parsed(run(*BASE, *TRUCK, "--json"))["runs"][0]["halts"] if h["kind"] == "stop"]
    assert [(len(each["works"]), each["load_gal"]) for each in stops] == [(2, 2300)]
    assert minutes(stops[0]["leave"]) - minutes(stops[0]["arrive"]) == 80  # each pump-out takes its 40 minutes
    parted = [h for h in parsed(run(*BASE, "--truck-gal", "2000", "--json"))["runs"][0]["halts"] if h["kind"] == "stop"]
    assert [halt["load_gal"] for halt in parted] in ([1500, 800], [800, 1500])


# ------------------------------------------------------------ a given table of driving times


def table(folder: Path, rows: list[list[object]]) -> Path:
    path = folder / "times.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    return path


GOOD = [
    ["minutes", "yard", "dump 1", "example road 1", "No Place"],
    ["yard", "", 30, 10.5, 20],
    ["dump 1", 31, "", 12, 22],
    ["Example  Road 1", 11, 13, 0, 5],
    ["no place", 21, 24, 6, 0],
]


def test_a_given_table_of_driving_times_is_used_for_places_without_coordinates_too(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    load(
        run,
        write_sheets,
        sheets_of("Example Road 1", near(1), OLD),
        sheets_of("No Place", None, OLD),
        sheets_of("Unknown", near(2), OLD),
    )
    result = run(*BASE, *TRUCK, "--matrix", table(folder, GOOD), "--json", "--out", "out")
    plan = parsed(result)
    assert [(each["property"], each["code"]) for each in plan["left_out"]] == [("Unknown", "matrix")]
    halts = plan["runs"][0]["halts"]
    assert [h.get("property", h.get("name")) for h in halts] == ["yard", "No Place", "Example Road 1", "dump 1", "yard"]
    assert [h["arrive"] for h in halts] == ["07:00:00", "07:20:00", "08:06:00", "08:59:00", "09:50:00"]
    assert plan["runs"][0]["distance_m"] is None
    gpx = gpxpy.parse((folder / "out" / "route.gpx").read_text(encoding="utf-8"))
    assert [point.name for point in gpx.routes[0].points] == ["yard", "2 Example Road 1", "dump 1", "yard"]


@pytest.mark.parametrize(
    ("rows", "lines"),
    [
        (
            [["minutes", "yard"], ["yard", 0]],
            [
                "asbuilt: times.csv: no row and column for dump 1; it needs yard, dump 1 (dump 2 ...) and the names of "
                "the properties"
            ],
        ),
        (
            [["minutes", "yard", "dump 1"], ["yard", 0, "-3"], ["dump 1", "1e3", "nan"], ["yard", 1, 2]],
            [
                "asbuilt: 4 problems in the table of driving times; nothing was planned",
                "times.csv: yard has more than one row; accepted: one of each name",
                "times.csv row 2, column dump 1: '-3' is no driving time; accepted: minutes of driving, such as 12.5",
                "times.csv row 3, column yard: '1e3' is no driving time; accepted: minutes of driving, such as 12.5",
                "times.csv row 3, column dump 1: 'nan' is no driving time; accepted: minutes of driving, such as 12.5",
            ],
        ),
        (
            [[*GOOD[0][:4]], ["yard", 0, 30, ""], [*GOOD[2][:4]], [*GOOD[3][:4]]],
            [
                "asbuilt: 1 problem in the table of driving times; nothing was planned",
                "times.csv: there is no time from yard to Example Road 1; accepted: minutes of driving, such as 12.5",
            ],
        ),
    ],
)
def test_a_table_that_is_wrong_is_refused_with_every_problem(
    run: Run, folder: Path, write_sheets: WriteSheets, rows: list[list[object]], lines: list[str]
) -> None:
    load(run, write_sheets, sheets_of("Example Road 1", near(1), OLD))
    result = run(*BASE, *TRUCK, "--matrix", table(folder, rows), "--out", "out")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.splitlines() == lines
    assert not (folder / "out").exists()


# ------------------------------------------------------------ files


def test_the_folder_holds_list_map_gpx_and_calendar_that_agree(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    load_district(write_sheets, 5)
    result = run(*BASE, *TRUCK, "--within", "365", "--out", "monday")
    out = folder / "monday"
    assert sorted(files_below(out)) == ["route.gpx", "route.html", "route.ics", "route.json", "route.txt"]
    plan = json.loads((out / "route.json").read_text(encoding="utf-8"))
    stops = [halt["property"] for each in plan["runs"] for halt in each["halts"] if halt["kind"] == "stop"]
    assert len(stops) == 5
    gpx = gpxpy.parse((out / "route.gpx").read_text(encoding="utf-8"))
    assert [p.name.partition(" ")[2] for p in gpx.routes[0].points if p.name[0].isdigit()] == stops
    events = vobject.readOne((out / "route.ics").read_bytes().decode()).contents["vevent"]
    assert [event.summary.value.partition(":")[0] for event in events] == stops
    assert (out / "route.txt").read_text(encoding="utf-8").rstrip("\n") in result.stdout
    before = files_below(folder)
    again = run(*BASE, *TRUCK, "--out", "monday")
    assert (again.exit_code, again.stdout) == (2, "")
    assert again.stderr == "asbuilt: monday/route.txt: the file is there already; --overwrite replaces it\n"
    assert files_below(folder) == before
    assert run(*BASE, *TRUCK, "--out", "monday", "--overwrite").exit_code in (0, 1)


def test_reading_the_record_for_a_route_changes_nothing(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    load_district(write_sheets, 2)
    before = (folder / "asbuilt.db").read_bytes()
    run(*BASE, *TRUCK)
    assert (folder / "asbuilt.db").read_bytes() == before


@pytest.mark.parametrize("extra", [True, False])
def test_the_list_says_by_what_the_order_came_about(
    run: Run, write_sheets: WriteSheets, monkeypatch: pytest.MonkeyPatch, extra: bool
) -> None:
    load_district(write_sheets, 4)
    if not extra:
        monkeypatch.setitem(sys.modules, "pyvrp", None)
    words = " ".join(run(*BASE, *TRUCK).stdout.split())
    assert ("Order: PyVRP, then shortened" in words) == extra
    assert ("the extra `route` with PyVRP is not installed" in words) != extra
    assert "Driving times: straight lines times 1.3 at 35 mph." in words


def test_a_draft_that_is_visited_is_said(run: Run, write_sheets: WriteSheets) -> None:
    sheets = sheets_of("Half Filled", near(1), OLD)
    assert run("load", write_sheets("draft", **sheets), "--draft", "--who", "tester").exit_code in (0, 1)
    result = run(*BASE, *TRUCK)
    assert result.exit_code == 1
    assert "attention: Half Filled is a draft: its sheets are not complete.\n" in result.stderr


# ------------------------------------------------------------ words that are refused


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--truck-gal", "50"), "Error: Invalid value for '--truck-gal': 50.0 is not in the range 100<=x<=20000."),
        (("--truck-gal", "nan"), "Error: Invalid value for '--truck-gal': 'nan' is not a number"),
        ((), "Error: Missing option '--truck-gal'."),
        (
            (*TRUCK, "--dump", "42.61"),
            "Error: Invalid value for '--dump': '42.61' is not a place; write latitude,longitude in degrees, such as "
            "42.5283,-118.4552",
        ),
        (
            (*TRUCK, "--dump", "-118.40,42.61"),
            "Error: Invalid value for '--dump': '-118.40,42.61' lies nowhere: latitude is -90 to 90, longitude -180 to "
            "180; write latitude,longitude in degrees, such as 42.5283,-118.4552",
        ),
        (
            (*TRUCK, "--dump-hours", "16:00-07:00"),
            "Error: Invalid value for '--dump-hours': '16:00-07:00' are no hours; write opening and closing time as "
            "07:00-16:00",
        ),
        (
            (*TRUCK, "--start", "25:00"),
            "Error: Invalid value for '--start': '25:00' is not a time of the day; write it as 07:00 (00:00 to 24:00)",
        ),
        (
            (*TRUCK, "--shift", "long"),
            "Error: Invalid value for '--shift': 'long' is not a length of time; write it as 10h, 9h30 or 570 "
            "(minutes), up to 24h",
        ),
        (
            (*TRUCK, "--start", "20:00"),
            "Error: --start plus --shift runs past midnight; accepted: a shift that ends by 24:00",
        ),
        (
            (*TRUCK, "--speed", "0"),
            "Error: Invalid value for '--speed': '0' is not a driving speed; write 35, 35 mph or 56 km/h (3 to 110 "
            "mph)",
        ),
        (
            (*TRUCK, *TRUCK, "--trucks", "3"),
            "Error: --trucks 3 and 2 times --truck-gal; accepted: one --truck-gal for all, or one for each",
        ),
        (
            (*TRUCK, "--dump-hours", "07:00-07:10"),
            "Error: --dump-minutes is longer than --dump-hours: no truck could be emptied",
        ),
        (
            (*TRUCK, "--road-factor", "0.9"),
            "Error: Invalid value for '--road-factor': 0.9 is not in the range 1<=x<=5.",
        ),
        (
            (*TRUCK, "--date", "2027-5-3"),
            "Error: Invalid value for '--date': '2027-5-3' is not a date; write it as 2026-07-31 (year-month-day)",
        ),
    ],
)
def test_words_that_cannot_be_meant_are_refused_in_one_line(run: Run, words: tuple[str, ...], line: str) -> None:
    result = run(*BASE, *words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.splitlines()[-1] == line


def test_a_record_that_is_not_there_is_refused_and_nothing_is_written(run: Run, folder: Path) -> None:
    result = run(*BASE, *TRUCK, "--out", "out", "--record", "none.db")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("asbuilt: none.db: ")
    assert files_below(folder) == {}


def test_days_beyond_the_calendar_are_refused(run: Run, loaded: Path) -> None:
    result = run("route", "--date", "9999-12-31", *BASE[3:], *TRUCK, "--days", "2")
    assert (result.exit_code, result.stderr) == (2, "asbuilt: the calendar ends before 2 days after 9999-12-31\n")


def test_the_example_of_the_help_runs(run: Run, loaded: Path, folder: Path) -> None:
    text = run("route", "--help").stdout.replace("\\\n", "")
    example = text[text.index("Example:") :].splitlines()[1].split()[1:]
    assert run(*example).exit_code in (0, 1)
    assert (folder / "monday" / "route.html").exists()

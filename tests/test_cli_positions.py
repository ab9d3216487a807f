"""`asbuilt positions`: right on the sample's truth, to the letter in JSON, and readable in a trench."""

import json
import math
import re
import shutil
import sqlite3
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.commands import SAMPLE, SAMPLE_NAME, Run, WriteSheets, files_below, parsed, point_named, two_corners

POINT_KEYS = [
    "name",
    "component",
    "east_m",
    "north_m",
    "longitude",
    "latitude",
    "r95_m",
    "r95_earth_m",
    "ellipse",
    "checked",
    "unchecked_because",
    "unnoticed_m",
    "ties",
]


@pytest.fixture
def sample(run: Run, loaded: Path) -> dict[str, Any]:
    """Give `positions --json` of the sample property."""
    result = run("positions", SAMPLE_NAME, "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    said: dict[str, Any] = parsed(result)
    return said


# ------------------------------------------------------------ right on the truth


def turned(x: float, y: float) -> tuple[float, float]:
    """Turn a place of the house frame to east and north by the azimuth that the sheets give for the first wall."""
    earth = tomllib.loads((SAMPLE / "property.toml").read_text(encoding="utf-8"))["earth"]
    along = math.radians(earth["azimuth_deg"])
    return x * math.sin(along) - y * math.cos(along), x * math.cos(along) + y * math.sin(along)


def misses_m(positions: list[dict[str, Any]], truth: dict[str, Any]) -> dict[str, tuple[float, float]]:
    """How far each place is from the truth, and its own 95 % radius, metres."""
    found = {}
    for position in positions:
        true = turned(truth[position["name"]]["x"], truth[position["name"]]["y"])
        off = math.dist((position["east_m"], position["north_m"]), true)
        found[position["name"]] = (off, position["r95_m"])
    return found


def test_the_points_of_the_sample_lie_where_they_truly_are(sample: dict[str, Any], truth: dict[str, Any]) -> None:
    misses = misses_m(sample["points"], truth["points"])
    assert misses.keys() == truth["points"].keys()
    assert len(misses) == 42
    beyond = {name: miss for name, miss in misses.items() if miss[0] > 3 * miss[1]}
    assert beyond == {}
    # Binomial(42, 0.95): 36 or more in 98.6 of 100 surveys, were they independent
    assert sum(off <= r95 for off, r95 in misses.values()) >= 36


def test_the_corners_of_the_sample_lie_where_they_truly_are(sample: dict[str, Any], truth: dict[str, Any]) -> None:
    misses = misses_m(sample["references"], truth["reference_points"])
    assert misses.keys() == truth["reference_points"].keys()
    assert misses["SW corner"] == (0.0, 0.0)
    assert all(off <= 3 * max(r95, 0.001) for off, r95 in misses.values())


def test_the_origin_has_the_coordinates_of_the_sheets(sample: dict[str, Any]) -> None:
    origin = next(reference for reference in sample["references"] if reference["name"] == "SW corner")
    assert (origin["longitude"], origin["latitude"]) == (-118.4551996, 42.5282927)
    # accuracy_m 3.0 holds 68 %; per axis 3/1.5096 m; 95 % of a circular error lies within 2.4477 of that
    assert origin["r95_earth_m"] == pytest.approx(3.0 / 1.5096 * math.sqrt(-2 * math.log(0.05)), abs=1e-3)


def test_the_earth_accuracy_is_never_better_than_that_relative_to_the_house(sample: dict[str, Any]) -> None:
    assert all(p["r95_earth_m"] >= p["r95_m"] for p in sample["points"] + sample["references"])


# ------------------------------------------------------------ to the letter


def test_the_json_has_exactly_the_keys_of_the_contract(sample: dict[str, Any]) -> None:
    assert list(sample) == ["property", "points", "references", "fit", "findings"]
    assert list(sample["fit"]) == ["observations", "unknowns", "variance_factor", "chi2", "chi2_limit", "passed"]
    for position in sample["points"] + sample["references"]:
        assert list(position) == POINT_KEYS
        assert position["ellipse"] is None or list(position["ellipse"]) == ["major_m", "minor_m", "azimuth_deg"]
        assert all(list(tie) == ["from", "as_read", "residual_m"] for tie in position["ties"])
    assert all(list(finding) == ["code", "subject", "message", "severity"] for finding in sample["findings"])
    assert {finding["severity"] for finding in sample["findings"]} == {"note"}


def test_metres_have_four_decimals_at_most_and_degrees_nine(run: Run, loaded: Path) -> None:
    text = run("positions", SAMPLE_NAME, "--json").stdout
    for key, number in re.findall(r'"(\w+)": (-?[\d.]+(?:[eE][-+]?\d+)?)', text):
        decimals = len(number.partition(".")[2])
        assert "e" not in number.lower()
        assert decimals <= (9 if key in ("longitude", "latitude") else 4), (key, number)
        assert number != "-0.0"
    assert max(len(n) for n in re.findall(r'"east_m": -?\d+\.(\d+)', text)) == 4
    assert max(len(n) for n in re.findall(r'"longitude": -?\d+\.(\d+)', text)) == 9


def test_ellipse_and_radius_agree(sample: dict[str, Any]) -> None:
    for position in sample["points"]:
        ellipse = position["ellipse"]
        assert 0 <= ellipse["azimuth_deg"] <= 180
        assert ellipse["minor_m"] <= ellipse["major_m"]
        # the 95 % circle lies between 1.96 and 2.4477 of the longer axis' sigma, the ellipse at 2.4477 of it
        assert 1.959 / 2.4478 <= position["r95_m"] / ellipse["major_m"] <= 1.001


def test_the_readings_come_back_as_they_were_written_but_for_the_form_of_the_marks(sample: dict[str, Any]) -> None:
    assert [tie["as_read"] for tie in point_named(sample, "transport line/elbow 1")["ties"]] == [
        "47' 5\"",
        "61' 6\"",
        "30' 4\"",
    ]


def test_what_is_unchecked_says_why_and_what_is_checked_does_not(sample: dict[str, Any]) -> None:
    for position in sample["points"]:
        assert (position["unchecked_because"] is None) == position["checked"]
    assert {point["checked"] for point in sample["points"]} == {True, False}
    unchecked = {point["name"] for point in sample["points"] if not point["checked"]}
    assert unchecked == {finding["subject"] for finding in sample["findings"] if finding["code"] == "unchecked"}


def test_nothing_is_said_of_the_earth_where_nothing_places_the_property(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **two_corners()))
    said = parsed(run("positions", "Two Corners", "--json"))
    for position in said["points"] + said["references"]:
        assert [position[key] for key in ("longitude", "latitude", "r95_earth_m")] == [None, None, None]
        assert position["east_m"] is not None


def test_without_a_spare_measurement_the_fit_has_no_answer(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **two_corners()))
    fit = parsed(run("positions", "Two Corners", "--json"))["fit"]
    assert fit["observations"] == fit["unknowns"] == 3
    assert [fit[key] for key in ("variance_factor", "chi2_limit", "passed")] == [None, None, None]


def test_tapes_that_disagree_bring_status_1_and_a_finding(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["points"][0] += ["from3", "tape3"]
    sheets["reference_points"].append(["pin"])
    sheets["ties"] = [
        ["from", "to", "distance", "side"],
        ["A", "pin", "30' 0\"", ""],
        ["B", "pin", "42' 5\"", "left of A > B"],
    ]
    sheets["points"][1] += ["pin", "22' 0\""]  # 18' 0" in truth
    run("load", write_sheets("sheets", **sheets))
    result = run("positions", "Two Corners", "--json")
    said = parsed(result)
    assert result.exit_code == 1
    assert said["fit"]["passed"] is False
    assert said["fit"]["chi2"] > said["fit"]["chi2_limit"]
    assert "attention" in {finding["severity"] for finding in said["findings"]}


# ------------------------------------------------------------ nothing is changed


def test_a_mistyped_record_is_refused_and_not_made(run: Run, folder: Path) -> None:
    result = run("positions", SAMPLE_NAME, "--record", "asbiult.db")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"asbuilt: asbiult.db: no record there; `asbuilt load` makes one (looked for {folder / 'asbiult.db'})\n"
    )
    assert files_below(folder) == {}


def test_an_unknown_property_is_refused_with_those_that_are_known(run: Run, loaded: Path) -> None:
    result = run("positions", "Fernbank lane 14")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "asbuilt: no property 'Fernbank lane 14' in asbuilt.db; did you mean 'Fernbank Lane 14'? "
        "It holds 'Fernbank Lane 14'\n"
    )


@pytest.mark.parametrize("command", [("positions", SAMPLE_NAME), ("geojson", SAMPLE_NAME), ("due",)])
def test_looking_changes_not_a_byte_and_leaves_no_file(run: Run, folder: Path, loaded: Path, command: Any) -> None:
    before = files_below(folder)
    assert run(*command).exit_code == 0
    assert files_below(folder) == before


def test_an_sqlite_file_of_something_else_is_refused(run: Run, folder: Path) -> None:
    with sqlite3.connect(folder / "other.db") as other:
        other.execute("create table birds (name text)")
    other.close()
    before = files_below(folder)
    result = run("positions", SAMPLE_NAME, "--record", "other.db")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("asbuilt: other.db: ")
    assert files_below(folder) == before


# ------------------------------------------------------------ readable in a trench


@pytest.fixture
def table(run: Run, loaded: Path) -> str:
    return run("positions", SAMPLE_NAME).stdout


def test_the_table_is_no_wider_than_a_small_terminal(table: str) -> None:
    assert max(map(len, table.splitlines())) <= 100
    assert not any(line != line.rstrip() for line in table.splitlines())


def test_every_point_stands_under_its_component(table: str, sample: dict[str, Any]) -> None:
    lines = table.splitlines()
    for point in sample["points"]:
        start = lines.index(point["component"])
        block = lines[start + 1 : lines.index("", start)]
        own = point["name"].removeprefix(f"{point['component']}/")
        assert any(line.startswith(f"  {own}  ") for line in block), point["name"]


def test_a_row_gives_two_tapes_in_the_propertys_units_and_how_well_it_is_known(table: str) -> None:
    rows = [" ".join(line.split()) for line in table.splitlines()]
    assert "inlet lid 33' 7\" on the slope from wing corner and 2 in yes" in rows
    assert "52' 0\" on the slope from SE corner" in rows
    # typed as 67 5.5 and 70 10.5
    assert "south end 67' 5 1/2\" from NE corner and 70' 10 1/2\" from wing corner 3 1/2 in yes" in rows


def test_no_row_sends_one_to_a_reference_point_that_is_gone(table: str) -> None:
    assert "oak post" not in table


def test_a_point_off_a_wall_is_found_along_the_wall(table: str) -> None:
    text = " ".join(table.split())
    assert "panel end 24' 5\" from inside corner and 29' 10\" from wing corner" in text
    assert (
        "conduit 3' 3\" along NE corner > inside corner, 0' 4 1/2\" out and 2 in yes 30' 8 1/2\" from wing corner"
        in text
    )
    assert (
        "house entry 36' 0 1/2\" along NW corner > SW corner, 0' 5\" out and 1 1/2 in yes 8' 4\" from SW corner" in text
    )


def test_what_within_means_is_said_once(table: str) -> None:
    assert table.count("19 times in 20") == 1


def test_an_unchecked_point_says_why_on_its_own_line(table: str) -> None:
    lines = table.splitlines()
    bend = next(k for k, line in enumerate(lines) if line.startswith("  bend"))
    assert lines[bend].endswith("no")
    assert lines[bend + 1] == ("      not checked: a misreading of 1 ft would not show in the tape from inside corner")


def test_long_names_stay_within_the_table(run: Run, write_sheets: WriteSheets) -> None:
    long = "the long component name that somebody typed into the sheet without a thought"
    run("load", write_sheets("sheets", **two_corners(component=long, point="p" * 78)))
    lines = run("positions", "Two Corners").stdout.splitlines()
    assert max(map(len, lines)) <= 100
    assert "p" * 78 in "".join(line[:32].strip() for line in lines)


def test_a_point_without_a_place_says_so_in_its_row(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **two_corners(side="")))
    result = run("positions", "Two Corners")
    assert result.exit_code == 1
    assert "  lid  25' 0\" from A and 25' 0\" from B  no place  no" in result.stdout.splitlines()
    assert "attention: septic tank/lid fits two places" in result.stdout


def test_a_metric_property_reads_metres(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners(units="m", tape1="7.62", tape2="7.62")
    sheets["walls"][1][2] = "9.144"
    run("load", write_sheets("sheets", **sheets))
    assert "  lid  7.62 m from A and 7.62 m from B  5 cm    no" in run("positions", "Two Corners").stdout


def test_a_copy_of_the_record_answers_the_same(run: Run, folder: Path, loaded: Path) -> None:
    shutil.copy(loaded, folder / "copy.db")
    first, second = (run("positions", SAMPLE_NAME, "--json", "--record", file).stdout for file in (loaded, "copy.db"))
    assert json.loads(first) == json.loads(second)

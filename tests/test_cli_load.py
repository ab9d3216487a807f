"""`asbuilt load`: all of the sheets or nothing, and what is said about it."""

import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.commands import SAMPLE, SAMPLE_NAME, Run, WriteSheets, files_below, parsed, point_named, two_corners

LOAD_KEYS = ["property", "record", "added", "superseded", "withdrawn", "unchanged", "draft", "left_out", "findings"]


def test_two_corners_one_taped_wall_and_a_side_word_give_a_position(run: Run, write_sheets: WriteSheets) -> None:
    result = run("load", write_sheets("sheets", **two_corners()))
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        "Two Corners: rows of the sheets stored in asbuilt.db: 7 added\n"
        "1 of 1 points located, 0 of them checked by a spare tape\n"
    )
    lid = point_named(parsed(run("positions", "Two Corners", "--json")), "septic tank/lid")
    assert (lid["east_m"], lid["north_m"]) == pytest.approx((15 * 0.3048, 20 * 0.3048), abs=1e-4)


def test_the_other_side_word_gives_the_mirrored_place(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **two_corners(side="right of A > B")))
    lid = point_named(parsed(run("positions", "Two Corners", "--json")), "septic tank/lid")
    assert (lid["east_m"], lid["north_m"]) == pytest.approx((15 * 0.3048, -20 * 0.3048), abs=1e-4)


def test_the_json_of_load_has_exactly_its_keys(run: Run, write_sheets: WriteSheets) -> None:
    said = parsed(run("load", write_sheets("sheets", **two_corners()), "--json"))
    assert list(said) == LOAD_KEYS
    assert said | {"findings": []} == {
        "property": "Two Corners",
        "record": "asbuilt.db",
        "added": 7,
        "superseded": 0,
        "withdrawn": 0,
        "unchanged": 0,
        "draft": False,
        "left_out": [],
        "findings": [],
    }
    assert [list(finding) for finding in said["findings"]] == [["code", "subject", "message", "severity"]]
    assert [finding["code"] for finding in said["findings"]] == ["unchecked"]


def test_the_same_sheets_again_change_not_a_byte(run: Run, folder: Path, loaded: Path) -> None:
    before = files_below(folder)
    result = run("load", SAMPLE)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines()[0] == f"{SAMPLE_NAME}: the sheets say what is recorded already; nothing changed"
    assert files_below(folder) == before


def test_the_same_sheets_again_are_counted_as_unchanged(run: Run, loaded: Path) -> None:
    said = parsed(run("load", SAMPLE, "--json"))
    assert (said["added"], said["superseded"], said["withdrawn"]) == (0, 0, 0)
    assert said["unchanged"] > 150


def test_changed_sheets_are_refused_with_the_difference(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **two_corners()))
    write_sheets("sheets", **two_corners(tape2="26' 0\""))
    before = files_below(folder)
    result = run("load", "sheets")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "asbuilt: Two Corners: the sheets (+) differ from what is recorded (-); nothing was stored\n"
        "- tie B to septic tank/lid (points.csv row 2): distance 25' 0\"\n"
        "+ tie B to septic tank/lid (points.csv row 2): distance 26' 0\"\n"
        "to store them as a correction, give the reason: --supersede REASON\n"
    )
    assert files_below(folder) == before


def test_supersede_stores_the_correction_and_moves_the_point(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **two_corners()))
    result = run("load", write_sheets("sheets", **two_corners(tape2="26' 0\"")), "--supersede", "taped again")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines()[0] == "Two Corners: rows of the sheets stored in asbuilt.db: 1 superseded"
    lid = point_named(parsed(run("positions", "Two Corners", "--json")), "septic tank/lid")
    # the two circles in closed form: along = (a^2 - b^2 + w^2) / 2 w
    along = (25**2 - 26**2 + 30**2) / 60
    assert lid["east_m"] == pytest.approx(along * 0.3048, abs=1e-4)
    assert lid["north_m"] == pytest.approx((25**2 - along**2) ** 0.5 * 0.3048, abs=1e-4)


@pytest.mark.parametrize(
    ("reason", "message"),
    [
        ("", "asbuilt: the reason for superseding is blank; accepted: a few words, such as 'taped again'\n"),
        ("taped again", "asbuilt: no property 'Two Corners' in asbuilt.db. It holds 'Fernbank Lane 14'\n"),
    ],
)
def test_supersede_without_a_reason_or_an_object_is_refused(
    run: Run, loaded: Path, write_sheets: WriteSheets, reason: str, message: str
) -> None:
    before = loaded.read_bytes()
    result = run("load", write_sheets("sheets", **two_corners()), "--supersede", reason)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", message)
    assert loaded.read_bytes() == before


def test_every_problem_of_every_sheet_is_said_and_no_record_is_made(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    sheets = two_corners(tape1="25' 14\"", tape2="23.5", side="behind the house")
    sheets["walls"][1][0] = "Z"
    write_sheets("sheets", **sheets)
    before = files_below(folder)
    result = run("load", "sheets")
    assert (result.exit_code, result.stdout) == (2, "")
    head, *problems = result.stderr.splitlines()
    assert head == "asbuilt: 4 problems in the sheets; nothing was stored"
    places = [
        "walls.csv row 2, column from: ",
        "points.csv row 2, column tape1: ",
        "points.csv row 2, column tape2: ",
        "points.csv row 2, column side: ",
    ]
    assert all(line.startswith(place) for line, place in zip(problems, places, strict=True))
    assert files_below(folder) == before


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ("load", "nowhere"),
            "asbuilt: 1 problem in the sheets; nothing was stored\n"
            "nowhere: no such folder; give the folder that holds property.toml and the sheets\n",
        ),
        (
            ("load", "."),
            "asbuilt: 4 problems in the sheets; nothing was stored\n"
            'property.toml: is missing; write at least name = "..." and units = "ft-in", "ft" or "m"\n'
            "reference_points.csv: is missing; write a sheet with the heading name and the points that one measures "
            "from\n"
            "walls.csv: no wall, and no tie between two reference points in ties.csv; tape one wall, or one distance "
            "between two reference points\n"
            "points.csv: is missing, and so is ties.csv; write points.csv (one row a point) or ties.csv (one row a "
            "tape)\n",
        ),
    ],
)
def test_a_missing_folder_is_one_message_and_no_record(
    run: Run, folder: Path, words: tuple[str, ...], message: str
) -> None:
    result = run(*words)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", message)
    assert files_below(folder) == {}


def test_an_open_mirror_is_stored_with_a_warning_that_names_both_places(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    sheets = two_corners("Open", side="")
    sheets["points"].append(["septic tank", "outlet", "septic tank/lid", "5' 0\"", "A", "24' 0\"", "", "level"])
    sheets["points"].append(["cleanout", "cap", "A", "8' 0\"", "B", "25' 0\"", "right of A > B", "level"])
    result = run("load", write_sheets("sheets", **sheets))
    assert result.exit_code == 1
    assert result.stdout.splitlines()[0] == "Open: rows of the sheets stored in asbuilt.db: 13 added"
    assert result.stderr.splitlines() == [
        "attention: septic tank/lid fits two places, 40' 0\" apart: 20' 0\" left or 20' 0\" right of the line A > B. "
        "Note the side, such as `left of A > B`, or tape it from a point well off that line.",
        "attention: septic tank/outlet has no place because septic tank/lid has none. "
        "Settle septic tank/lid, or tape septic tank/outlet from the house.",
    ]
    asked = run("positions", "Open", "--json")
    said = parsed(asked)
    assert asked.exit_code == 1
    for name in ("septic tank/lid", "septic tank/outlet"):
        point = point_named(said, name)
        places = ("east_m", "north_m", "longitude", "latitude", "r95_m", "r95_earth_m", "ellipse", "unnoticed_m")
        assert [point[key] for key in places] == [None] * len(places)
        assert point["checked"] is False
        assert all(tie["residual_m"] is None for tie in point["ties"])
    assert point_named(said, "cleanout/cap")["north_m"] < 0
    mirror = next(finding for finding in said["findings"] if finding["code"] == "open-mirror")
    assert (mirror["subject"], mirror["severity"]) == ("septic tank/lid", "attention")


def test_the_record_may_be_named_by_the_environment(
    run: Run, folder: Path, write_sheets: WriteSheets, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ASBUILT_RECORD", "office.db")
    assert run("load", write_sheets("sheets", **two_corners())).exit_code == 0
    assert not (folder / "asbuilt.db").exists()
    assert run("positions", "Two Corners").exit_code == 0
    assert run("positions", "Two Corners", "--record", "other.db").exit_code == 2


def test_an_option_goes_before_the_environment(
    run: Run, folder: Path, write_sheets: WriteSheets, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ASBUILT_RECORD", "office.db")
    run("load", write_sheets("sheets", **two_corners()), "--record", "mine.db")
    assert {path.name for path in folder.glob("*.db")} == {"mine.db"}


@pytest.mark.parametrize("kind", ["text", "sheet of cells"])
def test_a_file_that_is_no_record_is_refused_and_left_alone(
    run: Run, folder: Path, write_sheets: WriteSheets, kind: str
) -> None:
    write_sheets("sheets", **two_corners())
    (folder / "notes.txt").write_text(f"some {kind}\n" * 100, encoding="utf-8")
    before = files_below(folder)
    result = run("load", "sheets", "--record", "notes.txt")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("asbuilt: notes.txt: ")
    assert result.stderr.count("\n") == 1
    assert files_below(folder) == before


def test_many_properties_share_one_record(run: Run, loaded: Path, write_sheets: WriteSheets) -> None:
    assert run("load", write_sheets("sheets", **two_corners())).exit_code == 0
    for name in (SAMPLE_NAME, "Two Corners"):
        assert parsed(run("positions", name, "--json"))["property"] == name
    result = run("positions", "Nobody")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "asbuilt: no property 'Nobody' in asbuilt.db. It holds 'Fernbank Lane 14', 'Two Corners'\n"
    )


# ------------------------------------------------------------ the trap of three tapes from one straight wall


def trap(drop: str) -> dict[str, Any]:
    """Give three corners on one wall and a lid 3.5 ft below it; without the drop three tapes agree on a wrong place."""
    return {
        "property": 'name = "Trap"\nunits = "ft"\n',
        "reference_points": [["name"], ["west"], ["middle"], ["east"]],
        "walls": [["from", "to", "length", "turn"], ["west", "middle", "15", "0"], ["middle", "east", "20", "?"]],
        "points": [
            ["component", "point", "from1", "tape1", "from2", "tape2", "from3", "tape3", "side", "held", "drop"],
            [
                *("septic tank", "lid", "middle", "12.012", "east", "17.444", "west", "23.437"),
                *("right of west > east", "slope", drop),
            ],
        ],
    }


def test_the_trap_without_its_drop_agrees_with_itself_is_wrong_and_stands_unchecked(
    run: Run, write_sheets: WriteSheets
) -> None:
    run("load", write_sheets("sheets", **trap("")))
    said = parsed(run("positions", "Trap", "--json"))
    lid = point_named(said, "septic tank/lid")
    assert max(abs(tie["residual_m"]) for tie in lid["ties"]) < 0.001
    assert said["fit"]["passed"] is True
    wrong_ft = abs(lid["north_m"] / 0.3048 + 9.80)
    assert wrong_ft == pytest.approx(0.6, abs=0.05)
    assert lid["checked"] is False
    assert "how far it dropped" in lid["unchecked_because"]


def test_the_trap_with_its_drop_is_right(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **trap("3.5")))
    lid = point_named(parsed(run("positions", "Trap", "--json")), "septic tank/lid")
    assert lid["east_m"] / 0.3048 == pytest.approx(15 + 6, abs=0.005)
    assert lid["north_m"] / 0.3048 == pytest.approx(-9.80, abs=0.005)


# ------------------------------------------------------------ hostile text


TEMPLATES = (
    "`;window.pwned=1;`",
    "${window.pwned=1}",
    "{{ cycler.__init__.__globals__.os.mkdir('pwned') }}",
    "{% endfor %}",
    "lot {# 3",
    "<!--<script",
    "__proto__",
    "'; DROP TABLE entry; --",
)
"""Payloads that are names: no > (sides are written A > B) and no / (points are written component/point) in them."""

MARKUP = (
    "</script><script>window.pwned=1</script>",
    "<img src=x onerror=window.pwned=1>",
    "\"'><svg onload=window.pwned=1>",
    "</noscript></title></style><script>window.pwned=1</script>",
)


@pytest.mark.parametrize("hostile", TEMPLATES)
def test_a_hostile_name_stays_data_through_every_command(
    run: Run, folder: Path, write_sheets: WriteSheets, hostile: str
) -> None:
    sheets = two_corners(component=hostile, description=hostile)
    sheets["property"] = f"name = '''{hostile}'''\nunits = \"ft-in\"\nowner = '''{hostile}'''\n" + EARTH
    sheets["service"] = [["on", "component", "task", "note"], ["2026-01-02", hostile, hostile, hostile]]
    loading = run("load", write_sheets("sheets", **sheets))
    assert (loading.exit_code, loading.stderr) == (0, "")
    assert run("load", "sheets").stdout.splitlines()[0].endswith("nothing changed")
    assert parsed(run("positions", hostile, "--json"))["points"][0]["component"] == hostile
    assert f"\n{hostile}\n" in run("positions", hostile).stdout
    assert run("map", hostile, "--out", "map.html").exit_code == 0
    features = parsed(run("geojson", hostile, "--points"))["features"]
    assert [feature["properties"]["name"] for feature in features] == [hostile, f"{hostile}/lid"]
    assert features[0]["properties"]["service"][0]["note"] == hostile
    assert not (folder / "pwned").exists()


@pytest.mark.parametrize("hostile", MARKUP)
def test_markup_is_no_name_but_may_stand_in_a_note(run: Run, write_sheets: WriteSheets, hostile: str) -> None:
    refused = run("load", write_sheets("refused", **two_corners(component=hostile)))
    assert refused.exit_code == 2
    assert refused.stderr.splitlines()[1].startswith("points.csv row 2, column component: ")
    sheets = two_corners(description=hostile)
    sheets["property"] += EARTH
    assert run("load", write_sheets("sheets", **sheets)).exit_code == 0
    point = parsed(run("geojson", "Two Corners", "--points"))["features"][1]
    assert point["properties"]["description"] == hostile


EARTH = (
    "[earth]\nreference = 'A'\nlatitude = 10.5\nlongitude = -30.25\naccuracy_m = 3.0\n"
    "wall_from = 'A'\nwall_to = 'B'\nazimuth_deg = 90.0\n"
)
"""An open place in an ocean; the first wall runs due east."""

ESCAPES = ("\x1b[31mred", "bell\x07", "\x9b2J", "back\x08space")


@pytest.mark.parametrize(
    ("column", "escape"),
    [
        *(("description", escape) for escape in ESCAPES),
        *((c, ESCAPES[0]) for c in ("component", "point", "mark", "size")),
    ],
)
def test_terminal_escapes_in_a_cell_are_refused_and_not_printed(
    run: Run, folder: Path, write_sheets: WriteSheets, column: str, escape: str
) -> None:
    result = run("load", write_sheets("sheets", **two_corners(**{column: escape})))
    assert result.exit_code == 2
    assert f"points.csv row 2, column {column}: " in result.stderr
    assert not set(escape) & set(result.stderr) & set("\x1b\x07\x9b\x08")
    assert not (folder / "asbuilt.db").exists()


@pytest.mark.parametrize(
    "words",
    [
        ("positions", "\x1b[31mred"),
        ("load", "\x1b[31mred"),
        ("positions", "x", "--record", "\x1b[31mred.db"),
        ("map", "x", "--record", "\x1b[2J"),
    ],
)
def test_a_message_does_not_pass_on_terminal_escapes_of_the_command_line(
    run: Run, loaded: Path, words: tuple[str, ...]
) -> None:
    result = run(*words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "\x1b" not in result.stderr


def test_a_name_that_turns_the_reading_order_is_refused(run: Run, write_sheets: WriteSheets) -> None:
    result = run("load", write_sheets("sheets", **two_corners(component="tank\u202eknat")))
    assert result.exit_code == 2
    assert "\u202e" not in result.stderr


def test_a_note_that_turns_the_reading_order_is_kept_and_printed_tame(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["service"] = [
        ["on", "component", "task", "by", "note"],
        ["2026-01-02", "septic tank", "pump-out", "x", "\u202egnihton"],
    ]
    assert run("load", write_sheets("sheets", **sheets)).exit_code == 0
    sheets["service"][1][4] = "other"
    result = run("load", write_sheets("sheets", **sheets))
    assert result.exit_code == 2
    assert "gnihton" in result.stderr
    assert "\u202e" not in result.stderr


def test_a_folder_in_the_place_of_the_record_is_refused(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    write_sheets("sheets", **two_corners())
    shutil.copytree(folder / "sheets", folder / "asbuilt.db")
    result = run("load", "sheets")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.splitlines()[-1] == (
        "Error: Invalid value for '--record' (env var: 'ASBUILT_RECORD'): File 'asbuilt.db' is a directory."
    )


@pytest.mark.parametrize("key", ["name", "address", "owner", "permit"])
@pytest.mark.parametrize("escape", ["\\u001b[31m", "two\\nlines", "\\u009b2J"])
def test_escapes_that_toml_can_write_are_refused_too(
    run: Run, folder: Path, write_sheets: WriteSheets, key: str, escape: str
) -> None:
    sheets = two_corners()
    cells = {"name": "X", "units": "ft-in", key: escape}
    sheets["property"] = "".join(f'{word} = "{value}"\n' for word, value in cells.items())
    result = run("load", write_sheets("sheets", **sheets))
    assert result.exit_code == 2
    assert result.stderr.splitlines()[1].startswith(f"property.toml, {key}: ")
    assert len(result.stderr.splitlines()) == 2
    assert not set(result.stderr) & set("\x1b\x9b")
    assert not (folder / "asbuilt.db").exists()

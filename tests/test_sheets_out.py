"""Field sheets written back: what is read from them is the record again."""

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from asbuilt.jobs.sheets_out import sheet_files
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.sheets.columns import SHEETS
from asbuilt.record.sheets.read import read_draft, read_sheets
from asbuilt.record.sheets.write import FIELD_OF_SHEET, photo_names, sheet_texts
from tests.commands import SAMPLE, SAMPLE_NAME, Run, WriteSheets, files_below, two_corners
from tests.synthetic import make_property
from tests.synthetic_sheets import write_sheets as write_record

TEXTS = st.one_of(
    st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=40),
    st.sampled_from(["=cmd|'/c calc'!A0", "+1", "-1 or so", "@SUM(A1)", "'=x", "''+", "'", 'a "b", c', "#", "lid;x"]),
)


def written_back(record: PropertyRecord, folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    for name, content in sheet_files(record).items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    return folder


def test_every_kind_of_row_has_its_sheet() -> None:
    fields = {field.name for field in dataclasses.fields(PropertyRecord)}
    assert set(FIELD_OF_SHEET) == set(SHEETS)
    assert fields - set(FIELD_OF_SHEET.values()) == {"property", "rule_files", "left_out"}


def test_the_sample_property_comes_back_with_its_photos(run: Run, folder: Path, loaded: Path) -> None:
    result = run("sheets", SAMPLE_NAME, "--out", "back")
    assert (result.exit_code, result.stderr) == (0, "")
    assert read_sheets(folder / "back").record == read_sheets(SAMPLE).record
    again = run("load", "back")
    assert "the sheets say what is recorded already; nothing changed" in again.stdout


@pytest.mark.parametrize("cards", [True, False])
@pytest.mark.parametrize("seed", range(12))
def test_a_random_property_comes_back(seed: int, cards: bool, tmp_path: Path) -> None:
    known = make_property(np.random.default_rng(seed), offsets=0.2, slope=0.3, extra_sides=0.5).record
    one = read_sheets(write_record(known, tmp_path / "one", as_cards=cards)).record
    assert read_sheets(written_back(one, tmp_path / "two")).record == one


def test_lengths_come_back_as_they_were_read_whatever_unit_their_column_had(
    write_sheets: WriteSheets, tmp_path: Path
) -> None:
    sheets = two_corners() | {
        "components": [
            ["name", "kind", "length [in]", "width", "height [m]"],
            ["septic tank", "septic tank", "96", "5'-2\"", "1.7"],
        ],
        "readings": [
            ["on", "component", "reading", "value", "unit"],
            ["2026-01-02", "septic tank", "groundwater", "18", "in"],
            ["2026-01-03", "septic tank", "groundwater", "1' 6\"", ""],
            ["2026-01-04", "septic tank", "dose-time", "1 min 30 s", ""],
            ["2026-01-05", "septic tank", "dose-time", "90", "s"],
            ["2026-01-06", "septic tank", "water-meter", "52", "gal"],
            ["2026-01-07", "septic tank", "alarm-test", "passed", ""],
        ],
    }
    one = read_sheets(write_sheets("one", **sheets)).record
    assert one.components[0].length is not None
    back = read_sheets(written_back(one, tmp_path / "back")).record
    assert back == one
    assert "length [in]" in (tmp_path / "back" / "components.csv").read_text(encoding="utf-8-sig").splitlines()[0]


def test_out_names_its_wall_where_the_tapes_alone_do_not(write_sheets: WriteSheets, tmp_path: Path) -> None:
    """Typed at the prompt in the order of another wall, `out` would read back as out of that one."""
    one = read_sheets(SAMPLE).record
    outs = [tie for tie in one.ties if tie.side is not None and tie.side.word == "out"]
    walls = [(wall.from_, wall.to) for wall in one.walls]
    tie = next(each for each in one.ties if each.to == "septic tank/inlet lid")
    from asbuilt.model.measurements import Side

    changed = dataclasses.replace(
        one,
        photos=(),
        ties=tuple(
            dataclasses.replace(each, side=Side("out", *walls[1])) if each is tie else each for each in one.ties
        ),
    )
    back = read_sheets(written_back(changed, tmp_path / "back")).record
    assert back == changed
    assert outs == []


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(TEXTS, min_size=6, max_size=6))
def test_any_text_comes_back(texts: list[str], tmp_path: Path) -> None:
    folder = tmp_path / "any"
    base = read_sheets(_corners(folder)).record
    note, described, mark, owner, by, caption = (" ".join(each.split()) or None for each in texts)
    record = dataclasses.replace(
        base,
        property=dataclasses.replace(base.property, owner=owner, address=described),
        points=tuple(dataclasses.replace(point, description=described, mark=mark) for point in base.points),
        ties=tuple(dataclasses.replace(tie, note=note) for tie in base.ties),
        reference_points=tuple(
            dataclasses.replace(each, description=by, kind=caption) for each in base.reference_points
        ),
    )
    assert read_sheets(written_back(record, folder)).record == record


def _corners(folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "property.toml").write_text('name = "Any"\nunits = "m"\n', encoding="utf-8")
    (folder / "reference_points.csv").write_text("name\nA\nB\n", encoding="utf-8")
    (folder / "walls.csv").write_text("from,to,length,turn\nA,B,9.00,?\n", encoding="utf-8")
    head = "component,point,from1,tape1,from2,tape2,side\n"
    (folder / "points.csv").write_text(head + "tank,lid,A,7.50,B,7.50,left of A > B\n", encoding="utf-8")
    (folder / "ties.csv").unlink(missing_ok=True)
    return folder


@settings(max_examples=100, deadline=None)
@given(st.text(st.sampled_from("'=+-@ab \t"), max_size=6))
def test_no_cell_is_a_formula_for_a_spreadsheet(words: str) -> None:
    from asbuilt.record.sheets.cells import guarded, unguarded

    assert guarded(words)[:1] not in {"=", "+", "-", "@"} or not words
    assert unguarded(guarded(words)) == words


def test_a_draft_reads_back_as_a_draft(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["points"].append(["septic tank", "outlet lid", "A", "twelve", "B", "9' 0\"", "", ""])
    run("load", write_sheets("one", **sheets), "--draft")
    run("sheets", "Two Corners", "--out", "back")
    back, left = read_draft(folder / "back")
    assert (back.record.property.draft, left) == (True, ())


def test_what_was_typed_stands_in_the_sheets_too(run: Run, folder: Path, loaded: Path) -> None:
    run("tape", SAMPLE_NAME, "lateral 1/turn-up", "SE corner", "84 0", "--note", "=typed")
    run("sheets", SAMPLE_NAME, "--out", "back")
    ties = read_sheets(folder / "back").record.ties
    assert (ties[-1].from_, ties[-1].note) == ("SE corner", "=typed")
    assert "'=typed" in (folder / "back" / "ties.csv").read_text(encoding="utf-8-sig")


@pytest.mark.parametrize("there", ["file", "folder"])
def test_a_folder_that_holds_something_is_left_alone(there: str, run: Run, folder: Path, loaded: Path) -> None:
    if there == "file":
        (folder / "back").write_text("mine", encoding="utf-8")
        words = "Error: Invalid value for '--out': Directory 'back' is a file."
    else:
        (folder / "back").mkdir()
        (folder / "back" / "mine.txt").write_text("mine", encoding="utf-8")
        words = "asbuilt: back: there is something in this folder; give a new or an empty one"
    before = files_below(folder)
    result = run("sheets", SAMPLE_NAME, "--out", "back")
    assert (result.exit_code, result.stderr.splitlines()[-1]) == (2, words)
    assert files_below(folder) == before


def test_photos_of_one_name_get_names_of_their_own(write_sheets: WriteSheets) -> None:
    from asbuilt.model.photos import Photo

    photos = [
        Photo("a", "lid.jpg", "1" * 64, "jpeg", 1, 1),
        Photo("b", "LID.jpg", "2" * 64, "jpeg", 1, 1),
        Photo("b", "lid.jpg", "1" * 64, "jpeg", 1, 1),
        Photo("c", "../../etc/passwd", "3" * 64, "png", 1, 1),
        Photo("c", "points.csv", "4" * 64, "png", 1, 1),
        Photo("c", "a\nb.png", "5" * 64, "png", 1, 1),
    ]
    assert list(photo_names(photos).values()) == ["lid.jpg", "LID-2.jpg", "photo.png", "photo-2.png", "photo-3.png"]


def test_a_rule_file_that_would_lead_out_of_the_folder_is_not_written() -> None:
    from asbuilt.model.rule_files import RuleFile

    record = dataclasses.replace(
        read_sheets(SAMPLE).record,
        rule_files=tuple(RuleFile(name, "x") for name in ("../up.toml", "/etc/x.toml", "a\\b.toml", "county/x.toml")),
    )
    names: Any = sheet_texts(record).keys()
    assert {name for name in names if name.endswith("toml")} == {"property.toml", "county/x.toml"}

"""The blank field sheet: it asks for what the check before backfill asks for, in the columns of the sheets."""

import re
import subprocess
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from asbuilt.jobs.backfill_check import check_before_backfill
from asbuilt.jobs.blank import blank_sheet
from asbuilt.jobs.locate import Located, locate
from asbuilt.jobs.properties import located
from asbuilt.model.components import Component, Point, full_name
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.drawing.scale import PAPERS_MM
from asbuilt.output.sheets.blank import chalk_letters
from asbuilt.output.sheets.blank_rows import (
    ComponentsError,
    columns_of,
    level_rows,
    parse_components,
    point_rows,
    property_keys,
    reading_rows,
)
from asbuilt.record.profiles import built_in, built_in_names
from asbuilt.record.sheets.columns import SHEETS
from tests.commands import SAMPLE_NAME, Run
from tests.hostile import CODE, MARKUP

DAY = date(2026, 6, 1)
KIT = (
    "septic tank, pump tank, building sewer, effluent line, transport line, manifold, 4 laterals, distribution box, "
    "cleanout, electrical cable, control panel, reserve area, well, water line"
)


@pytest.fixture(scope="module")
def found(sample_record: Path) -> Located:
    return located(sample_record, SAMPLE_NAME)


def pdf_text(made: bytes) -> str:
    done = subprocess.run(["pdftotext", "-", "-"], input=made, capture_output=True, check=True)
    return " ".join(done.stdout.decode().replace("\u200b", "").split())


# ------------------------------------------------------------ the list of components


def test_kinds_are_read_with_their_numbers() -> None:
    assert [
        (each.name, each.kind) for each in parse_components("septic tank, 2 laterals,  3 x distribution boxes")
    ] == [
        ("septic tank", "septic tank"),
        ("lateral 1", "lateral"),
        ("lateral 2", "lateral"),
        ("distribution box 1", "distribution box"),
        ("distribution box 2", "distribution box"),
        ("distribution box 3", "distribution box"),
    ]


def test_the_same_kind_twice_is_counted_together() -> None:
    assert [each.name for each in parse_components("lateral, lateral")] == ["lateral 1", "lateral 2"]


@pytest.mark.parametrize("text", ["", "septic tank,,lid", "0 laterals", "999 laterals", "x" * 61, "a/b", "41 laterals"])
def test_what_is_no_list_of_components_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(ComponentsError, match=r'accepted: kinds separated by commas.*such as "septic tank, pump tank'):
        parse_components(text)


def test_more_components_than_a_property_has_are_refused() -> None:
    with pytest.raises(ComponentsError, match="160 components; accepted: 120 at most"):
        parse_components("40 laterals, 40 valves, 40 risers, 40 cleanouts")


# ------------------------------------------------------------ asks for what the check asks for


@pytest.mark.parametrize("profile", built_in_names())
def test_a_record_with_every_row_filled_lacks_no_point_that_the_check_asks_for(profile: str) -> None:
    """The check is the judge: a property whose points are the rows of the form has no point missing."""
    components, rules = parse_components(KIT), built_in(profile)
    rows = list(point_rows(None, components, rules))
    record = PropertyRecord(
        Property("Rows", "ft", rules=profile),
        (),
        points=tuple(Point(row.component, row.point or "bend") for row in dict.fromkeys(rows) if row.point or row.note),
        components=components,
    )
    items = check_before_backfill(locate(record), DAY)
    assert [item.words for item in items if item.code == "point-missing"] == []


def test_leaving_out_any_row_that_is_asked_for_makes_the_check_miss_a_point() -> None:
    components, rules = parse_components("septic tank, building sewer, electrical cable"), built_in("common")
    rows = [row for row in point_rows(None, components, rules) if row.point]
    assert len(rows) == 6
    for left_out in rows:
        points = tuple(Point(row.component, row.point) for row in rows if row is not left_out)
        record = PropertyRecord(Property("Rows", "ft"), (), points=points, components=components)
        items = check_before_backfill(locate(record), DAY)
        assert [item.subject for item in items if item.code == "point-missing"] == [left_out.component]


@pytest.mark.parametrize("profile", built_in_names())
def test_every_test_and_setting_that_the_check_calls_missing_has_its_row(profile: str) -> None:
    components, rules = parse_components(KIT), built_in(profile)
    record = PropertyRecord(Property("Rows", "ft", rules=profile), (), components=components)
    asked = {
        word
        for item in check_before_backfill(locate(record), DAY)
        if item.group == "tests" and "in readings.csv" in item.next_act
        for word in re.findall(r"[a-z]+(?:-[a-z]+)+|watertightness|drawdown", item.next_act)
    }
    rows = {word for row in reading_rows(components, rules) for word in row.reading.split(" or ")}
    assert asked <= rows
    assert profile != "common" or {"watertightness", "alarm-test", "drawdown"} <= rows


def test_three_tapes_and_a_photo_are_marked_where_the_rule_asks_for_them() -> None:
    rows = {(row.component, row.point): row for row in point_rows(None, parse_components(KIT), built_in("common"))}
    lid, end = rows["septic tank", "inlet lid"], rows["building sewer", "upper end"]
    assert (lid.tapes, lid.photo) == (3, True)
    assert (end.tapes, end.photo) == (2, False)
    assert rows["lateral 1", "turn-up"].note == "if there is one"


def test_levels_are_asked_for_where_a_fall_or_a_level_run_is_judged() -> None:
    components, rules = parse_components("septic tank, building sewer, lateral"), built_in("common")
    rows = list(level_rows(list(point_rows(None, components, rules)), components, rules))
    assert {(row.on, row.to) for row in rows} == {
        ("building sewer/upper end", "invert"),
        ("building sewer/lower end", "invert"),
        ("building sewer/(bend)", "invert"),
        ("lateral/near end", "bottom"),
        ("lateral/far end", "bottom"),
    }


def test_points_that_the_record_names_already_stand_first_and_are_not_asked_for_twice(found: Located) -> None:
    tank = next(each for each in found.record.components if each.name == "septic tank")
    rows = list(point_rows(found.record, [tank], built_in("common")))
    assert [(row.point, row.mark, row.size) for row in rows] == [
        ("inlet lid", "T1", '24"'),
        ("outlet lid", "T2", '24"'),
    ]


def test_a_kind_that_no_rule_knows_gets_a_row_that_says_so() -> None:
    (row,) = point_rows(None, parse_components("greenhouse"), built_in("common"))
    assert (row.point, row.note) == ("", "no rule asks for a point of this kind")


def test_the_pump_s_breaker_is_asked_for_only_where_there_is_a_pump() -> None:
    rules = built_in("common")
    assert "panel.breaker" in property_keys(parse_components("pump tank"), rules)
    assert "panel.breaker" not in property_keys(parse_components("septic tank"), rules)


# ------------------------------------------------------------ the paper


def test_every_box_is_a_column_of_the_sheets() -> None:
    columns = {name: {column.name for column in sheet} for name, sheet in SHEETS.items()}
    template = (Path(__file__).parents[1] / "asbuilt/output/assets/typst/blank_sheet.typ").read_text(encoding="utf-8")
    points = set(re.findall(r'cell\("(mark|side|held|drop|size|depth|depth_to|description|photo)"', template))
    assert points == {"mark", "side", "held", "drop", "size", "depth", "depth_to", "description", "photo"}
    assert points | {f"{word}{k}" for word in ("from", "tape") for k in range(1, 5)} <= columns["points.csv"]
    assert {"setup", "on", "to", "backsight", "foresight", "distance", "note"} <= columns["levels.csv"]
    for kind in ("septic tank", "lateral", "building sewer"):
        assert set(columns_of(Component(kind, kind), built_in("common"))) <= columns["components.csv"]


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_the_form_lies_across_its_paper_and_names_every_point(paper: str) -> None:
    made = blank_sheet(None, KIT, DAY, paper=paper)
    done = subprocess.run(["pdfinfo", "-"], input=made, capture_output=True, check=True).stdout.decode()
    size = re.search(r"Page size: +([\d.]+) x ([\d.]+)", done)
    assert size is not None
    width, height = (float(each) * 25.4 / 72 for each in size.groups())
    assert (height, width) == pytest.approx(PAPERS_MM[paper], abs=0.1)
    said = pdf_text(made)
    for row in point_rows(None, parse_components(KIT), built_in("common")):
        assert row.component in said
        assert row.point in said
    for words in ("backsight", "foresight", "tape4", "watertightness", "level", "slope", "Never enter a tank"):
        assert words in said
    assert said == pdf_text(blank_sheet(None, KIT, DAY, paper=paper))


def test_a_property_brings_its_house_with_chalk_letters_and_its_own_parts(found: Located) -> None:
    said = pdf_text(blank_sheet(found, None, DAY))
    for words in ("Fernbank Lane 14", "48' 3\"", "SW corner", "chalk A:", "pump tank", "lateral 4", "inlet lid"):
        assert words in said, words


def test_letters_are_those_of_the_descriptions_else_the_next_free_one(found: Located) -> None:
    letters = {name: letter for name, (letter, _) in chalk_letters(found.record).items()}
    assert letters["SW corner"] == "A"
    assert letters["NW corner"] == "F"
    plain = replace(
        found.record,
        reference_points=tuple(replace(each, description=None, gone_on=None) for each in found.record.reference_points),
    )
    assert [letter for letter, _ in chalk_letters(plain).values()] == list("ABCDEFG")


def test_without_anything_known_the_form_has_empty_rows() -> None:
    said = pdf_text(blank_sheet(None, None, DAY))
    assert said.count("tape4") == 16
    assert "Sketch the house from above" in said


def test_hostile_words_print_as_they_stand(found: Located) -> None:
    words = [each for each in (*MARKUP, *CODE) if len(each) < 34]
    for each in words:
        record = replace(found.record, property=replace(found.record.property, name=each, address=each, permit=each))
        said = pdf_text(blank_sheet(replace(found, record=record), "well", DAY)).replace(" ", "")
        assert each.replace(" ", "") in said


def test_a_record_of_names_that_are_full_of_signs_still_prints(found: Located) -> None:
    name = "<b>&{{x}}#panic" * 30
    record = replace(
        found.record,
        components=(Component(name, "septic tank"),),
        points=(Point(name, name),),
        reference_points=tuple(replace(each, description=name) for each in found.record.reference_points),
    )
    assert full_name(name, name) in record.point_names()
    assert b"%PDF" in blank_sheet(replace(found, record=record), None, DAY)[:8]


# ------------------------------------------------------------ the command


def test_the_command_writes_the_form_and_needs_no_record(run: Run, folder: Path) -> None:
    result = run("print", "blank", "--components", "septic tank, 4 laterals", "--out", "b.pdf")
    assert (result.exit_code, result.stdout, result.stderr) == (0, "b.pdf: a blank field sheet\n", "")
    assert (folder / "b.pdf").read_bytes().startswith(b"%PDF")
    assert not (folder / "asbuilt.db").exists()


def test_the_command_takes_house_and_parts_from_the_record(run: Run, loaded: Path, folder: Path) -> None:
    result = run("print", "blank", "--property", SAMPLE_NAME, "--paper", "a4")
    assert result.exit_code == 0
    assert result.stdout == "fernbank-lane-14-blank.pdf: a blank field sheet for Fernbank Lane 14\n"
    assert (folder / "fernbank-lane-14-blank.pdf").exists()


def test_a_list_that_cannot_be_read_is_refused_and_nothing_is_written(run: Run, folder: Path) -> None:
    result = run("print", "blank", "--components", "0 laterals", "--out", "b.pdf")
    assert result.exit_code == 2
    assert result.stderr == (
        "asbuilt: --components: '0 laterals' is not read; accepted: kinds separated by commas, with their number "
        'where there are several (at most 40), such as "septic tank, pump tank, 4 laterals"\n'
    )
    assert list(folder.iterdir()) == []

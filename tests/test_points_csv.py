"""CSV of the points: RFC 4180, no formula in any cell, the tapes as they were read."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, Point

from asbuilt.output.features import Feature
from asbuilt.output.gis.formats import Sheaf
from asbuilt.output.gis.points_csv import csv_lines, headings
from asbuilt.output.gis.system import LOCAL, WGS84, parse_system
from asbuilt.output.words import csv_text
from tests.export_samples import hostile_features, kept
from tests.hostile import FORMULAS, HOSTILE, named

TIES = [{"from": f"corner {k}", "as_read": f"{k}' 6\"", "residual_m": None} for k in range(1, 7)]


def rows(*features: Feature, system=WGS84) -> list[dict[str, str]]:  # type: ignore[no-untyped-def]
    text = "".join(csv_lines([Sheaf("lot", features)], system))
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def begins_a_formula(cell: str) -> bool:
    """Say whether a spreadsheet may reckon a cell: OWASP, CSV Injection (=, +, -, @, tab, carriage return)."""
    first = cell.lstrip(" \u00a0\ufeff")[:1]
    blank = cell[:1] != "" and cell[:1] in "\t\r\n"
    return blank or (first != "" and first in "=+-@\uff1d\uff0b\uff0d\uff20")


@pytest.mark.parametrize("text", [pytest.param(text, id=name) for name, text in named()])
def test_no_text_becomes_a_formula_and_none_is_lost(text: str) -> None:
    made = csv_text(text)
    assert made.removeprefix("'") == kept(text).removeprefix("'")
    if begins_a_formula(made):
        float(made)  # a plain number, which is what it says


@given(st.text())
def test_any_text_is_either_guarded_or_harmless(text: str) -> None:
    made = csv_text(text)
    if begins_a_formula(made):
        float(made)
    assert made in (kept(text), f"'{kept(text)}")


@pytest.mark.parametrize("text", FORMULAS)
def test_formulas_are_guarded(text: str) -> None:
    guarded = csv_text(text)
    assert guarded.startswith("'") or not begins_a_formula(text)


@pytest.mark.parametrize("number", [-1.5, 0.0, 3, -118.45498018, 1e-7])
def test_numbers_stay_numbers(number: float) -> None:
    assert float(csv_text(number)) == number


@pytest.mark.parametrize("text", ["-3", "+2", "-118.25"])
def test_text_that_is_a_plain_number_stays(text: str) -> None:
    assert csv_text(text) == text


def test_hostile_words_give_one_row_a_point() -> None:
    found = rows(*hostile_features())
    points = [text for k, text in enumerate(HOSTILE) if k % 3 == 0]
    assert len(found) == len(points)
    for row, text in zip(found, points, strict=True):
        assert row["name"].removeprefix("'") == kept(text).removeprefix("'")
        assert not any(begins_a_formula(cell) and not is_number(cell) for cell in row.values())


def is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def test_four_tapes_have_columns_and_more_stand_together() -> None:
    (row,) = rows(Feature("point", "tank/lid", "septic tank", Point(-118, 42), {"ties": TIES}))
    assert [(row[f"from{k}"], row[f"tape{k}"]) for k in range(1, 5)] == [
        (f"corner {k}", f"{k}' 6\"") for k in range(1, 5)
    ]
    assert row["more_tapes"] == "5' 6\" from corner 5; 6' 6\" from corner 6"
    (bare,) = rows(Feature("reference", "pin", "pin", None))
    assert {bare[key] for key in ("from1", "tape1", "more_tapes", "longitude", "latitude")} == {""}


def test_only_points_and_marks_are_listed() -> None:
    line = Feature("component", "sewer", "sewer", LineString([(0, 0), (1, 1)]))
    assert [row["name"] for row in rows(line, Feature("reference", "pin", "pin", Point(0, 0)))] == ["pin"]


def test_headings_say_what_the_coordinates_are() -> None:
    assert headings(LOCAL)[4:6] == ("east_m", "north_m")
    assert headings(WGS84)[4:6] == ("longitude", "latitude")
    assert headings(parse_system("EPSG:2277"))[4:6] == ("easting", "northing")
    assert headings(parse_system("EPSG:4269"))[4:6] == ("longitude", "latitude")


def test_places_are_written_to_a_millimetre_and_finer() -> None:
    (row,) = rows(Feature("point", "x", "y", Point(-118.123456789, 42.0), {"r95_m": 0.05, "checked": True}))
    assert (row["longitude"], row["latitude"], row["system"]) == ("-118.12345679", "42.00000000", "EPSG:4326")
    (row,) = rows(Feature("point", "x", "y", Point(-1.23456, 2.0)), system=LOCAL)
    assert (row["east_m"], row["north_m"], row["system"]) == ("-1.2346", "2.0000", "plane of the house")


def test_lines_end_as_the_standard_says() -> None:
    """RFC 4180, section 2: CRLF after each record."""
    text = "".join(csv_lines([Sheaf("lot", (Feature("reference", "a\nb", "pin", None),))], WGS84))
    assert text.count("\r\n") == 2
    assert '"a\nb"' in text

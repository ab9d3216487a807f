"""`readings.csv`, `[access]` and `[panel]`: read as written, kept in one unit, refused with a reason."""

from pathlib import Path

import pytest

from asbuilt.errors import SheetError
from asbuilt.model.pipes import inside_diameter_in
from asbuilt.model.site_readings import READINGS, parse_reading
from asbuilt.record.sheets.read import read_sheets
from tests.commands import WriteSheets, two_corners

HEAD = ["on", "component", "reading", "value", "unit"]


def problems(write: WriteSheets, *rows: list[str], property_more: str = "") -> list[str]:
    sheets = two_corners()
    sheets["property"] += property_more
    folder = write("sheets", **sheets, readings=[HEAD, *rows])
    with pytest.raises(SheetError) as caught:
        read_sheets(folder)
    return [str(each) for each in caught.value.problems]


@pytest.mark.parametrize(
    ("reading", "value", "unit", "number", "kept_in"),
    [
        ("float-on", "18 in", "", 0.4572, "m"),
        ("float-on", "1' 6\"", "", 0.4572, "m"),
        ("float-on", "18", "in", 0.4572, "m"),
        ("drawdown", "5 1/8", "in", 0.130175, "m"),
        ("cycle-counter", "45850", "", 45850, "cycles"),
        ("hour-meter", "123.5", "", 123.5, "h"),
        ("hour-meter", "90 min", "", 1.5, "h"),
        ("dose-time", "1 min 50 s", "", 110 / 60, "min"),
        ("dose-time", "110", "s", 110 / 60, "min"),
        ("amps", "9.2", "A", 9.2, "A"),
        ("water-meter", "10", "ft3", 17280 / 231, "gal"),
    ],
)
def test_a_value_is_read_by_its_kind_and_unit(reading: str, value: str, unit: str, number: float, kept_in: str) -> None:
    assert parse_reading(reading, value, unit, "ft-in") == (pytest.approx(number, rel=1e-12), kept_in)


@pytest.mark.parametrize(
    ("reading", "value", "unit", "said"),
    [
        ("cycle-counter", "45,850", "", "accepted: the whole number on the counter, such as 45850"),
        ("cycle-counter", "12.5", "", "a counter shows a whole number"),
        ("cycle-counter", "-3", "", "no number of zero or more"),
        ("cycle-counter", "12", "gal", "the unit gal is not read here; accepted units: cycles"),
        ("dose-time", "1 min 50", "", "the unit of its second number is not read here; accepted units: min, s, h"),
        ("dose-time", "soon", "", "no number of zero or more; accepted: 1.5, 90 s or 1 min 30 s"),
        ("amps", "1e3", "", "the unit e3 is not read here"),
        ("amps", "9" * 400, "", "no number of zero or more"),
        ("float-on", "18", "furlongs", "no unit of length; accepted: ft-in, ft, m, in, cm"),
        ("float-on", "18", "", "could be feet or inches"),
        ("float-on", "1800 ft", "", "it is 549 m; accepted: at most 100 m"),
    ],
)
def test_what_is_no_such_reading_is_refused_with_what_is_accepted(
    write_sheets: WriteSheets, reading: str, value: str, unit: str, said: str
) -> None:
    (problem,) = problems(write_sheets, ["2024-05-01", "septic tank", reading, value, unit])
    assert problem.startswith("readings.csv row 2, column value: ")
    assert said in problem


def test_a_mistyped_reading_component_or_a_row_written_twice_is_refused(write_sheets: WriteSheets) -> None:
    row = ["2024-05-01", "septic tank", "cycle-counter", "12", ""]
    told = problems(write_sheets, row, row, [*row[:2], "flaot-on", "3 in", ""], ["2024-05-01", "tank", *row[2:]])
    assert "row 3: the same cycle-counter stands already in row 2; write each reading once" in told[0]
    assert "column reading: “flaot-on” is not accepted here; accepted: float-off" in told[1]
    assert "column component: “tank” is no component; accepted: a component of points.csv" in told[2]
    assert len(told) == 3


def test_every_reading_has_its_words() -> None:
    assert all(len(words) > 15 for _, words in READINGS.values())


def test_the_trucks_stand_must_be_a_known_point(write_sheets: WriteSheets) -> None:
    row = ["2024-05-01", "septic tank", "amps", "9", ""]
    (problem,) = problems(write_sheets, row, property_more='[access]\ntruck = "driveway"\n')
    assert problem.startswith("property.toml, [access] truck: “driveway” is no reference point or point")


def test_readings_access_and_panel_are_facts_of_the_record(write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["property"] += '[access]\ntruck = "lid"\ntruck_above = "-2 ft"\ndog = "two"\n[panel]\nbreaker = "no. 4"\n'
    rows = [HEAD, ["2024-05-01", "septic tank", "float-on", "18", "in"]]
    record = read_sheets(write_sheets("sheets", **sheets, readings=rows)).record
    (reading,) = record.readings
    assert (reading.as_read, reading.number, reading.unit) == ("18 in", pytest.approx(0.4572), "m")
    access, panel = record.property.access, record.property.panel
    assert (access.truck, access.dog, access.gate, panel.breaker) == ("septic tank/lid", "two", None, "no. 4")
    assert access.truck_above is not None
    assert access.truck_above.metres == pytest.approx(-0.6096)


@pytest.mark.parametrize(
    ("text", "inside_in"),
    [("2 in sch 40", 2.067), ('1-1/2" schedule 40', 1.610), ("2.05 in inside", 2.05), ("4 IN SCH 40", 4.026)],
)
def test_a_pipe_is_read_by_its_size(text: str, inside_in: float) -> None:
    """Inside diameters of Schedule 40 pipe (ASTM D1785: from memory, high)."""
    assert inside_diameter_in(text) == inside_in


@pytest.mark.parametrize("text", ["2 in", "7 in sch 40", "sch 40", "0 in inside", "x in inside", "2 in sch 80"])
def test_what_names_no_pipe_is_refused_with_what_is_accepted(text: str) -> None:
    with pytest.raises(ValueError, match="accepted"):
        inside_diameter_in(text)


def test_the_sheets_of_the_sample_hold_readings_of_every_kind_but_hours_and_meters() -> None:
    record = read_sheets(Path(__file__).parents[1] / "sample_property").record
    named = {each.reading for each in record.readings}
    assert set(READINGS) - named >= {"hour-meter", "water-meter", "groundwater"}

"""`known_coordinates.csv` and `[earth]`: what a projected system gives, and every refusal with its whole message."""

import math
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from asbuilt.record.sheets.read import read_sheets
from asbuilt.units import SURVEY_FOOT_M
from tests.commands import Run, WriteSheets, invoke, parsed, two_corners

HEAD = ["point", "latitude", "longitude", "epsg", "easting", "northing", "height", "accuracy_m", "source"]
UTAH_US, UTAH_FT, UTM_12N = "3560", "2280", "26912"


def problems(folder: Path, record: Path) -> list[str]:
    """Load, and give the lines of the refusal."""
    result = invoke("load", folder, "--record", record)
    lines = result.stderr.splitlines()
    assert result.exit_code == 2, result.output
    assert not record.exists()
    assert (
        lines[0]
        == f"asbuilt: {len(lines) - 1} problem{'' if len(lines) == 2 else 's'} in the sheets; nothing was stored"
    )
    return [line.strip() for line in lines[1:]]


def with_known(write_sheets: WriteSheets, *rows: list[str], head: list[str] = HEAD) -> Path:
    return write_sheets("sheets", **two_corners(), known_coordinates=[head, *rows])


# ------------------------------------------------------------ what is read


def test_a_row_gives_degrees_or_a_place_in_a_named_system(write_sheets: WriteSheets) -> None:
    folder = with_known(
        write_sheets,
        ["A", "40.7", "-111.3", "", "", "", "", "1", ""],
        ["B", "", "", "EPSG:3560", "1700000.25", "3400000.5", "4321.5 ft", "0.02", "county control"],
    )
    degrees, grid = read_sheets(folder).record.known_coordinates
    assert (degrees.latitude, degrees.longitude, degrees.epsg, degrees.height) == (40.7, -111.3, None, None)
    assert (grid.latitude, grid.longitude) == (None, None)
    assert (grid.epsg, grid.easting, grid.northing) == (3560, 1700000.25, 3400000.5)
    assert grid.height is not None
    assert (grid.height.as_read, grid.height.metres) == ("4321.5 ft", pytest.approx(4321.5 * 0.3048))
    assert (grid.accuracy_m, grid.source) == (0.02, "county control")


def test_the_old_headings_are_still_enough(write_sheets: WriteSheets) -> None:
    head = ["point", "latitude", "longitude", "accuracy_m"]
    folder = with_known(write_sheets, ["A", "40.7", "-111.3", "1"], head=head)
    (known,) = read_sheets(folder).record.known_coordinates
    assert (known.latitude, known.longitude, known.easting) == (40.7, -111.3, None)


def test_the_headings_of_a_projected_system_are_enough(write_sheets: WriteSheets) -> None:
    head = ["point", "epsg", "easting", "northing", "accuracy_m", "height [m]"]
    folder = with_known(write_sheets, ["A", "26912", "500000", "4500000", "1", "-3.25"], head=head)
    (known,) = read_sheets(folder).record.known_coordinates
    assert known.height is not None
    assert (known.epsg, known.height.metres) == (26912, -3.25)


def test_two_corners_in_survey_feet_lie_on_the_earth_as_far_apart_as_they_were_taped(
    folder: Path, run: Run, write_sheets: WriteSheets
) -> None:
    """30 ft of wall along the grid's east, and an azimuth that is the grid's own north plus its convergence."""
    east = 30 * 0.3048 / SURVEY_FOOT_M
    sheets = with_known(
        write_sheets,
        ["A", "", "", UTAH_US, "1700000", "3400000", "", "0.01", ""],
        ["B", "", "", UTAH_US, f"{1700000 + east:.6f}", "3400000", "", "0.01", ""],
    )
    assert run("load", sheets, "--who", "tester", "--record", "asbuilt.db").exit_code == 0
    assert "nothing changed" in run("load", sheets, "--who", "tester", "--record", "asbuilt.db").stdout
    found = parsed(run("positions", "Two Corners", "--record", "asbuilt.db", "--json"))
    a, b = found["references"]
    line = Geodesic.WGS84.Inverse(a["latitude"], a["longitude"], b["latitude"], b["longitude"])
    assert line["s12"] == pytest.approx(30 * 0.3048, abs=1e-3)
    notes = {finding["code"]: finding["message"] for finding in found["findings"]}
    assert notes["projected-coordinates"] == (
        "A, B: read in EPSG 3560 (NAD83 / Utah North (ftUS)), US survey feet. Grid north is there 0.14 degrees east "
        "of "
        "true north, and a grid distance 1.000010 of the true one; both are taken out. The shift from NAD83 to WGS "
        "84 "
        "may be 4.0 m off, the same for all of them; with a grid that is not installed it would be 2.0 m."
    )
    assert line["azi1"] == pytest.approx(90 + 0.1416, abs=0.001)
    # 4 m of the shift at 68 % is 6.49 m at 95 %
    assert a["r95_earth_m"] == pytest.approx(4 / 1.5096 * math.sqrt(-2 * math.log(0.05)), rel=1e-3)
    assert b["r95_m"] < 0.05


# ------------------------------------------------------------ refusals of cells and rows


def test_a_row_gives_one_place_neither_half_nor_two_nor_none(folder: Path, write_sheets: WriteSheets) -> None:
    sheets = with_known(
        write_sheets,
        ["A", "", "", "", "", "", "", "1", ""],
        ["A", "40.7", "", "", "", "", "", "1", ""],
        ["A", "40.7", "-111.3", "3560", "", "", "", "1", ""],
        ["B", "", "", "", "1700000", "3400000", "", "1", ""],
        ["B", "", "", "3560", "1700000", "", "", "1", ""],
    )
    assert problems(sheets, folder / "asbuilt.db") == [
        "known_coordinates.csv row 2: has no place on the earth; fill latitude and longitude, or epsg, easting and "
        "northing",
        "known_coordinates.csv row 3, column longitude: is empty, but latitude is given; latitude and longitude "
        "belong "
        "together",
        "known_coordinates.csv row 4, column epsg: epsg is “3560” beside latitude; write the one place or the "
        "other, not "
        "both",
        "known_coordinates.csv row 5, column epsg: is empty, but easting is given; epsg, easting and northing belong "
        "together",
        "known_coordinates.csv row 6, column northing: is empty, but epsg is given; epsg, easting and northing "
        "belong "
        "together",
    ]


def test_cells_that_are_no_code_and_no_number_are_refused(folder: Path, write_sheets: WriteSheets) -> None:
    sheets = with_known(
        write_sheets,
        ["A", "", "", "zone 12", "1,700,000", "3400000 ft", "high", "1", ""],
        ["B", "", "", "-5", "nan", "1e400", "4321", "1", ""],
    )
    assert problems(sheets, folder / "asbuilt.db") == [
        "known_coordinates.csv row 2, column epsg: “zone 12” is no EPSG code; accepted: the code of a projected "
        "system, "
        "such as 26915",
        "known_coordinates.csv row 2, column easting: “1,700,000” is not a number; accepted: a number, written as "
        "1234.5",
        "known_coordinates.csv row 2, column northing: “3400000 ft” is not a number; accepted: a number, written as "
        "1234.5",
        "known_coordinates.csv row 2, column height: “high” cannot be read as a length; accepted are 23' 4 1/2\", "
        "23 ft 4.5 in, 23.4', 6\", 7.12 m and 712 cm",
        "known_coordinates.csv row 3, column epsg: “-5” is no EPSG code; accepted: the code of a projected system, "
        "such "
        "as 26915",
        "known_coordinates.csv row 3, column easting: “nan” is not a number; accepted: a number, written as 1234.5",
        "known_coordinates.csv row 3, column northing: “1e400” is not a number; accepted: a number, written as 1234.5",
        "known_coordinates.csv row 3, column height: “4321” could be feet or inches; write 4321' or 4321\"",
    ]


def test_a_heading_may_not_name_a_unit_that_the_system_has(folder: Path, write_sheets: WriteSheets) -> None:
    head = ["point", "epsg", "easting [ft]", "northing [m]", "accuracy_m"]
    sheets = with_known(write_sheets, ["A", "3560", "1700000", "3400000", "1"], head=head)
    assert problems(sheets, folder / "asbuilt.db") == [
        "known_coordinates.csv row 1, column easting [ft]: names the unit “ft”, but the system in epsg has its own; "
        "write "
        "easting",
        "known_coordinates.csv row 1, column northing [m]: names the unit “m”, but the system in epsg has its own; "
        "write "
        "northing",
    ]


# ------------------------------------------------------------ refusals of systems and places


@pytest.mark.parametrize(
    ("epsg", "easting", "northing", "column", "message"),
    [
        (
            "99999",
            "1",
            "1",
            "epsg",
            "there is no system 99999 in the EPSG data set; accepted: the code of a projected system, such as 26915 "
            "or "
            "2277",
        ),
        (
            "4326",
            "-111",
            "41",
            "epsg",
            "EPSG 4326 (WGS 84) is a system of degrees; accepted: a projected system with axes east and north, or "
            "latitude and longitude of WGS 84",
        ),
        (
            "5703",
            "1",
            "1",
            "epsg",
            "EPSG 5703 (NAVD88 height) is a system of heights; accepted: a projected system with axes east and north",
        ),
        (
            "4978",
            "1",
            "1",
            "epsg",
            "EPSG 4978 (WGS 84) is a system of no plane; accepted: a projected system with axes east and north",
        ),
        (
            "5972",
            "1",
            "1",
            "epsg",
            "EPSG 5972 (ETRS89 / UTM zone 32N + NN2000 height) has a height in it; give the code of its projected "
            "part "
            "alone",
        ),
        (
            "2046",
            "1",
            "1",
            "epsg",
            "the axes of EPSG 2046 (Hartebeesthoek94 / Lo15) run west and south; accepted: a projected system with "
            "axes "
            "east and north",
        ),
        (
            "2009",
            "300000",
            "5000000",
            "epsg",
            "no shift from NAD27(CGQ77) to WGS 84 is known here; without one it may be metres or hundreds of metres "
            "off; "
            "convert to WGS 84 elsewhere and write latitude and longitude",
        ),
        (
            "32600",
            "500000",
            "4500000",
            "epsg",
            "EPSG 32600 (WGS 84 / UTM grid system (northern hemisphere)) is no system that can be reckoned with; "
            "accepted: a projected system with axes east and north",
        ),
        (
            UTAH_FT,  # metres written where the system has feet
            "518160",
            "1036320",
            "easting",
            "easting 518160 and northing 1036320 lie at latitude 34.1213, longitude -115.1816, 721 km outside the "
            "area "
            "of EPSG 2280 (NAD83 / Utah North (ft)); check the system, its unit (international feet) and the order",
        ),
        (
            UTM_12N,  # northing and easting exchanged
            "4500000",
            "500000",
            "easting",
            "easting 4500000 and northing 500000 lie at latitude 3.7529, longitude -77.1350, 4,445 km outside the "
            "area of "
            "EPSG 26912 (NAD83 / UTM zone 12N); check the system, its unit (metres) and the order",
        ),
        (
            UTM_12N,
            "1e300",
            "1",
            "easting",
            "easting 1e+300 and northing 1 lie nowhere in EPSG 26912 (NAD83 / UTM zone 12N); check them and their "
            "unit: "
            "metres",
        ),
    ],
    ids=[
        "unknown",
        "degrees",
        "heights",
        "geocentric",
        "compound",
        "axes",
        "no shift",
        "all zones",
        "metres for feet",
        "exchanged",
        "nowhere",
    ],
)
def test_a_coordinate_that_its_system_cannot_place_is_refused_by_row_and_column(
    folder: Path, write_sheets: WriteSheets, epsg: str, easting: str, northing: str, column: str, message: str
) -> None:
    sheets = with_known(
        write_sheets,
        ["A", "40.7", "-111.3", "", "", "", "", "1", ""],
        ["B", "", "", epsg, easting, northing, "", "1", ""],
    )
    assert problems(sheets, folder / "asbuilt.db") == [f"known_coordinates.csv row 3, column {column}: {message}"]


def test_a_place_a_little_outside_the_area_of_its_system_is_used_and_told(
    folder: Path, run: Run, write_sheets: WriteSheets
) -> None:
    """A neighbouring zone, as many use beyond its edge: zone 12 ends at 108 degrees west."""
    sheets = with_known(write_sheets, ["A", "", "", UTM_12N, "760000", "4520000", "", "1", ""])
    result = run("load", sheets, "--who", "tester", "--record", "asbuilt.db")
    assert result.exit_code == 1
    assert (
        "attention: A lies 7 km outside the area that NAD83 / UTM zone 12N is meant for. Check the code of the "
        "system, "
        "or give the one of this place."
    ) in " ".join(result.stderr.split())

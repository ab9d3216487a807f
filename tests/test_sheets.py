"""Field sheets in: what a folder gives, and every refusal with its whole message."""

from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from asbuilt.errors import AsbuiltError, SheetError
from asbuilt.model.components import Point
from asbuilt.model.measurements import Side, Tie
from asbuilt.record.sheets.columns import SHEET_NAMES, SHEETS
from asbuilt.record.sheets.read import SheetSet, read_sheets

Changes = Mapping[str, str | bytes | None]
"""What to write in place of the smallest set, by file; None = no such file."""

TOML, REFERENCES, WALLS, POINTS, TIES, OFFSETS, KNOWN, COMPONENTS, HOUSEHOLD, SERVICE, LEVELS, TASKS, *_ = SHEET_NAMES

SMALLEST = {
    TOML: 'name = "Mill Lane 4"\nunits = "ft-in"\n',
    REFERENCES: "name\nA\nB\n",
    WALLS: "from,to,length,turn\nA,B,40 0,\n",
    POINTS: 'component,point,from1,tape1,from2,tape2,side\nseptic tank,lid,A,"23\' 4 1/2""",B,30\' 2",left of A > B\n',
}
"""Two corners, one taped wall between them and a side word."""

SQUARE = {
    REFERENCES: "name\nA\nB\nC\nD\n",
    WALLS: "from,to,length,turn\nA,B,40 0,L\nB,C,20 0,L\nC,D,40 0,L\nD,A,20 0,L\n",
}
"""A closed walk, the house on its left."""

POINT_HEAD = "component,point,from1,tape1,from2,tape2,side\n"
TIE_HEAD = "from,to,distance,side,note\n"
AZIMUTH = TOML, SMALLEST[TOML] + '[earth]\nwall_from = "A"\nwall_to = "B"\nazimuth_deg = 97\n'
ORDER = "write the walls in walking order, each from where the one before ended; others go into ties.csv"
INCH = 'write the inch mark twice ("") in a quoted cell, or write in for it'


def read(folder: Path, changes: Changes) -> SheetSet:
    """Write the smallest set with these changes (None = leave the file out) and read it."""
    for name, content in {**SMALLEST, **changes}.items():
        if content is not None:
            (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_sheets(folder)


def refusal(folder: Path, changes: Changes) -> list[str]:
    """Give the lines of the refusal, one a problem."""
    with pytest.raises(SheetError) as refused:
        read(folder, changes)
    lines = str(refused.value).split("\n")
    assert lines[0].startswith(f"{len(lines) - 1} problem") and lines[0].endswith("in the sheets; nothing was stored")
    return lines[1:]


# What is read


def test_two_corners_one_wall_and_a_side_are_enough(tmp_path: Path) -> None:
    found = read(tmp_path, {})
    record = found.record
    assert (record.property.name, record.property.units) == ("Mill Lane 4", "ft-in")
    assert record.reference_names() == ("A", "B")
    (wall,) = record.walls
    assert (wall.from_, wall.to, wall.length.as_read, wall.turn, wall.turn_deg) == ("A", "B", "40 0", "?", None)
    assert record.points == (Point("septic tank", "lid"),)
    ties = [(tie.from_, tie.to, tie.distance.as_read, tie.side) for tie in record.ties]
    assert ties == [
        ("A", "septic tank/lid", "23' 4 1/2\"", Side("left", "A", "B")),
        ("B", "septic tank/lid", "30' 2\"", Side("left", "A", "B")),
    ]
    assert record.ties[0].distance.metres == pytest.approx(280.5 * 0.0254, abs=1e-12)


def test_every_fact_knows_its_sheet_and_row(tmp_path: Path) -> None:
    rows = read(tmp_path, {}).rows
    places = [(row.sheet, row.row, type(row.value).__name__) for row in rows]
    assert places == [
        (TOML, None, "Property"),
        (REFERENCES, 2, "ReferencePoint"),
        (REFERENCES, 3, "ReferencePoint"),
        (WALLS, 2, "Wall"),
        (POINTS, 2, "Point"),
        (POINTS, 2, "Tie"),
        (POINTS, 2, "Tie"),
    ]


def test_an_inch_mark_bare_in_a_cell_and_one_doubled_in_quotes_read_alike(tmp_path: Path) -> None:
    points = POINT_HEAD + 'tank,1,A,23\' 4 1/2",,,\ntank,2,A,"23\' 4 1/2""",,,\n'
    one, other = read(tmp_path, {POINTS: points}).record.ties
    assert one.distance == other.distance


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_byte_order_mark_line_ends_blank_rows_and_empty_columns_change_nothing(
    tmp_path: Path, mark: str, ending: str
) -> None:
    plain = read(tmp_path, {}).record
    text = f"{mark}, ,\n FROM , To,length,TURN,,\n,,,,,\nA,B,40 0,,,\n\n".replace("\n", ending)
    text = text.replace(", ," + ending, ",," + ending)
    found = read(tmp_path, {WALLS: text})
    assert found.record == plain
    assert [row.row for row in found.rows if row.sheet == WALLS] == [4]


def test_a_heading_names_the_unit_of_its_column(tmp_path: Path) -> None:
    points = "component,point,from1,tape1 [ft],from2,tape2 [m],depth[in]\ntank,1,A,23.4,B,7.12,18\n"
    record = read(tmp_path, {POINTS: points}).record
    # by hand: 23.4 ft of 0.3048 m; 18 in of 0.0254 m
    assert [tie.distance.metres for tie in record.ties] == pytest.approx([7.13232, 7.12], abs=1e-9)
    assert record.points[0].depth is not None
    assert record.points[0].depth.metres == pytest.approx(0.4572, abs=1e-9)


def test_a_short_name_in_ties_stands_for_the_only_point_called_so(tmp_path: Path) -> None:
    ties = TIE_HEAD + "lid,A,9 1,,\nB,lid,8 2,right of B > A,\n"
    record = read(tmp_path, {TIES: ties, POINTS: POINT_HEAD + "septic tank,lid,,,,,\n"}).record
    assert [(tie.from_, tie.to) for tie in record.ties] == [("septic tank/lid", "A"), ("B", "septic tank/lid")]


def test_without_points_any_other_name_is_a_new_point(tmp_path: Path) -> None:
    ties = TIE_HEAD + "A,B,40 0,,\nA,septic tank/lid,9 1,,\nB,well,8 2,,\n"
    record = read(tmp_path, {TIES: ties, POINTS: None, WALLS: None}).record
    assert record.point_names() == ("septic tank/lid", "well")


def test_with_points_a_new_point_needs_a_known_component(tmp_path: Path) -> None:
    ties = TIE_HEAD + "A,septic tank/outlet,9 1,,\nB,septc tank/outlet,9 1,,\n"
    assert refusal(tmp_path, {TIES: ties}) == [
        "ties.csv row 3, column to: “septc tank/outlet” is no reference point or point; "
        "did you mean “septic tank/outlet”?"
    ]


@pytest.mark.parametrize(
    ("walls", "row", "side"),
    [
        (SQUARE[WALLS], "A,3 1,B,4 1", Side("out", "A", "B")),
        (SQUARE[WALLS], "A,3 1,D,4 1", Side("out", "D", "A")),  # in walking order, not as written
        # A, M and B on one straight run, and the run goes through the first corner of the walk
        (
            "from,to,length,turn\nM,B,20 0,120\nB,C,40 0,120\nC,A,40 0,120\nA,M,20 0,0\n",
            "B,3 1,A,4 1",
            Side("out", "A", "B"),
        ),
    ],
)
def test_out_names_the_wall_that_it_is_out_of(tmp_path: Path, walls: str, row: str, side: Side) -> None:
    a, tape_a, b, tape_b = (cell for part in row.split(",") for cell in [part])
    points = POINT_HEAD + f"tank,lid,{a},{tape_a},{b},{tape_b},out\n"
    record = read(tmp_path, {REFERENCES: "name\nA\nB\nC\nD\nM\n", WALLS: walls, POINTS: points}).record
    assert {tie.side for tie in record.ties} == {side}


def test_out_in_the_long_form_looks_at_all_tapes_of_the_point(tmp_path: Path) -> None:
    ties = TIE_HEAD + "B,tank/lid,9 1,out,\nC,tank/lid,8 1,,\n"
    record = read(tmp_path, {**SQUARE, TIES: ties, POINTS: None}).record
    assert [tie.side for tie in record.ties] == [Side("out", "B", "C"), None]


def test_a_taped_wall_counts_as_a_tape_of_a_side(tmp_path: Path) -> None:
    changes = {
        REFERENCES: "name\nA\nB\nC\n",
        WALLS: "from,to,length,turn\nA,B,40 0,?\nB,C,20 0,\n",
        TIES: TIE_HEAD + "A,C,44 9,left of A > B,\n",
    }
    assert read(tmp_path, changes).record.ties[-1].side == Side("left", "A", "B")


def test_the_same_reading_twice_in_ties_needs_a_note_that_tells_them_apart(tmp_path: Path) -> None:
    ties = TIE_HEAD + "A,B,40 0,,\nA,B,40 0,,second pull\nB,A,40 0 1/2,,\n".replace("40 0 1/2", "40 0.5")
    assert len(read(tmp_path, {TIES: ties}).record.ties) == 5


def test_two_components_of_one_name_may_follow_one_another(tmp_path: Path) -> None:
    components = (
        "name,kind,installed_on,removed_on,replaces\n"
        "septic tank,septic tank,1998-05-01,2019-06-01,\nseptic tank,septic tank,2019-06-01,,septic tank\n"
    )
    service = "on,component,task,gallons\n2020-01-02,septic tank,Pumped,1000\n"
    record = read(tmp_path, {COMPONENTS: components, SERVICE: service}).record
    assert [component.replaces for component in record.components] == [None, "septic tank"]
    assert record.service[0].task == "pump-out"


def test_two_closed_walks_are_two_buildings(tmp_path: Path) -> None:
    changes = {
        REFERENCES: "name\nA\nB\nC\nD\nP\nQ\nR\n",
        WALLS: SQUARE[WALLS] + "P,Q,9 0,-120\nQ,R,9 0,-120\nR,P,9 0,-120\n",
    }
    assert len(read(tmp_path, changes).record.walls) == 7


def test_defaults_stand_where_cells_are_empty(tmp_path: Path) -> None:
    household = "from,to,people,months_a_year,disposer\n2020-01-01,,2,,\n2019-01-01,2020-01-01,3,6,Y\n"
    toml = SMALLEST[TOML] + '[measured]\non = 2024-05-06\ntape_sigma = "0.02 m"\nunknown_drop = "3 0"\n'
    record = read(tmp_path, {HOUSEHOLD: household, TOML: toml}).record
    assert [(each.months_a_year, each.disposer) for each in record.household] == [(12.0, False), (6.0, True)]
    measured = record.property.measured
    assert (measured.care, measured.square_sigma_deg) == ("normal", 0.2)
    assert measured.tape_sigma is not None and measured.tape_sigma.metres == pytest.approx(0.02)
    assert measured.unknown_drop is not None and measured.unknown_drop.metres == pytest.approx(3 * 0.3048)


def test_other_files_in_the_folder_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "points.xlsx").write_bytes(b"PK\x03\x04")
    (tmp_path / "points_old.csv").write_bytes(b"what it was")
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8")
    assert len(read(tmp_path, {}).record.points) == 1


def test_a_link_to_a_sheet_is_followed(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "w").write_text(SMALLEST[WALLS])
    (tmp_path / WALLS).symlink_to(tmp_path / "elsewhere" / "w")
    assert len(read(tmp_path, {WALLS: None}).record.walls) == 1


def test_the_sample_property_is_read() -> None:
    folder = Path(__file__).parent.parent / "sample_property"
    found = read_sheets(folder)
    readings = sum(row.from_ in found.record.reference_names() for row in found.record.ties)
    assert len(found.record.walls) == 6 and readings > 50
    names = set(found.record.point_names()) | set(found.record.reference_names())
    assert {name for tie in found.record.ties for name in (tie.from_, tie.to)} <= names


# What is refused: whole lines

REFUSED: list[tuple[str, Changes, list[str]]] = [
    # files
    (
        "nothing",
        dict.fromkeys(SHEET_NAMES),
        [
            'property.toml: is missing; write at least name = "..." and units = "ft-in", "ft" or "m"',
            "reference_points.csv: is missing; write a sheet with the heading name and the points that one measures "
            "from",
            "walls.csv: no wall, and no tie between two reference points in ties.csv; tape one wall, or one distance "
            "between two reference points",
            "points.csv: is missing, and so is ties.csv; write points.csv (one row a point) or ties.csv (one row a "
            "tape)",
        ],
    ),
    (
        "a sheet under another case",
        {WALLS: None, "Walls.CSV": SMALLEST[WALLS], TIES: TIE_HEAD + "A,B,9 1,,\n"},
        ["Walls.CSV: is not the name of a field sheet; did you mean “walls.csv”?"],
    ),
    (
        "a sheet misspelt",
        {"componnts.csv": "name,kind\n"},
        ["componnts.csv: is not the name of a field sheet; did you mean “components.csv”?"],
    ),
    (
        "encodings",
        {
            TOML: b'name = "Caf\x8e"',  # as a Macintosh wrote it before 2001
            REFERENCES: b"\xff\xfen\0a",
            WALLS: b"a\0b",
            POINTS: b"from\nA\n23\x81",
            TIES: b"PK\x03\x04",
            OFFSETS: b"\n,,\n",
        },
        [
            "property.toml: is not UTF-8 (byte 0x8E in line 1), and no Windows-1252 that makes sense; save it again as "
            "plain text in UTF-8",
            "reference_points.csv: begins as UTF-16 and is broken at byte 5; save the sheet again as CSV UTF-8 (plain "
            "text, commas)",
            "walls.csv: holds NUL bytes, so it is not plain text; save the sheet again as CSV UTF-8 (plain text, "
            "commas)",
            "points.csv: is not UTF-8 (byte 0x81 in line 3), and no Windows-1252 that makes sense; save the sheet "
            "again as CSV UTF-8 (plain text, commas)",
            "ties.csv: is a spreadsheet or archive under the name of a text file; save the sheet again as CSV UTF-8 "
            "(plain text, commas)",
            "offsets.csv: is empty; write the headings in its first row",
        ],
    ),
    (
        "too large",
        {TIES: b"x" * 10_000_001, OFFSETS: "a\n" * 100_001, KNOWN: ",".join("abcdefghij" * 21)},
        [
            "ties.csv: is larger than 10,000,000 bytes; take out what is no field sheet, or part it in two",
            "offsets.csv: has 100,001 rows; accepted: at most 100,000",
            "known_coordinates.csv row 1: has 210 headings; accepted: at most 200",
        ],
    ),
    (
        "two separators and a quotation mark among the headings",
        {WALLS: "from;to,length;turn\nA;B;40 0;\n", TIES: "from\tto\tdistance\n", OFFSETS: '"wall_from,wall_to\n'},
        [
            "walls.csv row 1: has commas and semicolons between its headings; save it with one of them between all "
            "cells",
            "offsets.csv row 1: a quotation mark stands where none belongs; accepted: headings as in the reference, "
            "with commas",
        ],
    ),
    # headings and cells
    (
        "headings",
        {POINTS: "component,point,tapee1,from1,from1,side [ft],tape2 [yd],tape1 [in],tape1,,x\nt,l,,,,,,,,5,,6\n"},
        [
            "points.csv row 1, column tapee1: “tapee1” is no column of this sheet; did you mean “tape1”?",
            "points.csv row 1, column side [ft]: names the unit “ft”, but holds no lengths; write side",
            "points.csv row 1, column tape2 [yd]: names the unit “yd”; accepted: ft-in, ft, m, in, cm",
            "points.csv row 1, column x: “x” is no column of this sheet; accepted: component, point, order, mark, "
            "from1, tape1, from2, tape2, from3, tape3, from4, tape4, side, held, drop, size, depth, depth_to, "
            "description, photo, known_by, color, material, landmark, pin",
            "points.csv row 1, column from1: the heading stands there twice; write each heading once",
            "points.csv row 1, column tape1: the heading stands there twice; write each heading once",
            "points.csv row 2: cell 10 “5” has no heading; give it a heading or empty it",
            "points.csv row 2: cell 12 “6” has no heading; give it a heading or empty it",
        ],
    ),
    (
        "needed columns and cells",
        {WALLS: "from,to,turn\nA,B,\n", REFERENCES: "name,kind\nA,\n,pin\nB,\n"},
        [
            "reference_points.csv row 3, column name: is empty; it is needed in every row",
            "walls.csv row 1, column length: is missing; needed columns: from, to, length, turn",
        ],
    ),
    (
        "inch marks that ate cells",
        {
            POINTS: POINT_HEAD
            + 't,1,A,"23\' 4 1/2"",B,30\' 2",left of A > B\n'  # two marks pair up within the row
            + 't,2,A,"23\' 4 1/2"",B,30 2,\n'  # one is left over
            + 't,3,A,"23\' 4" ,,,\n'
            + 't,4,A,"two\nlines",B,9 1,\n'
            + "t,5,A,9,,,\n"
        },
        [
            f"points.csv row 2, column tape1: “23' 4 1/2\",B,30' 2” holds more than one cell (an inch mark that ate "
            f"the next cells); {INCH}",
            'points.csv row 3, column tape1: a quotation mark does not belong in “"23\' 4 1/2"",B,30 2,” (an inch '
            f"mark that ate the next cells); {INCH}",
            'points.csv row 4, column tape1: a quotation mark does not belong in “"23\' 4" ,,,” (an inch mark that '
            f"ate the next cells); {INCH}",
            r"points.csv row 5, column tape1: “two\nlines” holds a line break (an inch mark that ate the next cells); "
            f"keep a cell on one line; {INCH}",
            # the row number is the spreadsheet's: the line break of row 5 is inside a cell
            "points.csv row 6, column tape1: “9” could be feet or inches; write 9' or 9\"",
        ],
    ),
    (
        "half tapes",
        {POINTS: "component,point,from1,tape1,side,held\nt,1,A,,,\nt,2,,9 1,,\nt,3,,,out,level\n"},
        [
            "points.csv row 2, column tape1: is empty, but from1 is “A”; fill both or neither",
            "points.csv row 3, column from1: is empty, but tape1 is “9 1”; fill both or neither",
            "points.csv row 4, column side: “out” stands in a row without a tape; write it in ties.csv beside the "
            "tape it belongs to",
            "points.csv row 4, column held: “level” stands in a row without a tape; write it in ties.csv beside the "
            "tape it belongs to",
        ],
    ),
    # names
    (
        "names twice",
        {
            REFERENCES: "name\nA\na\nB\nB\nlid\n",
            POINTS: "component,point\ntank,Lid\ntank,cap\ntank,cap\nTank,x\ntank,CAP\n",
        },
        [
            "reference_points.csv row 3, column name: “a” differs only by capitals from “A” in reference_points.csv "
            "row 2; give each its own name",
            "reference_points.csv row 5, column name: “B” stands already in reference_points.csv row 4; give each its "
            "own name",
            "points.csv row 2, column point: “Lid” is named like the reference point “lid” in reference_points.csv "
            "row 6; give the point another name",
            "points.csv row 4, column point: “cap” stands already in points.csv row 3; give each its own name",
            "points.csv row 5, column component: “Tank” differs only by capitals from “tank” in points.csv row 2; "
            "write one name one way",
            "points.csv row 6, column point: “CAP” differs only by capitals from “tank/cap” in points.csv row 3; give "
            "each its own name",
        ],
    ),
    (
        "names unknown",
        {
            REFERENCES: "name\nNE corner\nA\nB\n",
            POINTS: POINT_HEAD + "tank,lid,NE cornr,9 1,,,\npump,lid,A,9 1,,,\n",
            TIES: TIE_HEAD + "a,tank/lid,9 1,,\nA,lid,9 1,,\nA,post,9 1,,\nA,B,9 1,left of X > Y,\n",
            WALLS: "from,to,length,turn\nA,tank/lid,9 1,\n",
            KNOWN: "point,latitude,longitude,accuracy_m\nNE  cornre,45,-120,3\n",
            OFFSETS: "wall_from,wall_to,point,along,out,hand\nA,BB,tank/cap,1 1,1 1,left\n",
        },
        [
            "walls.csv row 2, column to: “tank/lid” is no reference point; accepted: a name of reference_points.csv",
            "points.csv row 2, column from1: “NE cornr” is no reference point or point; did you mean “NE corner”?",
            "ties.csv row 2, column from: “a” is no reference point or point; did you mean “A”?",
            "ties.csv row 3, column to: “lid” may be “tank/lid” or “pump/lid”; write component/point",
            "ties.csv row 4, column to: “post” is no reference point or point; accepted: a name of "
            "reference_points.csv or points.csv, or component/point of a known component",
            "ties.csv row 5, column side: “X” is no reference point or point; accepted: a name of "
            "reference_points.csv or points.csv, or component/point of a known component",
            "offsets.csv row 2, column wall_to: “BB” is no reference point or point; did you mean “B”?",
            "known_coordinates.csv row 2, column point: “NE cornre” is no reference point or point; did you mean "
            "“NE corner”?",
        ],
    ),
    (
        "components",
        {
            POINTS: "component,point\nseptic tnk,lid\n",
            COMPONENTS: "name,kind,shape,volume_gal,replaces,installed_on,removed_on\n"
            "septic tank,tank,ring,0,,2010-01-01,2009-01-01\nbox,box,,,bx,,\nbox,box,,,,2020-01-01,\n"
            "vault,tank,,,vault,,\n",
            SERVICE: "on,component,task,gallons,evidence\n2020-01-01,septic tan,Pumped,-4,guess\n",
        },
        [
            "points.csv row 2, column component: “septic tnk” is no component; did you mean “septic tank”?",
            "components.csv row 2, column shape: “ring” is not accepted here; accepted: point, line, area or box",
            "components.csv row 2, column volume_gal: “0” is too small; accepted: a number above 0",
            "components.csv row 2, column removed_on: 2009-01-01 is not after installed_on 2010-01-01; the day on "
            "which it no longer holds comes later",
            "components.csv row 3, column replaces: “bx” is no component; did you mean “box”?",
            "components.csv row 4: “box” stands already in row 3, and both would be in the ground at one time; give "
            "each its own name, or removed_on to the one and installed_on to the other",
            "components.csv row 5, column replaces: “vault” replaces itself; write a row for the one before, with "
            "removed_on",
            "service.csv row 2, column component: “septic tan” is no component; did you mean “septic tank”?",
            "service.csv row 2, column gallons: “-4” is too small; accepted: a number of 0 or more",
            "service.csv row 2, column evidence: “guess” is not accepted here; accepted: own reading, receipt or told",
        ],
    ),
    # walls
    (
        "turns that do not close",
        {**SQUARE, WALLS: SQUARE[WALLS].replace("B,C,20 0,L", "B,C,20 0,R")},
        [
            "walls.csv row 5, column turn: the turns of the closed walk A > B > C > D > A sum to +180 degrees; a "
            "closed walk sums to +360 or -360; one change would do: L at “C” (row 3)"
        ],
    ),
    (
        "turns that one change does not mend",
        {**SQUARE, WALLS: SQUARE[WALLS].replace("40 0,L", "40 0,R")},
        [
            "walls.csv row 5, column turn: the turns of the closed walk A > B > C > D > A sum to +0 degrees; a closed "
            "walk sums to +360 or -360"
        ],
    ),
    (
        "a wall against the walk, and a blank turn",
        {**SQUARE, WALLS: "from,to,length,turn\nA,B,40 0,L\nC,B,20 0,L\nC,D,40 0,\nD,A,20 0,L\n"},
        [
            "walls.csv row 3, column from: “C” to “B” runs against the walk, which has come to “B”; write it from “B” "
            "to “C”",
            "walls.csv row 4, column turn: the turn at “D” is empty; accepted: L, R, degrees or ?; only the last wall "
            "of an open walk needs none",
        ],
    ),
    (
        "walls that branch, repeat or go nowhere",
        {**SQUARE, WALLS: SQUARE[WALLS] + "A,C,40 0,?\nC,C,1 0,?\nB,A,40 0,\n"},
        [
            "walls.csv row 6, column from: a new walk begins at “A”, which is a corner of another one; that walk is "
            f"closed; {ORDER}",
            "walls.csv row 7, column to: a wall from “C” to itself; name its two ends",
            "walls.csv row 8: the wall “B” to “A” stands already in row 2; a second tape of it goes into ties.csv",
        ],
    ),
    # tapes, sides, offsets
    (
        "tapes",
        {
            POINTS: POINT_HEAD + "tank,lid,A,9 1,A,9 1,\n",
            TIES: "from,to,distance,drop\nlid,A,9 1,\nA,B,0 0,\nA,A,5 1,\nA,B,5 1,6 0\nA,B,5 1,6 0\nA,B,1001 m,\n",
        },
        [
            "points.csv row 2, column tape2: “9 1” from “A” to “tank/lid” stands already in points.csv row 2; write "
            "each reading once; one taped twice goes into ties.csv, with a note",
            "ties.csv row 2, column distance: “9 1” from “tank/lid” to “A” stands already in points.csv row 2; write "
            "each reading once; one taped twice goes into ties.csv, with a note",
            "ties.csv row 3, column distance: “0 0” is zero; accepted: a length above zero",
            "ties.csv row 4, column to: a tape from “A” to itself; name its two ends",
            "ties.csv row 5, column drop: “6 0” is not less than distance “5 1”; a tape held on a slope is longer than "
            "its drop",
            "ties.csv row 6, column distance: “5 1” from “A” to “B” stands already in ties.csv row 5; write each "
            "reading once; one taped twice goes into ties.csv, with a note",
            "ties.csv row 6, column drop: “6 0” is not less than distance “5 1”; a tape held on a slope is longer than "
            "its drop",
            "ties.csv row 7, column distance: “1001 m” is 1,001 m; accepted: at most 1,000 m",
        ],
    ),
    (
        "sides",
        {
            **SQUARE,
            POINTS: POINT_HEAD
            + "tank,1,A,9 1,B,9 1,left of A > C\ntank,2,A,9 1,B,9 1,north of A > B\n"
            + "tank,3,A,9 1,C,9 1,out\ntank,4,A,9 1,B,9 2,left of A > B\ntank,5,D,7 1,C,7 1,above\n",
            TIES: TIE_HEAD + "B,tank/4,9 3,left of B > A,\n",
        },
        [
            "points.csv row 2, column side: “tank/1” was not taped from “C”; name two of those that it was taped "
            "from: “A”, “B”",
            "points.csv row 3, column side: “north of A > B” needs a direction, and property.toml has no [earth] "
            "azimuth_deg; write left of A > B or right of A > B, or give the azimuth",
            "points.csv row 4, column side: “out”, but “tank/3” was not taped from the two ends of one wall of a "
            "closed walk; write left of A > B or right of A > B",
            "points.csv row 6, column side: “above” is no side; accepted: left of A > B, right of A > B, north (east, "
            "south, west) of A > B, or out",
            "ties.csv row 2, column side: “left of B > A” is contrary to “left of A > B” in points.csv row 5; “tank/4” "
            "lies on one side of a line",
        ],
    ),
    (
        "out of two walls",
        {**SQUARE, POINTS: None, TIES: TIE_HEAD + "B,tank/lid,9 1,out,\nA,tank/lid,8 1,,\nC,tank/lid,7 1,,\n"},
        [
            "ties.csv row 2, column side: “out” may be out of “A” > “B” or “B” > “C”; write left of A > B or right of "
            "A > B"
        ],
    ),
    (
        "out of an open walk",
        {POINTS: POINT_HEAD + "tank,lid,A,9 1,B,9 1,out\n"},
        [
            "points.csv row 2, column side: “out”, but “tank/lid” was not taped from the two ends of one wall of a "
            "closed walk; write left of A > B or right of A > B"
        ],
    ),
    (
        "offsets",
        {
            OFFSETS: "wall_from,wall_to,point,along,out,hand\nA,B,lid,1 1,1 1,\nA,A,lid,1 1,1 1,left\n"
            "A,B,A,1 1,1 1,left\nA,B,lid,-1 1,1 1,up\nA,B,lid,2 1,1 1,left\nA,B,lid,2 1,1 1,left\n"
        },
        [
            "offsets.csv row 2, column hand: is empty, but “A” and “B” do not end one wall of a closed walk with known "
            "turns; accepted: left or right, looking from “A” to “B”",
            "offsets.csv row 3, column wall_to: a wall from “A” to itself; name the two ends of the wall",
            "offsets.csv row 4, column point: “A” is an end of the wall that it is measured from; name another point",
            "offsets.csv row 5, column along: “-1 1” is negative; a length is zero or more",
            "offsets.csv row 5, column hand: “up” is not accepted here; accepted: left or right",
            "offsets.csv row 7: the same offset stands already in row 6; write each reading once",
        ],
    ),
    # household, coordinates, property
    (
        "household",
        {
            HOUSEHOLD: "from,to,people,months_a_year,disposer,building\n2020-01-01,,3,13,maybe,\n"
            "2021-01-01,2020-01-01,-1,,,\n2021-01-01,2022-01-01,2,,,\n2021-01-01,2022-01-01,2,,,cabin\n"
            "03/04/2025,,2,,,\n"
        },
        [
            "household.csv row 2, column months_a_year: “13” is too large; accepted: a number from 0 to 12",
            "household.csv row 2, column disposer: “maybe” is neither yes nor no; accepted: yes or no",
            "household.csv row 3, column to: 2020-01-01 is not after from 2021-01-01; the day on which it no longer "
            "holds comes later",
            "household.csv row 3, column people: “-1” is too small; accepted: a number of 0 or more",
            "household.csv row 4: the stretch overlaps row 2; end the earlier one with `to` on the day of the change",
            "household.csv row 6, column from: “03/04/2025” can be read as 2025-03-04 or 2025-04-03; write "
            "year-month-day",
        ],
    ),
    (
        "coordinates",
        {KNOWN: "point,latitude,longitude,accuracy_m\nA,91,-181,0\nB,45,-120,\n"},
        [
            "known_coordinates.csv row 2, column latitude: “91” is too large; accepted: a number from -90 to 90",
            "known_coordinates.csv row 2, column longitude: “-181” is too small; accepted: a number from -180 to 180",
            "known_coordinates.csv row 2, column accuracy_m: “0” is too small; accepted: a number above 0",
            "known_coordinates.csv row 3, column accuracy_m: is empty; it is needed in every row",
        ],
    ),
    (
        "property keys",
        {
            TOML: 'name = ""\nunits = "yd"\nbedroms = 3\nby = "x"\nbedrooms = "3"\nparcel = 5\nearth = 1\n[measured]\n'
            'on = "2020-01-01"\ncare = "fair"\ntape_sigma = 0.02\nsquare_sigma_deg = true\n'
        },
        [
            "property.toml, earth: is no table; write [earth] on a line of its own",
            "property.toml, bedroms: “bedroms” is no key here; did you mean “bedrooms”?",
            "property.toml, by: “by” is no key here; it belongs in [measured]",
            "property.toml, units: “yd” is not accepted here; accepted: ft-in, ft or m",
            "property.toml, name: is empty; it is needed",
            "property.toml, parcel: “5” is not text; write it between quotation marks",
            "property.toml, bedrooms: “3” is not a number; write a number without quotation marks",
            "property.toml, [measured] on: “2020-01-01” is not a date; write a date without quotation marks, such as "
            "2025-04-03",
            "property.toml, [measured] care: “fair” is not accepted here; accepted: careful, normal or rough",
            "property.toml, [measured] tape_sigma: “0.02” is not text; write it between quotation marks",
            "property.toml, [measured] square_sigma_deg: “true” is not a number; write a number without "
            "quotation marks",
        ],
    ),
    (
        "earth by halves",
        {
            TOML: SMALLEST[TOML] + "[earth]\nlatitude = 45.0\nlongitude = -120\naccuracy_m = 3\nazimuth_deg = 361\n"
            'wall_from = "A"\nwall_to = "BB"\n'
        },
        [
            "property.toml, [earth] azimuth_deg: “361” is too large; accepted: a number from 0 to 360",
            "property.toml, [earth] reference: is missing, but latitude is given; reference, latitude, longitude and "
            "accuracy_m belong together",
            "property.toml, [earth] wall_to: “BB” is no reference point; did you mean “B”?",
        ],
    ),
    (
        "a magnetic azimuth without day and place",
        {AZIMUTH[0]: AZIMUTH[1] + 'north = "magnetic"\n'},
        [
            "property.toml, [earth] north: “magnetic” needs the day of the reading: the compass needle wanders; write "
            "on = ... under [measured]",
            "property.toml, [earth] north: “magnetic” needs a place: the needle points elsewhere in another country; "
            "give reference, latitude, longitude and accuracy_m",
        ],
    ),
]


@pytest.mark.parametrize(("changes", "lines"), [pytest.param(c, n, id=i) for i, c, n in REFUSED])
def test_what_is_wrong_is_told_in_whole_lines(tmp_path: Path, changes: Changes, lines: list[str]) -> None:
    assert refusal(tmp_path, changes) == lines


def test_all_problems_of_all_sheets_come_in_one_run_in_the_order_of_the_sheets(tmp_path: Path) -> None:
    changes = {
        TOML: 'name = "Mill Lane 4"\nunits = "ft-in"\nbedrooms = -1\n',
        WALLS: "from,to,length,turn\nA,B,23.5,\n",
        POINTS: "component,point,depth\ntank,lid,5\ntank,cap,-1 0\n",
        SERVICE: "on,component,task\nyesterday,tank,pumped\n",
    }
    files = [line.split(",")[0].split(" row")[0] for line in refusal(tmp_path, changes)]
    assert files == [TOML, WALLS, POINTS, POINTS, SERVICE]


def test_no_length_is_refused_for_a_unit_that_property_toml_fails_to_tell(tmp_path: Path) -> None:
    lines = refusal(tmp_path, {TOML: 'name = "Mill Lane 4"\n', POINTS: POINT_HEAD + "tank,lid,A,12,X,9,\n"})
    assert lines == [
        "property.toml, units: is missing; write units = ...",
        "points.csv row 2, column from2: “X” is no reference point or point; accepted: a name of "
        "reference_points.csv or points.csv, or component/point of a known component",
    ]


def test_names_are_not_called_unknown_where_the_sheet_of_names_cannot_be_read(tmp_path: Path) -> None:
    assert refusal(tmp_path, {REFERENCES: "name;kind,x\nA;\n"}) == [
        "reference_points.csv row 1: has commas and semicolons between its headings; save it with one of them between "
        "all cells"
    ]


def test_a_compass_side_is_taken_where_an_azimuth_is_known(tmp_path: Path) -> None:
    points = POINT_HEAD + "tank,lid,A,9 1,B,9 1,north of A > B\n"
    record = read(tmp_path, {AZIMUTH[0]: AZIMUTH[1], POINTS: points}).record
    assert record.ties[0].side == Side("north", "A", "B")


def test_a_folder_that_is_not_there_is_refused_in_one_line(tmp_path: Path) -> None:
    accepted = "give the folder that holds property.toml and the sheets"
    no_book = "is a file, and neither a folder nor a workbook (.xlsx or .ods)"
    for path, reason in [(tmp_path / "nowhere", "no such folder"), (tmp_path / "file", no_book)]:
        (tmp_path / "file").write_text("x")
        with pytest.raises(SheetError) as refused:
            read_sheets(path)
        assert [str(problem) for problem in refused.value.problems] == [f"{path}: {reason}; {accepted}"]


def test_a_link_that_leads_nowhere_and_a_folder_in_place_of_a_sheet_are_refused(tmp_path: Path) -> None:
    (tmp_path / WALLS).symlink_to(tmp_path / "gone")
    (tmp_path / TIES).mkdir()
    assert refusal(tmp_path, {WALLS: None}) == [
        "walls.csv: is not a file; put the sheet itself in the folder",
        "ties.csv: is not a file; put the sheet itself in the folder",
    ]


def test_toml_that_cannot_be_read_is_refused_with_its_line(tmp_path: Path) -> None:
    (line,) = refusal(tmp_path, {TOML: 'name = "Mill Lane 4"\nunits = ft\n'})
    assert line == (
        'property.toml: is not TOML: Invalid value (at line 2, column 9); accepted: lines such as name = "Mill Lane 4"'
    )


@pytest.mark.parametrize("content", ["a=" + "[" * 5000, "bedrooms=0x" + "f" * 9000, "bedrooms=" + "9" * 9000])
def test_toml_made_to_break_a_reader_is_refused(tmp_path: Path, content: str) -> None:
    assert refusal(tmp_path, {TOML: content})[0].startswith(TOML)


def test_near_names_are_looked_for_in_the_first_mistakes_only(tmp_path: Path) -> None:
    points = POINT_HEAD + "".join(f"tank,p{i},A{i},9 1,,,\n" for i in range(1000))
    lines = refusal(tmp_path, {POINTS: points})
    assert [len(lines), sum("did you mean" in line for line in lines)] == [1000, 50]


# Any bytes


CELLS = st.sampled_from(
    ["A", "B", "tank", "lid", "tank/lid", "9 1", "23' 4\"", '"', '""', "L", "?", "out", "left of A > B", "2020-01-01"]
)
HEADINGS = st.sampled_from(sorted({column.name for columns in SHEETS.values() for column in columns}))
LINES = st.lists(st.one_of(CELLS, st.text(max_size=5)), max_size=8).map(",".join)
SHEETS_OF_CELLS = st.builds(
    lambda head, lines: "\n".join([head, *lines]).encode("utf-8", "surrogatepass"),
    st.one_of(
        st.sampled_from([",".join(column.name for column in columns) for columns in SHEETS.values()]),
        st.lists(HEADINGS, max_size=6).map(",".join),
    ),
    st.lists(LINES, max_size=6),
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    contents=st.dictionaries(
        st.sampled_from(SHEET_NAMES), st.one_of(st.binary(max_size=80), SHEETS_OF_CELLS), min_size=1
    )
)
def test_any_bytes_give_sheets_or_a_refusal_and_nothing_else(tmp_path: Path, contents: dict[str, bytes]) -> None:
    for name in SHEET_NAMES:
        (tmp_path / name).unlink(missing_ok=True)
    try:
        found = read(tmp_path, dict(contents))
    except AsbuiltError as error:
        assert isinstance(error, SheetError) and error.problems
    else:
        values = [row.value for row in found.rows]
        assert sum(isinstance(value, Tie) for value in values) == len(found.record.ties)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.tuples(*[st.sampled_from("ABCD")] * 2, st.sampled_from(["L", "R", "?", "0", "90", ""]))))
def test_any_walk_is_taken_or_refused(tmp_path: Path, rows: list[tuple[str, str, str]]) -> None:
    walls = "from,to,length,turn\n" + "".join(f"{a},{b},9 1,{turn}\n" for a, b, turn in rows)
    changes = {REFERENCES: SQUARE[REFERENCES], WALLS: walls, TIES: TIE_HEAD + "A,B,9 1,,\nA,lid,9 2,out,\n"}
    try:
        found = read(tmp_path, dict(changes))
    except SheetError as error:
        assert all(problem.file in (WALLS, TIES) for problem in error.problems)
    else:
        assert len(found.record.walls) == len(rows)


def test_a_closed_walk_with_a_wall_longer_than_all_the_others_is_refused(tmp_path: Path) -> None:
    rows = "from,to,length,turn\nA,B,140,L\nB,C,30,L\nC,D,40,L\nD,A,30,L\n"
    (tmp_path / "property.toml").write_text('name = "x"\nunits = "ft"\n', encoding="utf-8")
    (tmp_path / "reference_points.csv").write_text("name\nA\nB\nC\nD\n", encoding="utf-8")
    (tmp_path / "walls.csv").write_text(rows, encoding="utf-8")
    (tmp_path / "points.csv").write_text("component,point\ntank,lid\n", encoding="utf-8")
    with pytest.raises(SheetError) as caught:
        read_sheets(tmp_path)
    assert [str(problem) for problem in caught.value.problems] == [
        "walls.csv row 2, column length: the wall is “140”, longer than all the other walls of the closed walk "
        "together; no turns can close such a walk; tape that wall again"
    ]

"""Rod readings in: what `levels.csv` and `[benchmark]` give, and every refusal with its whole message."""

from datetime import date
from pathlib import Path

import pytest

from asbuilt.model.levels import Benchmark, LevelShot
from asbuilt.units import FOOT_M
from tests.test_sheets import LEVELS, POINTS, SMALLEST, TOML, read, refusal

HEAD = "setup,on,to,backsight [ft],foresight [ft],distance [ft],day,note\n"
BENCHMARK = SMALLEST[TOML] + '[benchmark]\non = "A"\nelevation = "100.00 ft"\ndatum = "NAVD 88"\n'


def shots(folder: Path, *rows: str, **changes: str) -> tuple[LevelShot, ...]:
    """Read these rows of `levels.csv`."""
    return read(folder, {LEVELS: HEAD + "\n".join(rows) + "\n", **changes}).record.levels


def problems(folder: Path, *rows: str, toml: str = SMALLEST[TOML]) -> list[str]:
    return refusal(folder, {LEVELS: HEAD + "\n".join(rows) + "\n", TOML: toml})


# What is read


def test_a_row_is_one_reading_in_the_unit_of_its_heading(tmp_path: Path) -> None:
    one, other, again = shots(
        tmp_path, "1,A,,4.25,,35,,", "1,septic tank/lid,top,,6.1,,2025-04-03,on the rim", "1,lid,grade,,5.85,,,"
    )
    assert (one.setup, one.on, one.to, one.foresight, one.day) == ("1", "A", "top", None, None)
    assert one.backsight is not None and one.distance is not None
    assert one.backsight.metres == pytest.approx(4.25 * FOOT_M)
    assert one.backsight.as_read == "4.25"
    assert one.distance.metres == pytest.approx(35 * FOOT_M)
    assert (other.on, other.day, other.note) == ("septic tank/lid", date(2025, 4, 3), "on the rim")
    assert (again.on, again.to, again.backsight) == ("septic tank/lid", "grade", None)  # the short name stands for it


@pytest.mark.parametrize("minus", ["-", "- ", "−", "–"])
def test_a_minus_is_a_rod_held_upside_down(tmp_path: Path, minus: str) -> None:
    (shot,) = shots(tmp_path, f"1,A,,,{minus}3.40,,,")
    assert shot.reading.metres == pytest.approx(-3.4 * FOOT_M)
    assert shot.reading.as_read == f"{minus}3.40"
    assert shot.reading.step_m == pytest.approx(0.01 * FOOT_M)


def test_feet_and_inches_read_as_everywhere(tmp_path: Path) -> None:
    sheet = "setup,on,backsight,foresight\n1,A,4' 3 1/2,\n1,B,,-0' 6\n"
    one, other = read(tmp_path, {LEVELS: sheet}).record.levels
    assert one.reading.metres == pytest.approx(51.5 * 0.0254)
    assert other.reading.metres == pytest.approx(-6 * 0.0254)


def test_a_turning_point_is_a_name_of_its_own_that_two_set_ups_saw(tmp_path: Path) -> None:
    found = shots(tmp_path, "1,A,,4.25,,,,", "1,TP 1,,,6,,,", "2,TP 1,,3,,,,", "2,lid,,,5,,,")
    assert [shot.on for shot in found] == ["A", "TP 1", "TP 1", "septic tank/lid"]


def test_a_levelled_point_need_not_be_taped_where_its_component_is_known(tmp_path: Path) -> None:
    found = read(tmp_path, {LEVELS: HEAD + "1,septic tank/outlet,invert,,6,,,\n"})
    assert found.record.levels[0].on == "septic tank/outlet"
    assert "septic tank/outlet" not in found.record.point_names()


def test_the_benchmark_stands_in_the_property(tmp_path: Path) -> None:
    record = read(tmp_path, {TOML: BENCHMARK, LEVELS: HEAD + "1,A,,4.25,,,,\n"}).record
    benchmark = record.property.benchmark
    assert isinstance(benchmark, Benchmark) and benchmark.elevation is not None
    assert (benchmark.on, benchmark.datum) == ("A", "NAVD 88")
    assert benchmark.elevation.metres == pytest.approx(30.48)


def test_a_benchmark_may_be_a_mark_of_its_own_below_its_datum(tmp_path: Path) -> None:
    toml = SMALLEST[TOML] + '[benchmark]\non = "hydrant"\nelevation = "-2.5 m"\n'
    record = read(tmp_path, {TOML: toml, LEVELS: HEAD + "1,hydrant,,4.25,,,,\n1,A,,,4.0,,,\n"}).record
    benchmark = record.property.benchmark
    assert benchmark is not None and benchmark.elevation is not None
    assert (benchmark.on, benchmark.elevation.metres) == ("hydrant", -2.5)


def test_one_reading_twice_is_two_where_a_note_says_so(tmp_path: Path) -> None:
    assert len(shots(tmp_path, "1,A,,4.25,,,,", "1,B,,,6.1,,,", "1,B,,,6.1,,,again")) == 3


# What is refused


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (
            "1,A,,,,,,",
            "levels.csv row 2, column backsight: is empty, and so is foresight; write the reading in one of them",
        ),
        (
            "1,A,,4.2,5.1,,,",
            "levels.csv row 2, column foresight: “5.1” stands beside a backsight; one reading a row: a turning point "
            "has two rows, its foresight from one set-up and its backsight from the next",
        ),
        (",A,,4.2,,,,", "levels.csv row 2, column setup: is empty; it is needed in every row"),
        ("1,,,4.2,,,,", "levels.csv row 2, column on: is empty; it is needed in every row"),
        (
            "1,A,lid,4.2,,,,",
            "levels.csv row 2, column to: “lid” is not accepted here; accepted: top, invert, grade or bottom",
        ),
        (
            "1,A,,425,,,,",
            "levels.csv row 2, column backsight: “425” is 130 m; accepted: at most 10 m",
        ),
        (
            "1,A,,--4.2,,,,",
            "levels.csv row 2, column backsight: “--4.2” cannot be read as a length; accepted are 23' 4 1/2\", "
            "23 ft 4.5 in, 23.4', 6\", 7.12 m and 712 cm",
        ),
        ("1,A,,4.2,,0,,", "levels.csv row 2, column distance: “0” is zero; accepted: a length above zero"),
        (
            "1,A,,4.2,,-30,,",
            "levels.csv row 2, column distance: “-30” is negative; a length is zero or more",
        ),
        (
            "1,A,,4.2,,,04/05/2025,",
            "levels.csv row 2, column day: “04/05/2025” can be read as 2025-04-05 or 2025-05-04; write year-month-day",
        ),
        (
            "1,septic tank/lidd,,4.2,,,,",
            None,
        ),
        (
            "1,TP 1,,4.2,,,,",
            "levels.csv row 2, column on: “TP 1” is no reference point or point; accepted: a known name, or a turning "
            "point (shot from two set-ups, or the benchmark)",
        ),
        (
            "1,lidd,,4.2,,,,",
            "levels.csv row 2, column on: “lidd” is no reference point or point; did you mean “lid”?",
        ),
        (
            "1,a,,4.2,,,,",
            "levels.csv row 2, column on: “a” is no reference point or point; did you mean “A”?",
        ),
    ],
)
def test_a_row_that_cannot_be_one_reading_is_refused(tmp_path: Path, row: str, said: str | None) -> None:
    if said is None:  # a new point of a known component
        assert len(shots(tmp_path, row)) == 1
    else:
        assert problems(tmp_path, row) == [said]


def test_a_name_that_differs_by_capitals_is_no_turning_point(tmp_path: Path) -> None:
    assert problems(tmp_path, "1,a,,4.2,,,,", "2,a,,,4.2,,,") == [
        f"levels.csv row {row}, column on: “a” is no reference point or point; did you mean “A”?" for row in (2, 3)
    ]


def test_the_same_reading_is_written_once(tmp_path: Path) -> None:
    assert problems(tmp_path, "1,A,,4.2,,,,", "1,lid,,,6.1,,,", "1,septic tank/lid,,,6.1,,,") == [
        "levels.csv row 4: the same foresight stands already in row 3; write each reading once; one read twice gets a "
        "note"
    ]


def test_a_bare_number_in_feet_and_inches_asks_which(tmp_path: Path) -> None:
    assert refusal(tmp_path, {LEVELS: "setup,on,backsight\n1,A,4.25\n"}) == [
        "levels.csv row 2, column backsight: “4.25” could be tenths of a foot or inches; write 4.25' or 4.25\""
    ]


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('elevation = "100 ft"', "property.toml, [benchmark] on: is missing; write on = ..."),
        ("on = 5", "property.toml, [benchmark] on: “5” is not text; write it between quotation marks"),
        (
            'on = "A"\nelevation = 100',
            "property.toml, [benchmark] elevation: “100” is not text; write it between quotation marks",
        ),
        (
            'on = "A"\nelevation = "100 km"',
            None,
        ),
        (
            'on = "A"\nelevation = "9001 m"',
            "property.toml, [benchmark] elevation: “9001 m” is 9,001 m; accepted: at most 9,000 m",
        ),
        (
            'on = "B"',
            "property.toml, [benchmark] on: “B” was not shot in levels.csv; name what the first backsight stood on",
        ),
        (
            'on = "septc tank/lid"',
            "property.toml, [benchmark] on: “septc tank/lid” was not shot in levels.csv; did you mean "
            "“septic tank/lid”?",
        ),
        ('on = "A"\nheight = "3 ft"', None),
        (
            'on = "septic tank/outlet"',  # only its invert was
            "property.toml, [benchmark] on: “septic tank/outlet” was not shot in levels.csv; did you mean "
            "“septic tank/lid”?",
        ),
    ],
)
def test_a_benchmark_that_is_none_is_refused(tmp_path: Path, table: str, said: str | None) -> None:
    lines = problems(
        tmp_path,
        "1,A,,4.25,,,,",
        "1,septic tank/lid,,,6,,,",
        "1,septic tank/outlet,invert,,7,,,",
        toml=f"{SMALLEST[TOML]}[benchmark]\n{table}\n",
    )
    if said is None:
        assert len(lines) == 1 and lines[0].startswith("property.toml, [benchmark] ")
    else:
        assert lines == [said]


def test_a_bad_name_in_a_row_is_told_once(tmp_path: Path) -> None:
    assert problems(tmp_path, "1,AA,,4.25,,,,", toml=BENCHMARK) == [
        "levels.csv row 2, column on: “AA” is no reference point or point; did you mean “A”?"
    ]


def test_without_levels_a_benchmark_is_only_kept(tmp_path: Path) -> None:
    assert read(tmp_path, {TOML: BENCHMARK}).record.property.benchmark is not None


def test_more_readings_than_one_property_can_have_are_refused(tmp_path: Path) -> None:
    rows = [f"1,A,,{k // 100}.{k % 100:02},,,," for k in range(100, 1000)] * 3
    rows = [row + f"n{k}" for k, row in enumerate(rows)]
    assert problems(tmp_path, *rows) == ["levels.csv: holds 2,700 readings; accepted: at most 2,000 of one property"]


def test_points_without_a_reference_sheet_bring_no_second_complaint(tmp_path: Path) -> None:
    lines = refusal(tmp_path, {LEVELS: HEAD + "1,A,,4.25,,,,\n", POINTS: "component,point,from\nseptic tank,lid,A\n"})
    assert [line for line in lines if line.startswith("levels.csv")] == []

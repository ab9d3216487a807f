"""Cells of field sheets: what each kind takes, and the whole reason where it does not."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.model.measurements import Side
from asbuilt.record.sheets import cells
from asbuilt.record.sheets.cells import CellError, Turn
from asbuilt.record.sheets.days import iso_date


@pytest.mark.parametrize(
    ("parse", "words", "value"),
    [
        (cells.name(), "  NE   corner ", "NE corner"),
        (cells.name(), "cafe\u0301", "caf\u00e9"),  # decomposed as some keyboards type it, composed as others do
        (cells.name(slash=True), "septic tank/inlet lid", "septic tank/inlet lid"),
        (cells.name(), "N" * 80, "N" * 80),
        (cells.text, 'lid at 4", deep > wide', 'lid at 4", deep > wide'),
        (iso_date, "2024-02-29", date(2024, 2, 29)),
        (cells.number(), "-3.25", -3.25),
        (cells.number(), "1.2E-05", 1.2e-05),
        (cells.number(0, 12), "12", 12.0),
        (cells.number(0, whole=True), "3", 3),
        (cells.choice("own reading", "told"), "Own  Reading", "own reading"),
        (cells.yes_no, "Y", True),
        (cells.yes_no, "0", False),
        (cells.task, "Pump Out", "pump-out"),
        (cells.task, "pumping", "pump-out"),
        (cells.task, "Filter  Rinse", "filter rinse"),
        (cells.turn, "l", Turn("L", 90.0)),
        (cells.turn, "R", Turn("R", -90.0)),
        (cells.turn, "?", Turn("?", None)),
        (cells.turn, "-45.5", Turn("-45.5", -45.5)),
        (cells.turn, "45°", Turn("45°", 45.0)),
        (cells.side, "left of NE corner > oak post", Side("left", "NE corner", "oak post")),
        (cells.side, "OUT", Side("out")),
    ],
)
def test_a_cell_gives_its_value(parse: cells.Parser, words: str, value: object) -> None:
    assert parse(words, "ft-in") == value


@pytest.mark.parametrize(
    ("parse", "words", "message"),
    [
        (cells.name(), "a/b", "“a/b” holds /; leave it out of names (points are written component/point)"),
        (cells.name(slash=True), "a > b", "“a > b” holds >; leave it out of names (sides are written A > B)"),
        (cells.name(), "N" * 81, f"“{'N' * 57}...” has 81 characters; a name has at most 80"),
        (cells.name(), "lid\u202e", r"“lid\u202e” holds the invisible character U+202E; one line of plain text"),
        (cells.text, "bell\x07", r"“bell\x07” holds the invisible character U+0007; one line of plain text"),
        (iso_date, "03/04/2025", "“03/04/2025” can be read as 2025-03-04 or 2025-04-03; write year-month-day"),
        (iso_date, "13.4.2025", "“13.4.2025” is not written year-month-day; write 2025-04-13"),
        (iso_date, "4/4/2025", "“4/4/2025” is not written year-month-day; write 2025-04-04"),
        (iso_date, "20250403", "“20250403” is not written year-month-day; accepted: a date such as 2025-04-03"),
        (
            iso_date,
            "2025-02-29",
            "“2025-02-29” is not in the calendar (day is out of range for month); accepted: a date such as 2025-04-03",
        ),
        (cells.number(), "1,5", "“1,5” is not a number; accepted: a number, written as 1234.5"),
        (cells.number(), "nan", "“nan” is not a number; accepted: a number, written as 1234.5"),
        (cells.number(), "9" * 400, f"“{'9' * 57}...” is not a number; accepted: a number, written as 1234.5"),
        (cells.number(), "٣", "“٣” is not a number; accepted: a number, written as 1234.5"),
        (cells.number(0), "-1", "“-1” is too small; accepted: a number of 0 or more"),
        (cells.number(0, 12), "12.5", "“12.5” is too large; accepted: a number from 0 to 12"),
        (cells.number(above=0), "0", "“0” is too small; accepted: a number above 0"),
        (cells.number(above=0, high=9), "10", "“10” is too large; accepted: a number above 0, 9 at most"),
        (cells.number(0, whole=True), "2.5", "“2.5” is not a whole number; accepted: a whole number of 0 or more"),
        (cells.length(zero=False), "0 0", "“0 0” is zero; accepted: a length above zero"),
        (cells.length(), "1001 m", "“1001 m” is 1,001 m; accepted: at most 1,000 m"),
        (cells.length(), "23.5", "“23.5” could be tenths of a foot or inches; write 23.5' or 23' 5\" or 23.5\""),
        (cells.choice("top", "invert"), "lid", "“lid” is not accepted here; accepted: top or invert"),
        (cells.yes_no, "maybe", "“maybe” is neither yes nor no; accepted: yes or no"),
        (
            cells.turn,
            "181",
            "“181” is no turn; accepted: L, R, degrees from -180 to 180 with left positive, or ? for unknown",
        ),
        (
            cells.side,
            "behind A",
            "“behind A” is no side; "
            "accepted: left of A > B, right of A > B, north (east, south, west) of A > B, or out",
        ),
    ],
)
def test_a_cell_is_refused_with_what_was_read_and_what_is_accepted(
    parse: cells.Parser, words: str, message: str
) -> None:
    with pytest.raises(CellError) as refused:
        parse(words, "ft-in")
    assert str(refused.value) == message


def test_a_length_is_kept_as_read_beside_metres() -> None:
    value = cells.length()("23' 4 1/2\"", "ft-in")
    # (23 * 12 + 4.5) inches of 25.4 mm, exact by definition of the international inch
    assert (value.as_read, value.metres) == ("23' 4 1/2\"", pytest.approx(280.5 * 0.0254, abs=1e-12))  # type: ignore[attr-defined]


def test_a_near_name_is_offered_whatever_its_case() -> None:
    assert cells.did_you_mean("ne CORNER", ["NE corner", "NW corner"], "none") == "did you mean “NE corner”?"
    assert cells.did_you_mean("NE cornr", ["NE corner", "well"], "none") == "did you mean “NE corner”?"
    assert cells.did_you_mean("pump tank", ["NE corner", "well"], "none") == "none"


@pytest.mark.parametrize(
    "parse",
    [
        cells.name(),
        cells.text,
        iso_date,
        cells.number(0),
        cells.number(whole=True),
        cells.length(),
        cells.choice("a", "b"),
        cells.yes_no,
        cells.task,
        cells.turn,
        cells.side,
    ],
)
@given(words=st.one_of(st.text(min_size=1), st.text("0123456789 '\"/-.,ftin½′", min_size=1)))
def test_no_text_gets_past_a_parser_but_as_a_value_or_a_cell_error(parse: cells.Parser, words: str) -> None:
    try:
        value = parse(words, "ft-in")
    except CellError as error:
        assert error.reason and error.accepted and "\n" not in str(error)
    else:
        assert value is not None

"""The whole published pumping table, cell by cell, against the code's table and its closed form.

Source and what of it was read: `pumping_table.toml`.
"""

import tomllib
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest

from asbuilt.model.household import Household
from asbuilt.service.solids import (
    CLEAR_GAL_A_PERSON,
    PUBLISHED_YEARS,
    SOLIDS_GAL_A_PERSON_YEAR,
    closed_form_years,
    next_pump_out,
    table_text,
)

PUBLISHED = tomllib.loads(Path(__file__).with_name("pumping_table.toml").read_text(encoding="utf-8"))
CELLS = {
    (int(gallons), people): years
    for gallons, row in PUBLISHED["years"].items()
    for people, years in enumerate(row, start=1)
}
ODD = {(odd["gallons"], odd["people"]): odd for odd in PUBLISHED["odd"]}


def printed(gallons: int, people: int) -> float:
    """Round `T = 0.0130 V/N - 0.65` to 0.1 years in decimals, apart from the code under test, half up."""
    years = Decimal("0.0130") * gallons / people - Decimal("0.65")
    return float(years.quantize(Decimal("0.1"), ROUND_HALF_UP))


def test_the_published_table_has_99_cells() -> None:
    assert len(CELLS) == 99
    assert (500, 10) not in CELLS


def test_the_table_in_the_code_is_the_published_table_cell_by_cell() -> None:
    in_code = {
        (gallons, people): years
        for gallons, row in PUBLISHED_YEARS.items()
        for people, years in enumerate(row, start=1)
    }
    assert in_code.pop((500, 10)) is None
    assert in_code == CELLS


@pytest.mark.parametrize("cell", PUBLISHED["cross_check"][0]["cells"], ids=str)
def test_a_second_text_prints_the_same_cells(cell: dict[str, float]) -> None:
    assert PUBLISHED_YEARS[int(cell["gallons"])][int(cell["people"]) - 1] == cell["years"]


@pytest.mark.parametrize(("size", "years"), CELLS.items(), ids=str)
def test_the_closed_form_is_within_nine_hundredths_of_a_year_of_every_cell(size: tuple[int, int], years: float) -> None:
    assert abs(closed_form_years(*size) - years) <= 0.09


def test_the_closed_form_is_within_the_printed_rounding_of_97_cells() -> None:
    # Half of the last printed digit is 0.05; 0.051 lets a cell that lies exactly on the half through.
    beyond = {size for size, years in CELLS.items() if abs(closed_form_years(*size) - years) > 0.051}
    assert beyond == {(1250, 6), (2500, 8)}


def test_the_closed_form_prints_as_the_table_but_for_the_five_odd_cells() -> None:
    differing = {size for size, years in CELLS.items() if printed(*size) != years}
    assert differing == set(ODD)
    for size, odd in ODD.items():
        assert odd["printed"] == CELLS[size]
        assert odd["closed_form"] == printed(*size)


def test_the_table_contradicts_itself_where_gallons_a_person_are_equal() -> None:
    # Why no closed form in V/N can match all 99: equal V/N, two printed values.
    assert {CELLS[500, 1], CELLS[1000, 2], CELLS[2500, 5]} == {5.8, 5.9}
    assert {CELLS[1250, 4], CELLS[2500, 8]} == {3.4, 3.5}


def test_the_two_readings_of_the_constants_are_the_ones_documented() -> None:
    assert float(CLEAR_GAL_A_PERSON) == 50.0
    assert float(SOLIDS_GAL_A_PERSON_YEAR) == pytest.approx(76.92, abs=0.005)


@pytest.mark.parametrize(("size", "years"), CELLS.items(), ids=str)
def test_the_date_of_a_steady_household_is_the_cell_to_half_its_last_digit(size: tuple[int, int], years: float) -> None:
    gallons, people = size
    due = next_pump_out(gallons, [Household(date(2000, 1, 1), people=people)], since=date(2001, 3, 1))
    assert due is not None
    assert due.due_on is not None
    # 0.09 years as above, and one day because a date is a whole day.
    assert abs((due.due_on - date(2001, 3, 1)).days - years * 365.25) <= 0.09 * 365.25 + 1
    noun = "person" if people == 1 else "people"
    assert due.table == f"published table: {years:.1f} years for {gallons:,} gal and {people} {noun}"


def test_the_cell_that_is_not_printed_is_said_to_have_no_value() -> None:
    assert table_text(500, 10) == "published table: no value for 500 gal and 10 people"


def test_a_disposer_gives_the_published_worked_example() -> None:
    worked = PUBLISHED["disposer"]
    household = [Household(date(2000, 1, 1), people=worked["people"], disposer=True)]
    due = next_pump_out(worked["gallons"], household, since=date(2001, 1, 1))
    assert due is not None
    assert due.years is not None
    assert due.years == pytest.approx(worked["years_with"], abs=PUBLISHED["rounding_years"] / 2)
    assert 9 <= due.years * 12 <= 10  # "about every 9-10 months"
    assert CELLS[worked["gallons"], worked["people"]] == worked["years_without"]

"""What a reading may have been instead, as it would have been written."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt.survey.readings import Slip, slips
from asbuilt.units import FOOT_M, format_length, parse_length


def all_of(text: str, units: str, kind: str | None = None) -> list[Slip]:
    found = slips(parse_length(text, units), units, lid_radius_m=FOOT_M)
    return [slip for slip in found if kind in (None, slip.kind)]


def texts(text: str, units: str, kind: str) -> list[str]:
    return [slip.text for slip in all_of(text, units, kind)]


@pytest.mark.parametrize(
    ("text", "units", "expected"),
    [
        ("23' 4 1/2\"", "ft-in", ["24' 4 1/2\"", "22' 4 1/2\""]),
        ("23 4.5", "ft-in", ["24 4.5", "22 4.5"]),
        ("23.38", "ft", ["24.38", "22.38"]),
        ("23.4'", "ft-in", ["24.4'", "22.4'"]),  # tenths in a sheet of inches stay tenths
        ("7' 7/8\"", "ft-in", ["8' 7/8\"", "6' 7/8\""]),
        ("99' 0\"", "ft-in", ["100' 0\"", "98' 0\""]),
        ("0' 8\"", "ft-in", ["1' 8\""]),  # less than nothing is no reading
        ('8"', "ft-in", ["1' 8\""]),
    ],
)
def test_a_foot_off_is_written_as_the_reading_was(text: str, units: str, expected: list[str]) -> None:
    assert texts(text, units, "1 ft off") == expected


@pytest.mark.parametrize(
    ("text", "units", "kind", "expected"),
    [
        ("23' 6\"", "ft-in", "5 ft off", ["28' 6\"", "18' 6\""]),
        ("23' 6\"", "ft-in", "10 ft off", ["33' 6\"", "13' 6\""]),
        ("7' 6\"", "ft-in", "10 ft off", ["17' 6\""]),
        ("7.12 m", "m", "1 m off", ["8.12 m", "6.12 m"]),
        ("712 cm", "m", "1 m off", ["8.12 m", "6.12 m"]),
        ("23' 6\"", "ft-in", "digits swapped", ["32' 6\""]),
        ("41' 10\"", "ft-in", "digits swapped", ["14' 10\"", "41' 01\""]),
        ("23.38", "ft", "digits swapped", ["32.38", "23.83"]),
        ("44' 6\"", "ft-in", "digits swapped", []),
        ("61' 4\"", "ft-in", "6 for 9 or 1 for 7", ["91' 4\"", "67' 4\""]),
        ("23.6'", "ft", "6 for 9 or 1 for 7", ["23.9'"]),
        ("23' 6\"", "ft-in", "inches for tenths", ["23.6 ft"]),
        ("23 6", "ft-in", "inches for tenths", ["23.6 ft"]),
        ("23' 11\"", "ft-in", "inches for tenths", ["23.11 ft"]),
        ("23' 6 1/2\"", "ft-in", "inches for tenths", []),  # a half of an inch is never taken for tenths
        ("23.6'", "ft", "tenths for inches", ["23' 6\""]),
        ("23.10", "ft", "tenths for inches", ["23' 10\""]),
        ("23.60", "ft", "tenths for inches", []),  # sixty are no inches
        ("7.12 m", "m", "inches for tenths", []),
        ("7.12 m", "m", "feet for metres", ["7.12 ft"]),
        ("23' 6\"", "ft-in", "metres for feet", ["23.50 m"]),
        ("7.12 m", "m", "edge for centre", ["7.42 m", "6.82 m"]),
    ],
)
def test_each_slip_is_written_as_people_write(text: str, units: str, kind: str, expected: list[str]) -> None:
    assert texts(text, units, kind) == expected


def test_inches_keyed_as_tenths_differ_by_a_sixtieth_of_a_foot_each() -> None:
    # n/10 - n/12 = n/60 ft: 30.5 mm for 6 inches; 11 keyed .11 is 245.9 mm short (exact)
    for inches, difference_mm in ((6, 30.48), (9, 45.72)):
        (slip,) = all_of(f"23' {inches}\"", "ft-in", "inches for tenths")
        assert 1000 * (slip.metres - parse_length(f"23' {inches}\"").metres) == pytest.approx(difference_mm)
    (slip,) = all_of("23' 11\"", "ft-in", "inches for tenths")
    assert 1000 * (slip.metres - parse_length("23' 11\"").metres) == pytest.approx(-245.872)


def test_the_edge_of_a_two_foot_lid_and_a_foot_off_are_one_reading_said_once() -> None:
    assert "edge for centre" not in [slip.kind for slip in all_of("23' 6\"", "ft-in")]
    small = slips(parse_length("23' 6\""), "ft-in", lid_radius_m=0.2286)
    assert [slip.text for slip in small if slip.kind == "edge for centre"] == ["24' 3\"", "22' 9\""]


readings = st.builds(
    lambda f, h: format_length(0.3048 * f + 0.0127 * h, "ft-in"), st.integers(1, 99), st.integers(0, 23)
)


@settings(deadline=None)
@given(readings)
def test_every_slip_in_feet_and_inches_reads_back_as_what_it_says(text: str) -> None:
    read = parse_length(text, "ft-in")
    found = all_of(text, "ft-in")
    assert found
    for slip in found:
        assert parse_length(slip.text, "ft-in").metres == pytest.approx(slip.metres, abs=0.0051)
        assert abs(slip.metres - read.metres) > 0.01
        assert slip.metres > 0
    metres = sorted(slip.metres for slip in found)
    assert all(b - a > 0.01 for a, b in pairwise(metres))


@settings(deadline=None)
@given(st.integers(50, 9999))
def test_every_slip_in_metres_reads_back_as_what_it_says(centimetres: int) -> None:
    for slip in all_of(f"{centimetres / 100:.2f} m", "m"):
        assert parse_length(slip.text, "m").metres == pytest.approx(slip.metres, abs=0.0051)

"""The foot against its definitions: foot.toml names the sources."""

import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from asbuilt.units import FOOT_M, INCH_M, SURVEY_FOOT_M, US_GALLON_M3, format_length, parse_length

PUBLISHED: dict[str, Any] = tomllib.loads(Path(__file__).with_name("foot.toml").read_text("utf-8"))
SURVEY = PUBLISHED["survey_foot"]


def millimetres_apart(text: str, other: str) -> float:
    return 1000 * (parse_length(text).metres - parse_length(other).metres)


def test_the_foot_is_the_international_one_and_the_survey_foot_another() -> None:
    assert float(Fraction(SURVEY["international_foot_m"])) == FOOT_M
    assert float(Fraction(SURVEY["survey_foot_m"])) == SURVEY_FOOT_M
    assert parse_length("1 ft").metres == FOOT_M


def test_the_ratio_of_the_two_feet_is_the_stated_one() -> None:
    ratio = SURVEY_FOOT_M / FOOT_M
    assert ratio == pytest.approx(float(Fraction(SURVEY["ratio_survey_to_international"])), rel=1e-15)
    assert ratio == pytest.approx(SURVEY["ratio_stated"], abs=0.5e-12)
    assert 1 / ratio == pytest.approx(float(SURVEY["international_to_survey"]), rel=1e-15)


@pytest.mark.parametrize("row", SURVEY["difference"], ids=lambda row: f"{row['international_ft']} ft")
def test_the_two_feet_differ_by_less_than_a_tape_shows_on_any_tie(row: dict[str, float]) -> None:
    apart = 1000 * row["international_ft"] * (SURVEY_FOOT_M - FOOT_M)
    assert apart == pytest.approx(row["difference_mm"], abs=row["rounding_mm"])


def test_the_inch_is_a_thirty_sixth_of_the_yard() -> None:
    inch = PUBLISHED["inch"]
    assert float(Fraction(inch["yard_m"]) / 36) == INCH_M
    assert float(Fraction(inch["inch_mm"]) / 1000) == INCH_M
    assert parse_length("36 in").metres == float(inch["yard_m"])


def test_the_gallon_is_231_cubic_inches() -> None:
    gallon = PUBLISHED["gallon"]
    assert float(Fraction(gallon["litres"]) / 1000) == US_GALLON_M3
    assert gallon["cubic_inches"] * INCH_M**3 == pytest.approx(US_GALLON_M3, rel=1e-15)


def test_tenths_of_a_foot_are_not_inches() -> None:
    tenths = PUBLISHED["tenths"]
    assert parse_length(tenths["decimal_text"]).metres == tenths["decimal_m"]
    assert parse_length(tenths["inches_text"]).metres == tenths["inches_m"]
    apart = millimetres_apart(tenths["decimal_text"], tenths["inches_text"])
    assert apart == pytest.approx(tenths["difference_mm"], abs=1e-9)
    assert format_length(tenths["decimal_m"], "ft", Fraction(1, 10)) == tenths["decimal_text"]
    assert format_length(tenths["inches_m"], "ft-in") == tenths["inches_text"]


def test_inches_keyed_as_tenths_are_off_by_a_sixtieth_of_a_foot_each() -> None:
    keyed = PUBLISHED["inches_keyed_as_tenths"]
    errors = dict(enumerate(keyed["error_mm"], start=1))
    errors |= {10: keyed["error_of_10_mm"], 11: keyed["error_of_11_mm"]}
    assert sorted(errors) == list(range(1, 12))
    for inches, error_mm in errors.items():
        apart = millimetres_apart(f"23.{inches} ft", f"23' {inches}\"")
        assert apart == pytest.approx(error_mm, abs=keyed["rounding_mm"] + 1e-9)


def test_a_hundredth_of_a_foot_is_about_an_eighth_of_an_inch() -> None:
    rule = PUBLISHED["eighth_inch"]
    eighth, hundredth = parse_length('1/8"').metres, parse_length("0.01 ft").metres
    assert 1000 * eighth == pytest.approx(rule["eighth_inch_mm"], abs=1e-9)
    assert 1000 * hundredth == pytest.approx(rule["hundredth_foot_mm"], abs=1e-9)
    assert eighth / hundredth - 1 == pytest.approx(rule["apart"], abs=rule["rounding"])

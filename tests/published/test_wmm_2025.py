"""Declination against the test values of the World Magnetic Model; wmm_2025.toml names the sources."""

import tomllib
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pygeomag import GeoMag

from asbuilt.jobs.locate import locate
from asbuilt.model.measurements import Side, Tie, Wall
from asbuilt.model.place import Earth, Measured, Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.azimuth import MODEL_SIGMA, declination, model_sigma_deg
from asbuilt.units import Length

CASE: dict[str, Any] = tomllib.loads(Path(__file__).with_name("wmm_2025.toml").read_text(encoding="utf-8"))
MIDYEAR = date(2026, 7, 2)


def place(row: dict[str, Any]) -> str:
    return f"{row['latitude']} {row['longitude']}"


@pytest.mark.parametrize("row", CASE["test_value"], ids=place)
def test_the_library_gives_noaas_test_values(row: dict[str, Any]) -> None:
    """At sea level, which our own function does not offer: so the library that it rests on is asked."""
    found = GeoMag(base_year=2025).calculate(
        glat=row["latitude"], glon=row["longitude"], alt=row["altitude_km"], time=row["year"]
    )
    for key, got in (("x_nt", found.x), ("y_nt", found.y), ("z_nt", found.z)):
        assert key not in row or got == pytest.approx(row[key], abs=CASE["rounding"]["nt"])
    assert found.d == pytest.approx(row["declination_deg"], abs=CASE["rounding"]["deg"])


@pytest.mark.parametrize("row", CASE["test_value"], ids=place)
def test_our_declination_is_noaas_to_a_few_thousandths_for_the_hundred_metres_of_height(row: dict[str, Any]) -> None:
    found = declination(row["longitude"], row["latitude"], date(2025, 1, 1))
    assert found.model == "WMM-2025"
    assert found.degrees == pytest.approx(row["declination_deg"], abs=CASE["rounding"]["deg"] + 0.003)


@pytest.mark.parametrize("row", CASE["own"], ids=place)
def test_the_declination_at_four_places_is_the_one_noted(row: dict[str, Any]) -> None:
    found = declination(row["longitude"], row["latitude"], MIDYEAR)
    assert found.degrees == pytest.approx(row["declination_deg"], abs=2e-4)  # half a day of drift


def test_the_error_of_the_model_is_that_of_its_report() -> None:
    error = CASE["error"]
    assert MODEL_SIGMA[2025] == (error["fixed_deg"], error["by_intensity"])
    for nt, deg in zip(error["conterminous_us_nt"], error["conterminous_us_deg"], strict=True):
        assert model_sigma_deg(2025, nt) == pytest.approx(deg, abs=error["rounding_deg"])


@pytest.mark.parametrize("year", [2016, 2022, 2027])
def test_the_error_is_that_of_the_model_of_the_year(year: int) -> None:
    found = declination(-93, 45, date(year, 6, 1))
    other = GeoMag(base_year=year).calculate(glat=45, glon=-93, alt=0.1, time=year + 0.4)
    assert found.sigma_deg == pytest.approx(other.calculate_uncertainty().d, abs=1e-3)


def test_a_compass_bearing_of_a_wall_places_a_point_where_it_was_reckoned_to_lie() -> None:
    case = CASE["end_to_end"]
    along, left = case["east_wall_m"]
    record = compass_property(case, along, left)
    found = locate(record)
    assert found.placement is not None
    assert found.placement.azimuth is not None
    assert found.placement.azimuth.degrees == pytest.approx(case["true_deg"], abs=case["true_rounding_deg"])
    longitude, latitude = found.placement.coordinates["tank/lid"]
    assert latitude == pytest.approx(case["point_latitude"], abs=case["point_rounding_deg"])
    assert longitude == pytest.approx(case["point_longitude"], abs=case["point_rounding_deg"])


def compass_property(case: dict[str, Any], along: float, left: float) -> PropertyRecord:
    """Give a wall of 10 m whose direction was read off a compass, and a point taped from its ends without error."""

    def exactly(metres: float) -> Length:
        return Length(f"{metres:.12f} m", metres, 1e-9)

    away = [exactly(float(np.hypot(along - start, left))) for start in (0, 10)]
    side = Side("right" if left < 0 else "left", "A", "B")
    earth = Earth("A", case["latitude"], case["longitude"], 3.0, "A", "B", case["magnetic_deg"], "magnetic")
    place = Property("Invented place", "m", measured=Measured(on=case["day"]), earth=earth)
    return PropertyRecord(
        place,
        (ReferencePoint("A"), ReferencePoint("B")),
        (Wall("A", "B", exactly(10), "?", None),),
        ties=(Tie("A", "tank/lid", away[0], side, "level"), Tie("B", "tank/lid", away[1], None, "level")),
    )


def test_the_wrong_sign_of_the_declination_is_twice_as_far_off_as_none() -> None:
    """30 m off at 13.53 degrees: 7.07 m without declination, 14.04 m with the wrong sign."""
    case = CASE["end_to_end"]
    shift = [2 * 30 * np.sin(np.radians(turn) / 2) for turn in (13.5339, 2 * 13.5339)]
    assert shift == pytest.approx([7.07, 14.04], abs=0.005)
    record = compass_property(case, 30.0, 0.5)
    true = replace(record.property, earth=replace(record.property.earth, north="true"))  # type: ignore[type-var]
    places = []
    for each in (record, replace(record, property=true)):
        placement = locate(each).placement
        assert placement is not None
        places.append(placement.frame.to_plane(*placement.coordinates["tank/lid"]))
    assert float(np.hypot(*(np.array(places[0]) - places[1]))) == pytest.approx(7.07, abs=0.01)

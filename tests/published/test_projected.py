"""Projected systems: scale, convergence and feet against published numbers and against geodesics on the ellipsoid."""

import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from pyproj import Transformer

from asbuilt.survey.coordinates import on_grid

CASE: dict[str, Any] = tomllib.loads(Path(__file__).with_name("projected.toml").read_text(encoding="utf-8"))
FEET: dict[str, Any] = tomllib.loads(Path(__file__).with_name("foot.toml").read_text(encoding="utf-8"))["survey_foot"]
UTM_33N, MERIDIAN = 32633, 15.0


def grid_of(epsg: int, longitude: float, latitude: float, geographic: int = 4326) -> tuple[float, float]:
    return tuple(Transformer.from_crs(geographic, epsg, always_xy=True).transform(longitude, latitude))


def test_the_transverse_mercator_of_the_manual_has_the_printed_place_and_scale() -> None:
    case = CASE["snyder"]
    nad27 = 4267
    grid = grid_of(case["epsg"], case["own_longitude"], case["own_latitude"], nad27)
    assert grid == pytest.approx((case["easting"], case["northing"]), abs=case["rounding_m"])
    found = on_grid(case["epsg"], case["easting"], case["northing"])
    assert found.scale == pytest.approx(case["scale"], abs=case["scale_rounding"])


@pytest.mark.parametrize("row", CASE["utm"], ids=lambda row: f"{row['latitude']} N, {row['off_meridian_deg']} off")
def test_grid_distances_are_too_long_by_what_is_tabulated(row: dict[str, Any]) -> None:
    longitude, rounding = MERIDIAN + row["off_meridian_deg"], CASE["utm_rounding"]
    grid = grid_of(UTM_33N, longitude, row["latitude"])
    found = on_grid(UTM_33N, *grid)
    assert (found.longitude, found.latitude) == pytest.approx((longitude, row["latitude"]), abs=1e-9)
    assert found.shift_m == 0
    for metres, key in ((30, "mm_30"), (100, "mm_100")):
        slack = rounding["mm"] if metres == 30 else rounding["line_mm"]
        assert 1000 * metres * (found.scale - 1) == pytest.approx(row[key], abs=slack)
        there = Geodesic.WGS84.Direct(row["latitude"], longitude, 40.0, metres)
        far = np.array(grid_of(UTM_33N, there["lon2"], there["lat2"])) - grid
        assert 1000 * (np.hypot(*far) - metres) == pytest.approx(row[key], abs=slack + 0.1)
    assert found.convergence_deg == pytest.approx(row["convergence_deg"], abs=rounding["deg"])


def test_grid_north_is_where_the_convergence_says() -> None:
    """A step along the grid's own north has the convergence as its true azimuth."""
    for off in (-3.0, -1.0, 0.5, 3.0):
        easting, northing = grid_of(UTM_33N, MERIDIAN + off, 45.0)
        start, end = (on_grid(UTM_33N, easting, northing + step) for step in (0.0, 10.0))
        line = Geodesic.WGS84.Inverse(start.latitude, start.longitude, end.latitude, end.longitude)
        assert start.convergence_deg == pytest.approx(line["azi1"], abs=1e-4)
        assert np.sign(start.convergence_deg) == np.sign(off)


def test_the_two_feet_of_one_zone_are_told_apart_by_their_systems() -> None:
    case = CASE["feet"]
    both = [on_grid(case[word], 1_700_000.0, 3_400_000.0) for word in ("us_survey", "international")]
    assert [each.unit for each in both] == ["US survey feet", "international feet"]
    assert both[0].unit_m / both[1].unit_m == pytest.approx(
        float(Fraction(FEET["ratio_survey_to_international"])), rel=1e-12
    )
    apart = Geodesic.WGS84.Inverse(both[0].latitude, both[0].longitude, both[1].latitude, both[1].longitude)["s12"]
    # false easting and northing are whole metres, so that all of the number is stretched: 2 ft in a million
    assert apart == pytest.approx(np.hypot(1.7e6, 3.4e6) * 0.3048 * 2.000004e-6, rel=1e-3)
    million = next(row for row in FEET["difference"] if row["international_ft"] == 1_000_000)
    stretched = 1000 * 1_000_000 * (both[0].unit_m - both[1].unit_m)
    assert stretched == pytest.approx(million["difference_mm"], abs=million["rounding_mm"])

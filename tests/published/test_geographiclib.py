"""The local plane against geodesics on the ellipsoid."""

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from asbuilt.survey.earth import LocalFrame

CASE = tomllib.loads(Path(__file__).with_name("geographiclib.toml").read_text(encoding="utf-8"))
AGREES_M = 1e-7  # a ten-thousandth of a millimetre


def random_cases(count: int) -> list[tuple[float, float, float, float]]:
    """Longitude and latitude of a property, azimuth and distance of a point of it."""
    rng = np.random.default_rng(5)
    longitude, latitude = rng.uniform(-180, 180, count), rng.uniform(-75, 75, count)
    azimuth, far = rng.uniform(0, 360, count), rng.uniform(0.1, 150, count)
    return [tuple(map(float, row)) for row in np.stack([longitude, latitude, azimuth, far], axis=1)]


def east_north(azimuth_deg: float, far: float) -> tuple[float, float]:
    return far * math.sin(math.radians(azimuth_deg)), far * math.cos(math.radians(azimuth_deg))


@pytest.mark.parametrize("row", CASE["direct"])
def test_a_point_of_known_azimuth_and_distance_lands_on_its_coordinates(row: dict[str, Any]) -> None:
    frame = LocalFrame(row["longitude"], row["latitude"])
    longitude, latitude = frame.to_earth(*east_north(row["azimuth_deg"], row["distance_m"]))
    assert latitude == pytest.approx(row["to_latitude"], abs=row["rounding_deg"])
    assert longitude == pytest.approx(row["to_longitude"], abs=row["rounding_deg"])


def test_plane_to_earth_agrees_with_the_direct_geodesic() -> None:
    for longitude, latitude, azimuth, far in random_cases(200):
        lon, lat = LocalFrame(longitude, latitude).to_earth(*east_north(azimuth, far))
        truth = Geodesic.WGS84.Direct(latitude, longitude, azimuth, far)
        miss = Geodesic.WGS84.Inverse(truth["lat2"], truth["lon2"], float(lat), float(lon))["s12"]
        assert miss < AGREES_M
        assert -180 <= lon <= 180


def test_earth_to_plane_agrees_with_the_inverse_geodesic() -> None:
    for longitude, latitude, azimuth, far in random_cases(200):
        there = Geodesic.WGS84.Direct(latitude, longitude, azimuth, far)
        back = Geodesic.WGS84.Inverse(latitude, longitude, there["lat2"], there["lon2"])
        plane = LocalFrame(longitude, latitude).to_plane(there["lon2"], there["lat2"])
        assert np.array(plane) == pytest.approx(east_north(back["azi1"], back["s12"]), abs=AGREES_M)


def test_arrays_go_there_and_back_unchanged() -> None:
    rng = np.random.default_rng(6)
    frame = LocalFrame(-93.1, 45.2)
    east, north = rng.uniform(-150, 150, (2, 50))
    longitude, latitude = frame.to_earth(east, north)
    assert np.shape(longitude) == np.shape(latitude) == (50,)
    again = frame.to_plane(longitude, latitude)
    assert np.array(again) == pytest.approx(np.array([east, north]), abs=1e-6)


def test_the_origin_is_itself_and_north_is_north() -> None:
    frame = LocalFrame(12.5, -33.25)
    assert frame.to_earth(0.0, 0.0) == pytest.approx((12.5, -33.25), abs=1e-12)
    longitude, latitude = frame.to_earth(0.0, 100.0)
    assert longitude == pytest.approx(12.5, abs=1e-12)
    assert latitude > -33.25

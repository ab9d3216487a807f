"""Features -> GeoJSON, geometry by geometry, against what RFC 7946 itself says."""

import json
import math
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from geojson_pydantic import Feature as CheckedFeature
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon, shape
from shapely.geometry.base import BaseGeometry

from asbuilt.output.features import Feature
from asbuilt.output.gis.geojson import DECIMALS, write_geojson


def made(geometry: BaseGeometry | None, **attributes: Any) -> Feature:
    return Feature("component", "tank", "septic tank", geometry, attributes)


def written(geometry: BaseGeometry | None) -> Any:
    """Give the geometry of one feature as the text says it."""
    return json.loads(write_geojson([made(geometry)]))["features"][0]["geometry"]


def test_no_feature_is_still_a_collection() -> None:
    assert json.loads(write_geojson([])) == {"type": "FeatureCollection", "features": []}


@pytest.mark.parametrize(
    ("geometry", "expected"),
    [
        (Point(-30.25, 10.5), {"type": "Point", "coordinates": [-30.25, 10.5]}),
        (LineString([(0, 1), (2, 3)]), {"type": "LineString", "coordinates": [[0, 1], [2, 3]]}),
        (
            Polygon([(0, 0), (0, 1), (1, 1), (1, 0)]),  # clockwise as given
            {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]]},
        ),
        (None, None),
    ],
)
def test_each_kind_of_geometry_is_written_as_the_standard_says(geometry: BaseGeometry | None, expected: Any) -> None:
    """RFC 7946 sections 3.1.2, 3.1.4, 3.1.6 and 3.2 (an unlocated Feature has a null geometry)."""
    assert written(geometry) == expected


@given(st.permutations([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]))
def test_a_ring_is_wound_counterclockwise_whichever_way_it_was_walked(ring: list[tuple[float, float]]) -> None:
    polygon = Polygon(ring)
    if polygon.is_valid:
        (exterior,) = written(polygon)["coordinates"]
        area = sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(exterior)) / 2
        assert area == pytest.approx(1.0)
        assert exterior[0] == exterior[-1]


@given(st.floats(-180, 180), st.floats(-90, 90))
def test_a_place_is_kept_to_eight_decimals(longitude: float, latitude: float) -> None:
    lon, lat = written(Point(longitude, latitude))["coordinates"]
    assert abs(lon - longitude) <= 0.51 * 10**-DECIMALS
    assert abs(lat - latitude) <= 0.51 * 10**-DECIMALS
    assert all(Decimal(repr(value)) % Decimal(1).scaleb(-DECIMALS) == 0 for value in (lon, lat))


def test_eight_decimals_are_about_a_millimetre() -> None:
    metres_a_degree = 6_378_137 * math.pi / 180  # on the equator of WGS 84, where a degree is longest
    assert metres_a_degree * 10**-DECIMALS == pytest.approx(0.0011, abs=0.0001)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_numbers_that_json_does_not_have_are_not_written(bad: float) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_geojson([made(Point(0, 0), depth_m=bad)])


# ------------------------------------------------------------ the antimeridian, section 3.1.9


def test_a_line_over_the_antimeridian_is_cut_there() -> None:
    """The RFC's own example: from 45 N 170 E across to 45 N 170 W."""
    assert written(LineString([(170.0, 45.0), (-170.0, 45.0)])) == {
        "type": "MultiLineString",
        "coordinates": [[[170.0, 45.0], [180.0, 45.0]], [[-180.0, 45.0], [-170.0, 45.0]]],
    }


def test_a_ring_over_the_antimeridian_is_cut_into_two_of_its_area() -> None:
    """The RFC's own example: 40 to 50 N, 170 E to 170 W; which position begins a ring is free."""
    cut = written(Polygon([(170.0, 40.0), (-170.0, 40.0), (-170.0, 50.0), (170.0, 50.0)]))
    assert cut["type"] == "MultiPolygon"
    rings = [ring for (ring,) in cut["coordinates"]]
    assert sorted(sorted({tuple(position) for position in ring}) for ring in rings) == [
        [(-180.0, 40.0), (-180.0, 50.0), (-170.0, 40.0), (-170.0, 50.0)],
        [(170.0, 40.0), (170.0, 50.0), (180.0, 40.0), (180.0, 50.0)],
    ]
    for ring in rings:
        assert sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(ring)) / 2 == pytest.approx(100.0)
    CheckedFeature[Any, Any](type="Feature", geometry=cut, properties={})


def test_what_lies_on_one_side_is_not_cut() -> None:
    for geometry in (
        Point(180.0, 1.0),
        LineString([(179.9, 1.0), (180.0, 1.0)]),
        Polygon([(179, 0), (180, 0), (180, 1)]),
    ):
        assert written(geometry)["type"] == geometry.geom_type
        assert shape(written(geometry)).equals(geometry)


# ------------------------------------------------------------ text stays data


@pytest.mark.parametrize(
    "text",
    [
        "</script><script>window.pwned=1</script>",
        "{{ 7*7 }}",
        "line\u2028separator\u2029end",
        '"quoted" \\ back',
        "caf\u00e9 \U0001f4a7 47\u2032 5\u2033",
        "tab\tand bell\x07",
    ],
)
def test_any_text_comes_back_as_it_was(text: str) -> None:
    feature = json.loads(write_geojson([Feature("component", text, text, None, {"note": text})]))["features"][0]
    assert feature["id"] == f"component/{text}"
    assert feature["properties"] == {"name": text, "role": "component", "kind": text, "note": text}


def test_one_feature_stands_on_one_line() -> None:
    lines = write_geojson([made(Point(0, 0), note="a\nb"), made(None)]).splitlines()
    assert len(lines) == 4
    assert [json.loads(line.rstrip(","))["type"] for line in lines[1:3]] == ["Feature", "Feature"]


def test_ids_of_one_name_are_told_apart_by_the_day_it_was_taken_out() -> None:
    features = [made(None, removed_on="2019-06-01"), made(Point(0, 0), removed_on=None)]
    ids = [feature["id"] for feature in json.loads(write_geojson(features))["features"]]
    assert ids == ["component/tank/removed 2019-06-01", "component/tank"]
    (alone,) = json.loads(write_geojson(features[:1]))["features"]
    assert alone["id"] == "component/tank"

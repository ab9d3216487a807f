"""`asbuilt geojson`: RFC 7946 by other people's readers, and the same distances as on the ground."""

import json
import math
import shutil
import subprocess
from collections.abc import Iterator
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import geopandas
import jsonschema  # type: ignore[import-untyped]
import pytest
from geojson_pydantic import FeatureCollection
from shapely.geometry import Point, shape

from tests.commands import ROOT, SAMPLE_NAME, Run, WriteSheets, files_below, parsed, two_corners

COMPONENTS = 19
POINTS = 42

SCHEMA = json.loads((ROOT / "tests" / "published" / "geojson_schema.json").read_text(encoding="utf-8"))
"""The published schema of a GeoJSON FeatureCollection, https://geojson.org/schema/FeatureCollection.json, as packed in
geojson-schema 1.0.5 of the npm registry (repository geojson/schema, MIT licence); seen."""

LOCAL = "+proj=aeqd +lat_0=42.5282927 +lon_0=-118.4551996 +datum=WGS84 +units=m"
"""The azimuthal equidistant plane round the fix of the sample: scale 1 there, and far below 1 mm off within 60 m."""

EARTH = (
    "[earth]\nreference = 'A'\nlatitude = 10.5\nlongitude = -30.25\naccuracy_m = 3.0\n"
    "wall_from = 'A'\nwall_to = 'B'\nazimuth_deg = 90.0\n"
)
"""An open place in an ocean; the first wall runs due east."""


@pytest.fixture
def whole(run: Run, loaded: Path) -> str:
    """Give the GeoJSON of the sample property, everything asked for."""
    result = run("geojson", SAMPLE_NAME, "--points", "--house", "--on", "2026-06-01")
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


def positions_of(geometry: dict[str, Any] | None) -> Iterator[list[float]]:
    """Walk through all positions of a geometry."""

    def walk(part: Any) -> Iterator[list[float]]:
        if isinstance(part[0], list):
            for inner in part:
                yield from walk(inner)
        else:
            yield part

    if geometry is not None:
        yield from walk(geometry["coordinates"])


# ------------------------------------------------------------ RFC 7946


def test_the_published_schema_accepts_it(whole: str) -> None:
    jsonschema.Draft7Validator.check_schema(SCHEMA)
    jsonschema.validate(json.loads(whole), SCHEMA)


def test_the_published_schema_refuses_a_ring_that_is_too_short(whole: str) -> None:
    broken = json.loads(whole)
    polygon = next(f for f in broken["features"] if f["geometry"]["type"] == "Polygon")
    polygon["geometry"]["coordinates"][0] = polygon["geometry"]["coordinates"][0][:3]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, SCHEMA)


def test_an_independent_validator_accepts_it(whole: str) -> None:
    collection: Any = FeatureCollection.model_validate_json(whole)
    assert len(collection.features) == len(json.loads(whole)["features"])


def test_members_are_those_of_the_standard_and_no_others(whole: str) -> None:
    collection = json.loads(whole)
    assert list(collection) == ["type", "features"]  # no crs: removed by RFC 7946, section 4
    for feature in collection["features"]:
        assert list(feature) == ["type", "id", "geometry", "properties"]
        assert feature["geometry"] is None or list(feature["geometry"]) == ["type", "coordinates"]
    ids = [feature["id"] for feature in collection["features"]]
    assert len(set(ids)) == len(ids)


def test_positions_are_longitude_then_latitude_with_eight_decimals(whole: str) -> None:
    numbers = []
    for feature in json.loads(whole)["features"]:
        for position in positions_of(feature["geometry"]):
            assert len(position) == 2
            longitude, latitude = position
            # the property lies within 60 m of its fix
            assert longitude == pytest.approx(-118.4552, abs=0.001)
            assert latitude == pytest.approx(42.5283, abs=0.001)
            numbers += position
    decimals = [len(str(number).partition(".")[2]) for number in numbers]
    assert max(decimals) == 8
    assert not any("e" in str(number) for number in numbers)


def test_rings_are_closed_and_wound_by_the_right_hand_rule(whole: str) -> None:
    rings = [f["geometry"]["coordinates"] for f in json.loads(whole)["features"] if f["geometry"]["type"] == "Polygon"]
    assert len(rings) == 4  # house, two tanks, reserve area
    for (exterior,) in rings:
        assert exterior[0] == exterior[-1]
        assert len(exterior) >= 4
        doubled = sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(exterior))
        assert doubled > 0  # counterclockwise, section 3.1.6


def test_what_crosses_the_antimeridian_is_cut_there(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["property"] += EARTH.replace("-30.25", "179.9999")
    sheets["components"] = [
        ["name", "kind", "shape", "length", "width"],
        ["septic tank", "septic tank", "box", "9' 0\"", "5' 0\""],
    ]
    run("load", write_sheets("sheets", **sheets))
    tank, lid = parsed(run("geojson", "Two Corners", "--points"))["features"]
    assert tank["geometry"]["type"] == "Polygon"  # 15 ft east of the corner is still this side
    assert lid["geometry"]["coordinates"][0] == pytest.approx(179.9999 + 4.572 / 109_460, abs=1e-6)
    sheets["property"] = sheets["property"].replace("179.9999", "179.99995")
    run("load", write_sheets("sheets", **sheets), "--supersede", "a place farther east")
    tank = parsed(run("geojson", "Two Corners"))["features"][0]
    assert tank["geometry"]["type"] == "MultiPolygon"
    assert sorted({round(x) for part in tank["geometry"]["coordinates"] for x, _ in part[0]}) == [-180, 180]
    jsonschema.validate({"type": "FeatureCollection", "features": [tank]}, SCHEMA)


# ------------------------------------------------------------ other people's readers


def test_gdal_reads_every_feature(folder: Path, whole: str) -> None:
    assert shutil.which("ogrinfo"), "this test needs GDAL's ogrinfo: apt-get install gdal-bin"
    (folder / "property.geojson").write_text(whole, encoding="utf-8")
    said = subprocess.run(["ogrinfo", "-al", "property.geojson"], capture_output=True, text=True, check=True)
    assert (said.stderr, said.returncode) == ("", 0)
    count = len(json.loads(whole)["features"])
    assert f"Feature Count: {count}" in said.stdout
    assert said.stdout.count("OGRFeature(") == count
    assert "WGS 84" in said.stdout
    assert "name (String) = septic tank/inlet lid" in said.stdout


def test_geopandas_measures_the_distances_of_the_plane(run: Run, folder: Path, whole: str) -> None:
    (folder / "property.geojson").write_text(whole, encoding="utf-8")
    frame = geopandas.read_file(folder / "property.geojson").set_index("name")
    assert frame.crs.to_epsg() == 4326
    spots = frame[frame["role"].isin(["point", "reference"])].geometry
    said = parsed(run("positions", SAMPLE_NAME, "--json"))
    known = {p["name"]: p for p in said["points"] + said["references"]}
    assert set(known) == set(spots.index)
    off_mm = distances_off_mm(spots, known)
    # 8 decimals round a place by up to 0.56 mm of latitude and 0.41 mm of longitude, at each of the two ends
    assert max(off_mm) < 2 * math.hypot(0.56, 0.41) + 0.1
    assert sum(off < 1.0 for off in off_mm) > 0.99 * len(off_mm)
    # the places before they are rounded so
    fine = geopandas.GeoSeries({name: Point(p["longitude"], p["latitude"]) for name, p in known.items()}, crs=4326)
    assert max(distances_off_mm(fine, known)) < 0.3


def distances_off_mm(spots: geopandas.GeoSeries, known: dict[str, Any]) -> list[float]:
    """How far the distance of every two places, measured in a local projection, is from that of the plane."""
    plane = spots.to_crs(LOCAL)
    east_north = {name: (p["east_m"], p["north_m"]) for name, p in known.items()}
    return [
        1000 * abs(plane[a].distance(plane[b]) - math.dist(east_north[a], east_north[b]))
        for a, b in combinations(sorted(known), 2)
    ]


def test_the_file_is_utf_8_whatever_the_terminal(run: Run, folder: Path, loaded: Path, whole: str) -> None:
    run("geojson", SAMPLE_NAME, "--points", "--house", "--on", "2026-06-01", "--out", "p.geojson")
    assert (folder / "p.geojson").read_text(encoding="utf-8") == whole
    assert "22½-degree bends" in whole


# ------------------------------------------------------------ what is in it


def test_there_is_one_feature_a_component(run: Run, loaded: Path) -> None:
    features = parsed(run("geojson", SAMPLE_NAME))["features"]
    names = [feature["properties"]["name"] for feature in features]
    assert len(names) == len(set(names)) == COMPONENTS
    assert {feature["properties"]["role"] for feature in features} == {"component"}


def test_points_adds_exactly_the_points(run: Run, loaded: Path) -> None:
    fewer = parsed(run("geojson", SAMPLE_NAME))["features"]
    more = parsed(run("geojson", SAMPLE_NAME, "--points"))["features"]
    added = [feature for feature in more if feature not in fewer]
    assert [feature for feature in more if feature in fewer] == fewer
    assert len(added) == POINTS
    known = parsed(run("positions", SAMPLE_NAME, "--json"))["points"]
    assert {f["properties"]["name"] for f in added} == {point["name"] for point in known}
    assert {f["properties"]["role"] for f in added} == {"point"}
    places = {point["name"]: (point["longitude"], point["latitude"]) for point in known}
    for feature in added:
        assert feature["geometry"]["type"] == "Point"
        assert feature["geometry"]["coordinates"] == pytest.approx(places[feature["properties"]["name"]], abs=5.1e-9)


def test_house_adds_the_outline_and_the_reference_points(run: Run, loaded: Path) -> None:
    features = parsed(run("geojson", SAMPLE_NAME, "--house"))["features"]
    roles = [feature["properties"]["role"] for feature in features]
    assert (roles.count("building"), roles.count("reference"), roles.count("component")) == (1, 7, COMPONENTS)


def test_a_feature_carries_attributes_accuracy_and_dates(run: Run, loaded: Path) -> None:
    features = parsed(run("geojson", SAMPLE_NAME, "--on", "2026-06-01"))["features"]
    tank = next(feature["properties"] for feature in features if feature["properties"]["name"] == "septic tank")
    assert tank | {"due": [], "service": []} == {
        "name": "septic tank",
        "role": "component",
        "kind": "septic tank",
        "property": SAMPLE_NAME,
        "shape": "box",
        "material": "concrete",
        "length": "9' 6\"",
        "width": "5' 2\"",
        "height": "5' 6\"",
        "volume_gal": 1250.0,
        "installed_on": "2017-06-08",
        "removed_on": None,
        "replaces": None,
        "status": "in use",
        "note": "two compartments; effluent filter in the outlet tee",
        "points": 2,
        "points_located": 2,
        "r95_m": tank["r95_m"],
        "r95_earth_m": tank["r95_earth_m"],
        "accuracy_text": "within 2 in, 19 times in 20",
        "checked": True,
        "due": [],
        "service": [],
    }
    days = {due["task"]: due["due_on"] for due in tank["due"]}
    assert days == {"effluent filter": "2027-04-18", "inspection": "2027-04-18", "pump-out": "2027-12-10"}
    assert [entry["on"] for entry in tank["service"]][:2] == ["2019-05-11", "2020-06-06"]
    assert 0.03 < tank["r95_m"] < 0.06 < 4 < tank["r95_earth_m"] < 6


def test_the_tank_has_its_size_and_lies_along_its_lids(run: Run, loaded: Path) -> None:
    features = parsed(run("geojson", SAMPLE_NAME, "--points"))["features"]
    tank = next(feature for feature in features if feature["id"] == "component/septic tank")
    frame = geopandas.GeoSeries([shape(tank["geometry"])], crs=4326)
    plane = frame.to_crs(LOCAL)
    assert plane.area.iloc[0] == pytest.approx(9.5 * 0.3048 * (5 + 2 / 12) * 0.3048, rel=1e-3)
    lids = [f["geometry"]["coordinates"] for f in features if f["properties"].get("component") == "septic tank"]
    middle = [sum(part) / 2 for part in zip(*lids, strict=True)]
    assert list(shape(tank["geometry"]).centroid.coords[0]) == pytest.approx(middle, abs=2e-8)


def test_a_component_without_a_located_point_has_null_geometry(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners(side="")
    sheets["property"] += EARTH
    sheets["components"] = [["name", "kind"], ["septic tank", "septic tank"], ["old cable", "electrical cable"]]
    assert run("load", write_sheets("sheets", **sheets)).exit_code == 1
    result = run("geojson", "Two Corners", "--points")
    assert result.exit_code == 1
    features = parsed(result)["features"]
    assert [(f["properties"]["name"], f["geometry"]) for f in features] == [
        ("septic tank", None),
        ("septic tank/lid", None),
        ("old cable", None),
    ]
    assert features[0]["properties"]["accuracy_text"] is None
    assert (features[0]["properties"]["points"], features[0]["properties"]["points_located"]) == (1, 0)
    jsonschema.validate(parsed(result), SCHEMA)


def test_a_tank_that_replaced_another_in_the_same_hole_is_a_feature_of_its_own(
    run: Run, write_sheets: WriteSheets
) -> None:
    sheets = two_corners()
    sheets["property"] += EARTH
    sheets["components"] = [
        ["name", "kind", "installed_on", "removed_on"],
        ["septic tank", "septic tank", "1988-05-01", "2019-06-01"],
        ["septic tank", "septic tank", "2019-06-02", ""],
    ]
    sheets["service"] = [
        ["on", "component", "task", "evidence"],
        ["2011-01-02", "septic tank", "pump-out", "told"],
        ["2022-01-02", "septic tank", "pump-out", "receipt"],
    ]
    assert run("load", write_sheets("sheets", **sheets)).exit_code == 0
    features = parsed(run("geojson", "Two Corners", "--points", "--on", "2026-06-01"))["features"]
    assert [feature["id"] for feature in features] == [
        "component/septic tank/removed 2019-06-01",
        "component/septic tank",
        "point/septic tank/lid",
    ]
    assert [feature["geometry"] is None for feature in features] == [True, False, False]
    done = [[entry["on"] for entry in feature["properties"]["service"]] for feature in features[:2]]
    assert done == [["2011-01-02"], ["2022-01-02"]]


# ------------------------------------------------------------ files and refusals


def test_a_property_without_a_place_on_the_earth_is_refused(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **two_corners()))
    before = files_below(folder)
    result = run("geojson", "Two Corners", "--out", "p.geojson")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "asbuilt: Two Corners has no place on the earth, and GeoJSON has longitude and latitude only; give [earth] in "
        'property.toml a reference point with coordinates and a wall\'s azimuth (lines such as reference = "A", '
        'latitude = 42.52829, longitude = -118.45520, accuracy_m = 4, wall_from = "A", wall_to = "B", '
        "azimuth_deg = 352), or two known coordinates in known_coordinates.csv\n"
    )
    assert files_below(folder) == before


def test_a_file_that_is_there_already_is_not_replaced_unless_asked(run: Run, folder: Path, loaded: Path) -> None:
    (folder / "p.geojson").write_text("mine", encoding="utf-8")
    result = run("geojson", SAMPLE_NAME, "--out", "p.geojson")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "asbuilt: p.geojson: the file is there already; --overwrite replaces it\n"
    assert (folder / "p.geojson").read_text(encoding="utf-8") == "mine"
    written = run("geojson", SAMPLE_NAME, "--out", "p.geojson", "--overwrite")
    assert (written.exit_code, written.stdout) == (0, "p.geojson: Fernbank Lane 14 as GeoJSON\n")


def test_the_json_of_a_written_file_has_exactly_its_keys(run: Run, loaded: Path) -> None:
    said = parsed(run("geojson", SAMPLE_NAME, "--out", "p.geojson", "--json"))
    assert list(said) == ["property", "written", "findings"]


def test_json_without_a_file_is_the_geojson_itself(run: Run, loaded: Path) -> None:
    assert run("geojson", SAMPLE_NAME, "--json").stdout == run("geojson", SAMPLE_NAME).stdout

"""Systems of coordinates of an exported file: the house's plane, WGS 84, grids; true to what was measured."""

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from pyproj import Geod
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from asbuilt.errors import PlaceError
from asbuilt.findings import Severity
from asbuilt.jobs.draw import show_property
from asbuilt.jobs.locate import Located, locate
from asbuilt.output.features import Feature
from asbuilt.output.gis.formats import ExportError
from asbuilt.output.gis.system import LOCAL, WGS84, drawing_unit, lay, parse_system, system_findings
from asbuilt.record.sheets.read import read_sheets
from asbuilt.survey.coordinates import on_grid
from asbuilt.survey.earth import LocalFrame, Placement, Rigid
from asbuilt.units import FOOT_M, SURVEY_FOOT_M
from tests.commands import SAMPLE

TODAY = date(2026, 6, 1)


@pytest.fixture(scope="module")
def sample() -> Located:
    return locate(read_sheets(SAMPLE).record)


def placed(longitude: float, latitude: float) -> Placement:
    return Placement(LocalFrame(longitude, latitude), Rigid(0.0, np.zeros(2), np.zeros((0, 2)), 1.0), {}, {})


def thing(shape: BaseGeometry | None, heights: tuple[float, ...] | None = None) -> Feature:
    return Feature("point", "x", "valve", shape, {}, heights)


# ------------------------------------------------------------ the words


@pytest.mark.parametrize("text", ["EPSG:2277", "epsg:2277", "2277", " Epsg 2277 "])
def test_a_code_is_read_however_it_is_written(text: str) -> None:
    system = parse_system(text)
    assert (system.epsg, system.title) == (2277, "NAD83 / Texas Central (ftUS)")
    assert system.unit == "US survey foot"
    assert system.unit_m == pytest.approx(SURVEY_FOOT_M)


def test_4326_is_wgs84() -> None:
    assert parse_system("EPSG:4326") is parse_system("WGS84") is WGS84
    assert parse_system("local") is LOCAL


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("utm", "'utm' is no system of coordinates; accepted: local (the plane of the house, metres), wgs84 "),
        ("EPSG:99999", "there is no system 99999 in the EPSG data set; accepted: local"),
        ("EPSG:5703", "EPSG 5703 (NAVD88 height) has no plain two axes on the ground; accepted: a projected system"),
        ("EPSG:4979", "EPSG 4979 (WGS 84) has no plain two axes on the ground; accepted: a projected system"),
        ("EPSG:6349", "has no plain two axes on the ground"),
        ("", "'' is no system of coordinates"),
        ("EPSG:2277; DROP TABLE", "is no system of coordinates"),
    ],
)
def test_what_is_no_system_is_refused(text: str, message: str) -> None:
    with pytest.raises(ExportError) as refused:
        parse_system(text)
    assert message in str(refused.value)


# ------------------------------------------------------------ the house's own plane


def test_the_local_plane_is_the_one_of_the_positions(sample: Located) -> None:
    """To a micrometre, though the features came by way of longitude and latitude."""
    shown = show_property(sample, TODAY)
    laid = lay(shown.features, sample.placement, LOCAL)
    places = {p.name: p.place for p in (*sample.solution.points, *sample.solution.references)}
    seen = 0
    for feature in laid:
        if feature.role in ("point", "reference") and feature.geometry is not None:
            assert np.hypot(*(np.array(feature.geometry.coords[0]) - places[feature.name])) < 1e-6
            seen += 1
    assert seen == 49


def test_a_property_without_a_place_on_the_earth_has_its_plane(sample: Located) -> None:
    property_ = replace(sample.record.property, earth=None)
    bare = locate(replace(sample.record, property=property_, known_coordinates=()))
    assert bare.placement is None
    shown = show_property(bare, TODAY)
    laid = {feature.name: feature for feature in lay(shown.features, None, LOCAL) if feature.role == "point"}
    for point in bare.solution.points:
        assert np.hypot(*(np.array(laid[point.name].geometry.coords[0]) - point.place)) < 1e-6  # type: ignore[union-attr]
    with pytest.raises(PlaceError, match="no place on the earth"):
        lay(shown.features, None, WGS84)


# ------------------------------------------------------------ grids

GRIDS = [
    (26911, -118.4552, 42.5283),  # UTM 11N, NAD83
    (32611, -118.4552, 42.5283),  # UTM 11N, WGS 84
    (2277, -97.7, 30.3),  # state plane in US survey feet
    (2256, -112.0, 46.6),  # state plane in international feet
    (6341, -110.0, 45.0),  # NAD83(2011)
    (27700, -1.5, 52.5),  # a datum that is a hundred metres off
    (2193, 174.8, -41.3),  # axes north before east in the data set
    (4269, -118.4552, 42.5283),  # longitude and latitude of another datum
]


@pytest.mark.parametrize(("epsg", "longitude", "latitude"), GRIDS)
def test_what_is_exported_in_a_system_is_read_back_to_the_same_place(
    epsg: int, longitude: float, latitude: float
) -> None:
    """By the reader of known coordinates, which chooses its own way; seven parameters are turned back to a mm only."""
    system = parse_system(f"EPSG:{epsg}")
    (laid,) = lay([thing(Point(longitude + 1e-4, latitude - 1e-4))], placed(longitude, latitude), system)
    assert laid.geometry is not None
    x, y = laid.geometry.coords[0]
    if system.unit_m is None:
        assert (x, y) == pytest.approx((longitude + 1e-4, latitude - 1e-4), abs=1e-5)
        return
    back = on_grid(epsg, x, y)
    _, _, off = Geod(ellps="WGS84").inv(back.longitude, back.latitude, longitude + 1e-4, latitude - 1e-4)
    assert off < 0.002


def test_a_published_worked_example_is_met() -> None:
    """UTM by an independent formula: the meridian arc of Snyder 1987, eq. 3-21, on the central meridian."""
    system = parse_system("EPSG:32611")
    (laid,) = lay([thing(Point(-117.0, 45.0))], placed(-117.0, 45.0), system)
    assert laid.geometry is not None
    a, e2 = 6378137.0, 0.0066943799901413165
    phi = math.radians(45.0)
    arc = a * (
        (1 - e2 / 4 - 3 * e2**2 / 64 - 5 * e2**3 / 256) * phi
        - (3 * e2 / 8 + 3 * e2**2 / 32 + 45 * e2**3 / 1024) * math.sin(2 * phi)
        + (15 * e2**2 / 256 + 45 * e2**3 / 1024) * math.sin(4 * phi)
        - 35 * e2**3 / 3072 * math.sin(6 * phi)
    )
    assert laid.geometry.coords[0] == pytest.approx((500_000.0, 0.9996 * arc), abs=0.001)


def test_a_grid_that_is_not_the_ground_is_told_with_its_number() -> None:
    (finding,) = [
        each
        for each in system_findings("lot", placed(-117.0, 45.0), parse_system("EPSG:32611"))
        if each.code == "grid-not-ground"
    ]
    assert finding.severity is Severity.NOTE
    assert finding.message == (
        "EPSG 32611 (WGS 84 / UTM zone 11N) is not true to the ground here: 100 ft of tape are 99.960 ft on its grid "
        "(scale 0.999600), and its north lies 0.00 degrees east of true north."
    )
    assert system_findings("lot", placed(-117.0, 45.0), WGS84) == []
    assert system_findings("lot", None, LOCAL) == []


def test_a_shift_that_is_not_sure_is_told() -> None:
    codes = [each.code for each in system_findings("lot", placed(-118.4552, 42.5283), parse_system("EPSG:26911"))]
    assert "datum-shift" in codes


def test_a_place_far_outside_a_system_is_refused() -> None:
    with pytest.raises((PlaceError, ExportError)) as refused:
        system_findings("lot", placed(10.0, 50.0), parse_system("EPSG:2277"))
    assert "2277" in str(refused.value)


# ------------------------------------------------------------ shapes


def test_what_crosses_the_antimeridian_is_cut_in_degrees_and_whole_on_a_grid() -> None:
    line = LineString([(179.9999, -40.0), (-179.9999, -40.0)])
    (cut,) = lay([thing(line)], placed(179.9999, -40.0), WGS84)
    assert cut.geometry is not None
    assert cut.geometry.geom_type == "MultiLineString"
    (whole,) = lay([thing(line)], placed(179.9999, -40.0), LOCAL)
    assert whole.geometry is not None
    assert whole.geometry.geom_type == "LineString"
    assert whole.geometry.length == pytest.approx(17.08, abs=0.01)


def test_heights_come_along_only_when_asked_for() -> None:
    line = thing(LineString([(-118, 42), (-118.0001, 42)]), (30.0, 29.5))
    for system in (WGS84, LOCAL, parse_system("EPSG:26911")):
        (flat,) = lay([line], placed(-118, 42), system)
        (high,) = lay([line], placed(-118, 42), system, elevation=True)
        assert flat.geometry is not None
        assert high.geometry is not None
        assert not flat.geometry.has_z
        assert [z for _, _, z in high.geometry.coords] == [30.0, 29.5]


def test_what_has_no_place_stays_without() -> None:
    (laid,) = lay([thing(None)], placed(-118, 42), parse_system("EPSG:26911"), elevation=True)
    assert laid.geometry is None


def test_a_drawing_is_in_the_unit_of_the_property_or_of_the_system() -> None:
    assert drawing_unit(LOCAL, "m") == ("metre", 1.0)
    assert drawing_unit(LOCAL, "ft-in") == drawing_unit(LOCAL, "ft") == ("foot", FOOT_M)
    assert drawing_unit(parse_system("EPSG:2277"), "m") == ("US survey foot", pytest.approx(SURVEY_FOOT_M))

"""GPX 1.1: read back by gpxpy, in the order that the schema asks for, and hostile words stay words.

Schema: http://www.topografix.com/GPX/1/1/gpx.xsd (order of elements from memory).
"""

from dataclasses import replace
from xml.etree import ElementTree

import gpxpy
import pytest

from asbuilt.output.gpx import NAMESPACE, write_gpx
from asbuilt.service.route_order import plan_tour
from asbuilt.service.routes import Plan
from tests.test_icalendar_file import HOSTILE, unwritable_gone
from tests.test_routes import stop_of, tour_of


def plan_of(name: str = "a", notes: tuple[str, ...] = (), placed: bool = True) -> Plan:
    place = (-118.4551996, 42.5282927) if placed else (None, None)
    stops = [
        replace(stop_of(name, 1000), longitude=place[0], latitude=place[1], notes=notes, address=name),
        replace(stop_of("b", 1000), longitude=-118.5, latitude=-42.25),
    ]
    tour = tour_of([(0, 0), (25, 0), (10, 0), (20, 0)], stops)
    return plan_tour(replace(tour, yard=replace(tour.yard, longitude=-118.45, latitude=42.53)))


def test_stops_and_runs_come_back_where_they_were() -> None:
    gpx = gpxpy.parse(write_gpx(plan_of(notes=("gate: 4",))))
    assert gpx.version == "1.1"
    assert [point.name for point in gpx.waypoints] == ["yard", "dump 1", "1 a", "2 b"]
    assert (gpx.waypoints[2].latitude, gpx.waypoints[2].longitude) == (42.5282927, -118.4551996)
    assert gpx.waypoints[2].description == "pump-out of septic tank (1,000 gal)\na\ngate: 4"
    assert [point.name for point in gpx.routes[0].points] == ["yard", "1 a", "2 b", "dump 1", "yard"]
    assert gpx.routes[0].name == "2027-05-03 truck 1"
    assert gpx.tracks == []


def test_elements_stand_in_the_order_of_the_schema() -> None:
    root = ElementTree.fromstring(write_gpx(plan_of()))  # noqa: S314 - our own text
    order = {"gpx": ["metadata", "wpt", "rte"], "wpt": ["name", "desc", "sym"], "rtept": ["name", "desc", "sym"]}
    order |= {"rte": ["name", "number", "rtept"], "metadata": ["name"]}
    for element in root.iter():
        assert element.tag.startswith(f"{{{NAMESPACE}}}")
        tags = [child.tag.partition("}")[2] for child in element]
        if tags:
            wanted = order[element.tag.partition("}")[2]]
            assert tags == sorted(tags, key=wanted.index)
    for point in [*root.iter(f"{{{NAMESPACE}}}wpt"), *root.iter(f"{{{NAMESPACE}}}rtept")]:
        assert -90 <= float(point.attrib["lat"]) <= 90
        assert -180 <= float(point.attrib["lon"]) < 180


@pytest.mark.parametrize("words", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_words_stay_words(words: str) -> None:
    text = write_gpx(plan_of(words, (words,)))
    gpx = gpxpy.parse(text)
    assert gpx.waypoints[2].name == f"1 {' '.join(unwritable_gone(words).split())}"
    assert unwritable_gone(words) in (gpx.waypoints[2].description or "")
    assert len(gpx.waypoints) == 4
    assert text.encode("utf-8").decode("utf-8") == text


def test_a_stop_without_coordinates_is_not_in_the_file() -> None:
    gpx = gpxpy.parse(write_gpx(plan_of(placed=False)))
    assert [point.name for point in gpx.waypoints] == ["yard", "dump 1", "2 b"]
    assert [point.name for point in gpx.routes[0].points] == ["yard", "2 b", "dump 1", "yard"]

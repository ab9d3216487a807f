"""How far two outlines are apart: known truths, the standard deviation by simulation, directions not measured."""

import math
from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as Place

from asbuilt.model.components import Component, Point
from asbuilt.model.measurements import Wall
from asbuilt.model.place import Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.features import build_features
from asbuilt.output.find.surroundings import Surroundings
from asbuilt.record.profiles import built_in
from asbuilt.shapes import Outlines
from asbuilt.survey.solution import Fit, Position, Solution
from asbuilt.units import Length

Array = NDArray[np.float64]


def metres(number: float) -> Length:
    return Length(f"{number} m", number, 0.01)


CORNERS = {"A": (0.0, 0.0), "B": (10.0, 0.0), "C": (10.0, 8.0), "D": (0.0, 8.0)}
PLACES = {
    "tank/inlet lid": (20.0, 4.0),
    "tank/outlet lid": (22.0, 4.0),
    "well/casing": (40.0, 4.0),
    "trench/near": (0.0, 30.0),
    "trench/far": (12.0, 30.0),
    "lot/1": (-20.0, -20.0),
    "lot/2": (60.0, -20.0),
    "lot/3": (60.0, 50.0),
    "lot/4": (-20.0, 50.0),
    "box/lid": (30.0, 20.0),
}
COMPONENTS = (
    Component("tank", "septic tank", "box", metres(3), metres(2)),
    Component("well", "well", "point"),
    Component("trench", "lateral", "line", width=metres(1)),
    Component("lot", "property line", "area"),
    Component("box", "pump tank", "box", metres(3), metres(1)),
    Component("lost", "well", "point"),
)


def record() -> PropertyRecord:
    ends = [*CORNERS, "A"]
    walls = tuple(Wall(a, b, metres(1), "L", 90.0) for a, b in pairwise(ends))
    points = tuple(Point(*name.split("/"), order=k) for k, name in enumerate(PLACES))
    references = tuple(ReferencePoint(name) for name in CORNERS)
    return PropertyRecord(Property("Lane", "m"), references, walls, points, components=COMPONENTS)


def solution(covariance: Array | None = None, places: dict[str, tuple[float, float]] | None = None) -> Solution:
    places = places or PLACES
    names = (*CORNERS, *places)
    if covariance is None:
        covariance = np.zeros((2 * len(names), 2 * len(names)))
    points = tuple(Position(name, name.split("/")[0], np.array(place)) for name, place in places.items())
    references = tuple(Position(name, None, np.array(place)) for name, place in CORNERS.items())
    return Solution("Lane", points, references, Fit(0, 0, 0.0, None), (), names, covariance, None)


def distance(one: str, other: str, *, edge: bool = False) -> float:
    apart = Outlines(record(), solution()).apart(one, other, edge=edge)
    assert apart is not None
    return apart.distance_m


def test_distances_between_shapes_of_known_size() -> None:
    assert distance("tank", "well") == pytest.approx(40 - 21 - 1.5)  # centre of the lids, half its length
    assert distance("tank", "building at A") == pytest.approx(21 - 1.5 - 10)
    assert distance("trench", "building at A") == pytest.approx(30 - 8 - 0.5)  # half its width


def test_a_property_line_is_measured_to_from_within() -> None:
    assert distance("tank", "lot", edge=True) == pytest.approx(4 + 20 - 1)
    assert distance("tank", "lot") == 0


def test_what_meets_is_no_distance_apart() -> None:
    places = {**PLACES, "well/casing": (21.0, 4.0)}
    apart = Outlines(record(), solution(places=places)).apart("tank", "well")
    assert apart is not None
    assert (apart.distance_m, apart.sigma_m) == (0.0, 0.0)


def test_the_standard_deviation_is_that_of_a_simulation_with_errors_in_common() -> None:
    rng = np.random.default_rng(7)
    count = 2 * (len(CORNERS) + len(PLACES))
    mixing = rng.normal(0, 0.01, (count, count))
    covariance = mixing @ mixing.T
    truth = np.array([*CORNERS.values(), *PLACES.values()]).ravel()
    apart = Outlines(record(), solution(covariance)).apart("tank", "well")
    assert apart is not None
    drawn = []
    for _ in range(1500):
        moved = (truth + mixing @ rng.normal(0, 1, count)).reshape(-1, 2)
        names = (*CORNERS, *PLACES)
        places = {name: tuple(moved[k]) for k, name in enumerate(names) if name in PLACES}
        one = Outlines(record(), solution(places=places)).of("tank")
        other = Outlines(record(), solution(places=places)).of("well")
        assert one is not None and other is not None
        drawn.append(one.distance(other))
    assert apart.sigma_m == pytest.approx(np.std(drawn), rel=0.08)


def test_an_error_that_both_share_is_no_error_of_their_distance() -> None:
    count = 2 * (len(CORNERS) + len(PLACES))
    shift = np.tile([1.0, 1.0], count // 2)
    apart = Outlines(record(), solution(np.outer(shift, shift))).apart("tank", "well")
    assert apart is not None
    assert apart.sigma_m == pytest.approx(0, abs=1e-6)


def test_a_box_of_one_lid_may_lie_nearer_whichever_way_it_is_turned() -> None:
    outlines = Outlines(record(), solution())
    assert outlines.direction_known("tank")
    assert not outlines.direction_known("box")
    apart = outlines.apart("box", "well")
    assert apart is not None
    nearest = np.hypot(10, 16) - np.hypot(1.5, 0.5)
    assert apart.distance_m - apart.nearer_m == pytest.approx(nearest, rel=1e-3)


def test_half_a_trench_is_taken_off_once_where_its_width_is_not_recorded() -> None:
    half = {"trench": 0.45}
    narrow = replace(
        record(), components=tuple(replace(c, width=None) if c.name == "trench" else c for c in COMPONENTS)
    )
    apart = Outlines(narrow, solution()).apart("trench", "building at A", half_widths_m=half)
    wide = Outlines(record(), solution()).apart("trench", "building at A", half_widths_m=half)
    assert apart is not None and wide is not None
    assert (apart.distance_m, apart.nearer_m, apart.wide_m) == (pytest.approx(22), pytest.approx(0.45), 0.45)
    assert (wide.distance_m, wide.nearer_m, wide.wide_m) == (pytest.approx(21.5), 0.0, 0.0)
    boxed = Outlines(narrow, solution()).apart("box", "trench", half_widths_m=half)
    assert boxed is not None
    assert boxed.nearer_m > boxed.wide_m == 0.45  # besides what the box may lie nearer


def test_a_trench_is_an_area_for_distances_and_a_line_on_the_map() -> None:
    outlines = Outlines(record(), solution())
    area, line = outlines.of("trench"), outlines.line_of("trench")
    assert isinstance(area, Polygon)
    assert isinstance(line, LineString)
    assert (line.length, list(line.coords)) == (12, [(0, 30), (12, 30)])
    assert area.area == pytest.approx(12 * 1 + math.pi / 4, rel=0.01)
    assert outlines.line_of("nobody") is None


def test_a_round_tank_is_a_circle_everywhere() -> None:
    """On the map and round a lid it was a single place, while the distances knew how wide it is."""
    tanks = (Component("box", "pump tank", width=metres(2), form="round"),)
    known = replace(record(), components=tanks)
    outlines = Outlines(known, solution())
    around = Surroundings(known, solution(), {"box": tanks[0]}, built_in("common"))
    for shape in (outlines.of("box"), outlines.line_of("box"), around.shapes["box"]):
        assert isinstance(shape, Polygon)
        assert shape.area == pytest.approx(math.pi, rel=0.01)
    placed = next(each.geometry for each in build_features(known, solution(), None) if each.name == "box")
    assert isinstance(placed, Polygon)
    degree_m = 111_195.0  # of the equator, by a sphere of 6,371 km
    assert placed.area * degree_m**2 == pytest.approx(math.pi, rel=0.02)


def test_what_lies_near_a_wide_trench_is_reckoned_from_its_edge() -> None:
    known = record()
    around = Surroundings(known, solution(), {each.name: each for each in COMPONENTS}, built_in("common"))
    at_the_lid = Position("tank/lid", "tank", np.array([6.0, 31.5]), None)
    (near,) = around.near(at_the_lid, 0.0, along=False)
    assert (near.name, near.distance_m) == ("trench", pytest.approx(1.0))  # 1.5 m from its middle


def test_what_only_points_name_has_an_outline_too() -> None:
    outlines = Outlines(replace(record(), components=()), solution())
    assert isinstance(outlines.of("lot"), LineString)
    assert outlines.of("box") == Place(30, 20)


def test_an_upright_round_tank_needs_no_direction() -> None:
    tanks = (Component("box", "pump tank", "box", width=metres(2), form="round"),)
    outlines = Outlines(replace(record(), components=tanks), solution())
    assert outlines.direction_known("box")
    shape = outlines.of("box")
    assert shape is not None
    assert shape.area == pytest.approx(np.pi, rel=0.01)


def test_what_has_no_place_has_no_distance() -> None:
    assert Outlines(record(), solution()).apart("tank", "lost") is None
    assert Outlines(record(), solution()).apart("tank", "nobody") is None


def test_the_distances_from_end_and_side_to_the_first_lid_place_a_tank() -> None:
    """Lids at x 20 and 22, y 4; 3 by 2 m; its end 0.6 m before the first lid, its left (north) side 0.8 m off it."""
    tanks = (replace(COMPONENTS[0], end_to_lid=metres(0.6), side_to_lid=metres(0.8)),)
    shape = Outlines(replace(record(), components=tanks), solution()).of("tank")
    assert shape is not None
    assert shape.bounds == pytest.approx((19.4, 2.8, 22.4, 4.8))
    middle = (replace(tanks[0], side_to_lid=None),)
    shape = Outlines(replace(record(), components=middle), solution()).of("tank")
    assert shape is not None
    assert shape.bounds == pytest.approx((19.4, 3.0, 22.4, 5.0))


def test_of_two_tanks_of_one_name_the_one_that_stands_is_measured() -> None:
    old = replace(COMPONENTS[0], length=metres(9), removed_on=date(2020, 1, 1))
    for tanks in ((old, COMPONENTS[0]), (COMPONENTS[0], old)):
        shape = Outlines(replace(record(), components=tanks), solution()).of("tank")
        assert shape is not None
        assert shape.area == pytest.approx(6)

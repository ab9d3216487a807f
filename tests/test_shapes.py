"""Outlines from points: what a box, an area, a line and a point become, checked against boxes laid by hand."""

import math
from collections.abc import Sequence
from itertools import pairwise, permutations
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely import intersection, union
from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as Place

from asbuilt import shapes
from asbuilt.model.components import Component, Point
from asbuilt.model.measurements import Wall
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import split_walks
from asbuilt.shapes import building_outline
from asbuilt.units import parse_length

Array = NDArray[np.float64]

LONG_M, SHORT_M = 9.5 * 0.3048, 5.0 * 0.3048
EAST = np.array([1.0, 0.0])


def thing(shape: str | None = None, *, sized: bool = False, swapped: bool = False) -> Component:
    """Make a component; a sized one is 9 1/2 by 5 ft."""
    sides = [parse_length("9' 6\""), parse_length("5' 0\"")] if sized else [None, None]
    length, width = reversed(sides) if swapped else sides
    return Component("tank", "septic tank", shape, length, width)


def outline(component: Component, places: Sequence[Array], along: Array) -> Any:
    """Draw a component; the kind of geometry is what a test asks about, so its type is left open."""
    return shapes.outline(component, places, along)


def corners(center: tuple[float, float], angle_deg: float) -> Array:
    """Lay the corners of the box by hand: anticlockwise round its centre, long side along an angle."""
    along = np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])
    across = np.array([-along[1], along[0]])
    halves = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return np.array([np.array(center) + a * LONG_M / 2 * along + b * SHORT_M / 2 * across for a, b in halves])


def overlap(a: Polygon, b: Polygon) -> float:
    """Share of two outlines that they have in common; 1 = the same.

    On a grid of a nanometre: GEOS finds nothing in common between some rings that differ by their last bit.
    """
    common, all_of_it = (reckon(a, b, grid_size=1e-9).area for reckon in (intersection, union))
    return float(common / all_of_it)


places = st.tuples(st.floats(-30, 30), st.floats(-30, 30))
angles = st.floats(0, 180)


# ------------------------------------------------------------ boxes


def test_one_point_is_the_centre_and_the_long_side_lies_along_the_first_wall() -> None:
    along = np.array([math.cos(0.3), math.sin(0.3)])
    drawn = outline(thing("box", sized=True), [np.array([4.0, 7.0])], along)
    assert overlap(drawn, Polygon(corners((4.0, 7.0), math.degrees(0.3)))) == pytest.approx(1.0)


@given(places, angles, st.floats(0.2, 3.0))
def test_two_points_give_the_long_axis_with_the_box_centred_between_them(
    center: tuple[float, float], angle: float, apart: float
) -> None:
    axis = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    lids = [np.array(center) - axis * apart / 2, np.array(center) + axis * apart / 2]
    drawn = outline(thing("box", sized=True), lids, EAST)
    assert overlap(drawn, Polygon(corners(center, angle))) == pytest.approx(1.0)


@pytest.mark.parametrize("missing", [None, 0, 1, 2, 3])
@given(places, angles)
def test_three_or_four_corners_give_the_box_back(
    missing: int | None, center: tuple[float, float], angle: float
) -> None:
    true = corners(center, angle)
    drawn = outline(thing("box", sized=True), [true[k] for k in range(4) if k != missing], EAST)
    assert overlap(drawn, Polygon(true)) == pytest.approx(1.0)


@pytest.mark.parametrize("order", list(permutations(range(4), 3)))
def test_the_order_of_the_corners_does_not_matter(order: tuple[int, ...]) -> None:
    true = corners((3.0, 4.0), 35.0)
    drawn = outline(thing("box", sized=True), [true[k] for k in order], EAST)
    assert overlap(drawn, Polygon(true)) == pytest.approx(1.0)


def test_corners_off_by_a_few_centimetres_still_give_nearly_the_box() -> None:
    rng = np.random.default_rng(7)
    for count in (3, 4):
        for _ in range(50):
            true = corners((rng.uniform(-9, 9), rng.uniform(-9, 9)), rng.uniform(0, 180))
            read = [*(true + rng.normal(0, 0.03, true.shape))][:count]
            drawn = outline(thing("box", sized=True), read, EAST)
            assert drawn.area == pytest.approx(LONG_M * SHORT_M)  # its size is known better than its corners
            assert overlap(drawn, Polygon(true)) > 0.9


def test_three_lids_in_a_row_lie_on_the_long_axis() -> None:
    axis = np.array([math.cos(0.5), math.sin(0.5)])
    lids = [np.array([2.0, 3.0]) + t * axis for t in (-1.0, 0.2, 1.0)]
    drawn = outline(thing("box", sized=True), lids, EAST)
    assert overlap(drawn, Polygon(corners((2.0, 3.0), math.degrees(0.5)))) == pytest.approx(1.0)


def test_length_and_width_may_be_written_either_way_round() -> None:
    spots = [np.array([0.0, 0.0]), np.array([1.0, 1.0])]
    drawn = outline(thing("box", sized=True), spots, EAST)
    assert overlap(drawn, outline(thing("box", sized=True, swapped=True), spots, EAST)) == pytest.approx(1.0)


def test_two_lids_in_one_place_still_give_a_box() -> None:
    drawn = outline(thing("box", sized=True), [np.array([1.0, 1.0]), np.array([1.0, 1.0])], EAST)
    assert drawn.area == pytest.approx(LONG_M * SHORT_M)


def test_a_box_without_a_size_is_what_its_points_are() -> None:
    square = [np.array(p, float) for p in ((0, 0), (2, 0), (2, 1), (0, 1))]
    assert outline(thing("box"), square, EAST).equals(Polygon(square))
    assert outline(thing("box"), square[:2], EAST).equals(LineString(square[:2]))
    assert outline(thing("box"), square[:1], EAST).equals(Place(0, 0))


def test_a_thing_with_a_size_and_no_shape_is_a_box() -> None:
    assert outline(thing(sized=True), [np.zeros(2)], EAST).area == pytest.approx(LONG_M * SHORT_M)


# ------------------------------------------------------------ areas, lines, points


def test_an_area_is_the_ring_of_its_points() -> None:
    ring = [np.array(p, float) for p in ((0, 0), (4, 0), (4, 3), (0, 3))]
    assert outline(thing("area"), ring, EAST).area == pytest.approx(12.0)


def test_an_area_whose_points_were_written_criss_cross_is_still_a_simple_ring() -> None:
    ring = [np.array(p, float) for p in ((0, 0), (4, 3), (4, 0), (0, 3))]
    drawn = outline(thing("area"), ring, EAST)
    assert drawn.is_valid
    assert drawn.area == pytest.approx(12.0)


def test_an_area_of_two_points_is_a_line_and_of_one_a_point() -> None:
    spots = [np.array([0.0, 0.0]), np.array([3.0, 4.0])]
    assert outline(thing("area"), spots, EAST).length == pytest.approx(5.0)
    assert outline(thing("area"), spots[:1], EAST).equals(Place(0, 0))


def test_a_line_runs_through_its_points_in_their_order() -> None:
    spots = [np.array(p, float) for p in ((0, 0), (3, 0), (3, 4))]
    drawn = outline(thing("line"), spots, EAST)
    assert list(drawn.coords) == [(0, 0), (3, 0), (3, 4)]
    assert outline(thing("line"), spots[:1], EAST).equals(Place(0, 0))


def test_a_point_of_several_readings_is_their_middle() -> None:
    spots = [np.array([0.0, 0.0]), np.array([2.0, 4.0])]
    assert outline(thing("point"), spots, EAST).equals(Place(1, 2))


def test_without_a_shape_one_point_is_a_point_and_more_are_a_line() -> None:
    spots = [np.array([0.0, 0.0]), np.array([2.0, 4.0])]
    assert outline(thing(), spots[:1], EAST).equals(Place(0, 0))
    assert outline(thing(), spots, EAST).equals(LineString(spots))


@pytest.mark.parametrize("shape", ["point", "line", "area", "box", None])
@pytest.mark.parametrize("sized", [True, False])
def test_nothing_located_is_nothing_drawn(shape: str | None, sized: bool) -> None:
    assert outline(thing(shape, sized=sized), [], EAST) is None


# ------------------------------------------------------------ order, buildings


def test_points_go_by_their_order_then_by_the_sheet() -> None:
    rows = (
        Point("sewer", "last", 3.0),
        Point("sewer", "unnumbered"),
        Point("sewer", "first", 1.0),
        Point("sewer", "between", 1.5),
        Point("other", "lid", 0.0),
    )
    record = PropertyRecord(Property("Invented", "m"), (), points=rows)
    expected = ["sewer/first", "sewer/between", "sewer/last", "sewer/unnumbered"]
    assert list(record.points_of("sewer")) == expected
    assert list(record.points_of("nothing")) == []


def walls(*names: str) -> tuple[Wall, ...]:
    return tuple(Wall(a, b, parse_length("3 m"), "?", None) for a, b in pairwise(names))


SQUARE = {"A": np.array([0.0, 0.0]), "B": np.array([3.0, 0.0]), "C": np.array([3.0, 3.0]), "D": np.array([0.0, 3.0])}


def test_a_closed_walk_is_a_polygon_and_an_open_one_a_line() -> None:
    (closed,) = split_walks(walls("A", "B", "C", "D", "A"))
    (opened,) = split_walks(walls("A", "B", "C", "D"))
    drawn = building_outline(closed, SQUARE)
    assert isinstance(drawn, Polygon)
    assert drawn.area == pytest.approx(9.0)
    line = building_outline(opened, SQUARE)
    assert isinstance(line, LineString)
    assert line.length == pytest.approx(9.0)


def test_a_house_with_a_corner_that_is_not_located_is_drawn_open() -> None:
    (closed,) = split_walks(walls("A", "B", "C", "D", "A"))
    three = {name: SQUARE[name] for name in "ABC"}
    assert isinstance(building_outline(closed, three), LineString)
    assert building_outline(closed, {"A": SQUARE["A"]}) is None

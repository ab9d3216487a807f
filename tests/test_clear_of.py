"""May this be built here? Distances to what is buried, their doubt, the rules, and what would be buried."""

import json
import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from asbuilt.checks.clear_of import built_over
from asbuilt.checks.item import Outcome
from asbuilt.errors import AsbuiltError, SheetError
from asbuilt.jobs.clear_of import ClearOf, Wanted, answer_of, clear_of, map_with
from asbuilt.jobs.locate import Located, locate
from asbuilt.record.shape_files import read_shape
from asbuilt.record.sheets.read import read_sheets
from asbuilt.shapes import Outlines
from asbuilt.survey.planned import set_out, with_planned
from asbuilt.units import FOOT_M
from tests.commands import ROOT

TODAY = date(2026, 6, 1)
NORTH_WALL = "NE corner > inside corner"


@pytest.fixture(scope="module")
def sample() -> Located:
    return locate(read_sheets(ROOT / "sample_property").record)


def ask(located: Located, kind: str, along: str, out: str, **size: str) -> ClearOf:
    size = size or {"length": "10 0", "width": "8 0"}
    return clear_of(located, Wanted(kind, NORTH_WALL, along, out, **size), TODAY)


def outcome(told: ClearOf, component: str) -> Outcome:
    return next(each.outcome for each in told.clearances if each.component.name == component)


def test_a_distance_is_that_of_the_true_places_within_its_doubt(sample: Located) -> None:
    """By hand from the house frame of `sample_truth.toml`: along x from the SW corner, y to its left."""
    told = ask(sample, "shed", "0", "24 0")
    # its north-east corner is the nearest to the inlet lid: the wall runs west from the NE corner
    corner = np.array([14.7227, 7.9756 + 32 * FOOT_M])
    port = np.array([10.7928, 9.0476])  # two-way cleanout
    cleanout = next(each for each in told.clearances if each.component.name == "two-way cleanout")
    assert cleanout.apart is not None
    by_hand = 7.9756 + 24 * FOOT_M - port[1]
    assert abs(cleanout.apart.distance_m - by_hand) < cleanout.doubt_m + 0.02
    assert 0.02 < cleanout.doubt_m < 0.3
    assert corner[1] > port[1]


def test_a_shed_too_near_the_tank_is_outside_and_one_far_from_all_is_clear(sample: Located) -> None:
    near = ask(sample, "shed", "0", "24 0")
    assert outcome(near, "septic tank") is Outcome.OUTSIDE
    assert not answer_of(near).clear
    far = clear_of(sample, Wanted("shed", "SW corner > SE corner", "5 0", "40 0", None, "10 0", "8 0"), TODAY)
    assert answer_of(far).clear


def test_a_limit_just_met_is_too_close_to_call(sample: Located) -> None:
    first = ask(sample, "shed", "0", "24 0")
    tank = next(each for each in first.clearances if each.component.name == "septic tank")
    assert tank.apart is not None
    further = 5 * FOOT_M - tank.apart.distance_m  # west along the wall, away from the tank
    told = ask(sample, "shed", f"{further + 0.0:.3f} m", "24 0")
    assert outcome(told, "septic tank") is Outcome.DOUBTFUL


def test_a_patio_over_a_lid_buries_it(sample: Located) -> None:
    told = clear_of(sample, Wanted("patio", "NE corner > SE corner", "0", "0", "left", "5 0", "20 0"), TODAY)
    assert told.buried == ()
    over = clear_of(sample, Wanted("patio", "inside corner > NE corner", "28 0", "22 0", None, "10 0", "10 0"), TODAY)
    assert {each.point for each in over.buried} >= {"septic tank/inlet lid"}
    assert not answer_of(over).clear
    assert "lies over the opening septic tank/inlet lid" in answer_of(over).text()


def test_a_trench_of_unknown_width_may_be_half_a_trench_nearer_to_what_is_planned(sample: Located) -> None:
    """A trench is 3 ft wide at most (Rapid City SD 13.20.500)."""
    narrow = tuple(replace(each, width=None) if each.kind == "lateral" else each for each in sample.record.components)
    unknown = replace(sample, record=replace(sample.record, components=narrow))
    for located, nearer in ((sample, 0.0), (unknown, 1.5 * FOOT_M)):
        told = ask(located, "shed", "0", "24 0")
        apart = next(each.apart for each in told.clearances if each.component.name == "lateral 1")
        assert apart is not None
        assert apart.nearer_m == pytest.approx(nearer)


def test_a_shed_wholly_inside_the_house_is_over_it_and_one_against_its_wall_is_not(sample: Located) -> None:
    inside, outside, against = (
        clear_of(sample, Wanted("shed", NORTH_WALL, "3 0", out, hand, "3 0", "3 0"), TODAY)
        for out, hand in (("3 0", "left"), ("3 0", "right"), ("0", "right"))
    )
    assert (len(inside.over_buildings), outside.over_buildings, against.over_buildings) == (1, (), ())
    assert not answer_of(inside).clear


def test_a_building_whose_walk_does_not_close_is_built_over_too(sample: Located) -> None:
    walls = replace(sample.record, walls=sample.record.walls[:2])
    outlines = Outlines(walls, sample.solution)
    (name,) = outlines.buildings
    line = outlines.of(name)
    assert line is not None and line.geom_type == "LineString"
    assert list(built_over(outlines, line.centroid.buffer(20))) == [name]
    assert list(built_over(outlines, line.centroid.buffer(20).exterior.buffer(0.1))) == []


def test_a_round_tree_is_as_far_as_its_edge(sample: Located) -> None:
    tree = ask(sample, "tree", "25 0", "35 0", radius="6 0")
    dot = ask(sample, "tree", "25 0", "35 0", radius="0.001 m")
    for name in ("well", "septic tank"):
        pair = [next(each.apart for each in told.clearances if each.component.name == name) for told in (tree, dot)]
        assert pair[0] is not None
        assert pair[1] is not None
        assert 6 * FOOT_M - 1e-3 <= pair[1].distance_m - pair[0].distance_m <= 6.06 * FOOT_M


def test_what_has_no_limit_and_lies_under_it_is_asked_about(sample: Located) -> None:
    told = ask(sample, "patio", "2 0", "1 0")
    assert outcome(told, "electrical cable") is Outcome.DOUBTFUL


def test_corners_set_out_from_a_wall_carry_the_doubt_of_its_ends(sample: Located) -> None:
    """Against a plain Monte Carlo over the covariance of the two corners."""
    wall = ("NE corner", "wing corner")
    planned = set_out(sample.solution, "planned shed", wall, [(3.0, 12.0)], 0.0)
    reckoned = with_planned(sample.solution, planned).position("planned shed/corner 1").covariance
    solution = sample.solution
    index = [2 * solution.names.index(name) + axis for name in wall for axis in (0, 1)]
    mean = np.concatenate([solution.position(name).place for name in wall])  # type: ignore[arg-type]
    draws = np.random.default_rng(5).multivariate_normal(mean, solution.covariance[np.ix_(index, index)], 40_000)
    u = draws[:, 2:] - draws[:, :2]
    u /= np.hypot(u[:, 0], u[:, 1])[:, None]
    spots = draws[:, :2] + 3.0 * u + 12.0 * np.stack([-u[:, 1], u[:, 0]], axis=1)
    assert reckoned == pytest.approx(np.cov(spots.T), rel=0.05, abs=2e-7)


def drawn(located: Located, told: ClearOf) -> dict[str, object]:
    assert located.placement is not None
    ring = [list(map(float, located.placement.to_earth(place))) for place in told.area.exterior.coords]  # type: ignore[attr-defined]
    return {
        "type": "Feature",
        "properties": {"kind": "shed"},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }


def test_a_shape_drawn_on_our_map_is_where_its_offsets_put_it(sample: Located, tmp_path: Path) -> None:
    typed = ask(sample, "shed", "0", "24 0")
    file = tmp_path / "shed.geojson"
    file.write_text(json.dumps(drawn(sample, typed)), encoding="utf-8")
    for same_map in (True, False):
        told = clear_of(sample, Wanted(None, file=file, same_map=same_map), TODAY)
        for a, b in zip(told.clearances, typed.clearances, strict=True) if same_map else ():
            assert a.component == b.component
            assert a.apart is not None
            assert b.apart is not None
            assert math.isclose(a.apart.distance_m, b.apart.distance_m, abs_tol=1e-3)
        if not same_map:  # the phone's place is good to metres only, so nothing near can be told
            assert told.earth_doubt_m > 2
            assert outcome(told, "septic tank") is Outcome.DOUBTFUL
            assert "--same-map" in answer_of(told).text()


def test_the_map_shows_what_is_planned(sample: Located) -> None:
    told = ask(sample, "shed {{ 7*7 }} <b>", "0", "24 0")
    page = map_with(sample, told, TODAY)
    assert '"proposed"' in page
    assert "<b>" not in page.partition("application/json")[2].partition("</script>")[0]


def geometry(form: str, coordinates: object) -> str:
    return json.dumps({"type": form, "coordinates": coordinates})


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "is no JSON"),
        ("[]", "holds no feature"),
        ('{"type": "FeatureCollection", "features": []}', "holds 0 features"),
        (geometry("MultiPolygon", []), "holds “MultiPolygon”"),
        (geometry("Polygon", [[[0, 0], [1, 0], [1, 1]]]), "not closed"),
        (geometry("Polygon", [[[0, 0]], [[0, 0]]]), "not one ring"),
        (geometry("LineString", [[0, 0]]), "fewer than two points"),
        (geometry("Point", [0, 95]), "not on the earth"),
        (geometry("Point", ["0", 1]), "no pair of numbers"),
        (geometry("Point", [True, 1]), "no pair of numbers"),
        ('{"type": "Point", "coordinates": [NaN, 1]}', "not on the earth"),
        (geometry("LineString", [[0, 0]] * 501), "more than 500"),
        ("[" * 100_000, "is no JSON"),
    ],
)
def test_a_file_that_is_no_shape_is_refused_in_one_message(text: str, said: str, tmp_path: Path) -> None:
    file = tmp_path / "shape.geojson"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(SheetError, match=said):
        read_shape(file)


@pytest.mark.parametrize(
    "wanted",
    [
        Wanted("shed", "nowhere > NE corner", "0", "1 0", None, "1 0", "1 0"),
        Wanted("shed", NORTH_WALL, "ten", "1 0", None, "1 0", "1 0"),
        Wanted("shed", NORTH_WALL, "0", "1 0", None, "1 0", None),
        Wanted(" ", NORTH_WALL, "0", "1 0", None, "1 0", "1 0"),
    ],
)
def test_bad_words_are_refused(sample: Located, wanted: Wanted) -> None:
    with pytest.raises(AsbuiltError):
        clear_of(sample, wanted, TODAY)


def test_a_property_without_a_place_wants_offsets(sample: Located, tmp_path: Path) -> None:
    file = tmp_path / "shape.geojson"
    file.write_text(geometry("Point", [0, 1]), encoding="utf-8")
    with pytest.raises(AsbuiltError, match="offsets from a wall"):
        clear_of(replace(sample, placement=None), Wanted("tree", file=file, radius="1 0"), TODAY)

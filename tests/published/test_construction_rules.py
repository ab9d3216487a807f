"""The rule profiles against the published tables that they take their values from.

Sources and what of them was read: `ipc_704_1.toml`, `tank_drop.toml`, `orifice_table.toml`, `squirt_limits.toml`,
`setbacks.toml`, `record_accuracy.toml`.
"""

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from asbuilt.checks.squirt import orifice_gpm, spread_percent
from asbuilt.record.profiles import built_in

HERE = Path(__file__).parent


def case(name: str) -> dict[str, Any]:
    return tomllib.loads(HERE.joinpath(name).read_text(encoding="utf-8"))


SLOPES = case("ipc_704_1.toml")
DROP = case("tank_drop.toml")
ORIFICES = case("orifice_table.toml")
SQUIRT = case("squirt_limits.toml")
SETBACKS = case("setbacks.toml")
ACCURACY = case("record_accuracy.toml")


def value(profile: str, key: str, kind: str, to: str | None = None, size_in: float | None = None) -> float | None:
    """Give the one limit of a profile, in the unit of the published table."""
    limits = built_in(profile).limits_for(key, kind, to=to, size_in=size_in)
    assert len(limits) <= 1
    return limits[0].value if limits else None


@pytest.mark.parametrize(("diameter_in", "slope_in_ft"), SLOPES["rows"])
def test_the_least_slope_follows_from_the_diameter(diameter_in: float, slope_in_ft: float) -> None:
    assert value("common", "pipe_slope", "building sewer", size_in=diameter_in) == slope_in_ft


def test_between_the_sizes_of_the_table_there_is_no_limit() -> None:
    assert value("common", "pipe_slope", "building sewer", size_in=2.75) is None
    assert value("common", "pipe_slope", "building sewer") is None


def test_the_drop_through_a_tank_is_minnesotas() -> None:
    assert value("common", "tank_drop", "septic tank") == DROP["minnesota"]["drop_in"]
    assert value("minnesota", "tank_drop", "septic tank") == DROP["minnesota"]["drop_in"] < DROP["hamden"]["drop_in"]


def test_all_28_cells_of_the_orifice_table_are_reproduced() -> None:
    """26 of them to the printed digit; the two others, 1.5 ft by 1/8 in and 2.5 ft by 3/16 in, within 0.006 gpm."""
    cells = [
        (orifice_gpm(d, h), ORIFICES["gpm"][i][k])
        for i, h in enumerate(ORIFICES["heads_ft"])
        for k, d in enumerate(ORIFICES["diameters_in"])
    ]
    assert len(cells) == 28
    assert sum(round(flow, 2) == printed for flow, printed in cells) == 26
    assert max(abs(flow - printed) for flow, printed in cells) <= ORIFICES["rounding"] / 2 + 0.001


def test_the_whole_foot_rows_of_new_jersey_are_reproduced() -> None:
    table = ORIFICES["new_jersey"]
    for i, head in enumerate(table["heads_ft"]):
        for k, diameter in enumerate(table["diameters_in"]):
            assert orifice_gpm(diameter, head) == pytest.approx(table["gpm"][i][k], rel=0.003, abs=table["rounding"])


def test_the_coefficient_is_that_of_a_discharge_coefficient_of_six_tenths() -> None:
    """Flow is C A sqrt(2 g h), g = 32.174 ft/s2, 448.831 gpm a cubic foot a second: an independent formula."""
    area_ft2 = math.pi / 4 * (0.25 / 12) ** 2
    flow = 0.60 * area_ft2 * math.sqrt(2 * 32.174 * 3.0) * 448.831
    assert orifice_gpm(0.25, 3.0) == pytest.approx(flow, rel=0.001)


def test_the_limits_of_squirt_heights_are_those_of_the_flow() -> None:
    assert value("common", "squirt_in_lateral", "lateral") == SQUIRT["in_lateral_percent"]
    assert value("common", "squirt_in_system", "lateral") == SQUIRT["in_system_percent"]
    for height, flow in (("in_lateral", "flow_in_lateral"), ("in_system", "flow_in_system")):
        heights = [(1 + SQUIRT[f"{flow}_percent"] / 100) ** 2, 1.0]
        assert round(spread_percent(heights)) == SQUIRT[f"{height}_percent"]
        first, last = (orifice_gpm(0.125, each) for each in heights)
        assert first / last - 1 == pytest.approx(SQUIRT[f"{flow}_percent"] / 100)


def test_the_head_left_depends_on_the_size_of_the_holes() -> None:
    large, small = SQUIRT["large_from_in"], 5 / 32
    assert value("common", "residual_head", "lateral", size_in=large) == SQUIRT["head_large_ft"]
    assert value("common", "residual_head", "lateral", size_in=small) == SQUIRT["head_small_ft"]
    assert value("common", "orifice_size", "lateral") == SQUIRT["least_orifice_in"]


@pytest.mark.parametrize("row", SETBACKS["washington"]["rows"], ids=lambda row: row[0])
def test_the_setbacks_of_the_washington_form(row: list[Any]) -> None:
    to, *values = row
    kinds = (("lateral", "reserve area"), ("septic tank", "pump tank", "distribution box"), ("building sewer",))
    for named, expected in zip(kinds, values, strict=True):
        for kind in named:
            assert value("washington", "setback", kind, to) == (None if expected < 0 else expected), (kind, to)


def test_other_pipes_keep_two_feet_from_a_foundation() -> None:
    assert value("washington", "setback", "transport line", "building foundation") == 2


@pytest.mark.parametrize("row", SETBACKS["minnesota"]["rows"], ids=lambda row: row[0])
def test_the_setbacks_of_minnesota(row: list[Any]) -> None:
    to, tank, dispersal = row
    assert (value("minnesota", "setback", "septic tank", to), value("minnesota", "setback", "lateral", to)) == (
        tank,
        dispersal,
    )


def test_a_well_of_unknown_depth_counts_as_a_shallow_one() -> None:
    assert value("minnesota", "setback", "lateral", "well") == value("minnesota", "setback", "lateral", "shallow well")


@pytest.mark.parametrize(
    "kind", ["septic tank", "building sewer", "electrical cable", "lateral", "cleanout", "distribution box", "manifold"]
)
def test_what_must_be_found_must_be_found_within_half_a_foot(kind: str) -> None:
    assert value("common", "location_accuracy", kind) == ACCURACY["accuracy_ft"]
    assert built_in("common").required_points(kind)


def test_what_is_no_part_of_the_system_is_held_to_no_accuracy() -> None:
    assert value("common", "location_accuracy", "property line") is None


def test_trenches_keep_the_cited_slope_and_depth() -> None:
    slopes = {limit.comparison: limit.value for limit in built_in("common").limits_for("level_slope", "trench")}
    levels = ACCURACY["levels"]
    assert slopes == {"at most": levels["most_in_100_ft"], "at least": levels["least_in_100_ft"]}
    assert value("common", "trench_depth", "trench") == ACCURACY["levels"]["deepest_ft"]


def test_usual_holes_every_four_feet_leave_the_flow_of_a_usual_pump() -> None:
    """3/16-in holes every 4 ft in 1-1/2-in pipe: twelve in 47 ft, at 5 ft of head 11 gal/min (common practice)."""
    assert 12 * orifice_gpm(3 / 16, 5.0) == pytest.approx(11, abs=0.3)

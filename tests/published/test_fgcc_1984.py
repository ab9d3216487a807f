"""Loop misclosures that the published orders of levelling allow."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from asbuilt.survey.level_loops import FGCC_1984_MM, fgcc_allowance_m

CASE = tomllib.loads(Path(__file__).with_name("fgcc_1984.toml").read_text(encoding="utf-8"))


def test_the_orders_are_the_published_ones() -> None:
    assert CASE["mm_root_km"] == FGCC_1984_MM
    for order, millimetres in CASE["mm_root_km"].items():
        assert 1000 * fgcc_allowance_m(1.0, order) == pytest.approx(millimetres)


@pytest.mark.parametrize("row", CASE["third_order"], ids=lambda row: f"{row['metres']} m")
def test_third_order_over_the_lengths_of_a_house_lot(row: dict[str, Any]) -> None:
    assert 1000 * fgcc_allowance_m(row["metres"] / 1000) == pytest.approx(row["mm"], abs=0.05)

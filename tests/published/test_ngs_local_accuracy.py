"""95 % horizontal radii that the National Geodetic Survey publishes beside the covariances they come from."""

import tomllib
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from asbuilt.survey.quality import radius_95

CASE = tomllib.loads(Path(__file__).with_name("ngs_local_accuracy.toml").read_text(encoding="utf-8"))


def radius(sd_east: float, sd_north: float, correlation: float) -> float:
    across = correlation * sd_east * sd_north
    return float(radius_95(np.array([[sd_east**2, across], [across, sd_north**2]])))


@pytest.mark.parametrize("row", CASE["rows"], ids=lambda row: row["id"])
def test_the_published_radius_comes_out_within_the_rounding_of_what_is_published(row: dict[str, Any]) -> None:
    assert radius(row["sd_east"], row["sd_north"], row["correlation"]) == pytest.approx(row["exact"], abs=5.1e-5)
    slack = CASE["deviation_rounding"]
    reach = [
        radius(row["sd_east"] + e, row["sd_north"] + n, row["correlation"])
        for e, n in product((-slack, slack), repeat=2)
    ]
    assert min(reach) - CASE["published_rounding"] <= row["published"] <= max(reach) + CASE["published_rounding"]
    # the interval is narrow enough to tell the exact radius from 2.4477 times the larger deviation
    assert max(reach) - min(reach) < 0.03

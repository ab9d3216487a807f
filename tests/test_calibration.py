"""The survey keeps its word on synthetic truth: 95 % radii hold 95 %, and *checked* points are checked.

The generator (tests/synthetic.py) imports nothing from the survey. Bands are bootstrapped over properties, because the
points of one property share its corners.
"""

from collections.abc import Sequence

import numpy as np
import pytest

from asbuilt.survey.solve import solve
from tests.synthetic import make_property

Counts = Sequence[tuple[int, int]]


def coverage(seeds: range, **options: object) -> tuple[float, float, float, Counts]:
    """Share of located points inside their own 95 % radius, and the band that holds it 95 % of the time."""
    counts = []
    for seed in seeds:
        made = make_property(np.random.default_rng([2, seed]), **options)
        located = [p for p in solve(made.record).points if p.place is not None]
        inside = sum(float(np.hypot(*(p.place - np.array(made.truth[p.name])))) <= (p.r95_m or 0) for p in located)
        counts.append((inside, len(located)))
    table = np.array(counts)
    picks = np.random.default_rng(0).integers(len(table), size=(2000, len(table)))
    resampled = table[picks].sum(axis=1)
    low, high = np.quantile(resampled[:, 0] / resampled[:, 1], [0.025, 0.975])
    return table[:, 0].sum() / table[:, 1].sum(), float(low), float(high), counts


@pytest.mark.slow
def test_positions_of_a_thousand_properties_lie_within_their_own_95_percent_radius() -> None:
    share, low, high, counts = coverage(range(1000))
    print(f"\n{share:.4f} of {sum(n for _, n in counts)} points within r95; 95 % band {low:.4f} to {high:.4f}")
    # the unnoted drops enter by their root mean square, which is a little more than their spread: hence the slack above
    assert low <= 0.955
    assert high >= 0.950
    assert 0.945 <= share <= 0.960


@pytest.mark.parametrize(
    "options",
    [
        {"ties": 2, "chained": 0.0},
        {"ties": 3, "chained": 0.0},
        {"ties": 4, "chained": 0.0},
        {"chained": 0.5},
        {"near_wall": 0.5},
        {"offsets": 0.5},
    ],
    ids=["two ties", "three ties", "four ties", "through other points", "near the wall line", "offsets"],
)
def test_every_kind_of_geometry_keeps_its_95_percent_radius(options: dict[str, object]) -> None:
    share, low, high, _ = coverage(range(60), points=(8, 20), **options)
    assert low - 0.02 <= 0.95 <= high + 0.02, f"{share:.3f} ({low:.3f} to {high:.3f})"


def test_hardly_any_point_with_a_noted_side_stays_without_a_place() -> None:
    lost = total = 0
    for seed in range(60):
        made = make_property(np.random.default_rng([3, seed]))
        points = solve(made.record).points
        lost += sum(p.place is None for p in points)
        total += len(points)
    assert lost / total < 0.005

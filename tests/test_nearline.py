"""Near the line of its reference points: the interval across it, against Monte Carlo and a table made by one."""

import math

import numpy as np
import pytest

from asbuilt.survey.nearline import Across, across_line, off_line_m
from asbuilt.survey.quality import radius_95
from asbuilt.survey.solve import solve
from asbuilt.survey.start import circle_gap, locate_point
from tests.survey_samples import RECTANGLE, rectangle, tapes

A, B = np.array([0.0, 0.0]), np.array([10.0, 0.0])
ANCHORS = np.array([A, B])
SIGMAS = np.full(2, 0.02)

TABLE = [  # ours, a regression check: offset, linear R95, Monte Carlo R95, share of circles that miss (200,000 draws)
    (1.00, 0.137, 0.138, 0.0),
    (0.50, 0.268, 0.340, 0.034),
    (0.30, 0.445, 0.301, 0.25),
    (0.10, 1.331, 0.383, 0.47),
]


def distances_to(place: np.ndarray) -> np.ndarray:
    return np.hypot(*(place - ANCHORS).T)


def interval(place: np.ndarray, errors: np.ndarray, *, sided: bool = True) -> Across | None:
    """Interval from tapes with these errors, as the survey calls it: about the place that the tapes give."""
    read = distances_to(place) + errors
    best = max((c.place for c in locate_point(ANCHORS, read, SIGMAS)), key=lambda p: p[1])
    return across_line(ANCHORS, read, SIGMAS, best, sided=sided)


@pytest.mark.parametrize(("offset", "linear", "_", "__"), TABLE)
def test_the_linear_radius_is_what_the_table_says(offset: float, linear: float, _: float, __: float) -> None:
    place = np.array([4.0, offset])
    found = [c for c in locate_point(ANCHORS, distances_to(place), SIGMAS) if c.place[1] > 0]
    assert radius_95(found[0].covariance) == pytest.approx(linear, abs=6e-4)


@pytest.mark.parametrize(("offset", "_", "simulated", "share"), TABLE)
def test_the_table_itself_is_what_a_simulation_gives(offset: float, _: float, simulated: float, share: float) -> None:
    rng, place = np.random.default_rng(1), np.array([4.0, offset])
    read = distances_to(place) + rng.normal(0, 0.02, (20_000, 2))
    along = (read[:, 0] ** 2 - read[:, 1] ** 2 + 100) / 20
    square = read[:, 0] ** 2 - along**2
    missed = square < 0
    assert missed.mean() == pytest.approx(share, abs=0.012)
    gaps = [circle_gap(A, r, B, s) > 0 for r, s in read[:300]]
    assert gaps == missed[:300].tolist()
    off = np.hypot(along - 4, np.sqrt(np.maximum(square, 0)) - offset)
    assert np.quantile(off, 0.95) == pytest.approx(simulated, rel=0.05)


def test_the_square_of_the_offset_has_the_stated_spread() -> None:
    # the worked point of the source (ours): (4, 0.10), sd(h^2) 0.1358 and the upper end sqrt(h^2 + 1.96 sd)
    found = interval(np.array([4.0, 0.10]), np.zeros(2))
    assert found is not None
    assert found.low_m == 0
    assert found.high_m == pytest.approx(math.sqrt(0.01 + 1.959964 * 0.1358), abs=1e-4)
    assert found.distance_m == pytest.approx(0.10, abs=1e-6)


def test_a_point_clear_of_the_line_keeps_its_ellipse() -> None:
    assert interval(np.array([4.0, 1.0]), np.zeros(2)) is None
    assert interval(np.array([4.0, 0.5]), np.zeros(2)) is not None  # 0.25 is less than three times 0.136


@pytest.mark.parametrize("offset", [0.0, 0.05, 0.1, 0.3, 0.5])
def test_the_interval_and_its_radius_hold_the_truth_95_times_in_a_hundred(offset: float) -> None:
    rng, place = np.random.default_rng(int(1000 * offset)), np.array([4.0, offset])
    inside = within = judged = 0
    for errors in rng.normal(0, 0.02, (600, 2)):
        found = interval(place, errors)
        if found is None:
            continue
        judged += 1
        best = max((c.place for c in locate_point(ANCHORS, distances_to(place) + errors, SIGMAS)), key=lambda p: p[1])
        inside += found.low_m <= offset <= found.high_m
        within += math.dist(best, place) <= found.r95_m
    assert judged > 400
    assert inside / judged > 0.95 - 2 * math.sqrt(0.95 * 0.05 / judged)
    assert within / judged > 0.95 - 2 * math.sqrt(0.95 * 0.05 / judged)


def test_without_a_side_the_radius_reaches_over_the_line() -> None:
    sided, unsided = (interval(np.array([4.0, 0.3]), np.zeros(2), sided=s) for s in (True, False))
    assert sided is not None and unsided is not None
    assert unsided.r95_m > unsided.distance_m + unsided.high_m
    assert unsided.r95_m > sided.r95_m


def test_the_interval_does_not_depend_on_the_frame_or_on_the_order() -> None:
    place = np.array([4.0, 0.2])
    cos, sin = math.cos(2.1), math.sin(2.1)
    turn = np.array([[cos, sin], [-sin, cos]])
    read = distances_to(place)
    usual = across_line(ANCHORS, read, SIGMAS, place, sided=True)
    moved = across_line(ANCHORS[::-1] @ turn + 500, read[::-1], SIGMAS, place @ turn + 500, sided=True)
    assert usual is not None and moved is not None
    assert (moved.low_m, moved.high_m, moved.distance_m) == pytest.approx(
        (usual.low_m, usual.high_m, usual.distance_m), abs=1e-6
    )


def test_a_third_mark_on_the_line_narrows_the_interval() -> None:
    place = np.array([4.0, 0.1])
    three = np.array([A, B, [4.0, 0.0]])
    read = np.hypot(*(place - three).T)
    two = across_line(ANCHORS, read[:2], SIGMAS, place, sided=True)
    more = across_line(three, read, np.full(3, 0.02), place, sided=True)
    assert two is not None
    assert more is None or more.high_m < two.high_m


@pytest.mark.parametrize(
    ("places", "off"),
    [
        ([], 0.0),
        ([(0, 0)], 0.0),
        ([(0, 0), (5, 5)], 0.0),
        ([(0, 0), (10, 0), (4, 0.6)], 0.6),
        ([(0, 0), (10, 0), (4, 0.6), (5, -0.9)], 0.9),
        ([(1, 1), (1, 1), (1, 1)], 0.0),
        ([(0, 0), (3, 4), (6, 8)], 0.0),
    ],
)
def test_how_far_reference_points_lie_off_one_line(places: list[tuple[float, float]], off: float) -> None:
    assert off_line_m(places) == pytest.approx(off, abs=1e-12)


def test_a_point_near_a_wall_is_answered_with_its_interval_and_the_mend() -> None:
    places = RECTANGLE | {"lid": (5.0, -0.1)}
    solution = solve(rectangle(places, tapes(places, "lid", "AB", side="out")))
    lid = solution.position("lid")
    assert lid.ellipse is None
    assert lid.r95_m is not None and 0.3 < lid.r95_m < 0.8
    (finding,) = [f for f in solution.findings if f.code == "near-line"]
    assert "between 0.00 m and" in finding.message
    assert finding.next_act.startswith("One tape from ")
    assert finding.next_act.split()[3] in ("C", "D")  # A and B lie on the line already

"""Many at once give what one at a time gives.

The single solutions (`locate_point`, `solve_together`) are one yardstick; scipy, closed forms and synthetic truth are
others that share no code with the batch.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares, minimize

from asbuilt.survey import batch
from asbuilt.survey.adjust import adjust
from asbuilt.survey.batch import ManyPlaces, Status, locate_many
from asbuilt.survey.batch_adjust import Wanted, _SideBySide, adjust_many
from asbuilt.survey.batch_networks import solve_many
from asbuilt.survey.equations import Equations
from asbuilt.survey.joint import solve_together
from asbuilt.survey.nearline import ONE_LINE_M, across_line, off_line_m
from asbuilt.survey.quality import radius_95
from asbuilt.survey.solve import answer
from asbuilt.survey.start import Candidate, circle_gap, locate_point
from tests.published.test_ghilani_14_1 import CASE as GHILANI
from tests.synthetic import make_property

Array = NDArray[np.float64]

KINDS = ("corners", "one wall", "near the wall line", "misread", "far")


@dataclass(frozen=True)
class Cards:
    """Points, one a row."""

    anchors: Array
    distances: Array
    sigmas: Array
    sides: NDArray[np.int_]
    truth: Array

    def located(self) -> ManyPlaces:
        """Locate them all at once."""
        return locate_many(self.anchors, self.distances, self.sigmas, self.sides)


def draw(count: int, seed: int, kinds: Sequence[str] = KINDS, *, noted: float = 0.5, wrong: float = 0.1) -> Cards:
    """Draw points of all kinds, two to four ties each in any of four columns, the house turned any way."""
    rng = np.random.default_rng(seed)
    a, d, s = np.full((count, 4, 2), np.nan), np.full((count, 4), np.nan), np.full((count, 4), np.nan)
    sides, truth = np.zeros((count, 3), dtype=int), np.empty((count, 2))
    for k in range(count):
        kind, ties = str(rng.choice(kinds)), int(rng.integers(2, 5))
        width, depth = rng.uniform(6, 18, 2)
        corners = np.array([[0, 0], [width, 0], [width, depth], [0, depth]]) + rng.normal(0, 0.01, (4, 2))
        if kind == "one wall":  # marks proud of the line by nothing, a little, or a foot
            corners[2:] = [width / 2, rng.choice([0, 0.005, 0.05, 0.3])], [1.6 * width, 0]
        at = {
            "near the wall line": np.array([rng.uniform(-3, width + 3), rng.normal(0, 0.5)]),
            "far": rng.uniform(60, 90) * np.array([np.cos(seed + k), np.sin(seed + k)]),
        }.get(kind, rng.uniform((-25, -25), (45, 45)))
        angle = rng.uniform(0, 2 * np.pi)
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        columns = np.sort(rng.permutation(4)[:ties])
        shift = rng.uniform(-20, 20, 2)
        a[k, columns], truth[k] = corners[rng.permutation(4)[:ties]] @ turn + shift, at @ turn + shift
        across = np.linalg.norm(a[k, columns] - truth[k], axis=1)
        s[k, columns] = np.hypot(0.015, 0.0005 * across)
        d[k, columns] = across + s[k, columns] * rng.normal(size=ties)
        if kind == "misread":
            d[k, columns[0]] += rng.choice([-1, 1]) * rng.uniform(0.3, 3)
        d[k, columns] = np.maximum(d[k, columns].round(3), 0.05)
        if rng.random() < noted:
            i, j = rng.permutation(columns)[:2]
            sides[k] = left_of(a[k, i], a[k, j], truth[k]) * (-1 if rng.random() < wrong else 1), i, j
    return Cards(a, d, s, sides, truth)


def left_of(start: Array, end: Array, place: Array) -> int:
    u, v = end - start, place - start
    return 1 if u[0] * v[1] - u[1] * v[0] > 0 else -1


# -- one point at a time


@dataclass(frozen=True)
class One:
    """What the single forms give for one point."""

    status: Status
    place: Candidate | None = None
    second: Candidate | None = None
    r95: float = np.nan
    against_side: bool = False


def settle(candidate: Candidate, a: Array, d: Array, s: Array) -> Candidate:
    """Bring a place that `locate_point` left on its way (after 40 steps along a flat valley) to rest, by scipy."""

    def parts(x: Array) -> tuple[Array, Array, Array]:
        delta = x - a
        ranges = np.hypot(*delta.T)
        return delta / ranges[:, None], (ranges - d) / s, ranges

    def slope(x: Array) -> Array:
        rays, misfit, _ = parts(x)
        return np.asarray((misfit / s) @ rays)

    def curve(x: Array) -> Array:
        rays, misfit, ranges = parts(x)
        outer = rays[:, :, None] * rays[:, None]
        bend = (misfit * s / ranges)[:, None, None] * (np.eye(2) - outer)
        return np.asarray(((outer + bend) / s[:, None, None] ** 2).sum(axis=0))

    x = candidate.place
    if np.linalg.eigvalsh(curve(x))[0] > 0 and np.abs(np.linalg.solve(curve(x), slope(x))).max() < 1e-9:
        return candidate
    rest = minimize(
        lambda x: float((parts(x)[1] ** 2).sum() / 2), x, jac=slope, hess=curve, method="trust-exact", tol=1e-9
    )
    rays, misfit, _ = parts(rest.x)
    normal = np.einsum("k,ki,kj->ij", 1 / s**2, rays, rays)
    return Candidate(rest.x, float((misfit**2).sum()), np.linalg.inv(normal + 1e-6 * np.eye(2)))


def one_by_one(a: Array, d: Array, s: Array, side: NDArray[np.int_]) -> One:
    """Locate one point with the single forms and the rules of the network."""
    present = ~np.isnan(a[:, 0])
    ends = a[side[1:]]
    a, d, s = a[present], d[present], s[present]
    if len(a) == 2 and circle_gap(a[0], d[0], a[1], d[1]) > 3.29 * np.hypot(*s):
        return One(Status.TAPES_DO_NOT_MEET)
    minima: list[Candidate] = []
    for found in sorted((settle(c, a, d, s) for c in locate_point(a, d, s)), key=lambda c: c.chi2):
        if all(np.hypot(*(found.place - m.place)) > 1e-3 for m in minima):
            minima.append(found)
    best = chosen = minima[0]
    told = all(m.chi2 - best.chi2 >= 9 for m in minima if np.hypot(*(m.place - best.place)) >= 0.15)
    status = Status.LOCATED if told else Status.OPEN_MIRROR
    against = False
    if side[0]:
        status = Status.LOCATED
        on_side = (m for m in minima if left_of(*ends, m.place) == side[0] and m.chi2 - best.chi2 < 25)
        chosen = next(on_side, best)
        u, v = ends[1] - ends[0], chosen.place - ends[0]
        against = left_of(*ends, chosen.place) != side[0] and 2 * abs(u[0] * v[1] - u[1] * v[0]) > 0.15 * np.hypot(*u)
    others = (m for m in minima if np.hypot(*(m.place - chosen.place)) > 1e-3 and m.chi2 - best.chi2 < 60)
    across = None
    if off_line_m(a) <= ONE_LINE_M:
        across = across_line(a, d, s, chosen.place, sided=bool(side[0]))
    r95 = float(radius_95(chosen.covariance)) if across is None else across.r95_m
    return One(status, chosen, next(others, None), r95, bool(against))


def off_from_single(cards: Cards, found: ManyPlaces, k: int, one: One) -> float:
    """Metres by which the two answers differ at most; all other differences fail."""
    assert found.against_side[k] == one.against_side
    if one.place is None:
        assert np.isnan(found.places[k]).all()
        return 0.0
    places = [found.places[k]]
    if one.second is None:
        assert np.isnan(found.second_chi2[k])
    else:
        places.append(found.second_places[k])
    assert np.isfinite(places).all()
    yardstick = [one.place, *([one.second] if one.second else [])]
    if one.status is Status.OPEN_MIRROR and np.hypot(*(places[0] - yardstick[0].place)) > 1e-3:
        yardstick = yardstick[::-1]  # mirrors of equal cost: which one is first is chance
        assert one.second is not None
        assert one.second.chi2 == pytest.approx(one.place.chi2, abs=1e-6)
    assert found.chi2[k] == pytest.approx(yardstick[0].chi2, rel=1e-7, abs=1e-8)
    assert np.allclose(found.covariance[k], yardstick[0].covariance, rtol=1e-4, atol=1e-9)  # on a wall line: 1/h^2
    if one.status is Status.LOCATED:
        assert found.r95_m[k] == pytest.approx(one.r95, rel=1e-5, abs=2e-6)
    return max(float(np.hypot(*(p - y.place))) for p, y in zip(places, yardstick, strict=True))


def test_two_thousand_points_of_all_kinds_come_out_as_one_by_one() -> None:
    cards = draw(2000, 1)
    found = cards.located()
    singles = [one_by_one(*row) for row in zip(cards.anchors, cards.distances, cards.sigmas, cards.sides, strict=True)]
    assert found.status.tolist() == [one.status for one in singles]
    assert max(off_from_single(cards, found, k, one) for k, one in enumerate(singles)) < 1e-6
    kinds = np.bincount(found.status, minlength=4)
    assert min(kinds[:3]) >= 10, kinds  # the draw has what it should: mirrors, tapes that do not meet
    assert found.near_line.sum() >= 50
    assert found.against_side.sum() >= 20
    assert np.isfinite(found.second_chi2[found.located]).sum() >= 200


def test_places_agree_with_scipy_and_covariances_with_the_inverse_normal_matrix() -> None:
    cards = draw(300, 2, ["corners", "far"], noted=1.0, wrong=0.0)
    found = cards.located()
    for k in np.flatnonzero(found.located & ~found.near_line):
        present = ~np.isnan(cards.anchors[k, :, 0])
        a, d, s = cards.anchors[k, present], cards.distances[k, present], cards.sigmas[k, present]
        fit = least_squares(
            lambda x, a=a, d=d, s=s: (np.hypot(*(x - a).T) - d) / s, found.places[k] + 0.05, "3-point", **TIGHT
        )
        assert np.hypot(*(fit.x - found.places[k])) < 1e-6
        assert found.chi2[k] == pytest.approx(2 * fit.cost, rel=1e-6, abs=1e-9)
        assert found.covariance[k] == pytest.approx(np.linalg.inv(fit.jac.T @ fit.jac), rel=1e-4, abs=1e-9)


TIGHT = {"method": "lm", "xtol": 1e-14, "ftol": 1e-14, "gtol": 1e-14}


def test_95_of_100_true_places_lie_within_r95() -> None:
    """Synthetic truth of 20,000 points; a share of 0.95 has a standard error of 0.0015."""
    cards = draw(20_000, 3, ["corners", "one wall", "far"], noted=1.0, wrong=0.0)
    found = cards.located()
    off = np.hypot(*(found.places - cards.truth).T)
    share = np.mean(off[found.located] <= found.r95_m[found.located])
    assert 0.945 <= share <= 0.965, share


def test_the_station_of_the_book_is_found_among_others() -> None:
    """Ghilani, Example 14.1, feet; the figures and their standing are in tests/published/ghilani_14_1.toml."""
    anchors = np.array([GHILANI["data"]["control"]] * 3)
    found = locate_many(anchors, [GHILANI["data"]["distances"]] * 3, np.ones((3, 3)))
    printed, ours = GHILANI["printed"], GHILANI["recomputed"]
    for place, covariance in zip(found.places, found.covariance, strict=True):
        assert place == pytest.approx(printed["U"], abs=printed["rounding"])
        assert place == pytest.approx(ours["U"], abs=ours["U_rounding"])
        assert covariance == pytest.approx(np.array(ours["Q"]), abs=1e-5)  # the ridge against singular cases


# -- single cases

CORNERS = [[0.0, 0.0], [10.0, 0.0]]


def two_ties(*distances: float, side: int = 0) -> ManyPlaces:
    return locate_many([CORNERS], [distances], [[0.015, 0.015]], [[side, 0, 1]])


def test_a_mirror_is_open_and_names_both_places_of_the_6_8_10_triangle() -> None:
    found = two_ties(6, 8)
    assert found.status[0] == Status.OPEN_MIRROR
    assert np.isnan(found.r95_m[0])
    assert sorted([found.places[0].tolist(), found.second_places[0].tolist()]) == [
        pytest.approx([3.6, -4.8], abs=1e-9),
        pytest.approx([3.6, 4.8], abs=1e-9),
    ]


@pytest.mark.parametrize(("side", "y"), [(1, 4.8), (-1, -4.8)])
def test_a_noted_side_settles_a_mirror(side: int, y: float) -> None:
    found = two_ties(6, 8, side=side)
    assert found.located.all()
    assert found.places[0] == pytest.approx([3.6, y], abs=1e-9)
    assert found.second_places[0] == pytest.approx([3.6, -y], abs=1e-9)
    assert found.r95_m[0] == pytest.approx(0.015 * 2.447747, rel=1e-5)  # tapes that cross at right angles: a circle


def test_a_third_tape_settles_a_mirror_and_outweighs_a_wrong_side() -> None:
    third = float(np.hypot(3.6, 8 - 4.8))
    anchors = [[*CORNERS, [0.0, 8.0]]] * 2
    found = locate_many(anchors, [[6, 8, third]] * 2, np.full((2, 3), 0.015), [[0, 0, 0], [-1, 0, 1]])
    assert found.located.all()
    assert found.places == pytest.approx(np.array([[3.6, 4.8]] * 2), abs=1e-6)
    assert found.against_side.tolist() == [False, True]


def test_the_other_minimum_is_given_up_to_a_chi_square_60_worse_whatever_the_fit() -> None:
    """A middle mark proud of the wall by 0 to 6 cm, and up to 60 cm misread there: the mirror fits ever worse."""
    proud, slip = (v.ravel() for v in np.meshgrid(np.linspace(0.0, 0.06, 13), np.linspace(-0.6, 0.6, 61)))
    anchors = np.zeros((len(proud), 3, 2))
    anchors[:, 1:, 0] = 5.0, 10.0
    anchors[:, 1, 1] = proud
    distances = np.linalg.norm(np.array([5.0, 5.0]) - anchors, axis=2) + slip[:, None] * [0, 1, 0]
    sigmas = np.full(distances.shape, 0.015)
    found = locate_many(anchors, distances, sigmas)
    for k, row in enumerate(zip(anchors, distances, sigmas, strict=True)):
        one = one_by_one(*row, np.zeros(3, dtype=int))
        cards = Cards(anchors, distances, sigmas, np.zeros((len(proud), 3), dtype=int), anchors[:, 0])
        assert off_from_single(cards, found, k, one) < 1e-6
    worse = found.second_chi2 - found.chi2
    assert np.isnan(worse).any()
    assert np.nanmax(worse) > 50
    assert (found.chi2[np.isfinite(worse)] > 40).any()


def test_three_marks_on_one_straight_wall_leave_the_mirror_open() -> None:
    anchors = [[[0.0, 0.0], [5.0, 0.0], [10.0, 0.0]]]
    distances = np.hypot(np.array([[4.0, -1.0, -6.0]]), 7.0)
    assert locate_many(anchors, distances, np.full((1, 3), 0.015)).status[0] == Status.OPEN_MIRROR


def test_tapes_that_miss_by_more_than_noise_do_not_meet() -> None:
    assert two_ties(4, 5.9).status[0] == Status.TAPES_DO_NOT_MEET
    assert two_ties(15, 4.9).status[0] == Status.TAPES_DO_NOT_MEET
    touching = two_ties(4, 5.99)  # a gap of 10 mm is noise
    assert touching.located.all()
    assert touching.near_line.all()
    assert touching.places[0] == pytest.approx([4.005, 0], abs=1e-6)


def test_fewer_than_two_corners_place_nothing() -> None:
    nothing = [np.nan, np.nan]
    anchors = [[nothing, nothing, nothing], [CORNERS[0], nothing, nothing], [CORNERS[1], nothing, CORNERS[1]]]
    found = locate_many(anchors, np.full((3, 3), 7.0), np.full((3, 3), 0.015))
    assert (found.status == Status.TOO_FEW_TIES).all()
    assert np.isnan(found.places).all()
    assert np.isnan(found.r95_m).all()


def test_a_tape_pulled_twice_from_one_corner_counts_as_two_readings() -> None:
    cards = draw(50, 4, ["corners"], noted=1.0, wrong=0.0)
    a, d, s = (np.concatenate((v, v[:, :1]), axis=1) for v in (cards.anchors, cards.distances, cards.sigmas))
    found = locate_many(a, d, s, cards.sides)
    for k in range(50):
        if not np.isnan(a[k, 0, 0]):
            one = one_by_one(a[k], d[k], s[k], cards.sides[k])
            assert one.status == found.status[k]
            if one.place is not None:
                assert np.hypot(*(one.place.place - found.places[k])) < 1e-6


def test_neither_chunks_nor_columns_nor_empty_columns_change_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    cards = draw(500, 5)
    whole = cards.located()
    monkeypatch.setattr(batch, "CHUNK_POINTS", 7)
    parts = cards.located()
    order = np.array([3, 1, 4, 0, 2])  # column 4 is a new one, empty
    anchors, distances, sigmas = (
        np.concatenate((v, np.full_like(v[:, :1], np.nan)), axis=1)[:, order]
        for v in (cards.anchors, cards.distances, cards.sigmas)
    )
    sides = cards.sides.copy()
    sides[:, 1:] = np.argsort(order)[sides[:, 1:]]
    moved = replace(cards, anchors=anchors, distances=distances, sigmas=sigmas, sides=sides).located()
    for other in (parts, moved):
        assert np.array_equal(other.status, whole.status)
        sure = whole.located
        assert other.places[sure] == pytest.approx(whole.places[sure], abs=1e-6)
        assert other.r95_m[sure] == pytest.approx(whole.r95_m[sure], rel=1e-5)


def test_no_points_are_no_trouble() -> None:
    assert locate_many(np.empty((0, 3, 2)), np.empty((0, 3)), np.empty((0, 3))).places.shape == (0, 2)


GOOD = {"anchors": [CORNERS], "distances": [[6.0, 8.0]], "sigmas": [[0.015, 0.015]], "sides": None}


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"distances": [[6.0]]}, "anchors (1, 2, 2), distances (1, 1) and sigmas (1, 2) do not match; accepted are"),
        ({"distances": [[6.0, np.nan]]}, "point 0, tie 1: distance nan m; accepted is a length above 0"),
        ({"distances": [[0.0, 8.0]]}, "point 0, tie 0: distance 0.0 m; accepted is a length above 0"),
        ({"sigmas": [[0.015, -1.0]]}, "point 0, tie 1: sigma -1.0 m; accepted is a length above 0"),
        ({"anchors": [[[0.0, np.nan], [10.0, 0.0]]]}, "point 0, tie 0: anchor [ 0. nan] m; accepted is two finite"),
        ({"anchors": [[[np.inf, 0.0], [10.0, 0.0]]]}, "point 0, tie 0: anchor [inf  0.] m; accepted is two finite"),
        ({"sides": [[2, 0, 1]]}, "sides (1, 3); accepted are (N, 3) of sign -1, 0 or 1 and two columns of anchors"),
        ({"sides": [[1, 0, 2]]}, "point 0: side of the line [0, 2]; accepted are two of its own ties"),
        (
            {"anchors": [[CORNERS[0]] * 2], "sides": [[1, 0, 1]]},
            "point 0: side of the line [0, 1]; both of its ends are one place",
        ),
        ({"sides": [[1, 1, 1]]}, "point 0: side of the line [1, 1]; accepted are two of its own ties"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(wrong: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=r".") as refused:
        locate_many(**(GOOD | wrong))  # type: ignore[arg-type]
    assert str(refused.value).startswith(message)


# -- networks


@pytest.mark.parametrize("points", [(3, 8), (5, 40)], ids=["small", "all sizes"])
def test_fifty_properties_come_out_as_one_by_one(points: tuple[int, int]) -> None:
    records = [make_property(np.random.default_rng([11, k]), points=points, chained=0.25).record for k in range(50)]
    unsettled = 0
    for got, one in zip(solve_many(records), map(solve_together, records), strict=True):
        assert got.findings == one.findings
        assert got.network.places.keys() == one.network.places.keys()
        assert {n: d.code for n, d in got.network.doubts.items()} == {n: d.code for n, d in one.network.doubts.items()}
        assert one.fit is not None
        assert one.datum is not None
        assert got.fit is not None
        single = one.fit
        if np.nanmax(np.abs(adjust(one.used, single.places, one.datum).places - single.places)) > 1e-7:
            # on the line of its corners a point is held by the bend of the circles alone: after its 80 steps the single
            # solution still moves; it has to stay where the batch came to rest, and to fit better there
            unsettled += 1
            assert got.fit.chi2 <= single.chi2
            single = adjust(one.used, got.fit.places, one.datum)
        assert np.array_equal(np.isnan(got.fit.places), np.isnan(single.places))
        assert np.nanmax(np.abs(got.fit.places - single.places)) < 1e-6
        assert np.abs(got.fit.covariance - single.covariance).max() <= 1e-6 * np.abs(single.covariance).max()
        assert got.fit.chi2 == pytest.approx(single.chi2, rel=1e-6, abs=1e-8)
        assert got.fit.sigma == pytest.approx(single.sigma)
        assert got.fit.unknowns == single.unknowns
    assert unsettled <= 2


def test_answers_in_words_are_the_same() -> None:
    records = [make_property(np.random.default_rng([12, k]), points=(5, 15)).record for k in range(10)]
    for got, record in zip(solve_many(records), records, strict=True):
        one, many = answer(solve_together(record)), answer(got)
        assert [f.code for f in many.findings] == [f.code for f in one.findings]
        assert [p.checked for p in many.points] == [p.checked for p in one.points]
        radii = [[p.r95_m or 0.0 for p in solution.points] for solution in (many, one)]
        assert radii[0] == pytest.approx(radii[1], rel=1e-4)


def test_a_stack_of_adjustments_is_each_adjustment_to_its_last_part() -> None:
    wanted = []
    for k in range(12):
        joint = solve_together(make_property(np.random.default_rng([13, k]), points=(3, 12), near_wall=0.0).record)
        assert joint.fit is not None
        assert joint.datum is not None
        shaken = joint.fit.places + np.random.default_rng(k).normal(0, 0.02, joint.fit.places.shape)
        wanted.append(Wanted(joint.used, shaken, joint.datum))
    for got, one in zip(adjust_many(wanted), wanted, strict=True):
        single = adjust(one.observations, one.places, one.datum)
        assert np.nanmax(np.abs(got.places - single.places)) < 1e-7
        for name in ("covariance", "jacobian", "residuals", "redundancy", "sigma"):
            ours, theirs = getattr(got, name), getattr(single, name)
            assert ours.shape == theirs.shape
            assert np.abs(ours - theirs).max() < 1e-5 * max(np.abs(theirs).max(), 1e-3), name
        assert got.degrees_of_freedom == single.degrees_of_freedom
    assert adjust_many([]) == []


def test_the_derivatives_without_zeros_are_the_jacobian() -> None:
    rng = np.random.default_rng(14)
    parts = []
    for k in range(4):
        record = make_property(np.random.default_rng([14, k]), points=(10, 20), offsets=0.4).record
        parts.append(Equations(solve_together(record).observations))
    side = _SideBySide(parts)
    places = rng.uniform(-20, 20, (side.nodes, 2))
    dense, start = np.zeros((side.rows, 2 * side.nodes)), 0
    for block, values in zip(side.blocks, side.derivatives(places), strict=True):
        np.add.at(dense, (block.rows[:, None], block.coordinates), values)
    expected, residuals = np.zeros_like(dense), np.empty(side.rows)
    rows = 0
    for part in parts:
        own, nodes = slice(rows, rows + part.rows), slice(start, start + part.nodes)
        at = side.order[own]
        expected[at, 2 * nodes.start : 2 * nodes.stop] = part.jacobian(places[nodes])
        residuals[at] = part.residuals(places[nodes])
        rows, start = own.stop, nodes.stop
    assert np.abs(dense - expected).max() < 1e-9
    assert side.residuals(places) == pytest.approx(residuals, abs=1e-9)


def test_a_property_without_two_joined_reference_points_stays_without_a_place() -> None:
    lonely = make_property(np.random.default_rng(15), points=(3, 5)).record
    lonely = replace(lonely, walls=(), ties=tuple(t for t in lonely.ties if t.to in set(lonely.point_names())))
    whole = make_property(np.random.default_rng(16), points=(3, 5)).record
    many = solve_many([lonely, whole])
    assert many[0].fit is None
    assert many[0].findings == solve_together(lonely).findings
    assert many[1].fit is not None


def test_azimuths_are_one_a_property_or_none() -> None:
    record = make_property(np.random.default_rng(17), points=(3, 5)).record
    with pytest.raises(ValueError, match="2 azimuths for 1 properties; accepted is one for each"):
        solve_many([record], [10.0, 20.0])
    assert solve_many([]) == []

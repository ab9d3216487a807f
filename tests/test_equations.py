"""The equations of one property: residuals by another reckoning, derivatives by finite differences."""

import math

import numpy as np
import pytest

from asbuilt.model.measurements import Offset
from asbuilt.survey.equations import Equations
from asbuilt.survey.observations import observe
from tests.survey_samples import L_HOUSE, metres, property_of, tapes, walls

PLACES = L_HOUSE | {"lid": (4.0, -7.0), "cleanout": (17.0, 3.0)}


def equations() -> Equations:
    record = property_of(
        "ABCDEF",
        walls(PLACES, "ABCDEFA"),
        [*tapes(PLACES, "lid", "ABF"), *tapes(PLACES, "cleanout", ["B", "lid"])],
        offsets=[
            Offset("A", "B", "lid", metres(4.0), metres(7.0), "right"),
            Offset("C", "B", "cleanout", metres(3.0), metres(3.0), "left"),
        ],
    )
    return Equations(observe(record))


def places() -> np.ndarray:
    return np.array(list(PLACES.values()))


def test_true_places_leave_no_residual_in_any_row() -> None:
    assert equations().residuals(places()) == pytest.approx(np.zeros(equations().rows), abs=1e-9)
    assert equations().rows == 6 + 5 + 6 + 2 * 2


@pytest.mark.parametrize("seed", range(5))
def test_the_jacobian_is_the_limit_of_differences_in_every_row(seed: int) -> None:
    system = equations()
    x = places() + np.random.default_rng(seed).normal(0, 1.0, (8, 2))
    numeric = np.empty((system.rows, 16))
    for column in range(16):
        step = np.zeros(16)
        step[column] = 1e-5
        step = step.reshape(8, 2)
        numeric[:, column] = (system.residuals(x + step) - system.residuals(x - step)) / 2e-5
    exact = system.jacobian(x)
    scale = np.abs(exact).max(axis=1)
    assert (scale > 0).all()
    assert np.abs(exact - numeric).max(axis=1) / scale == pytest.approx(np.zeros(system.rows), abs=1e-7)


def test_a_moved_point_shows_in_along_and_out_of_its_offset() -> None:
    system, moved = equations(), places()
    moved[6] += (0.10, -0.02)  # the lid lies right of A > B: 10 cm further along, 2 cm further out
    along, _, left, _ = (system.residuals(moved) * system.sigma)[-4:]
    assert along == pytest.approx(0.10)
    assert left == pytest.approx(-0.02)


def test_a_turn_is_the_bend_of_the_walk_and_never_more_than_half_a_circle() -> None:
    system, bent = equations(), places()
    bent[2] += (-0.06, 0.0)  # C moved: the wall B > C leans to the left by 0.06 / 6
    turns = (system.residuals(bent) * system.sigma)[11:17]
    assert turns[0] == pytest.approx(math.atan2(0.06, 6.0))
    spun = np.array([[-1.0, 0], [0, -1]])
    assert (system.residuals(bent @ spun) * system.sigma)[11:17] == pytest.approx(turns)


def test_all_equations_hold_in_any_plane_frame() -> None:
    system, x = equations(), places() + np.random.default_rng(1).normal(0, 0.1, (8, 2))
    cos, sin = math.cos(2.5), math.sin(2.5)
    turned = x @ np.array([[cos, sin], [-sin, cos]]) + (300.0, -40.0)
    assert system.residuals(turned) == pytest.approx(system.residuals(x), abs=1e-8)


def test_a_point_upon_its_reference_point_gives_finite_rows() -> None:
    system, x = equations(), places()
    x[6] = x[0]
    assert np.isfinite(system.residuals(x)).all()
    assert np.isfinite(system.jacobian(x)).all()

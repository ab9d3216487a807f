"""The 95 % radius of an unequal ellipse: Harter's table, the integral, chance, and an approximation."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from asbuilt.survey.quality import radius_95

CASE = tomllib.loads(Path(__file__).with_name("harter_1960.toml").read_text(encoding="utf-8"))


def probability_within(radius: float, a: float, b: float) -> float:
    """Polar integral of the bivariate normal over a circle, by adaptive quadrature."""

    def density(t: float) -> float:
        g = (math.cos(t) / a) ** 2 + (math.sin(t) / b) ** 2
        return -math.expm1(-(radius**2) * g / 2) / g

    return 2 / (math.pi * a * b) * quad(density, 0, math.pi / 2, epsabs=1e-13, epsrel=1e-12, limit=500)[0]


@pytest.mark.parametrize(("c", "factor"), list(zip(CASE["ratio_c"], CASE["factor"], strict=True)))
def test_the_radius_agrees_with_the_table(c: float, factor: float) -> None:
    assert radius_95(np.diag([1.0, c**2])) == pytest.approx(factor, abs=CASE["rounding"])


def test_the_radius_holds_95_percent_by_an_independent_integral_whatever_way_the_ellipse_lies() -> None:
    rng = np.random.default_rng(1)
    for c in (0.02, 0.07, 0.25, 0.45, 0.63, 0.85, 0.99):
        a, turn = 10 ** rng.uniform(-3, 1), rng.uniform(0, math.pi)
        axes = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        radius = float(radius_95(axes.T @ np.diag([a**2, (c * a) ** 2]) @ axes))
        assert probability_within(radius, a, c * a) == pytest.approx(0.95, abs=1e-7)


def test_the_radius_holds_95_percent_of_random_errors() -> None:
    rng, count = np.random.default_rng(2), 400_000
    covariance = np.array([[3.0, 1.2], [1.2, 0.8]]) * 1e-4
    draws = rng.multivariate_normal(np.zeros(2), covariance, count)
    share = np.mean(np.hypot(*draws.T) <= radius_95(covariance))
    assert abs(share - 0.95) < 4 * math.sqrt(0.95 * 0.05 / count)


def test_many_radii_at_once_are_the_same_as_one_by_one() -> None:
    rng = np.random.default_rng(3)
    roots = rng.normal(size=(4, 3, 2, 2))
    many = roots @ np.swapaxes(roots, -1, -2)
    radii = radius_95(many)
    assert radii.shape == (4, 3)
    assert [radius_95(c) for c in many.reshape(-1, 2, 2)] == pytest.approx(radii.ravel(), rel=1e-12)


def test_the_agencies_approximation_lies_within_its_known_error() -> None:
    case = CASE["leenhouts"]
    c = np.linspace(0, 1, 401)
    exact = radius_95(np.stack([np.diag([1.0, v**2]) for v in c]))
    error = np.polynomial.polynomial.polyval(c, case["coefficients"]) / exact - 1
    assert error.min() == pytest.approx(case["lowest_error"], abs=1e-5)
    assert error.max() == pytest.approx(case["highest_error"], abs=1e-5)

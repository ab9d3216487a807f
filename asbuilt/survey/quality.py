"""How well a place is known: 95 % radius, error ellipse, and the limits of the tests.

Covariances are in square metres over (east, north) or any other plane axes; arrays of them have shape (..., 2, 2).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

W_LIMIT = 3.290526731491926
"""Two-sided 0.1 % limit of a standardised residual (Baarda 1968)."""

DELTA_0 = 4.132147965064808
"""Shift of a standardised residual that the 0.1 % test notices with 80 % power (Baarda 1968)."""

K95_CIRCLE = math.sqrt(-2.0 * math.log(0.05))
"""95 % radius of a circular normal error in standard deviations: 2.447747."""

_NODES = 64  # midpoints of the periodic integral: 1e-12 for axis ratios above 0.05
_TABLE = 1024  # steps of the table over the axis ratio: linear interpolation is good to 4e-7


@dataclass(frozen=True, slots=True)
class Ellipse:
    """A 95 % error ellipse."""

    major_m: float  #: semi-axis, metres
    minor_m: float  #: semi-axis, metres
    azimuth_deg: float  #: of the major axis, 0 to 180, clockwise from the second axis (north)


def _containment(k: Array, ratio: Array) -> tuple[Array, Array]:
    """Probability within radius `k` of a unit-major normal with axis `ratio`, and its derivative by `k`.

    P(k) = 1 - (2/pi) * integral over s in 0..pi/2 of exp(-k^2 / (2 (cos^2 s + ratio^2 sin^2 s))), the polar
    integral of the bivariate normal after tan t = ratio tan s; the midpoint rule converges geometrically.
    """
    s = (np.arange(_NODES) + 0.5) * (math.pi / 2 / _NODES)
    width = np.cos(s) ** 2 + np.multiply.outer(ratio**2, np.sin(s) ** 2)
    tail = np.exp(-(k[..., None] ** 2) / (2 * width))
    return 1 - tail.mean(axis=-1), (tail * k[..., None] / width).mean(axis=-1)


def radius_factor(ratio: ArrayLike) -> Array:
    """95 % radius in units of the major semi-axis of one standard deviation, exact.

    Parameters
    ----------
    ratio
        Minor over major axis, 0 to 1, any shape.

    Notes
    -----
    Newton's method on the exact probability (Hoyt distribution; Hoover 1984, NOAA TR NOS 107 C&GS 3, is the
    standard account). 1.959964 for a line, 2.447747 for a circle.
    """
    c = np.asarray(ratio, dtype=float)
    k = 1.96 + 0.49 * c**3
    for _ in range(5):
        probability, density = _containment(k, c)
        k = k - (probability - 0.95) / density
    return k


@lru_cache(maxsize=1)
def _factor_table() -> Array:
    return radius_factor(np.linspace(0.0, 1.0, _TABLE + 1))


def axes(covariance: ArrayLike) -> tuple[Array, Array, Array]:
    """One-standard-deviation semi-axes (major, minor), metres, and azimuth of the major axis, radians."""
    c = np.asarray(covariance, dtype=float)
    sxx, syy, sxy = c[..., 0, 0], c[..., 1, 1], c[..., 0, 1]
    mean, half = (sxx + syy) / 2, np.hypot((sxx - syy) / 2, sxy)
    azimuth = 0.5 * np.arctan2(2 * sxy, syy - sxx)
    return np.sqrt(np.maximum(mean + half, 0)), np.sqrt(np.maximum(mean - half, 0)), azimuth


def radius_95(covariance: ArrayLike) -> Array:
    """Radius that holds 95 %, metres: exact for an unequal ellipse.

    Parameters
    ----------
    covariance
        Shape (..., 2, 2), square metres.
    """
    major, minor, _ = axes(covariance)
    ratio = np.divide(minor, major, out=np.ones_like(major), where=major > 0)
    table = _factor_table()
    place = ratio * _TABLE
    step = np.minimum(place.astype(int), _TABLE - 1)
    low = table[step]
    return np.asarray(major * (low + (place - step) * (table[step + 1] - low)))


def ellipse_95(covariance: ArrayLike) -> Ellipse:
    """95 % error ellipse of one place; `covariance` has shape (2, 2), square metres."""
    major, minor, azimuth = axes(covariance)
    degrees = math.degrees(float(azimuth)) % 180.0
    return Ellipse(K95_CIRCLE * float(major), K95_CIRCLE * float(minor), degrees)


def chi2_tail(x: float, dof: int) -> float:
    """Probability that chi-square with `dof` degrees of freedom exceeds `x`.

    The finite sums for whole degrees of freedom (Abramowitz & Stegun 1964, 26.4.4 and 26.4.5), term by term in
    logarithms so that hundreds of degrees of freedom do not underflow.
    """
    if x <= 0:
        return 1.0
    half, odd = x / 2, dof % 2
    powers = [j + 0.5 * odd for j in range(dof // 2)]
    terms = (math.exp(p * math.log(half) - half - math.lgamma(p + 1)) for p in powers)
    return math.fsum(terms) + (math.erfc(math.sqrt(half)) if odd else 0.0)


def chi2_quantile(probability: float, dof: int) -> float:
    """Value that chi-square with `dof` degrees of freedom stays under with the given probability."""
    low, high = 0.0, dof + 10.0 * math.sqrt(2.0 * dof) + 50.0
    for _ in range(80):
        middle = (low + high) / 2
        if 1 - chi2_tail(middle, dof) < probability:
            low = middle
        else:
            high = middle
    return (low + high) / 2

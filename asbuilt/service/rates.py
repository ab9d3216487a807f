"""How fast a layer rises: a straight line through noisy depths, a normal prior on its slope, all in closed form.

The depth of a layer is `h0 + r x` for x years of one resident. Right after a full pump-out `h0` is 0; after a partial
one it is not known (a flat prior). With a normal prior on r and readings of known standard deviation the posterior is
normal, and the x at which a bound is reached with a given probability solves a quadratic.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from asbuilt.rules.profile import Prior

Normal = tuple[float, float]
"""Mean and variance."""


@dataclass(frozen=True, slots=True)
class Line:
    """The posterior of start and slope of one layer; metres and metres a resident-year."""

    start_m: float
    start_var: float
    rate_m: float
    rate_var: float
    covariance: float
    measured_share: float  #: share of the information on the rate that comes from readings, 0 to 1

    def reached(self, bound_m: float, probability: float) -> float | None:
        """Resident-years after which the layer has reached a bound with a probability; None = never.

        Solves `(h(x) - bound) / sd(x) = z` for the mean h(x) = start + rate x and its variance
        `sd(x)^2 = start_var + 2 covariance x + rate_var x^2`.
        """
        z = NormalDist().inv_cdf(probability)
        gap = self.start_m - bound_m
        if gap >= z * math.sqrt(self.start_var):
            return 0.0
        if z == 0:
            return -gap / self.rate_m if self.rate_m > 0 else None
        a = self.rate_m**2 - z * z * self.rate_var
        b = 2 * (self.rate_m * gap - z * z * self.covariance)
        c = gap * gap - z * z * self.start_var
        good = [x for x in _roots(a, b, c) if x > 0 and (gap + self.rate_m * x) * z >= -1e-12]
        return min(good, default=None)


def fit(
    points: Sequence[tuple[float, float]],
    reading_var: float,
    prior: Normal | None,
    before: Normal | None,
    *,
    from_zero: bool,
) -> Line | None:
    """Put a line through depths.

    Parameters
    ----------
    points
        Resident-years since the start, and the depth, metres.
    reading_var
        Variance of one reading, square metres.
    prior
        What is known of the rate before anything is measured; None = nothing.
    before
        What earlier readings of the same tank have added to it; None = there are none.
    from_zero
        Whether the layer was nothing at the start; else its start is unknown.

    Returns
    -------
    Line or None
        None where readings and prior do not tell a rate.
    """
    known = before or prior
    weight, pull = (0.0, 0.0) if known is None else (1 / known[1], known[0] / known[1])
    a11 = weight + sum(x * x for x, _ in points) / reading_var
    b1 = pull + sum(x * y for x, y in points) / reading_var
    if from_zero:
        if a11 <= 0:
            return None
        return Line(0.0, 0.0, b1 / a11, 1 / a11, 0.0, _share(1 / a11, prior))
    a00 = len(points) / reading_var
    a01 = sum(x for x, _ in points) / reading_var
    b0 = sum(y for _, y in points) / reading_var
    determinant = a00 * a11 - a01 * a01
    if determinant <= 1e-9 * a00 * a11 or a00 == 0:
        return None
    return Line(
        (a11 * b0 - a01 * b1) / determinant,
        a11 / determinant,
        (a00 * b1 - a01 * b0) / determinant,
        a00 / determinant,
        -a01 / determinant,
        _share(a00 / determinant, prior),
    )


def together(*priors: Prior | None) -> Normal | None:
    """Add independent rates; None where one of them is not known."""
    if any(prior is None for prior in priors):
        return None
    known = [prior for prior in priors if prior is not None]
    return sum(prior.mean for prior in known), sum(prior.sd**2 for prior in known)


def _share(rate_var: float, prior: Normal | None) -> float:
    return 1.0 if prior is None else max(0.0, 1 - rate_var / prior[1])


def _roots(a: float, b: float, c: float) -> list[float]:
    if abs(a) < 1e-15:
        return [-c / b] if abs(b) > 1e-15 else []
    under = b * b - 4 * a * c
    if under < 0:
        return []
    root = math.sqrt(under)
    return [(-b - root) / (2 * a), (-b + root) / (2 * a)]

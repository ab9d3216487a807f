"""Near a line of reference points the across-line place is not normal: its square is. The interval that follows."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

ONE_LINE_M = 0.6
"""Reference points that lie within this of one line are on one line (simulation: our own figure)."""

_NORMAL_95 = 1.959963984540054
_NORMAL_SQUARES = 3.0  # h^2 clear of zero by three standard deviations: the ellipse holds


@dataclass(frozen=True, slots=True)
class Across:
    """How far from a line of reference points a point lies, as an interval."""

    distance_m: float  #: best estimate of the distance from the line
    low_m: float  #: 95 % interval of it
    high_m: float
    along_sigma_m: float
    sided: bool  #: whether the side of the line is known

    @property
    def r95_m(self) -> float:
        """Radius about the estimate that holds at least 95 %, metres."""
        worst = max(self.distance_m - self.low_m, self.high_m - self.distance_m)
        if not self.sided:
            worst = self.distance_m + self.high_m
        return float(np.hypot(worst, _NORMAL_95 * self.along_sigma_m))


def off_line_m(places: ArrayLike) -> float:
    """Largest distance of any place from the line through the two that lie farthest apart, metres."""
    p = np.asarray(places, dtype=float).reshape(-1, 2)
    if len(p) < 3:
        return 0.0
    apart = np.linalg.norm(p[:, None] - p, axis=2)
    i, j = np.unravel_index(int(apart.argmax()), apart.shape)
    if apart[i, j] == 0:
        return 0.0
    u = (p[j] - p[i]) / apart[i, j]
    delta = p - p[i]
    return float(np.abs(delta[:, 0] * u[1] - delta[:, 1] * u[0]).max())


def across_line(anchors: Array, distances: Array, sigmas: Array, place: Array, *, sided: bool) -> Across | None:
    """Give the interval across the line of a point's reference points, where the ellipse would mislead.

    Parameters
    ----------
    anchors, distances, sigmas
        Reference points on one line, (n, 2), horizontal tapes and standard deviations, (n,), metres, n >= 2.
    place
        Where the solution has the point, (2,).

    Returns
    -------
    None where the point is clear enough of the line for its ellipse.

    Notes
    -----
    d_i^2 = s_i^2 - 2 s_i x + (x^2 + h^2) is linear in x and q = x^2 + h^2, so h^2 = q - x^2 stays nearly normal
    where h does not (our own; checked by simulation).
    """
    center = anchors.mean(axis=0)
    _, _, axes = np.linalg.svd(anchors - center)
    s, u = (anchors - center) @ axes[0], axes[0]
    design = np.column_stack((-2 * s, np.ones(len(s)))) / (2 * distances * sigmas)[:, None]
    covariance = np.linalg.pinv(design.T @ design)
    x, q = covariance @ design.T @ ((distances**2 - s**2) / (2 * distances * sigmas))
    h2, slope = q - x**2, np.array([-2 * x, 1.0])
    spread = float(np.sqrt(slope @ covariance @ slope))
    if h2 >= _NORMAL_SQUARES * spread:
        return None
    low, high = (float(np.sqrt(max(0.0, h2 + z * spread))) for z in (-_NORMAL_95, _NORMAL_95))
    delta = place - center
    distance = abs(float(delta[0] * u[1] - delta[1] * u[0]))
    return Across(distance, low, max(high, distance), float(np.sqrt(covariance[0, 0])), sided)

"""Where to begin: circle intersections, and every place that a point's own tapes allow."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SAME_PLACE_M = 1e-3
"""Minima closer than this are one."""

_STEPS = 40
_PLAIN_STEPS = 6
_SETTLED_M = 1e-6


@dataclass(frozen=True, slots=True)
class Candidate:
    """One local minimum of a point's own tapes."""

    place: Array  #: (2,) metres
    chi2: float  #: sum of squared residuals over their standard deviations
    covariance: Array  #: (2, 2) square metres, reference points taken as error-free; may be huge on a wall line


def circle_gap(center_a: ArrayLike, radius_a: float, center_b: ArrayLike, radius_b: float) -> float:
    """Metres by which two circles fail to meet; 0 where they meet."""
    apart = float(np.linalg.norm(np.asarray(center_b, dtype=float) - np.asarray(center_a, dtype=float)))
    return max(0.0, apart - radius_a - radius_b, abs(radius_a - radius_b) - apart)


def _nearest_meeting(center_a: ArrayLike, radius_a: float, center_b: ArrayLike, radius_b: float) -> Array:
    """Left and right meeting of two circles, (2, 2); where they miss, the place between them twice."""
    a, b = np.asarray(center_a, dtype=float), np.asarray(center_b, dtype=float)
    length = float(np.linalg.norm(b - a))
    if length == 0:
        return np.asarray(a + np.array([[0.0, radius_a], [0.0, -radius_a]]))
    u = (b - a) / length
    left = np.array([-u[1], u[0]])
    along = (radius_a**2 - radius_b**2 + length**2) / (2 * length)
    h2 = radius_a**2 - along**2
    if h2 < 0:  # they miss: halfway between the two rims on the line of centres
        along = _between_rims(length, radius_a, radius_b)
        h2 = 0.0
    across = np.sqrt(h2) * left
    return np.array([a + along * u + across, a + along * u - across])


def _between_rims(length: float, radius_a: float, radius_b: float) -> float:
    """Distance from the first centre, along the line of centres, of the place between two rims that miss."""
    if length > radius_a + radius_b:
        return (radius_a + length - radius_b) / 2
    if radius_a > radius_b:  # b's circle lies inside a's
        return (radius_a + length + radius_b) / 2
    return -(radius_a + radius_b - length) / 2


def pair_starts(anchors: Array, distances: Array) -> Array:
    """Every meeting of every two circles, (k, 2); circles that miss give the place between them."""
    count = len(anchors)
    pairs = [(i, j) for i in range(count) for j in range(i + 1, count)]
    meetings = [_nearest_meeting(anchors[i], distances[i], anchors[j], distances[j]) for i, j in pairs]
    return np.concatenate(meetings) if meetings else np.empty((0, 2))


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of a place besides its tapes: an offset, or a wall's direction."""

    place: Array  #: (2,) metres
    information: Array  #: (2, 2), inverse covariance; may be of rank one


def _normals(
    places: Array, anchors: Array, distances: Array, weights: Array, priors: Sequence[Prior]
) -> tuple[Array, Array, Array]:
    """Cost (k,), gradient (k, 2) and normal matrix (k, 2, 2) at each place."""
    delta = places[:, None, :] - anchors
    ranges = np.maximum(np.linalg.norm(delta, axis=2), 1e-9)
    rays = delta / ranges[..., None]
    misfit = ranges - distances
    cost = (weights * misfit**2).sum(axis=1)
    gradient = np.einsum("kn,kni->ki", weights * misfit, rays)
    normal = np.einsum("n,kni,knj->kij", weights, rays, rays)
    for prior in priors:
        away = places - prior.place
        pull = away @ prior.information
        cost = cost + (pull * away).sum(axis=1)
        gradient = gradient + pull
        normal = normal + prior.information
    return cost, gradient, normal


def _bend(places: Array, anchors: Array, distances: Array, weights: Array) -> Array:
    """Give what the bend of the circles adds to the normal matrix, (k, 2, 2): the rest of the second derivatives."""
    delta = places[:, None, :] - anchors
    ranges = np.maximum(np.linalg.norm(delta, axis=2), 1e-9)
    across = np.stack((-delta[..., 1], delta[..., 0]), axis=-1) / ranges[..., None]
    return np.asarray(np.einsum("kn,kni,knj->kij", weights * (ranges - distances) / ranges, across, across))


def descend(
    places: Array, anchors: Array, distances: Array, sigmas: Array, priors: Sequence[Prior] = ()
) -> tuple[Array, Array, Array]:
    """Step-controlled Gauss-Newton from each start to its local minimum.

    Parameters
    ----------
    places
        Starts, (k, 2), metres.
    anchors, distances, sigmas
        Reference points (n, 2), taped horizontal distances (n,) and standard deviations (n,), metres.
    priors
        Other knowledge of the place.

    Returns
    -------
    Places (k, 2), costs (k,) and normal matrices (k, 2, 2).

    Notes
    -----
    Levenberg-Marquardt damping, all starts at once (Marquardt 1963, J. SIAM 11(2):431-441); what has not settled after
    six steps goes on with exact second derivatives.
    """
    weights = 1 / sigmas**2
    scale = weights.sum() + sum(float(np.trace(prior.information)) for prior in priors)
    x = places.copy()
    damping = np.full(len(x), 1e-6)
    cost, gradient, normal = _normals(x, anchors, distances, weights, priors)
    for number in range(_STEPS):
        slope = normal
        if number >= _PLAIN_STEPS:  # near a wall line plain Gauss-Newton creeps: use the exact second derivatives
            exact = normal + _bend(x, anchors, distances, weights)
            bowl = (np.linalg.det(exact) > 0) & (np.trace(exact, axis1=1, axis2=2) > 0)
            slope = np.where(bowl[:, None, None], exact, normal)
        damped = slope + (damping * scale)[:, None, None] * np.eye(2)
        step = -np.linalg.solve(damped, gradient[..., None])[..., 0]
        tried = _normals(x + step, anchors, distances, weights, priors)
        better = tried[0] <= cost
        x[better] += step[better]
        cost, gradient, normal = (
            np.where(better.reshape(-1, *[1] * (new.ndim - 1)), new, old)
            for new, old in zip(tried, (cost, gradient, normal), strict=True)
        )
        damping = np.where(better, np.maximum(damping / 10, 1e-12), np.clip(damping * 10, 1e-3, 1e6))
        if (np.abs(step).max(axis=1) < _SETTLED_M).all():
            break
    return x, cost, normal


def locate_point(
    anchors: ArrayLike, distances: ArrayLike, sigmas: ArrayLike, priors: Sequence[Prior] = ()
) -> list[Candidate]:
    """Find every place that a point's tapes to fixed reference points allow.

    Parameters
    ----------
    anchors
        Reference points, (n, 2), metres, any plane frame.
    distances, sigmas
        Horizontal taped distances and their standard deviations, (n,), metres.
    priors
        Other knowledge of the place; each is a start of its own.

    Returns
    -------
    The distinct local minima of the weighted range cost, cheapest first; empty where nothing tells.

    Notes
    -----
    Ranges, not squared ranges: only the former is the maximum-likelihood answer (Beck, Stoica & Li 2008, IEEE
    Trans. Signal Process. 56(5):1770-1778). Starts are all pairwise circle intersections.
    """
    a, d, s = (np.asarray(v, dtype=float) for v in (anchors, distances, sigmas))
    a = a.reshape(-1, 2)
    starts = np.concatenate([pair_starts(a, d), *(prior.place[None, :] for prior in priors)])
    if not len(starts):
        return []
    places, costs, normals = descend(starts, a, d, s, priors)
    found: list[Candidate] = []
    for index in np.argsort(costs, kind="stable"):
        if all(np.linalg.norm(places[index] - other.place) > SAME_PLACE_M for other in found):
            ridge = normals[index] + np.eye(2) * 1e-6  # a place on the wall line has a singular normal matrix
            found.append(Candidate(places[index], float(costs[index]), np.linalg.inv(ridge)))
    return found

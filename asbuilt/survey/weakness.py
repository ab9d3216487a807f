"""What is weak about a place: flat crossings, nearness to the line of its reference points, tapes that miss."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from asbuilt.survey.adjust import Adjustment
from asbuilt.survey.nearline import ONE_LINE_M, Across, across_line, off_line_m
from asbuilt.survey.network import MEET_LIMIT
from asbuilt.survey.observations import Distance, Observations
from asbuilt.survey.quality import radius_95
from asbuilt.survey.start import circle_gap

Array = NDArray[np.float64]

FAR_OUT = 2.0
"""A point this many times as far out as its reference points are apart is extrapolated (our own)."""

WEAK_CROSSING_DEG = 30.0
"""Tapes that cross more flatly than this (or than its supplement) place a point weakly (common practice)."""


@dataclass(frozen=True, slots=True)
class Weakness:
    """What is weak about one located point; all empty where nothing is."""

    across: Across | None  #: interval from the line of its reference points, where it lies too near that line
    crossing_deg: float | None  #: sharpest crossing of any two tapes, where it is flat
    r95_m: float  #: 95 % radius of the ellipse, metres
    reach: float  #: distance from its reference points over how far those lie apart
    gaps: tuple[tuple[int, int, float], ...]  #: two nodes whose tapes do not meet, and the gap, metres


def weak_place(
    node: int,
    tapes: Sequence[Distance],
    pulled: Sequence[Distance],
    observations: Observations,
    fit: Adjustment,
    *,
    sided: bool,
) -> Weakness:
    """Judge one point.

    Parameters
    ----------
    tapes
        The taped distances that its place is reckoned from.
    pulled
        Those and what was left out of the reckoning: tapes that do not meet are said of all.
    sided
        Whether the measurer noted its side.
    """
    radius = float(radius_95(fit.block(node)))
    gaps = tuple(_gaps(fit, node, pulled))
    if any(node == offset.p for offset in observations.offsets):
        return Weakness(None, None, radius, 0.0, gaps)
    across = _across(node, tapes, fit, sided=sided)
    crossing = _best_crossing_deg(fit.places, node, [tape.far(node) for tape in tapes])
    flat = crossing is not None and crossing < WEAK_CROSSING_DEG
    reach = _reach(fit.places, node, [tape.far(node) for tape in tapes])
    return Weakness(across, crossing if flat else None, radius, reach, gaps)


def _across(node: int, tapes: Sequence[Distance], fit: Adjustment, *, sided: bool) -> Across | None:
    """Give the interval from the line of the point's reference points; None clear of it, or off one line."""
    anchors = np.array([fit.places[tape.far(node)] for tape in tapes]).reshape(-1, 2)
    if len({tape.far(node) for tape in tapes}) < 2 or off_line_m(anchors) > ONE_LINE_M:
        return None
    rays = (anchors - fit.places[node]) / np.linalg.norm(anchors - fit.places[node], axis=1)[:, None]
    # each tape carries the uncertainty of its other end along its ray
    spread = [ray @ fit.block(tape.far(node)) @ ray for ray, tape in zip(rays, tapes, strict=True)]
    sigmas = np.sqrt(np.array([tape.sigma_m**2 for tape in tapes]) + spread)
    metres = np.array([tape.metres for tape in tapes])
    return across_line(anchors, metres, sigmas, fit.places[node], sided=sided)


def _reach(places: Array, node: int, anchors: list[int]) -> float:
    """How far out a node lies, in spans of what it was taped from."""
    if len(set(anchors)) < 2:
        return 0.0
    ends = places[anchors]
    span = float(np.linalg.norm(ends[:, None] - ends, axis=2).max())
    return float(np.linalg.norm(places[node] - ends.mean(axis=0))) / max(span, 1e-9)


def _best_crossing_deg(places: Array, node: int, anchors: list[int]) -> float | None:
    """Sharpest crossing of any two of a node's tapes, 0 to 90 degrees; None with fewer than two."""
    if len(set(anchors)) < 2:
        return None
    rays = places[anchors] - places[node]
    rays = rays / np.linalg.norm(rays, axis=1)[:, None]
    sines = np.abs(rays[:, None, 0] * rays[:, 1] - rays[:, None, 1] * rays[:, 0])
    return float(np.degrees(np.arcsin(min(1.0, sines.max()))))


def _gaps(fit: Adjustment, node: int, tapes: Sequence[Distance]) -> list[tuple[int, int, float]]:
    """Gaps beyond noise between every two of a node's tapes, with their other ends."""
    found = []
    for a, b in combinations(tapes, 2):
        i, j = a.far(node), b.far(node)
        if i == j:
            continue
        gap = circle_gap(fit.places[i], a.metres, fit.places[j], b.metres)
        line = fit.places[j] - fit.places[i]
        u = line / np.hypot(*line)
        between = u @ (fit.block(i) + fit.block(j) - fit.block(i, j) - fit.block(j, i)) @ u
        if gap > MEET_LIMIT * float(np.sqrt(a.sigma_m**2 + b.sigma_m**2 + max(between, 0.0))):
            found.append((i, j, gap))
    return found

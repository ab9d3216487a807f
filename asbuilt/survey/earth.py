"""Local plane <-> latitude and longitude: a rigid placing that never alters the relative shape.

Plane places are metres (east, north) or any other right-handed plane axes; coordinates are WGS 84 degrees, longitude
first. Two accuracies are kept apart: relative to the house, and on the earth.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import Geod

from asbuilt.errors import PlaceError
from asbuilt.findings import Finding, Severity
from asbuilt.survey.azimuth import WallAzimuth
from asbuilt.survey.coordinates import KnownPlace
from asbuilt.survey.fixes import AZIMUTH, FixFit, Placing, Rest, are_apart, judge_fixes
from asbuilt.survey.quality import radius_95
from asbuilt.survey.solution import Solution

Array = NDArray[np.float64]

RADIUS_68_SIGMAS = 1.5096
"""Radius that holds 68 % of a circular normal error, in standard deviations of one axis: sqrt(-2 ln 0.32)."""

_GEOD = Geod(ellps="WGS84")


@dataclass(frozen=True, slots=True)
class LocalFrame:
    """The azimuthal equidistant plane round one place: scale 1, true ground distance from it."""

    longitude: float
    latitude: float

    def to_earth(self, east_m: ArrayLike, north_m: ArrayLike) -> tuple[Array, Array]:
        """Give longitude and latitude, degrees, of plane places, metres."""
        east, north = np.broadcast_arrays(np.asarray(east_m, float), np.asarray(north_m, float))
        longitude, latitude, _ = _GEOD.fwd(
            np.full(east.shape, self.longitude),
            np.full(east.shape, self.latitude),
            np.degrees(np.arctan2(east, north)),
            np.hypot(east, north),
        )
        return np.asarray(longitude), np.asarray(latitude)

    def to_plane(self, longitude: ArrayLike, latitude: ArrayLike) -> tuple[Array, Array]:
        """Give plane places, metres (east, north), of longitudes and latitudes, degrees."""
        lon, lat = np.broadcast_arrays(np.asarray(longitude, float), np.asarray(latitude, float))
        azimuth, _, metres = _GEOD.inv(np.full(lon.shape, self.longitude), np.full(lon.shape, self.latitude), lon, lat)
        radians = np.radians(azimuth)
        return np.asarray(metres * np.sin(radians)), np.asarray(metres * np.cos(radians))


@dataclass(frozen=True, slots=True)
class Rigid:
    """A rotation and a shift that lay one set of places on another."""

    rotation_rad: float  #: anticlockwise
    shift: Array  #: (2,), metres
    residuals: Array  #: (n, 2), laid - target, metres
    free_scale: float  #: the scale that the fit would have liked; 3.28 or 0.305 = feet taken for metres

    def lay(self, plane: ArrayLike) -> Array:
        """Turn and shift places, (..., 2)."""
        return np.asarray(np.asarray(plane, float) @ turn_matrix(self.rotation_rad).T + self.shift)

    def unlay(self, laid: ArrayLike) -> Array:
        """Undo `lay`."""
        return np.asarray((np.asarray(laid, float) - self.shift) @ turn_matrix(self.rotation_rad))


def turn_matrix(radians: float) -> Array:
    """Matrix that turns a plane vector anticlockwise."""
    cos, sin = math.cos(radians), math.sin(radians)
    return np.array([[cos, -sin], [sin, cos]])


def fit_rigid(plane: ArrayLike, target: ArrayLike, sigma: ArrayLike) -> Rigid:
    """Lay places on targets with scale 1 and no mirror, by weighted least squares in closed form.

    Parameters
    ----------
    plane, target
        Corresponding places, (n, 2), metres, n >= 2.
    sigma
        Standard deviation of each target, one axis, (n,), metres.

    Raises
    ------
    PlaceError
        If fewer than two distinct places are given.

    Notes
    -----
    The rotation of Umeyama 1991 (IEEE PAMI 13(4):376-380) with det = +1, written for the plane.
    """
    x, y = np.asarray(plane, float).reshape(-1, 2), np.asarray(target, float).reshape(-1, 2)
    weights = 1 / np.asarray(sigma, float) ** 2
    weights = weights / weights.sum()
    cx, cy = weights @ x, weights @ y
    dx, dy = x - cx, y - cy
    spread = float(weights @ (dx**2).sum(axis=1))
    if len(x) < 2 or spread == 0:
        raise PlaceError("a rigid fit needs two places apart from each other")
    dot = float(weights @ (dx * dy).sum(axis=1))
    cross = float(weights @ (dx[:, 0] * dy[:, 1] - dx[:, 1] * dy[:, 0]))
    angle = math.atan2(cross, dot)
    shift = cy - turn_matrix(angle) @ cx
    fit = Rigid(angle, shift, np.empty((0, 2)), math.hypot(dot, cross) / spread)
    return Rigid(angle, shift, fit.lay(x) - y, fit.free_scale)


@dataclass(frozen=True, slots=True)
class Placement:
    """A solved property laid on the earth."""

    frame: LocalFrame
    fit: Rigid
    coordinates: dict[str, tuple[float, float]]  #: longitude, latitude of every located name, degrees
    r95_earth_m: dict[str, float]  #: 95 % radius on the earth, fix and azimuth included, metres
    fixes: tuple[FixFit, ...] = ()  #: how each known coordinate fits
    known: tuple[KnownPlace, ...] = ()  #: the same, as they were given; with their grid where they had one
    azimuth: WallAzimuth | None = None  #: the observed one; None = the direction is that of the coordinates
    rotation_sigma_deg: float = 0.0  #: standard deviation of the direction
    scale_sigma: float | None = None  #: that of `fit.free_scale`; None where one coordinate cannot tell

    def to_earth(self, places: ArrayLike) -> Array:
        """Give longitude and latitude, (..., 2), of output-frame places, (..., 2), metres."""
        laid = self.fit.lay(places)
        return np.stack(self.frame.to_earth(laid[..., 0], laid[..., 1]), axis=-1)


def place_on_earth(
    solution: Solution, known: Sequence[KnownPlace], azimuth: WallAzimuth | None = None
) -> tuple[Placement | None, list[Finding]]:
    """Lay a solved property on the earth by its known coordinates and its azimuth.

    Parameters
    ----------
    solution
        The survey; it is turned and shifted, never altered.
    known
        Known coordinates, the one of `[earth]` first.
    azimuth
        Of the wall that the solution is oriented by; left aside where that wall has no place.

    Returns
    -------
    The placement, None where nothing places the property, and findings.

    Notes
    -----
    Least squares for two shifts and one rotation. The joint covariance of the fixed names and of every other name is
    carried, so the radius on the earth grows with the distance from the fixes. What is uncertain in a datum shift is
    common to all coordinates of the datum.
    """
    fixes, findings = _located(known, solution)
    azimuth = azimuth if solution.azimuth_deg is not None else None
    if not fixes or (azimuth is None and not are_apart(np.array([solution.position(f.name).place for f in fixes]))):
        if fixes:
            message = f"One known coordinate ({fixes[0].name}) does not place the property without a direction."
            act = "Give the azimuth of a wall in [earth], or a second known coordinate."
            findings.append(Finding("no-direction", solution.property, message, Severity.NOTE, act))
        return None, findings
    return _lay(solution, fixes, azimuth, findings), findings


def _located(known: Sequence[KnownPlace], solution: Solution) -> tuple[list[KnownPlace], list[Finding]]:
    """Known coordinates of names that have a place, and a note of the others."""
    located = {p.name for p in (*solution.references, *solution.points) if p.place is not None}
    findings = [
        Finding(
            "unused-coordinate",
            each.name,
            f"The known coordinate of {each.name} is not used: {each.name} has no place in the survey.",
            Severity.NOTE,
        )
        for each in known
        if each.name not in located
    ]
    return [each for each in known if each.name in located], findings


@dataclass(frozen=True, slots=True)
class _Given:
    """What the fit is made of."""

    plane: Array  #: (n, 2), where the survey has the known ones, metres
    target: Array  #: (n, 2), where they were given, metres
    sigmas: Array  #: (n,), standard deviation of one axis, metres
    common: Array  #: (n, n), covariance of one axis that they have in common, square metres
    shape: Array  #: (2n, 2n), covariance of the survey among them, square metres
    azimuth_sigma: float | None  #: radians; None = no azimuth

    def enlarged(self, factor: float) -> "_Given":
        """Give the same with the survey made larger."""
        return replace(self, plane=self.plane * factor, shape=self.shape * factor**2)

    def without(self, k: int) -> "_Given":
        """Give the same without one coordinate."""
        kept = np.delete(np.arange(len(self.plane)), k)
        return _Given(
            self.plane[kept],
            self.target[kept],
            self.sigmas[kept],
            self.common[np.ix_(kept, kept)],
            _blocks(self.shape, kept),
            self.azimuth_sigma,
        )

    @property
    def spare(self) -> int:
        """Degrees of freedom; 0 also where a shift and a direction do not follow."""
        placed = len(self.plane) > 0 and (self.azimuth_sigma is not None or are_apart(self.plane))
        return 2 * len(self.plane) + (self.azimuth_sigma is not None) - 3 if placed else 0


def _given(solution: Solution, frame: LocalFrame, fixes: Sequence[KnownPlace], azimuth: WallAzimuth | None) -> _Given:
    index = {name: k for k, name in enumerate(solution.names)}
    shift = [0.0 if fix.grid is None else fix.grid.shift_m / RADIUS_68_SIGMAS for fix in fixes]
    datums = [None if fix.grid is None else fix.grid.datum for fix in fixes]
    same = np.array([[a is not None and a == b for b in datums] for a in datums])
    return _Given(
        plane=np.array([solution.position(fix.name).place for fix in fixes]),
        target=np.column_stack(frame.to_plane([f.longitude for f in fixes], [f.latitude for f in fixes])),
        sigmas=np.array([fix.accuracy_m / RADIUS_68_SIGMAS for fix in fixes]),
        common=np.outer(shift, shift) * same,
        shape=_blocks(solution.covariance, [index[fix.name] for fix in fixes]),
        azimuth_sigma=None if azimuth is None else math.radians(azimuth.sigma_deg),
    )


def _lay(
    solution: Solution, fixes: Sequence[KnownPlace], azimuth: WallAzimuth | None, findings: list[Finding]
) -> Placement:
    frame = LocalFrame(fixes[0].longitude, fixes[0].latitude)
    given = _given(solution, frame, fixes, azimuth)
    parameters, gain, noise = _fit_with_azimuth(given)
    placing = _placing([fix.name for fix in fixes], given, parameters, noise)
    rests = _rests([fix.name for fix in fixes], given)
    fits, judged = judge_fixes(solution.property, placing, rests, lambda factor: _chi2(given.enlarged(factor)))
    findings += judged
    residuals = placing.misfit[: 2 * len(fixes)].reshape(-1, 2)
    rigid = Rigid(float(parameters[2]), parameters[:2], residuals, placing.free_scale)
    coordinates, radii = _coordinates(solution, frame, rigid, [fix.name for fix in fixes], gain, noise)
    direction, scale_sigma = math.degrees(placing.rotation_sigma_rad), placing.scale_sigma
    return Placement(frame, rigid, coordinates, radii, fits, tuple(fixes), azimuth, direction, scale_sigma)


def _coordinates(
    solution: Solution, frame: LocalFrame, rigid: Rigid, fixed: Sequence[str], gain: Array, noise: Array
) -> tuple[dict[str, tuple[float, float]], dict[str, float]]:
    """Give longitude and latitude of every located name, and its 95 % radius on the earth."""
    index = {name: k for k, name in enumerate(solution.names)}
    rows = [index[name] for name in fixed]
    located = [p for p in (*solution.references, *solution.points) if p.place is not None]
    turn, joint = turn_matrix(rigid.rotation_rad), solution.covariance
    laid = rigid.lay(np.array([p.place for p in located]))
    coordinates, radii = {}, {}
    for position, lon, lat in zip(located, *frame.to_earth(laid[:, 0], laid[:, 1]), strict=True):
        covariance = _earth_covariance(index[position.name], rows, position.place, turn, gain, noise, joint)
        coordinates[position.name] = (float(lon), float(lat))
        radii[position.name] = max(float(radius_95(covariance)), position.r95_m or 0.0)
    return coordinates, radii


def _placing(names: Sequence[str], given: _Given, parameters: Array, noise: Array) -> Placing:
    """Give the equations after the fit."""
    laid = given.plane @ turn_matrix(parameters[2]).T + parameters[:2]
    misfit = (laid - given.target).ravel()
    if given.azimuth_sigma is not None:
        misfit = np.append(misfit, parameters[2])
    apart = are_apart(given.plane)
    scale = fit_rigid(given.plane, given.target, given.sigmas).free_scale if apart else 1.0
    design = _design(given.plane, float(parameters[2]), given.azimuth_sigma)
    return Placing(tuple(names), given.sigmas, laid, misfit, design, noise, scale)


def _rests(names: Sequence[str], given: _Given) -> list[Rest]:
    """Leave out each coordinate, and the azimuth, and fit the others again."""
    parts = [(name, given.without(k)) for k, name in enumerate(names)]
    if given.azimuth_sigma is not None:
        parts.append((AZIMUTH, replace(given, azimuth_sigma=None)))
    return [Rest(name, _chi2(others) if others.spare > 0 else 0.0, others.spare) for name, others in parts]


def _chi2(given: _Given) -> float:
    """Misfit of the whole fit."""
    parameters, _, noise = _fit_with_azimuth(given)
    return _placing([""] * len(given.plane), given, parameters, noise).chi2


def _blocks(joint: Array, rows: Iterable[int], columns: Sequence[int] | None = None) -> Array:
    """Covariance among some names, or between two lots of them."""
    pick = [c for k in rows for c in (2 * k, 2 * k + 1)]
    across = pick if columns is None else [c for k in columns for c in (2 * k, 2 * k + 1)]
    return joint[np.ix_(pick, across)]


def _design(plane: Array, angle: float, azimuth_sigma: float | None) -> Array:
    """Give the derivatives of the laid places (and of the azimuth, where one is observed) by shift and rotation."""
    swing = plane @ turn_matrix(angle + math.pi / 2).T
    design = np.zeros((2 * len(plane) + (azimuth_sigma is not None), 3))
    design[0 : 2 * len(plane) : 2, 0] = design[1 : 2 * len(plane) : 2, 1] = 1.0
    design[: 2 * len(plane), 2] = swing.ravel()
    if azimuth_sigma is not None:
        design[-1, 2] = 1.0
    return design


def _fit_with_azimuth(given: _Given) -> tuple[Array, Array, Array]:
    """Shift and rotation (3,), their gain matrix (3, m) and the covariance of what was observed (m, m).

    The azimuth observation says that the output frame is turned right: rotation 0.
    """
    plane, target, sigma = given.plane, given.target, given.azimuth_sigma
    # The coordinates' own direction, where they have one, is near enough to go on from, even against a wrong azimuth.
    angle = fit_rigid(plane, target, given.sigmas).rotation_rad if are_apart(plane) else 0.0
    parameters = np.array([*(target - plane @ turn_matrix(angle).T).mean(axis=0), angle])
    own = np.asarray(np.kron(np.diag(given.sigmas**2) + given.common, np.eye(2)))
    for _ in range(10):
        turn = np.kron(np.eye(len(plane)), turn_matrix(parameters[2]))
        noise = own + turn @ given.shape @ turn.T
        misfit = (target - plane @ turn_matrix(parameters[2]).T - parameters[:2]).ravel()
        if sigma is not None:
            noise = np.block([[noise, np.zeros((len(noise), 1))], [np.zeros((1, len(noise))), sigma**2]])
            misfit = np.append(misfit, -parameters[2])
        design = _design(plane, parameters[2], sigma)
        weighted = np.asarray(np.linalg.solve(noise, design).T)
        gain = np.asarray(np.linalg.solve(weighted @ design, weighted))
        step = gain @ misfit
        parameters = np.asarray(parameters + step)
        if np.abs(step).max() < 1e-10:
            break
    return parameters, gain, noise


def _earth_covariance(
    node: int, rows: Sequence[int], place: Array | None, turn: Array, gain: Array, noise: Array, joint: Array
) -> Array:
    """Covariance on the earth of one name: fixes, azimuth and its own, with what they have in common."""
    assert place is not None  # noqa: S101 - located names only
    rows_of = np.column_stack((np.eye(2), turn @ np.array([-place[1], place[0]])))
    pull = rows_of @ gain
    count = 2 * len(rows)
    own = turn @ _blocks(joint, [node]) @ turn.T
    shared = turn @ _blocks(joint, [node], rows) @ np.kron(np.eye(len(rows)), turn).T @ pull[:, :count].T
    return np.asarray(own + pull @ noise @ pull.T - shared - shared.T)

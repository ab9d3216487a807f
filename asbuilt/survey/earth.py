"""Local plane <-> latitude and longitude: a rigid placing that never alters the relative shape.

Plane places are metres (east, north) or any other right-handed plane axes; coordinates are WGS 84 degrees, longitude
first. Two accuracies are kept apart: relative to the house, and on the earth.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import Geod

from asbuilt.errors import PlaceError
from asbuilt.findings import Finding, Severity
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.quality import chi2_quantile, radius_95
from asbuilt.survey.solution import Solution

Array = NDArray[np.float64]

RADIUS_68_SIGMAS = 1.5096
"""Radius that holds 68 % of a circular normal error, in standard deviations of one axis: sqrt(-2 ln 0.32)."""

AZIMUTH_SIGMA_DEG = {"true": 0.1, "magnetic": 3.0}
"""Standard deviation of a wall's azimuth where none is given; a compass near a house is no better."""

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

    def to_earth(self, places: ArrayLike) -> Array:
        """Give longitude and latitude, (..., 2), of output-frame places, (..., 2), metres."""
        laid = self.fit.lay(places)
        return np.stack(self.frame.to_earth(laid[..., 0], laid[..., 1]), axis=-1)


@dataclass(frozen=True, slots=True)
class _Fix:
    """One known coordinate of a located name."""

    name: str
    longitude: float
    latitude: float
    sigma_m: float


def place_on_earth(record: PropertyRecord, solution: Solution) -> tuple[Placement | None, list[Finding]]:
    """Lay a solved property on the earth by its known coordinates and its azimuth.

    Returns
    -------
    The placement, None where nothing places the property, and findings.

    Notes
    -----
    Least squares for two shifts and one rotation. The joint covariance of the fixed names and of every other name is
    carried, so the radius on the earth grows with the distance from the fixes.
    """
    fixes, findings = _fixes(record, solution)
    azimuth_sigma = _azimuth_sigma_rad(record) if solution.azimuth_deg is not None else None
    if not fixes or (len(fixes) < 2 and azimuth_sigma is None):
        if fixes:
            message = f"One known coordinate ({fixes[0].name}) does not place the property without a direction."
            act = "Give the azimuth of a wall in [earth], or a second known coordinate."
            findings.append(Finding("no-direction", record.property.name, message, Severity.NOTE, act))
        return None, findings
    frame = LocalFrame(fixes[0].longitude, fixes[0].latitude)
    return _lay(record, solution, frame, fixes, azimuth_sigma, findings), findings


def _fixes(record: PropertyRecord, solution: Solution) -> tuple[list[_Fix], list[Finding]]:
    """Known coordinates of names that have a place, that of `[earth]` first."""
    earth, fixes, findings = record.property.earth, [], []
    given = []
    if earth is not None and None not in (earth.reference, earth.latitude, earth.longitude, earth.accuracy_m):
        given.append((earth.reference, earth.longitude, earth.latitude, earth.accuracy_m))
    given += [(k.point, k.longitude, k.latitude, k.accuracy_m) for k in record.known_coordinates]
    located = {p.name for p in (*solution.references, *solution.points) if p.place is not None}
    for name, longitude, latitude, accuracy in given:
        if name in located:
            assert longitude is not None and latitude is not None and accuracy is not None  # noqa: S101 - for mypy
            fixes.append(_Fix(str(name), longitude, latitude, accuracy / RADIUS_68_SIGMAS))
        else:
            message = f"The known coordinate of {name} is not used: {name} has no place in the survey."
            findings.append(Finding("unused-coordinate", str(name), message, Severity.NOTE))
    return fixes, findings


def _azimuth_sigma_rad(record: PropertyRecord) -> float | None:
    earth = record.property.earth
    if earth is None or earth.azimuth_deg is None:
        return None
    sigma = earth.azimuth_sigma_deg
    return math.radians(AZIMUTH_SIGMA_DEG[earth.north] if sigma is None else sigma)


def _lay(
    record: PropertyRecord,
    solution: Solution,
    frame: LocalFrame,
    fixes: Sequence[_Fix],
    azimuth_sigma: float | None,
    findings: list[Finding],
) -> Placement:
    index = {name: k for k, name in enumerate(solution.names)}
    rows = [index[fix.name] for fix in fixes]
    plane = np.array([solution.position(fix.name).place for fix in fixes])
    target = np.column_stack(frame.to_plane([f.longitude for f in fixes], [f.latitude for f in fixes]))
    sigmas = np.array([fix.sigma_m for fix in fixes])
    joint = solution.covariance
    parameters, gain, noise = _fit_with_azimuth(plane, target, sigmas, _blocks(joint, rows), azimuth_sigma)
    scale = fit_rigid(plane, target, sigmas).free_scale if len(fixes) > 1 else 1.0
    rigid = Rigid(parameters[2], parameters[:2], np.empty((0, 2)), scale)
    rigid = Rigid(rigid.rotation_rad, rigid.shift, rigid.lay(plane) - target, scale)
    _judge(record, rigid, fixes, noise, azimuth_sigma, findings)
    located = [p for p in (*solution.references, *solution.points) if p.place is not None]
    coordinates, radii = {}, {}
    turn = turn_matrix(rigid.rotation_rad)
    for position in located:
        covariance = _earth_covariance(index[position.name], rows, position.place, turn, gain, noise, joint)
        radii[position.name] = max(float(radius_95(covariance)), position.r95_m or 0.0)
    laid = rigid.lay(np.array([p.place for p in located]))
    for position, lon, lat in zip(located, *frame.to_earth(laid[:, 0], laid[:, 1]), strict=True):
        coordinates[position.name] = (float(lon), float(lat))
    return Placement(frame, rigid, coordinates, radii)


def _blocks(joint: Array, rows: Sequence[int], columns: Sequence[int] | None = None) -> Array:
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


def _fit_with_azimuth(
    plane: Array, target: Array, sigmas: Array, shape: Array, azimuth_sigma: float | None
) -> tuple[Array, Array, Array]:
    """Shift and rotation (3,), their gain matrix (3, m) and the covariance of what was observed (m, m).

    The azimuth observation says that the output frame is turned right: rotation 0.
    """
    start = fit_rigid(plane, target, sigmas) if len(plane) > 1 else Rigid(0.0, target[0] - plane[0], plane, 1.0)
    angle = start.rotation_rad if azimuth_sigma is None else 0.0
    parameters = np.array([*start.shift, angle])
    for _ in range(10):
        turn = np.kron(np.eye(len(plane)), turn_matrix(parameters[2]))
        noise = np.diag(np.repeat(sigmas**2, 2)) + turn @ shape @ turn.T
        misfit = (target - plane @ turn_matrix(parameters[2]).T - parameters[:2]).ravel()
        if azimuth_sigma is not None:
            noise = np.block([[noise, np.zeros((len(noise), 1))], [np.zeros((1, len(noise))), azimuth_sigma**2]])
            misfit = np.append(misfit, -parameters[2])
        design = _design(plane, parameters[2], azimuth_sigma)
        weighted = np.linalg.solve(noise, design).T
        gain = np.linalg.solve(weighted @ design, weighted)
        step = gain @ misfit
        parameters = parameters + step
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


def _judge(
    record: PropertyRecord,
    rigid: Rigid,
    fixes: Sequence[_Fix],
    noise: Array,
    azimuth_sigma: float | None,
    findings: list[Finding],
) -> None:
    """Say so where the coordinates do not fit the survey."""
    misfit = rigid.residuals.ravel()
    if azimuth_sigma is not None:
        misfit = np.append(misfit, rigid.rotation_rad)
    spare = len(misfit) - 3
    chi2 = float(misfit @ np.linalg.solve(noise, misfit))
    if spare > 0 and chi2 > chi2_quantile(0.95, spare):
        worst = int(np.hypot(*rigid.residuals.T).argmax())
        off = float(np.hypot(*rigid.residuals[worst]))
        message = (
            f"The known coordinates do not fit the survey: {fixes[worst].name} is {off:.1f} m off, and the fit would "
            f"have liked a scale of {rigid.free_scale:.3f}."
        )
        act = "Check the coordinates; a scale near 3.28 or 0.305 means feet taken for metres."
        findings.append(Finding("coordinates-disagree", record.property.name, message, Severity.ATTENTION, act))

"""The surveyor's view of one property: every measurement with its residual and test, every place with its ellipse."""

import math

import numpy as np

from asbuilt.model.measurements import Wall
from asbuilt.survey.earth import Placement
from asbuilt.survey.joint import Joint
from asbuilt.survey.observations import Distance, Turn
from asbuilt.survey.outline import closures
from asbuilt.survey.screening import Screening, Tested, correlations, screen
from asbuilt.survey.shared import SEEN_M, Shared, faces, tape_zero
from asbuilt.survey.solution import Position, Solution


def full_table(joint: Joint, solution: Solution, placement: Placement | None) -> str:
    """Write places, measurements, walks and shared errors; metres and degrees.

    residual = computed - observed; w = standardised residual; r = redundancy number; rho = largest correlation
    with another test; MDB = smallest blunder that the
    0.1 % test notices with 80 % power; shift = what a blunder of that size does to the place it bears on most.
    """
    if joint.fit is None:
        return "Nothing could be placed."
    screening = screen(joint.used, joint.fit, joint.datum)
    parts = [
        _places(solution, placement),
        _measurements(joint, screening),
        _walks(joint),
        _shared([tape_zero(joint), *faces(joint)]),
        _earth(placement),
    ]
    return "\n\n".join(part for part in parts if part)


def _places(solution: Solution, placement: Placement | None) -> str:
    head = f"{'PLACE':34}{'east m':>10}{'north m':>10}{'r95 m':>8}{'major m':>9}{'minor m':>9}{'azimuth':>9}"
    lines = [f"{head}{'unnoticed m':>13}{'earth m':>9}"]
    for position in (*solution.references, *solution.points):
        lines.append(_place(position, placement))
    fit = solution.fit
    factor = "-" if fit.variance_factor is None else f"{fit.variance_factor:.3f}"
    limit = "-" if fit.chi2_limit is None else f"{fit.chi2_limit:.1f}"
    lines.append(
        f"{fit.observations} observations, {fit.unknowns} unknowns; chi-square {fit.chi2:.1f}, 95 % limit {limit}; "
        f"variance factor {factor}"
    )
    return "\n".join(lines)


def _place(position: Position, placement: Placement | None) -> str:
    if position.place is None or position.r95_m is None:
        return f"{position.name:34}  no place"
    east, north = (float(v) for v in position.place)
    ellipse = position.ellipse
    axes = (
        f"{'near-line interval':>27}"
        if ellipse is None
        else (f"{ellipse.major_m:9.3f}{ellipse.minor_m:9.3f}{ellipse.azimuth_deg:9.1f}")
    )
    unnoticed = "unlimited" if position.unnoticed_m is None else f"{position.unnoticed_m:.3f}"
    earth = "" if placement is None else f"{placement.r95_earth_m.get(position.name, math.nan):9.2f}"
    return f"{position.name:34}{east:10.3f}{north:10.3f}{position.r95_m:8.3f}{axes}{unnoticed:>13}{earth}"


def _measurements(joint: Joint, screening: Screening) -> str:
    lines = [
        f"{'MEASUREMENT':58}{'as read':>16}{'sigma':>9}{'residual':>10}{'w':>7}{'r':>6}{'rho':>6}{'MDB':>8}"
        f"{'shift m':>9}"
    ]
    assert joint.fit is not None  # noqa: S101 - full_table() has looked
    alike = np.abs(correlations(joint.fit))
    np.fill_diagonal(alike, 0.0)
    alike = alike.max(axis=1, initial=0.0)
    for test in screening.tests:
        what, as_read = _what(joint, test)
        scale, unit = (180 / math.pi, " deg") if isinstance(test.equation, Turn) else (1.0, " m")
        sigma = float(joint.fit.sigma[test.row]) * scale
        residual = float(joint.fit.residuals[test.row]) * sigma
        noticed = "none" if math.isinf(test.noticed) else f"{test.noticed * scale:.3f}"
        shift = "-" if not np.isfinite(test.shift_m) else f"{test.shift_m:.3f}"
        lines.append(
            f"{what:58}{as_read:>16}{sigma:9.4f}{residual:10.4f}{test.standardised:7.2f}{test.redundancy:6.2f}"
            f"{alike[test.row]:6.2f}"
            f"{noticed:>8}{shift:>9}{unit if unit != ' m' else ''}"
        )
    return "\n".join(lines)


def _what(joint: Joint, test: Tested) -> tuple[str, str]:
    names, equation = joint.observations.names, test.equation
    if isinstance(equation, Distance):
        word = "wall " if isinstance(equation.source, Wall) else ""
        return f"{word}{names[equation.i]} - {names[equation.j]}", equation.as_read
    if isinstance(equation, Turn):
        return f"turn at {names[equation.j]}", equation.source.turn
    offsets = len(joint.used.offsets)
    along = test.row < len(joint.fit.residuals) - offsets if joint.fit is not None else True
    source = equation.source
    part = source.along if along else source.out
    return f"{names[equation.p]} {'along' if along else 'out from'} {source.wall_from} > {source.wall_to}", part.as_read


def _walks(joint: Joint) -> str:
    lines = [
        f"Walk from {closure.walk.corners[0]}: misclosure {closure.misclosure_m:.3f} m, 1 in {closure.ratio:.0f}; "
        f"chi-square {closure.chi2:.2f} on 2"
        for closure in closures(joint)
    ]
    return "\n".join(lines)


def _shared(errors: list[Shared]) -> str:
    """Say what all tapes, or all from one face, could share, and whether this geometry would show it."""
    lines = []
    for error in errors:
        what = "Zero offset of all tapes" if error.kind == "tape" else f"Face {error.subject} moved out"
        if math.isinf(error.sigma_m):
            lines.append(f"{what}: these tapes cannot see it; one from a point well off their line would.")
            continue
        blind = "" if error.noticed_m <= SEEN_M else f" (below {error.noticed_m:.2f} m it would not show)"
        lines.append(f"{what}: {error.size_m:+.3f} m, standard deviation {error.sigma_m:.3f} m{blind}")
    return "\n".join(lines)


def _earth(placement: Placement | None) -> str:
    if placement is None:
        return ""
    off = ", ".join(f"{x:+.2f} {y:+.2f}" for x, y in placement.fit.residuals)
    scale = placement.fit.free_scale
    return f"On the earth: residuals of the known coordinates (east north, m) {off}; free scale {scale:.4f}"

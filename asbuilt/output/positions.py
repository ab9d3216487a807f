"""Positions of one property as JSON and as a table that can be read in a trench."""

from collections.abc import Mapping, Sequence, Set
from itertools import combinations
from typing import Any

import numpy as np

from asbuilt.findings import Finding, Severity
from asbuilt.output.features import accuracy_words
from asbuilt.survey.earth import Placement
from asbuilt.survey.solution import Position, Solution, TieFit


def positions_json(solution: Solution, placement: Placement | None, findings: Sequence[Finding]) -> dict[str, Any]:
    """Give everything about the positions as plain JSON values; metres to 4 decimals, degrees to 9."""
    fit = solution.fit
    return {
        "property": solution.property,
        "points": [_position(position, placement) for position in solution.points],
        "references": [_position(position, placement) for position in solution.references],
        "fit": {
            "observations": fit.observations,
            "unknowns": fit.unknowns,
            "variance_factor": _rounded(fit.variance_factor),
            "chi2": _rounded(fit.chi2),
            "chi2_limit": _rounded(fit.chi2_limit),
            "passed": fit.passed,
        },
        "findings": [finding.as_json() for finding in findings],
    }


def _position(position: Position, placement: Placement | None) -> dict[str, Any]:
    east, north = (None, None) if position.place is None else (float(v) for v in position.place)
    longitude, latitude, earth = None, None, None
    if placement is not None and position.name in placement.coordinates:
        longitude, latitude = placement.coordinates[position.name]
        earth = placement.r95_earth_m[position.name]
    ellipse = position.ellipse
    return {
        "name": position.name,
        "component": position.component,
        "east_m": _rounded(east),
        "north_m": _rounded(north),
        "longitude": _rounded(longitude, 9),
        "latitude": _rounded(latitude, 9),
        "r95_m": _rounded(position.r95_m),
        "r95_earth_m": _rounded(earth),
        "ellipse": None
        if ellipse is None
        else {
            "major_m": _rounded(ellipse.major_m),
            "minor_m": _rounded(ellipse.minor_m),
            "azimuth_deg": _rounded(ellipse.azimuth_deg),
        },
        "checked": position.checked,
        "unchecked_because": position.unchecked_because,
        "unnoticed_m": _rounded(position.unnoticed_m),
        "ties": [
            {"from": tie.from_, "as_read": tie.as_read, "residual_m": _rounded(tie.residual_m)} for tie in position.ties
        ],
    }


def _rounded(value: float | None, decimals: int = 4) -> float | None:
    return None if value is None else round(value, decimals) + 0.0  # -0.0 becomes 0.0


def positions_table(solution: Solution, findings: Sequence[Finding], units: str) -> str:
    """Write the points as a table: what it is, its two best tapes, how well it is known, and what is doubtful."""
    places = {p.name: p.place for p in (*solution.references, *solution.points) if p.place is not None}
    fixed = {p.name for p in solution.references}
    rows = [("POINT", "BEST TWO TAPES", "KNOWN", "CHECKED")]
    for position in solution.points:
        tapes = " and ".join(f"{tie.as_read} from {tie.from_}" for tie in best_two_tapes(position, places, fixed))
        known = accuracy_words(position, units) or "no place"
        checked = "yes" if position.checked else f"no: {position.unchecked_because}"
        rows.append((position.name, tapes or "by offset", known, checked))
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    lines = ["  ".join([*(c.ljust(w) for c, w in zip(row, widths, strict=False)), row[3]]) for row in rows]
    return "\n".join([solution.property, "", *lines, "", *_closing(solution, findings)])


def best_two_tapes(position: Position, places: Mapping[str, Any], fixed: Set[str]) -> tuple[TieFit, ...]:
    """Pick the two tapes that cross most sharply, from reference points (`fixed`) where there are two."""
    if position.place is None:
        return position.ties[:2]
    ties = [tie for tie in position.ties if tie.from_ in places]
    from_house = [tie for tie in ties if tie.from_ in fixed]
    ties = from_house if len({tie.from_ for tie in from_house}) > 1 else ties
    pairs = [pair for pair in combinations(ties, 2) if pair[0].from_ != pair[1].from_]
    if not pairs:
        return tuple(ties[:1])
    return max(pairs, key=lambda pair: _sine(position.place, *(places[tie.from_] for tie in pair)))


def _sine(place: Any, a: Any, b: Any) -> float:
    p, q = a - place, b - place
    return float(abs(p[0] * q[1] - p[1] * q[0]) / (np.hypot(*p) * np.hypot(*q)))


def _closing(solution: Solution, findings: Sequence[Finding]) -> list[str]:
    """Findings worst first; those that the table shows already are only counted."""
    lines = [f"{finding.severity}: {finding.sentence()}" for finding in findings if finding.code != "unchecked"]
    unchecked = sum(not position.checked for position in solution.points)
    if unchecked:
        one = "point is" if unchecked == 1 else "points are"
        lines.append(f"note: {unchecked} {one} not checked: a misread tape could pass unnoticed there.")
    fit = solution.fit
    if fit.passed:
        lines.append(f"The {fit.observations} measurements agree with each other.")
    return lines


def attention_lines(findings: Sequence[Finding]) -> list[str]:
    """Give the findings that need somebody to act, a line each."""
    return [f"{f.severity}: {f.sentence()}" for f in findings if f.severity is not Severity.NOTE]

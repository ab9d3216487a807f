"""Positions of one property as JSON and as a table that can be read in a trench."""

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from asbuilt.findings import Finding
from asbuilt.model.measurements import Offset
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.heights import Heights
from asbuilt.survey.earth import Placement
from asbuilt.survey.solution import Position, Solution, TieFit
from asbuilt.units import format_length, format_small

Array = NDArray[np.float64]

WIDTH = 100
"""Columns of the table: a small terminal, or a letter sheet across in a fixed-width face."""

DRAFT_WORDS = "DRAFT: the field sheets are not complete; something was left out or is still to be taped"
"""Stands on everything that is made of a draft."""

MISSES_M = 0.1
"""A tape that misses the place by more than a hand's breadth is not what one should look for it with (our own)."""

_POINT_WIDTH = 30  # a longer name goes on in the next line
_MEANING = (
    "Within: 19 times in 20 the point lies no farther than this from where the tapes put it, seen from the "
    "reference points.",
    "Checked: a tape misread by a foot would show. Where it says no, pull one more tape, from another side.",
)


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


class Ways:
    """From each point of one property the tapes to pull to find it, in the property's own units."""

    def __init__(self, record: PropertyRecord, solution: Solution) -> None:
        self._units = record.property.units
        self._gone = {reference.name for reference in record.reference_points if reference.gone_on is not None}
        self._standing = set(record.reference_names()) - self._gone
        self._places = {p.name: p.place for p in (*solution.references, *solution.points) if p.place is not None}
        self._ties = {(frozenset((tie.from_, tie.to)), tie.distance.as_read): tie for tie in record.ties}
        self._offsets: dict[str, Offset] = {}
        for offset in record.offsets:
            self._offsets.setdefault(offset.point, offset)

    def to(self, position: Position) -> tuple[str, ...]:
        """Say how to find a point: two tapes; where it has no two from what stands, the offset from a wall first."""
        tapes = best_two_tapes(position, self._places, self._standing)
        offset = self._offsets.get(position.name)
        if offset is not None and not (len(tapes) == 2 and all(tie.from_ in self._standing for tie in tapes)):
            one = sorted(tapes, key=lambda tie: tie.from_ not in self._standing)[:1]
            return (self._offset(offset), *(self._tape(position.name, tie) for tie in one))
        return tuple(self._tape(position.name, tie) for tie in tapes)

    def check(self, position: Position) -> str | None:
        """Give a third distance that tells a misread tape: one that was taped, else one reckoned; None = no place."""
        if position.place is None:
            return None
        used = {tie.from_ for tie in best_two_tapes(position, self._places, self._standing)}
        taped = [tie for tie in position.ties if tie.from_ in self._standing - used and tie.from_ in self._places]
        if taped:
            return self._tape(position.name, taped[0])
        others = [name for name in self._standing - used if name in self._places]
        if not others:
            return None
        by_distance = sorted((float(np.hypot(*(self._places[name] - position.place))), name) for name in others)
        metres, name = by_distance[0]
        return f"{format_length(metres, self._units)} from {name} (reckoned, level)"

    def _tape(self, name: str, tie: TieFit) -> str:
        pulled = self._ties.get((frozenset((name, tie.from_)), tie.as_read))
        reading = tie.as_read if pulled is None else format_length(pulled.distance.metres, self._units)
        sloped = " on the slope" if pulled is not None and pulled.drop and pulled.held != "level" else ""
        return f"{reading}{sloped} from {tie.from_}" + (" (gone)" if tie.from_ in self._gone else "")

    def _offset(self, offset: Offset) -> str:
        along, out = (format_length(length.metres, self._units) for length in (offset.along, offset.out))
        hand = f" to the {offset.hand}" if offset.hand else ""
        return f"{along} along {offset.wall_from} > {offset.wall_to}, {out} out{hand}"


def best_two_tapes(position: Position, places: Mapping[str, Array], standing: set[str]) -> tuple[TieFit, ...]:
    """Pick the two tapes of a point that cross most sharply.

    Parameters
    ----------
    places
        Every located name, metres.
    standing
        Reference points that one can still measure from; tapes from these go first where there are two.
    """
    ties = [tie for tie in position.ties if tie.from_ in places] if position.place is not None else [*position.ties]
    meeting = [tie for tie in ties if abs(tie.residual_m or 0.0) <= MISSES_M]
    ties = meeting if len({tie.from_ for tie in meeting}) > 1 else ties
    from_standing = [tie for tie in ties if tie.from_ in standing]
    ties = from_standing if len({tie.from_ for tie in from_standing}) > 1 else ties
    pairs = [pair for pair in combinations(ties, 2) if pair[0].from_ != pair[1].from_]
    place = position.place
    if not pairs or place is None:
        return tuple(ties[:1] if place is not None else ties[:2])
    return max(pairs, key=lambda pair: _sine(place, places[pair[0].from_], places[pair[1].from_]))


def _sine(place: Array, a: Array, b: Array) -> float:
    """Sine of the angle at which the tapes from two places cross; 0 where an end is the place itself."""
    p, q = a - place, b - place
    size = float(np.hypot(*p) * np.hypot(*q))
    return abs(float(p[0] * q[1] - p[1] * q[0])) / size if size else 0.0


def positions_table(record: PropertyRecord, solution: Solution, findings: Sequence[Finding]) -> str:
    """Write the points as a table of 100 columns: the tapes that find each, how well it is known, what is doubtful."""
    ways, units = Ways(record, solution), record.property.units
    heights = Heights(record, solution.levels)
    rows = [_Row("POINT", ("TAPES THAT FIND IT",), "WITHIN", "CHECKED")]
    for component, positions in _by_component(solution).items():
        alone = len(positions) == 1 and positions[0].name == component
        if not alone:
            rows.append(_Row(component))
        for position in positions:
            row = _row(position, ways.to(position), units, "" if alone else "  ")
            row.height = heights.line(position.name)
            rows.append(row)
    draft = [DRAFT_WORDS] if record.property.draft else []
    lines = [*_wrapped(solution.property, "", "  "), *draft, "", *_set(rows)]
    for sentences in (_MEANING, tuple(_closing(solution, findings))):
        lines += [""] if sentences else []
        lines += [line for sentence in sentences for line in _wrapped(sentence, "", "  ")]
    return "\n".join(lines)


class _Row:
    """One row of the table, its reason on lines of their own."""

    def __init__(
        self, point: str, ways: Sequence[str] = (), within: str = "", checked: str = "", because: str | None = None
    ) -> None:
        self.point, self.ways, self.within, self.checked, self.because = point, ways, within, checked, because
        self.height: str | None = None  #: how high and how deep, where it was levelled


def _by_component(solution: Solution) -> dict[str, list[Position]]:
    groups: dict[str, list[Position]] = {}
    for position in solution.points:
        groups.setdefault(position.component or position.name, []).append(position)
    return groups


def _row(position: Position, ways: Sequence[str], units: str, indent: str) -> _Row:
    name = position.name.removeprefix(f"{position.component}/")
    if position.r95_m is None:
        return _Row(indent + name, ways, "no place", "no")
    within = format_small(position.r95_m, units)
    return _Row(indent + name, ways, within, "yes" if position.checked else "no", position.unchecked_because)


def _set(rows: Sequence[_Row]) -> list[str]:
    """Set the rows in columns; what is too long for its column goes on in the next line."""
    points = min(max(len(row.point) for row in rows if row.ways), _POINT_WIDTH)
    within = max(len(row.within) for row in rows)
    tapes = min(max(len(" and ".join(row.ways)) for row in rows), WIDTH - points - within - len("CHECKED") - 6)
    lines: list[str] = []
    for row in rows:
        if not row.ways and not row.within:
            lines += ["", *_wrapped(row.point, "", "  ")]
            continue
        left, middle = _wrapped(row.point, "", "    ", points), _cell(row.ways, tapes)
        for k in range(max(len(left), len(middle))):
            cells = [left[k] if k < len(left) else "", middle[k] if k < len(middle) else ""]
            cells += [row.within, row.checked] if k == 0 else []
            lines.append(
                "  ".join(c.ljust(w) for c, w in zip(cells, (points, tapes, within, 0), strict=False)).rstrip()
            )
        if row.because is not None:
            lines += _wrapped(f"not checked: {row.because}", "      ", "        ")
        if row.height is not None:
            lines += _wrapped(row.height, "      ", "        ")
    return lines


def _cell(ways: Sequence[str], width: int) -> list[str]:
    """Set two tapes on one line where they fit, else one a line."""
    whole = " and ".join(ways)
    if len(whole) <= width:
        return [whole]
    said = [f"{way} and" for way in ways[:-1]] + [*ways[-1:]]
    return [line for way in said for line in _wrapped(way, "", "  ", width)]


def _wrapped(text: str, first: str, rest: str, width: int = WIDTH) -> list[str]:
    own = text[: len(text) - len(text.lstrip())]  # textwrap would drop the indent of the text itself
    return textwrap.wrap(text.lstrip(), width, initial_indent=own + first, subsequent_indent=own + rest) or [""]


def _closing(solution: Solution, findings: Sequence[Finding]) -> Iterable[str]:
    """Give the findings worst first; those that the table shows already are only counted."""
    yield from (f"{finding.severity}: {finding.sentence()}" for finding in findings if finding.code != "unchecked")
    unchecked = sum(position.place is not None and not position.checked for position in solution.points)
    if unchecked:
        one = "point is" if unchecked == 1 else "points are"
        yield f"note: {unchecked} {one} not checked: a misread tape could pass unnoticed there."
    if solution.fit.passed:
        yield f"The {solution.fit.observations} measurements agree with each other."

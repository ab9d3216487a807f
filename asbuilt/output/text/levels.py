"""Levels of one property as a table that can be read in a trench, and as JSON."""

import textwrap
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from asbuilt.findings import Finding
from asbuilt.model.components import split_name
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.level_loops import Loop
from asbuilt.survey.level_wording import LevelWording
from asbuilt.survey.levels import Elevation, LevelSolution
from asbuilt.survey.slopes import Slope, pipe_slopes
from asbuilt.survey.solution import Solution
from asbuilt.units import format_length

WIDTH = 100
K95 = 1.959963984540054
"""95 % of a normal error lie within so many standard deviations."""

_HEADINGS = ("POINT", "WHAT", "ELEVATION", "WITHIN", "BELOW GROUND", "CHECKED")
_POINT_WIDTH = 34  # a longer name stands on a line of its own
_MEANING = (
    "Within: 19 times in 20 the height lies no farther than this from what is printed, seen from the benchmark.",
    "Below ground: under the ground as it was last shot at that point, on the day beside “ground”; over a top it is "
    "the soil cover.",
)


def levels_json(record: PropertyRecord, solution: Solution, findings: Sequence[Finding]) -> dict[str, Any]:
    """Give everything about the levels as plain JSON values; metres to 4 decimals."""
    levels = solution.levels
    line = levels.collimation
    return {
        "property": solution.property,
        "benchmark": {
            "on": levels.benchmark,
            "elevation_m": _rounded(levels.benchmark_m),
            "datum": levels.datum,
        }
        if levels.benchmark is not None
        else None,
        "elevations": [_elevation(levels, each) for each in levels.elevations],
        "slopes": [_slope(each) for each in pipe_slopes(record, solution)],
        "loops": [_loop(each) for each in levels.loops],
        "chi2": _rounded(levels.chi2),
        "chi2_limit": _rounded(levels.chi2_limit),
        "passed": levels.passed,
        "collimation": None if line is None else {"slope": _rounded(line.slope, 7), "sigma": _rounded(line.sigma, 7)},
        "findings": [finding.as_json() for finding in findings],
    }


def _elevation(levels: LevelSolution, each: Elevation) -> dict[str, Any]:
    depth = levels.depth(each.name, each.to) if each.to != "grade" else None
    return {
        "name": each.name,
        "to": each.to,
        "day": each.day.isoformat() if each.day else None,
        "elevation_m": _rounded(each.elevation_m),
        "sigma_m": _rounded(each.sigma_m),
        "shots": each.shots,
        "checked": each.checked,
        "depth_m": _rounded(depth.depth_m) if depth else None,
        "depth_sigma_m": _rounded(depth.sigma_m) if depth else None,
        "ground_of": depth.day.isoformat() if depth and depth.day else None,
    }


def _slope(each: Slope) -> dict[str, Any]:
    return {
        "component": each.component,
        "from": each.start,
        "to": each.end,
        "length_m": _rounded(each.length_m),
        "fall_m": _rounded(each.fall_m),
        "percent": _rounded(each.percent),
        "percent_sigma": _rounded(each.percent_sigma),
        "inches_a_foot": _rounded(each.inches_a_foot),
        "inches_a_foot_sigma": _rounded(each.inches_a_foot_sigma),
    }


def _loop(each: Loop) -> dict[str, Any]:
    return {
        "setups": list(each.setups),
        "misclosure_m": _rounded(each.misclosure_m),
        "allowance_m": _rounded(each.allowance_m),
        "third_order_m": _rounded(each.third_order_m),
        "closes": each.closes,
    }


def _rounded(value: float | None, decimals: int = 4) -> float | None:
    return None if value is None else round(value, decimals) + 0.0  # -0.0 becomes 0.0


def levels_table(record: PropertyRecord, solution: Solution, findings: Sequence[Finding]) -> str:
    """Write elevations, falls of the pipes and loops as text of 100 columns, with what is doubtful under them."""
    levels, words = solution.levels, LevelWording(record)
    if levels.benchmark is None:
        return f"{solution.property}: no levels are recorded (sheet levels.csv)."
    lines = [
        *textwrap.wrap(f"{solution.property}: levels", WIDTH),
        *textwrap.wrap(
            f"Elevations count from {levels.benchmark} = {words.height(levels.benchmark_m)} ({levels.datum}).", WIDTH
        ),
        "",
        *_set(_rows(record, levels, words)),
    ]
    lines += _section("FALL OF THE PIPES, invert to invert", [_fall(each) for each in pipe_slopes(record, solution)])
    lines += _section("LOOPS", [_closing(each, words) for each in levels.loops])
    lines += ["", *(line for sentence in _MEANING for line in textwrap.wrap(sentence, WIDTH))]
    lines += _section("", [f"{finding.severity}: {finding.sentence()}" for finding in findings], indent="")
    return "\n".join(lines)


def _rows(record: PropertyRecord, levels: LevelSolution, words: LevelWording) -> Iterator[tuple[str, ...]]:
    order = {name: number for number, name in enumerate((*record.reference_names(), *record.point_names()))}
    in_order = sorted(levels.elevations, key=lambda each: order.get(each.name, len(order)))
    for component, of_one in groupby(in_order, key=lambda each: split_name(each.name)[0]):
        each_row = list(of_one)
        grouped = any("/" in each.name for each in each_row)
        if grouped:
            yield (component,)
        for name, shots in groupby(each_row, key=lambda each: each.name):
            shown = f"  {split_name(name)[1]}" if grouped else name
            if len(shown) > _POINT_WIDTH:
                yield (shown,)
                shown = ""
            for each in shots:
                yield (shown, *_cells(each, levels, words, record.property.units))
                shown = ""


def _cells(each: Elevation, levels: LevelSolution, words: LevelWording, units: str) -> tuple[str, ...]:
    below = ""
    if each.to == "grade":
        what = f"ground {each.day}" if each.day else "ground"
    else:
        what = each.to
        depth = levels.depth(each.name, each.to)
        if depth is not None:
            below = format_length(depth.depth_m, units)
    within = words.fine(K95 * each.sigma_m) if each.sigma_m else "held"
    return what, words.height(each.elevation_m), within, below, "yes" if each.checked else "no"


def _set(rows: Iterator[tuple[str, ...]]) -> list[str]:
    """Set rows in columns; a row of one cell stands alone."""
    cells = [_HEADINGS, *rows]
    widths = [max(len(row[k]) for row in cells if len(row) > 1) for k in range(len(_HEADINGS))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False)).rstrip()
        if len(row) > 1
        else row[0]
        for row in cells
    ]


def _fall(slope: Slope) -> str:
    start, end = (name.removeprefix(f"{slope.component}/") for name in (slope.start, slope.end))
    falls = "falls" if slope.fall_m >= 0 else "rises"
    return (
        f"{slope.component}, {start} to {end}: {falls} {abs(slope.inches_a_foot):.3f} in/ft "
        f"({abs(slope.percent):.2f} %), within {K95 * slope.inches_a_foot_sigma:.3f} in/ft"
    )


def _closing(loop: Loop, words: LevelWording) -> str:
    noun = "set-up" if len(loop.setups) == 1 else "set-ups"
    third = f"; third order of FGCC 1984: {words.fine(loop.third_order_m)}" if loop.third_order_m is not None else ""
    return (
        f"{noun} {', '.join(loop.setups)}: misses by {words.fine(abs(loop.misclosure_m))}, "
        f"{words.fine(loop.allowance_m)} may be{third}"
    )


def _section(heading: str, sentences: Sequence[str], indent: str = "  ") -> list[str]:
    if not sentences:
        return []
    lines = [heading] if heading else []
    for sentence in sentences:
        lines += textwrap.wrap(sentence, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
    return ["", *lines]

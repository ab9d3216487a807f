"""Tables of what one more tape would bring, and of the corners to begin with."""

import math
from collections.abc import Sequence
from typing import Any

from asbuilt.output.text.trench import next_tape_json
from asbuilt.survey.planning import Choice, NextTape
from asbuilt.survey.solution import Position
from asbuilt.units import format_length, format_small

_MEANING = "Within: 19 times in 20. Worst unnoticed: how far the worst misreading that could pass would move it."


def plan_table(position: Position, tapes: Sequence[NextTape], units: str) -> str:
    """Write what one more tape from each reference point would bring, best first."""
    now = f"{position.name}: {_within(position.r95_m, units)} now"
    head = f"{now}, checked" if position.checked else f"{now}, not checked: {position.unchecked_because}"
    if not tapes:
        return f"{head}\nit is taped from every reference point that can be used"
    rows = [("ONE MORE TAPE FROM", "ABOUT", "THEN WITHIN", "WORST UNNOTICED", "A MISREAD TAPE")]
    for tape in tapes:
        shows = "would show" if tape.shows_misreading else "could pass"
        rows.append(
            (
                tape.reference,
                format_length(tape.distance_m, units),
                format_small(tape.r95_m, units),
                _worst(tape.unnoticed_m, units),
                shows,
            )
        )
    return "\n".join([head, "", *_columns(rows), "", _MEANING])


def first_plan_table(place: str, two: Sequence[Choice], three: Sequence[Choice], units: str) -> str:
    """Write the best twos and threes of reference points for a rough place."""
    rows = [("TWO TAPES FROM", "WITHIN", "CROSS AT")]
    for choice in two:
        rows.append((_names(choice), _within(choice.r95_m, units).removeprefix("within "), _degrees(choice)))
    lines = [f"rough place: {place}", "", *_columns(rows)]
    if three:
        rows = [("THREE TAPES FROM", "WITHIN", "WORST UNNOTICED")]
        rows += [(_names(c), format_small(c.r95_m, units), _worst(c.unnoticed_m, units)) for c in three]
        lines += ["", *_columns(rows)]
    more = "Two tapes are never checked: a misread one would not show. Tape from three, not all on one line."
    return "\n".join([*lines, "", _MEANING, more])


def plan_json(position: Position, tapes: Sequence[NextTape]) -> dict[str, Any]:
    """Give the table as plain JSON values."""
    return {
        "point": position.name,
        "r95_m": None if position.r95_m is None else round(position.r95_m, 4),
        "checked": position.checked,
        "next_tapes": [next_tape_json(tape) for tape in tapes],
    }


def first_plan_json(place: str, two: Sequence[Choice], three: Sequence[Choice]) -> dict[str, Any]:
    """Give the choices as plain JSON values; `unnoticed_m` null = without limit."""
    return {"place": place, "two": [_choice_json(c) for c in two], "three": [_choice_json(c) for c in three]}


def _choice_json(choice: Choice) -> dict[str, Any]:
    return {
        "references": list(choice.references),
        "r95_m": round(choice.r95_m, 4),
        "unnoticed_m": round(choice.unnoticed_m, 4) if math.isfinite(choice.unnoticed_m) else None,
        "crossing_deg": round(choice.crossing_deg, 1),
    }


def _within(metres: float | None, units: str) -> str:
    return "no place" if metres is None else f"within {format_small(metres, units)}"


def _worst(metres: float, units: str) -> str:
    return format_small(metres, units) if math.isfinite(metres) else "without limit"


def _degrees(choice: Choice) -> str:
    return f"{choice.crossing_deg:.0f} degrees"


def _names(choice: Choice) -> str:
    return ", ".join(choice.references)


def _columns(rows: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]

"""The plan of the trucks as a list to read and as JSON."""

import textwrap
from collections.abc import Iterator
from typing import Any

from asbuilt.output.cautions import CAUTIONS
from asbuilt.service.routes import Halt, LeftOut, Plan, Run, Stop, Tour, drive_metres, drive_seconds
from asbuilt.units import FOOT_M

WIDTH = 100
"""Columns of the list: a small terminal, or a letter sheet across in a fixed-width face."""

MILE_M = 5280 * FOOT_M
"""Metres in a mile, exact."""

NEVER_SHOWN = 20
"""Stops left out that are listed one by one; with more, the least urgent are counted."""

_INDENT = " " * 20  # under the words after number and times
_LEFT_INDENT = " " * 4


def route_text(plan: Plan, *, metric: bool = False) -> str:
    """Write the plan as text: run by run, then what is left out and why.

    Parameters
    ----------
    metric
        Distances in kilometres instead of miles.
    """
    lines = [line for run in plan.runs for line in (*_run(plan.tour, run, metric=metric), "")]
    if not plan.runs:
        why = plan.nothing or ("what is due could not be fitted; see below" if plan.left_out else "")
        lines += [*textwrap.wrap(f"Nothing is planned{': ' if why else ''}{why}.", WIDTH, break_on_hyphens=False), ""]
    if plan.left_out:
        lines += [f"Left out ({len(plan.left_out)}):", *(_left(each) for each in plan.left_out[:NEVER_SHOWN])]
        more = len(plan.left_out) - NEVER_SHOWN
        lines += [*([f"{_LEFT_INDENT}and {more} more that are less urgent"] if more > 0 else []), ""]
    lines += textwrap.wrap(f"Order: {plan.method}.", WIDTH)
    lines += textwrap.wrap(f"Driving times: {plan.driving}. Times and distances are planning figures.", WIDTH)
    lines += ["", *(line for words in CAUTIONS for line in _wrapped(f"Caution: {words}", "", "  "))]
    return "\n".join(lines)


def _run(tour: Tour, run: Run, *, metric: bool) -> Iterator[str]:
    first, last = run.halts[0], run.halts[-1]
    parts = [
        _counted(len(run.stops), "stop"),
        _counted(sum(halt.kind == "dump" for halt in run.halts), "load"),
        f"{clock(first.leave_s)} to {clock(last.arrive_s)}",
    ]
    metres = drive_metres(tour, run)
    if metres is not None:
        parts.append(distance_words(metres, metric=metric))
    day = run.day
    yield f"{day.on} {day.on:%A}, {day.truck.name} ({day.truck.capacity_gal:,} gal): {', '.join(parts)}"
    yield " no  arrive  leave"
    number = 0
    for halt in run.halts:
        number += halt.kind == "stop"
        yield from _halt(tour, halt, number)


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _halt(tour: Tour, halt: Halt, number: int) -> Iterator[str]:
    mark = f"{number:3}" if halt.kind == "stop" else "   "
    times = f"{mark}  {clock(halt.arrive_s):6}  {clock(halt.leave_s):5}  "
    if halt.kind == "yard":
        yield f"{times}yard"
        return
    if halt.kind == "dump":
        waits = f", opens {clock(halt.begin_s)}" if halt.begin_s > halt.arrive_s else ""
        yield f"{times}{tour.dumps[halt.index].name}: empty the truck{waits}"
        return
    stop = tour.stops[halt.index]
    yield from _wrapped(f"{stop.name}: {stop.works_words}", times, _INDENT)
    yield from _wrapped(f"{stop.due_words}; truck then {halt.load_gal:,} gal", _INDENT, _INDENT)
    for words in stop_lines(stop):
        yield from _wrapped(words, _INDENT, _INDENT)


def stop_lines(stop: Stop) -> Iterator[str]:
    """Give whom to call and what the driver has to know, a line each."""
    whom = ", ".join(part for part in (stop.address, stop.owner, stop.phone) if part)
    if whom:
        yield whom
    yield from stop.notes
    if stop.also_due:
        yield f"also due there: {', '.join(stop.also_due)}"


def _left(each: LeftOut) -> str:
    words = f"{each.property}: {each.works} ({each.urgency.words}, {each.due_on}): {each.why}"
    return "\n".join(_wrapped(words, "  ", _LEFT_INDENT))


def _wrapped(words: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(words, WIDTH, initial_indent=first, subsequent_indent=rest) or [first]


def clock(seconds: int) -> str:
    """Write a time of the day, rounded up to whole minutes.

    Examples
    --------
    >>> clock(7 * 3600 + 90)
    '07:02'
    """
    minutes = -(-seconds // 60)
    return f"{minutes // 60:02}:{minutes % 60:02}"


def distance_words(metres: int, *, metric: bool) -> str:
    """Write a road distance in miles or kilometres."""
    return f"{metres / 1000:.0f} km" if metric else f"{metres / MILE_M:.0f} mi"


def route_json(plan: Plan) -> dict[str, Any]:
    """Give the plan as plain JSON values: times as HH:MM:SS of the place itself, distances in metres."""
    return {
        "method": plan.method,
        "driving": plan.driving,
        "runs": [_run_json(plan.tour, run) for run in plan.runs],
        "left_out": [
            {
                "property": each.property,
                "works": each.works,
                "urgency": each.urgency.words,
                "due_on": each.due_on.isoformat(),
                "code": each.code,
                "why": each.why,
            }
            for each in plan.left_out
        ],
    }


def _run_json(tour: Tour, run: Run) -> dict[str, Any]:
    return {
        "date": run.day.on.isoformat(),
        "truck": run.day.truck.name,
        "capacity_gal": run.day.truck.capacity_gal,
        "stops": len(run.stops),
        "away_s": run.away_s,
        "drive_s": drive_seconds(tour, run),
        "distance_m": drive_metres(tour, run),
        "halts": [_halt_json(tour, halt) for halt in run.halts],
    }


def _halt_json(tour: Tour, halt: Halt) -> dict[str, Any]:
    times = {
        "kind": halt.kind,
        "arrive": _exact(halt.arrive_s),
        "begin": _exact(halt.begin_s),
        "leave": _exact(halt.leave_s),
        "load_gal": halt.load_gal,
    }
    if halt.kind != "stop":
        return times | {"name": tour.yard.name if halt.kind == "yard" else tour.dumps[halt.index].name}
    stop = tour.stops[halt.index]
    works = [
        {"component": w.component, "task": w.task, "due_on": w.due_on.isoformat(), "load_gal": w.load_gal}
        for w in stop.works
    ]
    return times | {
        "property": stop.name,
        "works": works,
        "urgency": stop.urgency.words,
        "due_on": stop.due_on.isoformat(),
        "longitude": stop.longitude,
        "latitude": stop.latitude,
        "address": stop.address,
        "owner": stop.owner,
        "phone": stop.phone,
        "notes": list(stop.notes),
        "also_due": list(stop.also_due),
    }


def _exact(seconds: int) -> str:
    return f"{seconds // 3600:02}:{seconds % 3600 // 60:02}:{seconds % 60:02}"

"""The map of a route: numbered stops of each run, joined by straight lines, the yard and the disposal sites."""

from collections.abc import Iterator

from asbuilt.output.cautions import CAUTIONS
from asbuilt.output.map.pinmap import Path, Pin, PinGroup, PinSheet, Section, render_pins
from asbuilt.output.text.route import clock, distance_words, stop_lines
from asbuilt.service.routes import Halt, LeftOut, Plan, Run, Site, Tour, drive_metres

COLOURS = ("#0046c7", "#a84300", "#00622a", "#8a1fa5", "#7a0010", "#31465c")
DASHES = ("", "14 6", "3 7", "14 5 3 5")
RUN_SHAPES = ("circle", "square", "drop")
"""Of the runs in turn: two runs that share a colour differ by dashes and shape, and each has its own letter."""

YARD_GROUP = PinGroup("yard", "Yard", "#111111", shape="house")
DUMP_GROUP = PinGroup("dump", "Disposal site", "#4a3000", shape="down")
LEFT_GROUP = PinGroup("left", "Left out", "#4a4a4a", shape="triangle")


def route_map(plan: Plan, *, metric: bool = False) -> str:
    """Draw a plan as a map: one HTML document. Lines are straight, not roads."""
    tour = plan.tour
    groups = [run_group(number) for number in range(len(plan.runs))]
    sections = [_section(tour, run, number, len(plan.runs), metric=metric) for number, run in enumerate(plan.runs)]
    if plan.left_out:
        places = {stop.name: (stop.longitude, stop.latitude) for stop in tour.stops}
        left = tuple(_left(each, places) for each in plan.left_out)
        sections.append(Section(f"Left out ({len(left)})", left, "What could not be fitted, and why."))
    marks = [Pin("yard", tour.yard.name, ("Every run begins and ends here.",), "", *_at(tour.yard))]
    marks += [Pin("dump", dump.name, ("Disposal site",), "", *_at(dump)) for dump in tour.dumps]
    dates = sorted({run.day.on for run in plan.runs})
    sheet = PinSheet(
        "Route of the pump truck",
        (_days_words([str(day) for day in dates]), "Lines are straight, not roads. Times are planning figures."),
        (*groups, YARD_GROUP, DUMP_GROUP, LEFT_GROUP),
        tuple(sections),
        tuple(Path(group.key, _line(tour, run)) for group, run in zip(groups, plan.runs, strict=True)),
        tuple(marks),
        CAUTIONS,
    )
    return render_pins(sheet)


def run_group(number: int) -> PinGroup:
    """Give the layer of a run; its title holds nothing of the record."""
    return PinGroup(
        f"run{number}",
        f"Run {letter(number)}",
        COLOURS[number % len(COLOURS)],
        DASHES[number % len(DASHES)],
        shape=RUN_SHAPES[number % len(RUN_SHAPES)],
    )


def letter(number: int) -> str:
    """Letter the runs: A to Z, then AA, AB ...

    Examples
    --------
    >>> letter(0), letter(25), letter(26)
    ('A', 'Z', 'AA')
    """
    head, last = divmod(number, 26)
    return (letter(head - 1) if head else "") + chr(ord("A") + last)


def _days_words(days: list[str]) -> str:
    if not days:
        return "Nothing is planned"
    return days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"


def _at(site: Site) -> tuple[float, float]:
    return site.longitude, site.latitude


def _section(tour: Tour, run: Run, number: int, runs: int, *, metric: bool) -> Section:
    metres = drive_metres(tour, run)
    away = f"{clock(run.halts[0].leave_s)} to {clock(run.halts[-1].arrive_s)}"
    note = away if metres is None else f"{away}, {distance_words(metres, metric=metric)}"
    title = f"{letter(number)}: {run.day.on:%a} {run.day.on}, {run.day.truck.name}"
    return Section(title, tuple(_pins(tour, run, number, runs)), note, most=10**6)


def _pins(tour: Tour, run: Run, number: int, runs: int) -> Iterator[Pin]:
    count = 0
    for halt in run.halts[1:-1]:
        if halt.kind == "dump":
            yield Pin("dump", f"{clock(halt.begin_s)} {tour.dumps[halt.index].name}: empty the truck")
            continue
        count += 1
        yield _stop(tour, halt, f"run{number}", f"{letter(number) if runs > 1 else ''}{count}")


def _stop(tour: Tour, halt: Halt, group: str, label: str) -> Pin:
    stop = tour.stops[halt.index]
    lines = (
        f"{clock(halt.arrive_s)} to {clock(halt.leave_s)}: {stop.works_words}",
        f"{stop.due_words}; truck then {halt.load_gal:,} gal",
        *stop_lines(stop),
    )
    return Pin(group, stop.name, lines, label, stop.longitude, stop.latitude)


def _left(each: LeftOut, places: dict[str, tuple[float | None, float | None]]) -> Pin:
    lines = (f"{each.works} ({each.urgency.words}, {each.due_on})", each.why)
    return Pin("left", each.property, lines, "", *places.get(each.property, (None, None)))


def _line(tour: Tour, run: Run) -> tuple[tuple[float, float], ...]:
    found = []
    for halt in run.halts:
        if halt.kind == "stop":
            stop = tour.stops[halt.index]
            if stop.longitude is not None and stop.latitude is not None:
                found.append((stop.longitude, stop.latitude))
        else:
            site = tour.yard if halt.kind == "yard" else tour.dumps[halt.index]
            found.append((site.longitude, site.latitude))
    return tuple(found)

"""Routes of the truck: what a stop, a truck, a working day and a plan are, and a check of a finished plan.

Everything is in whole seconds and US gallons. A place is a number of the table of driving times: 0 the yard, then the
disposal sites, then the stops.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import IntEnum
from itertools import pairwise
from typing import Any

from asbuilt.model.access import Access
from asbuilt.model.entries import PUMP_OUT

YARD = 0
"""Where every run begins and ends, in the table of driving times."""


class Urgency(IntEnum):
    """How soon a task is due, most urgent first; after today the steps are those of the due list."""

    LONG_OVERDUE = 0  #: parted from the rest, so that a far stop does not wait for ever for its near neighbours
    OVERDUE = 1
    DAYS_30 = 2
    DAYS_90 = 3
    YEAR = 4
    LATER = 5
    NO_DATE = 6

    @property
    def words(self) -> str:
        """Name the step."""
        return _URGENCY_WORDS[self]


_URGENCY_WORDS = (
    "overdue by more than a year",
    "overdue",
    "due in 30 days",
    "due in 90 days",
    "due in a year",
    "due later",
    "no date",
)


_URGENCY_STEPS = (
    (-366, Urgency.LONG_OVERDUE),
    (-1, Urgency.OVERDUE),
    (30, Urgency.DAYS_30),
    (90, Urgency.DAYS_90),
    (365, Urgency.YEAR),
)
"""The most days from today to the due date of each step."""


def urgency_of(due_on: date | None, today: date) -> Urgency:
    """Tell how soon something is due, seen from a day."""
    if due_on is None:
        return Urgency.NO_DATE
    days = (due_on - today).days
    return next((step for most, step in _URGENCY_STEPS if days <= most), Urgency.LATER)


@dataclass(frozen=True, slots=True)
class Site:
    """The yard or a disposal site."""

    name: str
    longitude: float  #: degrees, WGS 84
    latitude: float  #: degrees, WGS 84


@dataclass(frozen=True, slots=True)
class Truck:
    """One truck; it leaves the yard empty."""

    name: str
    capacity_gal: int


@dataclass(frozen=True, slots=True)
class Work:
    """One task on one component that is to be done at a stop."""

    component: str
    task: str
    due_on: date
    load_gal: int  #: what it puts into the truck; 0 for all but pump-outs


@dataclass(frozen=True, slots=True)
class Stop:
    """One visit of one property."""

    name: str  #: of the property
    works: tuple[Work, ...]
    urgency: Urgency  #: of the most urgent of its works
    longitude: float | None = None  #: degrees, WGS 84; None only where a table of driving times is given
    latitude: float | None = None
    address: str | None = None
    owner: str | None = None
    phone: str | None = None
    notes: tuple[str, ...] = ()  #: what the driver has to know
    also_due: tuple[str, ...] = ()  #: what else falls due there and is not part of the visit

    @property
    def load_gal(self) -> int:
        """What the stop puts into the truck."""
        return sum(work.load_gal for work in self.works)

    @property
    def due_on(self) -> date:
        """The day on which the first of its works is due."""
        return min(work.due_on for work in self.works)

    @property
    def sort_key(self) -> tuple[Any, ...]:
        """Sort key: urgent before less urgent, then by date; names only to be steady."""
        return (self.urgency, self.due_on, self.name, self.works)

    @property
    def due_words(self) -> str:
        """Say how urgent it is: `overdue, since 2027-02-26`."""
        late = self.urgency <= Urgency.OVERDUE
        return f"{self.urgency.words}, {'since' if late else 'on'} {self.due_on}"

    @property
    def works_words(self) -> str:
        """Say what is done: `pump-out of septic tank (1,250 gal)`."""
        return "; ".join(
            f"{work.task} of {work.component}" + (f" ({work.load_gal:,} gal)" if work.load_gal else "")
            for work in self.works
        )


@dataclass(frozen=True, slots=True)
class Shift:
    """The hours of a working day, seconds after midnight, and how long things take, seconds."""

    start_s: int
    end_s: int
    dump_open_s: int
    dump_close_s: int
    service_s: int  #: at the house, a pump-out; a stop without one takes it once
    dump_s: int

    def service_of(self, stop: Stop) -> int:
        """Give the seconds at a stop: each pump-out takes its time."""
        return self.service_s * max(1, sum(work.task == PUMP_OUT for work in stop.works))


@dataclass(frozen=True, slots=True)
class Day:
    """One truck on one day: what a run can be given to."""

    on: date
    truck: Truck


@dataclass(frozen=True, slots=True)
class Tour:
    """What is to be planned."""

    yard: Site
    dumps: tuple[Site, ...]
    stops: tuple[Stop, ...]
    days: tuple[Day, ...]
    shift: Shift
    drive_s: tuple[tuple[int, ...], ...]  #: driving times from place to place, by number
    metres: tuple[tuple[int, ...], ...] | None = None  #: road distances; None where only times are known

    @property
    def first_stop(self) -> int:
        """The place of the first stop in the table."""
        return 1 + len(self.dumps)

    def place_of(self, stop: int) -> int:
        """Give the place of a stop in the table."""
        return self.first_stop + stop


@dataclass(frozen=True, slots=True)
class Halt:
    """One halt of a run; waiting lies between `arrive_s` and `begin_s`."""

    kind: str  #: "stop", "dump" or "yard"
    index: int  #: of the stop or of the disposal site; 0 for the yard
    arrive_s: int  #: seconds after midnight
    begin_s: int
    leave_s: int
    load_gal: int  #: in the truck on leaving


@dataclass(frozen=True, slots=True)
class Run:
    """What one truck does on one day, from the yard to the yard."""

    day: Day
    halts: tuple[Halt, ...]

    @property
    def stops(self) -> tuple[int, ...]:
        """Numbers of the stops, in order."""
        return tuple(halt.index for halt in self.halts if halt.kind == "stop")

    @property
    def away_s(self) -> int:
        """Seconds from leaving the yard to being back."""
        return self.halts[-1].arrive_s - self.halts[0].leave_s


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What could not be fitted, and why."""

    property: str
    works: str
    urgency: Urgency
    due_on: date
    code: str  #: place, matrix, volume, capacity, hours or days
    why: str


@dataclass(frozen=True, slots=True)
class Plan:
    """The runs, by day and truck, and what is left out, most urgent first."""

    tour: Tour
    runs: tuple[Run, ...]
    left_out: tuple[LeftOut, ...]
    method: str  #: how the order came about, in plain words
    driving: str = "as given"  #: where the driving times come from, in plain words
    nothing: str = ""  #: where there is neither a run nor anything left out: why, in plain words


def drive_metres(tour: Tour, run: Run) -> int | None:
    """Give the road distance of a run, metres; None where only times are known."""
    if tour.metres is None:
        return None
    places = [place_number(tour, halt) for halt in run.halts]
    return sum(tour.metres[a][b] for a, b in pairwise(places))


def drive_seconds(tour: Tour, run: Run) -> int:
    """Give the seconds at the wheel of a run."""
    places = [place_number(tour, halt) for halt in run.halts]
    return sum(tour.drive_s[a][b] for a, b in pairwise(places))


def place_number(tour: Tour, halt: Halt) -> int:
    """Give the place of a halt in the table of driving times."""
    return {"yard": YARD, "dump": 1 + halt.index, "stop": tour.place_of(halt.index)}[halt.kind]


def split_to_fit(stop: Stop, capacity_gal: int) -> tuple[Stop, ...]:
    """Part a visit whose tanks do not all go into the largest truck into several, each as full as can be.

    A tank that is larger than the truck alone stays alone; the plan then leaves it out and says why.
    """
    if stop.load_gal <= capacity_gal:
        return (stop,)
    loads: list[list[Work]] = []
    for work in sorted(stop.works, key=lambda each: (-each.load_gal, each.component, each.task)):
        room = next((each for each in loads if sum(w.load_gal for w in each) + work.load_gal <= capacity_gal), None)
        if room is None:
            loads.append([work])
        else:
            room.append(work)
    return tuple(replace(stop, works=tuple(load)) for load in loads)


def gallons(volume_gal: float) -> int:
    """Round a volume up to the whole gallons that the truck must have room for."""
    return math.ceil(volume_gal - 1e-9)


def access_notes(access: Access) -> tuple[str, ...]:
    """Say what the driver has to know, a line each."""
    named = (
        ("truck stands at", access.truck),
        ("gate", access.gate),
        ("dog", access.dog),
        ("bridge", access.bridge),
        ("wires", access.wires),
        ("access", access.notes),
    )
    return tuple(f"{name}: {words}" for name, words in named if words)


def check_plan(plan: Plan) -> list[str]:
    """Give everything that is wrong with a finished plan, in words; an empty list means that it holds.

    Nothing is taken from how the plan was made: each run is driven again, halt by halt.
    """
    wrong = [words for run in plan.runs for words in _check_run(plan.tour, run)]
    days = [run.day for run in plan.runs]
    if any(days.count(day) > plan.tour.days.count(day) for day in days):
        wrong.append("a truck has two runs on one day, or a day that it does not work")
    visited = sorted(stop for run in plan.runs for stop in run.stops)
    if len(set(visited)) != len(visited):
        wrong.append("a stop is visited twice")
    return wrong


def _check_run(tour: Tour, run: Run) -> list[str]:
    shift, name = tour.shift, f"{run.day.truck.name} on {run.day.on}"
    wrong = []
    if [halt.kind for halt in (run.halts[0], run.halts[-1])] != ["yard", "yard"]:
        return [f"{name} does not begin and end at the yard"]
    now, load, place = run.halts[0].leave_s, 0, YARD
    if now < shift.start_s:
        wrong.append(f"{name} leaves before the shift begins")
    for halt in run.halts[1:]:
        now += tour.drive_s[place][place_number(tour, halt)]
        place = place_number(tour, halt)
        if halt.arrive_s < now or halt.begin_s < halt.arrive_s:
            wrong.append(f"{name} is at halt {halt.kind} {halt.index} before it can be")
        took, load = _at_halt(tour, halt, load)
        if halt.leave_s < halt.begin_s + took:
            wrong.append(f"{name} leaves halt {halt.kind} {halt.index} before the work is done")
        if halt.kind == "dump" and not shift.dump_open_s <= halt.begin_s <= halt.leave_s <= shift.dump_close_s:
            wrong.append(f"{name} is at {tour.dumps[halt.index].name} outside its hours")
        if load > run.day.truck.capacity_gal or load != halt.load_gal:
            wrong.append(f"{name} carries {load} gal after halt {halt.kind} {halt.index}")
        now = halt.leave_s
    if load:
        wrong.append(f"{name} comes home with {load} gal in the truck")
    if run.halts[-1].arrive_s > shift.end_s:
        wrong.append(f"{name} comes home after the shift")
    return wrong


def _at_halt(tour: Tour, halt: Halt, load: int) -> tuple[int, int]:
    """Give the seconds that the work at a halt takes, and the load after it."""
    if halt.kind == "stop":
        stop = tour.stops[halt.index]
        return tour.shift.service_of(stop), load + stop.load_gal
    return (tour.shift.dump_s, 0) if halt.kind == "dump" else (0, load)


def exchangeable(days: Sequence[Day]) -> dict[int, list[int]]:
    """Group the numbers of days by the capacity of their truck: within a group they can be exchanged."""
    groups: dict[int, list[int]] = {}
    for number, day in enumerate(days):
        groups.setdefault(day.truck.capacity_gal, []).append(number)
    return groups

"""Plan the truck's day: what is due, where it lies, and in which order to drive."""

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

from asbuilt.errors import AsbuiltError
from asbuilt.jobs.due import list_due
from asbuilt.model.entries import PUMP_OUT
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.files import refuse_existing, write_folder
from asbuilt.output.gpx import write_gpx
from asbuilt.output.text.duelist import next_words
from asbuilt.output.text.route import route_json, route_text
from asbuilt.output.words import clean
from asbuilt.record.database import Record, open_record
from asbuilt.record.driving_times import DrivingTimes, read_driving_times
from asbuilt.record.entries import read_property
from asbuilt.service.due import Listed
from asbuilt.service.route_order import OWN_METHOD, left_out, plan_tour
from asbuilt.service.route_pyvrp import METHOD as PYVRP_METHOD
from asbuilt.service.route_pyvrp import is_installed, orders_by_pyvrp
from asbuilt.service.routes import (
    Day,
    LeftOut,
    Plan,
    Shift,
    Site,
    Stop,
    Tour,
    Truck,
    Work,
    access_notes,
    check_plan,
    gallons,
    split_to_fit,
    urgency_of,
)
from asbuilt.survey.coordinates import known_places

YARD = "yard"
"""Name of the place that the trucks start from, in a table of driving times too."""

FILES = ("route.txt", "route.json", "route.html", "route.gpx", "route.ics")
"""What is written into a folder."""

WITHOUT_EXTRA = f"{OWN_METHOD} (the extra `route` with PyVRP is not installed; it often fits in more)"

FEWEST_TRIED, MOST_TRIED = 20, 120
"""Bounds of how many stops are tried: twice as many as the days could hold at best, within seconds of reckoning."""


class RouteError(AsbuiltError, ValueError):
    """What was asked for cannot be planned as it was put."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked for."""

    on: date  #: the first day
    days: int
    trucks_gal: tuple[float, ...]  #: what each truck holds
    yard: tuple[float, float]  #: longitude, latitude, degrees
    dumps: tuple[tuple[float, float], ...]  #: the same, of each disposal site
    shift: Shift
    road_factor: float
    speed_m_s: float
    speed_words: str  #: the speed as it was given
    matrix: Path | None = None  #: a table of driving times instead of factor and speed
    within: int = 90  #: what falls due in so many days after the first day
    tasks: tuple[str, ...] = (PUMP_OUT,)
    weekends: bool = False

    @property
    def dates(self) -> tuple[date, ...]:
        """The days: the first as asked for, then without Saturdays and Sundays unless they are wanted."""
        found, day = [self.on], self.on
        while len(found) < self.days:
            if day == date.max:
                raise RouteError(f"the calendar ends before {self.days} days after {self.on}")
            day += timedelta(1)
            if self.weekends or day.weekday() < 5:
                found.append(day)
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Routed:
    """The plan and what it was made from."""

    plan: Plan
    wish: Wish
    drafts: tuple[str, ...]  #: visited properties whose record is a draft


def plan_route(record_file: Path, wish: Wish) -> Routed:
    """Plan the runs.

    Raises
    ------
    RouteError, DrivingTimesError
        If the table of driving times lacks the yard or a disposal site, or cannot be read.
    UnknownNameError
        If a task is none that is known.
    RecordError
        If the record cannot be read.
    """
    times = None if wish.matrix is None else _checked(read_driving_times(wish.matrix), wish)
    capacity = gallons_of(max(wish.trucks_gal))
    listed = [each for each in list_due(record_file, wish.on, within=wish.within).listed if each.due.due_on is not None]
    for task in set(wish.tasks) - {each.due.task for each in listed}:
        list_due(record_file, wish.on, within=0, task=task)  # refuses a task that there is not
    gathered = _Gathered(wish, times)
    with open_record(record_file, read_only=True) as record, record.read():
        gathered.take(record, _by_property(listed, wish.tasks), listed)
    stops = tuple(part for stop in gathered.stops for part in split_to_fit(stop, capacity))
    tour = _tour(wish, stops, times)
    extra = is_installed()
    plan = plan_tour(tour, orders_by_pyvrp if extra else None, PYVRP_METHOD if extra else WITHOUT_EXTRA)
    wrong = check_plan(plan)
    if wrong:
        raise AssertionError(f"the plan breaks its own rules: {'; '.join(wrong)}")
    left = sorted((*plan.left_out, *gathered.left_out), key=lambda each: (each.urgency, each.due_on, each.property))
    plan = replace(plan, left_out=tuple(left), driving=_driving_words(wish))
    if not plan.runs and not left:
        plan = replace(plan, nothing=_why_nothing(record_file, wish))
    visited = {tour.stops[stop].name for run in plan.runs for stop in run.stops}
    return Routed(plan, wish, tuple(name for name in gathered.drafts if name in visited))


def refuse_folder(folder: Path, *, overwrite: bool) -> None:
    """Refuse a folder that cannot take the files, before any work is done for it."""
    for name in FILES:
        refuse_existing(folder / name, overwrite=overwrite)


def write_route(
    routed: Routed, folder: Path, now: datetime, *, metric: bool = False, overwrite: bool = False
) -> tuple[Path, ...]:
    """Write a plan into a folder: list, JSON, map, GPX and calendar.

    Parameters
    ----------
    now
        When it is written, with its time zone; stands in the calendar.
    metric
        Distances in kilometres instead of miles.

    Returns
    -------
    tuple
        What was written; no calendar where no stop is planned.

    Raises
    ------
    OutputError
        If the folder cannot be written, or holds files already and `overwrite` is not set.
    """
    from asbuilt.output.icalendar_file import route_calendar
    from asbuilt.output.map.routemap import route_map

    refuse_folder(folder, overwrite=overwrite)
    plan = routed.plan
    texts = {
        "route.txt": clean(route_text(plan, metric=metric)) + "\n",
        "route.json": json.dumps(route_json(plan), allow_nan=False, indent=2) + "\n",
        "route.html": route_map(plan, metric=metric),
        "route.gpx": write_gpx(plan),
        "route.ics": route_calendar(plan, now),
    }
    made = {name: text for name, text in texts.items() if text is not None}
    return write_folder(folder, made, overwrite=overwrite, private=True)  # whom to call, and where they live


def _why_nothing(record_file: Path, wish: Wish) -> str:
    """Say that nothing is due in time, and what comes next."""
    later = [
        each
        for each in list_due(record_file, wish.on).listed
        if each.due.due_on is not None and each.due.task in wish.tasks
    ]
    why = f"no {' or '.join(wish.tasks)} is due within {wish.within} days of {wish.on}"
    return f"{why}; {next_words(later[0])}" if later else f"{why}, nor later"


def _driving_words(wish: Wish) -> str:
    if wish.matrix is not None:
        return f"those of {wish.matrix.name}"
    return f"straight lines times {wish.road_factor:g} at {wish.speed_words}"


def gallons_of(capacity: float) -> int:
    """Round what a truck holds down to whole gallons."""
    return math.floor(capacity + 1e-9)


def _checked(times: DrivingTimes, wish: Wish) -> DrivingTimes:
    """Refuse a table without the yard or a disposal site."""
    missing = [name for name in (YARD, *_dump_names(wish)) if not times.knows(name)]
    if missing:
        raise RouteError(
            f"{times.file}: no row and column for {', '.join(missing)}; it needs {YARD}, dump 1 (dump 2 ...) and "
            "the names of the properties"
        )
    return times


def _dump_names(wish: Wish) -> list[str]:
    return [f"dump {number}" for number in range(1, len(wish.dumps) + 1)]


def _by_property(listed: Iterable[Listed], tasks: Sequence[str]) -> dict[str, list[Listed]]:
    """Group the wanted tasks by property, the property with the most urgent first as the list is."""
    found: dict[str, list[Listed]] = {}
    for each in listed:
        if each.due.task in tasks:
            found.setdefault(each.due.property, []).append(each)
    return found


class _Gathered:
    """Stops and what cannot be one."""

    def __init__(self, wish: Wish, times: DrivingTimes | None) -> None:
        self.wish, self.times = wish, times
        self.stops: list[Stop] = []
        self.left_out: list[LeftOut] = []
        self.drafts: list[str] = []
        per_day = (wish.shift.end_s - wish.shift.start_s) // max(wish.shift.service_s, 1200)
        most = 2 * per_day * wish.days * len(wish.trucks_gal)
        self.most = min(MOST_TRIED, max(FEWEST_TRIED, most))

    def take(self, record: Record, wanted: dict[str, list[Listed]], listed: Sequence[Listed]) -> None:
        """Make stops of the wanted tasks, property by property, until as many as can be tried are there."""
        others: dict[str, list[str]] = {}
        for each in listed:
            if each.due.task not in self.wish.tasks:
                others.setdefault(each.due.property, []).append(f"{each.due.task} of {each.due.component}")
        for name, dues in wanted.items():
            if len(self.stops) < self.most:
                self._take_property(read_property(record, name), dues, tuple(others.get(name, ())))
            else:
                why = f"not tried: {len(self.stops)} stops that are due before it already fill more than the days"
                self._leave(dues, "days", why)

    def _take_property(self, known: PropertyRecord, dues: Sequence[Listed], also: tuple[str, ...]) -> None:
        place, name = _place(known), known.property.name
        if self.times is not None and not self.times.knows(name):
            self._leave(dues, "matrix", f"cannot be routed: {self.times.file} has no row and column for it")
            return
        if self.times is None and place is None:
            self._leave(dues, "place", "cannot be routed: no coordinates; give [earth] or known_coordinates.csv")
            return
        works = []
        for each in dues:
            load = _load(known, each, self.wish.on)
            if load is None:
                why = f"cannot be routed: {each.due.component} has no volume_gal, so nobody knows what it loads"
                self._leave([each], "volume", why)
            else:
                works.append(Work(each.due.component, each.due.task, _day(each), load))
        if works:
            if known.property.draft:
                self.drafts.append(name)
            self.stops.append(_stop(known, tuple(works), place, dues[0], also, self.wish.on))

    def _leave(self, dues: Sequence[Listed], code: str, why: str) -> None:
        works = tuple(Work(each.due.component, each.due.task, _day(each), 0) for each in dues)
        urgency = urgency_of(min(work.due_on for work in works), self.wish.on)
        self.left_out.append(left_out(Stop(dues[0].due.property, works, urgency), code, why))


def _stop(
    known: PropertyRecord,
    works: tuple[Work, ...],
    place: tuple[float, float] | None,
    whom: Listed,
    also: tuple[str, ...],
    today: date,
) -> Stop:
    longitude, latitude = place or (None, None)
    urgency = urgency_of(min(work.due_on for work in works), today)
    components = {work.component for work in works}
    notes = [f"{c.name}: {c.note}" for c in known.components if c.name in components and c.note and c.stands_on(today)]
    return Stop(
        known.property.name,
        works,
        urgency,
        longitude,
        latitude,
        whom.address,
        whom.owner,
        whom.phone,
        (*access_notes(known.property.access), *notes),
        also,
    )


def _day(each: Listed) -> date:
    assert each.due.due_on is not None  # noqa: S101 - those without a date were left out
    return each.due.due_on


def _place(known: PropertyRecord) -> tuple[float, float] | None:
    """Give longitude and latitude of a property: its first known coordinate, which is near enough to drive to."""
    places, _ = known_places(known)
    return (places[0].longitude, places[0].latitude) if places else None


def _load(known: PropertyRecord, each: Listed, today: date) -> int | None:
    """Give what a task loads; None = a tank of unknown volume."""
    if each.due.task != PUMP_OUT:
        return 0
    tanks = [c for c in known.components if c.name == each.due.component and c.stands_on(today)]
    volume = tanks[-1].volume_gal if tanks else None
    return None if volume is None else gallons(volume)


def _tour(wish: Wish, stops: tuple[Stop, ...], times: DrivingTimes | None) -> Tour:
    yard = Site(YARD, *wish.yard)
    dumps = tuple(Site(name, *place) for name, place in zip(_dump_names(wish), wish.dumps, strict=True))
    days = tuple(
        Day(on, Truck(f"truck {number}", gallons_of(capacity)))
        for on in wish.dates
        for number, capacity in enumerate(wish.trucks_gal, start=1)
    )
    if times is not None:
        names = [YARD, *_dump_names(wish), *(stop.name for stop in stops)]
        return Tour(yard, dumps, stops, days, wish.shift, times.table(names))
    places = [(site.longitude, site.latitude) for site in (yard, *dumps)]
    places += [(stop.longitude, stop.latitude) for stop in stops if stop.longitude is not None]  # type: ignore[misc]
    metres = road_metres(places, wish.road_factor)
    seconds = tuple(tuple(math.ceil(each / wish.speed_m_s) for each in row) for row in metres)
    return Tour(yard, dumps, stops, days, wish.shift, seconds, metres)


def road_metres(places: Sequence[tuple[float, float]], factor: float) -> tuple[tuple[int, ...], ...]:
    """Give the distances between places (longitude, latitude) on the ellipsoid times a factor, whole metres.

    The factor stands for the winding of roads: measured networks lie around 1.2 to 1.4 (from memory; a user who
    knows better gives a table of driving times).
    """
    import numpy as np

    from asbuilt.survey.earth import LocalFrame

    longitudes, latitudes = np.array(places, float).reshape(-1, 2).T
    rows = []
    for longitude, latitude in places:
        east, north = LocalFrame(longitude, latitude).to_plane(longitudes, latitudes)
        rows.append(tuple(int(metres) for metres in np.ceil(np.hypot(east, north) * factor - 1e-6)))
    return tuple(rows)

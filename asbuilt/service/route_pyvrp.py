"""Orders of stops by PyVRP, where the extra `route` is installed.

Each disposal site is a depot at which a truck may empty itself on its way. The last load has to be emptied too, which
the solver does not ask for by itself: so the way from a stop to the end leads through the disposal site that makes it
shortest. What comes out are orders of stops; our own timetable drives them again, so a slip here costs a better answer
and never a wrong one.
"""

from collections.abc import Sequence
from itertools import product
from typing import Any

from asbuilt.service.route_times import Order
from asbuilt.service.routes import YARD, Tour, Urgency, exchangeable

ITERATIONS = 1500
"""Rounds of the solver; it stops by their number and not by the clock, so that the answer stays the same."""

SEED = 1

PRIZE_SHIFTS = {
    Urgency.LONG_OVERDUE: 1024,
    Urgency.OVERDUE: 256,
    Urgency.DAYS_30: 64,
    Urgency.DAYS_90: 16,
    Urgency.YEAR: 4,
    Urgency.LATER: 1,
    Urgency.NO_DATE: 1,
}
"""What a visit is worth, in whole shifts: no way round to it can cost as much, and a more urgent one is worth four."""

METHOD = "PyVRP, then shortened by our own moves and exchanges"


def is_installed() -> bool:
    """Tell whether the extra is there."""
    try:
        import pyvrp  # noqa: F401
    except ImportError:
        return False
    return True


def orders_by_pyvrp(tour: Tour, iterations: int = ITERATIONS) -> Sequence[Order] | None:
    """Give orders of stops, one for each day of the tour; None where the solver found none that fits.

    Raises
    ------
    ImportError
        If the extra is not installed.
    """
    from pyvrp.stop import MaxIterations

    usable = [n for n, stop in enumerate(tour.stops) if stop.load_gal <= max(d.truck.capacity_gal for d in tour.days)]
    if not usable:
        return None
    model = _model(tour, usable)
    result = model.solve(MaxIterations(iterations), seed=SEED, display=False, collect_stats=False)
    if not result.is_feasible():
        return None
    groups = list(exchangeable(tour.days).values())
    free = [list(days) for days in groups]
    orders: list[Order] = [() for _ in tour.days]
    for route in result.best.routes():
        order = tuple(usable[each.idx] for each in route if each.is_client())
        orders[free[route.vehicle_type()].pop(0)] = order
    return orders


def _model(tour: Tour, usable: Sequence[int]) -> Any:
    """Put a tour into the solver's words: seconds as durations, gallons as what is picked up."""
    from pyvrp import Model

    model, shift = Model(), tour.shift
    yard, end = model.add_location(0, 0), model.add_location(0, 0)
    sites = [model.add_location(0, 0) for _ in tour.dumps]
    houses = [model.add_location(0, 0) for _ in usable]
    start_depot = model.add_depot(yard)
    end_depot = model.add_depot(end)
    # A disposal site must be done with by its closing time.
    last = max(shift.dump_open_s, shift.dump_close_s - shift.dump_s)
    reloads = [model.add_depot(site, shift.dump_open_s, last, shift.dump_s) for site in sites]
    for number, house in zip(usable, houses, strict=True):
        stop = tour.stops[number]
        prize = PRIZE_SHIFTS[stop.urgency] * (shift.end_s - shift.start_s)
        service = shift.service_of(stop)
        model.add_client(house, pickup=stop.load_gal, service_duration=service, prize=prize, required=False)
    # Exact with one disposal site; with several it may be a little too early, which our own search makes up for.
    closed = min(shift.dump_close_s + tour.drive_s[site][YARD] for site in range(1, tour.first_stop))
    home = max(shift.start_s, min(shift.end_s, closed))
    for capacity, days in exchangeable(tour.days).items():
        model.add_vehicle_type(
            len(days),
            capacity,
            start_depot,
            end_depot,
            tw_early=shift.start_s,
            tw_late=home,
            start_late=shift.start_s,
            unit_distance_cost=0,
            unit_duration_cost=1,
            reload_depots=reloads,
        )
    _edges(model, tour, usable, yard, end, [*sites, *houses])
    return model


def _edges(model: Any, tour: Tour, usable: Sequence[int], yard: Any, end: Any, others: Sequence[Any]) -> None:
    drive, first = tour.drive_s, tour.first_stop
    places = [*range(1, first), *(tour.place_of(stop) for stop in usable)]
    for (a, at), (b, to) in product(zip(places, others, strict=True), repeat=2):
        if a != b:
            model.add_edge(at, to, 0, drive[a][b])
    for place, location in zip(places, others, strict=True):
        model.add_edge(yard, location, 0, drive[YARD][place])
        loaded = place >= first and tour.stops[place - first].load_gal > 0
        home = _emptied_home(tour, place) if loaded else drive[place][YARD]
        model.add_edge(location, end, 0, home)
    model.add_edge(yard, end, 0, 0)


def _emptied_home(tour: Tour, place: int) -> int:
    """Give the seconds from a stop to the yard by way of the disposal site that makes it shortest."""
    drive = tour.drive_s
    return min(drive[place][site] + tour.shift.dump_s + drive[site][YARD] for site in range(1, tour.first_stop))

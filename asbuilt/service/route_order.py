"""Which stops, on which run, in which order: urgency first, then the least time away from the yard.

Our own plain search: the most urgent stop goes in first where it costs least, then runs are shortened by moving,
exchanging and turning round parts of them. Another solver's answer can be given as a further beginning; the best is
kept, so that an answer is never worse than the plain one.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from asbuilt.service.route_times import Order, Timetable
from asbuilt.service.routes import YARD, LeftOut, Plan, Run, Stop, Tour, Urgency, exchangeable

Orders = tuple[Order, ...]
"""One order of stops for each of the tour's days."""

MOVES_TRIED = 60_000
"""Changes looked at in one shortening: some seconds at most; a day of 15 stops needs a tenth of it."""

OWN_METHOD = "plain search: most urgent first where it costs least, then shortened by moves and exchanges"


@dataclass(frozen=True, slots=True)
class Rank:
    """How good orders are: more visits of each urgency before fewer, then less time away."""

    fewer: tuple[int, ...]
    away_s: int

    @property
    def key(self) -> tuple[tuple[int, ...], int]:
        """Sort key, the best first."""
        return self.fewer, self.away_s


Beginning = Callable[[Tour], Sequence[Order] | None]
"""Another solver: from a tour to orders of stops, one for each day; None where it has no answer."""


def plan_tour(tour: Tour, beginning: Beginning | None = None, method: str = OWN_METHOD) -> Plan:
    """Choose and order the stops of a tour.

    Parameters
    ----------
    tour
        What is to be planned.
    beginning
        Another solver whose answer is tried as a beginning beside our own.
    method
        How the order comes about, printed with the plan.

    Notes
    -----
    A stop is left out only where it cannot be fitted beside those of its own urgency or more that are visited, however
    many less urgent ones would have to go.
    """
    search = _Search(tour)
    begun: list[Orders] = [search.urgent_first(), search.nearest_next()]
    given = None if beginning is None else beginning(tour)
    if given is not None:
        begun.append(search.made_to_fit(given))
    best = min((search.finished(orders) for orders in begun), key=lambda orders: search.rank(orders).key)
    best = search.by_day(best)
    runs = []
    for day, order in zip(tour.days, best, strict=True):
        halts = search.times.halts(order, day.truck.capacity_gal) if order else None
        if halts is not None:
            runs.append(Run(day, halts))
    left = tuple(search.why_left(best, stop) for stop in search.left(best))
    return Plan(tour, tuple(runs), left, method)


class _Search:
    def __init__(self, tour: Tour) -> None:
        self.tour = tour
        self.times = Timetable(tour)
        self.capacity = [day.truck.capacity_gal for day in tour.days]
        self.by_urgency = sorted(range(len(tour.stops)), key=lambda stop: tour.stops[stop].sort_key)
        self.empty: Orders = tuple(() for _ in tour.days)

    # ------------------------------------------------------------ how good

    def away(self, day: int, order: Order) -> int | None:
        return self.times.away(order, self.capacity[day])

    def rank(self, orders: Orders) -> Rank:
        visited = [self.tour.stops[stop].urgency for order in orders for stop in order]
        away = sum(self.away(day, order) or 0 for day, order in enumerate(orders))
        return Rank(tuple(-visited.count(urgency) for urgency in Urgency), away)

    def left(self, orders: Orders) -> list[int]:
        visited = {stop for order in orders for stop in order}
        return [stop for stop in self.by_urgency if stop not in visited]

    # ------------------------------------------------------------ beginnings

    def urgent_first(self) -> Orders:
        return self.filled(self.empty)

    def nearest_next(self) -> Orders:
        """Fill day after day, always with the nearest stop that still fits, class of urgency by class."""
        orders, drive = list(self.empty), self.tour.drive_s
        for urgency in sorted({stop.urgency for stop in self.tour.stops}):
            waiting = {stop for stop in self.by_urgency if self.tour.stops[stop].urgency == urgency}
            for day in range(len(orders)):
                while True:
                    at = self.tour.place_of(orders[day][-1]) if orders[day] else YARD
                    near = sorted(waiting, key=lambda stop: (drive[at][self.tour.place_of(stop)], stop))
                    fits = (stop for stop in near if self.away(day, (*orders[day], stop)) is not None)
                    stop = next(fits, None)
                    if stop is None:
                        break
                    orders[day] = (*orders[day], stop)
                    waiting.remove(stop)
        return tuple(orders)

    def made_to_fit(self, given: Sequence[Order]) -> Orders:
        """Take the least urgent stops out of orders that do not fit."""
        orders = []
        for day, order in enumerate(given):
            while order and self.away(day, order) is None:
                least = max(order, key=self.by_urgency.index)
                order = tuple(stop for stop in order if stop != least)
            orders.append(order)
        return tuple(orders)

    # ------------------------------------------------------------ filling and shortening

    def finished(self, orders: Orders) -> Orders:
        """Shorten and fill until nothing more goes in, and nobody urgent waits for somebody less urgent."""
        rank = None
        while rank is None or self.rank(orders).key < rank.key:
            rank = self.rank(orders)
            orders = self.shortened(self.filled(self.shortened(orders)))
            orders = self.urgent_before(self.exchanged(orders))
        return orders

    def filled(self, orders: Orders) -> Orders:
        """Put in every stop that still fits, most urgent first."""
        for stop in self.left(orders):
            orders = self.with_stop(orders, stop) or orders
        return orders

    def with_stop(self, orders: Orders, stop: int) -> Orders | None:
        """Put one stop in where it costs least; None = it fits nowhere."""
        best: tuple[int, Orders] | None = None
        for day in self.different_days(orders):
            before = self.away(day, orders[day]) or 0
            for place in range(len(orders[day]) + 1):
                order = (*orders[day][:place], stop, *orders[day][place:])
                away = self.away(day, order)
                if away is not None and (best is None or away - before < best[0]):
                    best = (away - before, (*orders[:day], order, *orders[day + 1 :]))
        return None if best is None else best[1]

    def different_days(self, orders: Orders) -> Iterator[int]:
        """Give the days, of several empty ones with equal trucks only the first."""
        seen = set()
        for day, order in enumerate(orders):
            if order or self.capacity[day] not in seen:
                yield day
            if not order:
                seen.add(self.capacity[day])

    def urgent_before(self, orders: Orders) -> Orders:
        """Let a stop that is left out take the place of less urgent ones, if it can."""
        for stop in self.left(orders):
            urgency = self.tour.stops[stop].urgency
            kept = tuple(tuple(s for s in order if self.tour.stops[s].urgency <= urgency) for order in orders)
            if kept != orders and (taken := self.with_stop(kept, stop)) is not None:
                return self.filled(taken)
        return orders

    def exchanged(self, orders: Orders) -> Orders:
        """Exchange visited stops for equally urgent ones that are left out, as long as that saves time."""
        for stop in self.left(orders):
            urgency, saved = self.tour.stops[stop].urgency, self.rank(orders)
            for other in [each for order in orders for each in order]:
                if self.tour.stops[other].urgency == urgency:
                    without = tuple(tuple(each for each in order if each != other) for order in orders)
                    taken = self.with_stop(without, stop)
                    if taken is not None and self.rank(taken).key < saved.key:
                        orders, saved = taken, self.rank(taken)
                        break
        return self.filled(orders)

    def shortened(self, orders: Orders) -> Orders:
        """Change one or two runs at a time as long as that saves time."""
        tried, found = 0, True
        while found and tried < MOVES_TRIED:
            found = False
            for change in self.changes(orders):
                tried += 1
                if self.saves(orders, change):
                    orders = tuple(change.get(day, order) for day, order in enumerate(orders))
                    found = True
                    break
                if tried >= MOVES_TRIED:
                    break
        return orders

    def saves(self, orders: Orders, change: dict[int, Order]) -> bool:
        before = sum(self.away(day, orders[day]) or 0 for day in change)
        after = 0
        for day, order in change.items():
            away = self.away(day, order)
            if away is None or after + away >= before:
                return False
            after += away
        return True

    def changes(self, orders: Orders) -> Iterator[dict[int, Order]]:
        """Give changed runs: parts turned round, stops moved and exchanged, ends exchanged."""
        days = list(self.different_days(orders))
        for day in days:
            yield from ({day: order} for order in _within(orders[day]))
        for a in days:
            for b in days:
                if a != b and orders[a]:
                    yield from ({a: x, b: y} for x, y in _moved(orders[a], orders[b]))
                if a < b:
                    yield from ({a: x, b: y} for x, y in _exchanged(orders[a], orders[b]))

    def by_day(self, orders: Orders) -> Orders:
        """Give the runs with the most urgent stops to the first days; equal trucks can exchange them."""
        placed = list(orders)
        for days in exchangeable(self.tour.days).values():
            mine = sorted((orders[day] for day in days), key=self.mean_urgency)
            for day, order in zip(days, mine, strict=True):
                placed[day] = order
        return tuple(placed)

    def mean_urgency(self, order: Order) -> tuple[bool, float, Order]:
        if not order:
            return (True, 0.0, order)
        return (False, sum(self.tour.stops[stop].due_on.toordinal() for stop in order) / len(order), order)

    # ------------------------------------------------------------ why not

    def why_left(self, orders: Orders, stop: int) -> LeftOut:
        """Say what stands in the way of a stop that is left out."""
        it = self.tour.stops[stop]
        largest = max(self.capacity)
        if it.load_gal > largest:
            why = f"its {it.load_gal:,} gal do not go into the largest truck ({largest:,} gal)"
            return left_out(it, "capacity", why)
        alone = self.times.away((stop,), largest)
        if alone is None:
            return left_out(it, "hours", self.why_alone(stop, largest))
        return left_out(it, "days", self.why_no_room(orders, stop))

    def why_alone(self, stop: int, capacity: int) -> str:
        late = self.times.away((stop,), capacity, spare_s=7 * 86400)
        if late is None:
            return "even alone it cannot be emptied within the hours of a disposal site"
        over = late - (self.tour.shift.end_s - self.tour.shift.start_s)
        return f"even alone it takes {minutes_words(over)} more than the shift"

    def why_no_room(self, orders: Orders, stop: int) -> str:
        """Say what would make room: a larger truck, longer disposal hours, or how much more time."""
        kept = tuple(
            tuple(s for s in order if self.tour.stops[s].urgency <= self.tour.stops[stop].urgency) for order in orders
        )
        first = "no room beside stops as urgent or more"
        if self.fits_with(kept, stop, lambda day, order: self.times.away(order, 10**9)):
            return f"{first}: the truck is full, and there is no time for another trip to a disposal site"
        spare = self.shift_missing(kept, stop)
        if spare is None:
            return f"{first}: the disposal sites close too early for it"
        return f"{first}: it takes at least {minutes_words(spare)} more than is left of a shift"

    def fits_with(self, orders: Orders, stop: int, away: Callable[[int, Order], int | None]) -> bool:
        return any(away(day, order) is not None for day, order in self.with_it(orders, stop))

    def shift_missing(self, orders: Orders, stop: int) -> int | None:
        length = self.tour.shift.end_s - self.tour.shift.start_s
        aways = (self.times.away(order, self.capacity[day], 7 * 86400) for day, order in self.with_it(orders, stop))
        return min((away - length for away in aways if away is not None), default=None)

    def with_it(self, orders: Orders, stop: int) -> Iterator[tuple[int, Order]]:
        for day in self.different_days(orders):
            for place in range(len(orders[day]) + 1):
                yield day, (*orders[day][:place], stop, *orders[day][place:])


def left_out(stop: Stop, code: str, why: str) -> LeftOut:
    """Say that a stop is left out."""
    return LeftOut(stop.name, stop.works_words, stop.urgency, stop.due_on, code, why)


def minutes_words(seconds: int) -> str:
    """Write a time as people say it, rounded up to minutes: 1 h 5 min."""
    minutes = -(-seconds // 60)
    hours, rest = divmod(minutes, 60)
    return " ".join(
        part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest or not hours else "") if part
    )


def _within(order: Order) -> Iterable[Order]:
    """Turn round parts of one run, and move one to three stops within it."""
    count = len(order)
    for i in range(count):
        for j in range(i + 2, count + 1):
            yield (*order[:i], *reversed(order[i:j]), *order[j:])
    for i in range(count):
        for length in (1, 2, 3):
            part, rest = order[i : i + length], order[:i] + order[i + length :]
            if i + length <= count:
                yield from ((*rest[:k], *part, *rest[k:]) for k in range(len(rest) + 1) if k != i)
    for i in range(count):
        for j in range(i + 2, count):
            yield (*order[:i], order[j], *order[i + 1 : j], order[i], *order[j + 1 :])


def _moved(giver: Order, taker: Order) -> Iterable[tuple[Order, Order]]:
    """Move one to three stops from one run into another."""
    for i in range(len(giver)):
        for length in (1, 2, 3):
            if i + length <= len(giver):
                part, rest = giver[i : i + length], giver[:i] + giver[i + length :]
                yield from ((rest, (*taker[:k], *part, *taker[k:])) for k in range(len(taker) + 1))


def _exchanged(one: Order, other: Order) -> Iterable[tuple[Order, Order]]:
    """Exchange two stops, or the ends, of two runs."""
    for i in range(len(one)):
        for j in range(len(other)):
            yield (*one[:i], other[j], *one[i + 1 :]), (*other[:j], one[i], *other[j + 1 :])
    for i in range(len(one) + 1):
        for j in range(len(other) + 1):
            yield (*one[:i], *other[j:]), (*other[:j], *one[i:])

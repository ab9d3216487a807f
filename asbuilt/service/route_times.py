"""When a run is back: the best places to empty the truck along a given order of stops."""

from dataclasses import dataclass, field

from asbuilt.service.routes import YARD, Halt, Tour

Order = tuple[int, ...]
"""Numbers of stops in the order in which they are visited."""


@dataclass(frozen=True, slots=True)
class _Emptied:
    """The earliest way to have visited the first so many stops and left a disposal site with an empty truck."""

    leave_s: int
    before: tuple[int, int] | None  #: (stops, place) where the truck was empty last; None = at the yard


@dataclass(slots=True)
class Timetable:
    """Times of runs of one tour, by order of stops and capacity.

    The way back through the disposal sites is found exactly, by dynamic programming over the last place at which the
    truck was empty: from there on only the earliest time counts, because to be early is never a loss.
    """

    tour: Tour
    _known: dict[tuple[Order, int, int], int | None] = field(default_factory=dict)

    def away(self, order: Order, capacity_gal: int, spare_s: int = 0) -> int | None:
        """Give the seconds from leaving the yard to being back; None = it cannot be done.

        Parameters
        ----------
        spare_s
            By how much the end of the shift is put off, to see what is missing.
        """
        if not order:
            return 0
        key = (order, capacity_gal, spare_s)
        if key not in self._known:
            found = self._search(order, capacity_gal, spare_s)
            self._known[key] = None if found is None else found[0] - self.tour.shift.start_s
        return self._known[key]

    def halts(self, order: Order, capacity_gal: int) -> tuple[Halt, ...] | None:
        """Give the halts of a run with their times, the yard first and last; None = it cannot be done."""
        found = self._search(order, capacity_gal, 0)
        if found is None:
            return None
        _, ways, end = found
        emptied: list[tuple[int, int]] = []  # after how many stops the truck is emptied, and where
        here: tuple[int, int] | None = end
        while here is not None and here[1] != YARD:
            emptied.append(here)
            here = ways[here[0]][here[1]].before
        return _driven(self.tour, order, dict(emptied))

    def _search(
        self, order: Order, capacity_gal: int, spare_s: int
    ) -> tuple[int, list[dict[int, _Emptied]], tuple[int, int]] | None:
        """Find the earliest time of being back, and from where the truck drove home empty."""
        tour, shift = self.tour, self.tour.shift
        drive, first, count = tour.drive_s, tour.first_stop, len(order)
        loads = [tour.stops[stop].load_gal for stop in order]
        works = [shift.service_of(tour.stops[stop]) for stop in order]
        latest = shift.end_s + spare_s
        ways: list[dict[int, _Emptied]] = [{} for _ in range(count + 1)]
        ways[0][YARD] = _Emptied(shift.start_s, None)
        best: tuple[int, tuple[int, int]] | None = None
        for done in range(count + 1):
            for place, way in ways[done].items():
                now, at, load = way.leave_s, place, 0
                for k in range(done, count):
                    load += loads[k]
                    now += drive[at][first + order[k]] + works[k]
                    if load > capacity_gal or now > latest:
                        break
                    at = first + order[k]
                    if load:
                        self._empty(ways[k + 1], now, at, (done, place))
                else:
                    home = now + drive[at][YARD]
                    if load == 0 and home <= latest and (best is None or home < best[0]):
                        best = (home, (done, place))
        return None if best is None else (best[0], ways, best[1])

    def _empty(self, ways: dict[int, _Emptied], now: int, at: int, before: tuple[int, int]) -> None:
        """Try every disposal site from a place, and keep the earliest way to leave each."""
        tour, shift = self.tour, self.tour.shift
        for place in range(1, tour.first_stop):
            leave = max(now + tour.drive_s[at][place], shift.dump_open_s) + shift.dump_s
            if leave <= shift.dump_close_s and (place not in ways or leave < ways[place].leave_s):
                ways[place] = _Emptied(leave, before)


def _driven(tour: Tour, order: Order, emptied: dict[int, int]) -> tuple[Halt, ...]:
    """Drive an order of stops with the disposal sites after so many stops, and note every time."""
    shift = tour.shift
    now, at, load = shift.start_s, YARD, 0
    halts = [Halt("yard", 0, now, now, now, 0)]
    for number, stop in enumerate(order, start=1):
        now += tour.drive_s[at][tour.place_of(stop)]
        at, load = tour.place_of(stop), load + tour.stops[stop].load_gal
        leave = now + shift.service_of(tour.stops[stop])
        halts.append(Halt("stop", stop, now, now, leave, load))
        now = leave
        if number in emptied:
            now += tour.drive_s[at][emptied[number]]
            at, load = emptied[number], 0
            begin = max(now, shift.dump_open_s)
            halts.append(Halt("dump", at - 1, now, begin, begin + shift.dump_s, 0))
            now = begin + shift.dump_s
    now += tour.drive_s[at][YARD]
    return (*halts, Halt("yard", 0, now, now, now, load))

"""An invented district for the maps of pins, and the same with hostile words in every field."""

import dataclasses
from datetime import date, timedelta
from typing import Any

from asbuilt.output.map.duemap import due_map
from asbuilt.output.map.routemap import route_map
from asbuilt.service.due import Due, Listed
from asbuilt.service.route_order import plan_tour
from asbuilt.service.routes import Plan, Site, Stop, Work, urgency_of
from tests.test_routes import tour_of

DAY = date(2027, 5, 3)
WEST, SOUTH = -30.0, 45.0
"""In the middle of an ocean, where nobody lives."""

DAYS = (-800, -400, -20, -1, 0, 25, 60, 89, 200, 900)
"""Days from the map's day to the due date of each sample property; two of each step."""


def listed(name: str, days: int | None, words: str | None = None) -> Listed:
    """Give one task of one property; `words` stands in every field of text."""
    due_on = None if days is None else DAY + timedelta(days)
    text = words or "septic tank"
    due = Due(
        name, text, words or "pump-out", due_on, None, None, words or "why", "", words or "", bool(days and days < 0)
    )
    return Listed(due, words or f"{name}, Hollow Mere (invented)", words or "R. Example", words or "555-0142")


def sample_due_map() -> str:
    """Give a map of ten properties in rows, a heap of three, one without a date and one without a place."""
    some = [listed(f"Road {n}", days) for n, days in enumerate(DAYS)]
    heap = [listed(f"Heap {n}", days) for n, days in enumerate((300, -30, 70))]
    places = {f"Road {n}": (WEST + n % 4 * 0.08, SOUTH + n // 4 * 0.06) for n in range(len(DAYS))}
    places |= {f"Heap {n}": (WEST + 0.04 + n * 1e-3, SOUTH - 0.06) for n in range(3)}
    places["No date"] = (WEST + 0.2, SOUTH - 0.06)
    return due_map([*some, *heap, listed("No date", None), listed("No place", -3)], places, DAY)


def hostile_due_map(words: str) -> str:
    """Give a map with hostile words in every field of text."""
    return due_map([listed(words, -3, words), listed(f"{words} 2", 3, words)], {words: (WEST, SOUTH)}, DAY)


def sample_plan(words: str | None = None) -> Plan:
    """Give a plan of two trucks, and of one stop that is left out; `words` stands in every field of text."""
    stops = []
    for number in range(6):
        load = 2600 if number == 5 else 1000
        work = Work(words or "septic tank", words or "pump-out", DAY - timedelta(number), load)
        more: dict[str, Any] = {"address": words or "Hollow Mere (invented)", "owner": words, "phone": words}
        more |= {"notes": (words or "gate: code at the post",), "also_due": (words or "inspection",)}
        name = f"{words} {number}" if words else f"Road {number}"
        place = (WEST + 0.02 * number, SOUTH + 0.01 * (-1) ** number)
        stops.append(Stop(name, (work,), urgency_of(work.due_on, DAY), *place, **more))
    kilometres = [(0.0, 0.0), (12.0, 4.0), *((4.0 + 4 * n, 2.0 * (-1) ** n) for n in range(6))]
    tour = tour_of(kilometres, stops, trucks=(2500, 2000))
    shift = dataclasses.replace(tour.shift, end_s=tour.shift.start_s + 3 * 3600, dump_open_s=0)
    sites = {"yard": Site("yard", WEST - 0.02, SOUTH), "dumps": (Site("dump 1", WEST + 0.06, SOUTH + 0.03),)}
    return plan_tour(dataclasses.replace(tour, shift=shift, **sites))


def sample_route_map(words: str | None = None) -> str:
    """Draw the sample plan."""
    return route_map(sample_plan(words))

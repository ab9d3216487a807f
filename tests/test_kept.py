"""Intervals kept and missed: what was done, against the day it was due as things stood the day before."""

from dataclasses import replace
from datetime import date

from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.place import Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.profiles import built_in
from asbuilt.service.kept import intervals_kept

TANK = Component("septic tank", "septic tank", volume_gal=1000.0, installed_on=date(2015, 1, 1))
HOUSE = PropertyRecord(
    Property("Invented Lane 7", "ft"),
    (ReferencePoint("A"),),
    components=(TANK,),
    household=(Household(date(2015, 1, 1), 4.0),),
)


def kept(*entries: tuple[str, str], gallons: float = 950.0) -> dict[tuple[str, str], int]:
    service = tuple(
        ServiceEntry(date.fromisoformat(on), "septic tank", task, gallons=gallons if task == "pump-out" else None)
        for on, task in entries
    )
    done = intervals_kept(replace(HOUSE, service=service), date(2026, 1, 1), built_in("common"))
    return {(each.task, each.done_on.isoformat()): each.late_days for each in done}


def test_a_pump_out_in_time_is_kept_and_a_late_one_says_by_how_much() -> None:
    # 1,000 gal and 4 people: 2.6 years by the published table, which is 2017-08-08 by its closed form
    assert kept(("2017-07-01", "pump-out"))["pump-out", "2017-07-01"] == 0
    late = kept(("2018-08-01", "pump-out"))["pump-out", "2018-08-01"]
    assert 330 < late < 380


def test_what_comes_later_does_not_change_what_was_missed_before() -> None:
    alone = kept(("2018-08-01", "pump-out"))
    more = kept(("2018-08-01", "pump-out"), ("2020-06-01", "pump-out"), ("2021-01-01", "inspection"))
    assert more["pump-out", "2018-08-01"] == alone["pump-out", "2018-08-01"]


def test_a_part_of_a_tank_is_no_pump_out() -> None:
    assert ("pump-out", "2017-07-01") not in kept(("2017-07-01", "pump-out"), gallons=300.0)


def test_an_inspection_three_years_and_a_day_after_the_last_is_one_day_late() -> None:
    done = kept(("2017-12-31", "inspection"), ("2021-01-01", "inspection"))
    assert done["inspection", "2017-12-31"] == 0
    assert done["inspection", "2021-01-01"] == 1

"""Criteria of each code at its edge, its intervals, and what a pumper's record must hold.

Sources and what of them was read: `pump_out_criteria.toml`.
"""

import tomllib
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.profiles import built_in
from asbuilt.service.schedule import due_tasks
from asbuilt.units import Length

PUBLISHED = tomllib.loads(Path(__file__).with_name("pump_out_criteria.toml").read_text(encoding="utf-8"))
INSTALLED, READ, TODAY = date(2020, 1, 1), date(2023, 1, 1), date(2023, 6, 1)
DEPTH, OUTLET = 48.0, 14.0


def inches(value: float) -> Length:
    return Length(f"{value} in", value * 0.0254, 0.0254)


def layers(key: str, quantity: float) -> dict[str, Length]:
    """Give the reading that leaves exactly that distance or that share."""
    if key == "sludge_to_outlet":
        return {"sludge_top": inches(OUTLET + quantity)}
    if key == "scum_to_outlet":
        return {"scum_bottom": inches(OUTLET - quantity)}
    return {"sludge": inches(quantity / 100 * DEPTH - 2), "scum": inches(2)}


def record(reading: ServiceEntry | None, *, pump: bool = False) -> PropertyRecord:
    tank = Component(
        "septic tank",
        "septic tank",
        volume_gal=1250,
        liquid_depth=inches(DEPTH),
        outlet_depth=inches(OUTLET),
        installed_on=INSTALLED,
    )
    parts = (tank, Component("pump tank", "pump tank", installed_on=INSTALLED)) if pump else (tank,)
    return PropertyRecord(
        Property("Invented", "ft-in"),
        (),
        components=parts,
        household=(Household(INSTALLED, 2),),
        service=() if reading is None else (reading,),
    )


@pytest.mark.parametrize("edge", PUBLISHED["edge"], ids=lambda edge: f"{edge['profile']}-{edge['key']}")
@pytest.mark.parametrize("side", ["due", "not_due"])
def test_a_tank_is_due_on_the_day_it_was_measured_only_beyond_the_edge(edge: dict[str, Any], side: str) -> None:
    profile = built_in(edge["profile"])
    alone = replace(profile, limits=tuple(limit for limit in profile.limits if limit.key == edge["key"]))
    reading = ServiceEntry(READ, "septic tank", "inspection", **layers(edge["key"], edge[side]))
    (due,) = (due for due in due_tasks(record(reading), TODAY, alone)[0] if due.task == "pump-out")
    assert due.method == "measured solids"
    assert (due.due_on == READ and "met by the reading itself" in due.reason) is (side == "due")
    assert due.reference.startswith(
        {"epa": "US EPA", "minnesota": "Minn. R. 7080.2450"}.get(edge["profile"], "310 CMR")
    )


@pytest.mark.parametrize("interval", PUBLISHED["interval"], ids=str)
def test_an_inspection_is_due_after_the_interval_of_the_rule(interval: dict[str, Any]) -> None:
    sheets = record(ServiceEntry(READ, "septic tank", "inspection"), pump=interval["pump"])
    dues = {due.task: due for due in due_tasks(sheets, TODAY, built_in(interval["profile"]))[0]}
    years, months = divmod(interval["months"], 12)
    assert months == 0
    assert dues["inspection"].due_on == READ.replace(year=READ.year + years)


def test_everything_that_the_rule_wants_in_a_pumpers_record_has_its_column() -> None:
    items = built_in("minnesota").record_items
    assert [item.item for item in items] == PUBLISHED["record"]["items"]
    assert all(set(item.fields) <= set(ServiceEntry.__slots__) for item in items)
    assert {item.reference.section for item in items} == {"7083.0770"}


def test_a_full_pump_out_keeps_the_minnesota_rule_and_a_partial_one_does_not() -> None:
    """R. 7080.2450 subp. 2: measured or removed no less often than every 3 years."""
    for gallons, counted_from in ((1200, READ), (400, INSTALLED)):
        sheets = record(ServiceEntry(READ, "septic tank", "pump-out", gallons=gallons))
        dues = {due.task: due for due in due_tasks(sheets, TODAY, built_in("minnesota"))[0]}
        assert dues["inspection"].due_on == counted_from.replace(year=counted_from.year + 3)


def test_a_disposer_makes_the_massachusetts_interval_a_year() -> None:
    """310 CMR 15.351(1): annually with a garbage grinder, else typically at least once every 3 years."""
    sheets = record(ServiceEntry(READ, "septic tank", "pump-out", gallons=1200))
    for disposer, year in ((True, 2024), (False, 2026)):
        household = (Household(INSTALLED, 2, disposer=disposer),)
        dues = due_tasks(replace(sheets, household=household), TODAY, built_in("massachusetts"))[0]
        (due,) = (each for each in dues if each.task == "pump-out")
        assert (due.due_on, due.method) == (READ.replace(year=year), "rule profile")

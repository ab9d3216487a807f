"""What a transfer inspection asks for, and which entry answers it."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from asbuilt.model.entries import ServiceEntry
from asbuilt.model.place import Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.sheets.read import read_sheets
from asbuilt.service.transfer import asked_at_transfer
from tests.commands import ROOT

TODAY = date(2026, 6, 1)


@pytest.fixture(scope="module")
def sample() -> PropertyRecord:
    return read_sheets(Path(ROOT) / "sample_property").record


def answers(record: PropertyRecord, today: date = TODAY) -> dict[str, str | None]:
    return {each.asked: each.words for each in asked_at_transfer(record, today, ())}


def test_an_empty_record_answers_nothing_but_that_there_is_no_box_and_no_pump() -> None:
    told = answers(PropertyRecord(Property("Bare Lane 1", "ft"), (ReferencePoint("A"),)))
    assert [words for words in told.values() if words is not None] == [
        "no distribution box is recorded",
        "no pump tank is recorded",
    ]


def test_the_entry_that_answers_is_named_with_its_day_and_how_it_is_known(sample: PropertyRecord) -> None:
    told = answers(sample)
    assert told["An inspection within 2 years before the sale (3 where pumped every year)"] == (
        "septic tank, 2026-04-18, 44 days ago, by J. Placeholder Inspections (invented) (own reading)"
    )
    assert told["Condition of the baffles"] == (
        "2026-04-18, septic tank: baffles sound, by J. Placeholder Inspections (invented) (own reading)"
    )
    assert told["Pumping more than 4 times a year"] == "3 days of pumping are recorded, at most 1 within a year"
    assert told["Whether the house is lived in"] == "4 people"


def test_what_was_not_yet_known_on_the_day_answers_nothing(sample: PropertyRecord) -> None:
    told = answers(sample, date(2018, 1, 1))
    assert told["An inspection within 2 years before the sale (3 where pumped every year)"] is None
    assert told["Depth of the sludge"] is None
    assert told["Whether the house is lived in"] == "2 people"


def test_liquid_above_the_outlet_is_told_whatever_came_after(sample: PropertyRecord) -> None:
    told = answers(sample)["Backup, liquid above an outlet, or running back"]
    assert told is not None
    assert told.startswith("pump tank, 2022-08-13")


def test_five_pump_outs_in_a_year_are_counted(sample: PropertyRecord) -> None:
    often = tuple(ServiceEntry(date(2025, month, 3), "septic tank", "pump-out") for month in (1, 3, 5, 7, 9))
    told = answers(replace(sample, service=often))
    assert told["Pumping more than 4 times a year"] == "5 days of pumping are recorded, at most 5 within a year"

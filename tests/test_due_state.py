"""The due list that is kept in the record: always what a fresh reckoning gives, however the record was written."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest

from asbuilt.errors import AsbuiltError, UnknownNameError
from asbuilt.jobs import due as jobs_due
from asbuilt.jobs.due import due_json, dues_of, list_due, rebuild, reckon
from asbuilt.jobs.record_service import add_service, service_entries, undo_service
from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.place import Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import open_record
from asbuilt.record.due_state import kept_differs, read_due_texts, stale_properties
from asbuilt.record.entries import read_all
from asbuilt.record.loading import store_sheets
from asbuilt.record.profiles import reckoned_by
from tests.record_samples import sheet_rows

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
TODAY = NOW.date()
NAMES = ("One", "Two", "Three")


def known(name: str, *service: ServiceEntry) -> PropertyRecord:
    tank = Component("septic tank", "septic tank", volume_gal=1000, installed_on=date(2018, 1, 1))
    pump = Component("pump tank", "pump tank", installed_on=date(2018, 1, 1))
    place = Property(name, "ft-in", address=f"{name} Invented Road", owner="Nobody", phone="555-0100")
    household = (Household(date(2018, 1, 1), 3.0),)
    return PropertyRecord(place, (ReferencePoint("A"),), components=(tank, pump), household=household, service=service)


def due_rows(path: Path, today: date, **only: Any) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = json.loads(due_json(path, today, **only)[0])
    return rows


def store(path: Path, record: PropertyRecord, *, kept: bool = True, supersede: str | None = None) -> None:
    with open_record(path, create=True) as opened:
        rows = sheet_rows(record)
        store_sheets(opened, rows, who="t", now=NOW, supersede=supersede, reckon=reckon if kept else None)


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "office.db"
    for place, name in enumerate(NAMES):
        store(path, known(name, ServiceEntry(date(2024, 1 + place, 1), "septic tank", "pump-out", gallons=1000)))
    yield path


def fresh(path: Path, today: date) -> list[dict[str, object]]:
    rows = [dict(due.as_json()) for known in recorded(path) for due in dues_of(known, today)[0]]
    return sorted(rows, key=lambda row: [str(row[key] or "9") for key in ("due_on", "property", "component", "task")])


def recorded(path: Path) -> list[PropertyRecord]:
    with open_record(path, read_only=True) as record:
        return list(read_all(record))


def differing(path: Path) -> list[str]:
    """Give the properties whose kept list, where it counts as good, is not what a fresh reckoning gives."""
    with open_record(path, read_only=True) as record:
        return [known.property.name for known in list(read_all(record)) if kept_differs(record, known, reckon)]


def stale(path: Path, today: date = TODAY) -> list[str]:
    with open_record(path, read_only=True) as record:
        return stale_properties(record, today, reckoned_by())


def test_loading_keeps_the_list_and_reading_it_reckons_nothing_anew(
    office: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert stale(office) == []
    expected = fresh(office, TODAY)

    def never(*_: object) -> None:
        raise AssertionError("reckoned anew")

    monkeypatch.setattr(jobs_due, "dues_of", never)
    assert due_rows(office, TODAY) == expected
    assert [one.due.as_json() for one in list_due(office, TODAY).listed] == expected


def test_a_random_history_of_entries_and_undoings_keeps_the_list_equal_to_a_fresh_reckoning(office: Path) -> None:
    random = Random(7)  # noqa: S311 - a story to play through, no secret
    tasks = ("pump-out", "inspection", "filter", "pump and alarm test")
    for _ in range(60):
        name = random.choice(NAMES)
        entries = [each for each in service_entries(office, name) if each.number > 6]
        if entries and random.random() < 0.35:
            undo_service(office, name, random.choice(entries).number, reason="slip", who="t", now=NOW)
        else:
            on = TODAY - timedelta(days=random.randrange(2500))
            component = random.choice(("septic tank", "pump tank"))
            gallons = random.choice((None, 300.0, 1000.0, 1500.0))
            with suppress(AsbuiltError):  # the very same entry may come up twice
                entry = ServiceEntry(on, component, random.choice(tasks), gallons=gallons)
                add_service(office, name, entry, who="t", now=NOW)
        assert stale(office) == []
    assert differing(office) == []
    for today in (TODAY, TODAY + timedelta(days=900), date(2020, 1, 1)):
        rows = due_rows(office, today)
        assert sorted(map(str, rows)) == sorted(map(str, fresh(office, today)))
        assert [row["due_on"] or "9" for row in rows] == sorted(row["due_on"] or "9" for row in rows)


def test_a_list_that_was_not_kept_is_reckoned_when_read_and_rebuild_keeps_it(office: Path) -> None:
    store(office, known("Four"), kept=False)
    assert stale(office) == ["Four"]
    assert {row["property"] for row in due_rows(office, TODAY)} == {*NAMES, "Four"}
    assert list_due(office, TODAY).reckoned_anew == 1
    assert rebuild(office) == (4, 1)
    assert stale(office) == []
    assert rebuild(office) == (4, 0)


def test_an_altered_list_is_found_and_rebuilt(office: Path) -> None:
    db = sqlite3.connect(office)
    db.execute("UPDATE due_state SET row = replace(row, '202', '209') WHERE property_id = 2 AND task = 'pump-out'")
    db.commit()
    db.close()
    assert differing(office) == ["Two"]
    assert rebuild(office) == (3, 1)
    assert differing(office) == []


def test_another_version_of_the_program_or_of_its_rules_makes_every_list_stale(
    office: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(jobs_due, "_mark", lambda: "another version")
    assert list_due(office, TODAY).reckoned_anew == 3
    assert due_rows(office, TODAY) == fresh(office, TODAY)


def test_an_entry_dated_ahead_holds_from_its_day_on(office: Path) -> None:
    ahead = TODAY + timedelta(days=10)
    store(office, known("Ahead", ServiceEntry(ahead, "septic tank", "inspection")))
    assert stale(office) == ["Ahead"]
    assert stale(office, ahead) == []
    for today in (TODAY, ahead - timedelta(days=1), ahead):
        assert due_rows(office, today, name="Ahead") == [
            row for row in fresh(office, today) if row["property"] == "Ahead"
        ]


def test_superseded_sheets_and_a_tank_taken_out_change_the_list_in_the_same_step(office: Path) -> None:
    one = known("One")
    gone = replace(one.components[0], removed_on=date(2025, 1, 1))
    store(office, replace(one, components=(gone, one.components[1])), supersede="tank taken out")
    assert stale(office) == []
    tasks = {row["task"] for row in due_rows(office, TODAY, name="One")}
    assert tasks == {"pump and alarm test"}
    assert differing(office) == []


def test_nothing_of_the_list_is_kept_where_the_entries_are_not(office: Path) -> None:
    before = office.read_bytes()

    def breaks(_: PropertyRecord) -> object:
        raise RuntimeError("in the middle")

    with open_record(office) as record, pytest.raises(RuntimeError, match="in the middle"):
        store_sheets(record, sheet_rows(known("Five")), who="t", now=NOW, reckon=breaks)  # type: ignore[arg-type]
    assert {each.property.name for each in recorded(office)} == set(NAMES)
    assert differing(office) == []
    assert len(office.read_bytes()) == len(before)


def test_within_task_and_property_choose_rows(office: Path) -> None:
    everything = fresh(office, TODAY)
    for within in (0, 30, 365, 10**7):
        until = date.fromordinal(min(date.max.toordinal(), TODAY.toordinal() + within)).isoformat()
        expected = [row for row in everything if row["due_on"] and str(row["due_on"]) <= until]
        assert due_rows(office, TODAY, within=within) == expected
        assert len(list_due(office, TODAY, within=within).listed) == len(expected)
    assert {row["task"] for row in due_rows(office, TODAY, task="inspection")} == {"inspection"}
    assert {row["property"] for row in due_rows(office, TODAY, name="Two")} == {"Two"}
    with pytest.raises(UnknownNameError, match="no property 'Nine'"):
        due_rows(office, TODAY, name="Nine")


def test_the_query_reads_the_days_that_are_asked_for_and_sorts_nothing(office: Path) -> None:
    asked: list[str] = []
    with open_record(office, read_only=True) as record:
        record.connection.set_trace_callback(asked.append)
        read_due_texts(record, until=TODAY)
        record.connection.set_trace_callback(None)
        (query,) = (each for each in asked if "due_state" in each)
        plan = str(record.connection.execute(f"EXPLAIN QUERY PLAN {query}").fetchall())
    assert "PRIMARY KEY (due_on<?)" in plan
    assert "TEMP B-TREE" not in plan

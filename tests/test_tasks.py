"""Tasks by interval, service entries in hard cases, and a year played through. All data invented."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.findings import Severity
from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.tasks import OwnTask, parse_months
from asbuilt.record.profiles import built_in
from asbuilt.rules.profile import Profile
from asbuilt.service.due import Due, months_after, months_words
from asbuilt.service.schedule import due_tasks, settled_on

COMMON = built_in("common")
TODAY = date(2026, 6, 1)
IN = date(2020, 5, 1)
TANK = Component("septic tank", "septic tank", volume_gal=1250, installed_on=IN)
PUMP = Component("pump tank", "pump tank", volume_gal=500, installed_on=IN)
LATERALS = tuple(Component(f"lateral {k}", "lateral", installed_on=IN) for k in (10, 2, 3))
FOUR = (Household(IN, 4.0),)


def record(
    *components: Component, service: tuple[ServiceEntry, ...] = (), tasks: tuple[OwnTask, ...] = ()
) -> PropertyRecord:
    return PropertyRecord(
        Property("Invented", "ft-in"), (), components=components, household=FOUR, service=service, tasks=tasks
    )


def due(known: PropertyRecord, task: str, component: str | None = None, profile: Profile = COMMON) -> Due:
    (only,) = (
        each
        for each in due_tasks(known, TODAY, profile)[0]
        if each.task == task and component in (None, each.component)
    )
    return only


def names(known: PropertyRecord) -> set[tuple[str, str]]:
    return {(each.component, each.task) for each in due_tasks(known, TODAY, COMMON)[0]}


def codes(known: PropertyRecord, today: date = TODAY) -> set[str]:
    return {each.code for each in due_tasks(known, today, COMMON)[1]} - {"overdue"}


# ------------------------------------------------------------ what a kind brings


def test_a_gravity_system_brings_pump_out_and_inspection_only() -> None:
    assert names(record(TANK, *LATERALS)) == {("septic tank", "pump-out"), ("septic tank", "inspection")}


def test_a_pump_brings_its_test_and_the_flush_of_all_laterals_together() -> None:
    assert names(record(TANK, PUMP, *LATERALS)) == {
        ("septic tank", "pump-out"),
        ("septic tank", "inspection"),
        ("pump tank", "pump and alarm test"),
        ("lateral 2", "lateral flush and squirt test"),
    }


def test_a_treatment_unit_and_an_effluent_filter_bring_their_service() -> None:
    unit = Component("unit", "aerobic treatment unit", installed_on=IN)
    sieve = Component("filter", "effluent filter", installed_on=IN)
    known = record(TANK, unit, sieve)
    assert due(known, "treatment-unit service").due_on == date(2020, 11, 1)
    assert due(known, "effluent filter").due_on == date(2021, 5, 1)


def test_a_filter_that_was_once_serviced_on_the_tank_comes_again_there() -> None:
    done = ServiceEntry(date(2025, 9, 1), "septic tank", "filter")
    assert due(record(TANK, service=(done,)), "effluent filter", "septic tank").due_on == date(2026, 9, 1)
    told = ServiceEntry(date(2025, 10, 1), "septic tank", "inspection", filter="rinsed")
    assert due(record(TANK, service=(done, told)), "effluent filter").due_on == date(2026, 10, 1)


def test_a_task_never_done_counts_from_installation_and_says_so() -> None:
    one = due(record(TANK), "inspection")
    assert one.due_on == date(2023, 5, 1)
    assert one.reason.startswith("never recorded as done, so counted from installation 2020-05-01; every 3 years by ")


def test_service_off_schedule_shifts_the_next_one() -> None:
    early = ServiceEntry(date(2022, 1, 15), "septic tank", "inspection")
    late = ServiceEntry(date(2024, 8, 31), "septic tank", "inspection")
    assert due(record(TANK, service=(early,)), "inspection").due_on == date(2025, 1, 15)
    assert due(record(TANK, service=(late, early)), "inspection").due_on == date(2027, 8, 31)


def test_what_was_done_to_the_one_before_in_the_same_hole_does_not_count() -> None:
    old = replace(PUMP, removed_on=date(2025, 3, 1))
    new = replace(PUMP, installed_on=date(2025, 3, 1))
    tested = ServiceEntry(date(2025, 2, 1), "pump tank", "pump and alarm test")
    one = due(record(old, new, service=(tested,)), "pump and alarm test")
    assert one.due_on == date(2026, 3, 1)


# ------------------------------------------------------------ which interval wins


def test_the_earliest_of_rule_maker_and_owner_wins_and_one_line_says_so() -> None:
    own = (
        OwnTask("septic tank", "inspection", 24, "maker"),
        OwnTask("septic tank", "inspection", 18, "owner", note="sandy soil"),
    )
    done = ServiceEntry(date(2026, 1, 31), "septic tank", "inspection")
    one = due(record(TANK, service=(done,), tasks=own), "inspection")
    assert (one.due_on, one.method) == (date(2027, 7, 31), "owner's setting")
    assert one.reason == (
        "last done 2026-01-31; every 18 months by the owner's setting: sandy soil; this is the earliest (every 2 years "
        "by the maker's setting: 2028-01-31, every 3 years by US EPA A Homeowner's Guide to Septic Systems: 2029-01-31)"
    )


def test_a_maker_or_owner_may_shorten_the_pump_outs_and_never_lengthens_them() -> None:
    table = due(record(TANK), "pump-out")
    for months, method in ((12, "owner's setting"), (240, "published table")):
        one = due(record(TANK, tasks=(OwnTask("septic tank", "pump-out", months),)), "pump-out")
        assert one.method == method
        assert one.due_on == min(table.due_on or date.max, date(2020 + months // 12, 5, 1))


def test_a_task_of_ones_own_needs_no_kind() -> None:
    well = Component("well", "well", installed_on=date(2019, 2, 28))
    sample = ServiceEntry(date(2024, 2, 29), "well", "water sample")
    one = due(record(well, service=(sample,), tasks=(OwnTask("well", "water sample", 12),)), "water sample")
    assert (one.due_on, one.method) == (date(2025, 2, 28), "owner's setting")


def test_preferred_months_are_said_and_never_move_the_day() -> None:
    done = ServiceEntry(date(2024, 1, 15), "septic tank", "inspection")
    plain = due(record(TANK, service=(done,)), "inspection")
    wished = due(
        record(TANK, service=(done,), tasks=(OwnTask("septic tank", "inspection", preferred_months="apr-oct"),)),
        "inspection",
    )
    assert plain.due_on == wished.due_on == date(2027, 1, 15)
    assert wished.reason == f"{plain.reason}; best done in October 2026, the last preferred month before it"


@pytest.mark.parametrize(
    ("text", "months"),
    [("4-6, 9", {4, 5, 6, 9}), ("nov-feb", {11, 12, 1, 2}), ("sept", {9}), ("September", {9}), ("12-1", {12, 1})],
)
def test_months_are_read_by_number_and_name(text: str, months: set[int]) -> None:
    assert parse_months(text) == months


@pytest.mark.parametrize("text", ["", "13", "0-3", "ju", "spring", "4--6", "4;5"])
def test_other_months_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match="accepted: months such as"):
        parse_months(text)


def test_months_are_counted_by_the_calendar() -> None:
    assert months_after(date(2024, 2, 29), 12) == date(2025, 2, 28)
    assert months_after(date(2024, 2, 29), 48) == date(2028, 2, 29)
    assert months_after(date(2025, 10, 31), 4) == date(2026, 2, 28)
    assert months_after(date(2026, 1, 1), 1.5) == date(2026, 2, 16)
    assert months_after(date(9990, 1, 1), 1200) is None
    assert [months_words(each) for each in (1, 6, 12, 36, 18)] == [
        *("every month", "every 6 months", "every year", "every 3 years", "every 18 months")
    ]


# ------------------------------------------------------------ hard cases


def pumped(on: date, gallons: float | None, component: str = "tank 1", **more: object) -> ServiceEntry:
    return ServiceEntry(on, component, "pump-out", gallons=gallons, **more)  # type: ignore[arg-type]


FIRST = Component("tank 1", "septic tank", volume_gal=1000, installed_on=IN)
SECOND = Component("tank 2", "septic tank", volume_gal=1000, installed_on=IN, follows="tank 1")


def test_two_tanks_in_series_of_which_one_was_pumped() -> None:
    """1,050 gal on the ticket: all of tank 1, nothing of tank 2, and half of what both hold."""
    one = record(FIRST, SECOND, service=(pumped(date(2024, 6, 1), 1050),))
    assert due(one, "pump-out", "tank 1").reason.startswith(
        "pumped 2024-06-01 (1,050 gal of 1,000); published table: 2.6"
    )
    second = due(one, "pump-out", "tank 2")
    assert second.reason.startswith("installed 2020-05-01, no full pump-out recorded since; published table: 5.9")
    assert "volume of the 2 tanks in series, because only what passes the first reaches it" in second.reason
    assert codes(one) == set()


def test_one_ticket_for_two_tanks_is_shared_by_volume() -> None:
    for gallons, full in ((1050, False), (2050, True)):
        both = record(FIRST, SECOND, service=(pumped(date(2024, 6, 1), gallons, tanks="both"),))
        for name in ("tank 1", "tank 2"):
            assert due(both, "pump-out", name).reason.startswith("pumped 2024-06-01") is full
        assert ("partial-pump-out" in codes(both)) is not full
    named = record(FIRST, SECOND, service=(pumped(date(2024, 6, 1), 2050, tanks="tank 1, tank 2"),))
    assert due(named, "pump-out", "tank 2").reason.startswith("pumped 2024-06-01")


def test_two_tanks_of_which_nothing_says_how_they_stand_are_noted() -> None:
    loose = record(FIRST, replace(SECOND, follows=None))
    assert codes(loose) == {"tanks-not-ordered"}


def test_a_tank_replaced_in_the_same_hole_starts_its_own_clock() -> None:
    old = Component("tank 1", "septic tank", volume_gal=750, installed_on=date(1990, 1, 1), removed_on=date(2019, 7, 1))
    new = Component("tank 1", "septic tank", volume_gal=1000, installed_on=date(2019, 7, 1), replaces="tank 1")
    one = record(old, new, service=(pumped(date(2019, 6, 30), 750), pumped(date(2012, 6, 1), 750)))
    assert due(one, "pump-out").reason.startswith("installed 2019-07-01, no full pump-out recorded since")
    assert "1,000 gal and 4 people" in due(one, "pump-out").reason


def test_two_houses_on_one_tank_count_together() -> None:
    """1,500 gal, 4 and 3 people: 2.1 years for 7 by the published table."""
    tank = replace(FIRST, volume_gal=1500, installed_on=date(2024, 1, 1))
    households = (Household(IN, 4.0, building="house"), Household(IN, 3.0, building="cottage"))
    one = replace(record(tank), household=households)
    told = due(one, "pump-out")
    assert "published table: 2.1 years for 1,500 gal and 7 people" in told.reason
    assert told.due_on is not None
    assert abs((told.due_on - date(2024, 1, 1)).days / 365.25 - 2.1) <= 0.09
    assert codes(one) == set()


@pytest.mark.parametrize(("gallons", "over"), [(1250, False), (1251, True), (2000, True)])
def test_far_more_gallons_than_the_tank_holds_are_the_field_running_back(gallons: float, over: bool) -> None:
    on = date(2026, 5, 1)
    one = record(FIRST, service=(pumped(on, gallons),))
    found = [each for each in due_tasks(one, TODAY, COMMON)[1] if each.code == "field-running-back"]
    assert [each.severity for each in found] == ([Severity.ATTENTION] if over else [])
    seen = ServiceEntry(date(2026, 5, 20), "tank 1", "inspection")
    again = due_tasks(record(FIRST, service=(pumped(on, gallons), seen)), TODAY, COMMON)[1]
    assert [each.severity for each in again if each.code == "field-running-back"] == ([Severity.NOTE] if over else [])


def test_runback_that_was_seen_is_a_finding_whatever_the_gallons() -> None:
    assert "field-running-back" in codes(record(FIRST, service=(pumped(date(2026, 5, 1), 1000, runback=True),)))


@pytest.mark.parametrize(
    ("entry", "code"),
    [
        ({"secured": False}, "lid-not-secured"),
        ({"lid": "missing"}, "lid-not-sound"),
        ({"baffles": "outlet baffle missing"}, "baffle"),
        ({"level_before": "above the outlet"}, "level-above-outlet"),
        ({"level_before": "below"}, "level-below-outlet"),
    ],
    ids=str,
)
def test_what_the_last_look_left_to_be_done_needs_attention_until_it_is_put_right(
    entry: dict[str, object], code: str
) -> None:
    bad = ServiceEntry(date(2026, 4, 1), "tank 1", "inspection", **entry)  # type: ignore[arg-type]
    mended = {"secured": True, "lid": "sound", "baffles": "replaced, sound", "level_before": "at"}
    good = ServiceEntry(date(2026, 5, 1), "tank 1", "inspection", **{key: mended[key] for key in entry})  # type: ignore[arg-type]
    assert codes(record(FIRST, service=(bad,))) == {code}
    assert codes(record(FIRST, service=(good, bad))) == set()


def test_a_tank_just_emptied_may_stand_below_its_outlet() -> None:
    low = ServiceEntry(date(2026, 5, 10), "tank 1", "inspection", level_before="below")
    assert codes(record(FIRST, service=(pumped(date(2026, 5, 1), 1000), low))) == set()


def test_a_year_played_through() -> None:
    """Install, move-in, a child, two inspections, pump-out, pump replaced, sale."""
    tank, pump = replace(TANK, installed_on=date(2024, 3, 1)), replace(PUMP, installed_on=date(2024, 3, 1))
    began = Household(date(2024, 4, 1), 2.0, to=date(2024, 9, 1))
    with_child = Household(date(2024, 9, 1), 3.0)
    story = [
        ServiceEntry(date(2024, 3, 5), "pump tank", "start-up test"),
        ServiceEntry(date(2024, 10, 1), "septic tank", "inspection"),
        ServiceEntry(date(2025, 2, 1), "septic tank", "inspection"),
        ServiceEntry(date(2025, 3, 1), "septic tank", "pump-out", gallons=1230),
        ServiceEntry(date(2025, 3, 20), "pump tank", "pump replacement"),
    ]
    base = PropertyRecord(Property("Invented", "ft-in"), (), components=(tank, pump), household=(began, with_child))

    def on(day: date, known: PropertyRecord) -> dict[str, date | None]:
        return {each.task: each.due_on for each in due_tasks(known, day, COMMON)[0]}

    known = replace(base, service=tuple(story))
    first = on(date(2024, 3, 6), known)
    assert first["inspection"] == date(2025, 3, 1)  # a pump tank makes it a yearly one
    assert first["pump and alarm test"] == date(2025, 3, 5)
    assert on(date(2024, 10, 2), known)["inspection"] == date(2025, 10, 1)
    assert on(date(2025, 2, 2), known)["inspection"] == date(2026, 2, 1)
    before, after = on(date(2025, 2, 28), known)["pump-out"], on(date(2025, 3, 1), known)["pump-out"]
    assert before is not None
    assert after is not None
    # 0.0130 * 1250/3 - 0.65 = 4.77 years for 3 people, from the day it was emptied.
    assert abs((after - date(2025, 3, 1)).days - 4.77 * 365.25) <= 0.09 * 365.25
    assert before < after
    assert on(date(2025, 4, 1), known)["pump and alarm test"] == date(2026, 3, 20)
    sold = replace(known, household=(began, replace(with_child, to=date(2025, 6, 1)), Household(date(2025, 7, 1), 5.0)))
    of_five = on(date(2025, 8, 1), sold)["pump-out"]
    assert of_five is not None
    assert of_five < after


# ------------------------------------------------------------ properties

ENTRIES = st.lists(
    st.builds(
        ServiceEntry,
        st.integers(0, 2400).map(lambda days: IN + timedelta(days=days)),
        st.sampled_from(["septic tank", "pump tank", "lateral 2"]),
        st.sampled_from(["pump-out", "inspection", "filter", "pump and alarm test", "squirt test"]),
        gallons=st.none() | st.sampled_from([300.0, 1200.0]),
    ),
    max_size=8,
)


@given(ENTRIES, st.randoms(use_true_random=False), st.integers(0, 4000))
def test_the_order_of_entries_and_of_components_changes_no_task(
    entries: list[ServiceEntry], random: object, days: int
) -> None:
    today = IN + timedelta(days=days)
    parts = [TANK, PUMP, *LATERALS]
    first = due_tasks(record(*parts, service=tuple(entries)), today, COMMON)[0]
    random.shuffle(entries)  # type: ignore[attr-defined]
    random.shuffle(parts)  # type: ignore[attr-defined]
    assert due_tasks(record(*parts, service=tuple(entries)), today, COMMON)[0] == first


@given(ENTRIES, st.integers(0, 4000))
def test_from_the_settled_day_on_only_what_is_overdue_hangs_on_the_day(entries: list[ServiceEntry], days: int) -> None:
    known = record(TANK, PUMP, *LATERALS, service=tuple(entries))
    since = settled_on(known)
    later = due_tasks(known, since + timedelta(days=days), COMMON)[0]
    assert [replace(each, overdue=False) for each in later] == [
        replace(each, overdue=False) for each in due_tasks(known, since, COMMON)[0]
    ]


def test_without_rules_only_the_table_and_ones_own_settings_count() -> None:
    own = (OwnTask("pump tank", "pump and alarm test", 6),)
    bare = Profile("bare", "no rules", "Local code decides.")
    dues = due_tasks(record(TANK, PUMP, tasks=own), TODAY, bare)[0]
    assert [(each.task, each.method) for each in dues] == [
        ("pump and alarm test", "owner's setting"),
        ("pump-out", "published table"),
    ]

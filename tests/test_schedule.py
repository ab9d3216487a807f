"""Which day starts a tank's clock, what is due, what is said where nothing is known. All data invented."""

import dataclasses
import json
from dataclasses import replace
from datetime import date, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.findings import Finding, Severity
from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.rules.profile import Profile
from asbuilt.service.due import Due
from asbuilt.service.schedule import due_tasks
from asbuilt.service.solids import REFERENCE, next_pump_out

TODAY = date(2026, 6, 1)
TANK = Component("septic tank", "septic tank", volume_gal=1250, installed_on=date(2015, 5, 1))
FOUR = (Household(date(2015, 6, 1), people=4),)


def record(
    *service: ServiceEntry, tanks: tuple[Component, ...] = (TANK,), household: tuple[Household, ...] = FOUR
) -> PropertyRecord:
    place = Property("Invented Farm", "ft-in")
    return PropertyRecord(place, (), components=tanks, household=household, service=service)


def tasks_of(sheets: PropertyRecord, today: date) -> tuple[tuple[Due, ...], tuple[Finding, ...]]:
    """Give what is due without any rule profile: the published table alone."""
    return due_tasks(sheets, today, Profile("bare", "no rules", "Local code decides."))


def pumped(on: date, gallons: float | None = None, compartment: str | None = None) -> ServiceEntry:
    return ServiceEntry(on, "septic tank", "pump-out", compartment=compartment, gallons=gallons)


def only(sheets: PropertyRecord, today: date = TODAY) -> Due:
    dues, _ = tasks_of(sheets, today)
    (due,) = dues
    return due


def codes(sheets: PropertyRecord, today: date = TODAY) -> list[str]:
    return [finding.code for finding in tasks_of(sheets, today)[1]]


def started(sheets: PropertyRecord, since: date, today: date = TODAY) -> bool:
    """Tell whether the due date is that of a clock started on a day."""
    expected = next_pump_out(1250, sheets.household, since)
    assert expected is not None
    return only(sheets, today).due_on == expected.due_on


def test_a_full_pump_out_starts_the_clock_and_the_reason_says_so() -> None:
    due = only(record(pumped(date(2024, 5, 2), 1180)))
    assert due == Due(
        property="Invented Farm",
        component="septic tank",
        task="pump-out",
        # 0.0130 * 1250/4 - 0.65 = 3.4125 years = 1,246.4 days
        due_on=date(2024, 5, 2) + timedelta(days=1247),
        earliest_on=date(2024, 5, 2) + timedelta(days=998),
        latest_on=date(2024, 5, 2) + timedelta(days=1496),
        reason=(
            "pumped 2024-05-02 (1,180 gal of 1,250); published table: 3.4 years for 1,250 gal and 4 people; "
            "closed form 3.4 years over the household's history; "
            "earliest and latest are the interval less and plus 20 %"
        ),
        method="published table",
        reference=REFERENCE,
        overdue=False,
    )


def test_the_json_keys_are_the_contract_of_due_json() -> None:
    row = only(record(pumped(date(2024, 5, 2), 1180))).as_json()
    assert list(row) == [
        *("property", "component", "task", "due_on", "earliest_on", "latest_on"),
        *("reason", "method", "reference", "overdue"),
    ]
    assert list(row) == [field.name for field in dataclasses.fields(Due)]
    assert json.loads(json.dumps(row))["due_on"] == "2027-10-01"


def test_without_a_pump_out_the_clock_starts_when_the_tank_was_put_in() -> None:
    # 4 people moved in on 1 June, a month after: nothing gathers before, but the tank's day is the start.
    due = only(record())
    assert due.due_on == date(2015, 6, 1) + timedelta(days=1247)
    assert due.reason.startswith("installed 2015-05-01, no full pump-out recorded since; published table: ")


def test_without_either_the_clock_starts_on_the_households_first_day() -> None:
    sheets = record(tanks=(replace(TANK, installed_on=None),))
    assert started(sheets, date(2015, 6, 1))
    assert only(sheets).reason.startswith(
        "no full pump-out and no installation date recorded, so counted from the household's first day 2015-06-01; "
    )


@pytest.mark.parametrize(("gallons", "resets"), [(938, True), (937.5, True), (937, False), (300, False)])
def test_under_three_quarters_of_the_volume_the_clock_does_not_start_again(gallons: float, resets: bool) -> None:
    sheets = record(pumped(date(2023, 5, 2), 1200), pumped(date(2025, 5, 2), gallons))
    assert started(sheets, date(2025, 5, 2) if resets else date(2023, 5, 2))
    assert ("partial-pump-out" in codes(sheets)) is not resets


def test_a_partial_pump_out_is_said_with_its_gallons() -> None:
    _, findings = tasks_of(record(pumped(date(2023, 5, 2), 1200), pumped(date(2025, 5, 2), 300)), TODAY)
    (finding,) = findings
    assert finding.severity == Severity.NOTE
    assert finding.message == (
        "septic tank: the pump-out of 2025-05-02 (300 gal of 1,250) does not start the clock again; "
        "a full one empties the whole tank, at least 75 % of its volume."
    )


def test_blank_gallons_are_taken_as_full_and_said() -> None:
    sheets = record(pumped(date(2024, 5, 2)))
    assert started(sheets, date(2024, 5, 2))
    assert only(sheets).reason.startswith("pumped 2024-05-02 (gallons not recorded, taken as a full pump-out); ")


def test_one_compartment_with_blank_gallons_does_not_start_the_clock() -> None:
    sheets = record(pumped(date(2023, 5, 2), 1200), pumped(date(2025, 5, 2), compartment="inlet"))
    assert started(sheets, date(2023, 5, 2))
    assert codes(sheets) == ["partial-pump-out"]


@pytest.mark.parametrize("words", ["both", "All", " whole  tank "])
def test_a_word_for_all_compartments_is_the_whole_tank(words: str) -> None:
    sheets = record(pumped(date(2023, 5, 2), 1200), pumped(date(2025, 5, 2), compartment=words))
    assert started(sheets, date(2025, 5, 2))
    assert codes(sheets) == []


def test_a_compartment_that_the_tank_does_not_have_is_noted() -> None:
    tank = replace(TANK, compartments="inlet 835, outlet 415")
    sheets = record(pumped(date(2025, 5, 2), 600, "Inlt"), pumped(date(2025, 5, 2), 500, "outlet"), tanks=(tank,))
    (finding,) = tasks_of(sheets, TODAY)[1]
    assert (finding.code, finding.severity) == ("unknown-compartment", Severity.NOTE)
    assert finding.sentence() == (
        "septic tank: the pump-out entry of 2025-05-02 names the compartment “inlt”, and recorded are inlet and "
        "outlet; it is reckoned as one of its own. Correct it by a new entry, or correct compartments in "
        "components.csv."
    )
    assert codes(record(pumped(date(2025, 5, 2), 1200, "anything"))) == []  # nothing says which there are


def test_two_compartments_pumped_on_one_day_add_up() -> None:
    sheets = record(
        pumped(date(2024, 5, 2), 800, "inlet"),
        pumped(date(2024, 5, 2), 400, "outlet"),
        pumped(date(2020, 5, 2)),
    )
    assert started(sheets, date(2024, 5, 2))
    assert only(sheets).reason.startswith("pumped 2024-05-02 (1,200 gal of 1,250); ")


def test_one_load_written_down_twice_is_not_two_loads() -> None:
    sheets = record(pumped(date(2022, 5, 2), 1200), pumped(date(2025, 5, 2), 600), pumped(date(2025, 5, 2), 620))
    assert started(sheets, date(2022, 5, 2))
    twice = record(
        pumped(date(2022, 5, 2), 1200), pumped(date(2025, 5, 2), 600), pumped(date(2025, 5, 2), 600, "inlet")
    )
    assert started(twice, date(2022, 5, 2))
    told = record(pumped(date(2022, 5, 2), 1200), pumped(date(2025, 5, 2), 600), pumped(date(2025, 5, 2)))
    assert started(told, date(2022, 5, 2))


def test_other_tasks_and_other_components_start_no_clock() -> None:
    sheets = record(
        pumped(date(2023, 5, 2), 1200),
        ServiceEntry(date(2025, 5, 2), "septic tank", "inspection"),
        ServiceEntry(date(2025, 5, 2), "pump tank", "pump-out", gallons=1250),
    )
    assert started(sheets, date(2023, 5, 2))


def test_entries_before_the_tank_was_put_in_belong_to_the_one_before_it() -> None:
    old = replace(TANK, installed_on=date(1990, 1, 1), removed_on=date(2024, 8, 1), volume_gal=1000)
    new = replace(TANK, installed_on=date(2024, 8, 1), replaces="septic tank")
    sheets = record(pumped(date(2024, 7, 30), 1250), tanks=(old, new))
    assert started(sheets, date(2024, 8, 1))
    assert only(sheets).reason.startswith("installed 2024-08-01, ")
    same_day = only(record(pumped(date(2024, 8, 1), 1250), tanks=(old, new)))
    assert same_day.reason.startswith("pumped 2024-08-01 (1,250 gal of 1,250); ")


def test_an_entry_from_before_the_first_tank_is_left_out_and_said() -> None:
    sheets = record(pumped(date(2014, 5, 2), 1200), pumped(date(2024, 5, 2), 1200))
    assert started(sheets, date(2024, 5, 2))
    (finding,) = tasks_of(sheets, TODAY)[1]
    assert (finding.code, finding.severity) == ("entry-before-the-tank", Severity.NOTE)
    assert finding.message == (
        "septic tank: the pump-out entry of 2014-05-02 lies before the tank was put in (2015-05-01) and is left out."
    )
    old = replace(TANK, installed_on=date(1990, 1, 1), removed_on=TANK.installed_on)
    assert codes(replace(sheets, components=(old, TANK))) == []


def test_a_new_tank_without_a_date_starts_where_the_old_one_was_taken_out() -> None:
    oldest = replace(TANK, installed_on=None, removed_on=date(2015, 5, 1))
    old = replace(TANK, removed_on=date(2024, 8, 1))
    new = replace(TANK, installed_on=None)
    sheets = record(pumped(date(2024, 7, 30), 1250), tanks=(old, oldest, new))
    assert started(sheets, date(2024, 8, 1))
    assert only(sheets).reason.startswith("the tank before it was taken out 2024-08-01, ")


def test_a_tank_that_is_gone_or_not_yet_there_is_not_due() -> None:
    gone = replace(TANK, removed_on=TODAY)
    to_come = replace(TANK, installed_on=TODAY + timedelta(days=1))
    assert tasks_of(record(tanks=(gone, to_come)), TODAY) == ((), ())


def test_an_entry_in_the_future_is_left_out_and_said() -> None:
    sheets = record(pumped(date(2024, 5, 2), 1200), pumped(date(2062, 5, 2), 1200))
    assert started(sheets, date(2024, 5, 2))
    (finding,) = tasks_of(sheets, TODAY)[1]
    assert (finding.code, finding.severity) == ("future-entry", Severity.NOTE)
    assert finding.sentence() == (
        "septic tank: the pump-out entry of 2062-05-02 lies in the future and is left out. "
        "Check its date in service.csv."
    )
    assert started(record(pumped(TODAY, 1200)), TODAY)


@pytest.mark.parametrize("kind", ["Septic Tank", "two-compartment septic tank", "septic  tank (concrete)"])
def test_kinds_that_hold_septic_tank_are_septic_tanks(kind: str) -> None:
    assert only(record(tanks=(replace(TANK, kind=kind),))).component == "septic tank"


@pytest.mark.parametrize("kind", ["pump tank", "septic field", "tank"])
def test_other_kinds_are_not(kind: str) -> None:
    assert tasks_of(record(tanks=(replace(TANK, kind=kind),)), TODAY) == ((), ())


def test_a_tank_without_volume_is_a_note_that_says_what_to_record() -> None:
    dues, findings = tasks_of(record(tanks=(replace(TANK, volume_gal=None),)), TODAY)
    assert dues == ()
    (finding,) = findings
    assert (finding.code, finding.severity) == ("cannot-say-when", Severity.NOTE)
    assert finding.sentence() == (
        "septic tank: cannot say when the next pump-out is due: no volume is recorded. "
        "Record volume_gal in components.csv."
    )


def test_a_tank_without_a_household_is_a_note_that_says_what_to_record() -> None:
    dues, findings = tasks_of(record(pumped(date(2024, 5, 2)), household=()), TODAY)
    assert dues == ()
    assert [finding.sentence() for finding in findings] == [
        "septic tank: cannot say when the next pump-out is due: no household is recorded. "
        "Record who lives there in household.csv."
    ]


@pytest.mark.parametrize(
    ("tank", "household", "why"),
    [
        (replace(TANK, volume_gal=0), FOUR, "volume_gal is 0"),
        (TANK, (Household(date(2015, 6, 1), people=-4),), "people is -4"),
    ],
    ids=["volume", "people"],
)
def test_what_cannot_be_reckoned_is_a_finding_and_not_a_crash(
    tank: Component, household: tuple[Household, ...], why: str
) -> None:
    dues, findings = tasks_of(record(tanks=(tank,), household=household), TODAY)
    assert dues == ()
    (finding,) = findings
    assert finding.code == "cannot-say-when"
    assert why in finding.message


def test_overdue_is_an_attention_with_the_number_of_days() -> None:
    sheets = record(pumped(date(2022, 1, 1), 1200))
    fallen_due = date(2022, 1, 1) + timedelta(days=1247)
    for late, words in [(1, "1 day ago"), (367, "367 days ago")]:
        today = fallen_due + timedelta(days=late)
        dues, findings = tasks_of(sheets, today)
        assert [due.overdue for due in dues] == [True]
        (finding,) = findings
        assert (finding.code, finding.subject, finding.severity) == (
            "overdue",
            "septic tank",
            Severity.ATTENTION,
        )
        assert finding.message == f"septic tank: pump-out was due {fallen_due.isoformat()}, {words}."


def test_on_its_day_a_task_is_due_but_not_overdue() -> None:
    sheets = record(pumped(date(2022, 1, 1), 1200))
    dues, findings = tasks_of(sheets, date(2022, 1, 1) + timedelta(days=1247))
    assert [due.overdue for due in dues] == [False]
    assert findings == ()


def test_an_empty_house_is_listed_without_a_date() -> None:
    household = (Household(date(2015, 6, 1), people=4, to=date(2016, 1, 1)),)
    due = only(record(household=household))
    assert (due.due_on, due.earliest_on, due.latest_on, due.overdue) == (None, None, None, False)
    assert due.as_json()["due_on"] is None
    assert due.reason == (
        "installed 2015-05-01, no full pump-out recorded since; nobody is recorded as living there from "
        "2016-01-01 on, so the limit is not reached"
    )


def test_two_tanks_are_listed_soonest_first_and_those_never_due_last() -> None:
    other = Component("barn tank", "septic tank", volume_gal=2500, installed_on=date(2020, 1, 1))
    dues, _ = tasks_of(record(tanks=(other, TANK)), TODAY)
    assert [due.component for due in dues] == ["septic tank", "barn tank"]


def test_a_household_row_whose_end_was_forgotten_is_noted() -> None:
    household = (Household(date(2015, 6, 1), people=4), Household(date(2020, 6, 1), people=2))
    sheets = record(pumped(date(2025, 5, 2), 1200), household=household)
    (finding,) = tasks_of(sheets, TODAY)[1]
    assert (finding.code, finding.severity) == ("household-overlap", Severity.NOTE)
    assert "2015-06-01 (4 people)" in finding.message
    assert "2020-06-01 (2 people)" in finding.message
    closed = (replace(household[0], to=date(2020, 6, 1)), household[1])
    assert codes(replace(sheets, household=closed)) == []
    apart = (replace(household[0], building="house"), replace(household[1], building="cottage"))
    assert codes(replace(sheets, household=apart)) == []


entries = st.lists(
    st.builds(
        pumped,
        st.integers(0, 6000).map(lambda days: date(2013, 1, 1) + timedelta(days=days)),
        st.none() | st.sampled_from([100.0, 450.0, 600.0, 940.0, 1250.0]),
        st.sampled_from([None, "inlet", "outlet"]),
    ),
    max_size=6,
)


@given(entries, st.randoms(use_true_random=False))
def test_the_order_of_entries_changes_nothing(service: list[ServiceEntry], random: Random) -> None:
    shuffled = list(service)
    random.shuffle(shuffled)
    assert tasks_of(record(*shuffled), TODAY) == tasks_of(record(*service), TODAY)


@given(entries, st.integers(0, 4000))
def test_a_full_pump_out_starts_the_clock_whatever_came_before(service: list[ServiceEntry], days: int) -> None:
    last = date(2015, 5, 1) + timedelta(days=days)
    before = [entry for entry in service if entry.on < last]
    assert started(record(pumped(last, 1250), *before), last)


@given(entries)
def test_nothing_that_is_left_out_moves_the_date(service: list[ServiceEntry]) -> None:
    never = [entry for entry in service if entry.on < date(2015, 5, 1) or entry.on > TODAY]
    rest = [entry for entry in service if entry not in never]
    assert tasks_of(record(*service), TODAY)[0] == tasks_of(record(*rest), TODAY)[0]


@given(entries, st.integers(0, 4000))
def test_a_household_row_split_in_two_gives_the_same_list(service: list[ServiceEntry], days: int) -> None:
    cut = date(2015, 6, 1) + timedelta(days=days)
    split = (Household(date(2015, 6, 1), people=4, to=cut), Household(cut, people=4))
    assert tasks_of(record(*service, household=split), TODAY) == tasks_of(record(*service), TODAY)

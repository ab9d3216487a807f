"""Calendars: RFC 5545, read back by a parser that shares nothing with the writer; days that no time zone shifts.

The parser is vobject, which is not built on the library that writes. RFC 5545: line ends and folding in section 3.1,
text in 3.3.11, days and floating times in 3.3.4 and 3.3.5, UID in 3.8.4.7.
"""

import re
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
import vobject

from asbuilt.output.icalendar_file import due_calendar, due_uid, route_calendar
from asbuilt.service.due import Due, Listed
from asbuilt.service.route_order import plan_tour
from tests.test_routes import DAY, stop_of, tour_of
from tests.test_webmap import PAYLOADS

NOW = datetime(2027, 4, 30, 23, 30, 12, 999, tzinfo=timezone(timedelta(hours=-8)))

HOSTILE = (
    *PAYLOADS,
    "gate\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nUID:planted\r\n",
    'a;b,c:d\\n\\e\\;"q"',
    "BEGIN:VEVENT",
    "tab\there \x00\x07\x1b[31m red \x85 next",
    "é" * 200,
    "\U0001f4a7" * 60,
    "x" * 74 + "\\",
)


def listed(**more: Any) -> Listed:
    due = Due(
        "Fernbank Lane 14",
        "septic tank",
        "pump-out",
        date(2027, 5, 3),
        date(2027, 1, 1),
        date(2027, 9, 9),
        "published table: 2.6 years",
        "published table",
        "a published table of years",
        overdue=False,
    )
    whom = {key: more.pop(key) for key in ("address", "owner", "phone") if key in more}
    return Listed(replace(due, **more), **whom)


def written(*some: Listed, now: datetime = NOW) -> str:
    text = due_calendar(some, now)
    assert text is not None
    return text


def events(text: str) -> list[Any]:
    return list(vobject.readOne(text).contents.get("vevent", []))


def unwritable_gone(text: str) -> str:
    """Say independently of the writer what must come back: line ends as newlines, no controls, no half characters."""
    for end in ("\r\n", "\r", "\v", "\f", "\x85", "\u2028", "\u2029"):
        text = text.replace(end, "\n")
    return "".join("\ufffd" if (ord(c) < 32 and c not in "\n\t") or c == "\ud800" else c for c in text)


def check_lines(text: str) -> None:
    """Check the form of every line: RFC 5545 section 3.1."""
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    assert "\r" not in text.replace("\r\n", "")
    for line in text.split("\r\n"):
        assert len(line.encode("utf-8")) <= 75, line
    for line in text.replace("\r\n ", "").split("\r\n")[:-1]:
        assert re.match(r"[A-Z-]+(;[A-Z-]+=[A-Z-]+)*:", line), line
        assert not re.search(r"[\x00-\x08\x0a-\x1f\x7f]", line), line


def test_an_event_says_what_is_due_when_and_where() -> None:
    event = events(written(listed(address="14 Fernbank Lane", owner="R. Example", phone="555-0142")))[0]
    assert event.summary.value == "pump-out of septic tank, Fernbank Lane 14"
    assert event.dtstart.value == date(2027, 5, 3)
    assert not isinstance(event.dtstart.value, datetime)
    assert event.location.value == "14 Fernbank Lane"
    assert event.transp.value == "TRANSPARENT"
    assert event.description.value.split("\n") == [
        "published table: 2.6 years",
        "Between 2027-01-01 and 2027-09-09, as use varies.",
        "Source of the interval: a published table of years",
        "Call: R. Example 555-0142",
    ]


def test_the_stamp_is_the_given_moment_in_utc_and_the_same_input_gives_the_same_text() -> None:
    text = written(listed())
    assert "DTSTAMP:20270501T073012Z\r\n" in text
    assert text == written(listed())
    assert "DTSTART;VALUE=DATE:20270503\r\n" in text


def test_lines_end_and_fold_as_the_standard_asks() -> None:
    check_lines(written(*(listed(property=words, address=words, owner=words, reason=words) for words in HOSTILE)))


@pytest.mark.parametrize("words", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_words_stay_words(words: str) -> None:
    text = written(listed(property=words, component=words, task=words, reason=words, address=words, owner=words))
    check_lines(text)
    found = events(text)
    assert len(found) == 1
    one = " ".join(unwritable_gone(words).split())
    assert found[0].summary.value == " ".join(unwritable_gone(f"{words} of {words}, {words}").split())
    assert found[0].location.value == one
    assert unwritable_gone(words) in found[0].description.value
    assert found[0].uid.value == due_uid(listed(property=words, component=words, task=words).due)


def test_a_calendar_that_is_read_again_moves_its_events_and_makes_no_new_ones() -> None:
    def read_into(store: dict[str, Any], text: str) -> None:
        """Do as a calendar program does: RFC 5546 section 2.1.5, the later stamp of one UID counts."""
        for event in events(text):
            if event.uid.value not in store or store[event.uid.value].dtstamp.value < event.dtstamp.value:
                store[event.uid.value] = event

    tasks = ("pump-out", "inspection", "effluent filter")
    store: dict[str, Any] = {}
    read_into(store, written(*(listed(task=task) for task in tasks)))
    moved = (
        listed(task=task, due_on=date(2029, 12, 1), reason="pumped since", overdue=True, reference="another")
        for task in reversed(tasks)
    )
    read_into(store, written(*moved, now=NOW + timedelta(days=300)))
    assert len(store) == 3
    assert {event.dtstart.value for event in store.values()} == {date(2029, 12, 1)}


def test_uids_tell_apart_what_is_apart() -> None:
    names = [("a", "b", "c"), ("a", "b c", ""), ("a b", "c", ""), ("a", "c", "b"), ('a","b', "c", "")]
    uids = {due_uid(listed(property=p, component=c, task=t).due) for p, c, t in names}
    assert len(uids) == len(names)
    assert (
        due_uid(listed().due) == "ba2e5343-5898-5a3e-863c-c89e0af4f3d5"
    )  # fixed for ever: calendars out there hold it


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Etc/GMT+12", "America/New_York", "UTC"])
@pytest.mark.parametrize("hour", [0, 12, 23])
def test_no_time_zone_shifts_a_day(monkeypatch: pytest.MonkeyPatch, zone: str, hour: int) -> None:
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        now = datetime(2027, 4, 30, hour, 59, tzinfo=UTC).astimezone()
        for day in (date(2027, 5, 3), date(2028, 2, 29), date(2027, 3, 14), date(2027, 11, 7), date(9999, 12, 31)):
            text = written(listed(due_on=day), now=now)
            assert events(text)[0].dtstart.value == day
            assert f"DTSTART;VALUE=DATE:{day:%Y%m%d}\r\n" in text
        plan = plan_tour(tour_of([(0, 0), (1, 0), (2, 0)], [stop_of("a", 1000)]))
        start = events(route_calendar(plan, now) or "")[0].dtstart.value
        assert (start.tzinfo, start.date()) == (None, DAY)
    finally:
        monkeypatch.undo()
        time.tzset()


def test_what_has_no_date_has_no_event_and_an_empty_calendar_is_none_at_all() -> None:
    """RFC 5545 section 3.6: a calendar holds at least one component."""
    assert due_calendar([listed(due_on=None)], NOW) is None
    assert due_calendar([], NOW) is None
    assert len(events(written(listed(due_on=None), listed()))) == 1


def test_overdue_is_said_and_the_day_stays_the_day() -> None:
    event = events(written(listed(overdue=True)))[0]
    assert event.summary.value.startswith("Overdue: pump-out")
    assert event.dtstart.value == date(2027, 5, 3)


def test_the_stops_of_a_route_stand_at_their_times_without_a_zone() -> None:
    plan = plan_tour(tour_of([(0, 0), (1, 0), (10, 0), (12, 0)], [stop_of("a", 1000), stop_of("b", 500)]))
    text = route_calendar(plan, NOW)
    assert text is not None
    check_lines(text)
    found = events(text)
    halts = [halt for run in plan.runs for halt in run.halts if halt.kind == "stop"]
    midnight = datetime(2027, 5, 3)
    assert [event.dtstart.value for event in found] == [midnight + timedelta(seconds=halt.begin_s) for halt in halts]
    assert [event.dtend.value for event in found] == [midnight + timedelta(seconds=halt.leave_s) for halt in halts]
    assert len({event.uid.value for event in found}) == 2
    later = route_calendar(plan, NOW + timedelta(days=1))
    assert [e.uid.value for e in events(later or "")] == [e.uid.value for e in found]


def test_a_plan_without_stops_is_no_calendar() -> None:
    assert route_calendar(plan_tour(tour_of([(0, 0), (1, 0)], [])), NOW) is None

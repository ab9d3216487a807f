"""Several at once: nothing that was stored is lost, readers never wait, and a change made on an old view is refused."""

import multiprocessing
import time
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from asbuilt.errors import RecordError
from asbuilt.jobs.record_service import add_service
from asbuilt.model.entries import ServiceEntry
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_property
from tests.commands import Run, WriteSheets, invoke, parsed, two_corners
from tests.trust import ONE, OTHER, copied

WRITERS = 8


def write_on(record: Path, who: int, seconds: float, ready: Any, told: Any) -> None:
    """Add one service after the other for a time; tell what was acknowledged and the longest wait."""
    stored, refused, longest = [], 0, 0.0
    ready.wait()
    until = time.time() + seconds
    while time.time() < until:
        entry = ServiceEntry(date(2024, 6, 1), "septic tank", "inspection", ticket=f"{who}/{len(stored) + refused}")
        began = time.monotonic()
        try:
            add_service(record, (ONE, OTHER)[who % 2], entry, who=f"writer {who}", now=datetime.now(UTC))
            stored.append(entry.ticket)
        except RecordError:
            refused += 1
        longest = max(longest, time.monotonic() - began)
    told.put(("writer", stored, refused, longest))


def read_on(record: Path, seconds: float, ready: Any, told: Any) -> None:
    """Read one property after the other for a time; tell how often and the longest wait."""
    reads, longest = 0, 0.0
    ready.wait()
    until = time.time() + seconds
    while time.time() < until:
        began = time.monotonic()
        with open_record(record, read_only=True) as opened:
            read_property(opened, ONE)
        longest = max(longest, time.monotonic() - began)
        reads += 1
        time.sleep(0.01)
    told.put(("reader", reads, 0, longest))


def together(record: Path, seconds: float) -> tuple[int, int, int, float, float]:
    """Let eight write and one read; give entries stored, refused, reads, and the longest waits of both."""
    context = multiprocessing.get_context("spawn")
    told, ready = context.Queue(), context.Barrier(WRITERS + 1)
    workers = [context.Process(target=write_on, args=(record, who, seconds, ready, told)) for who in range(WRITERS)]
    workers.append(context.Process(target=read_on, args=(record, seconds, ready, told)))
    for worker in workers:
        worker.start()
    answers = [told.get(timeout=seconds + 60) for _ in workers]
    for worker in workers:
        worker.join(30)
    assert [worker.exitcode for worker in workers] == [0] * len(workers)
    acknowledged = [ticket for kind, stored, _, _ in answers if kind == "writer" for ticket in stored]
    with open_record(record, read_only=True) as opened:
        there = [each.ticket for name in (ONE, OTHER) for each in read_property(opened, name).service if each.ticket]
    assert sorted(there) == sorted(acknowledged)
    refused = sum(answer[2] for answer in answers)
    waits = {kind: max(answer[3] for answer in answers if answer[0] == kind) for kind in ("writer", "reader")}
    reads = next(answer[1] for answer in answers if answer[0] == "reader")
    return len(acknowledged), refused, reads, waits["writer"], waits["reader"]


def report(seconds: float, found: tuple[int, int, int, float, float]) -> None:
    stored, refused, reads, wrote_s, read_s = found
    print(
        f"{WRITERS} processes writing for {seconds:g} s: {stored} entries stored and found, {refused} refused after "
        f"waiting; longest wait {wrote_s:.2f} s; {reads} reads meanwhile, longest {read_s:.2f} s"
    )


@pytest.mark.parametrize("seconds", [5, pytest.param(60, marks=pytest.mark.exhaustive)])
def test_eight_processes_that_write_at_once_lose_nothing_and_readers_never_wait(
    trusted: Path, folder: Path, seconds: float
) -> None:
    record = copied(trusted, folder)
    found = together(record, seconds)
    report(seconds, found)
    stored, _, reads, _, _ = found
    assert stored >= WRITERS
    assert reads > 0
    assert invoke("verify", "--record", record).exit_code == 0


# ------------------------------------------------------------ an old view


def test_a_reading_that_somebody_corrected_since_is_not_corrected_over(run: Run, trusted: Path, folder: Path) -> None:
    copied(trusted, folder)
    lid = (ONE, "septic tank/lid", "--from", "A", "--reason", "mine")
    result = run("correct", *lid, "--was", "25' 0\"", "--read", "25 3")
    assert result.exit_code == 2
    assert result.stderr == (
        "asbuilt: the reading: no reading of “septic tank/lid” from “A” that reads “25' 0\"”; recorded: A to septic "
        "tank/lid 25 1 (prompt)\n"
    )


def test_a_service_that_somebody_undid_since_is_not_undone_twice(run: Run, trusted: Path, folder: Path) -> None:
    copied(trusted, folder)
    number = run("service", ONE, "--list").stdout.split()[0]
    assert run("service", ONE, "--undo", number, "--reason", "mine").exit_code == 0
    result = run("service", ONE, "--undo", number, "--reason", "mine too")
    assert result.exit_code == 2
    assert result.stderr == f"asbuilt: {ONE}: no service entry {number} stands; the last ones: none\n"


def lids(**cells: str) -> dict[str, Any]:
    """Give sheets with three lids, whose notes differ."""
    sheets = two_corners("Shared Place")
    heading, row = sheets["points"]
    names = ("inlet lid", "outlet lid", "filter lid")
    rows = [[row[0], name, *row[2:], cells.get(name.split()[0], "")] for name in names]
    return {**sheets, "points": [[*heading, "description"], *rows]}


@pytest.fixture
def shared(run: Run, write_sheets: WriteSheets) -> Any:
    """Load sheets of some wording; with words they supersede."""

    def load(*words: str, **cells: str) -> Any:
        return run("load", write_sheets("shared", **lids(**cells)), "--who", "T. Sample", *words)

    return load


def test_sheets_of_an_older_view_do_not_undo_what_somebody_recorded_since(run: Run, folder: Path, shared: Any) -> None:
    """Both took the same sheets home; the one changed the inlet, the other the outlet."""
    assert shared(inlet="green").exit_code == 0
    assert shared("--supersede", "seen again", inlet="grey, cracked").exit_code == 0
    before = (folder / "asbuilt.db").read_bytes()
    result = shared("--supersede", "mine", inlet="green", outlet="black")
    assert result.exit_code == 2
    day = datetime.now().astimezone().date()
    last = len(parsed(run("log", "Shared Place", "--json")))
    assert result.stderr == (
        "asbuilt: Shared Place: these sheets come from an older view of the record and would undo what was recorded "
        "since; nothing was stored\n"
        f"  {last}  {day}  T. Sample: point septic tank/inlet lid: description grey, cracked (was green)\n"
        f"bring the sheets up to date; or, if that is meant, say how far you have seen the log: --seen {last}\n"
    )
    assert (folder / "asbuilt.db").read_bytes() == before
    assert shared("--supersede", "mine", inlet="grey, cracked", outlet="black").exit_code == 0
    assert shared("--supersede", "meant", "--seen", str(last), inlet="green", outlet="black").exit_code == 2
    assert shared("--supersede", "meant", "--seen", str(last + 1), inlet="green", outlet="black").exit_code == 0


def test_a_row_that_somebody_added_since_is_not_taken_out_by_sheets_that_lack_it(run: Run, shared: Any) -> None:
    assert shared(inlet="green").exit_code == 0
    assert shared("--supersede", "one more", inlet="green", filter="a third one").exit_code == 0
    result = shared("--supersede", "mine", inlet="green, sound")
    assert result.exit_code == 2
    assert "filter lid: description a third one (was blank)" in result.stderr


def test_a_number_that_is_not_the_last_is_refused_also_where_nothing_would_be_undone(shared: Any) -> None:
    assert shared(inlet="green").exit_code == 0
    result = shared("--supersede", "mine", "--seen", "3", inlet="grey")
    assert result.exit_code == 2
    assert result.stderr.startswith("asbuilt: Shared Place: --seen 3, and the last entry is ")
    assert shared("--seen", "3", inlet="grey").exit_code == 2

"""`--at`: the property as it was known on a day, and every output as it was then, to the byte."""

import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import click
import pytest

from asbuilt.cli.main import main
from asbuilt.jobs.correct import Correction, correct_reading, withdraw_reading
from asbuilt.jobs.history import as_known_on
from asbuilt.jobs.load import load_sheets
from asbuilt.jobs.record_service import add_service, place_of, read_entry
from asbuilt.record.database import open_record
from asbuilt.record.due_state import stale_properties
from asbuilt.record.entries import property_names
from asbuilt.record.past import end_of_day
from tests.commands import SAMPLE, SAMPLE_NAME, Run, files_below, parsed

FIRST = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
NOTE = "note: as it was known at the end of 2026-06-01; what was recorded since is left out\n"

PRINTED = (
    ("log", SAMPLE_NAME),
    ("positions", SAMPLE_NAME, "--full"),
    ("levels", SAMPLE_NAME),
    ("due",),
    ("due", "--json"),
    ("pump", SAMPLE_NAME),
    ("service", SAMPLE_NAME, "--list"),
    ("ready", SAMPLE_NAME),
    ("next-tape", SAMPLE_NAME, "oak post"),
    ("geojson", SAMPLE_NAME, "--points"),
    ("find", SAMPLE_NAME),
    ("backfill-check", SAMPLE_NAME),
    ("photos", SAMPLE_NAME),
    ("route", "--date", "2027-12-01", "--truck-gal", "2500", "--from", "42.53,-118.45", "--dump", "42.6,-118.4"),
)
WRITTEN = (
    ("map", SAMPLE_NAME, "--out", "out.html"),
    ("service-sheet", SAMPLE_NAME, "--out", "out.pdf"),
    ("alarm-sheet", SAMPLE_NAME, "--out", "out.pdf"),
    ("drawing", SAMPLE_NAME, "--out", "out.pdf"),
    ("report", SAMPLE_NAME, "--out", "out.html"),
    ("packet", SAMPLE_NAME, "--out", "out.zip"),
    ("export", SAMPLE_NAME, "--out", "out.kml"),
)
WRITE = {
    *("load", "load-cards", "tape", "correct", "withdraw", "photo", "uncovered", "import", "import-packet", "demo"),
    *("backup", "restore"),
}
"""Commands that store something, or copy the whole record."""

WHOLE = {"verify", "rules", "print"}
"""Commands that are not about what is known of a property."""


@pytest.fixture
def grown(folder: Path) -> Path:
    """Give a record that was loaded on the first of June and changed in the next days."""
    record = folder / "asbuilt.db"
    load_sheets(record, SAMPLE, who="tester", now=FIRST)
    return record


def grow(record: Path) -> None:
    day = timedelta(days=1)
    entry = {"on": "2026-05-30", "component": "septic tank", "task": "pump-out", "gallons": "1200"}
    now = FIRST + day
    add_service(record, SAMPLE_NAME, read_entry(place_of(record, SAMPLE_NAME), entry, now.date()), who="t", now=now)
    tape = Correction("oak post", "SE corner", read="54' 3\"")
    correct_reading(record, SAMPLE_NAME, tape, reason="read again", who="t", now=FIRST + 2 * day)
    gone = Correction("oak post", "NE corner")
    withdraw_reading(record, SAMPLE_NAME, gone, reason="nail gone", who="t", now=FIRST + 3 * day)


def options_of(command: click.Command) -> set[str]:
    return {option for parameter in command.params for option in parameter.opts}


def output(run: Run, words: tuple[str, ...], *more: str) -> tuple[int, str, bytes]:
    result = run(*words, *more)
    files = [*Path().glob("out.*")]
    content = b"".join(path.read_bytes() for path in files)
    for path in files:
        path.unlink()
    return result.exit_code, result.stdout, content


@pytest.mark.parametrize("words", [*PRINTED, *WRITTEN], ids=lambda words: " ".join(words[:1]))
def test_an_output_as_of_a_day_is_to_the_byte_what_it_was_on_that_day(
    run: Run, grown: Path, words: tuple[str, ...]
) -> None:
    on = ("--on", "2026-06-01") if "--on" in options_of(main.commands[words[0]]) else ()
    then = output(run, words, *on)
    assert then[0] in (0, 1)
    grow(grown)
    before = files_below(grown.parent)
    assert output(run, words, "--at", "2026-06-01") == then
    assert files_below(grown.parent) == before
    if words[0] in {"log", "positions", "due", "service", "map"}:
        assert output(run, words, *on) != then


def test_the_note_says_that_it_is_the_past_and_json_stays_json(run: Run, grown: Path) -> None:
    grow(grown)
    result = run("log", SAMPLE_NAME, "--at", "2026-06-01", "--json")
    assert (result.exit_code, result.stderr) == (0, NOTE)
    loaded = json.loads(result.stdout)
    every = parsed(run("log", SAMPLE_NAME, "--json"))
    assert every[: len(loaded)] == loaded
    assert len(every) == len(loaded) + 3


def test_each_day_has_its_own_state(run: Run, grown: Path) -> None:
    grow(grown)
    numbers = [len(parsed(run("log", SAMPLE_NAME, "--json", "--at", f"2026-06-{day:02}"))) for day in (1, 2, 3, 4, 30)]
    assert [number - numbers[0] for number in numbers] == [0, 1, 2, 3, 3]


def test_the_answer_is_as_on_that_day_where_no_other_is_named(run: Run, grown: Path) -> None:
    shown = run("due", "--at", "2026-06-01", "--within", "600")
    assert shown.stdout == run("due", "--on", "2026-06-01", "--within", "600").stdout
    other = run("due", "--at", "2026-06-01", "--on", "2028-01-01", "--json")
    assert any(row["overdue"] for row in json.loads(other.stdout))


def test_before_the_first_entry_nothing_was_known(run: Run, grown: Path) -> None:
    result = run("positions", SAMPLE_NAME, "--at", "2026-05-31")
    assert result.exit_code == 2
    last = end_of_day(datetime(2026, 5, 31).date()).isoformat(" ", "minutes")
    assert result.stderr.splitlines()[1] == f"asbuilt: no property '{SAMPLE_NAME}' was in asbuilt.db on {last}"
    assert parsed(run("due", "--at", "2026-05-31", "--json")) == []


@pytest.mark.parametrize("day", ["2026-13-01", "yesterday", "20260601"])
def test_what_is_no_day_is_refused(run: Run, grown: Path, day: str) -> None:
    result = run("log", SAMPLE_NAME, "--at", day)
    assert result.exit_code == 2
    assert f"{day!r} is not a date; write it as 2026-07-31 (year-month-day)" in result.stderr


def test_the_past_is_only_read(run: Run, grown: Path) -> None:
    before = grown.read_bytes()
    answers = ("--on", "2026-06-02", "--component", "septic tank", "--task", "inspection")
    for words in (("service", SAMPLE_NAME, *answers), ("due", "--rebuild")):
        result = run(*words, "--at", "2026-06-01")
        assert result.exit_code == 2
        assert result.stderr == (
            f"{NOTE}asbuilt: asbuilt.db: what was known on 2026-06-01 can only be read; leave --at out to store "
            "something\n"
        )
    assert grown.read_bytes() == before


def test_every_command_that_shows_what_is_known_has_the_option() -> None:
    without = {name for name, command in main.commands.items() if "--at" not in options_of(command)}
    assert without == (WRITE | WHOLE) & set(main.commands)


def test_the_first_and_the_last_day_that_there_are(run: Run, grown: Path) -> None:
    assert run("log", SAMPLE_NAME, "--at", "9999-12-31").exit_code == 0
    assert run("log", SAMPLE_NAME, "--at", "0001-01-01").exit_code == 2


def test_all_that_is_read_in_the_block_is_of_that_day_and_nothing_after_it(grown: Path) -> None:
    """The due list that is kept is that of now, so none of it counts for then."""
    grow(grown)
    with as_known_on(FIRST.date()), open_record(grown, read_only=True) as record:
        assert property_names(record) == [SAMPLE_NAME]
        assert stale_properties(record, FIRST.date(), "any") == [SAMPLE_NAME]
        then = record.connection.execute("SELECT entries, head FROM property").fetchone()
        assert record.connection.execute("SELECT count(*) FROM entry").fetchone()[0] == then[0]
    with open_record(grown, read_only=True) as record:
        now = record.connection.execute("SELECT entries FROM property").fetchone()[0]
    assert now == then[0] + 3


def test_looking_at_now_loads_no_more_than_before() -> None:
    code = (
        "import sys\nfrom asbuilt.cli.main import main\n"
        "main(['log', '--help'], standalone_mode=False)\n"
        "assert not {'sqlite3', 'numpy'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr

"""Records of released versions: read as they are from anywhere, brought up to date by a writer after a copy was kept.

`records/version-1.record` was made by the program of version 1 itself from its own sample sheets, with two services
typed in, one of them withdrawn, a tape corrected and one withdrawn; `version-1.log.json` is what that program said of
every entry.
"""

import json
import shutil
import tempfile
from pathlib import Path

import pytest

from asbuilt.record import schema
from asbuilt.record.database import open_record
from asbuilt.record.history import read_log
from tests.commands import ROOT, SAMPLE_NAME, Run, files_below, parsed

RECORDS = ROOT / "tests" / "records"
RELEASED = [1]
"""Versions of the schema that were released before this one; each has a record of its own making."""

OUTPUTS = (
    ("positions", SAMPLE_NAME, "--json", "--full"),
    ("positions", SAMPLE_NAME),
    ("levels", SAMPLE_NAME),
    ("due", "--on", "2026-06-01"),
    ("due", "--on", "2026-06-01", "--json"),
    ("log", SAMPLE_NAME),
    ("pump", SAMPLE_NAME, "--on", "2026-06-01"),
    ("service", SAMPLE_NAME, "--list"),
    ("geojson", SAMPLE_NAME, "--points", "--house", "--on", "2026-06-01"),
    ("verify",),
)


@pytest.fixture(params=RELEASED)
def old(request: pytest.FixtureRequest, folder: Path) -> Path:
    return Path(shutil.copy(RECORDS / f"version-{request.param}.record", folder / "asbuilt.db"))


def said_by_all(run: Run) -> dict[tuple[str, ...], tuple[int, str, str]]:
    results = {words: run(*words) for words in OUTPUTS}
    return {words: (result.exit_code, result.stdout, result.stderr) for words, result in results.items()}


def test_every_version_before_this_one_has_its_record() -> None:
    assert [*range(1, schema.VERSION)] == RELEASED
    assert all((RECORDS / f"version-{version}.record").stat().st_size < 500_000 for version in RELEASED)


def test_an_old_record_says_what_its_own_program_said_of_every_entry(run: Run, old: Path) -> None:
    with open_record(old, read_only=True) as record:
        version = record.connection.execute("PRAGMA user_version").fetchone()[0]
    assert version == schema.VERSION, "in memory; the file itself keeps its own"
    told = json.loads((RECORDS / "version-1.log.json").read_text(encoding="utf-8"))
    keys = ("number", "at_utc", "who", "sheet", "row", "kind", "what", "supersedes", "reason")
    assert [[entry[key] for key in keys] for entry in parsed(run("log", SAMPLE_NAME, "--json"))] == told


def test_reading_an_old_record_changes_nothing_and_brought_up_to_date_it_says_the_same(
    run: Run, old: Path, folder: Path
) -> None:
    before = files_below(folder)
    read = said_by_all(run)
    assert all(code in (0, 1) for code, _, _ in read.values()), read
    assert read["verify",][0] == 0
    assert files_below(folder) == before
    open_record(old).close()
    assert said_by_all(run) == read
    assert old.read_bytes() != before["asbuilt.db"]


def test_a_copy_is_kept_before_it_is_brought_up_to_date_and_said_once(run: Run, old: Path, folder: Path) -> None:
    words = ("--from", "SE corner", "--reason", "nail gone", "--who", "tester")
    result = run("withdraw", SAMPLE_NAME, "oak post", *words)
    kept = folder / f"asbuilt.db.before-v{schema.VERSION}"
    note = (
        f"note: asbuilt.db was of version 1 and is now of version {schema.VERSION}; a copy as it was is kept as "
        f"{kept.name} beside it"
    )
    assert note in result.stderr.splitlines()
    assert kept.stat().st_mode & 0o777 == 0o600
    assert kept.read_bytes()[60:64] == (1).to_bytes(4, "big"), "https://www.sqlite.org/fileformat2.html, user version"
    assert run("verify", "--record", kept).exit_code == 0
    assert run("verify", "--against", kept).exit_code == 0
    assert note not in run("withdraw", SAMPLE_NAME, "well", *words[:1], "SW corner", *words[2:]).stderr


def test_an_old_record_can_be_restored_over_a_new_one_and_is_brought_up_to_date(run: Run, old: Path) -> None:
    backup = old.rename(old.with_name("old.db"))
    result = run("restore", backup)
    assert result.exit_code == 0, result.stderr
    with open_record(old, read_only=True) as record:
        assert record.connection.execute("PRAGMA user_version").fetchone() == (schema.VERSION,)
    assert run("verify", "--against", backup).exit_code == 0


def test_a_backup_of_an_old_record_takes_the_steps_that_come_after_this_version(
    run: Run, old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The copy in memory once had the tables of the new version and the list of steps of the old one."""
    backup = parsed(run("backup", "--to", "copies", "--json"))["backup"]
    assert run("restore", backup, "--record", "back.db").exit_code == 0
    step = ("9999 next", ("ALTER TABLE tie ADD COLUMN weather TEXT",))
    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, step))
    monkeypatch.setattr(schema, "VERSION", len(schema.STEPS))
    schema.migrations.cache_clear()
    try:
        for path in (Path("back.db"), Path(backup), old):
            with open_record(path) as record:
                assert record.connection.execute("PRAGMA user_version").fetchone() == (schema.VERSION,)
                assert record.connection.execute("SELECT count(weather) FROM tie").fetchone() == (0,)
    finally:
        schema.migrations.cache_clear()


def test_a_record_of_a_newer_version_is_refused_politely_by_readers_and_writers(run: Run, loaded: Path) -> None:
    content = bytearray(loaded.read_bytes())
    content[60:64] = (99).to_bytes(4, "big")
    loaded.write_bytes(content)
    said = (
        f"asbuilt: asbuilt.db: this record is of version 99 and this program knows versions up to {schema.VERSION}; "
        "use a newer asbuilt (the record was left as it is)\n"
    )
    for words in (("log", SAMPLE_NAME), ("due", "--rebuild"), ("verify",), ("backup",)):
        result = run(*words)
        assert (result.exit_code, result.stderr) == (2, said), words
    assert loaded.read_bytes() == content


def test_an_old_record_on_read_only_media_is_read_as_well(run: Run, old: Path) -> None:
    """Root may write everywhere, so a child without rights looks at it, in a folder that it cannot write."""
    from tests.test_record import as_somebody_without_rights

    place = Path(tempfile.mkdtemp())
    try:
        copy = Path(shutil.copy(old, place / "asbuilt.db"))
        copy.chmod(0o444)
        place.chmod(0o555)
        told = json.loads((RECORDS / "version-1.log.json").read_text(encoding="utf-8"))

        def count() -> str:
            with open_record(copy, read_only=True) as record:
                return str(len(read_log(record, SAMPLE_NAME)))

        assert as_somebody_without_rights(count) == str(len(told))
        writing = as_somebody_without_rights(lambda: str(open_record(copy)))
        assert writing.startswith(f"RecordError: {copy}: ")
        assert "cannot be" in writing
        assert list(place.iterdir()) == [copy]
    finally:
        place.chmod(0o755)
        shutil.rmtree(place)

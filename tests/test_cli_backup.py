"""`asbuilt backup` and `asbuilt restore`: a true copy for the day the record is gone, and back without a loss."""

import json
import os
import re
import resource
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from asbuilt.jobs.backup import back_up
from asbuilt.record.backups import backups_in
from asbuilt.record.copies import fill
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_property
from asbuilt.record.soundness import read_heads
from tests.commands import ROOT, Run, files_below, invoke, parsed
from tests.trust import ONE, OTHER, copied, tamper

WITHDRAW = ("withdraw", ONE, "septic tank/lid", "--from", "A", "--reason", "nail gone", "--who", "tester")


@pytest.fixture
def record(trusted: Path, folder: Path) -> Path:
    return copied(trusted, folder)


def only(folder: Path) -> Path:
    (found,) = folder.glob("*.db")
    return found


def heads(path: Path) -> list[object]:
    with open_record(path, read_only=True) as record:
        return list(read_heads(record))


def test_a_backup_is_a_true_copy_for_its_owner_only_and_is_read_again(run: Run, record: Path, folder: Path) -> None:
    result = run("backup", "--to", "copies")
    assert (result.exit_code, result.stderr) == (0, "")
    path = only(folder / "copies")
    assert re.fullmatch(r"asbuilt-\d{8}T\d{6}Z\.db", path.name)
    mark = parsed(run("verify", "--json"))["mark"]
    assert result.stdout == (
        f"copies/{path.name}: 2 properties, 23 entries, 2 photos; verified\nmark of the whole record: {mark}\n"
    )
    assert heads(path) == heads(record)
    assert path.stat().st_mode & 0o077 == (folder / "copies").stat().st_mode & 0o077 == 0
    photos = files_below(folder / "asbuilt.db.photos")
    assert files_below(folder / "copies" / "asbuilt.db.photos") == photos
    assert path.read_bytes()[18] == 1, "one file, which can be read from read-only media"
    verified = run("verify", "--record", path, "--against", record)
    assert (verified.exit_code, verified.stderr) == (0, "")
    assert ", 2 photos: no fault\n" in verified.stdout


def test_a_backup_goes_beside_the_record_where_no_folder_is_named(run: Run, record: Path, folder: Path) -> None:
    done = parsed(run("backup", "--json"))
    path = only(folder / "asbuilt.db.backups")
    assert done["backup"] == f"asbuilt.db.backups/{path.name}"
    assert (done["properties"], done["entries"], done["photos"], done["faults"]) == (2, 23, 2, [])
    told = json.loads((folder / "asbuilt.db.last-backup").read_text(encoding="utf-8"))
    assert told["to"] == str(path)
    assert datetime.now(UTC) - datetime.fromisoformat(told["at"]) < timedelta(minutes=5)


def test_so_many_of_the_newest_stay_and_no_other_file_is_touched(record: Path, folder: Path) -> None:
    into = folder / "copies"
    into.mkdir()
    others = ["asbuilt.db", "asbuilt-old.db", "asbuilt-20200101T000000Z.db.txt", "other-20200101T000000Z.db"]
    for name in others:
        (into / name).write_text("mine")
    noon = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
    for number in range(5):
        done = back_up(record, into, keep=3, now=noon + timedelta(hours=number))
    assert [path.name for path in done.removed] == ["asbuilt-20260504T130000Z.db"]
    assert [path.name for path in backups_in(into, record)] == [
        f"asbuilt-20260504T{hour}0000Z.db" for hour in (16, 15, 14)
    ]
    again = back_up(record, into, keep=3, now=noon + timedelta(hours=4))
    assert again.path.name == "asbuilt-20260504T160000Z-2.db"
    assert [path.name for path in backups_in(into, record)][:2] == [
        "asbuilt-20260504T160000Z-2.db",
        "asbuilt-20260504T160000Z.db",
    ]
    assert {name: (into / name).read_text() for name in others} == dict.fromkeys(others, "mine")


def test_backups_of_another_record_of_the_same_name_are_left_alone(
    run: Run, record: Path, folder: Path, sample_record: Path
) -> None:
    """Two offices, two records called asbuilt.db, one memory stick: --keep once removed the other's only backup."""
    other = parsed(run("backup", "--record", sample_record, "--to", "stick", "--keep", "1", "--json"))["backup"]
    first = parsed(run("backup", "--to", "stick", "--keep", "1", "--json"))
    assert (first["removed"], first["others"]) == ([], [other])
    result = run("backup", "--to", "stick", "--keep", "1")
    assert result.stdout.splitlines()[-2:] == [
        f"removed: {Path(first['backup']).name}",
        f"left alone, with entries that this record does not have or not to be read: {Path(other).name}",
    ]
    assert Path(other).exists()


def test_a_backup_that_holds_what_the_record_lost_is_left_alone(run: Run, record: Path, folder: Path) -> None:
    old = parsed(run("backup", "--to", "old", "--json"))["backup"]
    run(*WITHDRAW)
    only_there = parsed(run("backup", "--to", "stick", "--json"))["backup"]
    run("restore", old, "--overwrite-newer")
    done = parsed(run("backup", "--to", "stick", "--keep", "1", "--json"))
    assert (done["removed"], done["others"]) == ([], [only_there])


def test_of_a_record_with_faults_the_copy_is_kept_nothing_is_removed_and_it_is_said(record: Path, run: Run) -> None:
    first = parsed(run("backup", "--to", "copies", "--keep", "1", "--json"))["backup"]
    tamper(record, "UPDATE tie SET distance_m = 7.2 WHERE entry_id = (SELECT min(entry_id) FROM tie)")
    next(record.with_name("asbuilt.db.photos").rglob("*.png")).unlink()
    result = run("backup", "--to", "copies", "--keep", "1")
    assert result.exit_code == 1
    photo, reading = result.stderr.splitlines()
    assert photo.startswith("fault: photo panel.png of septic tank/lid: ")
    assert reading.startswith(f"fault: {ONE}: entry 6 (tie, points.csv row 2) does not agree with its hash")
    assert "; it is a true copy of a record with faults\n" in result.stdout
    assert Path(first).exists()


def test_a_backup_that_cannot_be_written_is_one_message(run: Run, record: Path, folder: Path) -> None:
    (folder / "copies").write_text("a file")
    result = run("backup", "--to", "copies")
    assert result.exit_code == 2
    assert result.stderr.startswith("asbuilt: copies: ") or "copies" in result.stderr


def test_a_copy_of_what_is_locked_gives_up_in_time(tmp_path: Path) -> None:
    """Waits of both connections once came on top of the one wait that was meant, and without it there is no end."""
    with open_record(tmp_path / "r.db", create=True) as record:
        record.connection.execute("PRAGMA journal_mode = DELETE")
    locking = sqlite3.connect(tmp_path / "r.db", isolation_level=None)
    locking.execute("BEGIN EXCLUSIVE")
    locked, free = sqlite3.connect(tmp_path / "r.db", timeout=30), sqlite3.connect(":memory:", timeout=30)
    for source, copy in ((locked, free), (free, locked)):
        begun = time.monotonic()
        with pytest.raises(sqlite3.OperationalError, match="database is locked"):
            fill(source, copy, wait_s=0.2)
        assert time.monotonic() - begun < 10
    assert [each.execute("PRAGMA busy_timeout").fetchone()[0] for each in (locked, free)] == [30_000, 30_000]
    for each in (locking, locked, free):
        each.close()


# ------------------------------------------------------------ restore


def test_a_lost_record_comes_back_with_its_photos(run: Run, record: Path, folder: Path) -> None:
    run("backup", "--to", "copies")
    before, photos = heads(record), files_below(folder / "asbuilt.db.photos")
    record.unlink()
    for path in (folder / "asbuilt.db.photos").rglob("*.*"):
        path.unlink()
    path = only(folder / "copies")
    result = run("restore", path)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == f"asbuilt.db: 2 properties, 23 entries, 2 photos, as in {path}\n"
    assert heads(record) == before
    assert files_below(folder / "asbuilt.db.photos") == photos
    assert run("verify").exit_code == 0
    assert record.stat().st_mode & 0o077 == 0


def test_a_damaged_record_is_kept_aside_and_replaced(run: Run, record: Path, folder: Path) -> None:
    run("backup", "--to", "copies")
    damaged = b"no SQLite file any more" * 1000
    record.write_bytes(damaged)
    result = run("restore", only(folder / "copies"))
    assert (result.exit_code, result.stderr) == (0, "")
    (kept,) = folder.glob("asbuilt.db.before-restore-*")
    assert result.stdout.splitlines()[1] == f"the record that was there is kept as {kept.name}"
    assert kept.read_bytes() == damaged
    assert run("verify").exit_code == 0


def test_where_there_is_no_room_for_the_copy_a_damaged_record_keeps_its_name(
    run: Run, record: Path, folder: Path
) -> None:
    """The damaged file was once moved aside before the copy was written. No file may grow beyond 8 kB here."""
    run("backup", "--to", "copies")
    record.write_bytes(b"no SQLite file any more" * 1000)
    before = files_below(folder)
    limit = (8192, resource.getrlimit(resource.RLIMIT_FSIZE)[1])
    done = subprocess.run(
        [sys.executable, "-m", "asbuilt", "restore", str(only(folder / "copies"))],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"},
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, limit),
    )
    assert done.returncode == 2, done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert files_below(folder) == before


def test_a_restore_that_is_refused_brings_no_photos_either(run: Run, record: Path, folder: Path) -> None:
    """Photos were once copied before it was decided, and the message said that nothing was changed."""
    run("backup", "--to", "copies")
    run(*WITHDRAW)
    for path in (folder / "asbuilt.db.photos").rglob("*.*"):
        path.unlink()
    before = {name for name in files_below(folder) if "asbuilt.db-" not in name}
    result = run("restore", only(folder / "copies"))
    assert "; nothing was changed" in result.stderr
    assert {name for name in files_below(folder) if "asbuilt.db-" not in name} == before


def test_a_record_that_knows_more_is_not_replaced_in_silence(run: Run, record: Path, folder: Path) -> None:
    run("backup", "--to", "copies")
    path = only(folder / "copies")
    run(*WITHDRAW)
    before, stands = heads(record), record.read_bytes()
    result = run("restore", path)
    assert result.exit_code == 2
    assert result.stderr == (
        f"asbuilt: asbuilt.db knows what {path} does not; nothing was changed\n"
        f"  {ONE}: entry 14\n"
        "to put the backup in its place all the same: --overwrite-newer (the record is kept under another name)\n"
    )
    assert heads(record) == before
    assert sqlite3.connect(record).execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert len(stands) == len(record.read_bytes())
    done = parsed(run("restore", path, "--overwrite-newer", "--json"))
    assert (done["entries"], done["entries_only_in_kept"]) == (23, 1)
    assert heads(Path(done["kept"])) == before
    assert heads(record) == heads(path)
    assert run("verify", "--against", path).exit_code == 0
    back = run("restore", done["kept"])
    assert back.exit_code == 0, "what was kept aside knows more, so nothing goes"
    assert heads(record) == before


def test_entries_at_the_same_place_that_differ_are_named(run: Run, record: Path, folder: Path) -> None:
    run("backup", "--to", "copies")
    path = only(folder / "copies")
    run(*WITHDRAW)
    run("withdraw", ONE, "septic tank/lid", "--from", "B", "--reason", "nail gone", "--record", path)
    result = run("restore", path)
    assert result.exit_code == 2
    assert result.stderr.splitlines()[1] == f"  {ONE}: entry 14, and the backup has 1 others"


def test_an_unsound_backup_is_refused(run: Run, record: Path, folder: Path) -> None:
    run("backup", "--to", "copies")
    path = only(folder / "copies")
    tamper(path, "UPDATE tie SET distance_m = 7.2 WHERE entry_id = (SELECT min(entry_id) FROM tie)")
    before = record.read_bytes()
    result = run("restore", path)
    assert result.exit_code == 2
    assert result.stderr.startswith(
        f"asbuilt: {path}: this backup is not sound: {ONE}: entry 6 (tie, points.csv row 2)"
    )
    assert result.stderr.endswith("; nothing was changed\n")
    assert record.read_bytes() == before


def test_the_record_itself_and_what_is_no_record_are_refused(run: Run, record: Path, folder: Path) -> None:
    result = run("restore", record)
    assert (result.exit_code, result.stderr) == (
        2,
        f"asbuilt: {record}: this is the record itself; give one of its backups\n",
    )
    (folder / "notes.txt").write_text("words " * 50)
    result = run("restore", "notes.txt")
    assert (result.exit_code, result.stderr) == (
        2,
        "asbuilt: notes.txt: this is not an SQLite file, so it is no record; it was left as it is\n",
    )


def test_a_record_that_somebody_has_open_is_not_replaced(run: Run, record: Path, folder: Path) -> None:
    run("backup", "--to", "copies")
    path = only(folder / "copies")
    with open_record(record, read_only=True) as reader, reader.read():
        assert read_property(reader, ONE)
        from asbuilt.jobs import backup

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(backup, "open_record", lambda path, **words: open_record(path, **words, wait_s=0.1))
            result = run("restore", path)
        assert read_property(reader, OTHER)
    assert result.exit_code == 2
    assert result.stderr == (
        "asbuilt: asbuilt.db: another program has it open; end that one first (nothing was changed)\n"
    )
    assert run("verify").exit_code == 0


# ------------------------------------------------------------ the reminder


def stored_at(record: Path, moment: datetime) -> str:
    """Record a service on a day and give what is said beside it."""
    from asbuilt.cli.printing import notices_shown
    from asbuilt.jobs.record_service import add_service, place_of, read_entry

    answers = {"on": moment.date().isoformat(), "component": "septic tank", "task": "inspection"}
    entry = read_entry(place_of(record, ONE), answers, moment.date())
    import contextlib
    import io

    with contextlib.redirect_stderr(io.StringIO()) as said, notices_shown():
        add_service(record, ONE, entry, who="tester", now=moment)
    return said.getvalue()


def test_whoever_writes_is_reminded_of_an_old_backup_in_one_line(record: Path, run: Run) -> None:
    now = datetime.now(UTC)
    assert stored_at(record, now + timedelta(days=29)) == ""
    assert stored_at(record, now + timedelta(days=31)) == (
        f"note: {record} was begun 31 days ago and has no backup; `asbuilt backup` makes one\n"
    )
    run("backup", "--to", "copies")
    assert "backup" not in stored_at(record, now + timedelta(days=28))
    day = datetime.now(UTC).astimezone().strftime("%Y-%m-%d")
    assert stored_at(record, now + timedelta(days=40, hours=1)) == (
        f"note: the last backup of {record} was made on {day}, 40 days ago; `asbuilt backup` makes one\n"
    )
    assert invoke("positions", ONE, "--record", record).stderr.count("backup") == 0


def test_a_clock_set_back_is_said_and_nothing_is_lost(record: Path) -> None:
    now = datetime.now(UTC)
    stored_at(record, now + timedelta(days=2))
    before = heads(record)
    said = stored_at(record, now + timedelta(days=1))
    later, earlier = (f"{now + timedelta(days=k):%Y-%m-%dT%H:%M}" for k in (2, 1))
    assert said == (
        f"note: the clock says {earlier} UTC and the last entry of {ONE} is of {later} UTC: the clock was set back, or "
        "was ahead then. All is stored, and the order of the entries stands; set the clock right\n"
    )
    assert len(heads(record)) == len(before)
    assert invoke("verify", "--record", record).exit_code == 0

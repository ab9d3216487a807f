"""A disk that fills up, at every write in turn: one clear message, and the record is as it was."""

import os
import re
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from asbuilt.jobs.verify import verify
from asbuilt.record.database import open_record
from asbuilt.record.soundness import read_heads
from tests.commands import ROOT, invoke, sheets_in, two_corners
from tests.simulations.kills import ACTS, Act
from tests.traced import Ended, Write, failing_at, writes_of
from tests.trust import ONE, copied

STORING = ("load", "service", "correct", "photo", "migrate", "backup", "restore")


@pytest.fixture(scope="session")
def ahead(trusted: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a copy of the small record with one entry more."""
    record = copied(trusted, tmp_path_factory.mktemp("ahead"))
    done = invoke("withdraw", ONE, "lid", "--from", "B", "--reason", "nail gone", "--record", record)
    assert done.exit_code in (0, 1), done.output
    return record


@pytest.fixture
def place(trusted: Path, ahead: Path, tmp_path: Path) -> Callable[[str], tuple[Path, Act]]:
    """Give a fresh folder for one run of an action, and the action."""

    def make(kind: str) -> tuple[Path, Act]:
        folder = tmp_path / f"run-{len(list(tmp_path.iterdir()))}"
        folder.mkdir()
        copied(trusted, folder)
        for name, source in (("base.db", trusted), ("ahead.db", ahead)):
            shutil.copy(source, folder / name)
            shutil.copytree(folder / "asbuilt.db.photos", folder / f"{name}.photos")
        return folder, ACTS[kind][0](folder, 1)

    return make


def state(folder: Path, act: Act) -> list[object]:
    with open_record(folder / act.record, read_only=True) as record:
        return list(read_heads(record))


def look(folder: Path, act: Act, before: list[object], ended: Ended, where: str) -> None:
    """See that all of it is stored, or nothing with one message that says why."""
    after = state(folder, act)
    assert verify(folder / act.record).faults == (), where
    assert [path for path in folder.rglob(".asbuilt.*") if path.exists()] == [], where
    assert "Traceback" not in ended.said, where
    if ended.status == 2:
        assert after == before or "whether it was stored" in ended.said, where
        (message,) = [line for line in ended.said.splitlines() if line.startswith("asbuilt: ")]
        assert re.search(r"disk is full|disk failed|No space left|cannot be written|could not be", message), where
        return
    assert ended.status in (0, 1), f"{where}: {ended}"
    assert act.adds == 0 or after != before, where
    if act.made is not None:
        assert all(verify(path).faults == () for path in (folder / act.made).glob("*.db")), where


def fail_in_turn(place: Callable[[str], tuple[Path, Act]], kind: str, call: str, step: int, *, ever_after: bool) -> int:
    folder, act = place(kind)
    ended, writes = writes_of(act.words, folder)
    assert ended.status in (0, 1), ended
    last = max((write.nth for write in writes if write.call == call), default=0)
    assert last, f"{kind} never calls {call}"
    refused = 0
    for nth in range(1, last + 1, step):
        folder, act = place(kind)
        before = state(folder, act)
        ended = failing_at(act.words, folder, Write(call, nth, ""), "ENOSPC", ever_after=ever_after)
        look(folder, act, before, ended, f"{kind}, {call} {nth} of {last}")
        refused += ended.status == 2
        shutil.rmtree(folder)
    return refused


@pytest.mark.parametrize("kind", STORING)
def test_a_disk_that_fills_up_at_some_write_leaves_the_record_as_it_was(
    place: Callable[[str], tuple[Path, Act]], kind: str
) -> None:
    step = 41 if kind == "migrate" else 11  # it solves a whole house each time
    assert fail_in_turn(place, kind, "pwrite64", step, ever_after=True)


@pytest.mark.exhaustive
@pytest.mark.parametrize("ever_after", [False, True])
@pytest.mark.parametrize("call", ["pwrite64", "fdatasync"])
@pytest.mark.parametrize("kind", STORING)
def test_every_write_failing_in_turn_leaves_the_record_as_it_was(
    place: Callable[[str], tuple[Path, Act]], kind: str, call: str, ever_after: bool
) -> None:
    assert fail_in_turn(place, kind, call, 1, ever_after=ever_after)


MOUNTED = """
mount -t tmpfs -o size=1m none "$1" || exit 77
cp -r "$2"/. "$1" && cd "$1" || exit 76
"$3" -c 'from asbuilt.cli.main import main; main()' load large >said 2>&1
echo $?; cat said
rm -r large
"$3" -c 'from asbuilt.cli.main import main; main()' verify
"""


def test_on_a_file_system_that_is_too_small_nothing_is_stored_and_it_is_said(trusted: Path, tmp_path: Path) -> None:
    (tmp_path / "source").mkdir()
    (tmp_path / "small").mkdir()
    copied(trusted, tmp_path / "source")
    large = two_corners("Large Place")
    lid, row = large["points"]
    large["points"] = [lid, *([row[0], f"lid {number}", *row[2:]] for number in range(40))]
    sheets_in(tmp_path / "source", "large", **large)
    room = (tmp_path / "source" / "room").open("wb")
    with room:
        used = sum(path.stat().st_blocks * 512 for path in (tmp_path / "source").rglob("*") if path.is_file())
        room.write(b"\0" * (1024 * 1024 - used - 120_000))
    done = subprocess.run(
        ["unshare", "-rm", "sh", "-c", MOUNTED, "sh", tmp_path / "small", tmp_path / "source", sys.executable],
        capture_output=True,
        text=True,
        check=False,
        env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"},
    )
    lines = done.stdout.splitlines()
    assert lines[:2] == ["2", "asbuilt: asbuilt.db: the disk is full; make room and try again; nothing was stored"], (
        done
    )
    assert lines[2].startswith("asbuilt.db: 2 properties, 23 entries, 2 photos")
    assert lines[2].endswith(": no fault")


def test_a_limit_on_the_size_of_files_is_said_and_nothing_is_stored(trusted: Path, folder: Path) -> None:
    record = copied(trusted, folder)
    code = (
        "import resource, sys\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({record.stat().st_size // 8}, {resource.RLIM_INFINITY}))\n"
        "from asbuilt.cli.main import main\nmain()"
    )
    answers = ("--on", "2024-06-01", "--component", "septic tank", "--task", "inspection")
    done = subprocess.run(
        [sys.executable, "-c", code, "service", ONE, *answers],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 2
    assert done.stderr.startswith("asbuilt: asbuilt.db: ")
    assert len(done.stderr.splitlines()) == 1
    assert verify(record).faults == ()
    assert sum(head.entries for head in verify(record).heads) == 23

"""Commands killed at random moments: what was acknowledged is there, whole, and the record passes `verify`.

Run `python -m tests.simulations.kills [kills] [seed]`. Four kills of five come just before one of the calls with which
the command writes, drawn evenly from the second to the last of them, so that they fall between its first and its last
write; the others come after a random time. strace(1) does it, at the very call.
"""

import os
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import typst  # noqa: F401 - loaded here, so that the children need not
from PIL import Image

from asbuilt.handover.packet import open_packet
from asbuilt.jobs.verify import verify
from asbuilt.record.database import open_record
from asbuilt.record.soundness import read_heads
from asbuilt.record.witness import entry_hashes
from tests.commands import ROOT, SAMPLE_NAME, invoke, sheets_in, two_corners
from tests.traced import Ended, Write, killed_at, run_traced, writes_of
from tests.trust import ONE, copied, small_record

ROUND = 25
"""Actions on one record before a new one is begun, so that looking at all of it stays quick."""

OLD = ROOT / "tests" / "records" / "version-1.record"

Hashes = dict[str, list[str]]


@dataclass(frozen=True)
class Act:
    """One command in a folder, and what it is about."""

    words: tuple[object, ...]
    record: str  #: file that must be sound afterwards
    adds: int  #: entries that it stores
    made: str | None = None  #: file or folder that it writes beside the record


Prepare = Callable[[Path, int], Act]


def _load(folder: Path, number: int) -> Act:
    sheets_in(folder, "sheets", **two_corners(f"Place {number}"))
    return Act(("load", "sheets", "--record", "asbuilt.db"), "asbuilt.db", 7)


def _service(folder: Path, number: int) -> Act:
    words = ("--on", "2024-06-01", "--component", "septic tank", "--task", "inspection", "--ticket", number)
    return Act(("service", ONE, *words, "--record", "asbuilt.db"), "asbuilt.db", 1)


def _correct(folder: Path, number: int) -> Act:
    read = f"25 {number % 8 + 1}.{number % 7 + 1}"
    words = ("--from", "A", "--read", read, "--reason", f"reading {number}")
    return Act(("correct", ONE, "septic tank/lid", *words, "--record", "asbuilt.db"), "asbuilt.db", 1)


def _photo(folder: Path, number: int) -> Act:
    color = (number % 256, number // 256 % 256, number // 65536 % 256)
    Image.new("RGB", (16, 16), color).save(folder / "picture.png")
    return Act(("photo", ONE, "lid", "picture.png", "--record", "asbuilt.db"), "asbuilt.db", 1)


def _migrate(folder: Path, number: int) -> Act:
    for path in folder.glob("old.db*"):
        path.unlink()
    shutil.copy(OLD, folder / "old.db")
    words = ("--from", "SE corner", "--reason", "nail gone")
    return Act(("withdraw", SAMPLE_NAME, "oak post", *words, "--record", "old.db"), "old.db", 1)


def _backup(folder: Path, number: int) -> Act:
    return Act(("backup", "--to", "copies", "--keep", 3, "--record", "asbuilt.db"), "asbuilt.db", 0, "copies")


def _restore(folder: Path, number: int) -> Act:
    for path in folder.glob("lost.db*"):
        if path.is_file():
            path.unlink()
    shutil.copy(folder / "base.db", folder / "lost.db")
    shutil.copytree(folder / "base.db.photos", folder / "lost.db.photos", dirs_exist_ok=True)
    return Act(("restore", "ahead.db", "--record", "lost.db"), "lost.db", 1)


def _packet(folder: Path, number: int) -> Act:
    words = ("packet", ONE, "--out", "packet.zip", "--overwrite", "--record", "asbuilt.db")
    return Act(words, "asbuilt.db", 0, "packet.zip")


def _map(folder: Path, number: int) -> Act:
    words = ("map", ONE, "--out", "map.html", "--overwrite", "--record", "asbuilt.db")
    return Act(words, "asbuilt.db", 0, "map.html")


ACTS: dict[str, tuple[Prepare, int]] = {
    "load": (_load, 20),
    "service": (_service, 16),
    "correct": (_correct, 16),
    "photo": (_photo, 12),
    "migrate": (_migrate, 12),
    "backup": (_backup, 10),
    "restore": (_restore, 6),
    "packet": (_packet, 5),
    "map": (_map, 3),
}
"""How each action is prepared, and how often it is drawn."""


@dataclass
class Tally:
    """What came of the kills."""

    kills: Counter[str] = field(default_factory=Counter)  #: by action
    between: int = 0  #: between the first and the last write of the action
    stored: int = 0  #: killed, and stored all the same: the kill came after the commit
    ended: int = 0  #: actions that ended before the kill
    acknowledged: int = 0  #: entries that were acknowledged
    lost: int = 0
    half: int = 0  #: actions of which a part was stored
    failing: int = 0  #: records that do not pass verify
    broken: int = 0  #: output files that are neither whole nor absent
    leftovers: int = 0  #: files that were being written aside
    seconds: float = 0.0

    @property
    def killed(self) -> int:
        """Count all kills."""
        return sum(self.kills.values())

    @property
    def harm(self) -> int:
        """Count whatever must not be."""
        return self.lost + self.half + self.failing + self.broken


def simulate(kills: int, seed: int = 1) -> Tally:
    """Kill so many actions, drawn by a seed."""
    chance, tally, began = random.Random(seed), Tally(), time.monotonic()  # noqa: S311 - for a simulation
    number = 0
    with _base() as (base, writes):
        while tally.killed < kills:
            with tempfile.TemporaryDirectory(prefix="kills-") as name:
                folder = _copied(base, Path(name))
                baseline = {"asbuilt.db": _read(folder / "asbuilt.db")}
                for _ in range(ROUND):
                    number += 1
                    kind = chance.choices([*ACTS], [weight for _, weight in ACTS.values()])[0]
                    _one(chance, tally, folder, baseline, kind, number, writes[kind])
                    if tally.killed >= kills:
                        break
    tally.seconds = time.monotonic() - began
    return tally


def _one(
    chance: random.Random,
    tally: Tally,
    folder: Path,
    baseline: dict[str, Hashes],
    kind: str,
    number: int,
    listed: tuple[list[Write], float],
) -> None:
    """Do one action, kill it, and look at what is there."""
    act = ACTS[kind][0](folder, number)
    before = baseline.get(act.record) or _read(folder / act.record)
    writes, lasts_s = listed
    aimed = chance.random() < 0.8
    if aimed:
        ended = killed_at(act.words, folder, chance.choice(writes[1:]))
    else:
        ended = run_traced(act.words, folder, "-o", "/dev/null", kill_after_s=chance.uniform(0, lasts_s))
    tally.leftovers += _sweep(folder)
    after = _judge(tally, folder, act, before, ended)
    if act.record in baseline:
        baseline[act.record] = after
    if ended.killed:
        tally.kills[kind] += 1
        tally.between += aimed
    else:
        tally.ended += 1


def _judge(tally: Tally, folder: Path, act: Act, before: Hashes, ended: Ended) -> Hashes:
    """Count what is not as it must be; give what the record holds now."""
    path = folder / act.record
    if not ended.killed and ended.status not in (0, 1):
        raise RuntimeError(f"{act.words}: {ended}")
    after = _read(path)
    known = sum(map(len, before.values()))
    there = sum(after.get(name, [])[: len(hashes)] == hashes and len(hashes) for name, hashes in before.items())
    tally.acknowledged += known
    tally.lost += known - there
    more = sum(map(len, after.values())) - known
    if more not in (0, act.adds):
        tally.half += 1
    if not ended.killed and more != act.adds:
        tally.lost += act.adds - more
    tally.stored += ended.killed and act.adds > 0 and more == act.adds
    faults = verify(path).faults
    tally.failing += bool(faults)
    for fault in faults:
        print(f"after {act.words}: {fault.where}: {fault.message}", file=sys.stderr)
    if act.made is not None and (folder / act.made).exists():
        tally.broken += _is_broken(folder / act.made)
    for kept in folder.glob(f"{act.record}.before-*"):
        tally.broken += _is_broken(kept)
        kept.unlink()
    return after


def _is_broken(made: Path) -> bool:
    try:
        if made.is_dir():
            return any(bool(verify(path).faults) for path in made.glob("*.db"))
        if made.suffix == ".zip":
            open_packet(made).__exit__(None, None, None)
            return False
        if made.suffix == ".html":
            return not made.read_text(encoding="utf-8").rstrip().endswith("</html>")
        return bool(verify(made).faults)
    except Exception as error:
        print(f"{made}: {error}", file=sys.stderr)
        return True


def _sweep(folder: Path) -> int:
    """Remove what a killed command was writing aside, as whoever finds it may."""
    found = [path for path in folder.rglob(".asbuilt.*") if path.exists()]
    for path in found:
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()
    return len(found)


def _read(path: Path) -> Hashes:
    with open_record(path, read_only=True) as record:
        return {head.name: entry_hashes(record, head.name) for head in read_heads(record)}


@contextmanager
def _base() -> Iterator[tuple[Path, dict[str, tuple[list[Write], float]]]]:
    """Make the record that each round begins with, and list the writes of each action."""
    with tempfile.TemporaryDirectory(prefix="kills-") as name:
        folder = Path(name)
        (folder / "base").mkdir()
        base = small_record(folder / "base").parent
        shutil.copy(base / "asbuilt.db", base / "base.db")
        shutil.copy(base / "asbuilt.db", base / "ahead.db")
        done = invoke("withdraw", ONE, "lid", "--from", "B", "--reason", "nail gone", "--record", base / "ahead.db")
        assert done.exit_code in (0, 1), done.output
        writes = {}
        for kind, (prepare, _) in ACTS.items():
            place = _copied(base, folder / kind)
            act = prepare(place, 0)
            if kind != "packet":  # typst has threads, which no child would inherit
                invoke(*_in(place, act))  # loads what it needs into this process, which the children are forked from
            place = _copied(base, folder / f"{kind}-2")
            act = prepare(place, 0)
            began = time.monotonic()
            ended, found = writes_of(act.words, place)
            assert ended.status in (0, 1), ended
            writes[kind] = (found, time.monotonic() - began)
        yield base, writes


def _in(folder: Path, act: Act) -> list[object]:
    """Give the words of an action with the files that they name in a folder."""
    files = {"asbuilt.db", "old.db", "lost.db", "ahead.db", "sheets", "picture.png", "copies", "packet.zip", "map.html"}
    return [folder / word if word in files else word for word in map(str, act.words)]


def _copied(base: Path, folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    copied(base / "asbuilt.db", folder)
    for name in ("base.db", "ahead.db"):
        shutil.copy(base / name, folder / name)
        shutil.copytree(base / "asbuilt.db.photos", folder / f"{name}.photos")
    return folder


def main(kills: int, seed: int) -> None:
    """Print what came of it."""
    tally = simulate(kills, seed)
    print(f"kills: {tally.killed} ({', '.join(f'{kind} {count}' for kind, count in sorted(tally.kills.items()))})")
    print(f"between the first and the last write of the action: {tally.between}")
    print(f"killed after the commit, and stored: {tally.stored}; ended before the kill: {tally.ended}")
    print(f"acknowledged entries looked for: {tally.acknowledged:,}, lost: {tally.lost}")
    print(f"actions stored by half: {tally.half}; records that fail verify: {tally.failing}")
    print(f"output files neither whole nor absent: {tally.broken}; files left aside: {tally.leftovers}")
    print(f"{tally.seconds:.0f} s, seed {seed}")
    raise SystemExit(1 if tally.harm else 0)


if __name__ == "__main__":
    arguments = [int(word) for word in sys.argv[1:]]
    main(arguments[0] if arguments else 1000, arguments[1] if len(arguments) > 1 else 1)

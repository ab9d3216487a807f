"""One command in a child process whose writes are counted, made to fail, or met by a kill at a chosen one of them.

strace(1) attaches to the child, which is forked from this process with all libraries loaded: a run costs what the
command itself costs. `inject` is strace's own word for what happens at the n-th call of a kind.
"""

import ctypes
import os
import re
import signal
import subprocess
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.commands import invoke

CALLS = (
    *("pwrite64", "write", "writev", "ftruncate", "fsync", "fdatasync", "rename", "renameat", "renameat2"),
    *("link", "linkat", "unlink", "unlinkat", "mkdir", "mkdirat", "rmdir", "chmod", "fchmod", "fchmodat"),
)
"""Calls that change what is on the disk, or settle it; a question mark lets a machine lack one."""

_TRACE = "trace=" + ",".join(f"?{call}" for call in CALLS)
_LINE = re.compile(r"(?:\d+ +)?(\w+)\((.*)")
_ANY_TRACER = 0x59616D61, ctypes.c_ulong(-1)  # prctl(2): PR_SET_PTRACER, PR_SET_PTRACER_ANY


@dataclass(frozen=True)
class Ended:
    """How a command ended."""

    status: int  #: exit status; negative = the signal that ended it
    said: str  #: stdout and stderr

    @property
    def killed(self) -> bool:
        """Tell whether the kill ended it."""
        return self.status == -signal.SIGKILL


@dataclass(frozen=True)
class Write:
    """One call that changes a file: the n-th of its kind."""

    call: str
    nth: int
    file: str


def run_traced(words: Sequence[object], folder: Path, *options: str, kill_after_s: float | None = None) -> Ended:
    """Run one command in a folder under strace with some options."""
    child, go, heard = _fork(words, folder)
    tracer = subprocess.Popen(
        ["strace", "-p", str(child), "-e", _TRACE, *options],
        stderr=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        text=True,
    )
    assert tracer.stderr is not None
    first = tracer.stderr.readline()
    assert "attached" in first, first + tracer.stderr.read()
    os.write(go, b"x")
    os.close(go)
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(child, signal.SIGKILL)
    with os.fdopen(heard, encoding="utf-8", errors="replace") as pipe:
        said = pipe.read()
    _, status = os.waitpid(child, 0)
    tracer.communicate()
    return Ended(os.waitstatus_to_exitcode(status), said)


def writes_of(words: Sequence[object], folder: Path) -> tuple[Ended, list[Write]]:
    """Run one command and list its writes to files in their order."""
    with tempfile.NamedTemporaryFile("r", suffix=".strace") as log:
        ended = run_traced(words, folder, "-y", "-o", log.name)
        counts: Counter[str] = Counter()
        found = []
        for line in log.read().splitlines():
            match = _LINE.match(line)
            if match is None:
                continue
            counts[match[1]] += 1
            named = re.search(r'<([^>]*)>|"([^"]*)"', match[2])
            file = "" if named is None else named[1] or named[2]
            # what is printed is no file, and the index of the write-ahead log is made anew by whoever opens it
            if not file.startswith(("pipe:", "/dev/null", "/dev/pts")) and not file.endswith("-shm"):
                found.append(Write(match[1], counts[match[1]], file))
    return ended, found


def killed_at(words: Sequence[object], folder: Path, write: Write) -> Ended:
    """Run one command and kill it just before one of its writes."""
    return run_traced(words, folder, "-e", f"inject={write.call}:signal=KILL:when={write.nth}", "-o", "/dev/null")


def failing_at(words: Sequence[object], folder: Path, write: Write, error: str, *, ever_after: bool = False) -> Ended:
    """Run one command in which one write fails, or all of its kind from that one on."""
    when = f"{write.nth}{'+' if ever_after else ''}"
    return run_traced(words, folder, "-e", f"inject={write.call}:error={error}:when={when}", "-o", "/dev/null")


def _fork(words: Sequence[object], folder: Path) -> tuple[int, int, int]:
    """Start a child that waits for one byte before it runs the command."""
    waits, go = os.pipe()
    heard, says = os.pipe()
    with warnings.catch_warnings():
        # Python 3.12 and later warn of threads, which no child inherits; what is run here needs none of them
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child:
        os.close(waits)
        os.close(says)
        return child, go, heard
    status = 70
    try:
        os.close(go)
        ctypes.CDLL(None).prctl(*_ANY_TRACER, 0, 0, 0)
        os.chdir(folder)
        os.read(waits, 1)
        result = invoke(*words)
        os.write(says, result.output.encode())
        status = result.exit_code
    except BaseException as error:
        os.write(says, f"{type(error).__name__}: {error}".encode())
    finally:
        os._exit(status)

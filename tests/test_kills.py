"""Commands killed at random moments; the simulation of 1,000 kills is `python -m tests.simulations.kills`."""

import re
import subprocess
import sys

import pytest

from tests.commands import ROOT


@pytest.mark.parametrize("kills", [12, pytest.param(100, marks=pytest.mark.slow)])
def test_whatever_is_killed_what_was_acknowledged_is_there_and_the_record_is_sound(kills: int) -> None:
    """In a process of its own: the children that are killed are forked, and no thread of pytest comes with them."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.simulations.kills", str(kills), str(kills)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )
    print(done.stdout)
    assert (done.returncode, done.stderr) == (0, "")
    between = re.search(r"between the first and the last write of the action: (\d+)", done.stdout)
    assert between is not None
    assert int(between[1]) >= kills / 2

"""How long the main job takes: ratios within one run, so that the machine does not matter.

Run `python -m tests.benchmarks.main_job`. Fails where the demonstration costs more than 1.6 times the bare imports of
the libraries that it uses.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from asbuilt.survey.solve import solve
from tests.synthetic import make_property

IMPORTS = "import click, numpy, shapely, pyproj, folium, branca, sqlite_utils, PIL.Image"
MOST = 1.6
ROUNDS = 7


def wall_s(*arguments: str) -> float:
    """Time one fresh interpreter."""
    begun = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL, env=os.environ)
    return time.perf_counter() - begun


def demo_ratio() -> float:
    """Time the whole demonstration against the bare imports, fastest of some rounds each."""
    demos, imports = [], []
    with tempfile.TemporaryDirectory() as folder:
        for k in range(ROUNDS):
            imports.append(wall_s("-c", IMPORTS))
            demos.append(wall_s("-m", "asbuilt", "demo", "--out", str(Path(folder) / str(k))))
    ratio = min(demos) / min(imports)
    print(f"demo {min(demos):.2f} s, bare imports {min(imports):.2f} s: ratio {ratio:.2f}, at most {MOST}")
    return ratio


def solve_ms() -> float:
    """Time one property of 40 points, median."""
    record = make_property(np.random.default_rng(1), points=(40, 40)).record
    times = []
    for _ in range(20):
        begun = time.perf_counter()
        solve(record)
        times.append(1000 * (time.perf_counter() - begun))
    print(f"one property of 40 points: {statistics.median(times):.0f} ms")
    return statistics.median(times)


if __name__ == "__main__":
    solve_ms()
    sys.exit(demo_ratio() > MOST)

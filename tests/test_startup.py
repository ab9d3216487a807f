"""`asbuilt --help` loads nothing heavy, and the main job loads each library at most once."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands import ROOT

HEAVY = ("numpy", "pandas", "geopandas", "folium", "shapely", "pyproj", "sqlite_utils", "pygeomag", "jinja2", "sqlite3")


def imported(folder: Path, *words: str) -> list[str]:
    """Give the modules that a fresh interpreter loads for a command, in order."""
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "asbuilt", *words],
        cwd=folder,
        env={"PYTHONPATH": str(ROOT), "PATH": ""},
        capture_output=True,
        text=True,
        check=True,
    )
    return re.findall(r"^import time: .*\| +(\S+)$", done.stderr, re.MULTILINE)


@pytest.mark.parametrize("words", [("--help",), ("load", "--help"), ("demo", "--help"), ("--version",)], ids=" ".join)
def test_asking_for_help_loads_nothing_heavy(tmp_path: Path, words: tuple[str, ...]) -> None:
    modules = imported(tmp_path, *words)
    assert "click" in modules
    assert "asbuilt.cli.main" in modules
    assert sorted({name.partition(".")[0] for name in modules} & set(HEAVY)) == []


def test_importing_the_package_loads_nothing_but_itself(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import sys, asbuilt; print(*sys.modules)"],
        cwd=tmp_path,
        env={"PYTHONPATH": str(ROOT), "PATH": ""},
        capture_output=True,
        text=True,
        check=True,
    )
    assert sorted({name.partition(".")[0] for name in done.stdout.split()} & {"click", *HEAVY}) == []


def test_the_main_job_does_without_the_heaviest(tmp_path: Path) -> None:
    tops = {name.partition(".")[0] for name in imported(tmp_path, "demo", "--out", "demo")}
    assert {"numpy", "shapely", "pyproj", "folium", "sqlite_utils"} <= tops
    # pandas comes with folium where it is installed
    assert sorted(tops & {"geopandas", "scipy", "matplotlib", "jsonschema"}) == []

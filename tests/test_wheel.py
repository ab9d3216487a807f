"""The wheel: what it carries, and that the demonstration runs from it in an empty folder."""

import json
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

from tests.commands import ROOT, SAMPLE

pytestmark = pytest.mark.slow


def completed(*words: object, cwd: Path) -> str:
    """Run a program with a bare environment; its stderr is the message of a failure."""
    done = subprocess.run(
        [str(word) for word in words], cwd=cwd, env={"PATH": "/usr/bin:/bin"}, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    completed(
        *(sys.executable, "-m", "pip", "--disable-pip-version-check", "wheel", "--no-deps", "--no-build-isolation"),
        *("--wheel-dir", folder, ROOT),
        cwd=folder,
    )
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the wheel into an environment of its own; only the libraries are those of this interpreter."""
    place = tmp_path_factory.mktemp("environment")
    venv.create(place, with_pip=False, symlinks=True)
    own = sysconfig.get_paths(vars={"base": str(place), "platbase": str(place)})
    site = Path(own["purelib"])
    completed(
        *(sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", place / "bin" / "python"),
        *("install", "--no-deps", "--no-index", wheel),
        cwd=place,
    )
    (site / "libraries.pth").write_text(sysconfig.get_paths()["purelib"] + "\n", encoding="utf-8")
    return place


def test_the_wheel_carries_the_sample_the_map_and_the_licences(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    assert {
        f"asbuilt/sample_property/{path.relative_to(SAMPLE).as_posix()}" for path in SAMPLE.rglob("*") if path.is_file()
    } <= names
    assets = {
        path.relative_to(ROOT).as_posix() for path in (ROOT / "asbuilt/output/assets").rglob("*") if path.is_file()
    }
    assert assets
    assert assets <= names
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert {name.partition("/")[0].partition("-")[0] for name in names} == {"asbuilt"}
    assert not any("tests" in name or name.endswith((".db", ".pyc")) for name in names)


def test_the_demo_runs_from_the_wheel_in_an_empty_folder(installed: Path, tmp_path: Path) -> None:
    python = installed / "bin" / "python"
    where = completed(python, "-c", "import asbuilt; print(asbuilt.__file__)", cwd=tmp_path)
    assert Path(where.strip()).is_relative_to(installed)
    said = completed(installed / "bin" / "asbuilt", "demo", cwd=tmp_path)
    assert "What you would want to know first:" in said
    folder = tmp_path / "asbuilt-demo"
    positions = json.loads((folder / "positions.json").read_text(encoding="utf-8"))
    assert len(positions["points"]) == 42
    assert (folder / "map.html").stat().st_size > 100_000
    assert sorted(path.name for path in tmp_path.iterdir()) == ["asbuilt-demo"]


def test_the_version_is_that_of_the_package(installed: Path, wheel: Path, tmp_path: Path) -> None:
    said = completed(installed / "bin" / "asbuilt", "--version", cwd=tmp_path)
    assert wheel.name.split("-")[1] == said.split()[-1]

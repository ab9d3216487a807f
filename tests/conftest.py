"""The common ground of the tests: the sample property in a record, a folder to stand in, a writer of sheets."""

import os
import shutil
import tomllib
from functools import partial
from pathlib import Path
from typing import Any

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only wait for each other

from tests.commands import ROOT, SAMPLE, Run, WriteSheets, invoke, sheets_in
from tests.trust import small_record


@pytest.fixture(scope="session")
def sample_record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the record that holds the sample property and nothing else; not to be written to."""
    record = tmp_path_factory.mktemp("sample") / "asbuilt.db"
    result = invoke("load", SAMPLE, "--record", record, "--who", "tester")
    assert (result.exit_code, result.stderr) == (0, "")
    return record


@pytest.fixture(scope="session")
def trusted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a small record with two properties, photos, services and a correction; not to be written to."""
    return small_record(tmp_path_factory.mktemp("trusted"))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in an empty folder, with no record named by the environment."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("ASBUILT_RECORD", raising=False)
    return tmp_path


@pytest.fixture
def run(folder: Path) -> Run:
    """Run commands in an empty folder."""
    return invoke


@pytest.fixture
def loaded(folder: Path, sample_record: Path) -> Path:
    """Give a copy of the sample record, photos and all, as `asbuilt.db` in the folder one stands in."""
    shutil.copytree(sample_record.with_name("asbuilt.db.photos"), folder / "asbuilt.db.photos")
    return Path(shutil.copy(sample_record, folder / "asbuilt.db"))


@pytest.fixture(scope="session")
def truth() -> dict[str, Any]:
    """Give the true places from which the readings of the sample property were made; house frame, metres."""
    return tomllib.loads((ROOT / "tests" / "sample_truth.toml").read_text(encoding="utf-8"))


@pytest.fixture
def write_sheets(folder: Path) -> WriteSheets:
    """Give a writer of small folders of sheets; a folder of that name is replaced."""
    return partial(sheets_in, folder)

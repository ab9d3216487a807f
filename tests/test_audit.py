"""The gate's question about dependencies: a known hole stops it, a service that does not answer is said."""

import importlib.util
import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from tests.commands import ROOT


@pytest.fixture(scope="module")
def audit() -> ModuleType:
    spec = importlib.util.spec_from_file_location("audit", ROOT / ".ci" / "audit.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def answered(*packages: dict[str, object]) -> str:
    return json.dumps({"dependencies": list(packages), "fixes": []})


SOUND = {"name": "one", "version": "1.0", "vulns": []}
SKIPPED = {"name": "two", "skip_reason": "Dependency not found on PyPI and could not be audited: two (2.0)"}
HOLE = {"name": "three", "version": "3.0", "vulns": [{"id": "PYSEC-0000-1", "fix_versions": ["3.1"], "aliases": []}]}


def test_a_known_hole_stops_the_gate(audit: ModuleType) -> None:
    status, words = audit.verdict(answered(SOUND, SKIPPED, HOLE), "Found 1 known vulnerability in 1 package")
    assert status == 1
    assert words.splitlines() == ["known holes in dependencies:", "three 3.0: PYSEC-0000-1, mended in 3.1"]


@pytest.mark.parametrize(
    ("output", "complaint", "said"),
    [
        (answered(SOUND), "", "dependencies checked: 1 without a known hole"),
        (answered(SOUND, SKIPPED), "", "dependencies checked: 1 without a known hole; 1 NOT CHECKED"),
        (answered(SKIPPED), "No known vulnerabilities found", "NOT CHECKED: the service knows none of the 1 packages"),
        ("", "Traceback\nConnectionError: no such host", "NOT CHECKED, no answer from the vulnerability service: Conn"),
        ("", "", "NOT CHECKED, no answer from the vulnerability service: no answer"),
        ("[]", "", "NOT CHECKED"),
    ],
)
def test_anything_else_is_said_and_does_not(audit: ModuleType, output: str, complaint: str, said: str) -> None:
    status, words = audit.verdict(output, complaint)
    assert status == 0
    assert said in words


def test_without_the_tool_the_gate_goes_on_and_says_so(tmp_path: Path) -> None:
    script = (
        (ROOT / ".ci" / "audit.py").read_text(encoding="utf-8").replace('"pip_audit"', '"pip_audit_that_is_not_there"')
    )
    (tmp_path / "audit.py").write_text(script, encoding="utf-8")
    done = subprocess.run([sys.executable, tmp_path / "audit.py", tmp_path], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("dependencies NOT CHECKED")


def test_the_gate_asks() -> None:
    assert '.ci/audit.py "$packages"' in (ROOT / ".ci" / "run").read_text(encoding="utf-8")

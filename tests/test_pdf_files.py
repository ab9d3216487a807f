"""Every printed sheet is a sound PDF of the paper that was asked for: qpdf(1) and poppler look at it."""

import subprocess
from pathlib import Path

import pytest

from tests.commands import SAMPLE_NAME, Run

SHEETS = {
    "service-sheet": ("service-sheet", SAMPLE_NAME, "--out"),
    "alarm-sheet": ("alarm-sheet", SAMPLE_NAME, "--out"),
    "find": ("find", SAMPLE_NAME, "--pdf"),
    "label": ("label", SAMPLE_NAME, "--out"),
    "drawing": ("drawing", SAMPLE_NAME, "--out"),
    "report": ("report", SAMPLE_NAME, "--out"),
    "print blank": ("print", "blank", "--property", SAMPLE_NAME, "--out"),
}
POINTS = {"us-letter": {612, 792}, "a4": {595, 842}}
"""Sides of the papers, points of 1/72 in, rounded."""


@pytest.mark.parametrize("paper", POINTS)
@pytest.mark.parametrize("name", SHEETS)
def test_qpdf_finds_no_fault_and_every_page_is_of_the_paper(
    run: Run, loaded: Path, folder: Path, name: str, paper: str
) -> None:
    assert loaded.exists()
    result = run(*SHEETS[name], "sheet.pdf", "--paper", paper, "--on", "2026-06-01")
    assert result.exit_code in (0, 1), result.stderr
    checked = subprocess.run(["qpdf", "--check", "sheet.pdf"], cwd=folder, capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stdout + checked.stderr
    told = subprocess.run(
        ["pdfinfo", "-l", "99", "sheet.pdf"], cwd=folder, capture_output=True, text=True, check=True
    ).stdout
    sizes = [line.split()[3:6:2] for line in told.splitlines() if line.startswith("Page ") and " size:" in line]
    assert sizes
    assert all({round(float(side)) for side in size} == POINTS[paper] for size in sizes), sizes

"""`asbuilt drawing`: the files, what is said, and what is refused."""

import subprocess
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from tests.commands import SAMPLE_NAME, Run, files_below, parsed


def pages(path: Path) -> int:
    done = subprocess.run(["pdfinfo", str(path)], capture_output=True, check=True, text=True)
    return int(next(line.split()[1] for line in done.stdout.splitlines() if line.startswith("Pages:")))


def test_it_writes_the_pdf_and_the_svg_of_each_plan(run: Run, loaded: Path, folder: Path) -> None:
    result = run("drawing", SAMPLE_NAME, "--out", "d.pdf", "--svg", "d.svg", "--on", "2017-07-01")
    assert result.exit_code == 0
    assert result.stdout == (
        "d.pdf: record drawing of Fernbank Lane 14 at 1 in = 20 ft, then 1 in = 30 ft; print it at 100 %\n"
        "d.svg: the plan as SVG\n"
        "d-2.svg: the plan as SVG\n"
    )
    assert pages(folder / "d.pdf") > 4
    for name in ("d.svg", "d-2.svg"):
        root = ET.parse(folder / name).getroot()  # noqa: S314  # our own drawing
        assert (root.get("width"), root.get("height"), root.get("viewBox")) == (
            "215.9mm",
            "279.4mm",
            "0 0 215.9 279.4",
        )


def test_json_tells_paper_and_scales(run: Run, loaded: Path, folder: Path) -> None:
    result = run("drawing", SAMPLE_NAME, "--paper", "a3", "--scale", "1:200", "--out", "d.pdf", "--json")
    told = parsed(result)
    assert {key: told[key] for key in ("property", "written", "svg", "paper")} == {
        "property": SAMPLE_NAME,
        "written": "d.pdf",
        "svg": [],
        "paper": "a3",
    }
    assert told["plans"][0]["scale"] == "1:200"
    assert told["plans"][0]["ratio"] == 200
    assert (folder / "d.pdf").exists()


def test_without_a_name_the_file_is_named_after_the_property(run: Run, loaded: Path, folder: Path) -> None:
    assert run("drawing", SAMPLE_NAME).exit_code == 0
    assert (folder / "fernbank-lane-14-drawing.pdf").exists()


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (
            ("--scale", "1 in = 10 ft"),
            "asbuilt: at 1 in = 10 ft house and system do not fit us-letter; the largest standard scale that fits is "
            "1 in = 20 ft, or take a larger --paper\n",
        ),
        (
            ("--scale", "1:240"),
            "asbuilt: '1:240' is no standard scale; accepted: \"1 in = N ft\" with N one of 10, 20, 30, 40, 50, 60, "
            "100, or one of 1:50, 1:100, 1:200, 1:250, 1:500\n",
        ),
        (("--svg", "there.svg"), "asbuilt: there.svg: the file is there already; --overwrite replaces it\n"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(
    run: Run, loaded: Path, folder: Path, options: tuple[str, ...], message: str
) -> None:
    (folder / "there.svg").write_text("mine")
    before = files_below(folder)
    result = run("drawing", SAMPLE_NAME, "--out", "d.pdf", *options)
    assert (result.exit_code, result.stderr) == (2, message)
    assert files_below(folder) == before


def test_one_name_for_both_files_is_refused(run: Run, loaded: Path, folder: Path) -> None:
    result = run("drawing", SAMPLE_NAME, "--out", "d.x", "--svg", "d.x")
    assert result.exit_code == 2
    assert result.stderr.endswith("Error: --out and --svg both name d.x; the PDF and the SVG are two files\n")
    assert not (folder / "d.x").exists()


def test_a_property_that_is_not_there_is_refused(run: Run, loaded: Path, folder: Path) -> None:
    result = run("drawing", "Nowhere", "--out", "d.pdf")
    assert result.exit_code == 2
    assert not (folder / "d.pdf").exists()

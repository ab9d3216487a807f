"""The README's own first steps, word for word: its sheets are loaded and its commands run."""

import re
import shlex
from pathlib import Path

import pytest

from tests.commands import ROOT, Run, parsed

README = (ROOT / "README.md").read_text(encoding="utf-8")


def part(heading: str) -> str:
    """Give the text under one heading."""
    return re.split(r"\n#{2,3} ", README.partition(f"# {heading}\n")[2])[0]


def write_sheets(folder: Path, text: str) -> None:
    folder.mkdir(exist_ok=True)
    for name, body in re.findall(r"`(\w+\.(?:csv|toml))`\n\n```\w+\n(.*?)```", text, re.DOTALL):
        (folder / name).write_text(body, encoding="utf-8")


def commands(text: str) -> list[list[str]]:
    blocks = "\n".join(re.findall(r"```sh\n(.*?)```", text, re.DOTALL)).replace("\\\n", " ")
    return [shlex.split(line)[1:] for line in blocks.splitlines() if line.startswith(".venv/bin/asbuilt")]


@pytest.fixture
def small(run: Run, folder: Path) -> Path:
    text = part("The smallest sheets that work")
    write_sheets(folder / "my-place", text)
    for words in commands(text):
        assert run(*words).exit_code == 0
    return folder


def test_the_second_load_of_the_readme_is_taken_and_says_its_figures(run: Run, small: Path) -> None:
    """Sheets in which much was filled in at once once looked like those of an older view."""
    text = part("All corners, three tapes, and who lives there")
    write_sheets(small / "my-place", text)
    load, positions, draw, due = commands(text)
    assert "23 added, 4 superseded" in run(*load).stdout
    assert run(*positions).exit_code == 0
    assert run(*draw).exit_code == 1  # the pump-out is overdue
    told = run(*due)
    assert told.exit_code == 1
    assert "2026-04-21  OVERDUE pump-out of septic tank" in told.stdout  # 41 days before 2026-06-01


def test_a_point_with_a_short_name_gets_its_photo(run: Run, small: Path) -> None:
    text = part("All corners, three tapes, and who lives there")
    write_sheets(small / "my-place", text)
    run(*commands(text)[0])
    picture = ROOT / "sample_property" / "photos" / "cleanout.jpg"
    told = parsed(run("photo", "Mill Lane 4", "cleanout/cap", str(picture), "--json"))
    assert told["of"] == "cleanout/cap"

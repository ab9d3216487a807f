"""Sheets saved by real spreadsheets and by hand: each gives the record of the reference sheets, or its message."""

import shutil
import tomllib
from functools import cache
from pathlib import Path

import pytest

from asbuilt.errors import SheetError
from asbuilt.findings import Severity
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.sheets.files import GUESSED_ENCODING
from asbuilt.record.sheets.read import SheetSet, read_sheets

INPUTS = Path(__file__).parent / "inputs"
EXPECTED = tomllib.loads((INPUTS / "expected.toml").read_text(encoding="utf-8"))
LOADS = sorted((INPUTS / "loads").iterdir())
REFUSED = sorted((INPUTS / "refused").iterdir())


@cache
def reference(name: str) -> PropertyRecord:
    return read_sheets(INPUTS / name).record


def read(path: Path, tmp_path: Path) -> SheetSet:
    """Read a workbook, or the reference sheets with one sheet replaced."""
    base, _, sheet = path.name.partition("--")[0].partition("-")
    if not sheet:
        return read_sheets(path)
    folder = tmp_path / base
    shutil.copytree(INPUTS / base, folder)
    shutil.copy(path, folder / f"{sheet}{path.suffix}")
    return read_sheets(folder)


def test_there_are_more_files_than_anybody_tries_by_hand() -> None:
    assert len(LOADS) + len(REFUSED) >= 80
    programs = {path.name.partition("--")[2].partition("-")[0].partition(".")[0] for path in LOADS}
    assert programs == {"libreoffice", "openpyxl", "pandas", "xlsxwriter", "hand"}


@pytest.mark.parametrize("path", LOADS, ids=lambda path: path.name)
def test_a_file_gives_the_record_of_the_reference_sheets(path: Path, tmp_path: Path) -> None:
    found = read(path, tmp_path)
    assert found.record == reference(path.name.partition("-")[0])
    assert [note.message for note in found.notes] == EXPECTED["notes"].get(path.name, [])
    assert {(note.code, note.severity) for note in found.notes} <= {(GUESSED_ENCODING, Severity.NOTE)}


@pytest.mark.parametrize("path", REFUSED, ids=lambda path: path.name)
def test_a_file_is_refused_with_its_whole_message(path: Path, tmp_path: Path) -> None:
    with pytest.raises(SheetError) as refused:
        read(path, tmp_path)
    assert [str(problem) for problem in refused.value.problems] == EXPECTED["refused"][path.name]


def test_no_message_and_no_note_is_expected_of_a_file_that_is_not_there() -> None:
    assert set(EXPECTED["refused"]) == {path.name for path in REFUSED}
    assert set(EXPECTED["notes"]) <= {path.name for path in LOADS}


def test_the_two_reference_sets_say_the_same_in_two_units() -> None:
    feet, metres = reference("feet"), reference("metres")
    for one, other in zip((*feet.walls, *feet.ties), (*metres.walls, *metres.ties), strict=True):
        lengths = [getattr(each, "length", None) or each.distance for each in (one, other)]  # type: ignore[union-attr]
        assert abs(lengths[0].metres - lengths[1].metres) < 0.01
    assert feet.service == metres.service

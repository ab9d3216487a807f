"""Names of files that are made of words of the record: any system takes them, and they lead nowhere else."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.file_names import file_stem, is_reserved
from asbuilt.model.photos import Photo
from asbuilt.record.sheets.write import is_plain_name, photo_names
from tests.commands import Run, WriteSheets, two_corners
from tests.hostile import HOSTILE, named
from tests.output_readers import is_plain

DEVICES = ("CON", "prn", "Aux", "NUL", "COM1", "com9", "LPT1", "lpt9", "COM¹", "LPT²", "CONIN$", "conout$")
"""Names that Windows keeps for devices, whatever ending they have (from memory)."""

WORDS = [*named(), *((f"device-{each}", each) for each in DEVICES), ("dots", "..."), ("hidden", ".profile")]
WORDS += [("wide", "水" * 300), ("dash", "-rf"), ("home", "~root"), ("drive", "C:\\x"), ("end", "name. ")]
IDS = [name for name, _ in WORDS]


@pytest.mark.parametrize(("_", "words"), WORDS, ids=IDS)
def test_any_name_of_a_property_gives_a_plain_file_name(_: str, words: str) -> None:
    for name in (f"{file_stem(words)}.html", f"{file_stem(words)}-history.html", file_stem(words)):
        assert is_plain(name)
        assert not name.startswith((".", "-", "~"))
        assert len(name.encode()) <= 160


@given(st.text())
def test_so_does_any_text_at_all(words: str) -> None:
    name = f"{file_stem(words)}.pdf"
    assert is_plain(name)
    assert not name.startswith((".", "-", "~"))


@pytest.mark.parametrize("device", DEVICES)
def test_names_of_devices_are_known_with_any_ending(device: str) -> None:
    assert is_reserved(device)
    assert is_reserved(f"{device}.jpg")
    assert is_reserved(f"{device}.tar.gz")
    assert not is_reserved(f"{device}x.jpg")


@pytest.mark.parametrize(
    "name", ["../x.toml", "/x.toml", "a/../../x.toml", "C:x.toml", "a\\x.toml", "nul.toml", "a/CON"]
)
def test_a_rule_file_stays_in_its_folder(name: str) -> None:
    assert not is_plain_name(name)


@pytest.mark.parametrize("words", [*HOSTILE, *DEVICES, "../../x", "C:\\x", ".hidden", "x.jpg/../../y"])
def test_a_photo_is_written_under_a_plain_name_whatever_it_was_called(words: str) -> None:
    photos = [
        Photo("a", f"{words}{ending}", f"{number:064x}", "jpeg", 1, 1)
        for number, ending in enumerate((".jpg", "", ".JPG"))
    ]
    names = photo_names(photos)
    assert len({name.casefold() for name in names.values()}) == len(photos)
    assert all(is_plain(name) and "/" not in name for name in names.values())


@pytest.mark.parametrize("name", ["../../escape", "CON", "...", ".hidden", "a/b", "x" * 78])
def test_a_property_of_any_name_is_written_beside_where_one_stands(
    run: Run, write_sheets: WriteSheets, folder: Path, name: str
) -> None:
    assert run("load", write_sheets("sheets", **two_corners(name))).exit_code in (0, 1)
    before = set(folder.rglob("*"))
    assert run("map", name).exit_code in (0, 1)
    assert run("packet", name).exit_code in (0, 1)
    made = sorted(path.relative_to(folder).as_posix() for path in set(folder.rglob("*")) - before)
    assert len(made) == 2
    assert all(is_plain(each) and "/" not in each and re.match(r"\w", each) for each in made)
    assert not [path for path in folder.parent.iterdir() if path.name.startswith("escape")]

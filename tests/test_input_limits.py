"""Every kind of file that is read has a greatest size, and one message says which; nothing is stored.

The files are sparse: as large as they say, with hardly anything in them. The table in DEVELOPERS.md is this table.
"""

import io
import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from asbuilt.handover import packet
from asbuilt.output.gis import readback
from asbuilt.record import pictures, shape_files
from asbuilt.record.cards import file as cards_file
from asbuilt.record.sheets import cells, files, splitting, workbooks
from tests.commands import SAMPLE, SAMPLE_NAME, Run, WriteSheets, files_below, two_corners

ROUTE = ("route", "--date", "2026-06-01", "--from", "42.5,-118.4", "--dump", "42.6,-118.4", "--truck-gal", "2500")


def sparse(path: Path, size: int, head: bytes = b"") -> Path:
    """Make a file of that many bytes that takes no room on the disk."""
    with path.open("wb") as file:
        file.write(head)
        file.truncate(size)
    return path


def refused(run: Run, *words: object) -> str:
    """Run a command that must refuse, and give its message."""
    result = run(*words)
    assert (result.exit_code, result.stdout) == (2, ""), result.output
    assert result.stderr.startswith("asbuilt: ")
    return result.stderr


@pytest.fixture
def sheets(write_sheets: WriteSheets) -> Path:
    return write_sheets("sheets", **two_corners())


@pytest.mark.parametrize(
    ("name", "limit"),
    [
        ("property.toml", files.BIGGEST_BYTES),
        ("points.csv", files.BIGGEST_BYTES),
        ("service.csv", files.BIGGEST_BYTES),
        ("own.toml", files.BIGGEST_BYTES),
    ],
)
def test_a_sheet_that_is_too_large_is_refused(run: Run, sheets: Path, name: str, limit: int) -> None:
    if name == "own.toml":
        toml = sheets / "property.toml"
        toml.write_text(toml.read_text(encoding="utf-8") + 'rules = "own.toml"\n', encoding="utf-8")
    sparse(sheets / name, limit + 1)
    before = files_below(sheets.parent)
    assert f"{name}: is larger than {limit:,} bytes; " in refused(run, "load", sheets)
    assert files_below(sheets.parent) == before


@pytest.mark.parametrize("ending", ["xlsx", "ods"])
def test_a_workbook_that_is_too_large_is_refused(run: Run, folder: Path, ending: str) -> None:
    book = sparse(folder / f"book.{ending}", workbooks.BIGGEST_WORKBOOK + 1, b"PK\x03\x04")
    assert f"is larger than {workbooks.BIGGEST_WORKBOOK:,} bytes" in refused(run, "load", book)


def test_cards_that_are_too_large_are_refused(run: Run, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cards_file, "BIGGEST_CARDS", 5_000)  # the true limit would fill the memory of a small machine
    cards = sparse(folder / "cards.csv", 5_001)
    said = refused(run, "load-cards", cards, "--map", SAMPLE / "cards" / "map.toml")
    assert "cards.csv: is larger than 5,000 bytes" in said


def test_a_map_of_cards_that_is_too_large_is_refused(run: Run, folder: Path) -> None:
    large = sparse(folder / "map.toml", files.BIGGEST_BYTES + 1)
    said = refused(run, "load-cards", SAMPLE / "cards" / "cards.csv", "--map", large)
    assert f"map.toml: is larger than {files.BIGGEST_BYTES:,} bytes" in said


def test_cards_have_a_greatest_number(run: Run, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cards_file, "MOST_CARDS", 1)
    said = refused(run, "load-cards", SAMPLE / "cards" / "cards.csv", "--map", SAMPLE / "cards" / "map.toml")
    assert "accepted: at most 1" in said


def test_a_table_of_driving_times_that_is_too_large_is_refused(run: Run, loaded: Path) -> None:
    table = sparse(loaded.parent / "times.csv", files.BIGGEST_BYTES + 1)
    assert f"times.csv: is larger than {files.BIGGEST_BYTES:,} bytes" in refused(run, *ROUTE, "--matrix", table)


def test_a_drawn_shape_that_is_too_large_is_refused(run: Run, loaded: Path) -> None:
    shape = sparse(loaded.parent / "shed.geojson", shape_files.LARGEST_BYTES + 1, b"{")
    assert f"is larger than {shape_files.LARGEST_BYTES:,} bytes" in refused(run, "clear-of", SAMPLE_NAME, shape)


def test_a_drawn_shape_has_a_greatest_number_of_corners(run: Run, loaded: Path) -> None:
    ring = [[-118.4 + k * 1e-7, 42.5 + (k % 2) * 1e-6] for k in range(shape_files.MOST_CORNERS + 1)]
    shape = loaded.parent / "shed.geojson"
    geometry = {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}
    shape.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": geometry}), encoding="utf-8")
    assert f"{shape_files.MOST_CORNERS}" in refused(run, "clear-of", SAMPLE_NAME, shape, "--kind", "shed")


def test_a_packet_that_is_too_large_is_refused(run: Run, folder: Path) -> None:
    large = sparse(folder / "x.zip", packet.MOST_BYTES + 1, b"PK\x03\x04")
    said = refused(run, "import-packet", large)
    assert f"it has {packet.MOST_BYTES + 1:,} bytes; accepted: at most {packet.MOST_BYTES:,}" in said
    assert not (folder / "asbuilt.db").exists()


def test_geojson_that_is_too_large_is_not_read_back(run: Run, folder: Path) -> None:
    large = sparse(folder / "x.geojson", readback.BIGGEST_JSON + 1, b"{")
    assert "300 MB of GeoJSON are too much at once" in refused(run, "import", large)
    assert not (folder / "asbuilt.db").exists()


def test_a_sheet_in_a_geopackage_has_a_greatest_size(run: Run, loaded: Path) -> None:
    package = loaded.parent / "x.gpkg"
    assert run("export", SAMPLE_NAME, "--out", package, "--on", "2026-06-01").exit_code in (0, 1)
    connection = sqlite3.connect(package)
    large = "x" * (readback.BIGGEST_SHEET + 1)
    connection.execute("UPDATE asbuilt_sheets SET text = ? WHERE sheet = 'points.csv'", (large,))
    connection.commit()
    connection.close()
    said = refused(run, "import", package, "--record", "other.db")
    assert f"points.csv is no text of up to {readback.BIGGEST_SHEET:,} characters" in said
    assert not (loaded.parent / "other.db").exists()


@pytest.mark.parametrize("ending", ["jpg", "png", "webp"])
def test_a_photo_that_is_too_large_is_refused(run: Run, loaded: Path, ending: str) -> None:
    stream = io.BytesIO()
    Image.new("RGB", (8, 8)).save(stream, {"jpg": "jpeg"}.get(ending, ending))
    photo = sparse(loaded.parent / f"large.{ending}", pictures.BIGGEST_BYTES + 1, stream.getvalue())
    said = refused(run, "photo", SAMPLE_NAME, "well", photo)
    assert f"accepted: at most {pictures.BIGGEST_BYTES:,}; save it smaller" in said


def _rows(most: int) -> dict[str, object]:
    facts = two_corners()
    return facts | {"reference_points": [["name"], *(["A"], ["B"]), *([f"x{k}"] for k in range(most))]}


def _columns(_: int) -> dict[str, object]:
    facts = two_corners()
    return facts | {"reference_points": [["name", *(f"c{k}" for k in range(files.MOST_COLUMNS))], ["A"], ["B"]]}


def _lines(_: int) -> dict[str, object]:
    facts = two_corners()
    note = "\n".join("x" * (splitting.LONGEST_CELL_LINES + 2))
    return facts | {"reference_points": [["name", "description"], ["A", note], ["B", ""]]}


def _text(_: int) -> dict[str, object]:
    facts = two_corners()
    return facts | {"reference_points": [["name", "description"], ["A", "x" * (cells.LONGEST_TEXT + 1)], ["B", ""]]}


def _name(_: int) -> dict[str, object]:
    facts = two_corners()
    return facts | {"reference_points": [["name"], ["A" * (cells.LONGEST_NAME + 1)], ["B"]]}


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (_rows, "reference_points.csv: has 41 rows; accepted: at most 38"),
        (_columns, "accepted: at most 200"),
        (_lines, "reference_points.csv row 2"),
        (_text, "column description: “xxx"),
        (_name, "a name has at most 80"),
    ],
    ids=["rows", "columns", "lines of a cell", "letters of a text", "letters of a name"],
)
def test_rows_columns_lines_and_letters_have_a_greatest_number(
    run: Run, write_sheets: WriteSheets, monkeypatch: pytest.MonkeyPatch, make: Callable[[int], dict], said: str
) -> None:
    if make is _rows:
        monkeypatch.setattr(files.table_of, "__defaults__", (38,))
    found = refused(run, "load", write_sheets("sheets", **make(38)))
    assert said in found
    assert len(found) < 3_000  # what was read is not printed whole


def test_a_text_of_the_greatest_length_is_taken_and_handed_over(
    run: Run, write_sheets: WriteSheets, folder: Path
) -> None:
    facts = two_corners()
    facts["reference_points"] = [["name", "description"], ["A", "x" * cells.LONGEST_TEXT], ["B", ""]]
    assert run("load", write_sheets("sheets", **facts)).exit_code in (0, 1)
    assert run("packet", "Two Corners", "--out", "x.zip").exit_code in (0, 1)
    assert run("import-packet", "x.zip", "--record", "other.db").exit_code == 0


def test_what_is_typed_has_a_greatest_length_too(run: Run, loaded: Path) -> None:
    words = ("--on", "2026-05-14", "--component", "septic tank", "--task", "inspection", "--note")
    said = refused(run, "service", SAMPLE_NAME, *words, "x" * (cells.LONGEST_TEXT + 1))
    assert "accepted: at most 10,000" in said

"""`asbuilt import`: an exported file gives the same record again, and a stranger's file gives nothing it should not."""

import json
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from asbuilt.jobs.export import Wanted, carried, digest_of, export_office
from asbuilt.jobs.import_file import import_file
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.gis.geopackage import MARK
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_all, read_property
from tests.commands import SAMPLE, SAMPLE_NAME, Run, WriteSheets, files_below, parsed, two_corners
from tests.export_samples import DAY
from tests.hostile import WORDS

EARTH = "[earth]\nreference = 'A'\nlatitude = 10.5\nlongitude = -30.25\naccuracy_m = 3.0\n"
EARTH += "wall_from = 'A'\nwall_to = 'B'\nazimuth_deg = 90.0\n"


def known(record_file: Path | str, name: str = SAMPLE_NAME) -> PropertyRecord:
    with open_record(Path(record_file), read_only=True) as record:
        return read_property(record, name)


def rows_of(name: str, record_file: Path | str = "asbuilt.db") -> int:
    """Count the entries of a property that was loaded once."""
    with closing(sqlite3.connect(record_file)) as db:
        query = (
            "SELECT count(*) FROM entry e JOIN property p ON p.id = e.property_id WHERE p.name = ? AND kind <> 'photo'"
        )
        return int(db.execute(query, (name,)).fetchone()[0])


def digits(record_file: str) -> dict[str, str]:
    with open_record(Path(record_file), read_only=True) as record:
        return {each.property.name: digest_of(each) for each in read_all(record)}


@pytest.fixture(params=["geojson", "gpkg"])
def exported(request: pytest.FixtureRequest, run: Run, loaded: Path) -> Path:
    """Give the sample property as an exported file."""
    path = Path(f"p.{request.param}")
    assert run("export", SAMPLE_NAME, "--out", path, *DAY).exit_code == 0
    return path


# ------------------------------------------------------------ the same record again


def test_what_was_exported_is_the_same_record_again(run: Run, exported: Path) -> None:
    result = run("import", exported, "--record", "b.db")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.startswith(f"{SAMPLE_NAME}: {rows_of(SAMPLE_NAME)} rows stored in b.db\n")
    before = known("asbuilt.db")
    assert known("b.db") == replace(before, photos=())  # pictures are not in the file
    assert before.photos
    assert parsed(run("positions", SAMPLE_NAME, "--json", "--record", "b.db")) == parsed(
        run("positions", SAMPLE_NAME, "--json")
    )


def test_importing_twice_or_over_the_same_changes_nothing(run: Run, exported: Path) -> None:
    for _ in range(2):
        result = run("import", exported)
        assert result.exit_code == 0
        assert result.stdout.startswith(f"{SAMPLE_NAME}: recorded already; nothing changed\n")


def test_what_was_typed_at_the_prompt_comes_along(run: Run, loaded: Path) -> None:
    run("service", SAMPLE_NAME, "--on", "2026-05-30", "--component", "septic tank", "--task", "inspection")
    run("correct", SAMPLE_NAME, "--tie", "NE corner", "septic tank/inlet lid", "--to", "26' 0\"", "--reason", "misread")
    before = known("asbuilt.db")
    for kind in ("geojson", "gpkg"):
        run("export", SAMPLE_NAME, "--out", f"p.{kind}", *DAY)
        assert run("import", f"p.{kind}", "--record", f"{kind}.db").exit_code in (0, 1)
        assert carried(known(f"{kind}.db")) == carried(before)


def test_a_draft_comes_back_as_a_draft(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["property"] += EARTH
    sheets["points"].append(["septic tank", "other lid", "A", "25 foo"])
    run("load", write_sheets("sheets", **sheets), "--draft")
    run("export", "Two Corners", "--out", "p.gpkg")
    assert run("import", "p.gpkg", "--record", "b.db").exit_code in (0, 1)
    assert known("b.db", "Two Corners").property.draft
    assert carried(known("b.db", "Two Corners")) == carried(known("asbuilt.db", "Two Corners"))


@pytest.mark.parametrize("kind", ["geojson", "gpkg"])
def test_hostile_words_in_a_record_come_back_letter_for_letter(run: Run, write_sheets: WriteSheets, kind: str) -> None:
    """As far as a sheet takes them: one line of plain text; blanks at the ends are not part of a text."""
    notes = [
        word for word in WORDS if word.strip() and word.isprintable() and len(word) < 2000 and word == word.strip()
    ]
    assert len(notes) > 50
    sheets = two_corners()
    sheets["property"] += f"address = {json.dumps(notes[0])}\n" + EARTH
    sheets["service"] = [["on", "component", "task", "note"]]
    # An apostrophe is what keeps a spreadsheet from reckoning; reading takes it off again.
    sheets["service"] += [
        [f"2020-01-{1 + k % 28:02d}", "septic tank", f"task {k}", f"'{word}" if word[0] in "=+-@" else word]
        for k, word in enumerate(notes)
    ]
    result = run("load", write_sheets("sheets", **sheets))
    assert result.exit_code in (0, 1), result.stderr
    before = known("asbuilt.db", "Two Corners")
    assert [entry.note for entry in before.service] == notes
    run("export", "Two Corners", "--out", f"p.{kind}")
    assert run("import", f"p.{kind}", "--record", "b.db").exit_code in (0, 1)
    assert known("b.db", "Two Corners") == before


def test_own_rules_come_along(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["property"] = 'name = "Two Corners"\nunits = "ft-in"\nrules = "own.toml"\n' + EARTH
    place = write_sheets("sheets", **sheets)
    profile = '[profile]\nname = "own"\ntitle = "Own (invented)"\nlocal_code = "None, it is invented."\n'
    (place / "own.toml").write_text(profile, encoding="utf-8")
    result = run("load", place)
    assert result.exit_code in (0, 1), result.stderr
    run("export", "Two Corners", "--out", "p.geojson")
    assert run("import", "p.geojson", "--record", "b.db").exit_code in (0, 1)
    assert known("b.db", "Two Corners") == known("asbuilt.db", "Two Corners")


def test_an_office_comes_back_property_by_property(
    run: Run, folder: Path, loaded: Path, write_sheets: WriteSheets
) -> None:
    for k in range(3):
        sheets = two_corners(f"Invented Lane {k}")
        sheets["property"] += EARTH
        run("load", write_sheets("sheets", **sheets))
    for kind in ("geojson", "gpkg"):
        export_office(folder / "asbuilt.db", Wanted(folder / f"all.{kind}", datetime(2026, 6, 1, tzinfo=UTC).date()))
        said = parsed(run("import", f"all.{kind}", "--record", f"{kind}.db", "--json"))
        assert [each["property"] for each in said["imported"]] == [
            SAMPLE_NAME,
            *(f"Invented Lane {k}" for k in range(3)),
        ]
        assert digits(f"{kind}.db") == digits("asbuilt.db")


def test_changed_sheets_need_a_reason(run: Run, exported: Path) -> None:
    sheets = shutil.copytree(SAMPLE, "sheets")
    walls = sheets / "walls.csv" if isinstance(sheets, Path) else Path("sheets/walls.csv")
    walls.write_text(walls.read_text(encoding="utf-8").replace("48' 3", "48' 4"), encoding="utf-8")
    run("load", "sheets", "--record", "b.db")
    result = run("import", exported, "--record", "b.db")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(f"asbuilt: {SAMPLE_NAME}: the sheets (+) differ from what is recorded (-)")
    assert run("import", exported, "--record", "b.db", "--supersede", "the original").exit_code == 0
    assert carried(known("b.db")) == carried(known("asbuilt.db"))


def test_one_property_that_cannot_be_taken_does_not_keep_the_others(
    run: Run, loaded: Path, write_sheets: WriteSheets
) -> None:
    sheets = two_corners()
    sheets["property"] += EARTH
    run("load", write_sheets("sheets", **sheets))
    run("export", "--all", "--out", "all.gpkg")
    sheets["points"][1][3] = "26' 0\""
    run("load", write_sheets("sheets", **sheets), "--record", "b.db")
    result = run("import", "all.gpkg", "--record", "b.db")
    assert result.exit_code == 1
    assert result.stdout.startswith(f"{SAMPLE_NAME}: {rows_of(SAMPLE_NAME)} rows stored in b.db\n")
    assert "Two Corners was not taken in: Two Corners: the sheets (+) differ" in result.stderr


# ------------------------------------------------------------ files that were changed, or are somebody else's


def edited(path: Path, change: Callable[[str], str]) -> None:
    """Change the text of one sheet in an exported file."""
    if path.suffix == ".geojson":
        content = json.loads(path.read_text(encoding="utf-8"))
        sheets = content["asbuilt_sheets"][SAMPLE_NAME]["sheets"]
        sheets["walls.csv"] = change(sheets["walls.csv"])
        path.write_text(json.dumps(content), encoding="utf-8")
        return
    with closing(sqlite3.connect(path)) as db, db:
        (text,) = db.execute("SELECT text FROM asbuilt_sheets WHERE sheet = 'walls.csv'").fetchone()
        db.execute("UPDATE asbuilt_sheets SET text = ? WHERE sheet = 'walls.csv'", (change(text),))


def test_a_file_that_was_changed_is_taken_and_told(run: Run, exported: Path) -> None:
    edited(exported, lambda text: text.replace("48' 3", "48' 4"))
    result = run("import", exported, "--record", "b.db")
    assert result.exit_code == 1
    assert f"attention: The field sheets of {SAMPLE_NAME} do not say what was recorded when they were" in result.stderr


def test_sheets_that_are_wrong_are_refused_with_row_and_column(run: Run, folder: Path, exported: Path) -> None:
    edited(exported, lambda text: text.replace("48' 3", "48 x 3"))
    before = files_below(folder)
    result = run("import", exported, "--record", "b.db")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "1 problem in the sheets; nothing was stored\nwalls.csv row " in result.stderr
    assert files_below(folder) == before


NO_SHEETS = (
    "carries no field sheets, and measurements cannot be made from coordinates; accepted: a .geojson or .gpkg that "
    "`asbuilt export` wrote without --no-sheets"
)


def package(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        db.execute(f"PRAGMA application_id = {0x47504B47}")
        for statement in statements:
            db.execute(statement)


TABLE = "CREATE TABLE asbuilt_sheets (id INTEGER PRIMARY KEY, property, sheet, text)"


def row(sheet: str, text: str = "'x'") -> str:
    return f"INSERT INTO asbuilt_sheets (property, sheet, text) VALUES ('lot', '{sheet}', {text})"  # noqa: S608


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is neither GeoJSON nor GeoPackage; accepted: a .geojson or .gpkg that `asbuilt export` wrote\n"),
        (
            b"PK\x03\x04",
            "is neither GeoJSON nor GeoPackage; accepted: a .geojson or .gpkg that `asbuilt export` wrote; a packet is "
            "taken in with `asbuilt import-packet`\n",
        ),
        (b"{", "is not JSON: Expecting property name enclosed in double quotes: line 1 column 2 (char 1)"),
        (b"{\xff}", "is not JSON: 'utf-8' codec can't decode byte 0xff in position 1: invalid start byte"),
        (b'{"a":' + b"[" * 200_000, "is not JSON: maximum recursion depth exceeded while decoding a JSON array"),
        (b'{"type":"FeatureCollection","features":[]}', NO_SHEETS),
        (b'{"asbuilt_sheets":[]}', NO_SHEETS),
        (b'{"asbuilt_sheets":{}}', NO_SHEETS),
        (b'{"asbuilt_sheets":{"lot":7}}', "the field sheets of lot are not as `asbuilt export` writes them"),
        (b'{"asbuilt_sheets":{"lot":{"sheets":{"a.csv":7}}}}', "lot: a.csv is no text of up to 10,000,000 characters"),
        (b'{"asbuilt_sheets":{"lot":{"sheets":{"../a.csv":""}}}}', "lot: ../a.csv is no name of a field sheet"),
    ],
)
def test_what_is_no_exported_file_is_refused(run: Run, folder: Path, content: bytes, message: str) -> None:
    (folder / "x.geojson").write_bytes(content)
    before = files_below(folder)
    result = run("import", "x.geojson")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(f"asbuilt: x.geojson: {message}")
    assert files_below(folder) == before


def test_a_file_that_is_not_there_is_refused(run: Run) -> None:
    assert run("import", "no.gpkg").stderr == "asbuilt: no.gpkg: cannot be read: No such file or directory\n"
    Path("folder").mkdir()
    assert run("import", "folder").exit_code == 2


@pytest.mark.parametrize(
    ("statements", "message"),
    [
        ((), NO_SHEETS),
        ((TABLE,), NO_SHEETS),
        (("CREATE VIEW asbuilt_sheets AS SELECT 1 AS id, 'a' AS property, 'b' AS sheet, 'c' AS text",), NO_SHEETS),
        (("CREATE VIRTUAL TABLE asbuilt_sheets USING fts5(property, sheet, text)",), NO_SHEETS),
        ((TABLE, row("/etc/x.csv")), "lot: /etc/x.csv is no name of a field sheet"),
        ((TABLE, row("a/../../x.csv")), "lot: a/../../x.csv is no name of a field sheet"),
        ((TABLE, row("x.py")), "lot: x.py is no name of a field sheet"),
        ((TABLE, row("x.csv", "x''")), "lot: x.csv is no text of up to 10,000,000 characters"),
        ((TABLE, row("x.csv", "zeroblob(1e8)")), "lot: x.csv is no text of up to 10,000,000 characters"),
        ((TABLE, row("x.csv", "CAST(x'ff' AS TEXT)")), "cannot be read as a GeoPackage: Could not decode to UTF-8"),
        (
            (TABLE, *(row(f"x{k}.csv") for k in range(70))),
            "lot has 70 field sheets; accepted: up to 60",
        ),
        (("CREATE TABLE asbuilt_sheets (a)",), "cannot be read as a GeoPackage: no such column: property"),
    ],
    ids=range(12),
)
def test_a_strangers_package_is_refused(run: Run, folder: Path, statements: tuple[str, ...], message: str) -> None:
    package(folder / "x.gpkg", *statements)
    before = files_below(folder)
    result = run("import", "x.gpkg")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(f"asbuilt: x.gpkg: {message}")
    assert files_below(folder) == before


def test_a_database_that_is_no_geopackage_is_refused(run: Run, loaded: Path) -> None:
    assert run("import", "asbuilt.db").stderr == "asbuilt: asbuilt.db: is a database, but no GeoPackage\n"


def test_sheets_of_another_property_than_is_said_are_refused(run: Run, exported: Path) -> None:
    if exported.suffix == ".geojson":
        content = json.loads(exported.read_text(encoding="utf-8"))
        content["asbuilt_sheets"] = {"lot": content["asbuilt_sheets"][SAMPLE_NAME]}
        exported.write_text(json.dumps(content), encoding="utf-8")
    else:
        with closing(sqlite3.connect(exported)) as db, db:
            db.execute("UPDATE asbuilt_sheets SET property = 'lot'")
    result = run("import", exported, "--record", "b.db")
    assert result.exit_code == 2
    assert result.stderr == f"asbuilt: {exported}: the field sheets under lot are those of {SAMPLE_NAME}\n"


def test_too_large_a_geojson_is_refused(run: Run, exported: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if exported.suffix == ".geojson":
        monkeypatch.setattr("asbuilt.output.gis.readback.BIGGEST_JSON", 1000)
        assert "of GeoJSON are too much at once; export as .gpkg instead" in run("import", exported).stderr


# ------------------------------------------------------------ the digest


def test_the_digest_hangs_on_every_reading(loaded: Path) -> None:
    one = known(loaded)
    other = replace(one, ties=(replace(one.ties[0], note="x"), *one.ties[1:]))
    assert digest_of(one) != digest_of(other)
    assert digest_of(one) == digest_of(replace(one, photos=(), left_out=()))
    assert MARK == ""


def test_the_job_gives_what_was_stored(folder: Path, exported: Path) -> None:
    done: Any = import_file(folder / "b.db", exported, who="tester", now=datetime(2026, 6, 1, tzinfo=UTC))
    assert [(each.property, each.added) for each in done.outcomes] == [
        (SAMPLE_NAME, rows_of(SAMPLE_NAME, folder / "asbuilt.db"))
    ]

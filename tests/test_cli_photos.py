"""Photos of a property: by sheet, by the prompt, listed; kept by hash before the entry that names them."""

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt.errors import Problem
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_property
from asbuilt.record.photos import PhotoError, keep_bytes, photo_faults, photo_file, photo_folder, read_photo, thumbnail
from asbuilt.record.pictures import look_at
from asbuilt.record.sheets.names import Names
from asbuilt.record.sheets.photos import check_photos
from asbuilt.record.sheets.rows import Row, Sheet
from tests.commands import SAMPLE, SAMPLE_NAME, Run, WriteSheets, files_below, parsed, two_corners
from tests.picture_samples import PLACE, animated, exif, picture, png_bomb

LID = "septic tank/lid"


def with_photos(*rows: tuple[str, ...], **cells: str) -> dict[str, Any]:
    heads = ["of", "file", "caption", "remove_gps"]
    return two_corners(**cells) | {"photos": [heads, *(list(row) + [""] * (4 - len(row)) for row in rows)]}


def photos_in(record: Path, name: str = "Two Corners") -> tuple[Any, ...]:
    with open_record(record, read_only=True) as opened:
        assert verify_chain(opened, name) == []
        return read_property(opened, name).photos


# ------------------------------------------------------------ by sheet


def test_photos_of_the_sheets_are_kept_beside_the_record(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    place = write_sheets(
        "one", **with_photos(("lid", "lid.jpg", "green lid"), ("septic tank", "wide.png"), ("A", "a.webp"))
    )
    (place / "photos").mkdir()
    (place / "lid.jpg").write_bytes(picture(exif=exif("2026:05:02 10:31:07", PLACE, 6)))
    (place / "photos" / "wide.png").write_bytes(picture("PNG"))
    (place / "photos" / "a.webp").write_bytes(picture("WEBP"))
    assert run("load", place).exit_code == 0
    found = photos_in(folder / "asbuilt.db")
    assert [(each.of, each.file, each.form) for each in found] == [
        (LID, "lid.jpg", "jpeg"),
        ("septic tank", "wide.png", "png"),
        ("A", "a.webp", "webp"),
    ]
    assert (found[0].caption, found[0].taken_at, found[0].width, found[0].height) == (
        "green lid",
        "2026-05-02 10:31:07",
        40,
        60,
    )
    kept = photo_file(folder / "asbuilt.db", found[0])
    assert kept.relative_to(folder).parts[:2] == ("asbuilt.db.photos", found[0].sha256[:2])
    assert kept.read_bytes() == (place / "lid.jpg").read_bytes()
    for path in (photo_folder(folder / "asbuilt.db"), kept.parent, kept):
        assert path.stat().st_mode & 0o077 == 0


def test_the_same_photos_loaded_again_change_nothing(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    place = write_sheets("one", **with_photos((LID, "lid.jpg", "", "yes")))
    (place / "lid.jpg").write_bytes(picture(exif=exif("2026:05:02 10:31:07", PLACE, 6)))
    run("load", place)
    before = files_below(folder)
    assert "nothing changed" in run("load", place).stdout
    assert files_below(folder) == before


def test_a_photo_lost_from_the_folder_comes_back_with_its_sheets(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    place = write_sheets("one", **with_photos((LID, "lid.jpg")))
    (place / "lid.jpg").write_bytes(picture())
    run("load", place)
    before = files_below(folder)
    shutil.rmtree(folder / "asbuilt.db.photos")
    run("load", place)
    assert files_below(folder) == before


def test_the_photo_column_takes_a_file_that_is_there_and_says_where_none_is(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    place = write_sheets("one", **two_corners(photo="lid.jpg"))
    result = run("load", place)
    assert (result.exit_code, result.stderr) == (
        1,
        "attention: septic tank/lid: “lid.jpg” in the column photo names no file, so no photo was taken in. Put the "
        "file beside the sheets or in their folder photos and load them again.\n",
    )
    assert photos_in(folder / "asbuilt.db") == ()
    (place / "lid.jpg").write_bytes(picture())
    result = run("load", place, "--supersede", "now with its photo")
    assert (result.exit_code, result.stderr) == (0, "")
    assert [(each.of, each.file) for each in photos_in(folder / "asbuilt.db")] == [(LID, "lid.jpg")]


def test_a_print_in_a_drawer_is_a_text_and_nothing_to_act_on(run: Run, write_sheets: WriteSheets) -> None:
    result = run("load", write_sheets("one", **two_corners(photo="print 3 of 7, green folder")), "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    said = {each["code"]: each for each in parsed(result)["findings"]}["photo-a-text"]
    assert (said["severity"], said["message"]) == (
        "note",
        "septic tank/lid: “print 3 of 7, green folder” in the column photo names no file; it is kept as a text.",
    )


def test_a_photo_named_in_both_sheets_is_one(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    place = write_sheets("one", **with_photos((LID, "lid.jpg", "green lid"), photo="lid.jpg"))
    (place / "lid.jpg").write_bytes(picture())
    assert run("load", place).exit_code == 0
    assert [each.caption for each in photos_in(folder / "asbuilt.db")] == ["green lid"]


ROWS = [
    ("missing", (LID, "lib.jpg"), "column file: “lib.jpg” is not there; did you mean “lid.jpg”?"),
    ("up", (LID, "../lid.jpg"), "column file: “../lid.jpg” is not a name of a file in this folder"),
    ("absolute", (LID, "/etc/passwd"), "column file: “/etc/passwd” is not a name of a file in this folder"),
    ("deep", (LID, "photos/a/lid.jpg"), "column file: “photos/a/lid.jpg” is not a name of a file in this folder"),
    ("backslash", (LID, "..\\lid.jpg"), "column file: “..\\lid.jpg” is not a name of a file in this folder"),
    ("drive", (LID, "C:lid.jpg"), "column file: “C:lid.jpg” is not a name of a file in this folder"),
    ("no such point", ("septic tank/lidd", "lid.jpg"), "column of: “septic tank/lidd” is no reference point or point"),
    ("text", (LID, "text.jpg"), "column file: “text.jpg” is text; accepted: JPEG, PNG or WebP, not animated"),
    (
        "animated",
        (LID, "moving.png"),
        "column file: “moving.png” is animated; accepted: JPEG, PNG or WebP, not animated",
    ),
    ("bomb", (LID, "bomb.png"), "column file: “bomb.png” has 60,000 x 60,000 pixels; accepted: at most 80 million"),
    ("cut", (LID, "cut.jpg"), "column file: “cut.jpg” the picture is damaged (it ends too early); save it again"),
    ("disguised", (LID, "disguised.jpg"), "column file: “disguised.jpg” is a PNG by its bytes and not by its name"),
    ("a folder", (LID, "folder.jpg"), "column file: “folder.jpg” is not a file"),
    ("a link", (LID, "link.jpg"), "column file: “link.jpg” is a link that leads out of the folder"),
    ("a pipe", (LID, "pipe.jpg"), "column file: “pipe.jpg” is not a file"),
]


@pytest.mark.parametrize(("row", "line"), [pytest.param(*each[1:], id=each[0]) for each in ROWS])
def test_a_photo_that_cannot_be_taken_is_a_problem_of_its_row(
    row: tuple[str, str], line: str, run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    place = write_sheets("one", **with_photos(row))
    (folder / "outside.jpg").write_bytes(picture())
    (place / "lid.jpg").write_bytes(picture())
    (place / "text.jpg").write_bytes(b"<html>")
    (place / "moving.png").write_bytes(animated("PNG"))
    (place / "bomb.png").write_bytes(png_bomb())
    (place / "cut.jpg").write_bytes(picture()[:300])
    (place / "disguised.jpg").write_bytes(picture("PNG"))
    (place / "folder.jpg").mkdir()
    (place / "link.jpg").symlink_to("../outside.jpg")
    os.mkfifo(place / "pipe.jpg")
    result = run("load", place)
    assert result.exit_code == 2
    head, *lines = result.stderr.splitlines()
    assert head == "asbuilt: 1 problem in the sheets; nothing was stored"
    assert len(lines) == 1
    assert lines[0].startswith(f"photos.csv row 2, {line}")
    assert not (folder / "asbuilt.db").exists()
    assert not (folder / "asbuilt.db.photos").exists()


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=30) | st.lists(st.sampled_from(["..", ".", "photos", "lid.jpg", "", "~", "C:"])).map("/".join))
def test_any_name_of_a_file_is_a_photo_of_the_folder_or_a_problem(
    tmp_path_factory: pytest.TempPathFactory, words: str
) -> None:
    place = tmp_path_factory.mktemp("any")
    (place / "lid.jpg").write_bytes(picture())
    row = Row("photos.csv", 2, {"of": "A", "file": words})
    sheets = {"photos.csv": Sheet("photos.csv", rows=[row]), "points.csv": Sheet("points.csv")}
    sheets |= {name: Sheet(name, True) for name in ("reference_points.csv", "components.csv")}
    sheets["reference_points.csv"].rows.append(Row("reference_points.csv", 2, {"name": "A"}))
    problems: list[Problem] = []
    check_photos(place, sheets, Names(sheets, problems), problems)
    taken = row.get("taken")
    assert (taken is None) == bool(problems)
    assert taken is None or taken.path.resolve() == (place / "lid.jpg").resolve()


def test_of_a_draft_only_the_bad_photo_is_left_out(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    place = write_sheets("one", **with_photos((LID, "lid.jpg"), ("septic tank", "text.jpg")))
    (place / "lid.jpg").write_bytes(picture())
    (place / "text.jpg").write_bytes(b"<html>")
    result = run("load", place, "--draft")
    assert result.exit_code == 1
    assert "left out: photos.csv row 3, column file: “text.jpg” is text" in result.stderr
    assert [each.file for each in photos_in(folder / "asbuilt.db")] == ["lid.jpg"]


def test_the_same_photo_twice_and_two_minds_about_its_place_are_problems(run: Run, write_sheets: WriteSheets) -> None:
    rows = ((LID, "lid.jpg"), ("lid", "lid.jpg"), ("septic tank", "lid.jpg", "", "yes"))
    place = write_sheets("one", **with_photos(*rows))
    (place / "lid.jpg").write_bytes(picture())
    assert run("load", place).stderr.splitlines()[1:] == [
        "photos.csv row 3: the same photo of “septic tank/lid” stands already in row 2; write each photo once",
        "photos.csv row 4, column remove_gps: differs from another row of “lid.jpg”; write yes or no in all rows "
        "of one file",
    ]


def test_sheets_that_differ_bring_no_photo_in(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    place = write_sheets("one", **two_corners())
    run("load", place)
    before = {name: body for name, body in files_below(folder).items() if name.startswith("asbuilt")}
    place = write_sheets("one", **with_photos((LID, "lid.jpg")))
    (place / "lid.jpg").write_bytes(picture())
    assert run("load", place).exit_code == 2
    assert {name: body for name, body in files_below(folder).items() if name.startswith("asbuilt")} == before


# ------------------------------------------------------------ at the prompt


def test_photos_are_attached_at_the_prompt_and_listed(run: Run, loaded: Path, folder: Path) -> None:
    (folder / "a.jpg").write_bytes(picture(exif=exif("2026:05:02 10:31:07", PLACE)))
    (folder / "b.png").write_bytes(picture("PNG"))
    result = run("photo", SAMPLE_NAME, "casing", "a.jpg", "b.png", "--caption", "well  cap")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines() == [
        "well/casing: a.jpg, 60 x 40, taken 2026-05-02 10:31:07, at 42.52841, -118.45502, well cap",
        "well/casing: b.png, 60 x 40, well cap",
    ]
    assert result.stdout in run("photos", SAMPLE_NAME).stdout
    listed = parsed(run("photos", SAMPLE_NAME, "--json"))
    assert [each["of"] for each in listed[-2:]] == ["well/casing"] * 2
    assert (folder / listed[-1]["kept"]).read_bytes() == picture("PNG")
    assert "the sheets say what is recorded already" in run("load", SAMPLE).stdout
    assert [each.file for each in photos_in(loaded, SAMPLE_NAME)[-2:]] == ["a.jpg", "b.png"]


def test_a_photo_that_is_attached_already_changes_nothing(run: Run, loaded: Path, folder: Path) -> None:
    (folder / "a.jpg").write_bytes(picture())
    run("photo", SAMPLE_NAME, "well", "a.jpg")
    before = files_below(folder)
    result = run("photo", SAMPLE_NAME, "well", "a.jpg")
    assert result.stdout == "well: a.jpg is attached already; nothing changed\n"
    assert files_below(folder) == before


def test_another_photo_of_the_same_name_gets_a_number(run: Run, loaded: Path, folder: Path) -> None:
    (folder / "panel.png").write_bytes(picture("PNG"))
    assert run("photo", SAMPLE_NAME, "well", "panel.png").stdout == "well: panel-2.png, 60 x 40\n"


def test_the_place_is_taken_out_on_request(run: Run, loaded: Path, folder: Path) -> None:
    (folder / "a.jpg").write_bytes(picture(exif=exif("2026:05:02 10:31:07", PLACE, artist="MARKER")))
    result = run("photo", SAMPLE_NAME, "well", "a.jpg", "--remove-gps")
    assert result.stdout == "well: a.jpg, 60 x 40, taken 2026-05-02 10:31:07, place removed\n"
    kept = read_photo(loaded, photos_in(loaded, SAMPLE_NAME)[-1])
    assert b"MARKER" not in kept
    assert look_at(kept, "a.jpg").latitude is None
    assert b"MARKER" in (folder / "a.jpg").read_bytes()


def test_all_photos_of_one_command_are_stored_or_none(run: Run, loaded: Path, folder: Path) -> None:
    (folder / "a.jpg").write_bytes(picture())
    (folder / "b.jpg").write_bytes(b"<html>")
    before = files_below(folder)
    result = run("photo", SAMPLE_NAME, "wel", "a.jpg", "b.jpg", "c.jpg", ".")
    assert (result.exit_code, result.stderr.splitlines()) == (
        2,
        [
            "asbuilt: 4 problems in what was typed",
            "what it shows: “wel” is no component, point or reference point; did you mean “well”?",
            "b.jpg: is text; accepted: JPEG, PNG or WebP, not animated",
            "c.jpg: is not there; accepted: the file of a photo",
            ".: is a folder; accepted: the file of a photo",
        ],
    )
    assert files_below(folder) == before


def test_hostile_words_of_a_photo_are_text(run: Run, loaded: Path, folder: Path) -> None:
    evil = "<script>alert(1)</script>"
    (folder / f"{evil.replace('/', '')}.jpg").write_bytes(picture(comment=evil.encode()))
    result = run("photo", SAMPLE_NAME, "well", f"{evil.replace('/', '')}.jpg", "--caption", evil)
    assert result.exit_code == 0
    run("map", SAMPLE_NAME, "--out", "map.html")
    assert evil not in (folder / "map.html").read_text(encoding="utf-8")
    result = run("photo", SAMPLE_NAME, "well", f"{evil.replace('/', '')}.jpg", "--caption", "a\x1b[31mb")
    assert (result.exit_code, result.stderr) == (
        2,
        "asbuilt: --caption: “a\\x1b[31mb” holds the invisible character U+001B; one line of plain text\n",
    )


# ------------------------------------------------------------ the folder of photos


def test_a_photo_that_is_missing_or_altered_is_said(run: Run, loaded: Path) -> None:
    one, other, *_ = photos_in(loaded, SAMPLE_NAME)
    photo_file(loaded, one).unlink()
    photo_file(loaded, other).write_bytes(picture())
    result = run("photos", SAMPLE_NAME)
    assert result.exit_code == 1
    first, second = result.stderr.splitlines()
    assert first.startswith("attention: photo inlet-lid.jpg of septic tank/inlet lid: ")
    assert first.endswith("is missing; put it back from a copy")
    assert second.endswith("was altered; put it back from a copy")
    assert len(photo_faults(loaded, (one, other))) == 2
    with pytest.raises(PhotoError, match="was altered"):
        thumbnail(loaded, other, 100)


def test_an_altered_photo_is_made_good_by_keeping_it_again(tmp_path: Path) -> None:
    content = picture()
    keep_bytes(tmp_path / "a.db", content, "jpeg")
    (kept,) = (path for path in (tmp_path / "a.db.photos").rglob("*.jpg"))
    kept.write_bytes(b"other")
    keep_bytes(tmp_path / "a.db", content, "jpeg")
    assert kept.read_bytes() == content


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "a.db.photos").write_bytes(b"a file in its place")
    with pytest.raises(PhotoError, match=r"the photo could not be kept there \(.+\); nothing was stored"):
        keep_bytes(tmp_path / "a.db", picture(), "jpeg")


KILLED = """
import os, signal, sys
from pathlib import Path
from asbuilt.record import copies, photos
calls, at = 0, int(sys.argv[1])
def counted(name, real):
    def call(*words, **more):
        global calls
        calls += 1
        if calls == at:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*words, **more)
    return call
for name in ("fsync", "open", "fdopen"):
    setattr(photos.os, name, counted(name, getattr(os, name)))
photos.tempfile.mkstemp = counted("mkstemp", photos.tempfile.mkstemp)
Path.replace, Path.mkdir = counted("replace", Path.replace), counted("mkdir", Path.mkdir)
from asbuilt.jobs.load import load_sheets
from datetime import datetime, UTC
load_sheets(Path("asbuilt.db"), Path("one"), who="x", now=datetime.now(UTC))
print("done", calls)
"""


@pytest.mark.slow
def test_a_kill_at_any_step_leaves_no_entry_without_its_file(folder: Path, write_sheets: WriteSheets) -> None:
    """The kill falls on every call that touches the disk for a photo in turn, up to the first run that ends."""
    place = write_sheets("one", **with_photos((LID, "lid.jpg"), ("septic tank", "b.jpg")))
    (place / "lid.jpg").write_bytes(picture())
    (place / "b.jpg").write_bytes(picture(size=(70, 50)))
    kills = 0
    for at in range(1, 200, 3):
        for old in folder.glob("asbuilt.db*"):
            shutil.rmtree(old) if old.is_dir() else old.unlink()
        done = subprocess.run(
            [sys.executable, "-c", KILLED, str(at)],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
            capture_output=True,
        )
        if done.returncode == 0:
            break
        assert done.returncode == -signal.SIGKILL, done.stderr.decode()
        kills += 1
        if (folder / "asbuilt.db").exists() and (folder / "asbuilt.db").stat().st_size:
            with open_record(folder / "asbuilt.db") as record:
                if record.connection.execute("SELECT count(*) FROM property").fetchone()[0]:
                    found = read_property(record, "Two Corners").photos
                    assert photo_faults(folder / "asbuilt.db", found) == []
    assert kills >= 5
    assert [each.file for each in photos_in(folder / "asbuilt.db")] == ["lid.jpg", "b.jpg"]

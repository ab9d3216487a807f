"""`asbuilt packet` and `asbuilt import-packet`: out and in again, and what is refused on the way in."""

import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from asbuilt.handover.packet import RECORD
from asbuilt.jobs.packet_parts import PARTS
from asbuilt.model.handover import Drawing, Inspection
from asbuilt.model.photos import Photo
from asbuilt.model.rule_files import RuleFile
from asbuilt.record import schema
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from asbuilt.record.entries import Action, Draft, add_entries, read_property
from asbuilt.record.nouns import noun_of
from asbuilt.record.photos import photo_file, photo_folder
from asbuilt.record.sheets.read import read_sheets
from asbuilt.record.transfer import settled_bytes
from tests.commands import SAMPLE, SAMPLE_NAME, Run, WriteSheets, files_below, invoke, parsed, two_corners
from tests.packet_samples import members_of, packed, with_record
from tests.picture_samples import picture
from tests.record_samples import NOON

DAY = ("--on", "2026-06-01")


@pytest.fixture(scope="module")
def packet(sample_record: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the packet of the sample property; not to be written to."""
    path = tmp_path_factory.mktemp("packet") / "p.zip"
    result = invoke("packet", SAMPLE_NAME, "--record", sample_record, "--out", path, *DAY)
    assert (result.exit_code, result.stderr) == (0, "")
    return path


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make packets with one part beside the record, the sheets and the photos: setting all the PDFs takes seconds."""
    monkeypatch.setattr("asbuilt.jobs.packet.PARTS", [part for part in PARTS if part[0] == "positions.txt"])


def refused(run: Run, folder: Path, path: Path, *more: object) -> str:
    """Import what must be refused: one line, nothing written; the line without the packet's place."""
    before = files_below(folder)
    result = run("import-packet", path, "--record", "new.db", *more)
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    assert files_below(folder) == before
    assert result.stderr.count("\n") == 1
    return result.stderr.strip().replace(str(path), "x.zip")


# ------------------------------------------------------------ out


def test_everything_of_the_property_is_in_it(packet: Path) -> None:
    members = members_of(packet)
    assert {"README.txt", "map.html", "find.pdf", "drawing.pdf", "history.pdf", "due.txt", RECORD} <= members.keys()
    assert {name for name in members if name.startswith("sheets/photos/")} == {
        f"sheets/photos/{path.name}" for path in (SAMPLE / "photos").iterdir()
    }
    readme = members["README.txt"].decode()
    for name in members.keys() - {"README.txt"}:
        assert name in readme or name.startswith("sheets/photos/"), name
    assert "NOT IN HERE" not in readme
    assert max(map(len, readme.splitlines())) <= 100


@pytest.mark.usefixtures("quick")
def test_the_same_record_and_day_give_the_same_bytes(run: Run, loaded: Path, folder: Path) -> None:
    for name, day in (("one", "2026-06-01"), ("two", "2026-06-01"), ("three", "2026-06-02")):
        run("packet", SAMPLE_NAME, "--out", f"{name}.zip", "--on", day)
    one, two, three = ((folder / f"{name}.zip").read_bytes() for name in ("one", "two", "three"))
    assert one == two != three


@pytest.mark.usefixtures("quick")
def test_a_packet_is_for_its_owner_only_and_a_public_one_for_everybody(run: Run, loaded: Path, folder: Path) -> None:
    run("packet", SAMPLE_NAME, "--out", "one.zip", *DAY)
    run("packet", SAMPLE_NAME, "--out", "two.zip", "--public", *DAY)
    assert (folder / "one.zip").stat().st_mode & 0o077 == 0
    assert (folder / "two.zip").stat().st_mode & 0o044 == 0o044


@pytest.mark.usefixtures("quick")
def test_its_record_holds_this_property_alone_with_its_chain(
    run: Run, loaded: Path, folder: Path, write_sheets: WriteSheets
) -> None:
    run("load", write_sheets("other", **two_corners()), "--who", "somebody else")
    run("packet", SAMPLE_NAME, "--out", "one.zip", *DAY)
    place = folder / "inside.db"
    place.write_bytes(members_of(folder / "one.zip")[RECORD])
    with open_record(place, read_only=True) as inside, open_record(loaded, read_only=True) as own:
        assert verify_chain(inside, SAMPLE_NAME) == []
        assert read_property(inside, SAMPLE_NAME) == read_property(own, SAMPLE_NAME)
        assert [row[0] for row in inside.connection.execute("SELECT name FROM property")] == [SAMPLE_NAME]
    assert b"somebody else" not in place.read_bytes()


def test_its_sheets_say_what_its_record_says(packet: Path, folder: Path) -> None:
    for name, body in members_of(packet).items():
        if name.startswith("sheets/"):
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(body)
    assert read_sheets(folder / "sheets").record == read_sheets(SAMPLE).record


def test_what_cannot_be_made_is_told(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("one", **two_corners()))
    said = parsed(run("packet", "Two Corners", "--out", "one.zip", "--json", *DAY))
    assert {each["file"] for each in said["absent"]} >= {"property.geojson", "alarm-sheet.pdf"}
    readme = members_of(folder / "one.zip")["README.txt"].decode()
    assert "NOT IN HERE: Two Corners has no place on the earth" in " ".join(readme.split())
    assert run("import-packet", "one.zip", "--record", "new.db").exit_code == 0


@pytest.mark.usefixtures("quick")
def test_a_file_that_is_there_stays(run: Run, loaded: Path, folder: Path) -> None:
    (folder / "one.zip").write_bytes(b"mine")
    before = files_below(folder)
    result = run("packet", SAMPLE_NAME, "--out", "one.zip")
    assert (result.exit_code, result.stderr) == (
        2,
        "asbuilt: one.zip: the file is there already; --overwrite replaces it\n",
    )
    assert files_below(folder) == before


@pytest.mark.usefixtures("quick")
def test_without_one_of_its_photos_no_packet_is_written(run: Run, loaded: Path, folder: Path) -> None:
    with open_record(loaded, read_only=True) as record:
        photo = read_property(record, SAMPLE_NAME).photos[0]
    photo_file(loaded, photo).unlink()
    before = files_below(folder)
    result = run("packet", SAMPLE_NAME, "--out", "one.zip")
    assert result.exit_code == 2
    assert result.stderr.startswith("asbuilt: photo inlet-lid.jpg of septic tank/inlet lid: ")
    assert result.stderr.endswith(" is missing; put it back from a copy\n")
    assert files_below(folder) == before


# ------------------------------------------------------------ in


def test_a_packet_comes_in_with_its_history_and_goes_out_the_same(packet: Path, run: Run, folder: Path) -> None:
    result = run("import-packet", packet, "--record", "new.db")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.startswith(f"{SAMPLE_NAME}: ")
    assert result.stdout.endswith(" photos taken into new.db, verified\n")
    assert "tester" in run("log", SAMPLE_NAME, "--record", "new.db").stdout
    assert (folder / "new.db").stat().st_mode & 0o077 == 0
    assert run("photos", SAMPLE_NAME, "--record", "new.db").exit_code == 0
    run("packet", SAMPLE_NAME, "--record", "new.db", "--out", "again.zip", *DAY)
    assert (folder / "again.zip").read_bytes() == packet.read_bytes()


def test_it_comes_into_a_record_that_holds_others(
    packet: Path, run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    run("load", write_sheets("other", **two_corners()), "--record", "new.db")
    assert run("import-packet", packet, "--record", "new.db").exit_code == 0
    with open_record(folder / "new.db", read_only=True) as record:
        for name in ("Two Corners", SAMPLE_NAME):
            assert verify_chain(record, name) == []
    due = parsed(run("due", "--record", "new.db", "--json", *DAY))
    assert {each["property"] for each in due} == {SAMPLE_NAME}


def test_a_packet_that_is_known_changes_nothing_and_brings_a_lost_photo_back(
    packet: Path, run: Run, loaded: Path, folder: Path
) -> None:
    before = files_below(folder)
    shutil.rmtree(photo_folder(loaded))
    result = run("import-packet", packet)
    assert result.stdout == f"{SAMPLE_NAME}: asbuilt.db holds all of it already; nothing changed\n"
    assert files_below(folder) == before


def test_a_record_that_went_on_since_keeps_what_it_has_more(packet: Path, run: Run, loaded: Path) -> None:
    run("tape", SAMPLE_NAME, "lateral 1/turn-up", "SE corner", "84 0")
    result = run("import-packet", packet)
    assert result.stdout == f"{SAMPLE_NAME}: asbuilt.db holds all of it already, and 1 entries more; nothing changed\n"


def test_other_readings_under_the_same_name_are_refused(
    packet: Path, run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    run("load", write_sheets("other", **two_corners(name=SAMPLE_NAME)), "--record", "new.db")
    before = files_below(folder)
    result = run("import-packet", packet, "--record", "new.db")
    assert result.exit_code == 2
    assert result.stderr.startswith(f"asbuilt: new.db: it holds other readings of {SAMPLE_NAME!r} than the packet (")
    assert result.stderr.endswith("); nothing was stored. Take the packet into another record: --record FILE\n")
    assert files_below(folder) == before


@pytest.mark.usefixtures("quick")
def test_a_superseded_photo_goes_along(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    sheets = two_corners() | {"photos": [["of", "file"], ["septic tank/lid", "lid.png"]]}
    place = write_sheets("one", **sheets)
    (place / "lid.png").write_bytes(picture("PNG"))
    run("load", place)
    (place / "lid.png").write_bytes(picture("PNG", (61, 41)))
    assert run("load", place, "--supersede", "better light").exit_code == 0
    run("packet", "Two Corners", "--out", "one.zip", *DAY)
    names = [name for name in members_of(folder / "one.zip") if name.endswith(".png")]
    assert sorted(name.rpartition("/")[0] for name in names) == ["sheets/photos", "superseded-photos"]
    assert run("import-packet", "one.zip", "--record", "new.db").exit_code == 0
    assert len(list(photo_folder(folder / "new.db").rglob("*.png"))) == 2


# ------------------------------------------------------------ a record inside that is not what it should be


def _sql(*statements: str) -> Callable[[sqlite3.Connection], None]:
    def act(connection: sqlite3.Connection) -> None:
        for statement in statements:
            connection.execute(statement)

    return act


TAMPERED = [
    ("a table more", _sql("CREATE TABLE extra (x)"), "record.db: it holds more than a record: the table 'extra'"),
    (
        "a view",
        _sql("CREATE VIEW v AS SELECT load_extension('x')"),
        "record.db: it holds more than a record: the view 'v'",
    ),
    (
        "a trigger",
        _sql("CREATE TRIGGER t AFTER INSERT ON entry BEGIN SELECT 1; END"),
        "record.db: it holds more than a record: the trigger 't'",
    ),
    (
        "an index with code",
        _sql("CREATE INDEX i ON entry (abs(seq))"),
        "record.db: it holds more than a record: the index 'i'",
    ),
    (
        "a trigger on the list of steps",
        _sql("CREATE TRIGGER t AFTER INSERT ON _sqlite_migrations BEGIN SELECT 1; END"),
        "record.db: it holds more than a record: the trigger 't'",
    ),
    ("a table less", _sql("DROP TABLE sighting"), "record.db: it holds less than a record: the table 'sighting'"),
    (
        "a table that is a view",
        _sql("DROP TABLE tie", "CREATE VIEW tie AS SELECT 1 AS entry_id"),
        "record.db: it holds more than a record: the view 'tie'",
    ),
    (
        "a column more",
        _sql("ALTER TABLE tie ADD COLUMN more TEXT"),
        "record.db: its table tie is not that of a record",
    ),
    ("another program's", _sql("PRAGMA application_id = 7"), "record.db: it is no record of this program"),
    (
        "a newer version",
        _sql("PRAGMA user_version = 99"),
        "record.db: it is of version 99 and this program knows versions up to 2; use a newer asbuilt",
    ),
    (
        "a changed reading",
        _sql("UPDATE tie SET distance_m = distance_m + 1 WHERE entry_id = (SELECT min(entry_id) FROM tie)"),
        "does not agree with its hash: it was altered",
    ),
    ("a changed name", _sql("UPDATE entry SET who = 'nobody' WHERE seq = 5"), "it was altered"),
    ("an entry less", _sql("DELETE FROM entry WHERE seq = 7"), "record.db: entry 7 is missing"),
    ("a row less", _sql("DELETE FROM wall WHERE entry_id = 9"), "has no row in the table wall: its values are missing"),
    ("no property", _sql("DELETE FROM property"), "record.db: it holds no property"),
    (
        "a second property",
        _sql("INSERT INTO property (name, entries, head) VALUES ('x', 0, '')"),
        "record.db: it holds more than one property",
    ),
    ("another head", _sql("UPDATE property SET head = 'x'"), "the property's last hash is not that of its last entry"),
    (
        "a control character",
        _sql("UPDATE entry SET sheet = 'a' || char(27) || 'b' WHERE seq = 3"),
        "sheet is no line of text",
    ),
    ("a time of no kind", _sql("UPDATE entry SET at_local = 'now' WHERE seq = 3"), "its time cannot be read"),
    ("an unknown kind", _sql("UPDATE entry SET kind = 'spell' WHERE seq = 3"), "entry 3 is of an unknown kind"),
    (
        "a property id of nobody",
        _sql("UPDATE entry SET property_id = 77 WHERE seq = 9"),
        "some of its entries belong to no",
    ),
    (
        "text that is none",
        _sql("UPDATE entry SET who = CAST(x'ff00fe' AS TEXT) WHERE seq = 3"),
        "record.db: it cannot be read",
    ),
]


@pytest.mark.parametrize(("act", "fault"), [pytest.param(*each[1:], id=each[0]) for each in TAMPERED])
def test_a_record_that_was_tampered_with_is_refused(
    act: Callable[[sqlite3.Connection], None], fault: str, packet: Path, run: Run, folder: Path, tmp_path: Path
) -> None:
    path = with_record(packet, folder / "x.zip", act)
    line = refused(run, folder, path)
    assert line.startswith("asbuilt: x.zip: record.db: ")
    assert line.endswith("; nothing was stored")
    assert fault in line


@pytest.mark.parametrize("content", [b"", b"SQLite format 3\0" + b"\0" * 200, b"hello" * 100])
def test_a_record_that_is_none_is_refused(content: bytes, packet: Path, run: Run, folder: Path) -> None:
    path = packed(folder / "x.zip", members_of(packet) | {RECORD: content})
    assert refused(run, folder, path).startswith("asbuilt: x.zip: record.db: it ")


@pytest.mark.parametrize("page", range(1, 60, 4))
def test_a_record_with_a_page_of_noise_is_refused_or_read_as_it_was(
    page: int, packet: Path, run: Run, folder: Path
) -> None:
    members = members_of(packet)
    content = bytearray(members[RECORD])
    content[page * 4096 + 200 : page * 4096 + 1200] = bytes(range(250)) * 4
    path = packed(folder / "x.zip", members | {RECORD: bytes(content)})
    result = run("import-packet", path, "--record", "new.db")
    assert result.exit_code in (0, 2)
    assert (folder / "new.db").exists() == (result.exit_code == 0)
    if result.exit_code == 0:  # the noise fell into a table that is not read: the list of what is due, or free room
        with open_record(folder / "new.db", read_only=True) as record:
            assert read_property(record, SAMPLE_NAME) == read_sheets(SAMPLE).record


def forged(folder: Path, *values: Any, photos: dict[str, bytes] | None = None, **changes: Any) -> Path:
    """Make a packet whose chain is sound, of entries that no sheet could say."""
    known = read_sheets(SAMPLE).record
    place = folder / "forged.db"
    rows = [replace(known.property, **changes), *known.reference_points, *known.walls, *known.points, *known.ties]
    rows += [*known.components, *values]
    drafts = [Draft(noun_of(row), row, float(number), "x", None) for number, row in enumerate(rows)]
    with open_record(place, create=True) as record, record.write():
        add_entries(record, known.property.name, drafts, Action("forger", NOON))
    body = settled_bytes(place, folder / "aside.db", "2026-06-01")
    for path in folder.glob("*.db*"):
        path.unlink()
    return packed(folder / "x.zip", {RECORD: body, **(photos or {})})


def _photo(content: bytes, **changes: Any) -> Photo:
    from hashlib import sha256

    sound = Photo("septic tank", "lid.jpg", sha256(content).hexdigest(), "jpeg", 60, 40)
    return replace(sound, **changes)


FORGED = [
    ("a unit that is none", {"units": "cubits"}, (), "units: “cubits” is not accepted here"),
    ("a name of two lines", {"owner": "a\nb"}, (), "owner is no line of text"),
    ("an endless text", {"owner": "a" * 20_000}, (), "owner is no line of text"),
    ("a terminal's words", {"phone": "\x1b]0;hi\x07"}, (), "phone is no line of text"),
    ("a rule file elsewhere", {}, (RuleFile("../../.bashrc", "x"),), "“../../.bashrc” is no name of a rule file"),
    ("a photo of no hash", {}, (_photo(b"", sha256="../../evil"),), "is described as no photo is"),
    ("a photo of no form", {}, (_photo(b"", form="exe"),), "is described as no photo is"),
    ("rules that are not there", {"rules": "county.toml"}, (), "county.toml"),
    ("a photo that is not there", {}, (_photo(picture()),), "photo lid.jpg of septic tank is missing"),
]


@pytest.mark.parametrize(("changes", "values", "fault"), [pytest.param(*each[1:], id=each[0]) for each in FORGED])
def test_entries_that_no_sheet_could_say_are_refused(
    changes: dict[str, Any], values: tuple[Any, ...], fault: str, run: Run, folder: Path
) -> None:
    assert fault in refused(run, folder, forged(folder, *values, **changes))


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        (b"<script>alert(1)</script>", "photo.jpg: is text"),
        (picture()[:200], "photo.jpg: the picture is damaged"),
        (picture(size=(61, 40)), "photo lid.jpg of septic tank is not what its entry says"),
        (picture() + b"PK\x03\x04 an archive", "photo lid.jpg of septic tank is not what its entry says"),
    ],
)
def test_photos_of_a_packet_are_looked_at_as_any_other(content: bytes, fault: str, run: Run, folder: Path) -> None:
    path = forged(folder, _photo(content), photos={"sheets/photos/lid.jpg": content})
    assert fault in refused(run, folder, path)


def test_a_forged_packet_of_sound_words_is_no_fault_of_its_form(run: Run, folder: Path) -> None:
    """So that the refusals above are for what they say: the same forging without a fault is taken in."""
    content = picture()
    path = forged(folder, _photo(content), photos={"sheets/photos/lid.jpg": content})
    assert run("import-packet", path, "--record", "new.db").exit_code == 0


def test_a_photo_that_was_swapped_is_refused(packet: Path, run: Run, folder: Path) -> None:
    members = members_of(packet)
    members["sheets/photos/panel.png"] = picture("PNG")
    assert "photo panel.png of control panel is missing" in refused(run, folder, packed(folder / "x.zip", members))


def test_a_packet_of_an_older_version_is_taken_in(run: Run, folder: Path) -> None:
    """Made with the tables of step 1 alone, as a program of then would have."""
    known = read_sheets(SAMPLE).record
    place = replace(known.property, inspection=Inspection(), drawing=Drawing())
    place = replace(place, measured=replace(place.measured, level_tolerance=None))
    bare = dict.fromkeys(("known_by", "color", "material", "landmark", "pin"))
    points = [replace(point, **bare) for point in known.points]
    rows = [place, *known.reference_points, *known.walls, *points, *(replace(tie, on=None) for tie in known.ties)]
    with open_record(folder / "now.db", create=True) as record, record.write():
        drafts = [Draft(noun_of(row), row, float(number), "x", None) for number, row in enumerate(rows)]
        add_entries(record, known.property.name, drafts, Action("then", NOON))
    old = sqlite3.connect(folder / "old.db", isolation_level=None)
    for statement in (*schema.STEPS[0][1], "PRAGMA user_version = 1"):
        old.execute(statement)
    old.execute("ATTACH ? AS now", (str(folder / "now.db"),))
    for table in ("property", "entry", "property_facts", "reference_point", "wall", "point", "tie"):
        names = ", ".join(f'"{row[1]}"' for row in old.execute(f"PRAGMA main.table_info({table})"))
        old.execute(f"INSERT INTO main.{table} SELECT {names} FROM now.{table}")  # noqa: S608 - names of our own tables
    old.close()
    path = packed(folder / "old.zip", {RECORD: (folder / "old.db").read_bytes()})
    assert run("import-packet", path, "--record", "new.db").exit_code == 0
    with open_record(folder / "new.db", read_only=True) as record:
        assert verify_chain(record, SAMPLE_NAME) == []
        assert len(read_property(record, SAMPLE_NAME).points) == len(known.points)

"""What is personal: every field is one or the other, and no public output holds any of it, byte by byte."""

import base64
import csv
import dataclasses
import re
import struct
import subprocess
import tomllib
from collections.abc import Iterator
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from asbuilt.jobs.sheets_out import sheet_files
from asbuilt.model.components import Component, Point
from asbuilt.model.household import Household
from asbuilt.model.levels import LevelShot
from asbuilt.model.measurements import KnownCoordinate, Tie
from asbuilt.model.private import LEFT_OUT, PERSONAL, public_copy
from asbuilt.model.rule_files import RuleFile, without_comments
from asbuilt.model.sightings import Sighting
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_property
from asbuilt.record.nouns import NOUNS
from asbuilt.record.profiles import built_in_names
from asbuilt.record.sheets.read import read_sheets
from tests.commands import ROOT, SAMPLE, Run, WriteSheets, invoke, parsed, two_corners
from tests.packet_samples import members_of
from tests.picture_samples import exif, picture

NAME = "Fernbank Lane 14"
DAY = ("--on", "2026-06-01")

PUBLIC = {
    "Property": "name units address parcel permit authority bedrooms design_gpd rules measured earth benchmark draft "
    "access panel inspection drawing",
    "Measured": "on care tape_sigma wall_sigma square_sigma_deg unknown_drop square_by_eye_deg rod_sigma "
    "level_tolerance",
    "Earth": "reference latitude longitude accuracy_m wall_from wall_to azimuth_deg north azimuth_sigma_deg",
    "Benchmark": "on elevation datum",
    "Access": "truck truck_above bridge wires",
    "Panel": "place silence",
    "Inspection": "state called_on came_on released_on",
    "Drawing": "design as_designed deviations",
    "ReferencePoint": "name description kind gone_on sigma",
    "Wall": "from_ to length turn turn_deg",
    "Point": "component point order mark size depth depth_to description known_by color material landmark pin",
    "Tie": "from_ to distance side held drop on",
    "Side": "word a b",
    "Offset": "wall_from wall_to point along out hand",
    "KnownCoordinate": "point latitude longitude accuracy_m on epsg easting northing height",
    "Component": "name kind shape length width height volume_gal liquid_depth material installed_on removed_on "
    "replaces status note outlet_depth compartments follows form wall weight_lb cover groundwater gal_per_in pipe "
    "drains_back marker marker_end closed_how orifice orifices spacing end_to_lid side_to_lid",
    "ServiceEntry": "on component task compartment gallons sludge scum level_before evidence tanks opening sludge_top "
    "scum_bottom runback baffles filter lid secured",
    "LevelShot": "setup on to backsight foresight distance day",
    "OwnTask": "component task every_months source preferred_months",
    "RuleFile": "name text",
    "SiteReading": "on component reading as_read number unit",
    "Photo": "of sha256 form width height taken_at caption gps_removed",
    "Sighting": "on point from1 tape1 from2 tape2 off toward depth landmark",
    "Length": "as_read metres step_m",
}
"""Fields that a public output may hold. Whoever adds a field says here, or in `PERSONAL`, which it is."""


def classes(cls: type) -> Iterator[type]:
    """Give a class of the model and those of the values in it."""
    import typing

    yield cls
    for hint in typing.get_type_hints(cls).values():
        for part in (hint, *typing.get_args(hint)):
            if isinstance(part, type) and dataclasses.is_dataclass(part):
                yield from classes(part)


def test_every_field_is_personal_or_public() -> None:
    known = {each for noun in NOUNS for each in classes(noun.cls)} - set(LEFT_OUT)
    said = {cls: (*PERSONAL.get(cls, ()), *PUBLIC.get(cls.__name__, "").split()) for cls in known}
    wrong = {
        cls.__name__: sorted({field.name for field in dataclasses.fields(cls)} ^ set(said[cls]))
        for cls in known
        if sorted(said[cls]) != sorted(field.name for field in dataclasses.fields(cls))
    }
    assert wrong == {}


# ------------------------------------------------------------ a property whose personal fields are marker words


def marked_record(marks: dict[str, str]) -> Any:
    """Put a word of its own into every personal text of the sample property, and note it in `marks`."""

    def mark(cls: type, field: str) -> str:
        key = f"{cls.__name__}.{field}"
        return marks.setdefault(key, f"Qz{len(marks):02d}{field.replace('_', '')[:10]}")

    def marked(value: Any) -> Any:
        changes: dict[str, Any] = {
            field: mark(type(value), field)
            for field in PERSONAL.get(type(value), ())
            if field not in ("file", "latitude", "longitude")
        }
        for field in dataclasses.fields(value):
            inner = getattr(value, field.name)
            if dataclasses.is_dataclass(inner) and not isinstance(inner, type):
                changes[field.name] = marked(inner)
        return dataclasses.replace(value, **changes)

    known = read_sheets(SAMPLE).record
    known = dataclasses.replace(
        known,
        known_coordinates=(KnownCoordinate("SW corner", 42.5282927, -118.4551996, 5.0, "phone"),),
        sightings=(
            Sighting(date(2024, 5, 14), "septic tank/inlet lid", off=known.points[0].depth, toward="NE corner"),
        ),
        household=(
            Household(date(2017, 8, 1), 2.0, date(2019, 3, 17), building="Qzhouse"),
            Household(date(2019, 3, 17), 6.0, building="Qzhouse"),
        ),
        photos=(),
    )
    parts = {
        noun.field: tuple(marked(value) for value in getattr(known, noun.field))
        for noun in NOUNS
        if noun.field not in ("property", "photos", "left_out")
    }
    # notes tell readings of one day apart, as the same word on each would not
    for field, cls in (("ties", Tie), ("levels", LevelShot)):
        parts[field] = tuple(
            dataclasses.replace(value, note=f"{mark(cls, 'note')}{number}") for number, value in enumerate(parts[field])
        )
    parts["points"] = tuple(
        dataclasses.replace(point, photo=mark(Point, "photo") if number == 0 else None)
        for number, point in enumerate(parts["points"])
    )
    parts["components"] = tuple(
        dataclasses.replace(each, shown_by=mark(Component, "shown_by") if each.kind == "property line" else None)
        for each in parts["components"]
    )
    marks |= {"Household.building": "Qzhouse", "who": "Qzwho", "reason": "Qzreason", "artist": "Qzartist"}
    marks |= {"Photo.file": "Qzfile", "Household.to": "2019-03-17"}
    return dataclasses.replace(known, property=marked(known.property), **parts)


@pytest.fixture(scope="module")
def marked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """Give a record of marker words, a part of it superseded, and the words by where they stand."""
    folder = tmp_path_factory.mktemp("marked")
    marks: dict[str, str] = {}
    record = marked_record(marks)
    sheets = folder / "sheets"
    sheets.mkdir()
    for name, content in sheet_files(record).items():
        (sheets / name).write_bytes(content)
    (sheets / "Qzfile.jpg").write_bytes(
        picture(exif=exif("2026:05:02 10:31:07", (42.5377771, -118.4633331), 6, artist="Qzartist"), comment=b"Qzartist")
    )
    (sheets / "photos.csv").write_text(
        "of,file\nseptic tank/inlet lid,Qzfile.jpg\npump tank/lid,Qzfile.jpg\n", encoding="utf-8"
    )
    place = folder / "asbuilt.db"
    assert invoke("load", sheets, "--record", place, "--who", "Qzwho").exit_code == 0
    service = (sheets / "service.csv").read_text(encoding="utf-8-sig").replace("1180", "1190")
    (sheets / "service.csv").write_text(service, encoding="utf-8")
    assert invoke("load", sheets, "--record", place, "--who", "Qzwho", "--supersede", "Qzreason").exit_code == 0
    return place, marks


def words_in(name: str, content: bytes, folder: Path) -> bytes:
    """Give all that somebody could read in a file: its bytes, what a PDF shows and says of itself, pictures in it."""
    found = [name.encode(), content]
    if name.endswith(".pdf"):
        (folder / "a.pdf").write_bytes(content)
        for words in (["pdftotext", "a.pdf", "-"], ["pdftotext", "-raw", "a.pdf", "-"], ["pdfinfo", "a.pdf"]):
            found.append(subprocess.run(words, cwd=folder, capture_output=True, check=True).stdout)
    for code in re.findall(rb"data:image/[a-z+]+;base64,([A-Za-z0-9+/=]+)", content):
        inside = base64.b64decode(code)
        found.append(inside)
        found.append(repr(dict(Image.open(BytesIO(inside)).getexif())).encode() if inside[:1] != b"<" else b"")
    if name.endswith((".jpg", ".png", ".webp")):
        own = Image.open(BytesIO(content))
        found.append(repr((own.info, dict(own.getexif()), dict(own.getexif().get_ifd(0x8825)))).encode())
    return b"\n".join(found)


PLACES = [struct.pack(order, degrees) for order in (">d", "<d") for degrees in (42.5377771, -118.4633331)]
TEXT_PLACES = [b"42.5377771", b"118.4633331", b"42.53777", b"118.46333"]


def told(text: bytes, marks: dict[str, str]) -> set[str]:
    found = {key for key, word in marks.items() if word.encode() in text}
    return found | ({"Photo.latitude"} if any(place in text for place in (*PLACES, *TEXT_PLACES)) else set())


def test_a_whole_packet_holds_every_word_so_that_the_search_can_find_them(
    marked: tuple[Path, dict[str, str]], tmp_path: Path
) -> None:
    place, marks = marked
    invoke("packet", NAME, "--record", place, "--out", tmp_path / "p.zip", *DAY)
    found = b"".join(words_in(name, body, tmp_path) for name, body in members_of(tmp_path / "p.zip").items())
    assert told(found, marks) == {*marks, "Photo.latitude"}
    pdfs = b"".join(
        words_in(name, body, tmp_path) for name, body in members_of(tmp_path / "p.zip").items() if name.endswith("pdf")
    )
    assert "Property.owner" in told(pdfs, marks)


def test_a_public_packet_holds_nothing_personal(marked: tuple[Path, dict[str, str]], tmp_path: Path) -> None:
    place, marks = marked
    result = invoke("packet", NAME, "--record", place, "--out", tmp_path / "p.zip", "--public", *DAY)
    assert result.exit_code in (0, 1)
    members = members_of(tmp_path / "p.zip")
    wrong = {name: told(words_in(name, body, tmp_path), marks) for name, body in members.items()}
    assert {name: keys for name, keys in wrong.items() if keys} == {}
    assert "find.pdf" in members
    (photo,) = (body for name, body in members.items() if name.endswith(".jpg"))
    own = Image.open(BytesIO(photo)).getexif()
    assert (own[0x0112], dict(own.get_ifd(0x8825))) == (6, {})
    assert "PUBLIC COPY" in members["README.txt"].decode()


@pytest.mark.parametrize("command", [("map",), ("geojson", "--points", "--house")])
def test_a_public_output_holds_nothing_personal(
    command: tuple[str, ...], marked: tuple[Path, dict[str, str]], tmp_path: Path
) -> None:
    place, marks = marked
    name, *options = command
    invoke(name, NAME, *options, "--record", place, "--out", tmp_path / "whole", *DAY)
    assert told(words_in("", (tmp_path / "whole").read_bytes(), tmp_path), marks)
    result = invoke(name, NAME, *options, "--public", "--record", place, "--out", tmp_path / "public", *DAY)
    assert result.exit_code in (0, 1)
    assert told(words_in("", (tmp_path / "public").read_bytes(), tmp_path), marks) == set()


def test_a_public_packet_is_a_sound_packet_and_loads_as_sheets(
    marked: tuple[Path, dict[str, str]], tmp_path: Path
) -> None:
    place, _ = marked
    invoke("packet", NAME, "--record", place, "--out", tmp_path / "p.zip", "--public", *DAY)
    assert invoke("import-packet", tmp_path / "p.zip", "--record", tmp_path / "new.db").exit_code == 0
    for name, body in members_of(tmp_path / "p.zip").items():
        if name.startswith("sheets/"):
            (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / name).write_bytes(body)
    with open_record(tmp_path / "new.db", read_only=True) as record:
        assert read_property(record, NAME) == read_sheets(tmp_path / "sheets").record


def dues_in(record: Path, name: str) -> dict[tuple[str, str], str]:
    listed = parsed(invoke("due", "--property", name, "--json", "--record", record, *DAY))
    return {(each["component"], each["task"]): each["due_on"] or "never" for each in listed}


def test_no_date_of_a_public_copy_is_later_than_in_the_record(
    sample_record: Path, run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    """Without its household the sample's tank would read due two years too late."""
    run("load", write_sheets("one", **two_houses()), "--record", "two.db")
    for record, name in ((sample_record, NAME), (folder / "two.db", "Two Corners")):
        copy = folder / f"{record.name}.copy"
        run("packet", name, "--record", record, "--public", "--out", f"{record.name}.zip", *DAY)
        assert run("import-packet", f"{record.name}.zip", "--record", copy).exit_code == 0
        whole, public = dues_in(record, name), dues_in(copy, name)
        assert public.keys() == whole.keys()
        assert {key for key in whole if public[key] > whole[key]} == set()
        with open_record(copy, read_only=True) as opened:
            added = read_property(opened, name).tasks[-1]
        assert (added.task, added.every_months) == ("pump-out", 36 if name == NAME else 12)


def test_readings_that_only_a_note_told_apart_stay_apart() -> None:
    known = read_sheets(SAMPLE).record
    tie = dataclasses.replace(known.ties[0], note="first pull, by J. Example")
    record = dataclasses.replace(known, ties=(tie, dataclasses.replace(tie, note="second pull")))
    assert [each.note for each in public_copy(record).ties] == [None, "reading 2"]


def test_the_comments_of_a_rule_file_are_in_no_public_copy() -> None:
    """They went along word for word, as the file of somebody's own that it is."""
    lines = (
        "# Pat Secret, 555-0100\r",
        "[profile] # ask Pat",
        "name = 'own # 1'# Pat",
        'title = "a \\" # b"  # Pat',
        'local_code = """x # y \\""" # z',
        '\'\'\' # still"""""# Pat',
        "edition = '''# kept \" ''''' # Pat",
    )
    text = "\n".join(lines)
    known = dataclasses.replace(read_sheets(SAMPLE).record, rule_files=(RuleFile("own.toml", text),))
    (public,) = public_copy(known).rule_files
    assert "Pat" not in public.text
    assert tomllib.loads(public.text) == tomllib.loads(text)
    assert public.text.count("#") == 6


@pytest.mark.parametrize("name", built_in_names())
def test_without_its_comments_a_rule_file_says_the_same(name: str) -> None:
    text = (ROOT / "asbuilt" / "rules" / f"{name}.toml").read_text(encoding="utf-8")
    assert tomllib.loads(without_comments(text)) == tomllib.loads(text)


# ------------------------------------------------------------ one system, several buildings


def two_houses(**more: Any) -> dict[str, Any]:
    """Give two houses on one 1,500-gal tank: four and three people, 2.1 years by the published table."""
    sheets = two_corners() | {
        "components": [
            ["name", "kind", "volume_gal", "installed_on"],
            ["septic tank", "septic tank", 1500, "2018-01-01"],
        ],
        "household": [
            ["from", "people", "building", "disposer"],
            ["2018-01-01", 4, "Qzmain", ""],
            ["2018-02-03", 3, "Qzcottage", "yes"],
        ],
        "service": [["on", "component", "task", "gallons"], ["2025-01-10", "septic tank", "pump-out", 1480]],
    }
    return sheets | more


def test_the_packet_of_one_building_shows_no_other_household_and_makes_no_date_later(
    run: Run, folder: Path, write_sheets: WriteSheets, tmp_path: Path
) -> None:
    run("load", write_sheets("one", **two_houses()))
    whole = parsed(run("due", "--json", *DAY))
    run("packet", "Two Corners", "--building", "Qzmain", "--out", "p.zip", *DAY)
    members = members_of(folder / "p.zip")
    text = b"\n".join(words_in(name, body, tmp_path) for name, body in members.items())
    for secret in (b"Qzcottage", b"2018-02-03", b"7 people", b"3 people", b"disposer shortens"):
        assert secret not in text, secret
    assert members["household.csv"].decode("utf-8-sig").splitlines()[1:] == ["2018-01-01,4,12,no,Qzmain"]
    assert run("import-packet", "p.zip", "--record", "new.db").exit_code == 0
    with open_record(folder / "new.db", read_only=True) as record:
        assert read_property(record, "Two Corners").household == ()
    days = {(each["component"], each["task"]): each["due_on"] for each in whole}
    inside = dues_in(folder / "new.db", "Two Corners")
    assert inside.keys() == days.keys()
    assert days["septic tank", "pump-out"] is not None
    assert all(inside[key] <= day for key, day in days.items() if day is not None)


def test_from_the_interval_in_the_packet_of_a_building_the_other_household_cannot_be_reckoned(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    """It stood there unrounded, 34.43 months of one tank, from which the number of the others follows."""
    intervals = []
    for others in (3, 4):
        sheets = two_houses()
        sheets["household"][2][1] = others
        record, packet = f"{others}.db", f"{others}.zip"
        run("load", write_sheets(f"of {others}", **sheets), "--record", record)
        run("packet", "Two Corners", "--building", "Qzmain", "--record", record, "--out", packet, *DAY)
        rows = csv.DictReader(members_of(folder / packet)["sheets/tasks.csv"].decode("utf-8-sig").splitlines())
        intervals.append(next(float(row["every_months"]) for row in rows if row["task"] == "pump-out"))
    assert intervals == [12, 12]


def test_without_another_household_the_packet_of_a_building_is_the_whole_one(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    sheets = two_houses()
    sheets["household"] = sheets["household"][:2]
    run("load", write_sheets("one", **sheets))
    run("packet", "Two Corners", "--building", "Qzmain", "--out", "one.zip", *DAY)
    members = members_of(folder / "one.zip")
    assert b"Qzmain" in members["sheets/household.csv"]
    assert "household.csv" not in members


def test_a_building_that_is_not_known_is_refused(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("one", **two_houses()))
    result = run("packet", "Two Corners", "--building", "barn", "--out", "p.zip")
    assert (result.exit_code, result.stderr) == (
        2,
        "asbuilt: Two Corners: no building 'barn' in household.csv; it names 'Qzmain', 'Qzcottage'\n",
    )
    assert not (folder / "p.zip").exists()


def test_a_public_packet_of_a_building_holds_no_household_at_all(
    run: Run, folder: Path, write_sheets: WriteSheets, tmp_path: Path
) -> None:
    run("load", write_sheets("one", **two_houses()))
    run("packet", "Two Corners", "--building", "Qzmain", "--public", "--out", "p.zip", *DAY)
    text = b"\n".join(words_in(name, body, tmp_path) for name, body in members_of(folder / "p.zip").items())
    assert not [word for word in (b"Qzcottage", b"Qzmain", b"2018-02-03", b" people,") if word in text]

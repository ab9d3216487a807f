"""The printed sheets: one page each, the same bytes each time, every text literal, nothing of the danger left out."""

import re
import subprocess
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import date
from hashlib import sha256
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from asbuilt.errors import AsbuiltError, UnknownNameError
from asbuilt.jobs.locate import Located, locate
from asbuilt.jobs.properties import located
from asbuilt.jobs.service_sheet import alarm_sheet, service_sheet, tank_flotation, unknown_on_alarm_sheet
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.sheets.pdf import PAPERS, SheetPdfError, render_pdf, shortened
from asbuilt.record.profiles import profile_of
from asbuilt.record.sheets.read import read_sheets
from asbuilt.service.flotation import Verdict
from asbuilt.units import Length
from tests.commands import SAMPLE, SAMPLE_NAME

DAY = date(2026, 6, 1)
Sheet = Callable[..., bytes]
SHEETS: list[Sheet] = [service_sheet, alarm_sheet]
PAGES = {service_sheet: 2, alarm_sheet: 1}
"""Pages of the sample: the service sheet has one for its septic tank and one for its pump tank."""
HOSTILE = (
    '#panic("x")',
    "*b* _i_ $x^2$",
    "<script>alert(1)</script>",
    "{{7*7}} {% x %}",
    "= head // gone",
    r"\u{41} \ #[y]",
    "@ref <lab>",
    "~ -- --- ...",
)


@pytest.fixture(scope="module")
def found(sample_record: Path) -> Located:
    return located(sample_record, SAMPLE_NAME)


def with_record(known: Located, **changes: Any) -> Located:
    return replace(known, record=replace(known.record, **changes))


def pdf_text(made: bytes, *more: str) -> str:
    """Read the text back with poppler's pdftotext, an independent reader."""
    done = subprocess.run(["pdftotext", *more, "-", "-"], input=made, capture_output=True, check=True)
    return done.stdout.decode()


def flat(text: str) -> str:
    return " ".join(text.replace("\u200b", "").split())


def pages(made: bytes) -> tuple[int, float, float]:
    """Count the pages and give their size in points."""
    done = subprocess.run(["pdfinfo", "-"], input=made, capture_output=True, check=True).stdout.decode()
    size = re.search(r"Page size: +([\d.]+) x ([\d.]+)", done)
    count = re.search(r"Pages: +(\d+)", done)
    assert size is not None
    assert count is not None
    return int(count[1]), float(size[1]), float(size[2])


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize(("paper", "size"), [("us-letter", (612, 792)), ("a4", (595.28, 841.89))])
def test_each_sheet_is_one_page_of_its_paper(
    found: Located, sheet: Sheet, paper: str, size: tuple[float, float]
) -> None:
    count, *got = pages(sheet(found, DAY, paper=paper))
    assert count == PAGES[sheet]
    assert got == pytest.approx(size, abs=0.5)


@pytest.mark.parametrize("sheet", SHEETS)
def test_the_same_record_gives_the_same_bytes(found: Located, sheet: Sheet) -> None:
    assert sheet(found, DAY) == sheet(found, DAY)
    assert b"CreationDate" not in sheet(found, DAY)


def test_only_the_packaged_font_is_in_the_file(found: Located) -> None:
    for sheet in SHEETS:
        done = subprocess.run(["pdffonts", "-"], input=sheet(found, DAY), capture_output=True, check=True)
        names = {line.split()[0].partition("+")[2] for line in done.stdout.decode().splitlines()[2:]}
        assert names == {"DejaVuSans", "DejaVuSans-Bold"}


def test_the_packaged_fonts_are_those_of_the_list_of_sums_with_their_licence() -> None:
    folder = files("asbuilt") / "output" / "assets" / "fonts"
    sums = dict(reversed(line.split("  ")) for line in (folder / "SHA256SUMS").read_text().splitlines())
    assert set(sums) == {item.name for item in folder.iterdir()} - {"SHA256SUMS"}
    assert all(sha256((folder / name).read_bytes()).hexdigest() == expected for name, expected in sums.items())
    assert "Bitstream Vera" in (folder / "LICENSE").read_text()


# ------------------------------------------------------------ the service sheet


def test_the_service_sheet_says_where_each_lid_is_how_deep_and_how_far_the_hose_runs(found: Located) -> None:
    said = flat(pdf_text(service_sheet(found, DAY))).replace(" on the slope", "")
    for words in (
        "33' 7\" from wing corner",
        "52' 0\" from SE corner",
        "25' 11 1/2\" from NE corner",
        "39' 7 1/2\" from wing corner",
        "Stand: SE corner",
        "52 ft",
        "54 ft",
        "555-0142",
        "in full 2024-05-14",
    ):
        assert words in said, words
    # Lift: cover 1 ft 2 in, tank 5 ft 6 in, truck 1 ft 6 in above.
    assert "Lift: 8' 2\" from the tank's bottom to the truck" in flat(pdf_text(service_sheet(found, DAY)))


def test_the_boxes_hold_what_the_published_rule_asks_a_pumper_to_record(found: Located) -> None:
    """Minn. R. 7083.0770, as the profile holds it: every item has its box."""
    said = flat(pdf_text(service_sheet(found, DAY)))
    boxes = {
        "on": "Date",
        "gallons": "Gallons removed",
        "level_before": "Level before",
        "opening": "Opening used",
        "disposal": "Where the load went (site, method)",
        "reason": "Reason",
        "lid": "Lids and covers",
        "findings": "Trouble found, repairs made",
    }
    record = replace(found.record, property=replace(found.record.property, rules="minnesota"))
    items = profile_of(record).record_items
    assert len(items) == 8
    for item in items:
        assert f"• {boxes[item.fields[0]]}" in said, item.item
    assert "below: leaks out?" in said
    assert "above: held back?" in said


def test_the_cautions_and_the_answer_on_floating_stand_on_every_service_sheet(found: Located) -> None:
    for name, answer in (
        ("septic tank", "Does not float by these figures"),
        ("pump tank", "Cannot tell: treat as able"),
    ):
        said = flat(pdf_text(service_sheet(found, DAY, component=name)))
        assert answer in said
        for words in ("GAS KILLS", "LIDS.", "DIGGING", "POWER", "Refill at once", "field is flooded", "no friction"):
            assert words in said, words


def test_a_reading_of_higher_groundwater_goes_before_the_column(found: Located) -> None:
    tank = next(each for each in found.record.components if each.name == "septic tank")
    (base,) = [each for each in found.record.readings if each.reading == "amps"][:1]
    wet = replace(base, component="septic tank", reading="groundwater", number=0.3, unit="m")
    record = replace(found.record, readings=(*found.record.readings, wet))
    before, after = tank_flotation(found.record, tank, DAY), tank_flotation(record, tank, DAY)
    assert before is not None
    assert after is not None
    assert (before.verdict, after.verdict) == (Verdict.HOLDS, Verdict.FLOATS)
    said = flat(pdf_text(service_sheet(replace(found, record=record), DAY)))
    assert "Floats by these figures" in said
    assert "of water left in it holds it by these figures" in said


def test_a_plastic_tank_is_said_to_be_pressed_in_as_well(found: Located) -> None:
    components = tuple(
        replace(each, material="polyethylene") if each.name == "septic tank" else each
        for each in found.record.components
    )
    said = flat(pdf_text(service_sheet(with_record(found, components=components), DAY)))
    assert "Plastic and fiberglass tanks can also be pressed in." in said


def test_the_truck_may_stand_elsewhere_and_must_stand_somewhere_known(found: Located) -> None:
    said = flat(pdf_text(service_sheet(found, DAY, truck="NE corner")))
    assert "Stand: NE corner" in said
    assert "to the ground over it" in said  # the noted height is that of the noted stand
    with pytest.raises(UnknownNameError, match="no point or reference point 'moon'"):
        service_sheet(found, DAY, truck="moon")


def test_what_is_no_tank_and_what_is_not_there_gets_no_sheet(found: Located) -> None:
    with pytest.raises(UnknownNameError, match="no component 'tnak'; its tanks are: septic tank, pump tank"):
        service_sheet(found, DAY, component="tnak")
    with pytest.raises(AsbuiltError, match="well is a well; a service sheet is for a tank"):
        service_sheet(found, DAY, component="well")
    with pytest.raises(AsbuiltError, match="no tank stands on 2016-01-01"):
        service_sheet(found, date(2016, 1, 1))
    with pytest.raises(AsbuiltError, match=r"no component of kind pump tank, .* stands on 2016-01-01"):
        alarm_sheet(found, date(2016, 1, 1))


# ------------------------------------------------------------ the alarm sheet


def test_the_alarm_sheet_says_what_to_do_whom_to_call_and_how_long_there_is(found: Located) -> None:
    said = flat(pdf_text(alarm_sheet(found, DAY)))
    for words in (
        "Use less water now",
        "You have about 32 hours",
        "red button under the light",
        "north wall of the main house",
        "no. 14 in the main panel",
        "switch it on once",
        "T. Sample, installer (invented)",
        "555-0187",
        "Power cut:",
        "its gas kills.",
    ):
        assert words in said, words


def test_where_the_room_in_the_tank_is_only_nominal_the_alarm_sheet_says_so_on_its_one_page(found: Located) -> None:
    assert "nominal volume" not in flat(pdf_text(alarm_sheet(found, DAY)))
    inlet = [each for each in found.record.readings if each.reading != "inlet-invert"]
    components = tuple(
        replace(each, volume_gal=1250.0) if each.kind == "pump tank" else each for each in found.record.components
    )
    rough = with_record(found, readings=tuple(inlet), components=components)
    sheet = alarm_sheet(rough, DAY)
    assert "Reckoned from the nominal volume: may be less." in flat(pdf_text(sheet))
    assert pdf_text(sheet).count("\f") == 1
    (note,) = [each for each in unknown_on_alarm_sheet(rough, DAY) if each.code == "alarm-sheet-rough"]
    assert note.message == "pump tank: the hours on the sheet are reckoned from the nominal volume: may be less."


def test_no_letter_on_the_alarm_sheet_is_smaller_than_14_points(found: Located) -> None:
    xml = pdf_text(alarm_sheet(found, DAY), "-bbox-layout")
    heights = [
        float(bottom) - float(top)
        for top, bottom in re.findall(r'<word xMin="\S+" yMin="(\S+)" xMax="\S+" yMax="(\S+)"', xml)
    ]
    assert len(heights) > 100
    assert min(heights) >= 14


def test_where_nothing_tells_the_hours_the_alarm_sheet_says_to_stop_using_water(found: Located) -> None:
    said = flat(pdf_text(alarm_sheet(with_record(found, readings=()), DAY)))
    assert "How long the tank lasts is not known: stop using water" in said


# ------------------------------------------------------------ hostile and overlong words


def filled(record: PropertyRecord, words: str) -> PropertyRecord:
    """Put the words into every text that a sheet may print."""

    def fill(value: Any, keep: tuple[str, ...] = ()) -> Any:
        texts = {f.name: words for f in fields(value) if "str" in str(f.type) and f.name not in keep}
        return replace(value, **texts)

    place = record.property
    place = replace(
        fill(place, ("units", "rules")),
        access=replace(fill(place.access, ("truck",)), truck=place.access.truck),
        panel=fill(place.panel),
    )
    plain = ("name", "kind", "shape", "form", "compartments", "follows", "replaces", "pipe")
    components = tuple(fill(each, plain) for each in record.components)
    points = tuple(fill(each, ("component", "point", "depth_to")) for each in record.points)
    return replace(record, property=place, components=components, points=points)


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_text_prints_as_it_stands(found: Located, words: str) -> None:
    known = replace(found, record=filled(found.record, words))
    for sheet in SHEETS:
        said = flat(pdf_text(sheet(known, DAY)))
        assert said.count(flat(words)) >= 4


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("words", ["W" * 3000, "wide words " * 300, "\N{CJK UNIFIED IDEOGRAPH-6F22}" * 500])
def test_overlong_text_is_cut_and_the_sheet_stays_one_page(found: Located, words: str, paper: str) -> None:
    known = replace(found, record=filled(found.record, words))
    for sheet in SHEETS:
        assert pages(sheet(known, DAY, paper=paper))[0] == PAGES[sheet]
    said = flat(pdf_text(alarm_sheet(known, DAY, paper=paper)))
    assert "its gas kills." in said
    assert "…" in said


def test_marks_that_turn_or_hide_text_are_shown_as_such(found: Located) -> None:
    place = replace(found.record.property, address="a\u202eb\x07c\u200bd")
    assert "a�b�c�d" in pdf_text(service_sheet(with_record(found, property=place), DAY))


def test_a_text_is_cut_with_a_mark() -> None:
    assert shortened("one two  three", 8) == "one two…"
    assert shortened(None, 8) == ""


def test_a_sheet_that_cannot_be_set_says_so_and_paper_is_one_of_two() -> None:
    with pytest.raises(SheetPdfError, match="the sheet alarm_sheet could not be set"):
        render_pdf("alarm_sheet", {}, "a4")
    with pytest.raises(ValueError, match="paper 'A3' is none of us-letter, a4"):
        render_pdf("alarm_sheet", {}, "A3")


def test_a_tank_without_anything_recorded_still_gets_its_sheet(found: Located) -> None:
    bare = locate(read_sheets(SAMPLE).record)
    components = tuple(
        replace(each, length=None, width=None, height=None, weight_lb=None, cover=None, groundwater=None, material=None)
        for each in bare.record.components
    )
    place = replace(bare.record.property, access=type(bare.record.property.access)())
    known = with_record(bare, components=components, property=place, service=(), readings=())
    said = flat(pdf_text(service_sheet(known, DAY)))
    assert "Cannot tell: treat as able to float" in said
    assert "Stand: not recorded" in said
    assert "No access notes are recorded" in said
    assert "Lift: not known: height and cover of the tank not recorded" in said


def test_units_of_metres_give_hose_and_lift_in_metres(found: Located) -> None:
    place = replace(found.record.property, units="m")
    place = replace(place, access=replace(place.access, truck_above=Length("-1 m", -1.0, 0.01)))
    said = flat(pdf_text(service_sheet(with_record(found, property=place), DAY)))
    assert "16 m" in said  # 52 ft, up to the half metre
    assert "Lift: 1.03 m" in said  # 2.03 m deep, the truck 1 m lower

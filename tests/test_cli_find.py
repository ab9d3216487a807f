"""`asbuilt find`: what is said on screen and on paper, in both languages, and what is refused."""

import io
import re
import string
import subprocess
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from asbuilt.jobs.find import Asked, find_lids, find_pdf, lid_names, pictures_of
from asbuilt.jobs.locate import Located, locate
from asbuilt.jobs.properties import located
from asbuilt.model.photos import Photo
from asbuilt.model.sightings import Sighting
from asbuilt.output.find.catalogue import CATALOGUES, ENGLISH
from asbuilt.output.find.words import find_text
from asbuilt.units import parse_length
from tests.commands import ROOT, SAMPLE_NAME, Run, WriteSheets, parsed, two_corners
from tests.find_reader import miss_m, read_instructions, swing
from tests.test_sheet_pdf import HOSTILE, flat, pages, pdf_text

DAY = date(2026, 6, 1)


@pytest.fixture(scope="module")
def found(sample_record: Path) -> Located:
    return located(sample_record, SAMPLE_NAME)


def true_places(truth: Any) -> dict[str, tuple[float, float]]:
    both = {**truth["reference_points"], **truth["points"]}
    return {name: (place["x"], place["y"]) for name, place in both.items()}


def said(found: Located, *names: str, lang: str = "en", **asked: Any) -> str:
    return " ".join("\n".join(find_text(find_lids(found, DAY, Asked(names, **asked)), lang)).split())


def printed(
    found: Located, *, lang: str = "en", paper: str = "us-letter", one_page_each: bool = True, **asked: Any
) -> bytes:
    return find_pdf(find_lids(found, DAY, Asked(**asked)), lang, paper, one_page_each=one_page_each)


# ------------------------------------------------------------ on screen


def test_the_sample_lids_are_found_by_who_knows_only_text_and_true_corners(run: Run, loaded: Path, truth: Any) -> None:
    true = true_places(truth)
    for lang in ("en", "es"):
        result = run("find", SAMPLE_NAME, "--on", DAY, "--lang", lang)
        assert (result.exit_code, result.stderr) == (0, "")
        start = {"en": "Find: ", "es": "Encontrar: "}[lang]
        blocks = re.split(rf"^{start}", result.stdout, flags=re.MULTILINE)[1:]
        assert len(blocks) == 10
        for block in blocks:
            name = block.splitlines()[0]
            read = read_instructions(block, lang)
            assert miss_m(swing(true, read), true[name]) <= read.within_m, name


def test_every_lid_is_listed_and_bends_and_wells_are_none(found: Located) -> None:
    names = lid_names(found, DAY)
    assert set(names) == {
        "septic tank/inlet lid",
        "septic tank/outlet lid",
        "pump tank/lid",
        "two-way cleanout/cap",
        *(f"lateral {k}/turn-up" for k in range(1, 5)),
        "inspection port 1/cap",
        "inspection port 2/cap",
    }
    assert lid_names(found, DAY, ["septic tank"]) == ("septic tank/inlet lid", "septic tank/outlet lid")
    assert lid_names(found, DAY, ["T1"]) == ("septic tank/inlet lid",)
    assert len(lid_names(found, DAY, ["water line"])) == 3


def test_what_lies_near_is_named_what_bites_first_and_not_recorded_is_not_not_there(found: Located) -> None:
    words = said(found, "pump tank")
    assert words.index("electrical cable: 3' 1 1/2\" from it, to the south.") < words.index("effluent line: 3' 4")
    assert "Dig by hand within 2 ft of these. Not recorded does not mean not there." in words
    bare = said(found, "inspection port 2")
    assert "Not recorded does not mean not there." in bare


@pytest.mark.parametrize("lang", CATALOGUES)
def test_every_caution_stands_in_every_language(found: Located, lang: str) -> None:
    words = said(found, "septic tank/inlet lid", lang=lang)
    for key in ("stop_head", "danger_head", "danger_probe", "danger_lid", "danger_gas", "missing_head"):
        assert CATALOGUES[lang][key] in words, key
    assert "811" in words
    assert {"en": "private lines", "es": "líneas privadas"}[lang] in words
    assert {"en": "kills", "es": "mata"}[lang] in words


def test_where_it_is_not_there_the_search_goes_outward_across_to_the_corner_and_then_stops(found: Located) -> None:
    words = said(found, "pump tank/lid", lost=("SE corner",))
    order = ["Probe outward from the spot", "Try the other side: at NE corner", "Is it the right corner?", "Then stop"]
    places = [words.index(each) for each in order]
    assert places == sorted(places)
    assert "call T. Sample, installer (invented) 555-0187" in words
    assert "on your right" in words[: places[0]]
    assert "on your left" in words[places[1] : places[2]]


def test_depth_names_its_ground_and_its_day_and_a_later_find_is_newer(found: Located) -> None:
    assert "Depth: 0' 3\" below the ground of 2017-06-14, to its top." in said(found, "T1")
    seen = Sighting(
        date(2026, 5, 1), "septic tank/inlet lid", depth=parse_length('5"'), landmark="9 paces from the door"
    )
    later = locate(replace(found.record, sightings=(seen,)))
    words = said(later, "T1")
    assert "Depth: found 0' 5\" below the ground of 2026-05-01." in words
    assert "By eye: 9 paces from the door." in words
    none = locate(replace(found.record, points=tuple(replace(p, depth=None) for p in found.record.points)))
    assert "Depth: not recorded." in said(none, "two-way cleanout/cap")


def test_looks_are_those_of_the_point_and_not_of_its_tank(found: Located) -> None:
    words = said(found, "T1")
    assert 'Look for: 24", centre of the green riser lid over the inlet baffle, six screws.' in words
    assert "concrete" not in words


def test_metres_where_the_property_is_metric(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners(units="m", tape1="7.62", tape2="7.62")
    sheets["walls"][1][2] = "9.144"
    run("load", write_sheets("metric", **sheets))
    result = run("find", "Two Corners", "lid", "--on", DAY)
    read = read_instructions(result.stdout)
    assert read.tapes[0][1] == pytest.approx(7.62, abs=0.005)
    assert "Hold each tape level" in result.stdout
    assert "0.61" not in result.stdout
    assert "There is no third corner to check it from" in result.stdout
    assert "never checked by a third side" in result.stdout


def test_a_lid_without_a_place_is_said_to_have_none_with_status_1(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["points"].append(["septic tank", "outlet lid", "", "", "", "", "", ""])
    run("load", write_sheets("half", **sheets))
    result = run("find", "Two Corners", "--on", DAY)
    assert result.exit_code == 1
    assert "septic tank/outlet lid has no place in the record" in " ".join(result.stdout.split())
    data = parsed(run("find", "Two Corners", "--on", DAY, "--json"))
    assert [each["by_tapes"] is None for each in data["lids"]] == [False, True]
    assert data["findings"][0]["code"] == "no-way"


def test_json_holds_the_figures_and_the_sentences(run: Run, loaded: Path) -> None:
    data = parsed(run("find", SAMPLE_NAME, "T1", "--on", DAY, "--json"))
    (lid,) = data["lids"]
    assert [each["from"] for each in lid["by_tapes"]["tapes"]] == ["NE corner", "wing corner"]
    assert lid["by_tapes"]["circle_r95_m"] == pytest.approx(0.053, abs=0.01)
    assert lid["depth"] == {"depth_m": 0.0762, "to": "top", "ground_of": "2017-06-14", "how": "noted"}
    assert len(lid["steps"]) >= 4


# ------------------------------------------------------------ what is refused


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ["nothing"],
            "asbuilt: Fernbank Lane 14 has no component or point “nothing”; its components are: septic tank, pump tank",
        ),
        (
            ["T1", "--lost", "NE cornr"],
            "asbuilt: --lost: “NE cornr” is no reference point or point; did you mean “NE corner”?\n",
        ),
        (["T1", "--visible", "oak post"], "asbuilt: --visible: “oak post” is recorded as gone; leave it away\n"),
        (
            ["T1", "--visible", "NE corner"],
            "asbuilt: the property: only “NE corner” is left to measure from; it needs two marks; name what can be "
            "seen with --visible, an open lid too\n",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_one_message(run: Run, loaded: Path, words: list[str], message: str) -> None:
    result = run("find", SAMPLE_NAME, *words, "--on", DAY)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(message)


def test_a_page_each_goes_with_a_file_and_a_file_is_not_written_over(run: Run, loaded: Path, folder: Path) -> None:
    assert "goes with --pdf FILE" in run("find", SAMPLE_NAME, "--one-page-each").stderr
    assert run("find", SAMPLE_NAME, "T1", "--pdf", "lid.pdf").stdout == (
        "lid.pdf: how to find 1 lid of Fernbank Lane 14\n"
    )
    again = run("find", SAMPLE_NAME, "T1", "--pdf", "lid.pdf")
    assert again.exit_code == 2
    assert "--overwrite" in again.stderr


# ------------------------------------------------------------ the catalogues


@pytest.mark.parametrize("lang", CATALOGUES)
def test_every_catalogue_has_the_same_keys_and_the_same_fields_in_each(lang: str) -> None:
    def fields(text: str) -> list[str]:
        return sorted(name for _, name, _, _ in string.Formatter().parse(text) if name)

    assert CATALOGUES[lang].keys() == ENGLISH.keys()
    assert {key: fields(text) for key, text in CATALOGUES[lang].items()} == {k: fields(t) for k, t in ENGLISH.items()}
    assert all(text.strip() for text in CATALOGUES[lang].values())


def test_every_sentence_of_the_catalogues_is_used() -> None:
    room = ROOT / "asbuilt" / "output" / "find"
    source = "".join(path.read_text() for path in room.glob("*.py") if path.name != "catalogue.py")
    made = {"wind_", "known_by_", "to_"}  # put together from a word of the record
    units = {"ft", "in", "m", "cm", "mm", "left", "right"}
    unused = [
        key for key in ENGLISH if f'"{key}"' not in source and key not in units and not key.startswith(tuple(made))
    ]
    assert unused == []


# ------------------------------------------------------------ on paper


def test_each_lid_of_the_sample_stands_on_a_page_of_its_own(found: Located) -> None:
    for lang in CATALOGUES:
        assert pages(printed(found, lang=lang))[0] == 10
    count, *size = pages(printed(found, paper="a4", names=("pump tank",)))
    assert count == 1
    assert size == pytest.approx((595.28, 841.89), abs=0.5)


def test_all_lids_stand_on_one_sheet_of_paper(found: Located) -> None:
    made = printed(found, one_page_each=False)
    assert pages(made)[0] <= 2  # both its sides
    words = flat(pdf_text(made))
    for name in lid_names(found, DAY):
        assert name in words
    assert re.search(r"25' 1[01](?: 1/2)?\" from NE corner and 33' [67](?: 1/2)?\" from wing corner", words)
    assert ENGLISH["danger_gas"] in words


@pytest.mark.parametrize("lang", CATALOGUES)
def test_the_printed_page_leads_to_the_lid(found: Located, truth: Any, lang: str) -> None:
    true = true_places(truth)
    for name in ("septic tank/outlet lid", "lateral 3/turn-up"):
        made = printed(found, names=(name,), lang=lang, lost=("SE corner",))
        read = read_instructions(pdf_text(made, "-raw"), lang)
        assert miss_m(swing(true, read), true[name]) <= read.within_m


def test_nothing_on_a_lids_page_is_smaller_than_14_points(found: Located, tmp_path: Path) -> None:
    """Sizes as poppler's pdftotext sees them: the height of each word's box is about 1.16 of its type."""
    (tmp_path / "page.pdf").write_bytes(printed(found, names=("pump tank",)))
    subprocess.run(["pdftohtml", "-xml", "-i", "page.pdf", "page"], cwd=tmp_path, check=True, capture_output=True)
    xml = (tmp_path / "page.xml").read_text()
    sizes = {int(size) for size in re.findall(r'<fontspec [^>]*size="(\d+)"', xml)}
    assert sizes
    assert min(sizes) >= 14 * 1.5 - 1  # pdftohtml counts at 108 dots an inch


@pytest.mark.parametrize("lang", CATALOGUES)
def test_with_photos_a_lid_still_has_one_page_and_what_is_to_be_done_stays_large(
    loaded: Path, tmp_path: Path, lang: str
) -> None:
    """Photos and Spanish once pushed the gas warning onto a second page."""
    with_photos = located(loaded, SAMPLE_NAME)
    made = printed(with_photos, lang=lang, pictures=pictures_of(loaded, with_photos))
    assert pages(made)[0] == 10
    (tmp_path / "page.pdf").write_bytes(made)
    subprocess.run(["pdftohtml", "-xml", "-i", "page.pdf", "page"], cwd=tmp_path, check=True, capture_output=True)
    xml = (tmp_path / "page.xml").read_text()
    large = {key for key, size in re.findall(r'<fontspec id="(\d+)" size="(\d+)"', xml) if int(size) >= 14 * 1.5 - 1}
    small = " ".join(
        re.sub("<.*?>", "", text) for key, text in re.findall(r'font="(\d+)">(.*?)</text>', xml) if key not in large
    )
    catalogue = CATALOGUES[lang]
    for key in ("danger_gas", "danger_probe", "danger_lid", "stop"):
        if key in catalogue:
            assert catalogue[key][:25] not in small


def test_the_same_record_gives_the_same_bytes(found: Located) -> None:
    assert printed(found, names=("T1",)) == printed(found, names=("T1",))


@pytest.mark.parametrize("hostile", HOSTILE)
def test_every_text_of_the_record_prints_literally(found: Located, hostile: str) -> None:
    rows = tuple(replace(p, description=hostile, landmark=hostile) for p in found.record.points)
    marks = tuple(replace(r, description=hostile) for r in found.record.reference_points)
    spoiled = replace(found, record=replace(found.record, points=rows, reference_points=marks))
    words = flat(pdf_text(printed(spoiled, names=("T1",))))
    assert words.count(flat(hostile)) >= 3


def test_the_photo_of_a_lid_stands_on_its_page(found: Located, tmp_path: Path) -> None:
    picture = io.BytesIO()
    Image.new("RGB", (60, 40), (200, 30, 30)).save(picture, "JPEG")
    photo = Photo("septic tank/inlet lid", "lid.jpg", "ab" * 32, "jpeg", 60, 40)
    with_photo = replace(found, record=replace(found.record, photos=(photo,)))
    made = printed(with_photo, names=("T1",), pictures={"ab" * 32: picture.getvalue()})
    (tmp_path / "lid.pdf").write_bytes(made)
    done = subprocess.run(["pdfimages", "-list", "lid.pdf"], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert re.search(r"image +60 +40 ", done.stdout)
    bare = printed(with_photo, names=("T1",))
    (tmp_path / "lid.pdf").write_bytes(bare)
    none = subprocess.run(["pdfimages", "-list", "lid.pdf"], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert "60" not in none.stdout


def test_a_house_sewer_is_no_house_and_a_shed_is_one(found: Located) -> None:
    kinds = {"building sewer": "house sewer", "reserve area": "shed"}
    components = tuple(replace(c, kind=kinds.get(c.name, c.kind)) for c in found.record.components)
    changed = replace(found, record=replace(found.record, components=components))
    traces = {trace.name: trace.kind for trace in find_lids(changed, DAY, Asked(("T1",))).traces}
    assert traces["building sewer"] == "line"
    assert traces["reserve area"] == "cover"
    assert "building sewer (house sewer): 1' 8 1/2\" from it" in said(changed, "T1")


def test_qpdf_finds_no_fault_in_the_file(found: Located, tmp_path: Path) -> None:
    (tmp_path / "each.pdf").write_bytes(printed(found))
    done = subprocess.run(["qpdf", "--check", "each.pdf"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert "No syntax or stream encoding errors found" in done.stdout

"""`asbuilt label`: labels whose QR code an independent reader reads, at every size, with and without the earth."""

import re
import subprocess
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.jobs.label import label_sheet, labels_of
from asbuilt.jobs.locate import Located, locate
from asbuilt.jobs.properties import located
from asbuilt.output.sheets.qr import geo_uri, qr_svg
from tests.commands import SAMPLE_NAME, Run, parsed
from tests.test_sheet_pdf import HOSTILE, flat, pages, pdf_text

DAY = date(2026, 6, 1)
COORDINATE = r"-?\d+(?:\.\d+)?"
GEO = re.compile(rf"geo:({COORDINATE}),({COORDINATE});u=(\d+)")
"""The grammar of RFC 5870, section 3.3, as far as it is used here: latitude, longitude, uncertainty in metres."""


@pytest.fixture(scope="module")
def found(sample_record: Path) -> Located:
    return located(sample_record, SAMPLE_NAME)


def nowhere(found: Located) -> Located:
    record = replace(found.record, property=replace(found.record.property, earth=None), known_coordinates=())
    return locate(record)


def decoded(made: bytes, folder: Path, *, page: int = 1, dpi: int = 200) -> list[str]:
    """Print one page to pixels and read every code on it with zbar, an independent reader."""
    (folder / "label.pdf").write_bytes(made)
    page_words = ["-f", str(page), "-l", str(page)]
    subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-png", *page_words, "-singlefile", "label.pdf", "page"], cwd=folder, check=True
    )
    words = ["zbarimg", "--quiet", "--xml", "-Sdisable", "-Sqrcode.enable", "page.png"]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=True)
    return re.findall(r"<data[^>]*><!\[CDATA\[(.*?)\]\]></data>", done.stdout, re.DOTALL)


def test_every_size_on_the_sheet_reads_as_the_place_with_its_uncertainty(found: Located, tmp_path: Path) -> None:
    labels = labels_of(found, DAY, names=["T1"])
    read = decoded(label_sheet(labels), tmp_path)
    assert len(read) == 7  # two large, two middle, three small
    assert set(read) == {labels[0].code}
    match = GEO.fullmatch(labels[0].code)
    assert match is not None
    assert found.placement is not None
    longitude, latitude = found.placement.coordinates["septic tank/inlet lid"]
    assert float(match[1]) == pytest.approx(latitude, abs=1e-6)
    assert float(match[2]) == pytest.approx(longitude, abs=1e-6)
    radius = found.placement.r95_earth_m["septic tank/inlet lid"]
    assert radius <= int(match[3]) < radius + 1


def test_without_a_place_on_the_earth_the_code_holds_the_two_tapes_as_text(found: Located, tmp_path: Path) -> None:
    labels = labels_of(nowhere(found), DAY, names=["T1"])
    read = decoded(label_sheet(labels), tmp_path, dpi=300)
    assert len(read) == 7
    assert set(read) == {labels[0].code}
    assert read[0].startswith("Fernbank Lane 14\nseptic tank/inlet lid: ")
    assert re.search(r"\d+' \d+(?: 1/2)?\" from NE corner and \d+' \d+(?: 1/2)?\" from wing corner, level\.", read[0])
    assert "on your right" in read[0]


def test_the_label_says_tapes_side_circle_and_danger_in_words(found: Located) -> None:
    words = flat(pdf_text(label_sheet(labels_of(found, DAY, names=["T1"]))))
    for each in ("Fernbank Lane 14", "septic tank/inlet lid", "from NE corner", "from wing corner", "on your right"):
        assert each in words
    assert "its gas kills" in words
    assert "Call 811 before you dig" in words


def test_every_tank_lid_gets_a_page_and_a_lost_corner_is_left_out(found: Located) -> None:
    labels = labels_of(found, DAY)
    assert [each.point for each in labels] == ["septic tank/inlet lid", "septic tank/outlet lid", "pump tank/lid"]
    assert pages(label_sheet(labels))[0] == 3
    assert pages(label_sheet(labels, "a4"))[1] == pytest.approx(595.28, abs=0.5)
    assert "NE corner" not in " ".join(labels_of(found, DAY, names=["T1"], lost=["NE corner"])[0].tapes)


@pytest.mark.parametrize("hostile", HOSTILE)
def test_every_text_of_the_record_prints_literally(found: Located, hostile: str) -> None:
    place = replace(found.record.property, name=hostile)
    spoiled = replace(found, record=replace(found.record, property=place))
    words = flat(pdf_text(label_sheet(labels_of(spoiled, DAY, names=["T1"]))))
    assert words.count(flat(hostile)) >= 3


def test_the_same_record_gives_the_same_bytes(found: Located) -> None:
    labels = labels_of(found, DAY, names=["T1"])
    assert label_sheet(labels) == label_sheet(labels)


def test_the_command_says_what_each_code_holds_and_writes_over_nothing(run: Run, loaded: Path) -> None:
    data = parsed(run("label", SAMPLE_NAME, "septic tank", "--on", DAY, "--json"))
    assert data["written"] == "fernbank-lane-14-label.pdf"
    assert [each["point"] for each in data["labels"]] == ["septic tank/inlet lid", "septic tank/outlet lid"]
    assert all(GEO.fullmatch(each["qr"]) for each in data["labels"])
    again = run("label", SAMPLE_NAME, "septic tank", "--on", DAY)
    assert again.exit_code == 2
    assert "--overwrite" in again.stderr


# ------------------------------------------------------------ the geo: URI


@given(st.floats(-90, 90), st.floats(-180, 180), st.floats(0.01, 1e6))
def test_a_geo_uri_reads_back_as_the_place_within_a_tenth_of_a_metre(
    latitude: float, longitude: float, radius: float
) -> None:
    match = GEO.fullmatch(geo_uri(latitude, longitude, radius))
    assert match is not None
    assert float(match[1]) == pytest.approx(latitude, abs=1e-6)
    if abs(latitude) < 90:
        assert (float(match[2]) - longitude + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
    assert int(match[3]) >= radius


def test_special_places_are_written_as_rfc_5870_says() -> None:
    """RFC 5870, 3.4.2: at the poles the longitude is 0; its example geo:48.2010,16.3695 reads the same."""
    assert geo_uri(90.0, 135.0, 3.0) == "geo:90,0;u=3"
    assert geo_uri(0.0, -0.0, 0.2) == "geo:0,0;u=1"
    assert geo_uri(48.2010, 16.3695, 10.0) == "geo:48.201,16.3695;u=10"
    assert geo_uri(-0.0000001, 180.0, 5.0) in ("geo:0,-180;u=5", "geo:0,180;u=5")
    for wrong in ((91.0, 0.0, 1.0), (0.0, float("nan"), 1.0), (0.0, 0.0, 0.0), (0.0, 0.0, float("inf"))):
        with pytest.raises(ValueError, match=r"no place|says nothing"):
            geo_uri(*wrong)


def test_a_text_that_no_code_holds_is_refused_and_any_other_is_drawn() -> None:
    assert qr_svg("geo:48.2010,16.3695;u=40").startswith("<svg")
    assert "<script" not in qr_svg("<script>alert(1)</script>")
    with pytest.raises(ValueError, match=r"(?i)data"):
        qr_svg("x" * 5000)

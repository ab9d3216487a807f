"""DXF, release 12: read and audited by ezdxf and read by GDAL, with hostile words in every text."""

import io
import math
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from ezdxf.document import Drawing
from ezdxf.lldxf.encoding import decode_dxf_unicode
from shapely.geometry import LineString, Point, Polygon, box

from asbuilt.output.features import Feature
from asbuilt.output.gis.dxf import LONGEST_TEXT, dxf_text, layer_name, write_dxf
from asbuilt.output.gis.formats import Sheaf
from asbuilt.units import FOOT_M, SURVEY_FOOT_M
from tests.export_samples import hostile_features, ogrinfo
from tests.hostile import HOSTILE, named


def read(text: str) -> Drawing:
    return ezdxf.read(io.StringIO(text))


def drawn(*features: Feature, unit: str = "foot", unit_m: float = FOOT_M, held_m: float = 1.0) -> Drawing:
    text, _ = write_dxf([Sheaf("lot", features)], unit, unit_m, held_m)
    document = read(text)
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    return document


def of_type(document: Drawing, kind: str) -> list[Any]:
    return [entity for entity in document.modelspace() if entity.dxftype() == kind]


@pytest.fixture(scope="module")
def hostile() -> str:
    text, count = write_dxf([Sheaf("lot", hostile_features())], "foot", FOOT_M)
    assert count == len(HOSTILE)
    return text


# ------------------------------------------------------------ words stay words


def test_every_line_is_a_group_code_or_its_value(hostile: str) -> None:
    """The structure of the format: lines in pairs, a whole number and its value; all of it printable ASCII."""
    lines = hostile.split("\n")
    assert lines.pop() == ""
    assert len(lines) % 2 == 0
    codes, values = lines[::2], lines[1::2]
    assert all(code.strip().isdecimal() and int(code) <= 1071 for code in codes)
    assert all(len(value) <= 255 and value.isascii() and (value.isprintable() or value == "") for value in values)
    assert [value for code, value in zip(codes, values, strict=True) if int(code) == 0].count("EOF") == 1
    assert values[-1] == "EOF"


def test_an_audit_of_hostile_words_finds_nothing(hostile: str) -> None:
    document = read(hostile)
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    assert document.dxfversion == "AC1009"
    assert {entity.dxftype() for entity in document.modelspace()} == {"POINT", "POLYLINE", "TEXT", "CIRCLE"}


def test_gdal_reads_the_drawing(tmp_path: Path, hostile: str) -> None:
    (tmp_path / "a.dxf").write_text(hostile, encoding="ascii")
    shapes = len(HOSTILE)
    document = read(hostile)
    said = ogrinfo(tmp_path / "a.dxf")
    assert said.count("OGRFeature(") == len(list(document.modelspace())) >= shapes


@pytest.mark.parametrize("text", [pytest.param(text, id=name) for name, text in named()])
def test_any_text_is_one_line_of_printable_ascii(text: str) -> None:
    made = dxf_text(text)
    assert made == "" or (made.isascii() and made.isprintable())
    assert len(made) <= LONGEST_TEXT
    assert "%%" not in made
    assert "^" not in made
    assert all(rest.startswith("U+") for rest in made.split("\\")[1:])


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("23' 4 1/2\"", "23' 4 1/2\""),
        ("47′ 5½″", "47' 5 1/2\""),
        ("%%d %%c", "%%d %%c"),
        ("\\P and \\U+0041", "\\P and \\U+0041"),
        ("^J", "^J"),
        ("水 tank", "水 tank"),
        ("café", "cafe"),
    ],
)
def test_a_drawing_program_shows_the_words_and_obeys_none(text: str, shown: str) -> None:
    r"""Codes of the form \U+nnnn are letters to drawing programs; decoded here by what ezdxf has for it."""
    document = drawn(Feature("reference", text, "corner", Point(0, 0)))
    (label,) = of_type(document, "TEXT")
    assert decode_dxf_unicode(label.dxf.text) == shown


def test_a_name_of_a_layer_is_what_release_12_takes() -> None:
    for text in HOSTILE:
        name = layer_name(text)
        assert 1 <= len(name) <= 31
        assert set(name) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_$-")


# ------------------------------------------------------------ a drawing of true size


@pytest.mark.parametrize(
    ("unit", "unit_m", "code"),
    [("foot", FOOT_M, 2), ("metre", 1.0, 6), ("US survey foot", SURVEY_FOOT_M, 21)],
)
def test_the_unit_is_that_of_the_drawing(unit: str, unit_m: float, code: int) -> None:
    """$INSUNITS: 2 = feet, 6 = metres, 21 = US survey feet (the published DXF reference; from memory)."""
    document = drawn(Feature("component", "x", "lateral", LineString([(0, 0), (30.48, 0)])), unit=unit, unit_m=unit_m)
    assert document.header["$INSUNITS"] == code
    (line,) = of_type(document, "POLYLINE")
    places = [vertex.dxf.location for vertex in line.vertices]
    assert places[0].distance(places[1]) == pytest.approx(30.48 / unit_m, abs=1e-6)


def test_coordinates_that_are_in_feet_already_stay() -> None:
    document = drawn(
        Feature("point", "x", "valve", Point(2_000_000.25, 500_000.5), {"r95_m": 0.3048}),
        unit="US survey foot",
        unit_m=SURVEY_FOOT_M,
        held_m=SURVEY_FOOT_M,
    )
    (point,) = of_type(document, "POINT")
    assert point.dxf.location.x == pytest.approx(2_000_000.25, abs=1e-6)
    (circle,) = of_type(document, "CIRCLE")
    assert circle.dxf.radius == pytest.approx(0.3048 / SURVEY_FOOT_M, abs=1e-6)
    assert circle.dxf.layer == "RADIUS_95"


def test_each_kind_has_its_layer_and_its_colour() -> None:
    """Colour numbers 1 red, 2 yellow, 3 green, 5 blue (from memory), by the APWA Uniform Color Code."""
    kinds = {"electrical cable": 1, "gas line": 2, "septic tank": 3, "well": 5}
    document = drawn(*(Feature("component", kind, kind, box(0, 0, 1, 1)) for kind in kinds))
    for kind, colour in kinds.items():
        assert document.layers.get(layer_name(kind)).color == colour
    assert {line.dxf.layer for line in of_type(document, "POLYLINE")} == set(map(layer_name, kinds))


def test_areas_are_closed_and_holes_are_drawn() -> None:
    holed = Polygon(box(0, 0, 3, 3).exterior, [box(1, 1, 2, 2).exterior])
    outer, inner = of_type(drawn(Feature("component", "x", "reserve area", holed)), "POLYLINE")
    assert (outer.is_closed, inner.is_closed) == (True, True)
    assert (len(outer.vertices), len(inner.vertices)) == (4, 4)


def test_heights_are_in_the_unit_of_the_drawing() -> None:
    line = LineString([(0, 0, 29.566), (3, 0, 29.438)])
    document = drawn(Feature("component", "x", "sewer", line), Feature("point", "y", "sewer", Point(0, 0, 29.566)))
    (drawn_line,) = of_type(document, "POLYLINE")
    assert drawn_line.is_3d_polyline
    assert [vertex.dxf.location.z for vertex in drawn_line.vertices] == pytest.approx([97.0, 96.58], abs=0.002)
    assert of_type(document, "POINT")[0].dxf.location.z == pytest.approx(97.0, abs=0.002)


def test_names_of_things_and_of_their_points_are_on_layers_of_their_own_and_apart() -> None:
    document = drawn(
        Feature("component", "sewer", "sewer", LineString([(0, 0), (30.48, 0)]), {"points": 2}),
        Feature("point", "sewer/bend", "sewer", Point(0, 0)),
    )
    labels = {label.dxf.text: label for label in of_type(document, "TEXT")}
    assert (labels["sewer"].dxf.layer, labels["sewer/bend"].dxf.layer) == ("TEXT", "TEXT_POINTS")
    assert labels["sewer"].dxf.insert.x == pytest.approx(50, abs=1)
    assert labels["sewer/bend"].dxf.insert.x == pytest.approx(0, abs=1)


def test_the_extent_is_told() -> None:
    document = drawn(Feature("component", "x", "sewer", LineString([(-3.048, 0), (0, 6.096)])))
    assert tuple(document.header["$EXTMIN"])[:2] == pytest.approx((-10, 0))
    assert tuple(document.header["$EXTMAX"])[:2] == pytest.approx((0, 20))


def test_what_has_no_place_is_not_drawn() -> None:
    text, count = write_dxf([Sheaf("lot", (Feature("component", "x", "valve", None),))], "foot", FOOT_M)
    assert count == 0
    assert list(read(text).modelspace()) == []
    assert math.isfinite(read(text).header["$EXTMIN"][0])

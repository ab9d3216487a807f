"""KML and KMZ against the schema of the standard and other people's readers, with hostile words in every text."""

import html
import io
import zipfile
from itertools import pairwise
from pathlib import Path

import fastkml
import pytest
from lxml import etree
from shapely.geometry import MultiPolygon, Point, Polygon, box

from asbuilt.output.features import Feature
from asbuilt.output.gis.formats import Sheaf
from asbuilt.output.gis.kml import balloon_text, kml_text, pack_kmz, write_kml
from tests.export_samples import feature_counts, hostile_sheaf, kept, ogrinfo
from tests.hostile import HOSTILE, named

KML = {"k": "http://www.opengis.net/kml/2.2"}

SCHEMA = Path(fastkml.__file__).parent / "schema" / "ogckml22.xsd"
"""The schema of OGC 07-147r2 as fastkml carries it, with the Atom and xAL schemas that it imports beside it."""


@pytest.fixture(scope="module")
def schema() -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(SCHEMA))


@pytest.fixture(scope="module")
def hostile() -> str:
    text, count = write_kml([hostile_sheaf()])
    assert count == len(HOSTILE)
    return text


def written(*features: Feature) -> etree._Element:
    return etree.fromstring(write_kml([Sheaf("lot", features)])[0].encode())


def test_the_schema_of_the_standard_accepts_hostile_words(schema: etree.XMLSchema, hostile: str) -> None:
    schema.assertValid(etree.fromstring(hostile.encode()))


def test_the_schema_refuses_elements_out_of_order(schema: etree.XMLSchema) -> None:
    document = written(Feature("point", "lid", "tank", Point(1, 2), {"accuracy_text": "x"}))
    (mark,) = document.iterfind(".//k:Placemark", KML)
    mark.append(mark[0])  # the name behind the geometry
    assert not schema.validate(document)


def test_every_kind_of_shape_is_accepted(schema: etree.XMLSchema) -> None:
    holed = Polygon(box(0, 0, 3, 3).exterior, [box(1, 1, 2, 2).exterior])
    parted = MultiPolygon([box(-180, 0, -179, 1), box(179, 0, 180, 1)])
    shapes = (holed, parted, Point(1, 2, 3.5), None)
    document = written(*(Feature("component", "x", "y", shape) for shape in shapes))
    schema.assertValid(document)
    first = document.find(".//k:outerBoundaryIs//k:coordinates", KML)
    assert first is not None
    ring = [tuple(map(float, place.split(","))) for place in str(first.text).split()]
    assert ring[0] == ring[-1]
    doubled = sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(ring))
    assert doubled > 0  # counterclockwise, OGC 07-147r2 section 10.8.3.4


@pytest.mark.parametrize("text", [pytest.param(text, id=name) for name, text in named()])
def test_any_text_comes_back_as_data(text: str) -> None:
    feature = Feature("point", text, text, Point(1, 2), {"property": text, "description": text, "photo": text})
    document = written(feature)
    (mark,) = document.iterfind(".//k:Placemark", KML)
    assert [child.tag.partition("}")[2] for child in mark] == [
        "name",
        *(["description"] if mark.find("k:description", KML) is not None else []),
        "styleUrl",
        "ExtendedData",
        "Point",
    ]
    assert (mark.findtext("k:name", namespaces=KML) or "") == kept(text)
    values = {
        each.get("name"): each.findtext("k:value", namespaces=KML) or "" for each in mark.iter(f"{{{KML['k']}}}Data")
    }
    assert {values[key] for key in ("name", "kind", "property", "description", "photo")} == {kept(text)}


@pytest.mark.parametrize("text", [pytest.param(text, id=name) for name, text in named()])
def test_a_balloon_that_is_read_as_html_shows_the_words_and_no_element(text: str) -> None:
    """Viewers take a description for HTML; what they would parse is parsed here."""
    inner = html.unescape(balloon_text(text))  # the layer of XML taken off
    tree = etree.fromstring(f"<p>{inner}</p>".encode(), etree.XMLParser(resolve_entities=False))
    assert {element.tag for element in tree.iter()} <= {"p", "br"}
    assert "".join("\n" if event.tag == "br" else "" for event in tree.iter() if event.tag == "br") == "\n" * kept(
        text
    ).count("\n")
    assert "".join(tree.itertext()) == kept(text).replace("\n", "")
    assert "$[" not in inner  # OGC 07-147r2 section 9.2.1.3: a name of data between them is replaced


def test_gdal_reads_every_placemark(tmp_path: Path, hostile: str) -> None:
    (tmp_path / "a.kml").write_text(hostile, encoding="utf-8", newline="\n")
    assert feature_counts(ogrinfo(tmp_path / "a.kml")) == [len(HOSTILE)]


def test_another_reader_finds_the_folders_names_and_places(hostile: str) -> None:
    document = fastkml.KML.from_string(hostile.encode(), strict=False).features[0]
    (folder,) = document.features
    assert folder.name == kept(hostile_sheaf().property)
    assert len(folder.features) == len(HOSTILE)
    first = folder.features[0]
    assert (first.geometry.x, first.geometry.y) == (-118.0, 42.0)


def test_styles_have_the_colours_of_the_map_in_the_order_of_kml() -> None:
    document = written(Feature("component", "x", "well", box(0, 0, 1, 1)))
    assert document.findtext(".//k:Placemark/k:styleUrl", namespaces=KML) == "#water"
    colour = document.findtext(".//k:Style[@id='water']/k:LineStyle/k:color", namespaces=KML)
    assert colour == "ffc74600"  # #0046c7 as aabbggrr, OGC 07-147r2 section 16.9


def test_what_was_taken_out_is_drawn_as_gone() -> None:
    document = written(Feature("component", "x", "well", Point(0, 0), {"removed_on": "2020-01-01"}))
    assert document.findtext(".//k:Placemark/k:styleUrl", namespaces=KML) == "#gone"


def test_heights_stand_in_the_coordinates() -> None:
    document = written(Feature("point", "x", "valve", Point(-118.5, 42.25, 30.256)))
    assert document.findtext(".//k:coordinates", namespaces=KML) == "-118.50000000,42.25000000,30.256"
    assert document.find(".//k:altitudeMode", KML) is None  # clamped to the ground, the default


def test_a_kmz_is_one_zip_with_the_document_first(tmp_path: Path, hostile: str) -> None:
    packed = pack_kmz(hostile)
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        assert archive.namelist() == ["doc.kml"]  # OGC 07-147r2, annex C
        assert archive.testzip() is None
        assert archive.read("doc.kml") == hostile.encode()
    assert packed == pack_kmz(hostile)
    (tmp_path / "a.kmz").write_bytes(packed)
    assert feature_counts(ogrinfo(tmp_path / "a.kmz")) == [len(HOSTILE)]


def test_the_escaping_function_leaves_nothing_that_begins_markup() -> None:
    for text in HOSTILE:
        assert not set(kml_text(text)) & set("<>\"'")
        assert html.unescape(kml_text(text)) == kept(text) or "&#" in text  # Python's own unescape knows HTML names

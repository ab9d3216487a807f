"""The map document: nothing typed is ever markup or template, nothing comes from the network, same in = same out."""

import dataclasses
import json
import re
from base64 import b64encode
from colorsys import rgb_to_hsv
from datetime import date
from hashlib import sha256
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import branca.element
import folium
import pytest
from shapely.geometry import LineString, MultiPoint, Point, Polygon

from asbuilt.output.features import Feature
from asbuilt.output.map import frame as mapframe
from asbuilt.output.map import pinmap, webmap
from asbuilt.output.map import symbols as mapsymbols
from asbuilt.output.map.frame import MOST_PLACES, STREETS, Background, BackgroundError, FrameError, TooManyError
from asbuilt.output.map.points import FoundPoint, TapeLine
from asbuilt.output.map.webmap import MOST_PHOTO_BYTES, SCRIPTS, MapPhoto, MapSheet, render_map

ASSETS = files("asbuilt.output").joinpath("assets")

PAYLOADS = (
    "</script><script>window.pwned=1</script>",
    "<img src=x onerror=window.pwned=1>",
    "`;window.pwned=1;`",
    "${window.pwned=1}",
    "{{ cycler.__init__.__globals__.os.mkdir('pwned-by-template') }}",
    "\"'><svg onload=window.pwned=1>",
    "</noscript></title></style><script>window.pwned=1</script>",
    "cost {{5}}",
    "{% endfor %}",
    "lot {# 3",
    "<!--<script>",
    "line\u2028separator\u2029end",
    "javascript:window.pwned=1",
    "__proto__",
    "caf\u00e9 \U0001f4a7 \ud800 half a pair",
)
"""Texts that broke or ran in a map made by folium alone, and their relatives."""


# ------------------------------------------------------------ a small invented property

EAST_M, NORTH_M = webmap.metres_per_degree(45.0)


def at(x_m: float, y_m: float) -> tuple[float, float]:
    """Put a place of the house frame in the middle of an ocean, where nobody lives."""
    return -30.0 + x_m / EAST_M, 45.0 + y_m / NORTH_M


MARKS = {"A": (0, 0), "B": (12, 0), "C": (12, 7), "D": (0, 9)}


def measured(component: str, point: str, kind: str, x_m: float, y_m: float, marks: str, **more: Any) -> Feature:
    """Make a located point with a reading from each of the marks."""
    ties = []
    for mark in marks:
        inches = round(((x_m - MARKS[mark][0]) ** 2 + (y_m - MARKS[mark][1]) ** 2) ** 0.5 / 0.0254)
        reading = f"{inches // 12}' {inches % 12}\""
        ties.append({"from": mark, "as_read": reading, "from_lonlat": list(at(*MARKS[mark]))})
    attributes = {
        "component": component,
        "point": point,
        "r95_m": 0.05,
        "r95_earth_m": 4.2,
        "accuracy_text": "within 2 in, 19 times in 20",
        "checked": len(marks) > 2,
        "unchecked_because": None if len(marks) > 2 else "only two tapes, nothing to check them by",
        "ties": ties,
        **more,
    }
    return Feature("point", f"{component}/{point}" if point else component, kind, Point(at(x_m, y_m)), attributes)


def sample_features() -> tuple[Feature, ...]:
    """Make a house, two tanks, lines, a cable, a well, a water line, a reserve area and their points."""
    due = {
        "property": "Invented Hollow",
        "component": "septic tank",
        "task": "pump out",
        "due_on": "2025-03-14",
        "earliest_on": "2024-11-01",
        "latest_on": "2025-08-20",
        "reason": "published table: 2.6 years for 1,000 gal and 4 people",
        "method": "table",
        "reference": "years by size and people",
        "overdue": True,
    }
    service = [
        {"on": "2019-05-02", "task": "pump out", "by": "an invented pumper", "gallons": 980, "note": "full"},
        {"on": "2022-08-09", "task": "pump out", "by": "an invented pumper", "gallons": 1000, "note": None},
    ]

    def thing(name: str, kind: str, geometry: Any, **attributes: Any) -> Feature:
        return Feature("component", name, kind, geometry, attributes)

    corners = [
        Feature("reference", mark, "corner", Point(at(*xy)), {"description": f"corner {mark}, outside of siding"})
        for mark, xy in MARKS.items()
    ]
    pins = [
        Feature("reference", f"pin {i}", "pin", Point(at(*xy)), {"description": "iron pin", "gone_on": None})
        for i, xy in enumerate(((-14, 22), (34, 22)), 1)
    ]
    return (
        Feature(
            "building",
            "house",
            "house",
            Polygon([at(*xy) for xy in ((0, 0), (12, 0), (12, 7), (5, 7), (5, 9), (0, 9))]),
            {},
        ),
        *corners,
        *pins,
        thing(
            "septic tank",
            "septic tank",
            Polygon([at(*xy) for xy in ((15, -7), (18, -7), (18, -5.2), (15, -5.2))]),
            shape="box",
            volume_gal=1000,
            material="concrete",
            installed_on="2011-06-14",
            due=[due],
            service=service,
        ),
        thing(
            "pump tank",
            "pump tank",
            Polygon([at(*xy) for xy in ((20, -7), (22.2, -7), (22.2, -5.2), (20, -5.2))]),
            volume_gal=750,
        ),
        thing(
            "old tank",
            "septic tank",
            Polygon([at(*xy) for xy in ((-6, -6), (-4, -6), (-4, -4), (-6, -4))]),
            removed_on="2011-06-10",
            status="removed",
        ),
        thing("building sewer", "building sewer", LineString([at(12, 2), at(13.4, 2), at(15, -6.1)])),
        thing("effluent line", "effluent line", LineString([at(22.2, -6.1), at(26, -6.1), at(27, 4)])),
        thing("lateral 1", "lateral", LineString([at(27, 4), at(27, 19)])),
        thing("lateral 2", "lateral", LineString([at(29, 4), at(29, 19)])),
        thing("manifold", "manifold", LineString([at(27, 4), at(29, 4)])),
        thing("pump cable", "electrical cable", LineString([at(12, 5), at(19, 3), at(21, -5.2)])),
        thing("alarm wire", "alarm wire", LineString([at(12, 5), at(19.6, 2.6), at(21.6, -5.2)])),
        thing("control panel", "control panel", Point(at(12, 5))),
        thing("well", "well", Point(at(-10, 16))),
        thing("water line", "water line", LineString([at(-10, 16), at(0, 7)])),
        thing(
            "reserve area",
            "reserve area",
            Polygon([at(*xy) for xy in ((14, 8), (24, 8), (24, 19), (14, 19))]),
            note="keep free of buildings and of traffic",
        ),
        thing("west property line", "property line", LineString([at(-14, -12), at(-14, 22)])),
        thing("lost valve", "valve", None, note="mentioned on an old card, never found"),
        measured(
            "septic tank",
            "inlet lid",
            "septic tank",
            15.5,
            -6.1,
            "ABC",
            depth_text="1' 2\" below grade to top",
            size="24 in",
            photo="lid-1.jpg",
            mark="T1",
            description="centre of the green plastic lid",
        ),
        measured("septic tank", "outlet lid", "septic tank", 17.5, -6.1, "ABC", depth_text="1' 4\" below grade"),
        measured("pump tank", "lid", "pump tank", 21.1, -6.1, "AB", depth_text='6" below grade'),
        measured("building sewer", "cleanout", "building sewer", 13.4, 2, "BCA"),
        measured("building sewer", "bend", "building sewer", 13.4, 1.4, "BC"),
        measured("lateral 1", "turn-up", "lateral", 27, 19, "BC"),
        measured("lateral 2", "turn-up", "lateral", 29, 19, "BCD"),
        measured("lateral 1", "inspection port", "lateral", 27, 12, "BCD"),
        measured("control panel", "", "control panel", 12, 5, "BC"),
        measured("well", "", "well", -10, 16, "ADC"),
        Feature(
            "point",
            "lost valve/lid",
            "valve",
            None,
            {
                "component": "lost valve",
                "point": "lid",
                "checked": False,
                "unchecked_because": "one tape only",
                "ties": [{"from": "old oak", "as_read": "17' 0\"", "from_lonlat": None}],
            },
        ),
    )


def found(x_m: float, y_m: float, marks: str, words: tuple[str, ...], **more: Any) -> FoundPoint:
    """Make the tapes that find a point, as lines from the marks."""
    lines = tuple(
        TapeLine(mark, said, (at(*MARKS[mark]), at(x_m, y_m))) for mark, said in zip(marks, words, strict=True)
    )
    ways = tuple(f"{said} from {mark}" for mark, said in zip(marks, words, strict=True))
    return FoundPoint(ways, lines=lines, **more)


def sample_found() -> dict[str, FoundPoint]:
    """Give the tapes that find the lids; one has an ellipse, one is found along a wall and square out."""
    along = (
        TapeLine("B", "4' 7\" along", (at(12, 0), at(12, 1.4)), along=True),
        TapeLine("B", "4' 7\" out", (at(12, 1.4), at(13.4, 1.4))),
    )
    return {
        "septic tank/inlet lid": found(
            *(15.5, -6.1, "AB", ("54' 8\"", "23' 1\"")), check="44' 6\" from C", ellipse=(0.30, 0.10, 30.0)
        ),
        "septic tank/outlet lid": found(17.5, -6.1, "AB", ("60' 10\"", "26' 11\"")),
        "building sewer/bend": FoundPoint(("4' 7\" along B > C, 4' 7\" out",), lines=along),
    }


PIXEL = (
    "data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAIAAACQd1PeAAAADElEQVR4nGP4z8AAAAMBAQDJ/pLvAAAAAElFTkSuQmCC"
)
"""A picture of one red dot."""


def sample_sheet(**changes: Any) -> MapSheet:
    """Make the sheet of the invented property."""
    features = sample_features()
    tank = next(feature for feature in features if feature.name == "septic tank")
    sheet = MapSheet(
        title="Invented Hollow",
        subtitle=("1 Nowhere Lane", "INVENTED for tests: no such place, nobody lives here"),
        units="ft-in",
        features=features,
        placed=True,
        as_of="2026-05-01",
        findings=(
            {
                "code": "unchecked",
                "subject": "pump tank/lid",
                "message": "Two tapes only: a misreading would not show. Pull one from C.",
                "severity": "note",
            },
            {
                "code": "single-tie",
                "subject": "lost valve/lid",
                "message": "One tape does not make a place. Pull two more.",
                "severity": "attention",
            },
        ),
        due=tuple(tank.attributes["due"]),
        cautions=(
            "Never lean into or enter a tank: the gas in it kills in minutes.",
            "Have all utilities marked before you dig, and dig by hand near a cable.",
        ),
        found=sample_found(),
        photos=(MapPhoto("septic tank/inlet lid", "the inlet lid, laid open", PIXEL),),
    )
    return dataclasses.replace(sheet, **changes)


def hostile(value: Any, payload: str) -> Any:
    """Put the payload into every text of a value, keeping what is not text."""
    if isinstance(value, str):
        return payload
    if isinstance(value, Feature):
        attributes = hostile(dict(value.attributes), payload)
        return Feature(value.role, f"{value.name} {payload}", f"{value.kind} {payload}", value.geometry, attributes)
    if isinstance(value, dict):
        # These keep their own word before the payload: a point must find its component, a lid be a lid.
        return {
            key: f"{item} {payload}" if key in ("component", "subject", "point") else hostile(item, payload)
            for key, item in value.items()
        }
    if isinstance(value, list | tuple):
        return type(value)(hostile(item, payload) for item in value)
    return value


def hostile_sheet(payload: str) -> MapSheet:
    """Put the payload into every text field of sheet and features."""
    sheet = sample_sheet()
    return MapSheet(
        title=payload,
        subtitle=hostile(sheet.subtitle, payload),
        units=sheet.units,
        features=hostile(sheet.features, payload),
        placed=True,
        as_of=payload,
        findings=hostile(sheet.findings, payload),
        due=hostile(sheet.due, payload),
        cautions=hostile(sheet.cautions, payload),
        found={f"{name} {payload}": hostile_found(each, payload) for name, each in sheet.found.items()},
        photos=tuple(MapPhoto(f"{photo.of} {payload}", payload, photo.data_uri) for photo in sheet.photos),
    )


def hostile_found(found: FoundPoint, payload: str) -> FoundPoint:
    """Put the payload into the words of the tapes."""
    lines = tuple(dataclasses.replace(each, mark=f"{each.mark} {payload}", words=payload) for each in found.lines)
    return FoundPoint(hostile(found.ways, payload), found.check and payload, lines, found.ellipse)


# ------------------------------------------------------------ reading the document as a browser would


class Reader(HTMLParser):
    """Collects elements and the text of scripts and styles."""

    def __init__(self, document: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self.styles: list[str] = []
        self.inside = ""
        self.feed(document)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element, and begin its text where it is a script or a style."""
        self.tags.append((tag, dict(attrs)))
        self.inside = tag
        if tag == "script":
            self.scripts.append((dict(attrs), ""))
        elif tag == "style":
            self.styles.append("")

    def handle_endtag(self, tag: str) -> None:
        """Note that the last element has ended."""
        self.inside = ""

    def handle_data(self, data: str) -> None:
        """Gather the text of scripts and styles."""
        if self.inside == "script":
            self.scripts[-1] = (self.scripts[-1][0], self.scripts[-1][1] + data)
        elif self.inside == "style":
            self.styles[-1] += data


def block_of(document: str) -> dict[str, Any]:
    """Read the data block back."""
    match = re.search(r'<script type="application/json" id="plan-data">(.*?)</script>', document, re.DOTALL)
    assert match is not None
    plan: dict[str, Any] = json.loads(match.group(1))
    return plan


def texts_of(value: Any) -> list[str]:
    """List every text inside a JSON value."""
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [text for item in value.values() for text in texts_of(item)]
    if isinstance(value, list | tuple):
        return [text for item in value for text in texts_of(item)]
    return []


@pytest.fixture(scope="module")
def document() -> str:
    return render_map(sample_sheet())


# ------------------------------------------------------------ nothing typed is markup or template


@pytest.mark.parametrize("payload", PAYLOADS)
def test_a_hostile_text_in_every_field_is_neither_run_nor_changed(
    payload: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    sheet = hostile_sheet(payload)
    document = render_map(sheet)
    assert list(tmp_path.iterdir()) == []  # the template payload makes a folder where it is compiled
    plan = block_of(document)
    assert plan["title"] == payload
    assert plan["as_of"] == payload
    assert plan["subtitle"] == [payload] * 2
    assert plan["cautions"] == [payload] * 2
    assert [item["message"] for item in plan["findings"]] == [payload] * 2
    assert [item["task"] for item in plan["due"]] == [payload]
    assert plan["photos"][0]["caption"] == payload
    for name, tapes in sheet.found.items():
        assert plan["found"][name]["ways"] == list(tapes.ways)
    for feature, drawn in zip(sheet.features, plan["features"], strict=True):
        assert drawn["name"] == feature.name
        assert drawn["kind"] == feature.kind
        assert drawn["attributes"] == json.loads(json.dumps(dict(feature.attributes)))


@pytest.mark.parametrize("payload", PAYLOADS)
def test_a_hostile_text_adds_no_element_to_the_document(payload: str) -> None:
    plain, hostile_one = Reader(render_map(sample_sheet())), Reader(render_map(hostile_sheet(payload)))
    assert [tag for tag, _ in hostile_one.tags] == [tag for tag, _ in plain.tags]
    assert [text for attributes, text in hostile_one.scripts if "type" not in attributes] == [
        text for attributes, text in plain.scripts if "type" not in attributes
    ]


def test_every_text_field_of_the_sheet_takes_part_in_the_hostile_test() -> None:
    """Guards the test above: a field that a later change adds must not be left out of it."""
    left = [text for text in texts_of(block_of(render_map(hostile_sheet("QQQ")))) if "QQQ" not in text]
    constants = {"ft-in", *mapsymbols.SYMBOL_WORDS, "spot", "mark", "point", "line", "area"}
    constants |= {"building", "reference", "component", PIXEL} | set(texts_of([g.as_json() for g in mapsymbols.GROUPS]))
    assert {text for text in left if not re.fullmatch(r"(map|feature_group)_[0-9a-f]+", text)} <= constants


def test_folium_is_handed_nothing_but_constants(monkeypatch: pytest.MonkeyPatch) -> None:
    """The frame of two properties with nothing in common but their kinds is the same to the byte."""
    frames = []
    made = webmap.make_frame
    monkeypatch.setattr(webmap, "make_frame", lambda *given, **more: frames.append(made(*given, **more)) or frames[-1])
    render_map(sample_sheet())
    render_map(hostile_sheet("QQQ"))
    assert frames[0] == frames[1]


def still_of(document: str) -> str:
    """Give what stands there for a viewer that runs no script."""
    return document[document.index('<main id="still">') : document.index('<div id="paper-head"')]


def test_without_a_script_the_ties_stand_in_a_table_as_text() -> None:
    plain = still_of(render_map(hostile_sheet("<b>23' 4 1/2\"</b>")))
    assert "&lt;b&gt;23&#x27; 4 1/2&quot;&lt;/b&gt;" in plain
    assert "<b>" not in plain
    rows = still_of(render_map(sample_sheet())).split("<tr>")
    lid = next(row for row in rows if "septic tank/inlet lid" in row)
    best = "<strong>54&#x27; 8&quot; from A</strong><br><strong>23&#x27; 1&quot; from B</strong><br>"
    assert f"{best}A: 54&#x27; 8&quot;<br>B: 23&#x27; 1&quot;<br>C: 44&#x27; 6&quot;" in lid
    assert "1&#x27; 2&quot; below grade to top" in lid
    assert "within 2 in, 19 times in 20" in lid
    unsure = next(row for row in rows if "lost valve/lid" in row)
    assert "not located; not checked" in unsure


def test_the_still_plan_draws_every_located_thing_and_numbers_the_points_as_the_table_does() -> None:
    """The plan's own arithmetic is undone: its millimetres against the metres that the sample was made from."""
    still = still_of(render_map(sample_sheet()))
    svg = ElementTree.fromstring(still[still.index("<svg") : still.index("</svg>") + 6])  # noqa: S314 - our own text
    name = "{http://www.w3.org/2000/svg}"
    texts = [node.text for node in svg.iter(f"{name}text")]
    assert {str(number) for number in range(1, 11)} <= set(texts)
    assert "11" not in texts  # the lost valve's lid has no place
    assert {f"R{number}" for number in range(1, 7)} <= set(texts)
    assert "<li><strong>R1</strong>: A, corner A, outside of siding</li>" in still
    assert re.search(r"<td>1</td><th scope=row>septic tank/inlet lid</th>", still)
    circles = [(float(node.get("cx", "")), float(node.get("cy", ""))) for node in svg.iter(f"{name}circle")]
    lid, other = circles[-10:-8]  # the first two points: 2 m apart, east of each other
    (bar,) = (words for words in texts if re.fullmatch(r"\d+ ft", words or ""))
    lines = [[place.split(",") for place in (node.get("points") or "").split()] for node in svg.iter(f"{name}polyline")]
    (long,) = (float(line[1][0]) - 4 for line in lines if len(line) == 2 and line[0][0] == "4" and line[1][0] != "4")
    assert (other[0] - lid[0]) / long == pytest.approx(2 / (float(bar.split()[0]) * 0.3048), abs=0.001)
    assert other[1] == pytest.approx(lid[1], abs=0.01)


def test_the_still_plan_has_no_style_that_the_policy_would_stop() -> None:
    assert "style=" not in still_of(render_map(sample_sheet()))
    assert " on" not in re.sub(r">[^<]*<", "><", still_of(render_map(sample_sheet())))


def test_a_property_with_nothing_located_has_a_table_and_no_still_plan() -> None:
    lost = tuple(feature for feature in sample_sheet().features if feature.geometry is None)
    still = still_of(render_map(sample_sheet(features=lost)))
    assert "<svg" not in still
    assert "lost valve/lid" in still


# ------------------------------------------------------------ what is too much for one file


def test_more_features_than_one_page_can_hold_are_refused_with_what_to_do_instead() -> None:
    many = tuple(Feature("point", f"p{n}", "valve", None) for n in range(MOST_PLACES + 1))
    with pytest.raises(TooManyError) as caught:
        render_map(sample_sheet(features=many))
    assert str(caught.value) == (
        "the map of Invented Hollow would hold 20,001 places, and one HTML file holds 20,000 at most; draw one "
        "property at a time, or write a file for a mapping program (asbuilt export --all --out office.gpkg)"
    )


def test_photos_beyond_the_room_are_left_out_and_counted() -> None:
    one = f"data:image/jpeg;base64,{'A' * (MOST_PHOTO_BYTES // 3)}"
    photos = tuple(MapPhoto("septic tank", f"photo {n}", one) for n in range(5))
    plan = block_of(render_map(sample_sheet(photos=photos)))
    assert [photo["caption"] for photo in plan["photos"]] == ["photo 0", "photo 1"]
    assert plan["notes"] == ["3 photos are not on this map, to keep the file small; the record has them."]
    assert block_of(render_map(sample_sheet(photos=photos[:2])))["notes"] == []


@pytest.mark.parametrize(
    "address",
    [
        "https://example.org/lid.jpg",
        "data:text/html;base64,PHNjcmlwdD4=",
        "data:image/svg+xml;base64,PHN2Zz4=",
        "javascript:alert(1)",
        'data:image/png;base64,AAAA" onerror="x',
        "",
    ],
)
def test_a_photo_that_is_not_a_picture_inside_the_page_is_refused(address: str) -> None:
    with pytest.raises(ValueError, match="is not a JPEG, PNG or WebP as a data URI"):
        MapPhoto("septic tank/lid", "", address)


# ------------------------------------------------------------ nothing comes from the network


def test_the_only_address_in_the_frame_is_the_background_and_its_credit(document: str) -> None:
    frame = document.replace(ASSETS.joinpath("leaflet/leaflet.js").read_text().split("//# source")[0], "")
    found = set(re.findall(r"https?://[^\s\"'<>;)\\]+", frame))
    namespaces = {"http://www.w3.org/2000/svg"}
    assert found - namespaces == {STREETS.url, STREETS.credit_url, STREETS.host}
    assert "sourceMappingURL" not in document


def test_no_element_fetches_anything(document: str) -> None:
    for tag, attributes in Reader(document).tags:
        assert "src" not in attributes, tag
        if tag == "link":
            assert (attributes["href"] or "").startswith("data:")
    assert not re.findall(r"url\((?!data:)|@import", "".join(Reader(document).styles))


def test_the_policy_names_each_script_and_style_by_its_hash_and_nothing_else(document: str) -> None:
    reader = Reader(document)
    policy = next(a["content"] for tag, a in reader.tags if tag == "meta" and "http-equiv" in a) or ""
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))

    def names(texts: list[str]) -> set[str]:
        return {f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'" for text in texts}

    scripts = [text for attributes, text in reader.scripts if "type" not in attributes]
    assert len(scripts) == 3 + len(SCRIPTS)
    assert set(rules["script-src"].split()) == names(scripts)
    assert set(rules["style-src"].split()) == names(reader.styles)
    assert rules["default-src"] == "'none'"
    assert rules["img-src"] == "data: https://tile.openstreetmap.org"


def test_the_background_is_off_and_a_property_without_a_place_has_none() -> None:
    frame = webmap.make_frame(mapsymbols.GROUPS, STREETS)
    tiles = re.search(r"var (tile_layer_\w+) = L.tileLayer", frame.script)
    assert tiles is not None
    assert f"{tiles.group(1)}.addTo(" not in frame.script
    assert '"maxNativeZoom": 19' in frame.script
    for document in (render_map(sample_sheet(placed=False)), render_map(sample_sheet(), background=None)):
        assert "tileLayer(\n" not in document
        assert "openstreetmap" not in document
        assert "img-src data:;" in document


def test_a_library_that_is_not_packaged_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    links = [*mapframe.OfflineMap.default_js, ("extra", "https://cdn.example.org/extra.js")]
    monkeypatch.setattr(mapframe.OfflineMap, "default_js", links)
    with pytest.raises(FrameError) as caught:
        render_map(sample_sheet())
    message = "the map's frame asks for 'extra' (https://cdn.example.org/extra.js), which is not packaged with asbuilt"
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("url", "credit", "credit_url"),
    [
        ("http://tiles.example.org/{z}/{x}/{y}.png", "Us", "https://example.org"),
        ("https://tiles.example.org/{{7*7}}/{z}/{x}/{y}.png", "Us", "https://example.org"),
        ("https://tiles.example.org/{% raw %}/{z}/{x}/{y}.png", "Us", "https://example.org"),
        ("https://tiles.example.org/{z}/{x}.png", "Us", "https://example.org"),
        ("https://tiles.example.org/{z}/{x}/{y}.png';alert(1)", "Us", "https://example.org"),
        ("https://tiles.example.org/{z}/{x}/{y}.png", "{{ us }}", "https://example.org"),
        ("https://tiles.example.org/{z}/{x}/{y}.png", "<b>Us</b>", "https://example.org"),
        ("https://tiles.example.org/{z}/{x}/{y}.png", "Us", "javascript:alert(1)"),
    ],
)
def test_a_background_that_could_be_template_or_markup_is_refused(url: str, credit: str, credit_url: str) -> None:
    with pytest.raises(BackgroundError, match=r"^background "):
        Background(url, credit, credit_url)


def test_a_background_with_subdomains_is_allowed_by_the_policy_as_a_family() -> None:
    tiles = Background("https://{s}.tiles.example.org/{z}/{x}/{y}.png", "Example", "https://example.org/terms")
    assert "img-src data: https://*.tiles.example.org;" in render_map(sample_sheet(), background=tiles)


# ------------------------------------------------------------ same in, same out


def test_two_renders_are_the_same_to_the_byte_and_leave_chance_as_it_was(document: str) -> None:
    drawn = vars(branca.element)["urandom"]
    assert render_map(sample_sheet()) == document
    assert vars(branca.element)["urandom"] is drawn
    assert folium.FeatureGroup().get_name() != folium.FeatureGroup().get_name()


def test_steady_names_end_with_an_error_too() -> None:
    drawn = vars(branca.element)["urandom"]
    with pytest.raises(KeyError), mapframe.steady_ids():
        raise KeyError
    assert vars(branca.element)["urandom"] is drawn


def test_the_packaged_files_are_those_of_the_list_of_sums() -> None:
    lines = ASSETS.joinpath("SHA256SUMS").read_text().splitlines()
    sums = dict(reversed(line.split("  ")) for line in lines)
    assert set(sums) == {f"leaflet/{item.name}" for item in ASSETS.joinpath("leaflet").iterdir()}
    for name, expected in sums.items():
        assert sha256(ASSETS.joinpath(*name.split("/")).read_bytes()).hexdigest() == expected, name
    assert "Leaflet 1.9.4" in ASSETS.joinpath("leaflet/leaflet.js").read_text()[:200]


# ------------------------------------------------------------ what is drawn


def test_a_degree_has_the_published_length() -> None:
    """Lengths of a degree on WGS 84, km, as printed in handbook tables (from memory): 0, 45 and 60 degrees."""
    table = {0.0: (111.320, 110.574), 45.0: (78.847, 111.132), 60.0: (55.800, 111.412)}
    for latitude, (east_km, north_km) in table.items():
        east_m, north_m = webmap.metres_per_degree(latitude)
        assert east_m / 1000 == pytest.approx(east_km, abs=0.0006)
        assert north_m / 1000 == pytest.approx(north_km, abs=0.0006)


@pytest.mark.parametrize(
    ("kind", "group"),
    [
        ("septic tank", "sewer"),
        ("building sewer", "sewer"),
        ("pressure lateral", "sewer"),
        ("distribution box", "sewer"),
        ("Inspection ports", "sewer"),
        ("rain water drain", "sewer"),
        ("well", "water"),
        ("water line", "water"),
        ("electrical cable", "electric"),
        ("control panel", "electric"),
        ("alarm wire", "signal"),
        ("float cable", "signal"),
        ("propane line", "gas"),
        ("irrigation line", "reclaimed"),
        ("property line", "survey"),
        ("reserve area", "reserve"),
        ("buried treasure", "other"),
        ("", "other"),
    ],
)
def test_a_kind_takes_the_colour_of_its_utility(kind: str, group: str) -> None:
    assert mapsymbols.group_of(Feature("component", "x", kind, None)) == group


def test_the_colours_are_the_hues_of_the_uniform_colour_code() -> None:
    """APWA Uniform Color Code: green sewer, blue water, red electric, orange signal, yellow gas, purple, pink."""
    hues = {"sewer": 140, "water": 220, "electric": 355, "signal": 25, "gas": 48, "reclaimed": 278, "survey": 324}
    for group in mapsymbols.GROUPS:
        if group.key in hues:
            colour = group.fill if group.key == "gas" else group.colour
            red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
            hue, saturation, _ = rgb_to_hsv(red, green, blue)
            assert abs(hue * 360 - hues[group.key]) < 15, group.key
            assert saturation > 0.8, group.key


def test_no_two_layers_share_both_dash_and_fill() -> None:
    """On a black and white print the dashes alone must tell the lines apart."""
    lines = [g for g in mapsymbols.GROUPS if g.key not in ("building", "reference")]
    assert len({group.dash for group in lines}) == len(lines)


def test_colours_stand_out_on_the_ground_of_the_plan() -> None:
    """WCAG 2.1, 1.4.11: graphics need a contrast of 3 : 1; here 4 : 1 for use in the sun."""

    def luminance(colour: str) -> float:
        channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    ground = re.search(r"--ground: (#[0-9a-f]{6})", ASSETS.joinpath("map/plan.css").read_text())
    assert ground is not None
    for group in mapsymbols.GROUPS:
        contrast = (luminance(ground.group(1)) + 0.05) / (luminance(group.colour) + 0.05)
        assert contrast >= 4, (group.key, contrast)


@pytest.mark.parametrize(
    ("role", "name", "kind", "symbol"),
    [
        ("point", "septic tank/inlet lid", "septic tank", "lid"),
        ("point", "septic tank/NE corner", "septic tank", "spot"),
        ("point", "building sewer/two-way cleanout", "building sewer", "cleanout"),
        ("point", "lateral-2/turn-up", "lateral", "flush"),
        ("point", "lateral-2/far-end", "lateral", "spot"),
        ("point", "cleanout 1", "cleanout", "cleanout"),
        ("point", "building sewer/at cleanout", "building sewer", "spot"),
        ("point", "electrical cable/panel end", "electrical cable", "spot"),
        ("component", "panel", "control panel", "box"),
        ("point", "well", "well", "well"),
        ("reference", "well casing", "well", "mark"),
    ],
)
def test_a_point_takes_the_shape_of_what_it_is(role: str, name: str, kind: str, symbol: str) -> None:
    assert mapsymbols.symbol_of(Feature(role, name, kind, None)) == symbol


def test_what_was_taken_out_has_its_own_layer_with_its_points() -> None:
    tank = {"removed_on": "2011-06-10"}
    old = (
        Feature("component", "tank", "septic tank", None, tank),
        Feature("point", "tank/lid", "septic tank", None, {"component": "tank", "point": "lid"}),
    )
    groups = [f["group"] for f in block_of(render_map(sample_sheet(features=old)))["features"]]
    assert groups == ["gone", "gone"]
    new = Feature("component", "tank", "septic tank", None, {})
    groups = [f["group"] for f in block_of(render_map(sample_sheet(features=(*old, new))))["features"]]
    assert groups == ["gone", "sewer", "sewer"]


def test_geometries_of_every_sort_become_parts_in_longitude_latitude() -> None:
    ring = [(0.0, 1.0), (2.0, 1.0), (2.0, 3.0), (0.0, 1.0)]
    drawn = [
        Point(1, 2, 3),
        LineString([(0, 1), (2, 3)]),
        Polygon(ring),
        MultiPoint([(1, 2), (3, 4)]),
        Polygon(),
        None,
    ]
    features = tuple(Feature("component", str(i), "well", geometry) for i, geometry in enumerate(drawn))
    parts = [f["parts"] for f in block_of(render_map(sample_sheet(features=features)))["features"]]
    assert parts == [
        [{"type": "point", "at": [1.0, 2.0]}],
        [{"type": "line", "at": [[0.0, 1.0], [2.0, 3.0]]}],
        [{"type": "area", "at": [[list(corner) for corner in ring]]}],
        [{"type": "point", "at": [1.0, 2.0]}, {"type": "point", "at": [3.0, 4.0]}],
        [],
        [],
    ]


def test_a_sheet_with_nothing_on_it_still_makes_a_document() -> None:
    plan = block_of(render_map(MapSheet("", (), "m", (), placed=False, as_of="")))
    assert plan["features"] == []
    assert plan["groups"] == []
    assert plan["north_up"] is False


def test_an_azimuth_without_a_place_keeps_north_up() -> None:
    assert block_of(render_map(sample_sheet(placed=False, north_up=True)))["north_up"] is True


def test_dates_are_written_and_what_is_not_json_is_refused() -> None:
    def sheet(value: Any) -> MapSheet:
        return sample_sheet(features=(Feature("component", "x", "well", None, {"installed_on": value}),))

    plan = block_of(render_map(sheet(date(2011, 6, 14))))
    assert plan["features"][0]["attributes"]["installed_on"] == "2011-06-14"
    with pytest.raises(TypeError, match="is not a plain JSON value"):
        render_map(sheet(object()))
    with pytest.raises(ValueError, match="not JSON compliant"):
        render_map(sheet(float("nan")))


def test_units_are_those_of_the_property_sheet() -> None:
    with pytest.raises(ValueError, match=r"^units 'yd': one of ft-in, ft, m$"):
        sample_sheet(units="yd")


@pytest.mark.parametrize(
    "script", sorted(item.name for item in ASSETS.joinpath("map").iterdir() if item.name[-3:] == ".js")
)
def test_the_scripts_write_no_markup(script: str) -> None:
    """The one rule that keeps names from being run in the browser."""
    text = ASSETS.joinpath("map", script).read_text()
    code = re.sub(r"/\*.*?\*/|//[^\n]*", "", text, flags=re.DOTALL)
    assert '"use strict";' in text
    for word in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "Function(", "setHTML"):
        assert word not in code
    assert "bindTooltip" not in code
    assert "bindPopup" not in code


def test_every_packaged_script_and_style_is_on_one_of_the_maps() -> None:
    used = {*SCRIPTS, *pinmap.SCRIPTS, "first.js", "plan.css", "pins.css"}
    assert {item.name for item in ASSETS.joinpath("map").iterdir()} == used


def test_what_somebody_would_build_has_a_layer_of_its_own() -> None:
    shed = Feature("proposed", "shed", "shed", Polygon([at(*xy) for xy in ((14, -12), (18, -12), (18, -9))]))
    plan = block_of(render_map(sample_sheet(features=(*sample_features(), shed))))
    assert plan["features"][-1]["group"] == "proposed"
    group = next(group for group in plan["groups"] if group["key"] == "proposed")
    assert (group["title"], bool(group["dash"])) == ("Proposed, not built", True)

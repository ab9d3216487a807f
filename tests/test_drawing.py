"""The record drawing: true to scale on paper, every text in a place of its own, whatever the record holds."""

import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from asbuilt.checks.item import Outcome
from asbuilt.jobs.backfill_check import check_before_backfill
from asbuilt.jobs.drawing import record_drawing
from asbuilt.jobs.locate import Located, locate
from asbuilt.jobs.properties import located
from asbuilt.model.components import Component, Point, split_name
from asbuilt.model.measurements import KnownCoordinate, Tie, Wall, parse_side
from asbuilt.model.place import Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.drawing.scale import PAPERS_MM, ScaleError, metric_scale, us_scale
from asbuilt.output.drawing.scene import build_scene, reading_words
from asbuilt.output.drawing.tables import CHECKS_IN_WORDS, check_tables
from asbuilt.output.drawing.views import Drawing, choose_views, drawing_pdf, make_drawing
from asbuilt.output.drawing.words import Subject
from asbuilt.record.profiles import built_in, profile_of
from asbuilt.units import FOOT_M, Length, parse_length
from tests.commands import SAMPLE_NAME
from tests.drawing_reader import MM, marks, overlapping, plan_frame, printed, rings_with_a_dot, straight_runs, texts
from tests.hostile import BROKEN, CODE, CONTROLS, FORMULAS, LINES, LONG, MARKUP
from tests.synthetic import make_property

DAY = date(2017, 7, 1)
WITHIN_MM = 0.3  # a fine pencil line on a print

SMALL, LARGE = ("us-letter", "a4"), ("tabloid", "a3")
PRINTED_PAPERS = [*SMALL, *(pytest.param(paper, marks=pytest.mark.slow) for paper in LARGE)]
"""Papers that are printed and searched for ink; the large ones take seconds."""


@pytest.fixture(scope="module")
def found(sample_record: Path) -> Located:
    return located(sample_record, SAMPLE_NAME)


_DRAWN: dict[tuple[int, str, str | None, date], tuple[Located, Drawing]] = {}
_PRINTED: dict[int, tuple[Drawing, bytes]] = {}


def drawn(known: Located, paper: str = "us-letter", scale: str | None = None, today: date = DAY) -> Drawing:
    """Draw with the check before backfill; the same drawing is made once."""
    key = (id(known), paper, scale, today)
    if key not in _DRAWN:
        _DRAWN[key] = (known, record_drawing(known, today, paper=paper, scale=scale))
    return _DRAWN[key][1]


def pdf_of(drawing: Drawing, paper: str) -> bytes:
    """Set a drawing once."""
    if id(drawing) not in _PRINTED:
        _PRINTED[id(drawing)] = (drawing, drawing_pdf(drawing, paper))
    return _PRINTED[id(drawing)][1]


def bare(known: Located, paper: str) -> Drawing:
    """Draw without the check before backfill: only the plan counts."""
    subject = Subject(known.record, known.solution, known.placement, known.findings, DAY, built_in("common"))
    return make_drawing(subject, paper)


def pdf_text(made: bytes, *more: str) -> str:
    done = subprocess.run(["pdftotext", *more, "-", "-"], input=made, capture_output=True, check=True)
    return done.stdout.decode()


def unspaced(text: str) -> str:
    return "".join(text.replace("\u200b", "").split())


def ground_mm(known: Located, a: str, b: str, ratio: float) -> float:
    """How far apart two names must be on paper, by the survey alone."""
    places = [known.solution.position(name).place for name in (a, b)]
    assert places[0] is not None
    assert places[1] is not None
    return float(np.hypot(*(places[0] - places[1]))) * 1000 / ratio


def on_the_plan(pdf: bytes) -> list[tuple[float, ...]]:
    """Find the inspection ports of the plan in the ink; the one in the legend, in the lowest 74 mm, is left out."""
    ink = printed(pdf)
    return [place for place in rings_with_a_dot(ink) if place[1] < len(ink) * MM - 74]


# ------------------------------------------------------------ true to scale


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_points_are_as_far_apart_in_the_svg_as_scale_times_ground_distance_says(found: Located, paper: str) -> None:
    for sheet in drawn(found, paper).sheets:
        places = marks(sheet.svg)
        assert len(places) >= 8
        for a, b in combinations(places, 2):
            apart = np.hypot(*np.subtract(places[a], places[b]))
            assert apart == pytest.approx(ground_mm(found, a, b, sheet.scale.ratio), abs=0.01)


@pytest.mark.parametrize("paper", PRINTED_PAPERS)
def test_two_inspection_ports_are_as_far_apart_on_the_printed_page_as_the_scale_says(
    found: Located, paper: str
) -> None:
    """Found in the ink of a page printed at 200 dpi, without looking at the SVG."""
    drawing = drawn(found, paper)
    first, second = on_the_plan(pdf_of(drawing, paper))
    apart = float(np.hypot(first[0] - second[0], first[1] - second[1]))
    expected = ground_mm(found, "inspection port 1/cap", "inspection port 2/cap", drawing.scale.ratio)
    assert drawing.scale.name == "1 in = 20 ft"
    assert apart == pytest.approx(expected, abs=WITHIN_MM)


def test_a_metric_property_is_true_to_scale_on_the_printed_page() -> None:
    drawing = bare(two_ports("m"), "a4")
    first, second = on_the_plan(pdf_of(drawing, "a4"))
    assert drawing.scale.name == "1:100"
    assert np.hypot(first[0] - second[0], first[1] - second[1]) == pytest.approx(80.0, abs=WITHIN_MM)  # 8 m


@pytest.mark.parametrize(("units", "length"), [("ft-in", 127.0), ("m", 120.0)])
@pytest.mark.parametrize("paper", PRINTED_PAPERS)
def test_the_ruler_is_exactly_as_long_as_it_says(paper: str, units: str, length: float) -> None:
    drawing = bare(two_ports(units), paper)
    words = {"ft-in": "This bar is exactly 5 in long", "m": "This bar is exactly 12 cm long"}[units]
    assert any(each.words.startswith(words) for each in texts(drawing.sheets[0].svg))
    bars = straight_runs(printed(pdf_of(drawing, paper)), length - 2, length + 2)
    assert bars
    assert min(bars) == pytest.approx(length, abs=0.2)


@pytest.mark.parametrize(("paper", "size"), [(paper, size) for paper, size in PAPERS_MM.items()])
def test_each_page_has_the_size_of_its_paper(found: Located, paper: str, size: tuple[float, float]) -> None:
    made = pdf_of(drawn(found, paper), paper)
    done = subprocess.run(["pdfinfo", "-f", "1", "-l", "99", "-"], input=made, capture_output=True, check=True)
    sizes = [
        line.split()[3:6:2] for line in done.stdout.decode().splitlines() if line.startswith("Page ") and "size" in line
    ]
    assert len(sizes) > 3
    for width, height in sizes:
        points = sorted((float(width), float(height)))
        assert points == pytest.approx([each / 25.4 * 72 for each in sorted(size)], abs=0.1)


def two_ports(units: str) -> Located:
    """Make a property of two ports 8 m apart, taped without error from the ends of a wall of 10 m."""
    corners = {"A": (0.0, 0.0), "B": (10.0, 0.0)}
    ports = {"port 1/cap": (1.0, 6.0), "port 2/cap": (9.0, 6.0)}

    def length(metres: float) -> Length:
        return parse_length(f"{metres:.4f} m" if units == "m" else f"{metres / FOOT_M:.4f} ft")

    ties = tuple(
        Tie(a, name, length(float(np.hypot(*np.subtract(xy, place)))), parse_side("left of A > B"), "level")
        for name, xy in ports.items()
        for a, place in corners.items()
    )
    return locate(
        PropertyRecord(
            Property("Two ports", units),
            tuple(ReferencePoint(name) for name in corners),
            walls=(Wall("A", "B", length(10.0), "?", None),),
            points=tuple(Point(*split_name(name)) for name in ports),
            ties=ties,
            components=tuple(Component(name.split("/")[0], "inspection port") for name in ports),
        )
    )


# ------------------------------------------------------------ choosing the scale


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_the_scale_is_the_largest_standard_one_at_which_house_and_system_fit(found: Located, paper: str) -> None:
    scene = build_scene(found.record, found.solution, found.placement, DAY)
    view = choose_views(scene, paper, "ft-in")[0]
    assert view.window.scale == us_scale(20)
    with pytest.raises(ScaleError, match=f"at 1 in = 10 ft house and system do not fit {paper}; the largest"):
        choose_views(scene, paper, "ft-in", us_scale(10))


def test_what_is_far_off_goes_to_a_second_plan_at_a_smaller_scale(found: Located) -> None:
    plan, site = drawn(found, "us-letter").sheets
    assert plan.outside == ("well",)
    assert site.outside == ()
    assert site.scale.ratio > plan.scale.ratio
    assert "well/casing" in marks(site.svg)
    assert "well/casing" not in marks(plan.svg)
    assert "to well" in {each.words for each in texts(plan.svg)}
    assert "septic tank/inlet lid" in marks(plan.svg)


def test_where_all_fits_at_the_same_scale_there_is_one_plan(found: Located) -> None:
    (plan,) = drawn(found, "a3").sheets
    assert plan.outside == ()
    assert {"well/casing", "septic tank/inlet lid", "property line/NW pin"} <= set(marks(plan.svg))


def test_a_smaller_scale_may_be_asked_for_in_feet_or_metric(found: Located) -> None:
    assert drawn(found, "a4", "1 in = 60 ft").scale == us_scale(60)
    (plan,) = drawn(found, "a3", "1:500").sheets
    assert plan.scale == metric_scale(500)


# ------------------------------------------------------------ every text in its own place


def crowding(known: Located, paper: str) -> None:
    for sheet in bare(known, paper).sheets:
        said = texts(sheet.svg)
        assert overlapping(said) == []
        left, top, right, bottom = plan_frame(sheet.svg)
        for each in said:
            if each.label:
                assert left <= each.box[0] <= each.box[2] <= right
                assert top <= each.box[1] <= each.box[3] <= bottom
        assert sheet.unnamed == ()


def random_property(number: int) -> Located:
    rng = np.random.default_rng(1000 + number)
    most = (60, 60) if number % 5 == 0 else (5, 40)
    return locate(make_property(rng, points=most).record)


@pytest.mark.parametrize("paper", PAPERS_MM)
@pytest.mark.parametrize("number", [1, 2])
def test_no_two_texts_overlap_and_none_leaves_the_frame(number: int, paper: str) -> None:
    crowding(random_property(number), paper)


def test_sixty_points_on_the_smallest_paper_all_have_their_numbers() -> None:
    known = random_property(5)
    assert len(known.solution.points) == 60
    crowding(known, "us-letter")


@pytest.mark.slow
@pytest.mark.parametrize("number", range(50))
def test_no_two_texts_overlap_on_fifty_random_properties_at_four_sizes(number: int) -> None:
    known = random_property(number)
    for paper in PAPERS_MM:
        crowding(known, paper)


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_no_two_words_overlap_in_the_pdf(found: Located, paper: str) -> None:
    """By poppler's boxes of words, of all pages."""
    pages = pdf_text(pdf_of(drawn(found, paper), paper), "-bbox").split("<page ")[1:]
    assert len(pages) > 3
    for page in pages:
        rows = re.findall(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">', page)
        boxes = np.array(rows, dtype=float) + np.array([0.1, 0.1, -0.1, -0.1])  # neighbours in a line touch
        low = np.maximum(boxes[:, None, :2], boxes[None, :, :2])
        high = np.minimum(boxes[:, None, 2:], boxes[None, :, 2:])
        assert ((low < high).all(axis=2).sum() - len(boxes)) == 0


# ------------------------------------------------------------ what stands on it


def test_the_sample_drawing_holds_what_a_record_drawing_must_hold(found: Located) -> None:
    """Checklist: WAC 246-272A-0265(1) to (4); Carver County MN (north, bench mark); Lawrence County SD (ties)."""
    said = unspaced(pdf_text(pdf_of(drawn(found), "us-letter")))
    for words in (
        "Record drawing",
        "Fernbank Lane 14",
        "(invented place)",
        "OSS-2017-014 (invented)",
        "Scale 1 in = 20 ft (1:240) on US Letter",
        "Measured by T. Sample, installer (invented); on 2017-06-14",
        "Benchmark: NE corner = 100.00 ft, datum assumed.",
        "True north by a wall's bearing",
        "33' 7\"",  # a tape as measured
        "48' 3\"",  # a wall
        "98.17 ft top",  # an elevation
        '3" below grade to top',
        "septic tank 9' 6\" x 5' 2\"",
        "9' 6\" x 5' 2\" x 5' 6\", 1,250 gal",
        "height of the jet at the end of a lateral",
        "Design and deviations",
        "Check before backfill: Setbacks",
        "WAC 246-272A-0265",
        "at most 0.5 ft",
        "Names and signatures",
        "Certified by",
        "not a release to backfill: the authority decides",
        "this is not a boundary survey",
        "Never enter a tank",
        "Within: 19 times in 20",
    ):
        assert unspaced(words) in said, words


def test_the_title_is_the_local_one_of_the_rule_profile(found: Located) -> None:
    profile = replace(profile_of(found.record), names={"record_drawing": "As-installed plan"})
    subject = Subject(found.record, found.solution, found.placement, (), DAY, profile)
    assert "As-installed plan" in {each.words for each in texts(make_drawing(subject, "a4").sheets[0].svg)}


def test_a_tape_that_is_drawn_bears_its_reading_and_every_tape_stands_in_the_table(found: Located) -> None:
    drawing = drawn(found, "tabloid")
    sheet = drawing.sheets[0]
    readings = [each.words for each in texts(sheet.svg) if each.label and ": " in each.words]
    assert len(readings) == sheet.ties == sheet.svg.count('<g class="tie">')
    assert "1: 33' 7\"" in readings
    rows = {table.title: table.rows for table in drawing.tables}
    said = " ".join(row[2] for row in rows["Points"])
    walls = {row[:3] for row in rows["Walls and reference points as measured"]}
    for tie in found.record.ties:
        length = reading_words(tie.distance, "ft-in")
        assert (tie.from_, tie.to, length) in walls or any(f"{end} {length}" in said for end in (tie.from_, tie.to))
    assert (
        "NE corner 25' 11 1/2\"; inside corner 41' 8\"; wing corner 33' 7\"; SE corner 52' 0\" (each slope, drop"
        in said
    )


def test_few_tapes_are_all_drawn() -> None:
    known = two_ports("ft-in")
    sheet = bare(known, "us-letter").sheets[0]
    assert sheet.ties == 4


def test_a_property_without_north_says_so_in_place_of_the_arrow() -> None:
    said = " ".join(each.words for each in texts(bare(two_ports("m"), "a4").sheets[0].svg))
    assert "NOT PLACED TO NORTH" in said
    assert " N " not in said


def test_a_property_without_levels_says_so() -> None:
    said = " ".join(each.words for each in texts(bare(two_ports("m"), "a4").sheets[0].svg))
    assert "No levels: depths are below finished grade." in said


def test_a_property_of_which_nothing_is_located_still_gets_its_drawing(found: Located) -> None:
    record = replace(found.record, walls=(), ties=(), offsets=(), known_coordinates=())
    record = replace(record, property=replace(record.property, earth=None))
    drawing = bare(locate(record), "us-letter")
    assert "NOTHING IS LOCATED" in " ".join(each.words for each in texts(drawing.sheets[0].svg))
    assert "septic tank/inlet lid" in pdf_text(pdf_of(drawing, "us-letter"))


def test_north_is_up_where_coordinates_alone_tell_it(found: Located) -> None:
    """With two known coordinates and no bearing the plan is turned so that north is up, as with the bearing."""
    placed = found.placement
    assert placed is not None
    names = ("SW corner", "NE corner")
    known = [KnownCoordinate(n, placed.coordinates[n][1], placed.coordinates[n][0], 0.02) for n in names]
    record = replace(found.record, known_coordinates=tuple(known), property=replace(found.record.property, earth=None))
    turned, straight = bare(locate(record), "a3").sheets[0], bare(found, "a3").sheets[0]
    a, b = (np.array(list(marks(sheet.svg).values())) for sheet in (turned, straight))
    assert (a - a.mean(axis=0)) == pytest.approx(b - b.mean(axis=0), abs=0.2)
    assert "True north by known coordinates" in " ".join(each.words for each in texts(turned.svg))


def test_what_was_abandoned_in_place_is_drawn_and_what_was_taken_out_is_not(found: Located) -> None:
    def with_status(**changes: Any) -> str:
        components = tuple(replace(c, **changes) if c.name == "reserve area" else c for c in found.record.components)
        return bare(replace(found, record=replace(found.record, components=components)), "a4").sheets[0].svg

    assert 'data-name="reserve area"' in with_status(status="abandoned in place", removed_on=date(2017, 6, 1))
    assert "Abandoned in place" in with_status(status="abandoned in place")
    assert 'data-name="reserve area"' not in with_status(removed_on=date(2017, 6, 1))


def test_a_box_whose_direction_was_not_measured_is_drawn_with_a_broken_line(found: Located) -> None:
    legend = {each.words for each in texts(bare(found, "a4").sheets[0].svg)}
    assert "Box, direction not known" in legend  # the pump tank has one lid


def test_readings_are_those_of_the_first_day_and_gone_marks_are_called_gone(found: Located) -> None:
    later = " ".join(each.words for each in texts(drawn(found, "a3", today=date(2026, 1, 1)).sheets[0].svg))
    assert "oak post (gone)" in later
    table = next(each for each in drawn(found, today=date(2026, 1, 1)).tables if each.title.startswith("Tests"))
    assert {row[0] for row in table.rows if row[2].startswith("height of the jet at the end")} == {"2017-06-28"}


def test_what_is_done_is_counted_and_all_else_and_every_setback_is_listed(found: Located) -> None:
    """All 125 lines that were done filled most of the sample's twelve pages."""
    items = check_before_backfill(found, DAY)
    counted, *listed = check_tables(items)
    rows = [row for table in listed if table.title.startswith("Check") for row in table.rows]
    expected = [each for each in items if each.outcome is not Outcome.DONE or each.group == "setbacks"]
    assert len(rows) == len(expected)
    for each in expected:
        assert [row for row in rows if row[0] == each.outcome and row[1].startswith(each.words)]
    assert sum(int(number) for row in counted.rows for number in row[1:]) == len(items)
    assert {row[0]: int(row[4]) for row in counted.rows} == {
        CHECKS_IN_WORDS[part]: sum(each.group == part and each.outcome is Outcome.DONE for each in items)
        for part in {each.group for each in items}
    }
    cited = {source for each in expected if (source := each.source)}
    assert {row[1] for row in listed[-1].rows} == cited


def test_the_check_is_called_not_run_where_it_was_not_run() -> None:
    (table,) = check_tables(None)
    assert table.note == "It was not run."


# ------------------------------------------------------------ the same each time, in the packaged face


def test_the_same_record_gives_the_same_drawing(found: Located) -> None:
    one, two = drawn(found), record_drawing(found, DAY)
    assert [each.svg for each in one.sheets] == [each.svg for each in two.sheets]
    assert drawing_pdf(one, "us-letter") == drawing_pdf(two, "us-letter")


def test_only_the_packaged_face_is_in_the_file(found: Located) -> None:
    done = subprocess.run(["pdffonts", "-"], input=pdf_of(drawn(found), "us-letter"), capture_output=True, check=True)
    names = {line.split()[0].partition("+")[2] for line in done.stdout.decode().splitlines()[2:]}
    assert names == {"DejaVuSans", "DejaVuSans-Bold"}


def test_it_is_black_on_white(found: Located) -> None:
    for sheet in drawn(found).sheets:
        assert set(re.findall(r"#[0-9a-fA-F]{3,8}\b", re.sub(r">[^<]*<", "><", sheet.svg))) == {"#000", "#fff"}


# ------------------------------------------------------------ hostile and very long words


def renamed(record: PropertyRecord, words: Callable[[int], str]) -> PropertyRecord:
    """Put texts into everything that is described in free words, and nothing that others refer to."""
    place = record.property
    texts_of = iter(range(10_000))

    def w() -> str:
        return words(next(texts_of))

    return replace(
        record,
        property=replace(
            place,
            name=w(),
            address=w(),
            parcel=w(),
            permit=w(),
            authority=w(),
            owner=w(),
            measured=replace(place.measured, by=w()),
            drawing=replace(place.drawing, installer=w(), designer=w(), design=w(), deviations=w(), notes=w()),
            inspection=replace(place.inspection, by=w(), note=w()),
        ),
        points=tuple(replace(each, description=w(), mark=w(), size=w()) for each in record.points),
        components=tuple(replace(each, note=w(), material=w(), marker=w()) for each in record.components),
        reference_points=tuple(replace(each, description=w(), kind=w()) for each in record.reference_points),
        readings=tuple(replace(each, note=w(), by=w()) for each in record.readings),
    )


def test_hostile_words_print_as_they_stand(found: Located) -> None:
    words = (*MARKUP, *CODE, *FORMULAS)
    record = renamed(found.record, lambda k: words[k % len(words)])
    known = replace(found, record=record)
    said = unspaced(pdf_text(pdf_of(bare(known, "us-letter"), "us-letter")))
    for each in words:
        assert unspaced(each).replace("\uff1d", "") in said.replace("\uff1d", ""), each


@pytest.mark.parametrize("more", [CONTROLS, LINES, BROKEN, LONG])
def test_broken_and_very_long_words_still_print(found: Located, more: tuple[str, ...]) -> None:
    record = renamed(found.record, lambda k: more[k % len(more)])
    drawing = bare(replace(found, record=record), "us-letter")
    assert b"%PDF" in pdf_of(drawing, "us-letter")[:8]
    for sheet in drawing.sheets:
        assert overlapping(texts(sheet.svg)) == []


@pytest.mark.parametrize(
    "name", ["<script>alert(1)</script>", "&amp;" * 40, "#panic", "a" * 200, "\u05e9\u05dc", "x\x00y", "]]>"]
)
def test_names_of_components_and_points_may_be_anything(found: Located, name: str) -> None:
    """Names that ties refer to: every mention is renamed alike."""
    old = "septic tank"
    record = replace(
        found.record,
        components=tuple(replace(c, name=name) if c.name == old else c for c in found.record.components),
        points=tuple(replace(p, component=name) if p.component == old else p for p in found.record.points),
        ties=tuple(
            replace(t, from_=t.from_.replace(f"{old}/", f"{name}/"), to=t.to.replace(f"{old}/", f"{name}/"))
            for t in found.record.ties
        ),
    )
    solution = found.solution
    points = tuple(
        replace(p, name=p.name.replace(f"{old}/", f"{name}/"), component=name) if p.component == old else p
        for p in solution.points
    )
    drawing = bare(replace(found, record=record, solution=replace(solution, points=points)), "us-letter")
    for sheet in drawing.sheets:
        assert overlapping(texts(sheet.svg)) == []
    said = unspaced(pdf_text(pdf_of(drawing, "us-letter")))
    plain = name.replace("\x00", "\N{REPLACEMENT CHARACTER}")
    assert plain in said or plain[::-1] in said  # poppler turns a right-to-left word round

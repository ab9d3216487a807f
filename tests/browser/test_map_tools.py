"""The tools of the map in a real browser: measuring, one's own position, layers, search, photos, paper, no script."""

import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from axe import violations
from conftest import SIZES, Opener, Watched
from playwright.sync_api import Browser
from pyproj import Geod
from shapely.geometry import Polygon
from test_webmap import MARKS, at, measured, sample_features, sample_sheet

from asbuilt.output.features import Feature
from asbuilt.output.map.webmap import render_map

WIDTHS = sorted(SIZES)
LID = "septic tank/inlet lid"
LID_AT = at(15.5, -6.1)
GEOD = Geod(ellps="WGS84")


@pytest.fixture(scope="module")
def document() -> str:
    return render_map(sample_sheet())


def tool(watched: Watched, name: str) -> Any:
    return watched.page.locator("#tools").get_by_role("button", name=name)


def press(watched: Watched, item: Any) -> None:
    item.tap() if watched.page.viewport_size["width"] < 800 else item.click()  # type: ignore[index]


def said(watched: Watched) -> str:
    return str(watched.page.locator("#says").inner_text())


def place_of(watched: Watched, name: str) -> tuple[float, float]:
    """Give where a point is on the screen, by the page's own projection."""
    x, y = watched.page.evaluate(
        """name => { const place = asbuilt.toLatLng(asbuilt.parts.named(name).parts[0].at);
        const p = asbuilt.map.latLngToContainerPoint(place);
        const box = asbuilt.map.getContainer().getBoundingClientRect(); return [box.left + p.x, box.top + p.y]; }""",
        name,
    )
    return float(x), float(y)


def tap(watched: Watched, x: float, y: float) -> None:
    if watched.page.viewport_size["width"] < 800:  # type: ignore[index]
        watched.page.touchscreen.tap(x, y)
    else:
        watched.page.mouse.click(x, y)


def metres_of(words: str) -> float:
    """Read feet, inches and halves by this file's own arithmetic."""
    found = re.search(r"(?:(\d+)' )?(?:(\d+))?(?: ?(1/2))?\"", words)
    assert found is not None, words
    feet, inches, half = found.groups()
    return (int(feet or 0) * 12 + int(inches or 0) + (0.5 if half else 0)) * 0.0254


# ------------------------------------------------------------ measuring


@pytest.mark.parametrize("width", WIDTHS)
def test_two_taps_near_points_give_their_distance_on_the_ellipsoid_to_the_half_inch(
    opened: Opener, document: str, width: int
) -> None:
    """Against pyproj's distance between the two places."""
    watched = opened(document, width)
    press(watched, tool(watched, "Measure"))
    assert said(watched).startswith("Tap two places.")
    x, y = place_of(watched, "D")
    tap(watched, x + 5, y - 5)
    assert said(watched).startswith("From D")
    tap(watched, *place_of(watched, "pin 2"))
    _, _, truth = GEOD.inv(*at(*MARKS["D"]), *at(34, 22))
    assert metres_of(said(watched)) == pytest.approx(truth, abs=0.0064)
    assert "D to pin 2, level" in said(watched)
    assert watched.page.locator(".label.tape").inner_text() == said(watched).split("\n")[0]
    press(watched, watched.page.locator("#says").get_by_role("button", name="Stop"))
    assert said(watched) == ""
    assert watched.page.locator(".label.tape").count() == 0
    press(watched, watched.page.locator('[aria-label="well"]'))
    assert watched.page.locator("#card h2").inner_text() == "well"  # a tap opens a card again
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_tap_in_the_open_counts_as_the_place_itself_and_a_third_begins_anew(
    opened: Opener, document: str, width: int
) -> None:
    watched = opened(document, width)
    press(watched, tool(watched, "Measure"))
    watched.page.evaluate("asbuilt.map.setView([45.0, -30.0], 20, {animate: false})")
    watched.page.locator("#says").wait_for()
    box = watched.page.locator("#plan").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2 + 50
    places = watched.page.evaluate(
        """([x, y]) => [[x, y], [x + 120, y + 30]].map(([px, py]) => {
        const box = asbuilt.map.getContainer().getBoundingClientRect();
        const p = asbuilt.map.containerPointToLatLng([px - box.left, py - box.top]); return [p.lng, p.lat]; })""",
        [x, y],
    )
    tap(watched, x, y)
    tap(watched, x + 120, y + 30)
    _, _, truth = GEOD.inv(*places[0], *places[1])
    assert metres_of(said(watched)) == pytest.approx(truth, abs=0.0254)
    assert "as near as a finger can point" in said(watched)
    tap(watched, x, y)
    assert said(watched).startswith("From the place you tapped")
    watched.page.keyboard.press("Escape")
    assert said(watched) == ""
    watched.ran_clean()


def test_a_keyboard_measures_from_point_to_point_and_from_the_list(opened: Opener, document: str) -> None:
    watched = opened(document, 1280)
    page = watched.page
    tool(watched, "Measure").focus()
    page.keyboard.press("Enter")
    page.locator('.leaflet-marker-icon[aria-label="A"]').focus()
    page.keyboard.press("Enter")
    page.locator("#panel button.open", has_text=LID).first.focus()
    page.keyboard.press("Enter")
    _, _, truth = GEOD.inv(*at(0, 0), *LID_AT)
    assert metres_of(said(watched)) == pytest.approx(truth, abs=0.0064)
    assert f"A to {LID}" in said(watched)
    watched.ran_clean()


@pytest.mark.parametrize(("units", "ending", "unit_m"), [("m", " m", 1.0), ("ft", " ft", 0.3048)])
def test_distances_are_in_the_propertys_own_units(opened: Opener, units: str, ending: str, unit_m: float) -> None:
    watched = opened(render_map(sample_sheet(units=units)), 1280)
    tool(watched, "Measure").click()
    for mark in "AC":
        tap(watched, *place_of(watched, mark))
    _, _, truth = GEOD.inv(*at(0, 0), *at(*MARKS["C"]))
    words = said(watched).split("\n")[0]
    assert words.endswith(ending)
    assert float(words.removesuffix(ending)) * unit_m == pytest.approx(truth, abs=0.006)


# ------------------------------------------------------------ my position


def locate(watched: Watched, longitude: float, latitude: float, accuracy: float) -> None:
    watched.page.context.grant_permissions(["geolocation"])
    watched.page.context.set_geolocation({"longitude": longitude, "latitude": latitude, "accuracy": accuracy})


def wait_for_words(watched: Watched, words: str) -> None:
    watched.page.wait_for_function("words => document.getElementById('says').innerText.includes(words)", arg=words)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(
    ("azimuth", "metres", "words"),
    [(200.0, 40.0, "131 ft north (20°)"), (227.0, 30.0, "98 ft north-east (47°)"), (70.0, 25.0, "82 ft west (250°)")],
)
def test_my_position_gives_distance_and_direction_to_the_chosen_lid(
    opened: Opener, document: str, azimuth: float, metres: float, words: str, width: int
) -> None:
    """The place to stand is laid out from the lid by pyproj: so far, in that direction."""
    watched = opened(document, width)
    locate(watched, *GEOD.fwd(*LID_AT, azimuth, metres)[:2], 5)
    press(watched, tool(watched, "Where am I"))
    wait_for_words(watched, "Choose a lid")
    assert "good to 17 ft, 19 times in 20" in said(watched)
    press(watched, watched.page.locator("#panel button.open", has_text=LID).first)
    wait_for_words(watched, words)
    assert said(watched).startswith(f"{LID}: {words}")
    watched.ran_clean()


def test_the_circle_round_me_is_as_large_as_the_browser_says(opened: Opener, document: str) -> None:
    watched = opened(document, 1280)
    locate(watched, *at(5, -15), 12)
    tool(watched, "Where am I").click()
    wait_for_words(watched, "blue dot")
    south, north, west, east = watched.page.evaluate(
        """() => { let box; asbuilt.map.eachLayer(l => { if (l.options.className === 'me-ring') box = l.getBounds(); });
        return [box.getSouth(), box.getNorth(), box.getWest(), box.getEast()]; }"""
    )
    assert GEOD.inv(-30, south, -30, north)[2] == pytest.approx(24, abs=0.01)
    assert GEOD.inv(west, 45, east, 45)[2] == pytest.approx(24, abs=0.01)
    assert watched.page.locator("path.me").is_visible()
    assert watched.page.locator("path.me-ring").is_visible()


@pytest.mark.parametrize("width", WIDTHS)
def test_under_15_feet_the_tapes_take_over(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    press(watched, watched.page.locator("#panel button.open", has_text=LID).first)
    locate(watched, *GEOD.fwd(*LID_AT, 90, 4.7)[:2], 3)
    press(watched, tool(watched, "Where am I"))
    wait_for_words(watched, "15 ft west (270°)")
    assert "the direction may be wrong: use the tapes" in said(watched)
    locate(watched, *GEOD.fwd(*LID_AT, 90, 4.4)[:2], 3)
    wait_for_words(watched, "closer than 15 ft. Use the tapes.")
    assert "270°" not in said(watched)
    press(watched, tool(watched, "Where am I"))
    assert said(watched) == ""
    assert watched.page.locator("path.me").count() == 0
    watched.ran_clean()


def test_far_away_the_plan_stays_on_the_property_and_the_distance_is_in_miles(opened: Opener, document: str) -> None:
    watched = opened(document, 390)
    before = watched.page.evaluate("asbuilt.map.getZoom()")
    locate(watched, *GEOD.fwd(*LID_AT, 0, 16093.44)[:2], 10)
    tool(watched, "Where am I").tap()
    watched.page.locator("#panel button.open", has_text=LID).first.tap()
    wait_for_words(watched, "10.0 miles south (180°)")
    assert watched.page.evaluate("asbuilt.map.getZoom()") >= before


def test_a_browser_that_gives_no_position_is_said_in_words(opened: Opener, document: str) -> None:
    watched = opened(document, 390)
    tool(watched, "Where am I").tap()  # no permission was given
    wait_for_words(watched, "The browser was not allowed to give your position.")
    assert "open the file in the browser itself" in said(watched)
    watched.page.evaluate("Object.defineProperty(navigator, 'geolocation', {value: undefined})")
    tool(watched, "Where am I").tap()
    tool(watched, "Where am I").tap()
    assert said(watched).startswith("This browser gives no position.")
    watched.ran_clean()


def test_a_property_without_a_place_cannot_tell_where_one_stands(opened: Opener) -> None:
    watched = opened(render_map(sample_sheet(placed=False)), 390)
    locate(watched, 0, 0, 5)
    tool(watched, "Where am I").tap()
    wait_for_words(watched, "This property has no place on the earth.")


# ------------------------------------------------------------ tapes, ellipse, photos, what is proposed


@pytest.mark.parametrize("width", WIDTHS)
def test_the_two_best_tapes_are_drawn_and_said_with_the_third_as_check(
    opened: Opener, document: str, width: int
) -> None:
    watched = opened(document, width)
    press(watched, watched.page.locator("#panel button.open", has_text=LID).first)
    assert watched.page.locator("#card .ways li").all_inner_texts() == ["54' 8\" from A", "23' 1\" from B"]
    assert "To check: 44' 6\" from C" in watched.page.locator("#card").inner_text()
    assert sorted(watched.page.locator(".label.tape:visible").all_inner_texts()) == ["23' 1\"", "54' 8\""]
    ends = watched.page.evaluate(
        """() => { const ends = [];
        asbuilt.map.eachLayer(l => { if (l.options.color === '#111' && l.options.weight === 3)
        ends.push(l.getLatLngs().map(p => [p.lng, p.lat])); }); return ends; }"""
    )
    assert sorted(round(GEOD.inv(*a, *b)[2] / 0.0254) for a, b in ends) == [23 * 12 + 1, 54 * 12 + 8]
    watched.ran_clean()


def test_an_offset_is_drawn_along_the_wall_and_square_out(opened: Opener, document: str) -> None:
    watched = opened(document, 1280)
    watched.page.evaluate("asbuilt.choose(asbuilt.parts.named('building sewer/bend'), null)")
    words = watched.page.locator(".label.tape").all_inner_texts()
    assert words == ["4' 7\" along", "4' 7\" out"]
    assert "4' 7\" along B > C, 4' 7\" out" in watched.page.locator("#card").inner_text()
    watched.ran_clean()


def test_the_ellipse_has_its_axes_and_its_direction(opened: Opener, document: str) -> None:
    """Farthest and nearest place of the drawn ring against the ellipse that was put in, by pyproj."""
    watched = opened(document, 1280)
    rings = watched.page.evaluate(
        """() => { const rings = []; asbuilt.map.eachLayer(l => { if (l.options.className === 'ring')
        rings.push(l.getLatLngs()[0].map(p => [p.lng, p.lat])); }); return rings; }"""
    )
    found = [[GEOD.inv(*LID_AT, *place) for place in ring] for ring in rings]
    ring = next(places for places in found if max(metres for _, _, metres in places) < 0.5)
    azimuth, _, major = max(ring, key=lambda each: each[2])
    across, _, minor = min(ring, key=lambda each: each[2])
    assert (major, minor) == (pytest.approx(0.30, abs=1e-4), pytest.approx(0.10, abs=1e-4))
    assert azimuth % 180 == pytest.approx(30, abs=0.2)
    assert across % 180 == pytest.approx(120, abs=0.2)


@pytest.mark.parametrize("width", WIDTHS)
def test_a_photo_stands_on_the_card_of_its_part_with_its_words(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    press(watched, watched.page.locator("#panel button.open", has_text=LID).first)
    picture = watched.page.locator("#card figure img")
    assert picture.get_attribute("alt") == "the inlet lid, laid open"
    assert watched.page.locator("#card figcaption").inner_text() == "the inlet lid, laid open"
    picture.scroll_into_view_if_needed()
    watched.page.wait_for_function("document.querySelector('#card figure img').naturalWidth === 1")
    watched.page.keyboard.press("Escape")
    press(watched, watched.page.locator("#panel button.open", has_text="outlet lid").first)
    assert picture.count() == 0
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_what_is_proposed_is_drawn_dashed_with_its_own_words_and_key(opened: Opener, width: int) -> None:
    ring = Polygon([at(*xy) for xy in ((14, -12), (18, -12), (18, -9), (14, -9))])
    lines = ["septic tank: 6' 7\" away, within 4 in; at least 10 ft wanted (rule profile)"]
    shed = Feature("proposed", "new shed", "shed", ring, {"lines": lines})
    watched = opened(render_map(sample_sheet(features=(*sample_features(), shed))), width)
    press(watched, watched.page.locator("#panel button.open", has_text="new shed"))
    words = watched.page.locator("#card").inner_text()
    assert "Proposed, not built: shed" in words
    assert lines[0] in words
    dashes = watched.page.locator(".leaflet-overlay-pane path").evaluate_all(
        "nodes => nodes.map(node => node.getAttribute('stroke-dasharray'))"
    )
    assert "12 4 3 4" in dashes
    watched.page.keyboard.press("Escape")
    key = watched.page.locator("#panel details", has=watched.page.locator("h2", has_text="Key to the plan"))
    key.locator("summary").click()
    assert key.locator("li", has_text="Proposed, not built").is_visible()
    watched.ran_clean()


# ------------------------------------------------------------ layers and search


def shown_names(watched: Watched) -> set[str]:
    names = watched.page.locator(".leaflet-marker-icon").evaluate_all("nodes => nodes.map(n => n.ariaLabel)")
    return set(names)


def layered_sheet() -> str:
    """Draw things of two years, two accuracies and three states of service."""
    due = {"task": "filter", "due_on": "2026-06-10", "overdue": False}
    tank = Feature("component", "new tank", "septic tank", None, {"installed_on": "2021-05-01", "due": [due]})
    lid = measured("new tank", "lid", "septic tank", 20, -12, "ABC", r95_m=0.25)
    return render_map(sample_sheet(features=(*sample_features(), tank, lid)))


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(
    ("title", "row", "gone", "stays"),
    [
        ("System", "Drinking water", {"well"}, {LID, "A"}),
        ("How well known", "Within 1 ft", {"new tank/lid"}, {LID, "A"}),
        ("How well known", "Within 6 in", {LID, "well"}, {"new tank/lid", "A"}),
        ("Service", "Overdue", {LID, "septic tank/outlet lid"}, {"well", "new tank/lid", "A"}),
        ("Service", "Due within 90 days", {"new tank/lid"}, {LID, "well", "A"}),
        ("Service", "Nothing due", {"well", "pump tank/lid"}, {LID, "new tank/lid", "A"}),
        ("Year put in", "2021", {"new tank/lid"}, {LID, "well"}),
        ("Year put in", "Year not recorded", {"well"}, {LID, "new tank/lid"}),
    ],
)
def test_each_set_of_layers_takes_its_things_off_and_brings_them_back(
    opened: Opener, title: str, row: str, gone: set[str], stays: set[str], width: int
) -> None:
    watched = opened(layered_sheet(), width)
    before = shown_names(watched)
    press(watched, tool(watched, "Layers"))
    assert watched.page.evaluate("document.activeElement.id") == "choice-title"
    box = watched.page.locator("#choice fieldset", has_text=title).locator("label", has_text=row)
    box.click()
    assert before - shown_names(watched) >= gone
    assert shown_names(watched) >= stays
    watched.page.get_by_role("button", name="Show everything").click()
    assert shown_names(watched) >= before
    press(watched, watched.page.locator("#choice .back"))
    assert watched.page.locator("#panel h1").is_visible()
    watched.ran_clean()


def test_what_a_filter_took_off_is_shown_when_it_is_chosen_in_the_list(opened: Opener) -> None:
    watched = opened(layered_sheet(), 1280)
    tool(watched, "Layers").click()
    watched.page.locator("#choice label", has_text="2021").click()
    assert "new tank/lid" not in shown_names(watched)
    watched.page.locator("#choice .back").click()
    watched.page.locator("#panel button.open", has_text="new tank/lid").first.click()
    assert "new tank/lid" in shown_names(watched)


@pytest.mark.parametrize("width", WIDTHS)
def test_the_search_finds_by_words_whatever_their_capitals_and_accents(opened: Opener, width: int) -> None:
    more = measured("Prüfschacht", "lid", "observation port", 3, -3, "ABC")
    watched = opened(render_map(sample_sheet(features=(*sample_features(), more))), width)
    press(watched, tool(watched, "Find"))
    assert watched.page.evaluate("document.activeElement.id") == "search"
    watched.page.keyboard.type("LID inlet")
    results = watched.page.locator(".search button.open")
    assert [name.split("\n")[0] for name in results.all_inner_texts()] == [LID]
    assert watched.page.locator(".search [role=status]").inner_text() == "1 found"
    assert not watched.page.locator("#panel summary", has_text="All parts").is_visible()
    watched.page.get_by_role("button", name="Clear").click()
    assert results.count() == 0
    watched.page.keyboard.type("prufschacht")
    assert results.count() == 1
    watched.page.keyboard.press("Enter")
    assert watched.page.locator("#card h2").inner_text() == "Prüfschacht/lid"
    watched.page.keyboard.press("Escape")
    press(watched, tool(watched, "Find"))
    watched.page.locator("#search").fill("no such thing")
    assert watched.page.locator(".search [role=status]").inner_text() == "Nothing has these words."
    watched.page.keyboard.press("Escape")
    assert watched.page.locator("#panel summary", has_text="All parts").is_visible()
    watched.ran_clean()


# ------------------------------------------------------------ paper


def pages_of(pdf: bytes, folder: Path) -> tuple[int, str]:
    path = folder / "map.pdf"
    path.write_bytes(pdf)
    told = subprocess.run(["pdfinfo", path], check=True, capture_output=True, text=True).stdout
    words = subprocess.run(["pdftotext", path, "-"], check=True, capture_output=True, text=True).stdout
    return int(re.search(r"Pages:\s+(\d+)", told)[1]), " ".join(words.split())  # type: ignore[index]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_the_print_is_one_page_with_plan_scale_key_and_tapes(
    opened: Opener, document: str, tmp_path: Path, paper: str, width: int
) -> None:
    watched = opened(document, width)
    pages, words = pages_of(watched.page.pdf(format=paper, prefer_css_page_size=False), tmp_path)
    assert pages == 1
    for each in ("Invented Hollow", "Caution:", "54' 8\" from A", "23' 1\" from B", "Sewer and drain", "19 times in"):
        assert each in words
    assert "lost valve/lid" in words
    assert "no room here" not in words
    assert "Back to the list" not in words
    assert watched.page.evaluate("document.body.classList.contains('printing')") is False
    watched.ran_clean()


def test_a_print_of_two_hundred_points_is_one_page_that_counts_what_it_leaves_out(
    opened: Opener, tmp_path: Path
) -> None:
    many = [measured(f"pipe {n}", "bend", "lateral", n % 20, -3 - n / 20, "ABC") for n in range(200)]
    watched = opened(render_map(sample_sheet(features=(*many, *sample_features()))), 1280)
    pages, words = pages_of(watched.page.pdf(format="Letter"), tmp_path)
    assert pages == 1
    left = re.search(r"(\d+) more points have no room here", words)
    assert left is not None
    assert LID in words  # what is opened again stands first
    assert len(re.findall(r"pipe \d+/bend:", words)) == 211 - int(left[1]) - 10


def test_the_view_is_the_same_after_printing(opened: Opener, document: str) -> None:
    watched = opened(document, 1280)
    view = "(() => { const c = asbuilt.map.getCenter(); return [c.lng, c.lat, asbuilt.map.getZoom()]; })()"
    watched.page.evaluate("asbuilt.map.setView([45.00002, -29.9999], 21, {animate: false})")
    before = watched.page.evaluate(view)
    watched.page.pdf(format="Letter")
    assert watched.page.evaluate(view) == pytest.approx(before, abs=1e-6)


# ------------------------------------------------------------ for everybody


@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing_against_list_card_layers_search_and_tools(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    page = watched.page
    locate(watched, *at(5, -15), 5)
    assert violations(page) == []
    page.evaluate("document.querySelectorAll('details').forEach(node => { node.open = true; })")
    tool(watched, "Find").click()
    page.keyboard.type("lid")
    assert violations(page) == []
    page.locator("#panel button.open", has_text=LID).first.click()
    tool(watched, "Where am I").click()
    wait_for_words(watched, LID)
    assert violations(page) == []
    tool(watched, "Layers").click()
    tool(watched, "Measure").click()
    assert violations(page) == []


def test_axe_finds_nothing_against_the_still_page(chromium: Browser, document: str, tmp_path: Path) -> None:
    """The checker itself is a script, so the page's own are taken out instead of being switched off."""
    path = tmp_path / "still.html"
    path.write_text(re.sub(r"<script>.*?</script>", "", document, flags=re.DOTALL), encoding="utf-8")
    page = chromium.new_context(viewport={"width": 390, "height": 844}, offline=True).new_page()
    page.goto(path.as_uri())
    assert page.locator("#still svg").is_visible()
    assert violations(page) == []
    page.context.close()


@pytest.mark.parametrize("kind", ["off", "blocked", "broken"])
def test_where_no_script_runs_the_tapes_and_a_still_plan_are_in_sight(
    chromium: Browser, document: str, tmp_path: Path, kind: str
) -> None:
    """Scripts switched off, stopped by a policy of the viewer, or failing at their start."""
    shown = {
        "off": document,
        "blocked": document.replace(
            "<meta charset", '<meta http-equiv="Content-Security-Policy" content="script-src \'none\'"><meta charset', 1
        ),
        "broken": document.replace('id="plan-data">{', 'id="plan-data">{{', 1),
    }[kind]
    path = tmp_path / "map.html"
    path.write_text(shown, encoding="utf-8")
    context = chromium.new_context(java_script_enabled=kind != "off", offline=True)
    page = context.new_page()
    page.goto(path.as_uri())
    assert page.locator("#still svg").is_visible()
    assert not page.locator("#page").is_visible()
    words = page.locator("body").inner_text()
    assert "54' 8\" from A" in words
    assert "Caution: Never lean into or enter a tank" in words
    assert page.locator("#still").evaluate("node => node.scrollWidth <= window.innerWidth")
    context.close()


def test_with_scripts_the_still_plan_is_out_of_sight(opened: Opener, document: str) -> None:
    watched = opened(document, 390)
    assert not watched.page.locator("#still").is_visible()
    assert watched.page.locator("html.ready").count() == 1

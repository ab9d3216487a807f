"""The map in a real browser: opened from a file, no network, on a phone and on a laptop."""

from typing import Any

import pytest
from conftest import SIZES, Opener, Watched
from test_webmap import NORTH_M, PAYLOADS, hostile_sheet, sample_sheet

from asbuilt.output.map.webmap import render_map

WIDTHS = sorted(SIZES)

# The Leaflet map under the name that folium gave it.
MAP = "window[JSON.parse(document.getElementById('plan-data').textContent).frame.map]"


@pytest.fixture(scope="module")
def document() -> str:
    return render_map(sample_sheet())


def in_list(watched: Watched, name: str) -> Any:
    return watched.page.locator("#panel button.open", has_text=name).first


def card(watched: Watched) -> Any:
    return watched.page.locator("#card .leaflet-popup")


@pytest.mark.parametrize("width", WIDTHS)
def test_the_map_opens_from_a_file_and_asks_for_nothing(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    page = watched.page
    assert page.title() == "Invented Hollow: plan of what is buried"
    assert page.locator("html").get_attribute("lang") == "en"
    assert page.locator("h1").inner_text() == "Invented Hollow"
    assert page.locator(".leaflet-marker-icon").count() > 10
    page.wait_for_timeout(300)
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_tap_on_a_lid_opens_its_popup_with_ties_accuracy_and_dates(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    lid = watched.page.locator('[aria-label="pump tank/lid"]')
    lid.tap() if width < 800 else lid.click()
    words = card(watched).inner_text()
    for text in ("pump tank/lid", "A\t", "B\t", '6" below grade', "within 2 in, 19 times in 20"):
        assert text in words
    assert "Not checked: only two tapes, nothing to check them by" in words
    watched.page.keyboard.press("Escape")
    in_list(watched, "septic tank/inlet lid").click()
    words = card(watched).inner_text()
    for text in ("54' 8\"", "23' 1\"", "44' 6\"", "Checked", "1' 2\" below grade to top", "1,000 gal"):
        assert text in words
    for text in ("2025-03-14", "Overdue", "published table: 2.6 years", "2022-08-09", "980 gal"):
        assert text in words
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_tap_on_a_line_opens_its_popup(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    place = watched.page.evaluate(
        f"""() => {{ const m = {MAP}, box = m.getContainer().getBoundingClientRect();
        const plan = JSON.parse(document.getElementById('plan-data').textContent);
        const [a, b] = plan.features.find(f => f.name === 'west property line').parts[0].at;
        const p = m.latLngToContainerPoint([(a[1] + b[1]) / 2 - 0.00002, (a[0] + b[0]) / 2]);
        return [box.left + p.x, box.top + p.y]; }}"""
    )
    watched.page.mouse.click(*place)
    assert card(watched).locator("h2").inner_text() == "west property line"
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_an_open_popup_covers_neither_the_lid_nor_its_tapes(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    in_list(watched, "septic tank/inlet lid").click()
    labels = watched.page.locator(".label.tape:visible")
    assert sorted(labels.all_inner_texts()) == ["23' 1\"", "54' 8\""]
    for mark in "AB":
        assert watched.page.locator(".label.reference", has_text=mark).is_visible()
    box = watched.page.locator("#plan").bounding_box()
    shown = watched.page.locator("#card").bounding_box()
    assert box is not None
    assert shown is not None
    apart = shown["x"] + shown["width"] <= box["x"] + 1 or shown["y"] >= box["y"] + box["height"] - 1
    assert apart
    for item in (*labels.all(), watched.page.locator('[aria-label="septic tank/inlet lid"]')):
        inner = item.bounding_box()
        assert inner is not None
        assert box["x"] <= inner["x"]
        assert inner["x"] + inner["width"] <= box["x"] + box["width"]
        assert box["y"] <= inner["y"]
        assert inner["y"] + inner["height"] <= box["y"] + box["height"]
    watched.page.locator("#card .back").click()
    assert watched.page.locator(".label.tape").count() == 0
    assert card(watched).count() == 0


@pytest.mark.parametrize("payload", PAYLOADS)
def test_a_hostile_text_in_every_field_is_shown_and_never_run(opened: Opener, payload: str) -> None:
    watched = opened(render_map(hostile_sheet(payload)), 390)
    page = watched.page
    assert page.locator("h1").evaluate("node => node.textContent") == payload
    opened_popups = page.evaluate(  # every popup is built and closed again
        f"""() => [...document.querySelectorAll('#panel button.open')].map(button => {{
          button.click(); const title = document.querySelector('#card h2').textContent;
          {MAP}.closePopup(); return title; }}).length"""
    )
    assert opened_popups > 20
    page.locator("#panel button.open", has_text="septic tank/inlet lid").first.evaluate("node => node.click()")
    name = f"septic tank/inlet lid {payload}"
    assert card(watched).locator("h2").evaluate("node => node.textContent") == name
    cells = card(watched).locator("table td, table th[scope=row]")
    assert set(cells.evaluate_all("nodes => nodes.map(node => node.textContent)")) == {payload}
    ways = card(watched).locator(".ways strong, figcaption")
    assert set(ways.evaluate_all("nodes => nodes.map(node => node.textContent)")) == {payload}
    assert page.locator(".label.tape").first.evaluate("node => node.textContent").endswith(payload)
    page.evaluate(
        """words => { const field = document.getElementById('search');
        field.value = words; field.dispatchEvent(new Event('input')); }""",
        payload,
    )
    page.emulate_media(media="print")
    page.locator("#paper .row").first.wait_for(state="attached")
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_the_layer_control_takes_things_off_and_puts_them_back(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    page = watched.page
    page.locator("#tool-layers").click()
    row = page.locator("#choice label", has_text="Drinking water")
    well = page.locator('[aria-label="well"]')
    assert well.count() == 1
    row.click()
    assert well.count() == 0
    assert not page.locator(".label", has_text="water line").is_visible()
    row.click()
    assert well.count() == 1
    names = page.locator("#choice .leaflet-control-layers-overlays label").all_inner_texts()
    assert "No longer in the ground" in [name.strip() for name in names]
    watched.ran_clean()


def test_only_a_tick_makes_the_page_ask_the_tile_host(opened: Opener, document: str) -> None:
    watched = opened(document, 1280)
    page = watched.page
    watched.ran_clean()
    page.locator("#tool-layers").click()
    page.locator("#choice label", has_text="Street map").click()
    page.wait_for_timeout(300)
    asked = [url for url in watched.requests if url != watched.address and not url.startswith("data:")]
    assert asked
    assert {url.split("/")[2] for url in asked} == {"tile.openstreetmap.org"}
    assert "OpenStreetMap contributors" in page.locator(".leaflet-control-attribution").inner_text()


def test_a_part_on_a_layer_that_is_off_is_shown_from_the_list(opened: Opener, document: str) -> None:
    watched = opened(document, 1280)
    assert not watched.page.locator(".label", has_text="old tank").is_visible()
    in_list(watched, "old tank").click()
    assert watched.page.locator(".label", has_text="old tank").is_visible()
    assert "2011-06-10" in card(watched).inner_text()


@pytest.mark.parametrize("width", WIDTHS)
def test_zoom_reaches_24_and_the_whole_property_comes_back(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    page = watched.page
    zoom_in = page.locator(".leaflet-control-zoom-in")
    for _ in range(20):
        if zoom_in.get_attribute("aria-disabled") == "true":
            break
        zoom_in.click()
        page.wait_for_timeout(350)  # a zoom takes Leaflet a quarter of a second
    assert page.evaluate(f"{MAP}.getZoom()") == 24
    page.locator('[aria-label="Show the whole property"]').click()
    seen = page.evaluate(
        f"""() => {{ const m = {MAP};
        return JSON.parse(document.getElementById('plan-data').textContent).features
          .flatMap(f => f.parts).filter(p => p.type === 'point')
          .every(p => m.getBounds().contains([p.at[1], p.at[0]])); }}"""
    )
    assert seen
    watched.ran_clean()


def test_the_keyboard_alone_opens_a_popup_from_the_list_and_comes_back(opened: Opener, document: str) -> None:
    watched = opened(document, 1280)
    page = watched.page
    button = in_list(watched, "septic tank/outlet lid")
    button.focus()
    page.keyboard.press("Enter")
    assert card(watched).locator("h2").inner_text() == "septic tank/outlet lid"
    assert page.evaluate("document.activeElement.id") == "card-title"
    page.keyboard.press("Escape")
    assert card(watched).count() == 0
    assert button.evaluate("node => node === document.activeElement")
    marker = page.locator('.leaflet-marker-icon[aria-label="well"]')
    marker.focus()
    page.keyboard.press("Enter")
    assert card(watched).locator("h2").inner_text() == "well"
    watched.ran_clean()


@pytest.mark.parametrize(("units", "unit_m"), [("ft-in", 0.3048), ("ft", 0.3048), ("m", 1.0)])
def test_the_scale_bar_is_true_on_the_ground(opened: Opener, units: str, unit_m: float) -> None:
    """Checked against the projection itself: pixels between two places whose distance pyproj gives."""
    from pyproj import Geod

    watched = opened(render_map(sample_sheet(units=units)), 1280)
    page = watched.page
    for zoom in (18, 20.25, 22, 24):
        page.evaluate(f"{MAP}.setView([45, -30], {zoom}, {{animate: false}})")
        number, unit = page.locator(".scale span").inner_text().split()
        assert unit == ("m" if units == "m" else "ft")
        pixels = page.evaluate("parseFloat(document.querySelector('.scale .bar').style.width)")
        assert 40 <= pixels <= 150
        east, _, _ = Geod(ellps="WGS84").fwd(-30, 45, 90, float(number) * unit_m)
        drawn = page.evaluate(f"{MAP}.project([45, {east!r}]).x - {MAP}.project([45, -30]).x")
        assert pixels == pytest.approx(drawn, abs=0.01)


def test_the_circle_of_a_lid_has_its_true_size(opened: Opener, document: str) -> None:
    """Radius 0.05 m: the circle's height in degrees of latitude against pyproj's length of a degree."""
    watched = opened(document, 1280)
    heights = watched.page.evaluate(
        f"""() => {{ const heights = [];
        {MAP}.eachLayer(l => {{ if (l.options.className === 'ring')
          heights.push(l.getBounds().getNorth() - l.getBounds().getSouth()); }});
        return heights; }}"""
    )
    assert len(heights) == 10  # the located points; the tallest is the one with an ellipse
    for height in sorted(heights)[:-1]:
        assert height * NORTH_M == pytest.approx(0.10, abs=1e-6)


@pytest.mark.parametrize("zoom", [20, 24])
def test_every_symbol_stands_on_its_place(opened: Opener, document: str, zoom: int) -> None:
    """The middle of each symbol against the projection of its longitude and latitude, in pixels."""
    watched = opened(document, 1280)
    watched.page.evaluate(f"{MAP}.setZoom({zoom}, {{animate: false}})")
    off = watched.page.evaluate(
        f"""() => {{ const m = {MAP}, box = m.getContainer().getBoundingClientRect(), off = [];
        for (const f of JSON.parse(document.getElementById('plan-data').textContent).features) {{
          const node = document.querySelector(`.leaflet-marker-icon[aria-label="${{f.name}}"] > svg`);
          if (f.parts[0]?.type !== 'point' || !node) continue;
          const place = m.latLngToContainerPoint([f.parts[0].at[1], f.parts[0].at[0]]);
          const drawn = node.getBoundingClientRect();
          off.push([Math.abs(drawn.x + drawn.width / 2 - box.x - place.x),
            Math.abs(drawn.y + drawn.height / 2 - box.y - place.y)]); }}
        return off.flat(); }}"""
    )
    assert len(off) >= 2 * 15
    assert max(off) <= 1


def test_at_full_zoom_the_circle_shows_round_the_symbol(opened: Opener, document: str) -> None:
    watched = opened(document, 1280)
    lid = sample_sheet().features[23].geometry
    assert lid is not None
    watched.page.evaluate(f"{MAP}.setView([{lid.y!r}, {lid.x!r}], 24, {{animate: false}})")
    symbol = watched.page.locator('[aria-label="septic tank/inlet lid"] circle').first.bounding_box()
    rings = watched.page.locator("path.ring").all()
    boxes = [box for ring in rings if (box := ring.bounding_box()) is not None]
    assert symbol is not None
    middle = symbol["x"] + symbol["width"] / 2
    ring = next(box for box in boxes if box["width"] > 5 and box["x"] < middle < box["x"] + box["width"])
    assert ring["width"] > symbol["width"]


@pytest.mark.parametrize("width", WIDTHS)
def test_touch_targets_are_44_pixels_and_letters_16(opened: Opener, document: str, width: int) -> None:
    """WCAG 2.1, 2.5.5: targets of 44 by 44 CSS pixels."""
    watched = opened(document, width)
    page = watched.page
    page.evaluate("document.querySelectorAll('details').forEach(node => { node.open = true; })")
    page.evaluate("document.body.classList.add('choosing')")
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, summary, .leaflet-bar a, input[type=search], #choice label')]
        .filter(node => node.offsetParent).map(node => [node.outerHTML.slice(0, 80), node.getBoundingClientRect()])
        .filter(([, box]) => box.width < 44 || box.height < 44).map(([html]) => html)"""
    )
    assert small == []
    letters = page.evaluate(
        """() => [...document.querySelectorAll('#page *')].filter(node => node.offsetParent && !(node.closest('svg'))
          && [...node.childNodes].some(child => child.nodeType === 3 && child.textContent.trim()))
        .map(node => parseFloat(getComputedStyle(node).fontSize))"""
    )
    assert min(letters) >= 16
    wider = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wider <= 0


@pytest.mark.parametrize("width", WIDTHS)
def test_labels_do_not_lie_on_each_other(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    boxes = [box for label in watched.page.locator(".label:visible").all() if (box := label.bounding_box()) is not None]
    assert len(boxes) >= 12
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            apart_x = a["x"] + a["width"] <= b["x"] + 1 or b["x"] + b["width"] <= a["x"] + 1
            apart_y = a["y"] + a["height"] <= b["y"] + 1 or b["y"] + b["height"] <= a["y"] + 1
            assert apart_x or apart_y


def test_a_property_without_a_place_says_so_and_shows_no_coordinates(opened: Opener) -> None:
    watched = opened(render_map(sample_sheet(placed=False)), 390)
    page = watched.page
    assert "Not placed on the earth" in page.locator("#panel header").inner_text()
    assert page.locator('.north [aria-label="Direction of the first wall"]').count() == 1
    assert page.locator("#choice label", has_text="Street map").count() == 0
    in_list(watched, "septic tank/inlet lid").click()
    words = card(watched).inner_text()
    assert "Latitude" not in words
    assert "On the earth" not in words
    watched.ran_clean()


def test_a_phone_can_give_the_whole_screen_to_the_map(opened: Opener, document: str) -> None:
    watched = opened(document, 390)
    page = watched.page
    page.get_by_role("button", name="Bigger map").tap()
    box = page.locator("#plan").bounding_box()
    assert box is not None
    assert box["height"] > 740  # all but the row of tools
    page.locator('[aria-label="well"]').tap()
    assert card(watched).is_visible()
    watched.ran_clean()


@pytest.mark.parametrize("name", ["septic tank/inlet lid", "septic tank/outlet lid"])
def test_of_two_lids_under_one_thumb_the_nearer_opens(opened: Opener, document: str, name: str) -> None:
    watched = opened(document, 390)
    box = watched.page.locator(f'[aria-label="{name}"]').bounding_box()
    assert box is not None
    watched.page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert card(watched).locator("h2").inner_text() == name


@pytest.mark.parametrize("features", [(), None])
def test_a_property_with_nothing_located_opens_without_an_error(opened: Opener, features: Any) -> None:
    lost = [feature for feature in sample_sheet().features if feature.geometry is None]
    watched = opened(render_map(sample_sheet(features=tuple(lost) if features is None else features)), 390)
    if features is None:
        in_list(watched, "lost valve/lid").click()
        assert "Not located" in card(watched).inner_text()
    watched.ran_clean()

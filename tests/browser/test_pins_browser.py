"""The maps of what is due and of a route in a real browser: from a file, no network, on a phone and on a laptop."""

from pathlib import Path
from typing import Any

import pytest
from axe import violations
from conftest import SIZES, Opener, Watched
from pin_samples import DAY, SOUTH, WEST, hostile_due_map, listed, sample_due_map, sample_plan, sample_route_map
from playwright.sync_api import Browser
from test_webmap import PAYLOADS

from asbuilt.output.map.duemap import due_map

WIDTHS = sorted(SIZES)
MAP = "window[JSON.parse(document.getElementById('plan-data').textContent).frame.map]"


def marker(watched: Watched, name: str) -> Any:
    return watched.page.locator(f'.leaflet-marker-icon[aria-label="{name}"]')


def inside(watched: Watched, item: Any) -> bool:
    box, plan = item.bounding_box(), watched.page.locator("#plan").bounding_box()
    assert box is not None
    assert plan is not None
    across = plan["x"] <= box["x"] and box["x"] + box["width"] <= plan["x"] + plan["width"]
    return bool(across and plan["y"] <= box["y"] and box["y"] + box["height"] <= plan["y"] + plan["height"])


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(
    ("document", "title"), [(sample_due_map(), "What is due"), (sample_route_map(), "Route of the pump truck")]
)
def test_the_map_opens_from_a_file_and_asks_for_nothing(opened: Opener, document: str, title: str, width: int) -> None:
    watched = opened(document, width)
    assert watched.page.title() == watched.page.locator("h1").inner_text() == title
    assert watched.page.locator(".leaflet-marker-icon").count() > 5
    assert watched.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    watched.page.wait_for_timeout(200)
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_tap_on_a_pin_opens_its_words_within_the_map(opened: Opener, width: int) -> None:
    watched = opened(sample_due_map(), width)
    pin = marker(watched, "Overdue by more than a year: Road 0")
    pin.tap() if width < 800 else pin.click()
    popup = watched.page.locator(".leaflet-popup")
    words = popup.inner_text()
    for text in ("Road 0", "pump-out of septic tank: 2025-02-22, overdue by more than a year", "555-0142"):
        assert text in words
    watched.page.wait_for_timeout(400)  # the map moves until the popup is in it
    assert inside(watched, popup)
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_heap_shows_its_number_and_most_urgent_step_and_comes_apart(opened: Opener, width: int) -> None:
    watched = opened(sample_due_map(), width)
    heap = watched.page.locator('.leaflet-marker-icon[aria-label$="the most urgent: Overdue"]', has_text="3")
    assert heap.count() == 1
    assert marker(watched, "Overdue: Heap 1").count() == 0
    heap.click()
    watched.page.wait_for_function(f"{MAP}.getZoom() > 14")
    watched.page.wait_for_timeout(300)
    for name in ("Due in a year: Heap 0", "Overdue: Heap 1", "Due in 90 days: Heap 2"):
        assert marker(watched, name).count() == 1
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_an_entry_of_the_list_shows_its_place(opened: Opener, width: int) -> None:
    watched = opened(sample_due_map(), width)
    watched.page.locator("#panel summary", has_text="Due in 90 days").click()
    watched.page.locator("#panel button.open", has_text="Heap 2").click()
    assert "Heap 2" in watched.page.locator(".leaflet-popup").inner_text()
    without = watched.page.locator("#panel summary", has_text="Without a place")
    without.click()
    assert watched.page.locator("#panel button.open", has_text="No place").count() == 0
    watched.page.locator("#panel div.open", has_text="No place").wait_for()
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_step_that_is_switched_off_is_gone_from_the_map(opened: Opener, width: int) -> None:
    watched = opened(sample_due_map(), width)
    pin = marker(watched, "Due later: Road 9")
    assert pin.count() == 1
    toggle = (
        "[...document.querySelectorAll('.leaflet-control-layers label')].find(l => l.textContent.includes('Due later'))"
    )
    watched.page.evaluate(f"{toggle}.querySelector('input').click()")
    assert pin.count() == 0
    watched.page.evaluate(f"{toggle}.querySelector('input').click()")
    assert pin.count() == 1
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_route_shows_each_stop_with_its_number_and_the_line_of_each_run(opened: Opener, width: int) -> None:
    watched = opened(sample_route_map(), width)
    plan = sample_plan()
    labels = watched.page.locator(".leaflet-marker-icon svg text").all_text_contents()
    counts = [len(run.stops) for run in plan.runs]
    assert sorted(label for label in labels if label) == sorted(
        f"{'AB'[run]}{number}" for run, count in enumerate(counts) for number in range(1, count + 1)
    )
    lines = watched.page.locator(".leaflet-overlay-pane path")
    assert lines.count() == 2 * len(plan.runs)  # each on a white line that parts it from the ground
    dashes = [line.get_attribute("stroke-dasharray") or "" for line in lines.all()]
    assert len(set(dashes[1::2])) == len(plan.runs)
    assert watched.page.locator("#panel .cautions-list").is_visible()
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_pins_can_be_reached_and_opened_by_keyboard(opened: Opener, width: int) -> None:
    watched = opened(sample_due_map(), width)
    marker(watched, "Overdue by more than a year: Road 0").focus()
    watched.page.keyboard.press("Enter")
    assert "Road 0" in watched.page.locator(".leaflet-popup").inner_text()
    watched.ran_clean()


@pytest.mark.parametrize("payload", PAYLOADS, ids=range(len(PAYLOADS)))
def test_hostile_words_are_shown_and_never_run(opened: Opener, payload: str) -> None:
    shown = payload.encode("utf-16", "surrogatepass").decode("utf-16", "replace") if "\ud800" in payload else payload
    for document in (hostile_due_map(payload), sample_route_map(payload)):
        watched = opened(document, 390)
        watched.page.evaluate("document.querySelectorAll('#panel details').forEach((each) => { each.open = true; })")
        titles = watched.page.locator("#panel .open strong").evaluate_all("nodes => nodes.map(n => n.textContent)")
        assert any(payload in title or shown in title for title in titles)
        for button in watched.page.locator("#panel button.open").all()[:2]:
            button.click()
            assert watched.page.locator(".leaflet-popup").count() >= 1
        watched.ran_clean()


def test_printing_shows_map_and_list(opened: Opener) -> None:
    watched = opened(sample_route_map(), 1280)
    watched.page.emulate_media(media="print")
    assert watched.page.locator("#panel .open", has_text="Road 0").is_visible()
    assert watched.page.locator("#plan").is_visible()
    watched.ran_clean()


def test_a_thousand_pins_at_one_place_are_one_heap_whose_number_fits(opened: Opener) -> None:
    some = [listed(f"Flat {n}", -3) for n in range(1000)]
    watched = opened(due_map(some, {each.due.property: (WEST, SOUTH) for each in some}, DAY), 390)
    heap = watched.page.locator(".cluster")
    assert heap.count() == 1
    assert heap.locator(".count").inner_text() == "1000"
    assert heap.evaluate("node => node.scrollWidth <= node.clientWidth")
    heap.click()
    assert "and 950 more" in watched.page.locator(".leaflet-popup").inner_text()
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("document", [sample_due_map(), sample_route_map()], ids=["due", "route"])
def test_axe_finds_nothing_against_the_map_its_list_and_a_popup(opened: Opener, document: str, width: int) -> None:
    watched = opened(document, width)
    watched.page.locator("#panel summary").evaluate_all(
        "nodes => nodes.forEach(node => { node.parentElement.open = true; })"
    )
    watched.page.locator("#panel button.open").first.click()
    assert watched.page.locator(".leaflet-popup").is_visible()
    assert violations(watched.page) == []


@pytest.mark.parametrize("width", WIDTHS)
def test_the_search_finds_a_property_and_opens_its_place(opened: Opener, width: int) -> None:
    watched = opened(sample_due_map(), width)
    watched.page.locator("#tool-find").click()
    watched.page.keyboard.type("heap 2")
    found = watched.page.locator(".search button.open strong")
    assert found.first.inner_text() == "Heap 2"  # the others have a 2 in a date
    watched.page.keyboard.press("Enter")
    assert "Heap 2" in watched.page.locator(".leaflet-popup").inner_text()
    watched.page.locator("#tool-whole").click()
    assert watched.page.locator(".cluster").count() == 1
    watched.ran_clean()


@pytest.mark.parametrize("width", WIDTHS)
def test_ten_thousand_properties_open_quickly_and_a_drag_draws_only_what_comes_into_sight(
    opened: Opener, width: int
) -> None:
    """Counted: heaps on the screen stay few, and those that stay in sight stay the same elements."""
    some = [listed(f"Road {n}", n % 700 - 60) for n in range(10_000)]
    places = {f"Road {n}": (WEST + n % 100 * 0.01, SOUTH + n // 100 * 0.01) for n in range(10_000)}
    watched = opened(due_map(some, places, DAY), width)
    page = watched.page
    icons = page.locator(".leaflet-marker-icon")
    assert 5 < icons.count() < 400
    assert sum(int(words) for words in page.locator(".cluster .count").all_inner_texts()) == 10_000
    page.evaluate(f"{MAP}.setZoom({MAP}.getZoom() + 1, {{animate: false}})")
    page.evaluate("document.querySelectorAll('.leaflet-marker-icon').forEach((node) => { node.dataset.old = '1'; })")
    page.evaluate(f"{MAP}.panBy([60, 0], {{animate: false}})")
    assert page.locator(".leaflet-marker-icon[data-old]").count() > 0.5 * icons.count()
    watched.ran_clean()


def test_without_a_script_the_list_is_in_sight(chromium: Browser, tmp_path: Path) -> None:
    path = tmp_path / "due.html"
    path.write_text(sample_due_map(), encoding="utf-8")
    context = chromium.new_context(java_script_enabled=False, offline=True)
    page = context.new_page()
    page.goto(path.as_uri())
    assert "Road 3" in page.locator("#still").inner_text()
    assert not page.locator("#page").is_visible()
    context.close()

"""Maps of pins: nothing typed is ever markup or template, nothing comes from the network, same in = same out."""

import dataclasses
import json
import re
from base64 import b64encode
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from asbuilt.output.map import duemap, pinmap, routemap
from asbuilt.output.map.frame import MOST_PLACES, TooManyError
from asbuilt.output.map.pinmap import MOST_LISTED, SCRIPTS, SHAPES, Pin, PinSheet, Section, render_pins
from asbuilt.service.routes import Urgency
from tests.commands import Run, files_below
from tests.pin_samples import DAY, DAYS, hostile_due_map, listed, sample_due_map, sample_plan, sample_route_map
from tests.test_webmap import PAYLOADS

ASSETS = Path(pinmap.__file__).with_name("assets")


def block_of(document: str) -> dict[str, Any]:
    match = re.search(r'<script type="application/json" id="plan-data">(.*?)</script>', document, re.DOTALL)
    assert match
    found: dict[str, Any] = json.loads(match[1])
    return found


def whole_words(value: Any) -> list[str]:
    if isinstance(value, str):
        return [value]
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else []
    return [words for each in inner for words in whole_words(each)]


class Elements(HTMLParser):
    """Collects elements and addresses as a browser would see them."""

    def __init__(self, document: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.feed(document)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note one element."""
        self.tags.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href")]
        assert not [name for name, _ in attrs if name.startswith("on")]


@pytest.mark.parametrize("document", [sample_due_map(), sample_route_map()], ids=["due", "route"])
def test_the_document_asks_for_nothing_and_runs_only_our_own_scripts(document: str) -> None:
    elements = Elements(document)
    assert [address for address in elements.addresses if not address.startswith(("data:", "#"))] == []
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', document)
    assert policy
    scripts = re.findall(r"<script>(.*?)</script>", document, re.DOTALL)
    assert len(scripts) == 3 + len(SCRIPTS)
    for script in scripts:
        assert f"'sha256-{b64encode(sha256(script.encode()).digest()).decode()}'" in policy[1]
    assert "unsafe" not in policy[1]
    assert policy[1].startswith("default-src 'none'")


@pytest.mark.parametrize("words", PAYLOADS, ids=range(len(PAYLOADS)))
@pytest.mark.parametrize("draw", [hostile_due_map, sample_route_map], ids=["due", "route"])
def test_hostile_words_stay_words_in_the_data_and_add_no_element(draw: Any, words: str, tmp_path: Path) -> None:
    document = draw(words)
    assert any(words in each for each in whole_words(block_of(document)))
    plain = draw("plain words")
    assert Elements(document).tags == Elements(plain).tags
    assert not (Path.cwd() / "pwned-by-template").exists()
    document.encode("utf-8")


def test_the_same_sheet_gives_the_same_bytes() -> None:
    assert sample_due_map() == sample_due_map()
    assert sample_route_map() == sample_route_map()


def test_each_step_of_urgency_has_its_own_shape_or_mark_and_not_only_its_colour() -> None:
    assert len(duemap.GROUPS) == len(Urgency)
    looks = [(group.shape, group.mark) for group in duemap.GROUPS]
    assert len(set(looks)) == len(looks)
    assert {group.shape for group in duemap.GROUPS} <= set(SHAPES)
    assert len({group.colour for group in duemap.GROUPS}) == len(looks)


def test_the_pins_of_the_due_map_stand_in_the_steps_of_their_most_urgent_task() -> None:
    data = block_of(sample_due_map())
    groups = {pin["title"]: pin["group"] for pin in data["pins"]}
    expected = ["long", "long", "overdue", "overdue", "days30", "days30", "days90", "days90", "year", "later"]
    assert [groups[f"Road {n}"] for n in range(len(DAYS))] == expected
    assert groups["No date"] == "never"
    by_title = {section["title"]: section for section in data["sections"]}
    assert [data["pins"][number]["title"] for number in by_title["Without a place"]["pins"]] == ["No place"]
    assert next(pin for pin in data["pins"] if pin["title"] == "No place")["at"] is None


def test_one_property_is_one_pin_with_all_its_tasks() -> None:
    document = duemap.due_map(
        [listed("Road", -3), listed("Road", 40)], {"Road": (-30.0, 45.0)}, sample_plan().tour.days[0].on
    )
    (pin,) = block_of(document)["pins"]
    assert pin["group"] == "overdue"
    assert [line.partition(":")[0] for line in pin["lines"][:2]] == ["pump-out of septic tank"] * 2


def test_a_long_list_is_cut_and_says_how_much_is_missing_but_the_map_has_all() -> None:
    pins = tuple(Pin("year", f"Road {n}", (), "", -30.0, 45.0) for n in range(MOST_LISTED + 7))
    data = block_of(render_pins(PinSheet("t", (), duemap.GROUPS, (Section("s", pins),), clustered=True)))
    assert (len(data["pins"]), data["sections"][0]["more"]) == (MOST_LISTED + 7, 7)
    assert data["sections"][0]["pins"] == list(range(MOST_LISTED))


def test_the_runs_of_a_route_differ_by_letter_dash_or_shape_as_well_as_by_colour() -> None:
    looks = [(g.colour, g.dash, g.shape) for g in map(routemap.run_group, range(12))]
    assert len(set(looks)) == 12
    data = block_of(sample_route_map())
    labels = [pin["label"] for pin in data["pins"] if pin["label"]]
    assert len(labels) == len(set(labels))
    assert {label[0] for label in labels} == {"A", "B"}
    assert [section["title"].split(":")[0] for section in data["sections"]][-1].startswith("Left out")


def test_a_line_of_a_run_goes_from_the_yard_through_its_halts_to_the_yard() -> None:
    plan = sample_plan()
    for path, run in zip(block_of(routemap.route_map(plan))["paths"], plan.runs, strict=True):
        assert len(path["at"]) == len(run.halts)
        assert path["at"][0] == path["at"][-1] == [plan.tour.yard.longitude, plan.tour.yard.latitude]


def test_a_reader_without_scripts_gets_the_list() -> None:
    match = re.search(r'<main id="still">(.*?)</main>', sample_due_map(), re.DOTALL)
    assert match
    assert "Road 3" in match[1]
    assert "no map is drawn" in match[1]


def test_two_hundred_thousand_places_are_refused_with_what_to_do_instead() -> None:
    """A phone would not open it: the list is made shorter, or a mapping program takes a file."""
    one = listed("Road", -3)
    many = [dataclasses.replace(one, due=dataclasses.replace(one.due, property=f"Road {n}")) for n in range(200_000)]
    with pytest.raises(TooManyError) as caught:
        duemap.due_map(many, {}, DAY)
    assert str(caught.value) == (
        "the map 'What is due' would hold 200,000 places, and one HTML file holds 20,000 at most; list fewer "
        "(--within DAYS, --task TASK or --property PROPERTY), or write a file for a mapping program (asbuilt export "
        "--all --out office.gpkg)"
    )


def test_as_many_places_as_the_limit_says_are_drawn() -> None:
    pins = tuple(Pin("year", f"Road {n}", (), "", -30.0 + n * 1e-5, 45.0) for n in range(MOST_PLACES))
    sheet = PinSheet("t", (), duemap.GROUPS, (Section("s", pins),), clustered=True)
    assert len(block_of(render_pins(sheet))["pins"]) == MOST_PLACES
    with pytest.raises(TooManyError):
        render_pins(dataclasses.replace(sheet, marks=pins[:1]))


def test_due_with_too_many_places_for_a_map_is_refused_and_writes_nothing(
    run: Run, folder: Path, loaded: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pinmap, "MOST_PLACES", 0)
    before = files_below(folder)
    result = run("due", "--on", "2030-01-01", "--map", "due.html", "--ics", "due.ics")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("asbuilt: the map 'What is due' would hold 1 places, and one HTML file holds ")
    assert files_below(folder) == before

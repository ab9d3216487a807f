"""The check before backfill on an invented property: nothing lacking, five faults, and every limit just in and out."""

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.jobs.backfill_check import check_before_backfill
from asbuilt.jobs.locate import locate
from asbuilt.record.sheets.read import read_sheets
from tests.backfill_samples import DAY, NAME, Site, faulty
from tests.commands import SAMPLE, SAMPLE_NAME, Run, WriteSheets, parsed

Check = Callable[[Site], list[CheckItem]]


@pytest.fixture
def check(write_sheets: WriteSheets) -> Check:
    """Write a property as sheets, read and solve it, and check it."""

    def made(site: Site, today: date = DAY) -> list[CheckItem]:
        return list(check_before_backfill(locate(read_sheets(write_sheets("site", **site.sheets())).record), today))

    return made


def left(items: list[CheckItem]) -> list[tuple[str, str, str]]:
    """Give what is not done: outcome, code and subject of each."""
    return [(str(each.outcome), each.code, each.subject) for each in items if each.outcome is not Outcome.DONE]


def one(items: list[CheckItem], code: str, subject: str = "") -> CheckItem:
    """Give the one item of a code, of a subject that begins so."""
    found = [each for each in items if each.code == code and each.subject.startswith(subject)]
    assert len(found) == 1, [(each.code, each.subject, each.words) for each in items]
    return found[0]


# ------------------------------------------------------------ the whole


def test_a_property_on_which_nothing_is_lacking_leaves_nothing_to_do(check: Check) -> None:
    assert left(check(Site())) == []


def test_five_faults_give_exactly_five_findings(check: Check) -> None:
    assert left(check(faulty())) == [
        ("outside the rule", "level-spread", "lateral 1"),
        ("outside the rule", "setback", "septic tank to well"),
        ("missing", "point-missing", "electrical cable"),
        ("missing", "no-photo", "septic tank/outlet lid"),
        ("doubtful", "not-checked", "septic tank/inlet lid"),
    ]


def test_each_fault_says_its_number_its_limit_its_source_and_the_next_act(check: Check) -> None:
    items = check(faulty())
    level = one(items, "level-spread", "lateral 1")
    assert (level.measured, level.limit) == ("1.0 in", "at most 0' 0 1/2\"")
    near = one(items, "setback", "septic tank to well")
    distance = re.match(r"(\d+)' ", near.measured or "")
    assert distance is not None
    assert int(distance[1]) == pytest.approx(81 - 34.5, abs=1)  # the well less the tank's east end, feet
    assert near.limit == "at least 50 ft"
    for item in (level, near, one(items, "point-missing"), one(items, "no-photo")):
        assert item.source
        assert item.next_act
    assert "asbuilt tape" in one(items, "point-missing").next_act
    assert (
        "a tape from SW" in one(items, "not-checked").next_act or "a tape from SE" in one(items, "not-checked").next_act
    )


def test_the_list_is_in_order_of_urgency_then_of_its_parts(check: Check) -> None:
    items = check(faulty())
    groups = ["locations", "levels", "setbacks", "flotation", "tests", "evidence"]
    order = [(each.outcome.rank, groups.index(each.group)) for each in items]
    assert order == sorted(order)


# ------------------------------------------------------------ the command


def test_the_command_ends_complete_without_calling_it_a_release(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("site", **Site().sheets()))
    result = run("backfill-check", NAME, "--on", DAY)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines()[-1] == "Record complete. Not a release to backfill: the authority decides."
    assert "\x1b[" not in result.stdout
    assert max(map(len, result.stdout.splitlines())) <= 100


def test_the_command_says_what_is_lacking_with_status_1(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("site", **faulty().sheets()))
    result = run("backfill-check", NAME, "--on", DAY)
    assert result.exit_code == 1
    assert result.stdout.splitlines()[-2:] == [
        "Record not complete: 2 outside the rule, 2 missing, 1 doubtful.",
        "Not a release to backfill: the authority decides.",
    ]
    headings = [line for line in result.stdout.splitlines() if re.fullmatch(r"[A-Z ]+ \(\d+\)", line)]
    assert headings == ["OUTSIDE THE RULE (2)", "MISSING (2)", "DOUBTFUL (1)"]
    everything = run("backfill-check", NAME, "--on", DAY, "--all").stdout
    assert "DONE (" in everything


def test_the_json_has_every_item_with_its_keys(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("site", **faulty().sheets()))
    said = parsed(run("backfill-check", NAME, "--on", DAY, "--json"))
    assert list(said) == ["property", "on", "rules", "complete", "counts", "sentence", "items"]
    assert (said["complete"], said["counts"]["missing"], said["rules"]["name"]) == (False, 2, "common")
    keys = ["code", "group", "subject", "outcome", "message", "measured", "limit", "source", "next_act"]
    assert all(list(item) == keys for item in said["items"])


def test_the_sample_property_passes_with_a_few_honest_doubts() -> None:
    items = check_before_backfill(locate(read_sheets(SAMPLE).record), date(2017, 7, 1))
    photos = [each for each in items if each.code == "no-photo"]  # attached to the record, not part of the sheets
    assert [each for each in left(list(items)) if each[1] != "no-photo"] == [
        ("doubtful", "not-checked", "electrical cable/tank end"),
        ("doubtful", "others-not-checked", "15 points"),
        ("doubtful", "outline-direction", "pump tank"),
        ("doubtful", "tank-drop", "septic tank"),
        ("doubtful", "floats", "pump tank"),
        ("doubtful", "water-inside", "pump tank"),
    ]
    assert len(photos) <= 1


def test_the_sample_as_loaded_with_its_photos_is_complete_but_for_its_doubts(run: Run, loaded: Path) -> None:
    result = run("backfill-check", SAMPLE_NAME, "--on", "2017-07-01")
    assert (result.exit_code, result.stderr) == (1, "")
    assert result.stdout.splitlines()[-2:] == [
        "Record complete but for 6 doubts, see above.",
        "Not a release to backfill: the authority decides.",
    ]


def test_the_installer_needs_one_command_only(run: Run, loaded: Path) -> None:
    """What `ready` would list is in the list as well, point by point or in one line."""
    items = parsed(run("backfill-check", SAMPLE_NAME, "--on", "2017-07-01", "--json"))["items"]
    missing = parsed(run("ready", SAMPLE_NAME, "--json"))["missing"]
    words = " ".join(each["message"] for each in items)
    assert missing
    assert all(each["subject"] in words for each in missing[:4])


def test_a_tape_that_disagrees_is_in_the_list(check: Check) -> None:
    """The truth moved for one tape: as if a point had been taped 3 ft wrong from one corner."""
    site = Site()
    sheets = site.sheets()
    row = next(each for each in sheets["points"] if each[:2] == ["septic tank", "outlet lid"])
    row[3] = "56' 6\""
    site_sheets = sheets

    class Written(Site):
        def sheets(self) -> dict[str, object]:
            return site_sheets

    items = check(Written())
    assert any(each.code == "tape-again" and each.outcome is Outcome.MISSING for each in items)


# ------------------------------------------------------------ each part, just inside and just outside


@pytest.mark.parametrize(
    ("drop_in", "outcome"),
    [(2.3, Outcome.DONE), (2.04, Outcome.DOUBTFUL), (1.7, Outcome.OUTSIDE)],
)
def test_inlet_above_outlet_is_kept_too_close_or_short(check: Check, drop_in: float, outcome: Outcome) -> None:
    """Two rod readings at 50 ft: 95 % of differences within 0.18 in (read 1.5 mm, written to 0.01 ft)."""
    site = Site()
    site.inverts["effluent line/tank outlet"] = round(96.50 - drop_in / 12, 2)
    assert one(check(site), "tank-drop").outcome is outcome


@pytest.mark.parametrize(
    ("fall_ft", "outcome"), [(0.20, Outcome.DONE), (0.167, Outcome.DOUBTFUL), (0.13, Outcome.OUTSIDE)]
)
def test_a_sewer_of_four_inches_falls_an_eighth_of_an_inch_a_foot(
    check: Check, fall_ft: float, outcome: Outcome
) -> None:
    """16 ft of it: 2 in or 0.167 ft is an eighth of an inch a foot."""
    site = Site()
    site.inverts["building sewer/house exit"] = 96.50 + fall_ft
    assert one(check(site), "fall", "building sewer").outcome is outcome


def test_a_sewer_that_was_not_levelled_is_a_doubt(check: Check) -> None:
    site = Site()
    del site.inverts["building sewer/house exit"]
    assert one(check(site), "fall-unknown").subject == "building sewer"


@pytest.mark.parametrize(("low_in", "outcome"), [(0.2, Outcome.DONE), (0.5, Outcome.DOUBTFUL), (0.9, Outcome.OUTSIDE)])
def test_a_trench_keeps_the_declared_tolerance_or_not(check: Check, low_in: float, outcome: Outcome) -> None:
    site = Site()
    site.inverts["lateral 1/turn-up"] -= low_in / 12
    assert one(check(site), "level-spread", "lateral 1").outcome is outcome


def gravity(**inverts: float) -> Site:
    """Give the property with gravity trenches, no declared tolerance, each falling 2.4 in/100 ft (0.08 ft in 40 ft)."""
    site = Site()
    site.toml = site.toml.replace("level_tolerance = '1/2\"'\n", "")
    for k in (1, 2):
        site.component(f"lateral {k}")["kind"] = "trench"
        site.inverts[f"lateral {k}/turn-up"] -= 0.08
    site.inverts |= {f"lateral 1/{name}": level for name, level in inverts.items()}
    return site


UNDECLARED = ("doubtful", "tolerance-undeclared", "level_tolerance")


def test_without_a_declared_tolerance_the_cited_slope_holds_and_the_lack_is_said(check: Check) -> None:
    assert left(check(gravity())) == [UNDECLARED]
    steep = [each for each in check(gravity(**{"turn-up": 95 - 0.17})) if each.outcome is Outcome.OUTSIDE]
    assert [(each.code, each.subject, each.measured, each.limit) for each in steep] == [
        ("level-slope", "lateral 1", "5.1 in/100 ft", "at most 4 in/100 ft")
    ]


def test_a_gravity_trench_that_is_too_flat_is_outside_unless_it_was_declared_level(check: Check) -> None:
    """At least 1/2 in per 100 ft (Rapid City SD 13.20.500); other codes ask for a level bottom."""
    site = gravity(**{"turn-up": 95.0})
    flat = [each for each in check(site) if each.outcome is not Outcome.DONE and each.code == "level-slope"]
    assert [(each.subject, each.limit) for each in flat] == [("lateral 1", "at least 0.5 in/100 ft")]
    site.toml = Site().toml
    assert not [each for each in check(site) if each.code == "level-slope" and each.outcome is not Outcome.DONE]


def test_a_local_step_shows_though_the_ends_keep_the_slope(check: Check) -> None:
    """Level for 30 ft, 0.08 ft down in the next 6 ft (16 in/100 ft), level to the end."""
    site = gravity(upper=95.0, lower=94.92)
    for name, east in (("upper", -55.0), ("lower", -61.0)):
        site.places[f"lateral 1/{name}"] = (east, 62.0)
    order = ("near end", "upper", "lower", "turn-up")
    site.places = {
        **{name: place for name, place in site.places.items() if not name.startswith("lateral 1/")},
        **{f"lateral 1/{name}": site.places[f"lateral 1/{name}"] for name in order},
    }
    broken = [each for each in check(site) if each.outcome is Outcome.OUTSIDE]
    assert [(each.code, each.measured) for each in broken] == [("level-slope", "16.0 in/100 ft")]
    assert "lateral 1, upper to lower" in broken[0].words


def test_pressure_laterals_follow_the_design_and_only_the_declared_tolerance(check: Check) -> None:
    site = Site()
    site.toml = site.toml.replace("level_tolerance = '1/2\"'\n", "")
    site.inverts["lateral 1/turn-up"] -= 2 / 12  # 5 in/100 ft
    assert left(check(site)) == [UNDECLARED]
    assert "Held against nothing." in one(check(site), "tolerance-undeclared").words


def test_usual_holes_and_runs_dead_level_by_laser_pass(check: Check) -> None:
    """Common practice: 3/16-in holes every 4 ft in 1-1/2-in pipe, runs dead level by laser."""
    site = Site()
    for k in (1, 2):
        usual = {"orifice": '3/16"', "orifices": "11", "spacing": "4' 0\"", "pipe": "1-1/2 in sch 40"}
        site.component(f"lateral {k}").update(usual)
        assert site.inverts[f"lateral {k}/near end"] == site.inverts[f"lateral {k}/turn-up"]
    items = check(site)
    assert left(items) == []
    assert one(items, "level-spread", "lateral 1").measured == "0.0 in"
    assert one(items, "orifice", "lateral 1").measured == "0.1875 in"
    assert not [each for each in items if each.code == "level-slope"]


@pytest.mark.parametrize(("depth", "outcome"), [("3' 0\"", Outcome.DONE), ("3' 0 1/2\"", Outcome.OUTSIDE)])
def test_a_trench_is_at_most_three_feet_deep(check: Check, depth: str, outcome: Outcome) -> None:
    site = Site()
    site.readings = [(c, r, depth if (c, r) == ("lateral 1", "depth-uphill") else v) for c, r, v in site.readings]
    found = [each for each in check(site) if each.code == "trench-depth" and "depth-uphill" in each.words]
    assert found[0].outcome is outcome


@pytest.mark.parametrize(
    ("well_x", "outcome"), [(86.5, Outcome.DONE), (84.5, Outcome.DOUBTFUL), (82.5, Outcome.OUTSIDE)]
)
def test_a_setback_is_clear_too_close_to_call_or_short(check: Check, well_x: float, outcome: Outcome) -> None:
    """The tank's east end lies at 34.5 ft: 52, 50 and 48 ft; the accuracy is a few inches."""
    site = Site()
    site.places["well/casing"] = (well_x, 42.5)
    site.places["water line/at well"] = (well_x - 1, 42.0)
    item = one(check(site), "setback", "septic tank to well")
    assert item.outcome is outcome
    told = {Outcome.DONE: "clear", Outcome.DOUBTFUL: "too close to call", Outcome.OUTSIDE: "short"}
    assert item.words.endswith(f"at least 50 ft: {told[outcome]}.")


def test_a_trench_without_a_width_may_be_nearer_than_its_pipe(check: Check) -> None:
    """Lateral 2 to the foundation: with 11 ft to the pipe a trench of 3 ft is at 9 1/2 ft."""
    site = Site()
    site.places["lateral 1/near end"] = (-11.0, 20.0)
    site.places["lateral 1/turn-up"] = (-51.0, 20.0)
    site.component("lateral 1")["width"] = ""
    doubtful = one(check(site), "setback", "lateral 1 to building")
    assert doubtful.outcome is Outcome.DOUBTFUL
    site.component("lateral 1")["width"] = "3' 0\""
    assert one(check(site), "setback", "lateral 1 to building").outcome is Outcome.OUTSIDE


def test_a_property_line_is_printed_as_apparent_with_its_pins_and_who_showed_it(check: Check) -> None:
    site = Site()
    items = check(site)
    near = [each for each in items if each.code == "setback" and "to property line" in each.subject]
    assert near
    assert all("apparent line; not a boundary survey" in each.words for each in near)
    assert "pins found: 4 of 4; shown by: the owner" in one(items, "line").words
    site.component("property line")["shown_by"] = ""
    assert one(check(site), "line").outcome is Outcome.DOUBTFUL


def test_what_is_not_recorded_is_said_not_to_be_looked_at(check: Check, run: Run, write_sheets: WriteSheets) -> None:
    assert "surface water, easement" in one(check(Site()), "not-looked-at").words
    run("load", write_sheets("other", **Site().sheets()))
    assert "surface water, easement" in run("backfill-check", NAME, "--on", DAY).stdout


def test_a_tank_of_one_lid_has_no_measured_direction(check: Check) -> None:
    site = Site()
    del site.places["pump tank/west end"]
    items = check(site)
    assert left(items) == [("doubtful", "outline-direction", "pump tank")]


def test_a_place_rougher_than_half_a_foot_is_outside(check: Check) -> None:
    site = Site()
    site.toml = site.toml.replace('care = "careful"', 'care = "careful"\ntape_sigma = "0.4 ft"')
    rough = [each for each in check(site) if each.code == "accuracy" and each.outcome is Outcome.OUTSIDE]
    assert rough
    assert all(each.limit == "at most 0.5 ft" and "our reading" in each.words for each in rough)


@pytest.mark.parametrize(
    ("reading", "component"),
    [("watertightness", "septic tank"), ("plumbing-test", "building sewer"), ("alarm-test", "pump tank")],
)
def test_a_failed_test_is_outside_and_a_missing_one_is_missing(check: Check, reading: str, component: str) -> None:
    site = Site()
    failed = [(c, r, "failed" if (c, r) == (component, reading) else v) for c, r, v in site.readings]
    site.readings = failed
    assert left(check(site)) == [("outside the rule", reading, component)]
    site.readings = [each for each in failed if each[:2] != (component, reading)]
    assert left(check(site)) == [("missing", "not-told", component)]


def with_reading(component: str, reading: str, value: str) -> Site:
    site = Site()
    site.readings = [each for each in site.readings if each[:2] != (component, reading)]
    site.readings.append((component, reading, value))
    return site


def test_the_alarm_stands_above_the_start_whichever_way_it_is_measured(check: Check) -> None:
    assert left(check(with_reading("pump tank", "float-alarm", '17"'))) == [
        ("outside the rule", "floats-in-order", "pump tank")
    ]
    site = Site()
    down = {"float-off": '30"', "float-on": '24"', "float-alarm": '18"'}
    site.readings = [(c, r, down.get(r, v)) for c, r, v in site.readings]
    assert left(check(site)) == []


def test_an_alarm_on_the_pumps_breaker_is_outside(check: Check) -> None:
    site = Site()
    site.toml = site.toml.replace('"no. 16"', '"No.  14"')
    assert left(check(site)) == [("outside the rule", "alarm-circuit", "alarm")]


def test_one_squirt_height_alone_leaves_the_lateral_open(check: Check) -> None:
    site = Site()
    site.readings = [each for each in site.readings if each[:2] != ("lateral 1", "squirt-first")]
    assert left(check(site)) == [
        ("missing", "not-told", "lateral 1"),
        ("doubtful", "squirt-untold", "lateral 1"),
    ]
    assert one(check(site), "squirt-untold").outcome is Outcome.DOUBTFUL


def test_without_the_size_of_its_holes_the_head_cannot_be_told(check: Check) -> None:
    site = Site()
    site.component("lateral 2")["orifice"] = ""
    assert left(check(site)) == [("doubtful", "orifice-untold", "lateral 2")]


@pytest.mark.parametrize(
    ("state", "expected"),
    [
        ("", [("missing", "inspection", "inspection")]),
        ('state = "not called"', [("doubtful", "inspection", "inspection")]),
        ('state = "called"\ncalled_on = 2026-05-01', [("doubtful", "inspection", "inspection")]),
        ('state = "came"', [("doubtful", "inspection", "inspection")]),
        ('state = "released"', [("missing", "inspection", "inspection")]),
        ('state = "released"\nreleased_on = 2026-05-01\nby = "x"', []),
    ],
)
def test_only_the_authority_releases_and_it_is_said_how_far_it_is(
    check: Check, state: str, expected: list[tuple[str, str, str]]
) -> None:
    site = Site()
    before, _, rest = site.toml.partition("[inspection]")
    site.toml = f"{before}[inspection]\n{state}\n[drawing]{rest.partition('[drawing]')[2]}"
    assert left(check(site)) == expected


def test_what_was_left_in_the_ground_must_be_located_and_closed(check: Check) -> None:
    site = Site()
    site.components.append({"name": "old tank", "kind": "septic tank", "status": "abandoned in place"})
    lacking = one(check(site), "abandoned")
    assert (lacking.outcome, "where it is, how it was closed" in lacking.words) == (Outcome.MISSING, True)
    site.places["old tank/middle"] = (60.0, 20.0)
    site.component("old tank")["closed_how"] = "pumped, crushed, filled with sand"
    assert left(check(site)) == []


def test_a_tracer_wire_needs_an_end_that_comes_up(check: Check) -> None:
    site = Site()
    site.component("transport line")["marker_end"] = ""
    assert left(check(site)) == [("missing", "tracer-end", "transport line")]


def test_described_reference_points_are_counted(check: Check, write_sheets: WriteSheets) -> None:
    sheets = Site().sheets()
    sheets["reference_points"] = [["name", "description"], ["SW", "chalk"], ["SE", ""], ["NE", ""], ["NW", ""]]
    record = read_sheets(write_sheets("bare", **sheets)).record
    items = list(check_before_backfill(locate(record), DAY))
    assert left(items) == [("missing", "reference-points", "reference points")]


def test_a_draft_is_never_complete(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("site", **Site().sheets()), "--draft")
    said = parsed(run("backfill-check", NAME, "--on", DAY, "--json"))
    assert [each["code"] for each in said["items"] if each["outcome"] != "done"] == ["draft"]


def test_a_component_that_is_not_there_yet_is_not_asked_about(check: Check) -> None:
    site = Site()
    site.components.append({"name": "second tank", "kind": "septic tank", "installed_on": "2026-09-01"})
    assert left(check(site)) == []


def test_bare_tanks_say_what_water_holds_them(check: Check) -> None:
    """Septic tank: 11 x 5 x 5.5 ft outside, 11,000 lb; uplift 62.4 x 302.5 = 18,876 lb; inside plan 10.5 x 4.5 ft."""
    inches = (62.4 * 11 * 5 * 5.5 - 11000) / (62.4 * 10.5 * 4.5) * 12
    item = one(check(Site()), "water-inside", "septic tank")
    told = re.match(r"(\d+)' ([\d /]+)\"", item.measured or "")
    assert told is not None
    assert 12 * int(told[1]) + sum(map(_number, told[2].split())) == pytest.approx(inches, abs=0.26)
    assert "A quarter of its height would not hold this one." in item.words
    assert (
        "Tank empty. Only the soil straight over the tank counts" in one(check(Site()), "floats", "septic tank").words
    )


def test_water_that_holds_a_tank_of_unknown_walls_is_a_doubt_with_its_reason(check: Check) -> None:
    site = Site()
    site.component("septic tank")["wall"] = ""
    item = one(check(site), "water-inside", "septic tank")
    assert item.outcome is Outcome.DOUBTFUL
    assert (item.measured or "").startswith("at least ")
    assert "It may need more, for the room in it" in item.words and "no wall thickness recorded" in item.words
    assert item.next_act.endswith("Fill wall, or gal_per_in, in components.csv.")


def test_a_lying_tank_is_told_what_water_holds_it(check: Check) -> None:
    site = Site()
    site.component("septic tank").update({"form": "lying", "height": "", "weight_lb": "5000"})
    item = one(check(site), "water-inside", "septic tank")
    assert (item.outcome, item.measured is not None) == (Outcome.DONE, True)


def test_where_the_water_cannot_be_told_the_true_reason_is_said(check: Check) -> None:
    site = Site()
    site.component("septic tank")["weight_lb"] = ""
    site.component("pump tank")["height"] = ""
    items = check(site)
    assert "without its weight on record" in one(items, "water-inside", "septic tank").words
    assert "without its outside sizes on record" in one(items, "water-inside", "pump tank").words


def _number(text: str) -> float:
    top, _, bottom = text.partition("/")
    return float(top) / float(bottom or 1)


def test_without_a_weight_nobody_can_tell(check: Check) -> None:
    site = Site()
    site.component("pump tank")["weight_lb"] = ""
    items = check(site)
    assert left(items) == [("doubtful", "floats", "pump tank"), ("doubtful", "water-inside", "pump tank")]
    assert "cannot tell: treat as able to float" in one(items, "floats", "pump tank").words


# ------------------------------------------------------------ cover, and soil over a limiting layer


def minnesota(*readings: tuple[str, str, str]) -> Site:
    """Give the property under Minnesota's rules, with the drop, the fall and the reserve that these ask for."""
    site = Site()
    site.toml = site.toml.replace('units = "ft-in"', 'units = "ft-in"\nrules = "minnesota"')
    site.readings += readings
    return site


@pytest.mark.parametrize(
    ("layer", "outcome"), [("5' 3\"", Outcome.DONE), ("5' 0\"", Outcome.DOUBTFUL), ("4' 9\"", Outcome.OUTSIDE)]
)
def test_soil_under_a_trench_is_counted_from_its_deeper_side(check: Check, layer: str, outcome: Outcome) -> None:
    """The bottom lies 2 ft down uphill; Minnesota asks for 3 ft (from memory); both depths are good to 2 cm."""
    items = check(minnesota(("lateral 1", "limiting-layer", layer), ("lateral 2", "limiting-layer", "6' 0\"")))
    assert one(items, "separation", "lateral 1").outcome is outcome


def test_a_limiting_layer_that_is_not_recorded_is_a_doubt_where_a_rule_asks(check: Check) -> None:
    items = check(minnesota())
    assert [each.subject for each in items if each.code == "separation"] == ["lateral 1", "lateral 2"]
    assert all(each.outcome is Outcome.DOUBTFUL for each in items if each.code == "separation")
    assert not [each for each in check(Site()) if each.code == "separation"]


@pytest.mark.parametrize(("cover", "outcome"), [("3' 9\"", Outcome.DONE), ("4' 3\"", Outcome.OUTSIDE)])
def test_a_tank_may_lie_four_feet_deep_at_most(check: Check, cover: str, outcome: Outcome) -> None:
    site = minnesota()
    site.component("septic tank")["cover"] = cover
    assert one(check(site), "cover", "septic tank").outcome is outcome


def covered(site: Site, write_sheets: WriteSheets, **depths: str) -> list[CheckItem]:
    """Check a property with depths noted at points of its septic tank."""
    sheets = site.sheets()
    column = sheets["points"][0].index("depth")
    for name, depth in depths.items():
        next(each for each in sheets["points"] if each[:2] == ["septic tank", name.replace("_", " ")])[column] = depth
    return list(check_before_backfill(locate(read_sheets(write_sheets("covered", **sheets)).record), DAY))


def test_the_depth_of_a_lid_on_a_riser_is_not_the_soil_over_the_tank(write_sheets: WriteSheets) -> None:
    """Lids 6 in down, the tank's top 4 ft 3 in: Minnesota's county asks for 4 ft at most."""
    site = minnesota()
    site.component("septic tank")["cover"] = "4' 3\""
    item = one(covered(site, write_sheets, inlet_lid='6"', outlet_lid='6"'), "cover", "septic tank")
    assert (item.outcome, item.measured) == (Outcome.OUTSIDE, "4' 3\"")


def test_lid_depths_alone_do_not_tell_the_soil_over_a_tank(write_sheets: WriteSheets) -> None:
    site = minnesota()
    site.component("septic tank")["cover"] = ""
    items = covered(site, write_sheets, inlet_lid='6"', outlet_lid='6"')
    assert one(items, "cover-unknown", "septic tank").outcome is Outcome.DOUBTFUL


def test_a_shot_top_of_the_tank_itself_tells_the_soil_over_it(write_sheets: WriteSheets) -> None:
    site = minnesota()
    site.places["septic tank/top of its east end"] = (34.5, 42.5)
    sheets = site.sheets()
    for to, rod in (("top", "8.30"), ("grade", "4.00")):
        sheets["levels"].append(["1", "septic tank/top of its east end", to, "", rod, "50"])
    items = list(check_before_backfill(locate(read_sheets(write_sheets("shot", **sheets)).record), DAY))
    item = one(items, "cover", "septic tank")
    assert (item.outcome, item.measured) == (Outcome.OUTSIDE, "4' 3 1/2\"")


def test_a_flushing_turn_up_does_not_tell_the_soil_over_its_lateral(write_sheets: WriteSheets) -> None:
    """It ends under a valve box, inches below the ground; the near end of the lateral lies 1 ft down."""
    sheets = Site().sheets()
    column = sheets["points"][0].index("depth")
    for point, depth in (("near end", "1' 0\""), ("turn-up", '2"')):
        next(each for each in sheets["points"] if each[:2] == ["lateral 1", point])[column] = depth
    items = list(check_before_backfill(locate(read_sheets(write_sheets("covered", **sheets)).record), DAY))
    assert one(items, "cover", "lateral 1").measured == "1' 0\""


def test_soil_over_a_part_that_no_rule_limits_is_told_all_the_same(check: Check) -> None:
    items = check(Site())
    tank, sewer = (one(items, "cover", name) for name in ("septic tank", "building sewer"))
    for item, soil in ((tank, "1' 6\""), (sewer, "1' 8\"")):  # the sewer: 2 ft to the invert of a 4-in pipe
        assert (item.outcome, item.measured, item.limit) == (Outcome.DONE, soil, None)
        assert item.words.endswith("no limit in the profile.")


def test_a_pipe_that_lies_too_shallow_is_outside(check: Check, write_sheets: WriteSheets) -> None:
    sheets = Site().sheets()
    depth = sheets["points"][0].index("depth")
    row = next(each for each in sheets["points"] if each[:2] == ["effluent line", "bend"])
    row[depth] = '7"'  # to the invert of a 4-in pipe: 3 in of soil
    record = read_sheets(write_sheets("shallow", **sheets)).record
    item = one(list(check_before_backfill(locate(record), DAY)), "cover", "effluent line")
    assert (item.outcome, item.measured, item.limit) == (Outcome.OUTSIDE, "0' 3\"", "at least 6 in")


@pytest.mark.parametrize(("size", "codes"), [('3/16"', []), ('5/32"', []), ('3/32"', ["orifice"])])
def test_holes_are_held_against_the_least_size_and_the_head_that_their_size_needs(
    check: Check, size: str, codes: list[str]
) -> None:
    """Holes of 5/32 in need 5 ft of head: 5 ft 1 in is there; with 4 ft 11 in it is not."""
    site = Site()
    site.component("lateral 1")["orifice"] = size
    assert [each[1] for each in left(check(site))] == codes
    site.readings = [(c, r, "4' 11\"" if (c, r) == ("lateral 1", "squirt-last") else v) for c, r, v in site.readings]
    short = [each.code for each in check(site) if each.code == "residual-head" and each.outcome is Outcome.OUTSIDE]
    assert bool(short) is (size != '3/16"')


@pytest.mark.parametrize(("first", "outcome"), [("6' 0\"", Outcome.DONE), ("6' 1\"", Outcome.OUTSIDE)])
def test_a_lateral_is_at_most_21_percent_uneven(check: Check, first: str, outcome: Outcome) -> None:
    """5 ft at the last orifice: 72 to 60 in is 20 %, 73 to 60 in is 21.7 %."""
    site = Site()
    heights = {"squirt-first": first, "squirt-last": "5' 0\""}
    site.readings = [(c, r, heights.get(r, v) if c == "lateral 1" else v) for c, r, v in site.readings]
    assert one(check(site), "squirt-lateral", "lateral 1").outcome is outcome


# ------------------------------------------------------------ kinds that no rule knows


def renamed(name: str, kind: str) -> Site:
    site = Site()
    site.component(name)["kind"] = kind
    return site


def test_a_kind_that_no_rule_knows_is_said_with_those_that_are_like_it(check: Check) -> None:
    item = one(check(renamed("effluent line", "mystery conveyance")), "kind-unknown", "effluent line")
    assert (item.outcome, item.measured) == (Outcome.DOUBTFUL, "mystery conveyance")
    assert "no rule of the profile knows the kind “mystery conveyance”: nothing of it was checked" in item.words
    item = one(check(renamed("control panel", "alarm panel")), "kind-unknown", "control panel")
    assert "control panel" in item.next_act


def test_a_tank_that_is_only_called_a_tank_is_checked_as_one_and_doubted(check: Check) -> None:
    items = check(renamed("septic tank", "two-chamber tank"))
    item = one(items, "kind-unknown", "septic tank")
    assert "only what holds for every tank was checked" in item.words
    assert "septic tank" in item.next_act
    codes = {each.code for each in items if each.subject.startswith("septic tank")}
    assert codes >= {"outline", "points-there", "setback", "floats", "accuracy", "watertightness"}


@pytest.mark.parametrize("kind", ["house sewer", "plain sewer", "sewer line"])
def test_a_building_sewer_by_another_name_is_checked_as_one(check: Check, kind: str) -> None:
    assert left(check(renamed("building sewer", kind))) == []
    site = renamed("building sewer", kind)
    site.inverts["building sewer/house exit"] = 96.5  # no fall at all
    assert one(check(site), "fall", "building sewer").outcome is Outcome.OUTSIDE


def test_what_has_no_point_at_all_is_missing_but_not_what_lies_in_a_tank_or_stands_on_the_yard(check: Check) -> None:
    site = Site()
    site.components += [
        {"name": "curtain", "kind": "curtain drain"},
        {"name": "filter", "kind": "effluent filter"},
        {"name": "fence", "kind": "fence"},
        {"name": "gas", "kind": "propane tank"},
    ]
    assert left(check(site)) == [
        ("missing", "not-located", "curtain"),
        ("doubtful", "kind-unknown", "curtain"),
    ]


def test_points_of_components_without_a_row_are_not_passed_in_silence(write_sheets: WriteSheets) -> None:
    sheets = {name: rows for name, rows in Site().sheets().items() if name not in ("components", "readings")}
    items = list(check_before_backfill(locate(read_sheets(write_sheets("bare", **sheets)).record), DAY))
    assert "its kind is not recorded" in one(items, "kind-unknown", "septic tank").words


def test_a_sewer_cleanout_is_asked_for_its_cap_and_a_valve_box_for_its_lid(check: Check) -> None:
    site = Site()
    for name, kind, x in (("cleanout", "sewer cleanout", 23.2), ("box", "valve box", -20.0)):
        site.components.append({"name": name, "kind": kind})
        site.places[f"{name}/lid"] = (x, 40.0)
        site.photos.append(f"{name}/lid")
    assert left(check(site)) == []


@pytest.mark.parametrize(("width", "outcome"), [("3' 0\"", Outcome.DONE), ("3' 1\"", Outcome.OUTSIDE)])
def test_a_trench_is_at_most_three_feet_wide(check: Check, width: str, outcome: Outcome) -> None:
    """Rapid City SD 13.20.500."""
    site = Site()
    site.component("lateral 1")["width"] = width
    assert one(check(site), "trench-width", "lateral 1").outcome is outcome


def test_the_source_of_the_inspection_is_that_of_the_profile(check: Check) -> None:
    assert "WAC" not in (one(check(Site()), "inspection").source or "")
    site = Site()
    site.toml = site.toml.replace('units = "ft-in"', 'units = "ft-in"\nrules = "washington"')
    assert one(check(site), "inspection").source == "WAC 246-272A-0260(1)"

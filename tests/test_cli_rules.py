"""`asbuilt rules`, and a rule profile for a place that does not ship, written from README's words alone."""

from pathlib import Path

import pytest

from asbuilt.record.profiles import built_in_names
from tests.backfill_samples import DAY, NAME, Site
from tests.commands import Run, WriteSheets, parsed

OWN = """
[profile]
name = "tarn"
title = "Tarn County on-site code (invented)"
edition = "2025"
extends = "common"
local_code = "The county health office decides."

[names]
record_drawing = "As-built card"

[[limit]]
key = "setback"
value = 90
unit = "ft"
comparison = "at least"
applies_to = "septic tank"
to = "well"
reference = { code = "Tarn County Code", section = "table 4" }
standing = "seen"

[[limit]]
key = "tank_drop"
value = 4
unit = "in"
comparison = "at least"
applies_to = "septic tank"
reference = { code = "Tarn County Code", section = "12.3" }
standing = "seen"

[[required]]
kinds = ["septic tank"]
what = "vent"
words = ["vent"]
reference = { code = "Tarn County Code", section = "12.5" }
standing = "seen"

[[required_fact]]
kinds = ["well"]
what = "the casing"
columns = ["material"]
reference = { code = "Tarn County Code", section = "12.6" }
standing = "seen"
"""


def test_every_profile_is_listed_and_local_code_decides(run: Run) -> None:
    result = run("rules")
    assert (result.exit_code, result.stderr) == (0, "")
    assert all(f"\n{name}\n" in f"\n{result.stdout}" for name in built_in_names())
    assert result.stdout.rstrip().endswith("Local code decides.")
    assert [each["name"] for each in parsed(run("rules", "--json"))] == list(built_in_names())


@pytest.mark.parametrize("name", built_in_names())
def test_one_profile_is_shown_with_every_limit_and_its_source(run: Run, name: str) -> None:
    told = parsed(run("rules", name, "--json"))
    text = run("rules", name).stdout
    assert max(map(len, text.splitlines())) <= 100
    for limit in told["limits"]:
        assert f"{limit['comparison']} {limit['value']:g} {limit['unit']}" in text
        assert limit["source"]
    sources = {each["source"] for each in (*told["limits"], *told["required"], *told["facts"])}
    joined = " ".join(text.split())
    assert all(" ".join(source.split()) in joined for source in sources)


def test_washington_shows_its_edition_and_its_setbacks(run: Run) -> None:
    text = run("rules", "washington").stdout
    assert "2007 text; the chapter was revised in 2025" in text
    assert "at least 100 ft" in text
    assert "Clark County Code 24.17.120" in text


def test_a_profile_of_ones_own_is_shown_from_its_file(run: Run, folder: Path) -> None:
    (folder / "tarn.toml").write_text(OWN, encoding="utf-8")
    told = parsed(run("rules", "tarn.toml", "--json"))
    assert (told["name"], told["names"]["record_drawing"]) == ("tarn", "As-built card")
    wells = [(each["applies_to"], each["value"]) for each in told["limits"] if each["to"] == "well"]
    assert wells[:2] == [("septic tank", 90), ("tank", 50)]


def test_what_is_wrong_with_ones_own_is_told_with_table_and_key(run: Run, folder: Path) -> None:
    (folder / "tarn.toml").write_text(OWN.replace('to = "well"\n', ""), encoding="utf-8")
    result = run("rules", "tarn.toml")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "asbuilt: 1 problem in the rule profile\n"
        "tarn.toml, [[limit]] 1 to: is missing; write to = ... (a text in quotation marks)\n"
    )


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("washingtn", "\nwashingtn: is no rule profile; did you mean “washington”?"),
        ("gone.toml", "gone.toml: there is no such file; accepted: common, construction, epa, "),
    ],
)
def test_a_profile_that_is_not_there_is_refused(run: Run, name: str, line: str) -> None:
    result = run("rules", name)
    assert result.exit_code == 2
    assert line in result.stderr


def test_a_county_without_code_is_checked_by_its_own_table(run: Run, write_sheets: WriteSheets) -> None:
    """The well is 75 ft from the tank and the drop 3 in: sound by the common rules, not by this county's."""
    site = Site()
    site.toml = site.toml.replace('units = "ft-in"', 'units = "ft-in"\nrules = "tarn.toml"')
    site.files = {"tarn": OWN}
    run("load", write_sheets("site", **site.sheets()))
    said = parsed(run("backfill-check", NAME, "--on", DAY, "--json"))
    assert said["rules"]["title"] == "Tarn County on-site code (invented)"
    found = [(each["code"], each["subject"], each["source"]) for each in said["items"] if each["outcome"] != "done"]
    assert found == [
        ("tank-drop", "septic tank", "Tarn County Code 12.3"),
        ("setback", "septic tank to well", "Tarn County Code table 4"),
        ("point-missing", "septic tank", "Tarn County Code 12.5"),
        ("not-told", "well", "Tarn County Code 12.6"),
    ]

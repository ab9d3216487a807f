"""`asbuilt pump`, `asbuilt service-sheet` and `asbuilt alarm-sheet`: what they print, write and refuse."""

from pathlib import Path

import pytest

from tests.commands import SAMPLE_NAME, Run, files_below, parsed

ON = ("--on", "2026-06-01")
CHANGE = (
    "pump tank: the time for one dose was 1 min 32 s on 2022-08-13 and is 1 min 50 s on 2026-04-18, 20 % more. Likely "
    "causes (common practice): the pump is worn or its screen clogged, orifices are blocked, or a valve is partly shut."
)


def test_pump_prints_the_figures_and_says_what_changed(run: Run, loaded: Path) -> None:
    result = run("pump", SAMPLE_NAME, *ON)
    assert (result.exit_code, result.stderr) == (1, f"attention: {CHANGE}\n")
    for words in (
        "gallons an inch     13.71 (66 x 48 in inside)",
        "dose                82.3 gal between the floats",
        "drains back         8.4 gal from transport line (48 ft of 2.067 in inside)",
        "above the alarm     315 gal, 32 hours at 232 gal a day",
        "2024-05-14  2026-04-18        232  cycle-counter: 2,211 doses of 82.3 gal less 8.4 that drain back",
    ):
        assert words in result.stdout
    assert max(map(len, result.stdout.splitlines())) <= 100


def test_the_json_of_pump_says_the_same(run: Run, loaded: Path) -> None:
    result = run("pump", SAMPLE_NAME, *ON, "--json")
    (found,) = parsed(result)
    assert result.exit_code == 1
    assert found["gal_per_in"] == pytest.approx(66 * 48 / 231, abs=5e-5)
    assert found["dose_gal"] == pytest.approx(6 * 66 * 48 / 231, abs=5e-3)
    assert found["reserve_gal"] == pytest.approx(23 * 66 * 48 / 231, abs=5e-3)
    assert [flow["gal_per_day"] for flow in found["flows"]] == pytest.approx(
        [111.14, 176.96, 235.89, 242.21, 232.03], abs=0.5
    )
    assert [finding["code"] for finding in found["findings"]] == ["dose-time-up"]


def test_between_gives_the_gallons_a_day_of_any_two_entries(run: Run, loaded: Path) -> None:
    result = run("pump", SAMPLE_NAME, *ON, "--between", "2017-06-28", "2026-04-18")
    days = 3216  # from 2017-06-28 to 2026-04-18
    assert f"2017-06-28 to 2026-04-18: {(8833 - 14) * 73.879 / days:.0f} gal a day" in result.stdout
    refused = run("pump", SAMPLE_NAME, *ON, "--between", "2017-06-28", "2018-01-01")
    assert refused.exit_code == 2
    assert refused.stderr == (
        "asbuilt: pump tank: no counter tells the days from 2017-06-28 to 2018-01-01; read on: 2017-06-28, 2019-05-11, "
        "2020-06-06, 2022-08-13, 2024-05-14, 2026-04-18\n"
    )


@pytest.mark.parametrize("command", ["pump", "alarm-sheet"])
def test_before_there_is_a_pump_tank_it_is_refused_with_the_kinds_that_are_meant(
    run: Run, folder: Path, loaded: Path, command: str
) -> None:
    before = files_below(folder)
    result = run(command, SAMPLE_NAME, "--on", "2016-01-01")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"asbuilt: {SAMPLE_NAME}: no component of kind pump tank, dosing tank, dose tank, pump chamber or dosing "
        "chamber in components.csv stands on 2016-01-01\n"
    )
    assert files_below(folder) == before


@pytest.mark.parametrize(("command", "what"), [("service-sheet", "service"), ("alarm-sheet", "alarm")])
def test_a_sheet_is_written_once_and_replaced_only_when_asked(run: Run, loaded: Path, command: str, what: str) -> None:
    result = run(command, SAMPLE_NAME, *ON)
    name = f"fernbank-lane-14-{what}.pdf"
    assert (result.exit_code, result.stdout, result.stderr) == (0, f"{name}: the {what} sheet of {SAMPLE_NAME}\n", "")
    assert Path(name).read_bytes().startswith(b"%PDF-")
    before = files_below(loaded.parent)
    again = run(command, SAMPLE_NAME, *ON)
    assert (again.exit_code, again.stderr) == (
        2,
        f"asbuilt: {name}: the file is there already; --overwrite replaces it\n",
    )
    assert files_below(loaded.parent) == before
    assert run(command, SAMPLE_NAME, *ON, "--overwrite", "--paper", "a4", "--json").exit_code == 0
    assert Path(name).read_bytes() != before[name]


def test_a_service_sheet_of_a_component_that_is_not_there_is_refused(run: Run, loaded: Path) -> None:
    result = run("service-sheet", SAMPLE_NAME, "septic tnak", *ON)
    assert (result.exit_code, result.stderr) == (
        2,
        f"asbuilt: {SAMPLE_NAME} has no component 'septic tnak'; its tanks are: septic tank, pump tank\n",
    )
    assert not list(loaded.parent.glob("*.pdf"))


def test_what_the_alarm_sheet_leaves_blank_is_said(run: Run, write_sheets: "object", folder: Path) -> None:
    from tests.commands import two_corners

    sheets = two_corners()
    sheets["points"][1] = ["pump tank", *sheets["points"][1][1:]]
    sheets["components"] = [["name", "kind"], ["pump tank", "pump tank"]]
    assert run("load", write_sheets("bare", **sheets)).exit_code in (0, 1)  # type: ignore[operator]
    result = run("alarm-sheet", "Two Corners", "--json")
    assert result.exit_code == 0
    told = parsed(result)["findings"]
    assert [finding["code"] for finding in told] == ["alarm-sheet-blank"] * 5 + ["alarm-sheet-hours"]
    assert {finding["severity"] for finding in told} == {"note"}

"""`asbuilt next-tape` and `asbuilt ready`: which tape comes next, and the one list of what is still to be taped."""

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import Result

from asbuilt.jobs.locate import locate
from asbuilt.model.measurements import Tie
from asbuilt.record.sheets.read import read_sheets
from asbuilt.survey.planning import Planner
from asbuilt.units import Length
from tests.commands import SAMPLE, SAMPLE_NAME, Run, WriteSheets, parsed
from tests.trench import LID, NAME, house, tape, taped

RIGHT = ("--side", "right of A > B", "--held", "level")
MEANING = "Within: 19 times in 20. Worst unnoticed: how far the worst misreading that could pass would move it.\n"

Ask = Callable[..., Result]


@pytest.fixture
def loaded_house(run: Run, write_sheets: WriteSheets) -> None:
    run("load", write_sheets("sheets", **house()))


@pytest.fixture
def ask(run: Run, loaded_house: None) -> Ask:
    """Ask for the next tape at the house."""
    return lambda *words: run("next-tape", NAME, *words)


# ------------------------------------------------------------ next-tape for a point


def test_each_reference_point_is_ranked_by_what_it_would_bring(run: Run, ask: Ask) -> None:
    run("tape", NAME, "inlet lid", *taped(LID, "A", "B"), *RIGHT)
    result = ask("inlet lid")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        "septic tank/inlet lid: within 2 in now, not checked: only two measurements: a misread tape would not show; "
        "what it was measured from lies on one line\n"
        "\n"
        "ONE MORE TAPE FROM  ABOUT   THEN WITHIN  WORST UNNOTICED  A MISREAD TAPE\n"
        "C                   47' 5\"  1 1/2 in     9 in             would show\n"
        "D                   47' 5\"  1 1/2 in     9 in             would show\n"
        "garage              61' 0\"  2 in         11 ft 6 in       could pass\n"
        "\n" + MEANING
    )


def test_a_tape_along_another_one_checks_little(run: Run, ask: Ask) -> None:
    """From (20, -15) B is seen at 36.9 degrees and the garage at 35.0: nothing then checks the tape from A."""
    run("tape", NAME, "inlet lid", *taped(LID, "A", "B"), *RIGHT)
    tapes = {each["reference"]: each for each in parsed(ask("inlet lid", "--json"))["next_tapes"]}
    assert tapes["garage"]["misreading_shows"] is False
    assert tapes["C"]["misreading_shows"] is True


def test_what_cannot_be_seen_and_what_is_lost_is_left_out(run: Run, ask: Ask) -> None:
    run("tape", NAME, "inlet lid", *taped(LID, "A", "B"), *RIGHT)

    def offered(*words: str) -> list[str]:
        return [each["reference"] for each in parsed(ask("inlet lid", *words, "--json"))["next_tapes"]]

    assert offered() == ["C", "D", "garage"]  # never the post, which is gone
    assert offered("--lost", "C") == ["D", "garage"]
    assert offered("--visible", "garage", "--visible", "D") == ["D", "garage"]
    assert offered("--visible", "garage", "--lost", "garage") == []


def test_a_point_taped_from_everything_is_said(run: Run, ask: Ask) -> None:
    run("tape", NAME, "inlet lid", *taped(LID, "A", "B", "C", "D", "garage"), *RIGHT)
    assert ask("inlet lid").stdout.splitlines()[1] == "it is taped from every reference point that can be used"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ("inlet lid",),
            "the point: “septic tank/inlet lid” has no place yet; give a rough place: "
            '--wall "A > B" --along LENGTH --out LENGTH --hand left',
        ),
        (
            ("nothing",),
            "the point: “nothing” is no reference point or point; one measures from “A”, “B”, “C”, “D”, “garage”, "
            "“post”",
        ),
        (("A", "--visible", "post"), "--visible: “post” is gone since 2024-05-01; leave it away"),
        (("A", "--lost", "garrage"), "--lost: “garrage” is no reference point; did you mean “garage”?"),
        (
            ("--wall", "A - B", "--along", "1 0", "--out", "1 0"),
            '--wall: “A - B” is no wall; accepted: its two ends, such as "A > B"',
        ),
        (
            ("--wall", "A > C", "--along", "1 0", "--out", "1 0"),
            "--hand: A > C has no known outside; say --hand left or --hand right of it",
        ),
        (
            ("--wall", "A > B", "--along", "1 0", "--out", "1 0", "--lost", "A", "--lost", "C", "--lost", "D",
             "--lost", "garage"),
            "the property: 1 reference point can be used; it needs two that are measured from one another",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_planned_is_one_line(ask: Ask, words: tuple[str, ...], message: str) -> None:
    result = ask(*words)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", f"asbuilt: {message}\n")


# ------------------------------------------------------------ next-tape before anything is measured


def test_a_rough_place_gets_the_best_two_and_the_best_three_corners(ask: Ask) -> None:
    result = ask("--wall", "A > B", "--along", "20 0", "--out", "15 0")
    assert (result.exit_code, result.stderr) == (0, "")
    lines = result.stdout.splitlines()
    assert lines[0] == "rough place: 20 0 along A > B, 15 0 out to the right"
    assert lines[2:4] == ["TWO TAPES FROM  WITHIN  CROSS AT", "A, B            2 in    74 degrees"]
    assert lines[7] == "THREE TAPES FROM  WITHIN    WORST UNNOTICED"
    assert lines[-2:] == [
        MEANING.rstrip(),
        "Two tapes are never checked: a misread one would not show. Tape from three, not all on one line.",
    ]


def test_two_tapes_cross_as_reckoned_by_hand(ask: Ask) -> None:
    """From (20, -15) the rays to A (0, 0) and B (40, 0) make 2 atan(20/15) = 106.26 degrees, so 73.74."""
    two = parsed(ask("--wall", "A > B", "--along", "20 0", "--out", "15 0", "--json"))["two"]
    crossing = next(each["crossing_deg"] for each in two if each["references"] == ["A", "B"])
    assert crossing == pytest.approx(180 - 2 * np.degrees(np.arctan2(20, 15)), abs=0.1)


def test_the_best_three_are_not_on_one_line(ask: Ask) -> None:
    three = parsed(ask("--wall", "A > B", "--along", "20 0", "--out", "2 0", "--json"))["three"]
    assert three
    assert all(each["unnoticed_m"] is not None for each in three)


def test_the_hand_puts_it_on_the_other_side(ask: Ask) -> None:
    words = ("--wall", "A > B", "--along", "20 0", "--out", "14 0", "--json")
    inside = parsed(ask(*words, "--hand", "left"))["two"][0]
    assert set(inside["references"]) <= {"A", "B", "C", "D"}
    assert inside["crossing_deg"] > 60
    assert parsed(ask(*words, "--hand", "left"))["place"] == "20 0 along A > B, 14 0 out to the left"


# ------------------------------------------------------------ the promise, on the sample


def test_a_tape_that_is_said_to_show_misreadings_does_and_the_others_do_not() -> None:
    """For each unchecked point of the sample the best tape is pulled as it should read, and all is solved again."""
    record = read_sheets(SAMPLE).record
    located = locate(record)
    planner = Planner(located.joint)
    unchecked = [p for p in located.solution.points if p.place is not None and not p.checked]
    promised = 0
    for point in unchecked:
        best = planner.next_tapes(point.name)[0]
        new = Tie(best.reference, point.name, Length("as it should read", best.distance_m, 0.0127), None, "level")
        after = locate(replace(record, ties=(*record.ties, new))).solution.position(point.name)
        hidden = after.unchecked_because is not None and "misread" in after.unchecked_because
        assert best.shows_misreading is not hidden, point.name
        assert after.r95_m == pytest.approx(best.r95_m, rel=0.01), point.name
        promised += best.shows_misreading
    assert promised >= 10


# ------------------------------------------------------------ ready


def test_ready_lists_what_is_still_to_be_taped_by_urgency(run: Run, loaded_house: None) -> None:
    words = taped(LID, "A", "B", "C", "D")
    words[5] = "48 5"
    run("tape", NAME, "inlet lid", *words, *RIGHT)
    run("tape", NAME, "pump tank/lid", *taped((30, -20), "A", "B"), "--held", "level")
    run("tape", NAME, "pump tank/outlet", "A", "30 0")
    result = run("ready", NAME)
    assert (result.exit_code, result.stderr) == (1, "")
    assert result.stdout == (
        f"{NAME}: 4 things to do before it is covered\n"
        "\n"
        "Tape again: these disagree with the others (1)\n"
        "  The tape C to septic tank/inlet lid, 48 5: by all the others it is 1' 0\" too long. Measure again:\n"
        "      C to septic tank/inlet lid 48 5 may have been 47 5 (1 ft off).\n"
        "\n"
        "Not taped at all (1)\n"
        "  septic tank/outlet lid is listed but nothing is measured to it. Tape it from three reference\n"
        "      points before it is covered.\n"
        "\n"
        "Say which side, or tape once more (1)\n"
        "  pump tank/lid fits two places, 40' 0\" apart: 20' 0\" left (inside the house) or 20' 0\" right of the\n"
        "      line A > B. Note the side, such as `left of A > B`, or tape it from a point well off that\n"
        "      line.\n"
        "\n"
        "Taped, but without a place yet (1)\n"
        "  pump tank/outlet has a tape from A only, which leaves it anywhere on a circle. Tape it from a\n"
        "      second and a third reference point.\n"
    )


def test_an_unchecked_point_is_listed_with_its_next_tape(run: Run, loaded_house: None) -> None:
    run("tape", NAME, "inlet lid", *taped(LID, "A", "B"), *RIGHT)
    run("tape", NAME, "outlet lid", *taped((26, -15), "A", "B", "C"), *RIGHT)
    result = run("ready", NAME)
    assert result.exit_code == 1
    assert result.stdout == (
        f"{NAME}: 1 thing to do before it is covered\n"
        "\n"
        "One more tape: a misread one would not show (1)\n"
        "  septic tank/inlet lid: only two measurements: a misread tape would not show; what it was measured\n"
        "      from lies on one line; next: a tape from C (about 47' 5\"): within 1 1/2 in, and a misread tape\n"
        "      would show\n"
    )
    run("tape", NAME, "inlet lid", "C", tape("C"), "--held", "level")
    done = run("ready", NAME)
    assert (done.exit_code, done.stdout) == (0, f"{NAME}: nothing is missing; all 2 points are taped and checked\n")
    assert parsed(run("ready", NAME, "--json")) == {"property": NAME, "draft": False, "ready": True, "missing": []}


def test_a_gone_reference_point_is_nothing_to_tape(run: Run, loaded_house: None) -> None:
    """The post stands open between two places in the sheets of the house; nobody can tape it any more."""
    assert "post" in run("positions", NAME).stdout
    assert "post" not in run("ready", NAME).stdout


def test_the_sample_is_not_ready_and_says_the_next_tape_of_each_point(run: Run, loaded: Path) -> None:
    said = parsed(run("ready", SAMPLE_NAME, "--json"))
    assert said["ready"] is False
    assert {each["what"] for each in said["missing"]} == {"one more tape"}
    assert all(each["next_tape"]["reference"] != "oak post" for each in said["missing"])


def test_ready_lists_the_rows_that_a_draft_left_out(run: Run, folder: Path) -> None:
    shutil.copytree(SAMPLE, folder / "sheets")
    with (folder / "sheets" / "service.csv").open("a", encoding="utf-8") as sheet:
        sheet.write("03/04/2026,septic tank,inspection\n")
    run("load", "sheets", "--draft")
    missing = parsed(run("ready", SAMPLE_NAME, "--json"))["missing"]
    assert [each["words"] for each in missing if each["what"] == "left out of the draft"] == [
        next(line for line in run("load", "sheets").stderr.splitlines() if "service.csv" in line)
    ]
    assert missing[-1] == {
        "what": "draft",
        "subject": SAMPLE_NAME,
        "words": "when nothing is missing any more, load the complete sheets: asbuilt load, without --draft",
        "next_tape": None,
    }

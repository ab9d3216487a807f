"""`asbuilt tape`: one line to act on while the hole is open, and nothing stored that cannot be taken."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from tests.commands import SAMPLE_NAME, Run, WriteSheets, parsed, point_named
from tests.trench import CORNERS, LID, NAME, bare, house, tape, taped

RIGHT = ("--side", "right of A > B", "--held", "level")
OTHERS = f'1 other thing here needs attention: asbuilt ready "{NAME}"\n'  # the outlet lid, not taped yet

Tape = Callable[..., Result]


@pytest.fixture
def take(run: Run, write_sheets: WriteSheets) -> Tape:
    """Tape the inlet lid of the house, whose sheets list two lids without a tape."""
    run("load", write_sheets("sheets", **house()))
    return lambda *words: run("tape", NAME, "inlet lid", *words)


def known(run: Run, name: str = "septic tank/inlet lid") -> Any:
    return point_named(parsed(run("positions", NAME, "--json")), name)


# ------------------------------------------------------------ good tapes


def test_two_tapes_and_a_side_give_a_place_and_the_tape_to_pull_next(run: Run, take: Tape) -> None:
    result = take(*taped(LID, "A", "B"), *RIGHT)
    assert (result.exit_code, result.stderr) == (0, OTHERS)
    assert result.stdout == (
        "septic tank/inlet lid: within 2 in, 19 times in 20; not checked: only two measurements: a misread tape would "
        "not show; what it was measured from lies on one line\n"
        "next: a tape from C (about 47' 5\"): within 1 1/2 in, and a misread tape would show\n"
        "2 tapes stored\n"
    )
    lid = known(run)
    assert (lid["east_m"], lid["north_m"]) == pytest.approx((LID[0] * 0.3048, LID[1] * 0.3048), abs=0.01)


def test_a_third_tape_that_agrees_is_said_with_how_well(run: Run, take: Tape) -> None:
    result = take(*taped(LID, "A", "B", "C"), *RIGHT)
    assert (result.exit_code, result.stderr) == (0, OTHERS)
    assert result.stdout == (
        "septic tank/inlet lid: within 1 1/2 in, 19 times in 20; third tape agrees to 1/2 in\n"
        "checked: a tape misread by a foot would show; nothing more is needed\n"
        "3 tapes stored\n"
    )
    assert known(run)["checked"] is True


def test_the_advice_keeps_its_promise(run: Run, take: Tape) -> None:
    """The tape that is advised brings what was said of it: its length, the radius, and a check."""
    said = parsed(take(*taped(LID, "A", "B"), *RIGHT, "--json"))
    best = said["next_tapes"][0]
    assert best["misreading_shows"] is True
    assert best["distance_m"] == pytest.approx(0.3048 * float(_feet(best["reference"])), abs=0.02)
    after = parsed(take(best["reference"], tape(best["reference"]), "--held", "level", "--json"))
    assert after["checked"] is True
    assert after["r95_m"] == pytest.approx(best["r95_m"], abs=0.0005)
    assert after["unnoticed_m"] == pytest.approx(best["unnoticed_m"], rel=0.02)


def _feet(corner: str) -> float:
    (x, y), (east, north) = CORNERS[corner], LID
    return ((x - east) ** 2 + (y - north) ** 2) ** 0.5


def test_a_gone_reference_point_is_never_advised(take: Tape) -> None:
    said = parsed(take(*taped(LID, "A", "B"), *RIGHT, "--json"))
    assert {tape["reference"] for tape in said["next_tapes"]} == {"C", "D", "garage"}


def test_a_tape_from_a_mark_that_was_found_gone_is_stored_and_said(take: Tape) -> None:
    result = take(*taped(LID, "A", "B"), "post", "30 0", *RIGHT)
    assert result.exit_code == 1
    assert result.stderr.startswith(
        "attention: septic tank/inlet lid: a tape from post, which was found gone on 2024-05-01. If another mark "
        "stands there now, withdraw the tape and give that mark a name of its own.\n"
    )
    assert "3 tapes stored" in result.stdout


def test_tapes_are_new_entries_from_the_prompt_in_one_transaction(run: Run, folder: Path, take: Tape) -> None:
    take(*taped(LID, "A", "B"), *RIGHT, "--who", "T. Sample")
    entries = parsed(run("log", NAME, "--json"))[-2:]
    assert [(e["sheet"], e["row"], e["who"], e["what"]) for e in entries] == [
        ("prompt", None, "T. Sample", "tie A to septic tank/inlet lid: distance 25 0, side right of A > B, held level"),
        ("prompt", None, "T. Sample", "tie B to septic tank/inlet lid: distance 25 0, side right of A > B, held level"),
    ]
    assert entries[0]["at"] == entries[1]["at"]
    with open_record(folder / "asbuilt.db", read_only=True) as record:
        assert verify_chain(record, NAME) == []


def test_what_fails_before_the_end_leaves_nothing(folder: Path, take: Tape, monkeypatch: pytest.MonkeyPatch) -> None:
    """Entries and due list are one transaction: the last step fails, and the tapes are not there either."""
    from asbuilt.errors import AsbuiltError
    from asbuilt.jobs import solve_and_store as job

    def fail(*_: object) -> None:
        raise AsbuiltError("the disk is full")

    before = (folder / "asbuilt.db").read_bytes()
    monkeypatch.setattr(job, "keep_due", fail)
    result = take(*taped(LID, "A", "B"), *RIGHT)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", "asbuilt: the disk is full\n")
    assert (folder / "asbuilt.db").read_bytes() == before


def test_what_somebody_else_stored_meanwhile_counts(run: Run, take: Tape, monkeypatch: pytest.MonkeyPatch) -> None:
    """While this one is solved another person stores the same tape: it is not stored twice."""
    from asbuilt.jobs import tape as job

    solve = job.refusing
    calls: list[int] = []

    def late(*args: Any) -> Any:
        calls.append(1)
        if len(calls) == 1:
            assert take("A", "25 0").exit_code == 1
        return solve(*args)

    monkeypatch.setattr(job, "refusing", late)
    result = take(*taped(LID, "A", "B"), *RIGHT)
    assert result.exit_code == 2
    assert result.stderr.startswith("asbuilt: tape from A: is recorded already, with “25 0”; ")
    assert [tie["as_read"] for tie in known(run)["ties"]] == ["25 0"]


def test_a_dry_run_says_the_same_and_stores_nothing(folder: Path, take: Tape) -> None:
    before = (folder / "asbuilt.db").read_bytes()
    tried = take(*taped(LID, "A", "B", "C"), *RIGHT, "--dry-run")
    assert (folder / "asbuilt.db").read_bytes() == before
    done = take(*taped(LID, "A", "B", "C"), *RIGHT)
    assert tried.stdout.splitlines()[:-1] == done.stdout.splitlines()[:-1]
    assert tried.stdout.splitlines()[-1] == "nothing stored (--dry-run)"


def test_lengths_of_a_slope_tape_are_reduced_by_the_drop(run: Run, take: Tape) -> None:
    """Held from 7 ft above the lid, the horizontal 24 ft reads 25 ft (7, 24, 25)."""
    place = (0.0, -24.0)
    words = ["A", "25 0", "B", bare((40**2 + 24**2 + 7**2) ** 0.5), "C", bare((40**2 + 52**2 + 7**2) ** 0.5)]
    result = take(*words, "--side", "out", "--held", "slope", "--drop", "7 0")
    assert result.exit_code == 0
    lid = known(run)
    assert (lid["east_m"], lid["north_m"]) == pytest.approx((place[0] * 0.3048, place[1] * 0.3048), abs=0.02)


# ------------------------------------------------------------ a misread tape


def test_a_misread_tape_is_named_with_its_size_and_the_slip(run: Run, take: Tape) -> None:
    words = taped(LID, "A", "B", "C", "D")
    words[5] = bare(_feet("C") + 1)
    result = take(*words, *RIGHT)
    assert (result.exit_code, result.stderr) == (1, OTHERS)
    first, *rest = result.stdout.splitlines()
    assert first == "septic tank/inlet lid: tape C again: it misses by 1 ft 0 in"
    correct = (
        f'asbuilt correct "{NAME}" "septic tank/inlet lid" --from C --was "48 5" --read "47 5" --reason "1 ft off"'
    )
    assert rest == [
        "  likely slip, look again: C to septic tank/inlet lid 48 5 may have been 47 5 (1 ft off)",
        f"    {correct}",
        "next: a tape from garage (about 61' 3 1/2\"): within 1 1/2 in, and a misread tape would show",
        "4 tapes stored",
    ]


def test_the_command_that_is_proposed_mends_the_set(run: Run, take: Tape) -> None:
    words = taped(LID, "A", "B", "C", "D")
    words[5] = bare(_feet("C") + 1)
    slip = parsed(take(*words, *RIGHT, "--json"))["slips"][0]
    assert slip["kind"] == "1 ft off"
    import shlex

    result = run(*shlex.split(slip["commands"][0])[1:])
    assert result.exit_code == 0
    assert result.stdout.splitlines()[0] == (
        "septic tank/inlet lid: within 1 1/2 in, 19 times in 20; its 4 tapes agree to 1/2 in"
    )


def test_swapped_digits_are_found(take: Tape) -> None:
    words = taped(LID, "A", "B", "C", "D", "garage")
    words[5] = "74 5"  # for 47 5
    result = take(*words, *RIGHT, "--dry-run")
    assert result.exit_code == 1
    lines = result.stdout.splitlines()
    assert lines[0].startswith("septic tank/inlet lid: tape C again: it misses by 26 ft ")  # 27 ft, linearised
    assert lines[1] == "  likely slip, look again: C to septic tank/inlet lid 74 5 may have been 47 5 (digits swapped)"


def test_three_tapes_that_disagree_are_each_said_with_their_size(take: Tape) -> None:
    """With three the figures cannot tell; the tape that would be a round number off is the likely one."""
    words = taped(LID, "A", "B", "C")
    words[5] = bare(_feet("C") + 2)
    result = take(*words, *RIGHT, "--dry-run")
    assert result.exit_code == 1
    lines = result.stdout.splitlines()
    assert lines[0] == (
        "septic tank/inlet lid: tape it again: the tapes disagree, and the figures cannot tell which is wrong"
    )
    sized = [line for line in lines if " would be " in line]
    assert "  C 49 5 would be 2 ft 0 in too long" in {line.removesuffix(", or") for line in sized}
    assert len(sized) == 3
    assert lines[-2].startswith("to tell which, pull one more: a tape from ")


def test_tapes_that_cannot_meet_are_said(take: Tape) -> None:
    result = take("A", "5 0", "B", "6 0", *RIGHT, "--dry-run")
    assert result.exit_code == 1
    assert result.stdout == (
        "septic tank/inlet lid: no place yet\n"
        "attention: septic tank/inlet lid: the tapes from A and B do not meet: 29' 0\" are missing or too much. "
        "Pull both again; a third tape shows which one is wrong.\n"
        "nothing stored (--dry-run)\n"
    )


# ------------------------------------------------------------ sides


def test_an_open_mirror_is_answered_with_both_places_and_what_to_say(run: Run, take: Tape) -> None:
    result = take(*taped(LID, "A", "B"), "--held", "level")
    assert (result.exit_code, result.stderr) == (1, OTHERS)
    command = f'asbuilt correct "{NAME}" "septic tank/inlet lid" --side'
    assert result.stdout == (
        "septic tank/inlet lid: no place yet\n"
        "  it fits two places: 15' 0\" left of A > B, or 15' 0\" right of it; look which\n"
        f'    {command} "left of A > B" --reason "looked which side"\n'
        f'    {command} "right of A > B" --reason "looked which side"\n'
        "  or tape C: 23' 10\" means left, 47' 5\" means right\n"
        "2 tapes stored\n"
    )
    run("correct", NAME, "inlet lid", "--side", "left of A > B", "--reason", "looked which side")
    assert known(run)["north_m"] == pytest.approx(15 * 0.3048, abs=0.01)


def test_the_telling_tape_tells(run: Run, take: Tape) -> None:
    take(*taped(LID, "A", "B"), "--held", "level")
    assert take("C", "47 5", "--held", "level").exit_code == 0
    assert known(run)["north_m"] == pytest.approx(LID[1] * 0.3048, abs=0.02)


def test_a_dry_run_with_an_open_mirror_proposes_the_option(take: Tape) -> None:
    lines = take(*taped(LID, "A", "B"), "--held", "level", "--dry-run").stdout.splitlines()
    assert lines[2:4] == ['    --side "left of A > B"', '    --side "right of A > B"']


def test_out_means_the_outside_of_the_wall(run: Run, take: Tape) -> None:
    take(*taped(LID, "A", "B"), "--side", "out", "--held", "level")
    assert known(run)["north_m"] == pytest.approx(LID[1] * 0.3048, abs=0.01)


def test_tapes_against_their_noted_side_come_first(take: Tape) -> None:
    words = (*taped(LID, "A", "B", "C", "D"), "--side", "left of A > B", "--held", "level", "--dry-run")
    result = take(*words)
    assert result.exit_code == 1
    assert result.stdout.splitlines() == [
        "septic tank/inlet lid: look which side it is on: the tapes put it across from the noted side",
        "  likely slip, look again: the other side was written down",
        "attention: septic tank/inlet lid: the tapes put it 30' 0\" from the noted side, across the line. Look which "
        "side it is on, and correct the side or the tapes.",
        "nothing stored (--dry-run)",
    ]


# ------------------------------------------------------------ points


def test_a_new_point_of_a_known_component_is_taken_and_said(run: Run, take: Tape) -> None:
    result = run("tape", NAME, "pump tank/lid", *taped((30, -20), "A", "B", "C"), *RIGHT)
    assert result.exit_code == 0
    assert result.stdout.splitlines()[-1] == "3 tapes stored, new point pump tank/lid"
    assert known(run, "pump tank/lid")["component"] == "pump tank"


def test_a_component_needs_its_kind_when_it_is_new(run: Run, take: Tape) -> None:
    words = ("tape", NAME, "cable/bend", *taped((30, -20), "A", "B", "C"), *RIGHT)
    refused = run(*words)
    assert (refused.exit_code, refused.stdout, refused.stderr) == (
        2,
        "",
        "asbuilt: the point: no point and no component “cable”; write component/point of a known component, or give "
        "--component-kind KIND for a new one\n",
    )
    result = run(*words, "--component-kind", "electrical cable")
    assert result.stdout.splitlines()[-1] == "3 tapes stored, new component cable, new point cable/bend"
    again = run("tape", NAME, "cable/end", *taped((10, -20), "A", "B"), *RIGHT, "--component-kind", "electrical cable")
    assert again.stderr == "asbuilt: --component-kind: the component “cable” is known already; leave it away\n"


@pytest.mark.parametrize(
    ("point", "message"),
    [
        ("inlet lidd", "the point: no point and no component “inlet lidd”; did you mean “inlet lid”?"),
        ("septic", "the point: no point and no component “septic”; did you mean “septic tank”?"),
        (
            "septic tank",
            "the point: “septic tank” may be “septic tank/inlet lid” or “septic tank/outlet lid”; write "
            "component/point",
        ),
        (
            "septic tank/inlet lidd",
            "the point: “septic tank/inlet lidd” is not known; did you mean “septic tank/inlet lid”? If it is a new "
            "point, add --new",
        ),
        (
            "Septic Tank/inlet lid",
            "the point: “Septic Tank/inlet lid” is not known; did you mean “septic tank/inlet lid”?",
        ),
        ("septic tank/", "the point: “septic tank/” is no name of a point; write component/point of a known component, "
         "or give --component-kind KIND for a new one"),
    ],
)  # fmt: skip
def test_a_mistyped_point_is_never_made_a_new_one(run: Run, take: Tape, point: str, message: str) -> None:
    result = run("tape", NAME, point, *taped(LID, "A", "B"), *RIGHT)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", f"asbuilt: {message}\n")


def test_names_that_differ_in_digits_are_two_points(run: Run, take: Tape) -> None:
    run("tape", NAME, "pump tank/elbow 1", *taped((30, -20), "A", "B"), *RIGHT)
    assert run("tape", NAME, "pump tank/elbow 2", *taped((31, -20), "A", "B"), *RIGHT).exit_code == 0


def test_new_insists_on_a_name_that_is_like_another(run: Run, take: Tape) -> None:
    result = run("tape", NAME, "septic tank/inlet lids", *taped((30, -20), "A", "B"), *RIGHT, "--new")
    assert result.stdout.splitlines()[-1] == "2 tapes stored, new point septic tank/inlet lids"


def test_a_point_may_be_named_by_its_chalk_mark(run: Run, loaded: Path) -> None:
    result = run("tape", SAMPLE_NAME, "T1", "NW corner", "49 1", "--held", "slope", "--drop", "1 10", "--dry-run")
    assert result.stdout.partition(":")[0] == "septic tank/inlet lid"


# ------------------------------------------------------------ refusals


def test_every_problem_is_in_one_message_and_nothing_is_stored(folder: Path, take: Tape) -> None:
    before = (folder / "asbuilt.db").read_bytes()
    result = take("E", "17 14", "B", "23.5", "A", "0 0", "--held", "leveled", "--side", "behind")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "asbuilt: 6 problems in what was typed\n"
        "the tapes: “E” is no reference point or point; one measures from “A”, “B”, “C”, “D”, “garage”, “post”\n"
        "tape from E: “17 14” has 14 inches beside feet; inches beside feet stay below 12. Did you mean 18' 2\"?\n"
        "tape from B: “23.5” could be tenths of a foot or inches; write 23.5' or 23' 5\" or 23.5\"\n"
        "tape from A: “0 0” is zero; accepted: a length above zero\n"
        "--held: “leveled” is not accepted here; accepted: level, slope or unknown\n"
        "--side: “behind” is no side; accepted: left of A > B, right of A > B, north (east, south, west) of A > B, or "
        "out\n"
    )
    assert (folder / "asbuilt.db").read_bytes() == before


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), 'the tapes: no tape is given; quote what has a space in it: "NE corner" "23 4.5" "SE corner" "17 6"'),
        (
            ("A", "23", "4.5", "B", "17", "6"),
            "the tapes: A 23 4.5 B 17 6 is not a name and a reading in turn; quote what has a space in it: "
            '"A" "23 4.5" "B" "17 6"',
        ),
        (
            ("inlet", "lid", "5", "0"),
            "the tapes: inlet lid 5 0 is not a name and a reading in turn; quote what has a space in it: "
            '"inlet lid" "5 0"',
        ),
        (("inlet lid", "5 0"), "the tapes: a tape from “septic tank/inlet lid” to itself; name what it was taped from"),
        (
            ("A", "25 0", "A", "25 1"),
            "tape from A: is given twice, first with “25 0”; give each tape once",
        ),
        (
            ("A", "25 0", "B", "25 0", "--side", "left of A > C"),
            "--side: “septic tank/inlet lid” is not taped from “C”; name two of those that it is taped from: “A”, “B”",
        ),
        (
            ("A", "25 0", "B", "25 0", "--side", "north of A > B"),
            "--side: “north of A > B” needs a direction, and the property has no azimuth; write left of A > B or right "
            "of A > B",
        ),
        (
            ("A", "25 0", "C", "47 5", "--side", "out"),
            "--side: “out”, but it is not taped from two ends of one wall; write left of A > B or right of A > B",
        ),
        (
            ("A", "25 0", "--held", "slope", "--drop", "26 0"),
            "--drop: “26 0” is not less than the tape “25 0”; a tape held on a slope is longer than its drop",
        ),
        (("A", "25 0", "--new"), "--new: “septic tank/inlet lid” is known already; leave the option away, or give the "
         "new point a name"),
    ],
)  # fmt: skip
def test_what_cannot_be_taken_is_one_line(take: Tape, words: tuple[str, ...], message: str) -> None:
    result = take(*words)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", f"asbuilt: {message}\n")


def test_a_tape_that_is_recorded_already_is_a_correction_or_a_second_pull(run: Run, take: Tape) -> None:
    take(*taped(LID, "A", "B", "C"), *RIGHT)
    result = take("C", "47 6")
    assert (result.exit_code, result.stdout, result.stderr) == (
        2,
        "",
        "asbuilt: tape from C: is recorded already, with “47 5”; if that was misread: "
        f'asbuilt correct "{NAME}" "septic tank/inlet lid" --from "C" --read "47 6" --reason ...; '
        'to keep both: --note "second pull"\n',
    )
    assert take("C", "47 6", "--held", "level", "--note", "second pull").exit_code == 0
    assert len(known(run)["ties"]) == 4
    assert take("C", "47 5.5", "--note", "second pull").exit_code == 2


def test_an_unknown_property_is_refused_with_the_nearest(run: Run, take: Tape) -> None:
    result = run("tape", "Mil Lane 4", "inlet lid", "A", "25 0")
    assert (result.exit_code, result.stderr) == (
        2,
        f"asbuilt: no property 'Mil Lane 4' in asbuilt.db; did you mean '{NAME}'? It holds '{NAME}'\n",
    )


def test_a_proposed_command_names_the_record_where_it_was_named(run: Run, folder: Path, take: Tape) -> None:
    (folder / "asbuilt.db").rename(folder / "my office.db")
    lines = take(*taped(LID, "A", "B"), "--held", "level", "--record", "my office.db").stdout.splitlines()
    assert lines[2].endswith('--reason "looked which side" --record "my office.db"')

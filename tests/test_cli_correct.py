"""`asbuilt correct`, `withdraw` and `log`: a reading is never changed, only superseded, with who, when and why."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from tests.commands import Run, WriteSheets, parsed, point_named
from tests.trench import NAME, house, tape

LID_ROW = {
    "from1": "A",
    "tape1": tape("A"),
    "from2": "B",
    "tape2": tape("B"),
    "from3": "C",
    "tape3": "74 5",  # for 47 5
    "side": "right of A > B",
    "held": "level",
}
"""The row of the inlet lid in points.csv, its third tape written with swapped digits."""

WHY = ("--reason", "digits swapped", "--who", "T. Sample")

Mend = Callable[..., Result]


@pytest.fixture
def sheets(write_sheets: WriteSheets) -> Path:
    return write_sheets("sheets", **house(**{"inlet lid": LID_ROW}))


@pytest.fixture
def mend(run: Run, sheets: Path) -> Mend:
    """Correct or withdraw a reading of the inlet lid, whose tape from C is misread."""
    run("load", sheets, "--who", "T. Sample")
    return lambda command, *words: run(command, NAME, "inlet lid", *words)


def known(run: Run) -> Any:
    return point_named(parsed(run("positions", NAME, "--json")), "septic tank/inlet lid")


def last(run: Run, count: int = 1) -> list[dict[str, Any]]:
    entries: list[dict[str, Any]] = parsed(run("log", NAME, "--json"))[-count:]
    return entries


# ------------------------------------------------------------ correct


def test_a_correction_supersedes_with_its_reason_and_answers_at_once(run: Run, folder: Path, mend: Mend) -> None:
    result = mend("correct", "--from", "C", "--was", "74 5", "--read", "47 5", *WHY)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        "septic tank/inlet lid: within 1 1/2 in, 19 times in 20; third tape agrees to 1/2 in\n"
        "checked: a tape misread by a foot would show; nothing more is needed\n"
        "C to septic tank/inlet lid 74 5: now 47 5\n"
        "1 correction stored\n"
    )
    assert [tie["as_read"] for tie in known(run)["ties"]] == ["25 0", "25 0", "47 5"]
    (entry,) = last(run)
    assert (entry["sheet"], entry["who"], entry["reason"]) == ("prompt", "T. Sample", "digits swapped")
    assert entry["what"] == "tie C to septic tank/inlet lid: distance 47 5 (was 74 5)"
    old = next(e for e in parsed(run("log", NAME, "--json")) if e["number"] == entry["supersedes"])
    assert old["what"] == "tie C to septic tank/inlet lid: distance 74 5, side right of A > B, held level"
    with open_record(folder / "asbuilt.db", read_only=True) as record:
        assert verify_chain(record, NAME) == []


def test_the_same_sheets_loaded_again_do_not_undo_a_correction(run: Run, sheets: Path, mend: Mend) -> None:
    mend("correct", "--from", "C", "--read", "47 5", *WHY)
    again = run("load", sheets)
    assert again.stdout.splitlines()[:2] == [
        f"{NAME}: the sheets say what is recorded already; nothing changed",
        "1 reading stands as it was corrected or withdrawn at the prompt; mend the sheets too: tie C to septic "
        "tank/inlet lid 74 5",
    ]
    assert [tie["as_read"] for tie in known(run)["ties"]] == ["25 0", "25 0", "47 5"]


def test_a_correction_written_into_the_sheets_too_is_nothing_new(
    run: Run, mend: Mend, write_sheets: WriteSheets
) -> None:
    mend("correct", "--from", "C", "--read", "47 5", *WHY)
    result = run("load", write_sheets("sheets", **house(**{"inlet lid": LID_ROW | {"tape3": "47 5"}})))
    assert result.stdout.splitlines()[0] == f"{NAME}: the sheets say what is recorded already; nothing changed"


def test_a_third_reading_in_the_sheets_is_still_shown_as_a_difference(
    run: Run, mend: Mend, write_sheets: WriteSheets
) -> None:
    mend("correct", "--from", "C", "--read", "47 5", *WHY)
    result = run("load", write_sheets("sheets", **house(**{"inlet lid": LID_ROW | {"tape3": "47 9"}})))
    assert result.exit_code == 2
    assert result.stderr.splitlines()[1:3] == [
        "- tie C to septic tank/inlet lid (prompt): distance 47 5",
        "+ tie C to septic tank/inlet lid (points.csv row 2): distance 47 9",
    ]


def test_the_reference_point_can_be_corrected(run: Run, mend: Mend) -> None:
    mend("correct", "--from", "C", "--read", "47 5", *WHY)
    result = mend("correct", "--from", "C", "--new-from", "D", "--reason", "wrong corner")
    assert result.stdout.splitlines()[-2:] == [
        "C to septic tank/inlet lid 47 5: now from D",
        "1 correction stored",
    ]
    assert [tie["from"] for tie in known(run)["ties"]] == ["A", "B", "D"]  # the lid lies midway, so it fits too


def test_held_and_drop_can_be_corrected(run: Run, mend: Mend) -> None:
    mend("correct", "--from", "C", "--read", "47 5", *WHY)
    result = mend("correct", "--from", "C", "--held", "slope", "--drop", "2 0", "--reason", "was not level")
    assert result.stdout.splitlines()[-2] == "C to septic tank/inlet lid 47 5: now held slope, drop 2 0"


def test_a_side_is_corrected_on_every_tape_that_carries_it(run: Run, mend: Mend) -> None:
    mend("withdraw", "--from", "C", "--reason", "misread")
    result = mend("correct", "--side", "left of A > B", "--reason", "looked again")
    assert result.exit_code == 0
    assert result.stdout.splitlines()[-3:] == [
        "A to septic tank/inlet lid 25 0: now side left of A > B",
        "B to septic tank/inlet lid 25 0: now side left of A > B",
        "2 corrections stored",
    ]
    assert known(run)["north_m"] == pytest.approx(15 * 0.3048, abs=0.01)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ("--from", "C", "--was", "47 5", "--read", "47 6", *WHY),
            "the reading: no reading of “septic tank/inlet lid” from “C” that reads “47 5”; recorded: "
            "C to septic tank/inlet lid 74 5 (points.csv row 2)",
        ),
        (
            ("--from", "D", "--read", "47 6", *WHY),
            "the reading: no reading of “septic tank/inlet lid” from “D”; recorded: "
            "A to septic tank/inlet lid 25 0 (points.csv row 2); B to septic tank/inlet lid 25 0 (points.csv row 2); "
            "C to septic tank/inlet lid 74 5 (points.csv row 2)",
        ),
        (("--from", "E", "--read", "47 6", *WHY), "--from: “E” is no reference point or point; one measures from "
         "“A”, “B”, “C”, “D”, “garage”, “post”"),
        (("--from", "C", "--read", "47.5", *WHY), "--read: “47.5” could be tenths of a foot or inches; write 47.5' or "
         "47' 5\" or 47.5\""),
        (("--from", "C", "--read", "74 5", *WHY), "the correction: says what is recorded already; say what was read "
         "instead"),
        (("--from", "C", "--new-from", "inlet lid", *WHY), "--new-from: a tape from “septic tank/inlet lid” to itself; "
         "name what it was taped from"),
        (("--side", "left of A > D", *WHY), "--side: “septic tank/inlet lid” is not taped from “D”; name two of those "
         "that it is taped from: “A”, “B”, “C”"),
    ],
)  # fmt: skip
def test_a_correction_that_cannot_be_made_is_one_line(
    folder: Path, mend: Mend, words: tuple[str, ...], message: str
) -> None:
    before = (folder / "asbuilt.db").read_bytes()
    result = mend("correct", *words)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", f"asbuilt: {message}\n")
    assert (folder / "asbuilt.db").read_bytes() == before


def test_a_reading_that_somebody_else_withdrew_meanwhile_is_not_corrected(
    run: Run, mend: Mend, monkeypatch: pytest.MonkeyPatch
) -> None:
    from asbuilt.jobs import correct as job

    solve = job.refusing
    calls: list[int] = []

    def late(*args: Any) -> Any:
        calls.append(1)
        if len(calls) == 1:
            assert mend("withdraw", "--from", "C", "--reason", "misread").exit_code == 0
        return solve(*args)

    monkeypatch.setattr(job, "refusing", late)
    result = mend("correct", "--from", "C", "--read", "47 5", *WHY)
    assert result.exit_code == 2
    assert result.stderr.startswith("asbuilt: the reading: no reading of “septic tank/inlet lid” from “C”; ")
    assert [tie["as_read"] for tie in known(run)["ties"]] == ["25 0", "25 0"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--from", "C", *WHY), "say what it should have been: --read, --new-from, --side, --held or --drop"),
        (("--read", "47 5", *WHY), "say which tape: --from NAME"),
        (("--from", "C", "--read", "47 5"), "Missing option '--reason'."),
    ],
)
def test_half_a_correction_is_refused(mend: Mend, words: tuple[str, ...], message: str) -> None:
    result = mend("correct", *words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.splitlines()[-1] == f"Error: {message}"


def test_a_blank_reason_is_refused(mend: Mend) -> None:
    result = mend("correct", "--from", "C", "--read", "47 5", "--reason", " ")
    assert (result.exit_code, result.stderr) == (
        2,
        "asbuilt: the reason is blank; accepted: a few words, such as 'digits swapped'\n",
    )


# ------------------------------------------------------------ two pulls from one corner


def test_an_ambiguous_reading_shows_the_candidates_and_was_tells_them_apart(run: Run, mend: Mend) -> None:
    run("tape", NAME, "inlet lid", "C", "47 5", "--held", "level", "--note", "second pull")
    refused = mend("withdraw", "--from", "C", "--reason", "misread")
    assert (refused.exit_code, refused.stderr) == (
        2,
        "asbuilt: the reading: 2 readings of “septic tank/inlet lid” from “C”; recorded: "
        "C to septic tank/inlet lid 74 5 (points.csv row 2); "
        "C to septic tank/inlet lid 47 5 (prompt, second pull); tell them apart with --was\n",
    )
    result = mend("withdraw", "--from", "C", "--was", "74 5", "--reason", "misread")
    assert (result.exit_code, result.stdout.splitlines()[-2:]) == (
        0,
        ["C to septic tank/inlet lid 74 5: withdrawn", "1 withdrawal stored"],
    )
    assert [tie["as_read"] for tie in known(run)["ties"]] == ["25 0", "25 0", "47 5"]


def test_was_is_known_however_it_is_written(mend: Mend) -> None:
    assert mend("correct", "--from", "C", "--was", "74' 5\"", "--read", "47 5", *WHY).exit_code == 0


# ------------------------------------------------------------ withdraw


def test_a_withdrawn_reading_no_longer_counts_and_stays_readable(run: Run, sheets: Path, mend: Mend) -> None:
    result = mend("withdraw", "--from", "C", "--reason", "misread, hole is closed", "--who", "T. Sample")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        "septic tank/inlet lid: within 2 in, 19 times in 20; not checked: only two measurements: a misread tape would "
        "not show; what it was measured from lies on one line\n"
        "next: a tape from C (about 47' 5\"): within 1 1/2 in, and a misread tape would show\n"
        "C to septic tank/inlet lid 74 5: withdrawn\n"
        "1 withdrawal stored\n"
    )
    (entry,) = last(run)
    assert (entry["withdrawn"], entry["reason"]) == (True, "misread, hole is closed")
    assert entry["what"] == "withdrawn: tie C to septic tank/inlet lid: distance 74 5, side right of A > B, held level"
    run("load", sheets)
    assert len(known(run)["ties"]) == 2


def test_a_withdrawn_reading_can_be_taped_again_and_then_counts(run: Run, sheets: Path, mend: Mend) -> None:
    mend("withdraw", "--from", "C", "--reason", "misread")
    run("tape", NAME, "inlet lid", "C", "47 5", "--held", "level")
    run("load", sheets)
    assert [tie["as_read"] for tie in known(run)["ties"]] == ["25 0", "25 0", "47 5"]


def test_a_point_whose_last_tape_is_withdrawn_is_said_to_have_none(run: Run, mend: Mend) -> None:
    run("tape", NAME, "pump tank/lid", "A", "30 0")
    result = run("withdraw", NAME, "pump tank/lid", "--from", "A", "--reason", "wrong tank")
    assert result.exit_code == 1
    assert result.stdout.splitlines()[0] == "pump tank/lid: nothing is measured to it"


# ------------------------------------------------------------ log


def test_the_log_is_one_line_an_entry(run: Run, mend: Mend) -> None:
    mend("correct", "--from", "C", "--read", "47 5", *WHY)
    result = run("log", NAME)
    assert (result.exit_code, result.stderr) == (0, "")
    lines = result.stdout.splitlines()
    assert len(lines) == len(parsed(run("log", NAME, "--json")))
    number, day, clock, *_ = lines[-1].split()
    assert number == str(len(lines))
    moment = datetime.fromisoformat(parsed(run("log", NAME, "--json"))[-1]["at"])
    assert f"{day} {clock}" == moment.isoformat(" ", "minutes")
    assert lines[-1].split(maxsplit=3)[3].startswith("T. Sample  prompt ")
    assert lines[-1].endswith("tie C to septic tank/inlet lid: distance 47 5 (was 74 5) [over 15] (digits swapped)")
    assert lines[14].endswith("tie C to septic tank/inlet lid: distance 74 5, side right of A > B, held level")
    assert " points.csv row 2 " in lines[14]


def test_the_json_of_the_log_has_exactly_its_keys(run: Run, mend: Mend) -> None:
    keys = ["number", "at", "at_utc", "who", "sheet", "row", "kind", "withdrawn", "what", "supersedes", "reason"]
    assert {tuple(entry) for entry in parsed(run("log", NAME, "--json"))} == {tuple(keys)}


def test_the_log_of_an_unknown_property_is_refused(run: Run, mend: Mend) -> None:
    result = run("log", "Nowhere")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"asbuilt: no property 'Nowhere' in asbuilt.db. It holds '{NAME}'\n"

"""`asbuilt service`: recorded by options or at the prompt, with what follows, and undone."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from asbuilt.cli.main import main
from asbuilt.cli.service import ANSWERS
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.tasks import KNOWN_TASKS
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from asbuilt.record.profiles import built_in, built_in_names
from asbuilt.record.sheets.columns import SHEETS
from tests.commands import ROOT, SAMPLE, SAMPLE_NAME, Run, WriteSheets, parsed, two_corners

DONE = ("--on", "2026-05-30", "--component", "septic tank", "--task", "pumped", "--gallons", "1200")


def entries(run: Run, *words: str) -> list[dict[str, object]]:
    listed: list[dict[str, object]] = parsed(run("service", SAMPLE_NAME, "--list", "--json", *words))
    return listed


def test_every_column_of_a_service_entry_can_be_answered_and_nothing_else() -> None:
    assert set(ANSWERS) <= {column.name for column in SHEETS["service.csv"]}
    assert set(ANSWERS) <= set(ServiceEntry.__slots__)


def test_a_pump_out_is_recorded_and_the_next_one_follows(run: Run, loaded: Path) -> None:
    before = entries(run)
    result = run("service", SAMPLE_NAME, *DONE, "--secured", "yes", "--lid", "sound", "--json")
    said = parsed(result)
    assert (result.exit_code, result.stderr) == (0, "")
    assert said["recorded"]["task"] == "pump-out"
    assert (said["recorded"]["gallons"], said["recorded"]["secured"]) == (1200, True)
    (due,) = (each for each in said["due"] if each["task"] == "pump-out")
    assert due["reason"].startswith("pumped 2026-05-30 (1,200 gal of 1,250); published table: ")
    assert len(entries(run)) == len(before) + 1
    listed = parsed(run("due", "--json", "--on", "2026-06-01", "--task", "pump-out"))
    assert [each["due_on"] for each in listed] == [due["due_on"]]


def test_undoing_supersedes_the_entry_and_everything_is_as_before(run: Run, loaded: Path) -> None:
    before, dues = entries(run), run("due", "--json", "--on", "2026-06-01").stdout
    number = parsed(run("service", SAMPLE_NAME, *DONE, "--json"))["entry"]
    result = run("service", SAMPLE_NAME, "--undo", number, "--reason", "wrong property")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        f"{SAMPLE_NAME}: entry {number}, pump-out of septic tank on 2026-05-30, no longer counts\n"
    )
    assert entries(run) == before
    assert run("due", "--json", "--on", "2026-06-01").stdout == dues
    again = run("service", SAMPLE_NAME, "--undo", number, "--reason", "once more")
    assert again.exit_code == 2
    assert again.stderr.startswith(f"asbuilt: {SAMPLE_NAME}: no service entry {number} stands; the last ones: ")
    with open_record(loaded, read_only=True) as record:
        assert verify_chain(record, SAMPLE_NAME) == []


def test_the_same_sheets_loaded_again_leave_typed_entries_alone(run: Run, loaded: Path) -> None:
    run("service", SAMPLE_NAME, *DONE)
    with_it = entries(run)
    result = run("load", SAMPLE)
    assert result.exit_code == 0
    assert "nothing changed" in result.stdout
    assert entries(run) == with_it


def test_the_same_service_twice_is_refused(run: Run, loaded: Path) -> None:
    number = parsed(run("service", SAMPLE_NAME, *DONE, "--json"))["entry"]
    result = run("service", SAMPLE_NAME, *DONE)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"asbuilt: {SAMPLE_NAME}: the same service stands already as entry {number}; nothing was stored\n"
    )


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--on", "2026-05-30"), "--component and --task: missing; a service entry has at least a day, a component"),
        ((*DONE, "--on", "30.5.2026"), "--on: “30.5.2026” is not written year-month-day; write 2026-05-30"),
        (
            (*DONE, "--component", "septik tank"),
            "--component: “septik tank” is no component of Fernbank Lane 14; did you",
        ),
        ((*DONE, "--tanks", "septic tank, barn"), "--tanks: “barn” is no septic tank of Fernbank Lane 14; accepted: "),
        ((*DONE, "--gallons", "-5"), "--gallons: “-5” is too small; accepted: a number of 0 or more"),
        ((*DONE, "--sludge", "5"), "--sludge: “5” "),
        ((*DONE, "--secured", "maybe"), "--secured: “maybe” is neither yes nor no; accepted: yes or no"),
        (
            (*DONE, "--task", "inspecton"),
            "--task: “inspecton” is no task that is known, but nearly one; did you mean “inspection”? A task of your "
            "own needs a name that is less like it",
        ),
        ((*DONE, "--lid", "fine"), "--lid: “fine” is not accepted here; accepted: sound, damaged or missing"),
    ],
)
def test_an_answer_that_cannot_be_taken_is_one_message_and_nothing_is_stored(
    run: Run, loaded: Path, words: tuple[str, ...], message: str
) -> None:
    before = entries(run)
    result = run("service", SAMPLE_NAME, *words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(f"asbuilt: {message}")
    assert entries(run) == before


def test_a_day_to_come_is_refused(run: Run, loaded: Path) -> None:
    tomorrow = (date.today() + timedelta(days=2)).isoformat()
    result = run("service", SAMPLE_NAME, *DONE, "--on", tomorrow)
    assert result.exit_code == 2
    assert f"--on: “{tomorrow}” lies in the future; accepted: a day up to " in result.stderr


def test_without_options_and_without_a_terminal_the_ways_are_named(run: Run, loaded: Path) -> None:
    result = run("service", SAMPLE_NAME)
    assert result.exit_code == 2
    assert "give --on, --component and --task, or --ask, --list or --undo" in result.stderr


def test_at_the_prompt_each_is_asked_for_and_a_slip_is_asked_again(run: Run, loaded: Path) -> None:
    answers = {"on": "2026-05-30", "component": "septic tank", "task": "inspection", "sludge": '7"', "secured": "yes"}
    lines = []
    for column in ANSWERS:
        lines += ["sometimes"] if column == "secured" else []
        lines.append(answers.get(column, ""))
    result = CliRunner().invoke(main, ["service", SAMPLE_NAME, "--ask"], input="\n".join(lines) + "\n")
    assert result.exit_code == 0, result.output
    assert "--secured: “sometimes” is neither yes nor no; accepted: yes or no" in result.output
    last = entries(run)[-1]
    assert (last["task"], last["sludge"], last["secured"], last["gallons"]) == ("inspection", '7"', True, None)


def test_a_lid_left_loose_brings_status_1_and_says_what_to_do(run: Run, loaded: Path) -> None:
    result = run("service", SAMPLE_NAME, *DONE, "--secured", "no")
    assert result.exit_code == 1
    assert "attention: septic tank: a lid was left unsecured on 2026-05-30. Fasten it today" in result.stderr


def test_what_the_published_rule_wants_besides_is_named(run: Run, write_sheets: WriteSheets) -> None:
    """Minn. R. 7083.0770: what a pumper's record must hold."""
    sheets = two_corners("Lake Road")
    sheets["property"] += 'rules = "minnesota"\n'
    sheets["components"] = [["name", "kind", "volume_gal"], ["septic tank", "septic tank", "1000"]]
    run("load", write_sheets("sheets", **sheets))
    words = ("--on", "2026-05-30", "--component", "septic tank", "--task", "pump-out", "--gallons", "950")
    result = run("service", "Lake Road", *words)
    said = " ".join(result.stdout.split())
    assert (
        "not yet in the record, and wanted by Minn. R. 7083.0770 (version of 2014): leakage below or above the "
        "operating depth, access point used, method of disposal, reason for pumping, safety concerns with the "
        "maintenance-hole cover, troubleshooting or repairs"
    ) in said
    full = (*words, "--level-before", "at", "--opening", "inlet lid", "--disposal", "works", "--reason", "due")
    full = (*full, "--secured", "yes", "--findings", "none")
    assert parsed(run("service", "Lake Road", *full, "--json"))["missing"] == []


def test_an_unknown_property_is_refused(run: Run, loaded: Path) -> None:
    for words in (("--list",), DONE, ("--undo", "3", "--reason", "x")):
        result = run("service", "Nowhere", *words)
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr.startswith("asbuilt: no property 'Nowhere' in asbuilt.db")


def test_every_answer_that_cannot_be_taken_is_said_at_once(run: Run, loaded: Path) -> None:
    before = entries(run)
    result = run("service", SAMPLE_NAME, "--component", "septic tank", "--gallons", "-5", "--secured", "maybe")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "asbuilt: 3 problems in what was typed\n"
        "--gallons: “-5” is too small; accepted: a number of 0 or more\n"
        "--secured: “maybe” is neither yes nor no; accepted: yes or no\n"
        "--on and --task: missing; a service entry has at least a day, a component and a task\n"
    )
    assert entries(run) == before


@pytest.mark.parametrize(("option", "what"), [("--who", "who"), ("--note", "ServiceEntry, note")])
def test_bytes_that_are_no_text_are_refused_and_nothing_is_stored(
    run: Run, loaded: Path, option: str, what: str
) -> None:
    before = entries(run)
    result = run("service", SAMPLE_NAME, *DONE, option, "caf\udce9")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(f"asbuilt: {what}: 'caf\\udce9' cannot be recorded; accepted: text ")
    assert entries(run) == before


def test_any_other_word_is_a_task_of_ones_own_and_that_is_said(run: Run, loaded: Path) -> None:
    result = run("service", SAMPLE_NAME, *DONE, "--task", "Lid painting")
    assert result.exit_code == 0
    assert "lid painting is a task of your own: how often it is wanted can stand in tasks.csv" in result.stdout
    assert "of your own" not in run("service", SAMPLE_NAME, *DONE, "--task", "inspection").stdout


def test_every_task_of_our_rule_profiles_is_known_by_its_words() -> None:
    tasks = [task for name in built_in_names() for task in built_in(name).tasks]
    words = {word for task in tasks for word in (task.name, *task.done_by)}
    assert words <= set(KNOWN_TASKS)
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    told = readme[readme.index("### Words that bring something by themselves") : readme.index("### tasks.csv")]
    assert [
        word for word in (*words, *(kind for task in tasks for kind in task.kinds)) if f"`{word}`" not in told
    ] == []


def test_a_slip_in_a_task_of_service_csv_is_refused_with_its_row(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["service"] = [["on", "component", "task"], ["2024-05-01", "septic tank", "pmup-out"]]
    result = run("load", write_sheets("sheets", **sheets))
    assert result.exit_code == 2
    assert (
        "service.csv row 2, column task: “pmup-out” is no task that is known, but nearly one; did you mean “pump-out”?"
        in (result.stderr)
    )

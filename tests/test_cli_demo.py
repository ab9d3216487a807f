"""`asbuilt demo`, the help of every command and the examples in it."""

import json
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest

from asbuilt.cli.main import main
from asbuilt.jobs.demo import FILES
from tests.commands import ROOT, SAMPLE, SAMPLE_NAME, Run, files_below, invoke, parsed

COMMANDS = [
    "load",
    "tape",
    "next-tape",
    "ready",
    "photo",
    "backfill-check",
    "drawing",
    "print",
    "positions",
    "levels",
    "map",
    "photos",
    "log",
    "rules",
    "find",
    "uncovered",
    "label",
    "clear-of",
    "service",
    "due",
    "route",
    "pump",
    "service-sheet",
    "alarm-sheet",
    "report",
    "packet",
    "import-packet",
    "sheets",
    "geojson",
    "export",
    "import",
    "load-cards",
    "correct",
    "withdraw",
    "verify",
    "backup",
    "restore",
    "demo",
]


# ------------------------------------------------------------ the demonstration


def test_the_demo_writes_its_files_and_ends_with_three_facts(run: Run, folder: Path) -> None:
    result = run("demo", "--out", "demo")
    assert (result.exit_code, result.stderr) == (0, "")
    written = [name for name in files_below(folder) if not name.startswith("demo/asbuilt.db.photos/")]
    assert sorted(written) == sorted(f"demo/{name}" for name in FILES)
    lines = result.stdout.splitlines()
    assert lines[0] == "The sample property is invented: its place, people and readings are nobody's."
    assert lines[lines.index("Written:") + 1].split()[0] == "demo/asbuilt.db"
    end = result.stdout.partition("What you would want to know first:\n")[2]
    assert [" ".join(fact.split()) for fact in end.split("  - ")[1:]] == [
        "The septic tank, inlet lid, is 33' 7\" on the slope from wing corner and 52' 0\" on the slope from SE corner, "
        "within 2 in (19 times in 20).",
        "The septic tank is next due for a pump-out on 2027-12-10 by the measured solids, between 2027-04-07 and "
        "2029-09-12 as use varies.",
        "26 of 42 points are checked by a spare tape; the least well known is the property line, NW pin, within 9 in.",
    ]
    assert max(map(len, lines)) <= 100


def test_each_file_of_the_demo_holds_what_the_commands_say(run: Run, folder: Path) -> None:
    run("demo", "--out", "demo")
    name = "Fernbank Lane 14"
    record = ("--record", "demo/asbuilt.db")
    day = ("--on", "2026-06-01")
    said = {
        "positions.json": run("positions", name, "--json", *record).stdout,
        "positions.txt": run("positions", name, *record).stdout,
        "property.geojson": run("geojson", name, "--points", "--house", *day, *record).stdout,
        "due.json": run("due", "--json", *day, *record).stdout,
        "due.txt": run("due", *day, *record).stdout,
    }
    for file, text in said.items():
        assert (folder / "demo" / file).read_text(encoding="utf-8") == text, file
    run("map", name, "--out", "map.html", *day, *record)
    assert (folder / "map.html").read_bytes() == (folder / "demo" / "map.html").read_bytes()


def test_the_demo_is_the_same_each_time_but_for_the_record(run: Run, folder: Path) -> None:
    for name in ("one", "two"):
        run("demo", "--out", name)
    one, two = (files_below(folder / name) for name in ("one", "two"))
    assert one.keys() == two.keys()
    assert [name for name in one if one[name] != two[name] and name != "asbuilt.db"] == []


def test_the_json_of_the_demo_has_exactly_its_keys(run: Run) -> None:
    said = parsed(run("demo", "--out", "demo", "--json"))
    assert list(said) == ["written", "facts", "findings"]
    assert said["written"] == [f"demo/{name}" for name in FILES]
    assert len(said["facts"]) == 3


@pytest.mark.parametrize("name", FILES)
def test_a_file_in_the_way_is_refused_before_anything_is_written(run: Run, folder: Path, name: str) -> None:
    (folder / "demo").mkdir()
    (folder / "demo" / name).write_text("mine", encoding="utf-8")
    before = files_below(folder)
    result = run("demo", "--out", "demo")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"asbuilt: demo/{name}: the file is there already; --overwrite replaces it\n"
    assert files_below(folder) == before


def test_overwrite_writes_the_files_again_and_never_the_record(run: Run, folder: Path) -> None:
    run("demo", "--out", "demo")
    record = (folder / "demo" / "asbuilt.db").read_bytes()
    (folder / "demo" / "map.html").write_text("old", encoding="utf-8")
    assert run("demo", "--out", "demo", "--overwrite").exit_code == 0
    assert (folder / "demo" / "asbuilt.db").read_bytes() == record
    assert (folder / "demo" / "map.html").read_text(encoding="utf-8") != "old"


def test_a_record_with_other_readings_of_the_sample_is_left_alone(run: Run, folder: Path) -> None:
    sheets = shutil.copytree(SAMPLE, folder / "sheets")
    walls = sheets / "walls.csv"
    walls.write_text(walls.read_text(encoding="utf-8").replace("48' 3", "48' 4"), encoding="utf-8")
    (folder / "demo").mkdir()
    run("load", "sheets", "--record", "demo/asbuilt.db")
    before = files_below(folder)
    result = run("demo", "--out", "demo", "--overwrite")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "asbuilt: demo/asbuilt.db: other readings of Fernbank Lane 14 are recorded there; nothing was written. "
        "Give another folder with --out\n"
    )
    assert files_below(folder) == before


def test_a_folder_that_cannot_be_made_is_one_message(run: Run, folder: Path) -> None:
    (folder / "notes").write_text("a file", encoding="utf-8")
    before = files_below(folder)
    result = run("demo", "--out", "notes/demo")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "asbuilt: notes/demo: the folder cannot be made: Not a directory\n"
    assert files_below(folder) == before


# ------------------------------------------------------------ help


def help_of(*words: str) -> str:
    return invoke(*words, "--help").stdout


def joined(text: str) -> str:
    """Join the lines of a long example, which the shell joins as well."""
    return text.replace("\\\n", "")


@pytest.mark.parametrize("words", [(), *((command,) for command in COMMANDS)])
def test_help_is_readable_at_80_columns_and_ends_with_an_example(
    words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = help_of(*words)
    assert max(map(len, text.splitlines())) <= 80
    assert not any(line.endswith("...") for line in text.splitlines()[1:])  # no sentence of the list is cut
    told = joined(text).partition("\nOptions:")[0].rstrip().splitlines()
    assert told[-2] == "  Example:"
    assert told[-1].startswith("    asbuilt ")


def test_help_lists_the_commands_in_the_order_of_the_work() -> None:
    listed = re.findall(r"^  ([a-z-]+)  ", help_of().partition("\nWhile the hole is open:\n")[2], re.MULTILINE)
    assert listed == COMMANDS
    assert list(main.commands) == COMMANDS


def test_every_option_of_every_command_says_what_it_does() -> None:
    for name, command in main.commands.items():
        for parameter in command.params:
            if isinstance(parameter, click.Option):
                assert parameter.help, f"{name} {parameter.opts}"
        assert "--json" in help_of(name)
        assert "-h" in help_of(name)


@pytest.mark.parametrize("command", COMMANDS)
def test_the_example_of_the_help_runs(run: Run, folder: Path, loaded: Path, command: str) -> None:
    shutil.copytree(SAMPLE, folder / "sample_property")
    if command == "import":
        run("export", "Fernbank Lane 14", "--out", "property.gpkg")
    if command == "import-packet":
        run("packet", "Fernbank Lane 14", "--out", "fernbank.zip")
    example = re.search(r"Example:\n +asbuilt (.+)\n", joined(help_of(command)))
    assert example is not None
    result = run(*shlex.split(example[1]))
    # the sample has unchecked points, so it is never ready, and a lateral whose flow has fallen off
    assert result.exit_code == int(command in ("ready", "backfill-check", "pump"))
    assert result.stderr == "" or command == "pump"
    assert result.stdout.strip()


def test_the_example_of_the_whole_program_runs(run: Run) -> None:
    example = re.search(r"Example:\n +asbuilt (.+)\n", help_of())
    assert example is not None
    assert run(*shlex.split(example[1])).exit_code == 0


def test_an_unknown_command_is_refused(run: Run) -> None:
    result = run("position")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "No such command 'position'." in result.stderr


# ------------------------------------------------------------ the process as a user starts it


def test_a_terminal_that_knows_ascii_only_still_gets_every_answer(run: Run, loaded: Path) -> None:
    """Pipes on some systems know few characters; names and readings may hold some that are not among them."""
    sheets = loaded.parent / "small"
    sheets.mkdir()
    for name, text in {
        "property.toml": 'name = "Wiesenweg 4"\nunits = "ft-in"\n[earth]\nreference = "A"\nlatitude = 42.5\n'
        'longitude = -118.5\naccuracy_m = 4\nwall_from = "A"\nwall_to = "B"\nazimuth_deg = 352\n',
        "reference_points.csv": "name\nA\nB\n",
        "walls.csv": "from,to,length,turn\nA,B,26' 3½,\n",
        "points.csv": "component,point,from1,tape1,from2,tape2,side\n"
        "Klärgrube,Deckel,A,34' 11½,B,11' 1,right of A > B\n",
    }.items():
        (sheets / name).write_text(text, encoding="utf-8")
    run("load", str(sheets))
    environment = {"PYTHONIOENCODING": "ascii", "PYTHONPATH": str(ROOT), "PATH": ""}
    for words, reads in (
        (("positions", "Wiesenweg 4", "--json"), json.loads),
        (("positions", "Wiesenweg 4"), str),
        (("geojson", "Wiesenweg 4", "--points"), json.loads),
    ):
        done = subprocess.run(
            [sys.executable, "-m", "asbuilt", *words], cwd=loaded.parent, env=environment, capture_output=True
        )
        assert (done.returncode, done.stderr) == (0, b"")
        told = reads(done.stdout.decode("ascii"))
        if reads is json.loads:
            written = json.dumps(told, ensure_ascii=False)
            assert "Klärgrube" in written
            assert "34' 11½" in written


def test_every_surface_runs_as_a_module_too(folder: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "asbuilt", "--version"],
        cwd=folder,
        env={"PYTHONPATH": str(ROOT), "PATH": ""},
        capture_output=True,
        text=True,
        check=True,
    )
    assert re.search(r"\b\d+\.\d+\.\d+\b", done.stdout)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no such device on this system")
@pytest.mark.parametrize("words", [("positions", SAMPLE_NAME), ("geojson", SAMPLE_NAME), ("--help",)])
def test_an_answer_that_cannot_be_written_out_is_one_message(loaded: Path, words: tuple[str, ...]) -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "asbuilt", *words],
            cwd=loaded.parent,
            env={"PYTHONPATH": str(ROOT), "PATH": ""},
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
        )
    assert done.returncode == 2
    assert done.stderr == (
        "asbuilt: the answer could not be written (No space left on device); what was stored before stays stored\n"
    )

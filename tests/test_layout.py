"""The house has floors, and no import runs upward; one library, one room; nothing stray at the top."""

import ast
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.commands import ROOT

PACKAGE = ROOT / "asbuilt"

FLOORS: tuple[frozenset[str], ...] = (
    frozenset({"errors", "units", "findings", "file_names", "whole_files", "model"}),
    frozenset({"rules"}),
    frozenset({"survey"}),
    frozenset({"shapes"}),
    frozenset({"checks", "service"}),
    frozenset({"output"}),
    frozenset({"handover"}),
    frozenset({"jobs"}),
    frozenset({"cli", "page"}),
)
"""The rooms from the ground up. Those of one floor are siblings: but for the ground floor they know nothing of each
other."""

RECORD = "record"
"""The record stands beside the floors: it knows the ground floor and the rules, and only the top knows it."""

RECORD_KNOWS = FLOORS[0] | FLOORS[1]
KNOW_RECORD = frozenset({RECORD, "handover", "jobs"})

ENTRANCES = frozenset({"__init__", "__main__"})

ONE_ROOM = {
    "sqlite_utils": ("record/",),
    "sqlite3": ("record/", "output/gis/geopackage.py", "output/gis/readback.py"),
    "folium": ("output/map/frame.py",),
    "branca": ("output/map/frame.py",),
    "jinja2": (),
    "click": ("cli/",),
    "icalendar": ("output/icalendar_file.py",),
    "pyvrp": ("service/route_pyvrp.py",),
    "pyogrio": ("output/gis/geopackage.py", "output/gis/flatgeobuf.py"),
    "pyarrow": ("output/gis/geoparquet.py",),
    "geopandas": (),
    "pyproj": ("survey/earth.py", "survey/coordinates.py", "output/map/webmap.py", "output/gis/system.py"),
    "pygeomag": ("survey/azimuth.py",),
    "typst": ("output/sheets/pdf.py",),
    "segno": ("output/sheets/qr.py",),
    "PIL": ("record/pictures.py",),
    "zipfile": ("handover/", "record/sheets/", "output/gis/kml.py"),
    "csv": ("record/", "output/"),
    "tomllib": ("record/", "rules/"),
    "requests": (),
    "urllib": (),
    "socket": (),
    "pickle": (),
}
"""Each library and where it may be imported: a room, a file, or nowhere."""

TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "asbuilt", "tests", "sample_property", "LICENSE"}


def room_of(module: str) -> str:
    """Give the room of a module of the package: `asbuilt.survey.adjust` is in `survey`; the package itself in none."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else "__init__"


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(path: Path) -> Iterator[str]:
    """Walk through what a module imports, in its head and in its functions, by absolute name."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"), str(path))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are written in full"
            assert node.module is not None
            # `from asbuilt import survey` and `from asbuilt.record import schema` import modules
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names if node.module.startswith("asbuilt"))


def inner_imports(path: Path) -> set[str]:
    """Give the rooms that a module imports from."""
    known = {name_of(other) for other in modules()}
    return {room_of(name) for name in imports_of(path) if name in known and name != "asbuilt"}


def floor_of(room: str) -> int:
    return next(level for level, rooms in enumerate(FLOORS) if room in rooms)


def rooms() -> set[str]:
    return {room_of(name_of(path)) for path in modules()} - ENTRANCES


def test_every_room_has_its_floor() -> None:
    assert rooms() <= frozenset().union(*FLOORS) | {RECORD}
    assert {"survey", "record", "output", "cli", "model"} <= rooms()


def test_no_import_runs_upward() -> None:
    wrong = [
        f"{name_of(path)} imports {room}"
        for path in modules()
        for room in sorted(inner_imports(path) - {RECORD})
        if (here := room_of(name_of(path))) not in ENTRANCES | {RECORD, room} and floor_of(room) > floor_of(here)
    ]
    assert wrong == []


def test_siblings_above_the_ground_know_nothing_of_each_other() -> None:
    wrong = [
        f"{name_of(path)} imports {room}"
        for path in modules()
        for room in sorted(inner_imports(path) - {RECORD})
        if (here := room_of(name_of(path))) not in ENTRANCES | {RECORD, room} and floor_of(room) == floor_of(here) > 0
    ]
    assert wrong == []


def test_the_record_knows_only_the_ground_floor_the_model_and_the_rules() -> None:
    wrong = [
        f"{name_of(path)} imports {room}"
        for path in modules()
        if room_of(name_of(path)) == RECORD
        for room in sorted(inner_imports(path) - RECORD_KNOWS - {RECORD})
    ]
    assert wrong == []


def test_only_the_handover_and_the_jobs_know_the_record() -> None:
    wrong = [
        name_of(path)
        for path in modules()
        if RECORD in inner_imports(path) and room_of(name_of(path)) not in KNOW_RECORD
    ]
    assert wrong == []


def test_no_inner_module_imports_the_public_surface() -> None:
    allowed = {"asbuilt.cli.main"}  # for the number of the version
    wrong = [name_of(path) for path in modules() if "asbuilt" in imports_of(path)]
    assert set(wrong) <= allowed


@pytest.mark.parametrize("library", ONE_ROOM)
def test_one_library_has_one_room(library: str) -> None:
    wrong = [
        place
        for path in modules()
        for name in imports_of(path)
        if name.partition(".")[0] == library
        and not (place := path.relative_to(PACKAGE).as_posix()).startswith(ONE_ROOM[library] or "nowhere")
    ]
    assert wrong == []


def test_every_library_that_is_imported_is_a_dependency_and_every_dependency_is_imported() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = [
        *project["dependencies"],
        *project["optional-dependencies"]["parquet"],
        *project["optional-dependencies"]["route"],
    ]
    needed = {line.partition(">")[0].replace("-", "_") for line in lines}
    tops = {name.partition(".")[0] for path in modules() for name in imports_of(path)}
    outside = tops - set(sys.stdlib_module_names) - {"asbuilt"}
    named = {"pillow" if each == "PIL" else each for each in outside}
    assert named - {"branca"} == needed  # branca is folium's own other half


def test_command_modules_load_nothing_of_the_house_but_the_ground_floor_at_their_head() -> None:
    """A heavy import stands inside the command that needs it."""
    wrong = []
    for path in sorted((PACKAGE / "cli").glob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("asbuilt."):
                room = room_of(node.module)
                wrong += [f"{path.name} imports {node.module}"] if room not in FLOORS[0] | {"cli"} else []
    assert wrong == []


def test_reckoning_opens_no_file_and_asks_for_no_day() -> None:
    """Pure rooms: what they need is passed in."""
    asked = ("open", "read_text", "write_text", "today", "now", "print", "input", "getenv")
    wrong = []
    for path in modules():
        if room_of(name_of(path)) not in {
            "model",
            "rules",
            "survey",
            "shapes",
            "checks",
            "service",
            "units",
            "findings",
        }:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                called = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
                wrong += [f"{name_of(path)} line {node.lineno}: {called}"] if called in asked else []
    assert wrong == []


def test_a_file_is_one_noun_and_not_a_room_of_its_own() -> None:
    long = {name_of(path): len(path.read_text(encoding="utf-8").splitlines()) for path in modules()}
    assert {name: lines for name, lines in long.items() if lines > 600} == {}


def test_every_module_says_in_its_first_line_what_it_is() -> None:
    mute = [name_of(path) for path in modules() if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))]
    assert mute == []


def test_the_top_level_holds_these_files_and_no_others() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    top = {line.partition("/")[0] for line in listed.splitlines()}
    assert {name for name in top if not name.startswith(".")} == TOP

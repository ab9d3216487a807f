"""What our own code never does: run text, call a shell, unpack objects, join values into SQL, make markup of text.

The Python is read as a syntax tree, so that a comment or a text does not count and another spelling does.
"""

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.commands import ROOT

PACKAGE = ROOT / "asbuilt"

FORBIDDEN_MODULES = {"pickle", "cPickle", "_pickle", "dill", "cloudpickle", "marshal", "shelve", "yaml", "subprocess"}
FORBIDDEN_MODULES |= {"jinja2", "code", "codeop", "imp", "ctypes", "pty", "commands", "xml.dom", "xml.sax.expatreader"}
"""Modules that unpack objects, run text or start programs."""

FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__", "execfile", "breakpoint", "input"}
FORBIDDEN_ATTRIBUTES = {
    "system",
    "popen",
    "spawnl",
    "spawnv",
    "execv",
    "execvp",
    "startfile",
    "from_string",
    "Template",
}

SQL = re.compile(r"\b(SELECT|INSERT|UPDATE|DELETE|CREATE|DROP|ALTER|PRAGMA|ATTACH)\b")

SQL_PARTS = {
    *("table", "noun.table", "_TIE.table", "SHEETS_TABLE", "columns", "names", "column", "sql_type", "marks"),
    *("where", "later", "check", "pragma", "act", "act.lower()"),
    *("APPLICATION_ID", "schema.VERSION", "number", "before", "_MOST", "round(record.wait_s * 1000)"),
}
"""What stands between the words of a statement, each looked at: tables, columns, marks, conditions and numbers of our
own, never a word of the record."""

JS_FORBIDDEN = (
    *(r"\binnerHTML\b", r"\bouterHTML\b", r"\binsertAdjacentHTML\b", r"\bdocument\s*\.\s*write", r"\beval\s*\("),
    *(r"\bnew\s+Function\b", r"\bcreateContextualFragment\b", r"\bsetHTMLUnsafe\b", r"\bDOMParser\b", r"\bsrcdoc\b"),
    *(r"\bset(Timeout|Interval)\s*\(\s*[\"'`]", r"\bjavascript:", r"\bimport\s*\(", r"\bfetch\s*\(", r"XMLHttpRequest"),
    *(r"\bWebSocket\b", r"\bsendBeacon\b", r"\bon[a-z]+\s*=\s*[\"'`]", r"bindPopup\s*\(\s*[\"'`]"),
)
"""Ways by which a script of a page makes markup or code of text, or asks for something."""


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def place(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def faults_of(source: str) -> list[str]:
    """Give what a module does that ours never do, with its line."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [f"{node.lineno}: import {each.name}" for each in node.names if _is_forbidden(each.name)]
        elif isinstance(node, ast.ImportFrom) and node.module and _is_forbidden(node.module):
            found.append(f"{node.lineno}: from {node.module} import")
        elif isinstance(node, ast.Call):
            found += [f"{node.lineno}: {words}" for words in _calls(node)]
    return found


def _is_forbidden(module: str) -> bool:
    return module in FORBIDDEN_MODULES or module.partition(".")[0] in FORBIDDEN_MODULES


def _calls(node: ast.Call) -> Iterator[str]:
    function = node.func
    if isinstance(function, ast.Name) and function.id in FORBIDDEN_CALLS:
        yield f"{function.id}()"
    # re.compile and typst.compile are no running of text
    if isinstance(function, ast.Attribute) and function.attr in FORBIDDEN_ATTRIBUTES:
        yield f".{function.attr}()"
    for keyword in node.keywords:
        if keyword.arg == "shell" and not (isinstance(keyword.value, ast.Constant) and keyword.value.value is False):
            yield "shell="
        if keyword.arg == "allow_pickle":
            yield "allow_pickle="


def joined_sql(source: str) -> list[tuple[int, set[str]]]:
    """Give each SQL statement that is joined of parts, with the names of the parts; % and format count too."""
    found = []
    tree = ast.parse(source)
    documentation = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if id(node) in documentation:
            continue
        if isinstance(node, ast.JoinedStr):
            texts = [each.value for each in node.values if isinstance(each, ast.Constant)]
            parts = [each.value for each in node.values if isinstance(each, ast.FormattedValue)]
        elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mod | ast.Add) and _text(node.left):
            texts, parts = [_text(node.left)], [node.right]
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "format":
            texts, parts = [_text(node.func.value)], [*node.args, *(each.value for each in node.keywords)]
        else:
            continue
        if parts and SQL.search(" ".join(str(text) for text in texts)) and _is_statement(texts):
            found.append((node.lineno, {ast.unparse(part) for part in parts}))
    return found


def _text(node: ast.expr) -> str:
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


def _is_statement(texts: list[object]) -> bool:
    words = " ".join(str(text) for text in texts)
    return re.search(r"\b(FROM|INTO|TABLE|SET|TRIGGER|INDEX|PRAGMA|VALUES)\b", words) is not None


@pytest.mark.parametrize("path", modules(), ids=place)
def test_no_module_runs_text_or_starts_a_program(path: Path) -> None:
    assert faults_of(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("source", "seen"),
    [
        ("import pickle", True),
        ("from subprocess import run", True),
        ("import os\nos.system('ls')", True),
        ("eval('1')", True),
        ("import numpy\nnumpy.load('x', allow_pickle=True)", True),
        ("from jinja2 import Template", True),
        ("import re\nre.compile('x')  # eval('1')", False),
        ("words = 'import pickle; eval(1)'", False),
    ],
)
def test_the_check_sees_what_it_looks_for(source: str, seen: bool) -> None:
    assert bool(faults_of(source)) is seen


def test_nothing_is_joined_into_sql_but_names_of_our_own() -> None:
    found = {part for path in modules() for _, parts in joined_sql(path.read_text(encoding="utf-8")) for part in parts}
    assert found - SQL_PARTS == set()


@pytest.mark.parametrize(
    "source",
    [
        'db.execute(f"SELECT * FROM property WHERE name = {name}")',
        "db.execute(\"SELECT * FROM property WHERE name = '%s'\" % name)",
        'db.execute("DELETE FROM entry WHERE id = " + number)',
        'db.execute("INSERT INTO entry VALUES ({})".format(name))',
    ],
)
def test_the_check_sees_joined_sql(source: str) -> None:
    assert joined_sql(source)


def scripts() -> list[Path]:
    found = sorted(each for each in PACKAGE.rglob("*.js") if "leaflet" not in each.parts)
    assert len(found) > 10
    return found


def bare(script: str) -> str:
    """Take the comments out of a script."""
    return re.sub(r"/\*.*?\*/|(?<![:\"'`])//[^\n]*", "", script, flags=re.DOTALL)


@pytest.mark.parametrize("path", scripts(), ids=place)
def test_no_script_of_ours_makes_markup_or_code_of_text(path: Path) -> None:
    words = bare(path.read_text(encoding="utf-8"))
    assert [pattern for pattern in JS_FORBIDDEN if re.search(pattern, words)] == []


@pytest.mark.parametrize(
    "script",
    ["a.innerHTML = b", "document.write(a)", "new Function(a)", "setTimeout('a()', 1)", "a.insertAdjacentHTML('x', b)"],
)
def test_the_check_sees_what_a_script_must_not_do(script: str) -> None:
    assert any(re.search(pattern, bare(script)) for pattern in JS_FORBIDDEN)


def test_no_text_is_escaped_for_folium() -> None:
    """Folium compiles what it gets as a template, so that no escaping makes a text safe for it."""
    calls = [
        (place(path), ast.unparse(node))
        for path in modules()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and re.match(r"(folium|branca)\b", ast.unparse(node.func))
    ]
    assert len(calls) >= 3
    assert [call for call in calls if re.search(r"escape|clean|fit_text|one_line|\bf['\"]", call[1])] == []


def test_every_dependency_has_a_lower_bound() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = [*project["build-system"]["requires"], *project["project"]["dependencies"]]
    for group in project["project"]["optional-dependencies"].values():
        wanted += group
    assert len(wanted) > 20
    assert [each for each in wanted if not re.fullmatch(r"[a-z0-9-]+>=\d+(\.\d+)*(,<\d+(\.\d+)*)?", each)] == []

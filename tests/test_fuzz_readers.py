"""Whatever comes in: each reader takes it or refuses it with its place; no other error, and nothing half.

200 examples each in the daily suite, 10,000 with `-m exhaustive`.
"""

import io
import tomllib
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from asbuilt.errors import AsbuiltError, Problem, ProfileError, SheetError
from asbuilt.record.cards.mapping import CardsError, card_map
from asbuilt.record.cards.reading import BadCard, CardReader, cards_of
from asbuilt.record.profiles import read_profile
from asbuilt.record.sheets.cells import CellError, choice, length, name, number, signed_length, text
from asbuilt.record.sheets.columns import PROPERTY, PROPERTY_KEYS, SHEETS
from asbuilt.record.sheets.days import iso_date
from asbuilt.record.sheets.encodings import decode
from asbuilt.record.sheets.files import Line, Table, table_of
from asbuilt.record.sheets.numerals import Manner, with_point
from asbuilt.record.sheets.read import read_sheets
from asbuilt.record.sheets.rows import read_keys, read_rows
from asbuilt.units import UNITS

INPUTS = Path(__file__).parent / "inputs"
SAMPLE = Path(__file__).parents[1] / "sample_property"

CELL_WORDS = [
    *("A", "B", "septic tank", "inlet lid", "out", "left of A > B", "level", "slope", "?", "L", "box", "pump-out"),
    *("23' 4 1/2\"", "23’ 4″", "7,12", "1,234", "1.234,5", "12,", "0", "-3", "1/0", "9" * 30, "1e999", "½", "nan"),
    *("2025-04-03", "03/04/2025", "3 April 2025", "0000-00-00", "45750", "=cmd", "'=1", "\x1b[31m", "\u202e", "\ud7ff"),
    *("{A}", "{", "#", '"', '""', '"x', "\n", "\r", "\0", " ", "\xa0", "\u2009", "", "ß", "I\u0307", "٣"),
]
WORDS = st.one_of(st.sampled_from(CELL_WORDS), st.text(max_size=12))
CELL = st.lists(WORDS, min_size=1, max_size=3).map("".join)


def placed(problems: list[Problem] | tuple[Problem, ...]) -> None:
    """Every refusal names its place, what was read and what would be accepted, in one line that can be printed."""
    assert problems
    for each in problems:
        assert each.file
        assert each.reason.strip()
        assert each.accepted.strip()
        assert each.row is None or each.row >= 0


# ------------------------------------------------------------ one reader each


def a_sheet(drawn: tuple[str, str, list[list[str]], str]) -> None:
    sheet, separator, rows, end = drawn
    content = end.join(separator.join(row) for row in rows)
    problems: list[Problem] = []
    table = table_of(sheet, content, problems)
    if table is None:
        placed(problems)
        return
    found = read_rows(sheet, table, SHEETS[sheet], "ft-in", problems)
    assert len(found.rows) == len(table.lines)
    if problems:
        placed(problems)


def bytes_of_text(content: bytes) -> None:
    try:
        words, note = decode(content)
    except ValueError as error:
        assert str(error)
    else:
        assert isinstance(words, str)
        assert "\0" not in words or b"\0" in content
        assert note is None or "Windows-1252" in note


def property_toml(content: str) -> None:
    try:
        keys = tomllib.loads(content)
    except (tomllib.TOMLDecodeError, RecursionError):
        return
    property_keys(keys)


def property_keys(keys: dict[str, Any]) -> None:
    problems: list[Problem] = []
    rows = read_keys(PROPERTY, keys, PROPERTY_KEYS, problems)
    assert "" in rows
    assert problems or {"name", "units"} <= set(rows[""].values)
    if problems:
        placed(problems)


def profile_toml(content: str) -> None:
    try:
        read_profile("own.toml", {"own.toml": content})
    except ProfileError as error:
        placed(error.problems)


def map_content(content: dict[str, Any]) -> None:
    table = Table(("card", "lid 1", "road"), 1, (), spelling=("Card", "Lid 1", "Road"))
    try:
        mapped = card_map("map.toml", content, table, "cards.csv")
    except CardsError as error:
        placed(error.problems)
    else:
        assert mapped.rows


def a_card(drawn: tuple[bool, list[list[tuple[int, str]]]]) -> None:
    keyed, changes = drawn
    reader, table = sample_cards(keyed)
    lines = []
    for index, change in enumerate(changes):
        cells = list(table.lines[0].cells)
        for place, word in change:
            cells[place % len(cells)] = " ".join(word.split())
        lines.append(Line(index + 2, tuple(cells)))
    for card in cards_of(Table(table.headings, 1, tuple(lines), spelling=table.spelling), reader.mapped):
        found = reader.read(card)
        if isinstance(found, BadCard):
            placed(found.problems)
            assert {each.file for each in found.problems} == {"cards.csv"}
            assert {each.row for each in found.problems} <= {line.number for line in card.lines}
        else:
            assert found.record.property.name


@cache
def sample_cards(keyed: bool) -> tuple[CardReader, Table]:
    folder = SAMPLE / "cards"
    problems: list[Problem] = []
    table = table_of("cards.csv", (folder / "cards.csv").read_text(encoding="utf-8"), problems)
    assert table is not None
    content = tomllib.loads((folder / "map.toml").read_text(encoding="utf-8")) | ({"key": "Card"} if keyed else {})
    return CardReader("cards.csv", table, card_map("map.toml", content, table, "cards.csv"), folder), table


def a_cell(drawn: tuple[str, str]) -> None:
    words, unit = drawn
    parsers: list[Callable[[str, str], object]] = [
        *(iso_date, text, name(), name(slash=True), length(), signed_length(longest_m=10), choice("a", "b")),
        *(number(), number(0, 10, whole=True), number(above=0)),
    ]
    for manner in (Manner(True), Manner(False)):
        try:
            plain = with_point(words, unit, manner, is_length=True)
        except CellError as error:
            assert error.reason
            assert error.accepted
        else:
            assert plain.replace(",", ".") == words.replace(",", ".")
    for parse in parsers:
        try:
            parse(words, unit)
        except CellError as error:
            assert error.reason
            assert error.accepted


# ------------------------------------------------------------ what they are given

SEPARATORS = st.sampled_from([",", ";", "\t"])


@st.composite
def sheets(draw: st.DrawFn) -> tuple[str, str, list[list[str]], str]:
    sheet = draw(st.sampled_from(sorted(SHEETS)))
    columns = [column.name for column in SHEETS[sheet]]
    headings = draw(st.lists(st.one_of(st.sampled_from(columns), CELL), min_size=1, max_size=8))
    rows = draw(st.lists(st.lists(CELL, max_size=9), max_size=6))
    return sheet, draw(SEPARATORS), [headings, *rows], draw(st.sampled_from(["\n", "\r\n", "\r"]))


SIMPLE = st.one_of(
    CELL,
    st.integers(),
    st.floats(),
    st.booleans(),
    st.dates(),
    st.datetimes(),
    st.none(),
    st.integers(10**400, 10**401),
)
NESTED = st.one_of(SIMPLE, st.lists(SIMPLE, max_size=3), st.dictionaries(CELL, SIMPLE, max_size=3))
VALUES = st.one_of(NESTED, st.lists(NESTED, max_size=3), st.dictionaries(CELL, NESTED, max_size=3))
INNER_KEYS = [column.name for table in PROPERTY_KEYS.values() for column in table]
KEYS = st.dictionaries(
    st.one_of(st.sampled_from([*(column.name for column in PROPERTY_KEYS[""]), *filter(None, PROPERTY_KEYS)]), CELL),
    st.one_of(VALUES, st.dictionaries(st.one_of(st.sampled_from(INNER_KEYS), CELL), VALUES)),
    max_size=8,
)
MAPS = st.fixed_dictionaries(
    {},
    optional={
        "property": st.one_of(
            VALUES,
            st.dictionaries(st.sampled_from(["name", "units", "owner", "measured", "earth", "x"]), VALUES),
            st.fixed_dictionaries({"name": st.just("{Road}"), "units": st.just("ft")}),
        ),
        "key": VALUES,
        "dates": st.one_of(VALUES, st.just("month/day/year")),
        "words": st.one_of(VALUES, st.dictionaries(st.sampled_from(["Card", "lid 1"]), VALUES)),
        "points": st.one_of(
            VALUES,
            st.lists(
                st.dictionaries(
                    st.sampled_from(["component", "point", "from1", "tape1", "tape1 [ft]", "each", "y [m]"]),
                    st.one_of(VALUES, st.sampled_from(["{Lid #}", "{Card}", "{", "A"])),
                ),
                max_size=3,
            ),
        ),
        "walls": VALUES,
        "z": VALUES,
    },
)
TOML_WORDS = [
    *("name", "units", "=", ' = "ft-in"\n', "[", "]", "[[", "]]", "\n", '"', "'", "limit", "task", "profile", "source"),
    *("reference", "1", "1e9", "inf", "2025-04-03", "true", "{", "}", ",", "#", ".", "[measured]\n", '"""', "\\u0000"),
]
TOML = st.lists(st.one_of(st.sampled_from(TOML_WORDS), st.text(max_size=4)), max_size=25).map("".join)
PROFILES = st.one_of(
    TOML,
    TOML.map(lambda words: '[profile]\nname = "own"\nextends = "common"\n' + words),
    st.lists(st.sampled_from((SAMPLE.parent / "asbuilt" / "rules" / "epa.toml").read_text("utf-8").splitlines())).map(
        "\n".join
    ),
)
BYTES = st.one_of(
    st.binary(max_size=200),
    st.tuples(
        st.lists(CELL, max_size=5).map(" ".join),
        st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "mac-roman", "cp437", "utf-32"]),
    ).map(lambda drawn: drawn[0].encode(drawn[1], "replace")),
)

CHANGES = st.lists(st.tuples(st.integers(0, 40), CELL), max_size=4)

READERS: dict[str, tuple[Callable[[Any], None], st.SearchStrategy[Any]]] = {
    "a CSV sheet": (a_sheet, sheets()),
    "bytes": (bytes_of_text, BYTES),
    "property.toml": (property_toml, TOML),
    "keys of property.toml": (property_keys, KEYS),
    "a rule profile": (profile_toml, PROFILES),
    "a map of cards": (map_content, MAPS),
    "a card": (a_card, st.tuples(st.booleans(), st.lists(CHANGES, min_size=1, max_size=3))),
    "a cell": (a_cell, st.tuples(CELL, st.sampled_from(UNITS))),
}

EXAMPLES = [200, pytest.param(10_000, marks=pytest.mark.exhaustive)]


def try_many(check: Callable[[Any], None], strategy: st.SearchStrategy[Any], examples: int) -> None:
    every = settings(max_examples=examples, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    every(given(strategy)(check))()


@pytest.mark.parametrize("examples", EXAMPLES)
@pytest.mark.parametrize("reader", READERS)
def test_a_reader_takes_anything_or_refuses_it_with_its_place(reader: str, examples: int) -> None:
    try_many(*READERS[reader], examples)


# ------------------------------------------------------------ workbooks

BOOKS = ("feet--openpyxl.xlsx", "feet--libreoffice.ods", "metres--xlsxwriter-formulas-1904.xlsx")
XML_WORDS = st.sampled_from(
    [
        *(
            b"<",
            b">",
            b"/",
            b'"',
            b'r="XFD1048576"',
            b't="s"',
            b't="e"',
            b"<v>",
            b"</v>",
            b"999999999",
            b"-1",
            b"1e999",
        ),
        *(b"<mergeCell ref='A1:ZZ9'/>", b"<f>1/0</f>", b"_x0000_", b"&#0;", b"&lt;", b"nan", b""),
        b'table:number-columns-repeated="99999"',
    ]
)


Recipe = tuple[str, list[tuple[float, int]], float, tuple[float, float, int, bytes, bool]]
RECIPES: st.SearchStrategy[Recipe] = st.tuples(
    st.sampled_from(BOOKS),
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=4),  # bytes of the archive: where, and what
    st.one_of(st.just(1.0), st.floats(0, 1)),  # how much of it is left
    st.tuples(st.floats(0, 1), st.floats(0, 1), st.integers(0, 40), XML_WORDS, st.booleans()),  # words put into a part
)


def broken_book(recipe: Recipe) -> bytes:
    """Change bytes of a workbook's archive; where none are to be changed, put words into one of its parts."""
    book, changes, left, (which, where, length_out, word, kept) = recipe
    content = bytearray((INPUTS / "loads" / book).read_bytes())
    if changes:
        for place, byte in changes:
            content[int(place * (len(content) - 1))] = byte
        return bytes(content[: int(left * len(content))])
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = {each: archive.read(each) for each in archive.namelist()}
    names = sorted(each for each in parts if each.endswith((".xml", ".rels")))
    name_of_part = names[int(which * (len(names) - 1))]
    part = parts.pop(name_of_part)
    begin = int(where * len(part))
    if kept or word:
        parts[name_of_part] = part[:begin] + word + part[begin + length_out :]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for each, bytes_of_part in parts.items():
            archive.writestr(each, bytes_of_part)
    return out.getvalue()


@pytest.mark.parametrize("examples", EXAMPLES)
def test_a_broken_workbook_is_read_or_refused_with_its_place(tmp_path: Path, examples: int) -> None:
    def check(recipe: Recipe) -> None:
        path = tmp_path / f"book{Path(recipe[0]).suffix}"
        path.write_bytes(broken_book(recipe))
        try:
            assert read_sheets(path).record.property.name
        except SheetError as error:
            placed(error.problems)

    try_many(check, RECIPES, examples)


@pytest.mark.parametrize("examples", EXAMPLES)
def test_a_refused_folder_leaves_the_record_as_it_was(tmp_path: Path, examples: int) -> None:
    """At the job itself, a hundredth as often: it solves and stores."""
    from datetime import UTC, datetime

    from asbuilt.jobs.load import load_sheets
    from asbuilt.record.database import open_record
    from asbuilt.record.entries import read_property

    folder, record_file = tmp_path / "sheets", tmp_path / "asbuilt.db"
    folder.mkdir()
    for each in (INPUTS / "feet").iterdir():
        (folder / each.name).write_bytes(each.read_bytes())
    now = datetime(2026, 1, 1, tzinfo=UTC)
    load_sheets(record_file, folder, who="a test", now=now)
    with open_record(record_file, read_only=True) as record:
        before = read_property(record, "Quince Hollow 3")
        entries = record.connection.execute("SELECT count(*) FROM entry").fetchone()
    good = (folder / "points.csv").read_bytes()

    def check(drawn: tuple[int, bytes]) -> None:
        place, word = drawn
        (folder / "points.csv").write_bytes(good[:place] + word + good[place:])
        try:
            load_sheets(record_file, folder, who="a test", now=now)
        except AsbuiltError as error:
            assert str(error)
        with open_record(record_file, read_only=True) as record:
            assert read_property(record, "Quince Hollow 3") == before
            assert record.connection.execute("SELECT count(*) FROM entry").fetchone() == entries

    words = CELL.map(lambda word: word.encode("utf-8", "replace"))
    try_many(check, st.tuples(st.integers(0, len(good)), words), examples // 20)

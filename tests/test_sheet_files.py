"""From bytes to cells: encodings, what parts the cells, days, decimal commas, and what a folder or workbook may be."""

import csv
import io
import shutil
import tomllib
import zipfile
from datetime import date
from pathlib import Path
from xml.sax.saxutils import escape

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.errors import Problem, SheetError
from asbuilt.record.sheets import archive, files, workbooks
from asbuilt.record.sheets.archive import Archive, WorkbookError
from asbuilt.record.sheets.cells import CellError
from asbuilt.record.sheets.columns import SHEETS
from asbuilt.record.sheets.days import iso_date, ordered_day
from asbuilt.record.sheets.encodings import decode
from asbuilt.record.sheets.files import table_of
from asbuilt.record.sheets.numerals import Manner, with_point
from asbuilt.record.sheets.read import read_draft, read_sheets
from asbuilt.record.sheets.splitting import separator_of, told_separator
from asbuilt.record.sheets.tabs import Kept, column_letters, number_cell
from tests.commands import SAMPLE, Run, parsed

INPUTS = Path(__file__).parent / "inputs"
FEET = INPUTS / "feet"
BOOK = INPUTS / "loads" / "feet--openpyxl.xlsx"


# ------------------------------------------------------------ encodings

WESTERN = "Crème lid, 45° bend, Ø 24 in — “inlet”, 34’ 11½”, naïve Straße, 3 × 4"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_text_that_says_its_encoding_is_read_without_a_note(encoding: str) -> None:
    assert decode(WESTERN.encode(encoding)) == (WESTERN, None)


def test_windows_1252_is_read_and_said() -> None:
    words, note = decode(("a\n" + WESTERN).encode("cp1252"))
    assert words == "a\n" + WESTERN
    assert note == "is not UTF-8 and was read as Windows-1252, “Crème” in line 2 for one; look whether that is right"


@pytest.mark.parametrize(
    "encoding", ["mac_roman", "cp437", "cp850", "cp1251", "cp1253", "koi8-r", "shift_jis", "cp1255"]
)
def test_a_word_in_another_code_page_is_never_read_as_windows_1252(encoding: str) -> None:
    """Python's own tables of these code pages are the outside."""
    words = {
        "cp1251": "Приёмный люк",
        "koi8-r": "Приёмный люк",
        "cp1253": "καπάκι εισόδου",
        "shift_jis": "入口の蓋",
        "cp1255": "מכסה כניסה",
    }.get(encoding, "Café lid, 45° bend, über")
    if encoding == "mac_roman":
        words = "Café lid, über"
    with pytest.raises(ValueError, match="is not UTF-8"):
        decode(words.encode(encoding))


@given(st.text(alphabet="abc XYZ 0123456789'\",;éàüöäßñçØÅ½°’“”—"))
def test_what_is_read_as_windows_1252_is_what_was_written_in_it(words: str) -> None:
    content = words.encode("cp1252")
    try:
        read, note = decode(content)
    except ValueError:
        return  # not where people write such signs
    if note is not None:
        assert read == words


# ------------------------------------------------------------ separators


@pytest.mark.parametrize(
    ("line", "mark"),
    [("sep=;", ";"), ('"sep=\t"', "\t"), ("SEP=,", ","), ("sep=;;;;", ";"), ("sep=|", None), ("sep", None), ("", None)],
)
def test_a_first_line_may_tell_the_separator(line: str, mark: str | None) -> None:
    assert told_separator(line) == mark


def test_a_separator_within_quotation_marks_does_not_count() -> None:
    assert separator_of('name;"a,b";kind') == ";"
    with pytest.raises(ValueError, match="has commas and semicolons between its headings"):
        separator_of("name;a,kind")


def test_rows_are_numbered_as_the_spreadsheet_shows_them_also_after_a_line_that_it_hides() -> None:
    problems: list[Problem] = []
    table = table_of("ties.csv", 'sep=;\r\nfrom;to\r\n"A\nB";C\r\nD;E\r\n', problems)
    assert table is not None
    assert [(line.number, line.cells) for line in table.lines] == [(2, ("A\nB", "C")), (3, ("D", "E"))]


def test_a_line_break_in_a_text_becomes_a_space_but_an_eaten_row_is_refused(tmp_path: Path) -> None:
    for each in FEET.iterdir():
        (tmp_path / each.name).write_bytes(each.read_bytes())
    service = tmp_path / "service.csv"
    head = "on,component,task,note\n"
    service.write_text(head + '2023-09-14,septic tank,pump-out,"both sides,\nlid greased"\n', encoding="utf-8")
    assert read_sheets(tmp_path).record.service[0].note == "both sides, lid greased"
    # a quotation mark at the start of a note that eats the next row
    service.write_text(
        head + '2023-09-14,septic tank,pump-out,"lid\n2024-09-14,septic tank,pump-out,4"\n', encoding="utf-8"
    )
    with pytest.raises(SheetError) as refused:
        read_sheets(tmp_path)
    assert "holds a line break (an inch mark that ate the next cells)" in str(refused.value)


# ------------------------------------------------------------ days


@pytest.mark.parametrize(
    "words",
    [
        *("2025-04-03", "2025/4/3", "2025.04.03", "2025-04-03 00:00:00", "2025-04-03T00:00", "3 April 2025"),
        *("3rd Apr 2025", "April 3, 2025", "Apr. 3 2025", "3-Apr-2025", "3 APRIL 2025", "April 3rd, 2025"),
    ],
)
def test_a_day_that_can_be_read_in_one_way_is_read(words: str) -> None:
    assert iso_date(words) == date(2025, 4, 3)


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        ("03/04/2025", "“03/04/2025” can be read as 2025-03-04 or 2025-04-03"),
        ("25/12/2025", "“25/12/2025” is not written year-month-day"),
        ("12/25/2025 00:00:00", "“12/25/2025 00:00:00” is not written year-month-day"),
        ("3 April 25", "“3 April 25” is not written year-month-day"),
        ("Ap 3 2025", "“Ap 3 2025” is not written year-month-day"),
        ("3 Mai 2025", "“3 Mai 2025” is not written year-month-day"),
        ("31 June 2025", "“31 June 2025” is not in the calendar (day is out of range for month)"),
        ("2025-04-03 14:30", "“2025-04-03 14:30” is not written year-month-day"),
        ("45750", "“45750” is the number of a day in a spreadsheet, and spreadsheets count from two different days"),
    ],
)
def test_a_day_that_can_be_read_in_two_ways_or_none_is_refused(words: str, reason: str) -> None:
    with pytest.raises(CellError) as refused:
        iso_date(words)
    assert refused.value.reason == reason


@given(st.dates(min_value=date(1900, 1, 1)))
def test_every_day_is_read_in_every_form_that_is_accepted(day: date) -> None:
    months = "January February March April May June July August September October November December"
    month = months.split()[day.month - 1]
    for words in (
        day.isoformat(),
        f"{day.year}/{day.month}/{day.day}",
        f"{day.day} {month} {day.year:04}",
        f"{month[:3]} {day.day}, {day.year:04}",
    ):
        assert iso_date(words) == day
    assert ordered_day(f"{day.month}/{day.day}/{day.year}", month_first=True) == day
    assert ordered_day(f"{day.day}.{day.month}.{day.year}", month_first=False) == day


# ------------------------------------------------------------ decimal commas


@pytest.mark.parametrize(
    ("words", "unit", "is_length", "read"),
    [
        ("7,12", "m", True, "7.12"),
        ("7,125", "m", True, "7.125"),  # 7125 m is longer than anything here
        ("7,125 m", "ft", True, "7.125 m"),
        ("0,125", "ft", True, "0.125"),
        ("23,45", "ft", True, "23.45"),  # 45 are no inches
        ("23' 4,5\"", "ft-in", True, "23' 4.5\""),
        ("1234,5", "", False, "1234.5"),
        ("42,5282927", "", False, "42.5282927"),
        ("-3,25", "", False, "-3.25"),
        ("7.12", "m", True, "7.12"),
        ("A, B", "", False, "A, B"),  # what it is the cell's own parser says
    ],
)
def test_a_comma_that_can_only_be_a_decimal_comma_is_one(words: str, unit: str, is_length: bool, read: str) -> None:
    assert with_point(words, unit, Manner(), is_length=is_length) == read


@pytest.mark.parametrize(
    ("words", "unit", "is_length", "reason"),
    [
        ("1,234", "", False, "“1,234” can be read as 1234 or 1.234"),
        ("1,234", "ft", True, "“1,234” can be read as 1234 or 1.234"),
        ("1,234 ft", "m", True, "“1,234 ft” can be read as 1234 ft or 1.234 ft"),
        ("23,4", "ft", True, "“23,4” can be read as 23.4 ft or 23' 4\""),
        ("1.234,5", "m", True, "“1.234,5” has points and a comma"),
    ],
)
def test_a_comma_that_can_be_two_things_is_refused_with_both_readings(
    words: str, unit: str, is_length: bool, reason: str
) -> None:
    with pytest.raises(CellError) as refused:
        with_point(words, unit, Manner(), is_length=is_length)
    assert refused.value.reason == reason


def test_where_semicolons_part_the_cells_a_comma_between_feet_and_tenths_is_a_decimal_comma() -> None:
    assert with_point("23,4", "ft", Manner(commas_part=False), is_length=True) == "23.4"


# ------------------------------------------------------------ workbooks


def test_numbers_are_written_as_the_spreadsheet_shows_them() -> None:
    assert number_cell("42.5282927").words == "42.5282927"
    assert number_cell("1250").words == "1250"
    assert number_cell("4017123456789012345").kept is Kept.ROUNDED
    assert [column_letters(k) for k in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]


def test_a_workbook_says_its_tab_and_row_in_messages_and_in_the_record(run: Run, folder: Path) -> None:
    book = folder / "Quince.xlsx"
    book.write_bytes(BOOK.read_bytes())
    assert run("load", "Quince.xlsx").exit_code == 0
    assert "Quince.xlsx, tab points row 2" in run("log", "Quince Hollow 3").stdout
    again = run("load", "Quince.xlsx")
    assert (again.exit_code, again.stdout.splitlines()[0]) == (
        0,
        "Quince Hollow 3: the sheets say what is recorded already; nothing changed",
    )


def test_the_same_sheets_as_files_change_nothing_in_the_record(run: Run) -> None:
    run("load", BOOK)
    same = run("load", FEET)
    assert same.stdout.startswith("Quince Hollow 3: the sheets say what is recorded already; nothing changed\n")


def test_a_draft_of_a_workbook_stores_its_good_rows() -> None:
    sheets, left_out = read_draft(INPUTS / "refused" / "feet--openpyxl-lengths-made-dates.xlsx")
    assert sheets.record.property.draft
    assert len(left_out) >= 4
    assert {each.file for each in left_out} <= {
        f"feet--openpyxl-lengths-made-dates.xlsx, tab {tab}" for tab in ("property", "points", "service")
    }


def test_a_folder_with_a_workbook_in_the_place_of_sheets_says_so(tmp_path: Path) -> None:
    (tmp_path / "Quince.ods").write_bytes(b"PK")
    with pytest.raises(SheetError) as refused:
        read_sheets(tmp_path)
    assert str(refused.value.problems[0]) == (
        "property.toml: is missing; if the sheets are the tabs of Quince.ods, give that file"
    )


def test_a_note_on_a_guessed_encoding_is_printed_and_in_the_json(run: Run, folder: Path) -> None:
    sheets = folder / "sheets"
    sheets.mkdir()
    for each in FEET.iterdir():
        (sheets / each.name).write_bytes(each.read_bytes())
    (sheets / "points.csv").write_bytes((INPUTS / "loads" / "feet-points--hand-windows1252.csv").read_bytes())
    said = parsed(run("load", "sheets", "--json"))
    assert said["findings"][0] == {
        "code": "guessed-encoding",
        "subject": "points.csv",
        "message": "points.csv is not UTF-8 and was read as Windows-1252, ““inlet”” in line 2 for one; look whether "
        "that is right.",
        "severity": "note",
    }
    assert run("load", "sheets").stderr.startswith("note: points.csv is not UTF-8 and was read as Windows-1252")


# ------------------------------------------------------------ limits


def test_every_limit_on_size_has_its_message(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The limits are lowered, so that the test need not write large files; `feet--hand-bomb.xlsx` meets a real one."""

    def said(path: Path) -> list[str]:
        with pytest.raises(SheetError) as refused:
            read_sheets(path)
        return [str(each) for each in refused.value.problems]

    with monkeypatch.context() as lower:
        lower.setattr(workbooks, "BIGGEST_WORKBOOK", 1000)
        assert said(BOOK) == [
            "feet--openpyxl.xlsx: is larger than 1,000 bytes; take out what is no field sheet, or part it in two"
        ]
    with monkeypatch.context() as lower:
        lower.setattr(workbooks, "MOST_ROWS", 3)
        assert "feet--openpyxl.xlsx, tab points: has 5 rows; accepted: at most 3" in said(BOOK)
    with monkeypatch.context() as lower:
        lower.setattr(archive, "MOST_CELLS", 30)
        assert "feet--openpyxl.xlsx: has more than 30 filled cells; part it in two" in said(BOOK)
    with monkeypatch.context() as lower:
        lower.setattr(archive, "MOST_PARTS", 3)
        assert said(BOOK)[0].endswith("parts; accepted: at most 3")
    with monkeypatch.context() as lower:
        lower.setattr(workbooks, "MOST_TABS", 3)
        assert said(BOOK) == ["feet--openpyxl.xlsx: has 7 tabs; accepted: at most 3"]
    with monkeypatch.context() as lower:
        lower.setattr(files, "MOST_COLUMNS", 5)
        assert "feet--openpyxl.xlsx, tab points row 1: has 14 headings; accepted: at most 5" in said(BOOK)


def test_sizes_that_an_archive_only_claims_are_not_believed() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("xl/workbook.xml", b"<a>" + b" " * 5_000_000 + b"</a>")
    content = bytearray(out.getvalue())
    for place in range(len(content) - 4):
        if content[place : place + 4] == (5_000_007).to_bytes(4, "little"):
            content[place : place + 4] = (7).to_bytes(4, "little")
    opened = Archive(bytes(content))
    try:
        part = opened.part("xl/workbook.xml")
    except WorkbookError as error:
        assert "cannot be read" in error.reason
    else:
        assert len(part) <= 7


def cells_of(row: list[str]) -> str:
    return "".join(f'<c t="inlineStr"><is><t xml:space="preserve">{escape(each)}</t></is></c>' for each in row)


def made_workbook(tabs: dict[str, list[list[str]]]) -> bytes:
    """Make the smallest workbook by hand: no styles, no places of cells, all texts in the cells themselves."""
    out = io.BytesIO()
    numbers = range(1, len(tabs) + 1)
    with zipfile.ZipFile(out, "w") as made:
        sheets = "".join(f'<sheet name="{name}" r:id="r{k}"/>' for k, name in zip(numbers, tabs, strict=True))
        made.writestr("xl/workbook.xml", f'<workbook xmlns:r="r"><sheets>{sheets}</sheets></workbook>')
        targets = "".join(f'<Relationship Id="r{k}" Type="x/worksheet" Target="worksheets/s{k}.xml"/>' for k in numbers)
        made.writestr("xl/_rels/workbook.xml.rels", f"<Relationships>{targets}</Relationships>")
        for k, rows in zip(numbers, tabs.values(), strict=True):
            body = "".join(f"<row>{cells_of(row)}</row>" for row in rows)
            made.writestr(f"xl/worksheets/s{k}.xml", f"<worksheet><sheetData>{body}</sheetData></worksheet>")
    return out.getvalue()


def test_every_sheet_of_the_sample_reads_the_same_as_a_tab_of_a_workbook(tmp_path: Path) -> None:
    tabs: dict[str, list[list[str]]] = {}
    for name in SHEETS:
        if (SAMPLE / name).exists():
            with (SAMPLE / name).open(encoding="utf-8", newline="") as stream:
                tabs[name.removesuffix(".csv")] = list(csv.reader(stream))
    rows = []
    for key, value in tomllib.loads((SAMPLE / "property.toml").read_text(encoding="utf-8")).items():
        inner = {f"{key}.{each}": one for each, one in value.items()} if isinstance(value, dict) else {key: value}
        rows += [[each, "yes" if one is True else "no" if one is False else str(one)] for each, one in inner.items()]
    folder = tmp_path / "sample"
    shutil.copytree(SAMPLE, folder)  # photos that the sheets name lie beside the workbook
    (folder / "sample.xlsx").write_bytes(made_workbook(tabs | {"property": rows}))
    assert read_sheets(folder / "sample.xlsx").record == read_sheets(SAMPLE).record

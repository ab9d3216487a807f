"""Field sheets as the tabs of one workbook: `points` for points.csv, `property` for property.toml."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import Problem, SheetError
from asbuilt.record.sheets.archive import SAVE_AGAIN, Archive, WorkbookError
from asbuilt.record.sheets.cells import CellError, did_you_mean, shown
from asbuilt.record.sheets.columns import PROPERTY, PROPERTY_KEYS, SHEET_NAMES
from asbuilt.record.sheets.files import MOST_ROWS, Line, Notes, Table, headings_of, plain_spaces, read_bytes
from asbuilt.record.sheets.ods import CONTENT, Ods
from asbuilt.record.sheets.rows import TYPED_AGAIN, Row, read_keys
from asbuilt.record.sheets.tabs import Grid, Kept, TabCell, TabName, column_letters
from asbuilt.record.sheets.xlsx import BOOK, Xlsx

BIGGEST_WORKBOOK = 20_000_000
"""Bytes in a workbook file; the sheets of a property take some ten thousand."""

MOST_TABS = 200
"""Tabs in a workbook."""

ENDINGS = (".xlsx", ".xlsm", ".ods", ".xls", ".xlsb", ".fods", ".numbers")
"""How files end that are meant as workbooks, also those that are refused with a word on how to save them."""

_ACCEPTED = "accepted: a workbook saved as .xlsx or .ods"
_OLD_KIND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_TAB_PROBLEMS = {
    Kept.ERROR: ("the formula there failed, {}", "mend the formula, or type the value"),
    Kept.UNRECKONED: (
        "the value of the formula there is not in the file",
        "open the workbook in a spreadsheet and save it again, or type the value",
    ),
    Kept.ROUNDED: (
        "{} has more figures than a spreadsheet keeps, so the last ones are made up",
        "format the cell as text and type it again",
    ),
}


@dataclass(slots=True)
class Workbook:
    """An open workbook."""

    path: Path
    book: Xlsx | Ods
    tabs: dict[str, TabName]  #: by the sheet that each stands for, such as "points.csv"
    hidden: frozenset[str] = frozenset()  #: sheets whose tab is hidden and so not read, which was noted

    @property
    def home(self) -> Path:
        """The folder in which a rule profile of the property lies."""
        return self.path.parent

    @property
    def hint(self) -> str:
        """What to do where there is no tab for property.toml."""
        return "make a tab property with a key in column A and its value in column B: name, units, measured.by ..."

    def shown_as(self, sheet: str) -> str:
        """Say where a sheet stands, for messages."""
        tab = self.tabs.get(sheet)
        return f"{self.path.name}, tab {tab.name if tab else _tab_of(sheet)}"

    def has(self, sheet: str) -> bool:
        """Tell whether there is a tab for a sheet."""
        return sheet in self.tabs or sheet in self.hidden

    def table(self, sheet: str, problems: list[Problem], notes: Notes) -> Table | None:
        """Read the tab of a sheet as cells; None = no table in it, with the problem noted."""
        grid = self._grid(sheet, problems)
        if grid is None:
            return None
        first, cells = next(iter(sorted(grid.rows.items())))
        headings = headings_of(sheet, first, _in_row(cells), problems)
        if headings is None:
            return None
        _note_merged(sheet, grid, problems)
        lines = tuple(_line(row, grid.rows[row]) for row in sorted(grid.rows) if row > first)
        return Table(tuple(each.lower() for each in headings), first, lines, spelling=headings)

    def keys(self, problems: list[Problem], notes: Notes) -> dict[str, Row]:
        """Read the tab that stands for property.toml: in each row a key, such as `measured.by`, and its value."""
        grid = self._grid(PROPERTY, problems)
        if grid is None:
            return {"": Row(PROPERTY, None)}
        _note_merged(PROPERTY, grid, problems)
        content: dict[str, object] = {}
        for number, cells in sorted(grid.rows.items()):
            _take_key(number, cells, content, problems)
        return read_keys(PROPERTY, content, PROPERTY_KEYS, problems, _words_of)

    def _grid(self, sheet: str, problems: list[Problem]) -> Grid | None:
        if sheet not in self.tabs:
            return None  # hidden
        try:
            grid = self.book.grid(self.tabs[sheet])
        except WorkbookError as error:
            place = self.path.name if error.whole else sheet
            problems.append(Problem(place, None, None, error.reason, error.accepted))
            return None
        except RecursionError:
            problems.append(Problem(sheet, None, None, "is nested too deep", SAVE_AGAIN))
            return None
        if not grid.rows:
            problems.append(Problem(sheet, None, None, "is empty", "write the headings in its first row"))
            return None
        if len(grid.rows) > MOST_ROWS:
            reason = f"has {len(grid.rows):,} rows"
            problems.append(Problem(sheet, None, None, reason, f"accepted: at most {MOST_ROWS:,}"))
            return None
        return grid


def open_workbook(path: Path, problems: list[Problem]) -> Workbook:
    """Open a workbook of field sheets.

    Parameters
    ----------
    path
        The file.
    problems
        Where tabs are noted that were meant as sheets and cannot be read as such.

    Raises
    ------
    SheetError
        If the file cannot be read at all, or no tab of it is a field sheet.
    """
    wrong: list[Problem] = []
    content = read_bytes(path, wrong, BIGGEST_WORKBOOK)
    if content is None:
        raise SheetError(wrong)
    try:
        book = _book(content)
        tabs = book.tabs()
    except WorkbookError as error:
        raise SheetError([Problem(path.name, None, None, error.reason, error.accepted)]) from None
    except RecursionError:
        raise SheetError([Problem(path.name, None, None, "is nested too deep", _ACCEPTED)]) from None
    found = _meant(path.name, tabs, problems)
    known = {_tab_of(sheet): sheet for sheet in SHEET_NAMES}
    hidden = {known[word] for tab in tabs if tab.hidden and (word := _folded(tab.name)) in known}
    return Workbook(path, book, found, frozenset(hidden - found.keys()))


def plain_tab(path: Path, name: str | None, problems: list[Problem]) -> Table | None:
    """Read one tab of any workbook as cells; None = it cannot be, with the problem noted.

    Parameters
    ----------
    path
        The file.
    name
        The tab; None = the only one that is not hidden.
    problems
        Where what is wrong is noted.
    """
    content = read_bytes(path, problems, BIGGEST_WORKBOOK)
    if content is None:
        return None
    try:
        book = _book(content)
        tabs = [tab for tab in book.tabs() if not tab.hidden]
        wanted = [tab for tab in tabs if name is None or tab.name.casefold() == name.casefold()]
        if len(wanted) != 1:
            names = ", ".join(" ".join(tab.name.split()) for tab in tabs[:20])
            reason = f"has {len(tabs)} tabs" if name is None else f"has no tab {shown(name)}, or a hidden one"
            problems.append(Problem(path.name, None, None, reason, f"write tab = ... into the map, one of: {names}"))
            return None
        book_of_one = Workbook(path, book, {path.name: wanted[0]})
        return book_of_one.table(path.name, problems, [])
    except WorkbookError as error:
        problems.append(Problem(path.name, None, None, error.reason, error.accepted))
    except RecursionError:
        problems.append(Problem(path.name, None, None, "is nested too deep", SAVE_AGAIN))
    return None


def _book(content: bytes) -> Xlsx | Ods:
    if content.startswith(_OLD_KIND):
        raise WorkbookError(
            "is a workbook of the old kind (.xls), or one locked by a password",
            "save it again as .xlsx or .ods, without a password",
        )
    if not content.startswith(b"PK"):
        raise WorkbookError("is neither a folder of field sheets nor a workbook", _ACCEPTED)
    archive = Archive(content)
    if BOOK in archive.names:
        return Xlsx(archive)
    if CONTENT in archive.names:
        return Ods(archive)
    raise WorkbookError("is a workbook of a kind that is not read, or no workbook", _ACCEPTED)


def _tab_of(sheet: str) -> str:
    return sheet.rpartition(".")[0]


def _folded(name: str) -> str:
    """Give the form of a tab's name in which it is compared: `Reference Points.csv` is `reference_points`."""
    word = "_".join(name.casefold().replace("_", " ").replace("-", " ").split())
    return word.removesuffix(".csv").removesuffix(".toml")


def _meant(book: str, tabs: Sequence[TabName], problems: list[Problem]) -> dict[str, TabName]:
    """Find the tab of each sheet; note those that are hidden, stand there twice or are misspelt."""
    accepted = f"accepted: tabs named {', '.join(map(_tab_of, SHEET_NAMES))}"
    if len(tabs) > MOST_TABS:
        raise SheetError([Problem(book, None, None, f"has {len(tabs):,} tabs", f"accepted: at most {MOST_TABS}")])
    known = {_tab_of(sheet): sheet for sheet in SHEET_NAMES}
    found: dict[str, TabName] = {}
    others = []
    for tab in tabs:
        place = f"{book}, tab {' '.join(tab.name.split())}"
        sheet = known.get(_folded(tab.name))
        if sheet is None:
            others.append(tab)
        elif tab.hidden:
            reason = "is hidden, so nobody would see what is read"
            problems.append(Problem(place, None, None, reason, "show it, or give it another name to leave it out"))
        elif sheet in found:
            reason = f"stands for the same sheet as the tab {found[sheet].name}"
            problems.append(Problem(place, None, None, reason, "keep one of them"))
        else:
            found[sheet] = tab
    absent = [word for word, sheet in known.items() if sheet not in found]
    for tab in others:
        hint = "" if tab.hidden else did_you_mean(_folded(tab.name), absent, "", likeness=0.85)
        if hint:
            place = f"{book}, tab {' '.join(tab.name.split())}"
            problems.append(Problem(place, None, None, "is not the name of a field sheet", hint))
    if not found and not problems:
        raise SheetError([Problem(book, None, None, "has no tab that is named like a field sheet", accepted)])
    return found


def _in_row(cells: dict[int, TabCell]) -> list[str]:
    """Give the words of a row from its first column to its last filled one."""
    return [" ".join(cells[column].words.split()) if column in cells else "" for column in range(max(cells) + 1)]


def _line(number: int, cells: dict[int, TabCell]) -> Line:
    """Make one row of a table; cells that hold no value carry the reason."""
    words = [""] * (max(cells) + 1)
    refused = []
    for column, cell in sorted(cells.items()):
        words[column] = plain_spaces(cell.words.strip())
        if cell.kept in _TAB_PROBLEMS:
            reason, accepted = _TAB_PROBLEMS[cell.kept]
            refused.append((column, reason.format(shown(cell.words)), accepted))
    dated = frozenset(column for column, cell in cells.items() if cell.kept in (Kept.DAY, Kept.TIME))
    return Line(number, tuple(words), None, whole=True, dated=dated, refused=tuple(refused))


def _note_merged(sheet: str, grid: Grid, problems: list[Problem]) -> None:
    """Refuse merged cells: what is meant for all of them is kept in one, and the others are empty."""
    first = min(grid.rows)
    for place in grid.merged:
        begin, _, end = place.partition(":")
        last = "".join(each for each in end if each.isdigit()) or "0"
        if int(last[:9]) < first:
            continue  # a title over the headings
        reason = f"the cells {begin} to {end} are merged, and only the first of them holds the value"
        problems.append(Problem(sheet, None, None, reason, "part them and fill in each"))


def _take_key(number: int, cells: dict[int, TabCell], content: dict[str, object], problems: list[Problem]) -> None:
    """Take one row of the tab `property`: a key and its value."""
    key_cell, value = cells.get(0), cells.get(1)
    key = "" if key_cell is None else "".join(key_cell.words.split()).lower()
    if number == 1 and key == "key":
        return  # a heading
    extra = [column for column in cells if column > 1]
    if not key or extra:
        place = column_letters(min(extra) if key else min(cells))
        reason = f"the cell {place}{number} {shown(cells[min(extra) if key else min(cells)].words)} belongs to no key"
        problems.append(Problem(PROPERTY, number, None, reason, "accepted: a key in column A, its value in column B"))
        return
    if value is None:
        return  # a key without a value is one that is not there
    if value.kept in _TAB_PROBLEMS:
        reason, accepted = _TAB_PROBLEMS[value.kept]
        problems.append(Problem(PROPERTY, number, key, reason.format(shown(value.words)), accepted))
        return
    table, dot, inner = key.partition(".")
    home = content.setdefault(table, {}) if dot else content
    name = inner if dot else key
    if not isinstance(home, dict) or name in home:
        problems.append(Problem(PROPERTY, number, key, "stands there twice", "write each key once"))
        return
    home[name] = value


def _words_of(value: object, kind: str) -> str:
    """Give the words of a key's value, whatever the spreadsheet takes it for."""
    if not isinstance(value, TabCell):
        raise CellError("is no value", "accepted: a key in column A, its value in column B")
    if value.kept in (Kept.DAY, Kept.TIME) and kind != "date":
        raise CellError(f"the spreadsheet keeps a date or a time there, {shown(value.words)}", TYPED_AGAIN)
    return plain_spaces(value.words.strip())

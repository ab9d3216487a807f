"""One card into the field sheets of one property, or everything that is wrong with it, in the words of the card."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from asbuilt.errors import Problem, SheetError
from asbuilt.record.cards.mapping import CardMap
from asbuilt.record.cards.templates import RowTemplate, Template
from asbuilt.record.sheets.cells import shown
from asbuilt.record.sheets.columns import PROPERTY, PROPERTY_KEYS, SHEET_NAMES, SHEETS
from asbuilt.record.sheets.days import iso_date, ordered_day
from asbuilt.record.sheets.files import Line, Table
from asbuilt.record.sheets.read import SheetSet, assemble
from asbuilt.record.sheets.rows import Row, Sheet, read_row

_SHEET_ROW = re.compile(rf"\b({'|'.join(map(re.escape, SHEET_NAMES))}) row (\d+)")


@dataclass(frozen=True, slots=True)
class Card:
    """The rows of the cards' file that are about one property."""

    lines: tuple[Line, ...]

    @property
    def row(self) -> int:
        """The first of them, as a spreadsheet shows it."""
        return self.lines[0].number


@dataclass(frozen=True, slots=True)
class BadCard:
    """A card that was set aside, and why."""

    card: Card
    problems: tuple[Problem, ...]
    name: str | None = None  #: of its property, where that could be read


def cards_of(table: Table, mapped: CardMap) -> Iterator[Card]:
    """Put the rows of each property together, in the order in which each is first met.

    Where the map names a key, a row without one is a card of its own, which is then refused for it.
    """
    if mapped.key is None:
        yield from (Card((line,)) for line in table.lines)
        return
    groups: dict[str, list[Line]] = {}
    for line in table.lines:
        key = " ".join(line.cells[mapped.key].split()) if mapped.key < len(line.cells) else ""
        groups.setdefault(key or f"\0{line.number}", []).append(line)
    yield from (Card(tuple(lines)) for lines in groups.values())


class CardReader:
    """Reads cards by one map.

    Parameters
    ----------
    file
        Name of the cards' file.
    table
        The cards.
    mapped
        The map.
    home
        The folder in which a rule profile lies that the map names.
    """

    def __init__(self, file: str, table: Table, mapped: CardMap, home: Path) -> None:
        self.file = file
        self.table = table
        self.mapped = mapped
        self.home = home

    def read(self, card: Card) -> SheetSet | BadCard:
        """Make the property of one card."""
        made = _Made(self, card)
        try:
            return made.sheets()
        except SheetError as error:
            return BadCard(card, made.told(error.problems), made.name)


@dataclass(slots=True)
class _Made:
    """The field sheets that one card makes."""

    reader: CardReader
    card: Card
    problems: list[Problem] = field(default_factory=list)
    keys: dict[str, Row] = field(default_factory=dict)
    rows: dict[str, list[Row]] = field(default_factory=dict)
    origins: dict[tuple[str, int | None, str], tuple[int, RowTemplate]] = field(default_factory=dict)
    name: str | None = None

    @property
    def home(self) -> Path:
        """The folder of the map."""
        return self.reader.home

    def sheets(self) -> SheetSet:
        """Read the card; SheetError where anything in it cannot be taken."""
        self._look_at_lines()
        if not self.problems:
            self._make_keys()
            self.name = self.keys[""].get("name")
            self._make_rows()
        if self.problems:
            raise SheetError(self.problems)
        sheets = {each: Sheet(each, bool(self.rows.get(each)), True, self.rows.get(each, [])) for each in SHEETS}
        found = assemble(sheets, self.keys, self, self.problems)
        placed = tuple(
            replace(row, sheet=self.reader.file, row=self._card_row(row.sheet, row.row)) for row in found.rows
        )
        return replace(found, rows=placed)

    def told(self, problems: Sequence[Problem]) -> tuple[Problem, ...]:
        """Say problems in the words of the card: its row and its heading."""
        return tuple(dict.fromkeys(map(self._of_card, problems)))

    # -- making

    def _look_at_lines(self) -> None:
        taken = self.reader.mapped.taken
        for line in self.card.lines:
            for index, reason, accepted in line.refused:
                if index in taken:
                    self._note(line.number, index, reason, accepted)
            if line.broken_at is not None:
                reason = "a quotation mark stands where none belongs, so the row cannot be parted into its cells"
                self._note(line.number, line.broken_at, reason, 'write the inch mark twice ("") in a quoted cell')
            key = self.reader.mapped.key
            if key is not None and not (key < len(line.cells) and line.cells[key]):
                self._note(line.number, key, "is empty", "the map calls it the key that every row needs")

    def _note(self, row: int, index: int, reason: str, accepted: str) -> None:
        spelling = self.reader.table.spelling
        heading = spelling[index] if index < len(spelling) else f"cell {index + 1}"
        self.problems.append(Problem(self.reader.file, row, heading, reason, accepted))

    def _cells(self, line: Line) -> list[str]:
        """Give the cells of a row with the map's words in their place, one for each heading."""
        cells = [*line.cells, *[""] * (len(self.reader.table.headings) - len(line.cells))]
        for index, words in self.reader.mapped.words.items():
            cells[index] = words.get(" ".join(cells[index].split()), cells[index])
        return cells

    def _make_keys(self) -> None:
        for line in self.card.lines:
            cells = self._cells(line)
            for template in self.reader.mapped.rows:
                if template.sheet == PROPERTY:
                    self._make_table(template, line, cells)
        self.keys.setdefault("", Row(PROPERTY, None))
        for table, row in list(self.keys.items()):
            if table and not row.values and not row.bad:
                del self.keys[table]
                continue
            for column in PROPERTY_KEYS[table]:
                if column.needed and row.blank(column.name):
                    self.problems.append(row.problem(column.name, "is empty", "it is needed"))

    def _make_table(self, template: RowTemplate, line: Line, cells: list[str]) -> None:
        row = Row(PROPERTY, None, table=template.table)
        self.origins.setdefault((PROPERTY, None, template.table), (line.number, template))
        self._fill(row, template.filled(cells), line, only_filled=True)
        kept = self.keys.setdefault(template.table, row)
        if kept is row:
            return
        for column, value in list(row.values.items()):
            if column in kept.values and kept.values[column] != value:
                earlier = shown(kept.raw[column])
                self.problems.append(row.problem(column, f"{shown(row.raw[column])} differs from {earlier}", _ALIKE))
            else:
                kept.values[column], kept.raw[column] = value, row.raw[column]
        kept.bad |= row.bad

    def _make_rows(self) -> None:
        seen: set[tuple[object, ...]] = set()
        for line in self.card.lines:
            cells = self._cells(line)
            for template in self.reader.mapped.rows:
                if template.sheet == PROPERTY:
                    continue
                if template.own and not any(cells[index] for index in template.own):
                    continue  # the card says nothing of it
                filled = template.filled(cells)
                words = (template.place, template.sheet, *(each for _, each in filled))
                if words in seen:
                    continue  # said in another row of the same property
                seen.add(words)
                rows = self.rows.setdefault(template.sheet, [])
                row = Row(template.sheet, len(rows) + 1)
                self.origins[template.sheet, row.number, ""] = (line.number, template)
                self._fill(row, filled, line)
                rows.append(row)

    def _fill(self, row: Row, filled: list[tuple[Template, str]], line: Line, *, only_filled: bool = False) -> None:
        unit = self.keys[""].get("units") if "" in self.keys else row.get("units")
        dated = line.dated
        read = []
        for each, words in filled:
            if words and self.reader.mapped.dates is not None and each.column.parse is iso_date:
                day = ordered_day(words, month_first=self.reader.mapped.dates == 0)
                words = words if day is None else day.isoformat()
            if words or not only_filled:
                own = each.unit or (unit if each.column.name != "units" else None)
                is_dated = bool(dated) and not dated.isdisjoint(each.slots)
                read.append((each.column, words, own, is_dated))
        read_row(row, read, self.problems, self.reader.table.manner)

    # -- a place of sheets, for `assemble`

    def shown_as(self, sheet: str) -> str:
        """Keep the name of the sheet: it is put into the card's words afterwards."""
        return sheet

    # -- the words of the card

    def _card_row(self, sheet: str, number: int | None) -> int:
        return self.origins.get((sheet, number, ""), (self.card.row, None))[0]

    def _of_card(self, problem: Problem) -> Problem:
        if problem.file == self.reader.file:
            return problem
        table, column = _table_of(problem)
        origin = self.origins.get((problem.file, problem.row, table))
        number, template = origin if origin is not None else (self.card.row, None)
        cell = next((each for each in template.cells if each.column.name == column), None) if template else None
        spelling = self.reader.table.spelling
        if cell is not None and cell.slots:
            where = " + ".join(spelling[index] for index in cell.slots)
        else:
            where = f"{problem.file.removesuffix('.csv').removesuffix('.toml')} {problem.column or ''}".strip()
        return Problem(self.reader.file, number, where, self._without_sheets(problem.reason), problem.accepted)

    def _without_sheets(self, words: str) -> str:
        """Name the row of the card where a message names a row of a sheet."""

        def named(match: re.Match[str]) -> str:
            return f"row {self._card_row(match[1], int(match[2]))}"

        return _SHEET_ROW.sub(named, words)


_ALIKE = "all rows of one property say the same of it, or nothing"


def _table_of(problem: Problem) -> tuple[str, str | None]:
    """Take apart where a problem of property.toml stands: its table and its key."""
    column = problem.column
    if problem.file == PROPERTY and column is not None and column.startswith("["):
        table, _, key = column[1:].partition("] ")
        return table, key
    return "", column

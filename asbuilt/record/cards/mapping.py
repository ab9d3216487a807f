"""The map of an office's cards: a TOML file that says which heading is which cell of which field sheet."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from asbuilt.errors import AsbuiltError, Problem
from asbuilt.record.cards.templates import RowTemplate, Template, compiled, parts_of
from asbuilt.record.sheets.cells import did_you_mean, shown
from asbuilt.record.sheets.columns import PROPERTY, PROPERTY_KEYS, SHEETS
from asbuilt.record.sheets.files import Notes, Table, read_toml
from asbuilt.record.sheets.rows import Column
from asbuilt.units import UNITS

DATES = {"month/day/year": 0, "day/month/year": 1}
"""How the cards write dates in figures, and which of the two readings that is."""

MOST_ROWS_A_CARD = 200
"""Rows of field sheets that the map makes of one card."""

_HEADING = re.compile(r"(.*?)\s*\[\s*(.*?)\s*\]")
_SHEET_OF = {sheet.removesuffix(".csv"): sheet for sheet in SHEETS if sheet != "photos.csv"}
_TOP = ("key", "dates", "tab", "words", "property")
_NAME_NEEDED = 'write name = "{Heading}" under [property]'


class CardsError(AsbuiltError, ValueError):
    """Cards of which nothing can be loaded, because the map or the file itself is wrong.

    Parameters
    ----------
    problems
        Everything that is wrong with it.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        count = len(self.problems)
        head = f"{count} problem{'' if count == 1 else 's'} in the map or the file of cards; nothing was stored"
        super().__init__("\n".join([head, *map(str, self.problems)]))


@dataclass(frozen=True, slots=True)
class CardMap:
    """What each heading of the cards means."""

    rows: tuple[RowTemplate, ...]  #: those of property.toml first
    words: Mapping[int, Mapping[str, str]]  #: by the index of the card's cell: what is put in its place
    key: int | None  #: index of the cell that is alike in all rows of one property; None = each row is one
    dates: int | None  #: which reading of a date in figures is meant; None = neither is
    file: str
    taken: frozenset[int]  #: indexes of all cells that the map speaks of


def read_map(path: Path) -> dict[str, Any]:
    """Read the map's file.

    Raises
    ------
    CardsError
        If it is no TOML.
    """
    problems: list[Problem] = []
    notes: Notes = []
    content = read_toml(path, problems, notes)
    if content is None:
        raise CardsError(problems)
    return content


def card_map(file: str, content: Mapping[str, Any], cards: Table, cards_file: str) -> CardMap:
    """Lay the map over the headings of the cards.

    Parameters
    ----------
    file
        Name of the map's file.
    content
        What it holds.
    cards
        The cards; only their headings are looked at.
    cards_file
        Name of their file.

    Raises
    ------
    CardsError
        With everything that is wrong with the map.
    """
    return _Reader(file, content, cards, cards_file).read()


class _Reader:
    """One reading of a map; what is wrong is noted."""

    def __init__(self, file: str, content: Mapping[str, Any], cards: Table, cards_file: str) -> None:
        self.file = file
        self.content = content
        self.problems: list[Problem] = []
        self.own: set[int] = set()
        self.cards_file = cards_file
        self.places: dict[str, int] = {}
        self.twice: set[str] = set()
        self.spelling = [each for each in cards.spelling if each]
        for index, heading in enumerate(cards.headings):
            if heading and heading in self.places:
                self.twice.add(heading)
            self.places.setdefault(heading, index)

    def note(self, place: str, reason: str, accepted: str) -> None:
        self.problems.append(Problem(self.file, None, place, reason, accepted))

    def read(self) -> CardMap:
        for name in self.content:
            if name not in _TOP and name not in _SHEET_OF:
                accepted = f"accepted: {', '.join(_TOP)}, [[{']], [['.join(_SHEET_OF)}]]"
                self.note(name, f"{shown(name)} is nothing that a map has", did_you_mean(name, _SHEET_OF, accepted))
        rows = [*self._property(), *(row for name in _SHEET_OF for row in self._sheet(name))]
        key, dates = self._key(), self._dates()
        words = self._words()
        if len(rows) > MOST_ROWS_A_CARD:
            self.note("[[...]]", f"makes {len(rows):,} rows of each card", f"accepted: at most {MOST_ROWS_A_CARD}")
        if self.problems:
            raise CardsError(self.problems)
        taken = {index for row in rows for index in row.slots} | ({key} if key is not None else set())
        return CardMap(tuple(rows), words, key, dates, self.file, frozenset(taken))

    def _property(self) -> list[RowTemplate]:
        content = self.content.get("property")
        if not isinstance(content, dict):
            self.note("[property]", "is missing", _NAME_NEEDED)
            return []
        keys = dict(content)
        for needed in ("name", "units"):
            if needed not in keys:
                accepted = _NAME_NEEDED if needed == "name" else f"accepted: {', '.join(UNITS[:3])}"
                self.note(f"[property] {needed}", "is missing", accepted)
        tables = [("", keys)]
        for table in filter(None, PROPERTY_KEYS):
            inner = keys.pop(table, None)
            if isinstance(inner, dict):
                tables.append((table, inner))
            elif inner is not None:
                self.note(f"[property] {table}", "is no table", f"write [property.{table}]")
        return [
            RowTemplate(
                PROPERTY, table, self._cells(f"[property{'.' if table else ''}{table}]", keys, columns, ""), table
            )
            for table, keys in tables
            if (columns := PROPERTY_KEYS[table])
        ]

    def _sheet(self, name: str) -> Iterator[RowTemplate]:
        tables = self.content.get(name, [])
        if not isinstance(tables, list) or not all(isinstance(each, dict) for each in tables):
            self.note(name, "is no list of rows", f"write [[{name}]] over each row")
            return
        for number, table in enumerate(tables, 1):
            place, sheet = f"[[{name}]] {number}", _SHEET_OF[name]
            keys = {key: value for key, value in table.items() if key != "each"}
            each = table.get("each")
            if each is None:
                rounds = [""]
            elif isinstance(each, list) and each and all(_is_word(one) for one in each) and len(each) <= 100:
                rounds = [str(one) for one in each]
            else:
                self.note(f"{place} each", "is no list of words", 'write such as each = ["1", "2", "3"]')
                continue
            before = len(self.problems)
            for number_of_round, word in enumerate(rounds):
                if number_of_round and len(self.problems) > before:
                    break  # the others would say the same
                yield self._row(place, sheet, keys, word)

    def _row(self, place: str, sheet: str, keys: Mapping[str, Any], word: str) -> RowTemplate:
        """Read one row; of a row that is repeated only the headings with # in them tell whether it is there."""
        self.own.clear()
        row = RowTemplate(sheet, "", self._cells(place, keys, SHEETS[sheet], word), place)
        return replace(row, own=frozenset(self.own) or row.slots)

    def _cells(self, place: str, keys: Mapping[str, Any], columns: Sequence[Column], word: str) -> tuple[Template, ...]:
        """Read the templates of one row in the order of its columns."""
        known = {column.name: column for column in columns}
        cells: dict[str, Template] = {}
        for key, value in keys.items():
            match = _HEADING.fullmatch(key)
            name, unit = (match[1], match[2]) if match else (key, None)
            column = known.get(name)
            if column is None:
                accepted = f"accepted: {', '.join(known)}"
                self.note(f"{place} {key}", f"{shown(name)} is no column there", did_you_mean(name, known, accepted))
            elif unit is not None and (not column.unit or unit not in UNITS):
                accepted = f"accepted: {', '.join(UNITS)}" if column.unit else f"write {name}: it holds no lengths"
                self.note(f"{place} {key}", f"names the unit {shown(unit)}", accepted)
            elif name in cells:
                self.note(f"{place} {key}", "stands there twice", "write it once")
            elif (pieces := self._pieces(f"{place} {key}", value, word)) is not None:
                cells[name] = Template(column, unit, pieces)
        said = {match[1] if (match := _HEADING.fullmatch(key)) else key for key in keys}
        for column in columns if place.startswith("[[") else ():
            if column.needed and not column.blank and column.name not in said:
                self.note(f"{place} {column.name}", "is missing", f'write {column.name} = "..."')
        return tuple(cells[column.name] for column in columns if column.name in cells)

    def _pieces(self, place: str, value: object, word: str) -> tuple[str | int, ...] | None:
        """Read one template; None = it cannot be one, with the problem noted."""
        if not isinstance(value, str):
            if isinstance(value, bool) or not isinstance(value, int | float):
                text = value.isoformat() if hasattr(value, "isoformat") else None
                text = ("yes" if value else "no") if isinstance(value, bool) else text
            else:
                text = repr(value) if abs(value) < 1e15 else None
            if text is None:
                self.note(place, "is no text", 'write it in quotation marks, with headings in braces: "{Heading}"')
                return None
            value = text
        try:
            parts = [(a.replace("#", word) if word else a, b) for a, b in parts_of(value.strip())]
        except ValueError as error:
            self.note(place, f"{shown(value)}: {error}", 'write a heading in braces: "{Heading}"')
            return None
        found = []
        for before, heading in parts:
            folded = None
            if (
                heading is not None
                and (folded := self._place(place, heading.replace("#", word) if word else heading)) is None
            ):
                return None
            found.append((before, folded))
            if word and heading is not None and folded is not None and "#" in heading:
                self.own.add(self.places[folded])
        return compiled(found, self.places)

    def _place(self, place: str, heading: str) -> str | None:
        """Find a heading of the cards, whatever its capitals; None = it is not there, with the problem noted."""
        folded = " ".join(heading.lower().split())
        if not folded or folded not in self.places:
            accepted = f"accepted: {', '.join(self.spelling[:30])}{' ...' if len(self.spelling) > 30 else ''}"
            reason = f"{shown(heading)} is no heading of {self.cards_file}"
            self.note(place, reason, did_you_mean(heading, self.spelling, accepted))
            return None
        if folded in self.twice:
            self.note(
                place, f"{shown(heading)} is the heading of two columns of {self.cards_file}", "rename one of them"
            )
            return None
        return folded

    def _key(self) -> int | None:
        key = self.content.get("key")
        if key is None:
            return None
        if not isinstance(key, str):
            self.note("key", "is no text", 'write such as key = "Card no"')
            return None
        folded = self._place("key", key)
        return None if folded is None else self.places[folded]

    def _dates(self) -> int | None:
        dates = self.content.get("dates")
        if dates is None:
            return None
        if not isinstance(dates, str) or dates not in DATES:
            self.note("dates", f"{shown(str(dates)[:60])} is no order of figures", f"accepted: {' or '.join(DATES)}")
            return None
        return DATES[dates]

    def _words(self) -> dict[int, dict[str, str]]:
        words = self.content.get("words", {})
        found: dict[int, dict[str, str]] = {}
        if not isinstance(words, dict):
            self.note(
                "words", "is no table", 'write [words."Heading"] and under it "as on the card" = "as in the sheets"'
            )
            return found
        for heading, table in words.items():
            place = f"[words.{heading}]"
            if not isinstance(table, dict) or not all(isinstance(each, str) for each in table.values()):
                self.note(place, "is no table of words", 'write lines such as "conc." = "concrete"')
            elif (folded := self._place(place, heading)) is not None:
                found[self.places[folded]] = {" ".join(each.split()): word for each, word in table.items()}
        return found


def _is_word(value: object) -> bool:
    return isinstance(value, str | int) and not isinstance(value, bool) and 0 < len(str(value)) <= 80

"""Cells of field sheets as templates: words of the map with the cells of a card put in."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from asbuilt.record.sheets.rows import Column

_SLOT = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True, slots=True)
class Template:
    """What one cell of a field sheet is made of."""

    column: Column
    unit: str | None  #: that the key names, such as `tape1 [ft]`
    pieces: tuple[str | int, ...]  #: words as they are, and indexes of the card's cells

    @property
    def slots(self) -> tuple[int, ...]:
        """Indexes of the card's cells that it takes."""
        return tuple(each for each in self.pieces if isinstance(each, int))

    def fill(self, cells: Sequence[str]) -> str:
        """Put the cells of one card in; white space at the ends and twice in a row goes."""
        if len(self.pieces) == 1:
            piece = self.pieces[0]
            return cells[piece] if isinstance(piece, int) else piece
        return " ".join("".join(cells[each] if isinstance(each, int) else each for each in self.pieces).split())


@dataclass(frozen=True, slots=True)
class RowTemplate:
    """One row of a field sheet, or one table of property.toml, for each card."""

    sheet: str  #: file name, such as "points.csv"
    table: str  #: table of property.toml; "" = its top, or a sheet
    cells: tuple[Template, ...]
    place: str  #: where it stands in the map, such as "[[points]] 2"
    own: frozenset[int] = frozenset()  #: cells without which the card says nothing of this row; empty = it always does

    @property
    def slots(self) -> frozenset[int]:
        """Indexes of the card's cells that it takes."""
        return frozenset(index for cell in self.cells for index in cell.slots)

    def filled(self, cells: Sequence[str]) -> list[tuple[Template, str]]:
        """Put the cells of one card into all its templates.

        What a tape is pulled from says nothing where the card has no such tape.
        """
        filled = [(each, each.fill(cells)) for each in self.cells]
        empty = {each.column.name.replace("tape", "from") for each, words in filled if not words and each.slots}
        return [(each, "" if each.column.name in empty and not each.slots else words) for each, words in filled]


def parts_of(words: str) -> list[tuple[str, str | None]]:
    """Take a template apart: words as they stand, and after each the heading in braces that follows, if one does.

    Raises
    ------
    ValueError
        If a brace stands alone.

    Examples
    --------
    >>> parts_of("{Road} {No}")
    [('', 'Road'), (' ', 'No')]
    """
    parts: list[tuple[str, str | None]] = []
    at = 0
    for match in _SLOT.finditer(words):
        parts.append((words[at : match.start()], match[1]))
        at = match.end()
    if at < len(words) or not parts:
        parts.append((words[at:], None))
    if any(brace in before for before, _ in parts for brace in "{}"):
        raise ValueError("a brace stands alone")
    return parts


def compiled(parts: Sequence[tuple[str, str | None]], places: Mapping[str, int]) -> tuple[str | int, ...]:
    """Put the indexes of cells in the place of headings."""
    pieces: list[str | int] = []
    for before, heading in parts:
        if before:
            pieces.append(before)
        if heading is not None:
            pieces.append(places[heading])
    return tuple(pieces) or ("",)

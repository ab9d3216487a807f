"""The file of cards, in and out: one wide sheet or the tab of a workbook; and the sheet of those set aside."""

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from asbuilt.errors import Problem
from asbuilt.record.cards.mapping import CardsError
from asbuilt.record.cards.reading import BadCard
from asbuilt.record.sheets.cells import guarded
from asbuilt.record.sheets.files import Notes, Table, read_text, table_of
from asbuilt.record.sheets.workbooks import ENDINGS, plain_tab

BIGGEST_CARDS = 300_000_000
"""Bytes in a file of cards; a hundred thousand cards of thirty cells take a tenth of it."""

MOST_CARDS = 500_000
"""Rows in a file of cards."""

WHY = "why set aside"
"""Heading of the column that a sheet of cards set aside has more; it is passed over when that sheet is loaded."""


def read_cards(path: Path, content: dict[str, Any], notes: Notes) -> Table:
    """Read the cards as cells.

    Parameters
    ----------
    path
        The file.
    content
        What the map's file holds; it may name the tab of a workbook.
    notes
        Where a guessed encoding is noted.

    Raises
    ------
    CardsError
        If the file cannot be read.
    """
    problems: list[Problem] = []
    table: Table | None
    if path.suffix.lower() in ENDINGS:
        tab = content.get("tab")
        table = plain_tab(path, tab if isinstance(tab, str) else None, problems)
    else:
        text = read_text(path, problems, notes, BIGGEST_CARDS)
        table = None if text is None else table_of(path.name, text, problems, MOST_CARDS)
    if table is None:
        raise CardsError(problems)
    if not table.lines:
        raise CardsError([Problem(path.name, None, None, "has headings and no cards", "write a row for each card")])
    return table


def rejects_text(table: Table, bad: Sequence[BadCard]) -> str:
    """Write the cards that were set aside as a sheet of the same headings, with the reasons in one column more.

    Mended, it can be loaded with the same map. A cell that a spreadsheet would take for a formula gets an apostrophe
    before it, which reading takes off again.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    spelling = [each for each in table.spelling if each.lower() != WHY]
    places = [index for index, each in enumerate(table.headings) if each != WHY]
    writer.writerow([*map(guarded, spelling), WHY])
    for each in sorted(bad, key=lambda one: one.card.row):
        why = "; ".join(_short(problem) for problem in each.problems)
        for line in each.card.lines:
            cells = [line.cells[index] if index < len(line.cells) else "" for index in places]
            writer.writerow([*map(guarded, cells), guarded(why)])
    return out.getvalue()


def _short(problem: Problem) -> str:
    """Say a problem without the name of the file, and with its row, which is that of the first sheet."""
    row = "" if problem.row is None else f"row {problem.row}"
    place = ", ".join(filter(None, (row, problem.column or "")))
    words = f"{problem.reason}; {problem.accepted}"
    return f"{place}: {words}" if place else words

"""Sheets written out and read again: what they give, or every reason why they cannot be taken."""

import csv
import io
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from asbuilt.errors import Problem, SheetError
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.sheets.cells import CellError
from asbuilt.record.sheets.columns import SHEETS
from asbuilt.record.sheets.read import read_sheets
from asbuilt.record.sheets.write import FIELD_OF_SHEET, sheet_texts
from asbuilt.units import Length

FIRST_ROW = 2
"""The row in which the first value of a written sheet stands: the heading is row 1."""


def read_again(record: PropertyRecord) -> PropertyRecord:
    """Write a record as field sheets and read them again, photos left out: their files are not among the sheets.

    Raises
    ------
    SheetError
        If the sheets cannot be taken, as those of a draft may not be.
    """
    with _laid_out(sheet_texts(replace(record, photos=()))) as folder:
        return read_sheets(folder).record


def row_changed(record: PropertyRecord, sheet: str, index: int, cells: Mapping[str, str]) -> Any:
    """Read one row again with some of its cells written otherwise, photos left out.

    Parameters
    ----------
    record
        What is written out, every taped distance in a row of `ties.csv`.
    sheet
        The sheet.
    index
        Which of its rows, from 0.
    cells
        New words by column, in the property's units unless they name their own.

    Returns
    -------
    object
        The value of the model that the row gives then.

    Raises
    ------
    SheetError
        If the sheets cannot be taken so.
    """
    texts = sheet_texts(replace(record, photos=()), cards=False)
    texts[sheet], lengths = _changed(texts[sheet], sheet, index, cells, record.property.units)
    with _laid_out(texts) as folder:
        value = getattr(read_sheets(folder).record, FIELD_OF_SHEET[sheet])[index]
    return replace(value, **lengths)


def sheet_problems(record: PropertyRecord) -> tuple[Problem, ...]:
    """Give what is wrong with a record as sheets, every taped distance in a row of `ties.csv`.

    The files of photos are missing there, which is a problem of each of their rows.
    """
    with _laid_out(sheet_texts(record, cards=False)) as folder:
        try:
            read_sheets(folder)
        except SheetError as error:
            return error.problems
    return ()


def _changed(text: str, sheet: str, index: int, cells: Mapping[str, str], units: str) -> tuple[str, dict[str, Length]]:
    """Write some cells of a row otherwise; give the lengths whose column is written in another unit, as they read."""
    head, *rows = csv.reader(io.StringIO(text))
    names = [name.partition(" [")[0] for name in head]
    lengths: dict[str, Length] = {}
    for column, words in cells.items():
        if column not in names:
            names.append(column)
            head.append(column)
            rows = [[*row, ""] for row in rows]
        own = names.index(column)
        if head[own] != column and words:
            lengths[column] = _length(sheet, index, column, words, units)
            words = f"{lengths[column].metres!r} m"
        rows[index][own] = words
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerows([head, *rows])
    return out.getvalue(), lengths


def _length(sheet: str, index: int, column: str, words: str, units: str) -> Length:
    try:
        length = next(each for each in SHEETS[sheet] if each.name == column).parse(words, units)
    except CellError as error:
        raise SheetError([Problem(sheet, FIRST_ROW + index, column, error.reason, error.accepted)]) from error
    return cast(Length, length)


@contextmanager
def _laid_out(texts: Mapping[str, str]) -> Iterator[Path]:
    """Lay sheets out as files for as long as the block lasts."""
    with tempfile.TemporaryDirectory(prefix="asbuilt.") as place:
        folder = Path(place)
        for name, text in texts.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(text, encoding="utf-8", errors="replace", newline="")
        yield folder

"""Where field sheets lie: a folder of plain files, or a workbook with a tab a sheet."""

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from asbuilt.errors import Problem, SheetError
from asbuilt.record.sheets.columns import PROPERTY, PROPERTY_KEYS, SHEET_NAMES
from asbuilt.record.sheets.files import Notes, Table, misnamed_files, read_table, read_toml
from asbuilt.record.sheets.rows import Row, read_keys
from asbuilt.record.sheets.workbooks import ENDINGS, open_workbook

_ACCEPTED = f"give the folder that holds {PROPERTY} and the sheets"


class Place(Protocol):
    """Where field sheets come from, as far as messages and the record tell."""

    @property
    def home(self) -> Path:
        """The folder in which a rule profile of the property lies."""

    def shown_as(self, sheet: str) -> str:
        """Say where a sheet stands, for messages and for the record."""


class Source(Place, Protocol):
    """Something that holds field sheets."""

    @property
    def hint(self) -> str:
        """What to do where there is no property.toml in it; "" = nothing special."""

    def has(self, sheet: str) -> bool:
        """Tell whether a sheet is there."""

    def table(self, sheet: str, problems: list[Problem], notes: Notes) -> Table | None:
        """Read a sheet as cells; None = no table in it, with the problem noted."""

    def keys(self, problems: list[Problem], notes: Notes) -> dict[str, Row]:
        """Read property.toml, or what stands for it."""


@dataclass(frozen=True, slots=True)
class Folder:
    """A folder of plain files."""

    home: Path

    @property
    def hint(self) -> str:
        """Point to a workbook that lies there where the sheets were expected."""
        books = sorted(path.name for path in self.home.iterdir() if path.suffix.lower() in ENDINGS and path.is_file())
        return f"if the sheets are the tabs of {books[0]}, give that file" if books else ""

    def shown_as(self, sheet: str) -> str:
        """Give the name of the file."""
        return sheet

    def has(self, sheet: str) -> bool:
        """Tell whether the file is there; a link that leads nowhere is, and is told as a problem."""
        path = self.home / sheet
        return path.exists() or path.is_symlink()

    def table(self, sheet: str, problems: list[Problem], notes: Notes) -> Table | None:
        """Read a CSV sheet."""
        return read_table(self.home / sheet, problems, notes)

    def keys(self, problems: list[Problem], notes: Notes) -> dict[str, Row]:
        """Read property.toml."""
        content = read_toml(self.home / PROPERTY, problems, notes)
        return {"": Row(PROPERTY, None)} if content is None else read_keys(PROPERTY, content, PROPERTY_KEYS, problems)


def open_source(place: Path, problems: list[Problem]) -> Source:
    """Open a folder or a workbook of field sheets; note files and tabs in it that are misnamed.

    Raises
    ------
    SheetError
        If it is neither.
    """
    reason = None
    try:
        if place.is_dir():
            problems.extend(misnamed_files(place, SHEET_NAMES))
            return Folder(place)
        if place.is_file():
            if place.suffix.lower() in ENDINGS or _begins_as_workbook(place):
                return open_workbook(place, problems)
            reason = "is a file, and neither a folder nor a workbook (.xlsx or .ods)"
        else:
            reason = "is not a file" if place.exists() else "no such folder"
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        if isinstance(error, SheetError):
            raise
        reason = f"cannot be read ({getattr(error, 'strerror', None) or error})"
    raise SheetError([Problem(str(place), None, None, reason, _ACCEPTED)])


def _begins_as_workbook(place: Path) -> bool:
    with place.open("rb") as stream:
        return stream.read(4) == b"PK\x03\x04"

"""The parts of a workbook file: taken out of its archive with an eye on how large they grow."""

import io
import lzma
import zipfile
import zlib
from collections.abc import Iterator
from xml.etree import ElementTree

MOST_EXPANDED = 100_000_000
"""Bytes of all parts of a workbook that are looked at, taken out of its archive; a hundred thousand rows take half."""

MOST_PARTS = 5_000
"""Files in the archive of a workbook."""

MOST_CELLS = 1_000_000
"""Filled cells in one workbook."""


SAVE_AGAIN = "open it in a spreadsheet and save it again as .xlsx or .ods"
"""What mends most workbooks that cannot be read."""


class WorkbookError(ValueError):
    """A workbook that cannot be read; its words are the reason, its second argument what would be accepted."""

    def __init__(self, reason: str, accepted: str = SAVE_AGAIN, *, whole: bool = False) -> None:
        self.reason = reason
        self.accepted = accepted
        self.whole = whole  # not of one tab
        super().__init__(reason, accepted)


class Archive:
    """An open workbook file."""

    def __init__(self, content: bytes) -> None:
        self._expanded = 0
        self._cells = 0
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(content))
            self.names = frozenset(self._zip.namelist())
        except _BROKEN as error:
            raise WorkbookError("is no workbook, or a damaged one") from error
        if len(self.names) > MOST_PARTS:
            raise WorkbookError(f"has {len(self.names):,} parts", f"accepted: at most {MOST_PARTS:,}")

    def part(self, name: str) -> bytes:
        """Give the bytes of one part.

        What the archive says of its sizes is not believed: what comes out is counted.

        Raises
        ------
        WorkbookError
            If it is missing or broken, or all parts together are too large.
        """
        if name not in self.names:
            raise WorkbookError(f"is a damaged workbook: its part {name} is missing")
        try:
            with self._zip.open(name) as stream:
                content = stream.read(MOST_EXPANDED - self._expanded + 1)
        except _BROKEN as error:
            raise WorkbookError(f"is a damaged workbook: its part {name} cannot be read") from error
        self._expanded += len(content)
        if self._expanded > MOST_EXPANDED:
            raise WorkbookError(
                f"takes more than {MOST_EXPANDED:,} bytes when it is unpacked", "part it in two", whole=True
            )
        return content

    def count_cells(self, number: int) -> None:
        """Count filled cells.

        Raises
        ------
        WorkbookError
            If there are too many.
        """
        self._cells += number
        if self._cells > MOST_CELLS:
            raise WorkbookError(f"has more than {MOST_CELLS:,} filled cells", "part it in two", whole=True)

    def elements(self, name: str) -> Iterator[tuple[str, ElementTree.Element]]:
        """Walk through the XML of one part: `start` or `end`, and the element.

        Raises
        ------
        WorkbookError
            If it is no XML, or holds definitions of its own, which no spreadsheet writes.
        """
        content = self.part(name)
        if b"<!DOCTYPE" in content or b"<!ENTITY" in content or b"\0" in content[:200]:
            raise WorkbookError(f"holds definitions in its part {name}, which no spreadsheet writes")
        try:
            # No entity can be defined, so that nothing grows while it is read; nothing outside is ever fetched.
            yield from ElementTree.iterparse(io.BytesIO(content), events=("start", "end"))  # noqa: S314
        except ElementTree.ParseError as error:
            raise WorkbookError(f"is a damaged workbook: its part {name} is no XML") from error


_BROKEN = (
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    zlib.error,
    lzma.LZMAError,
    EOFError,
    OSError,
    ValueError,
    KeyError,
    IndexError,
    RuntimeError,
    NotImplementedError,
    OverflowError,
)


def local(name: str) -> str:
    """Give the name of an element or attribute without its namespace, of which there are two kinds.

    >>> local("{urn:x}sheet")
    'sheet'
    """
    return name.rpartition("}")[2]


def attribute(element: ElementTree.Element, name: str) -> str | None:
    """Give an attribute whatever its namespace; None = it has none."""
    if (plain := element.get(name)) is not None:
        return plain
    return next((value for key, value in element.items() if local(key) == name), None)

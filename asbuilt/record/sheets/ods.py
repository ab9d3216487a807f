"""Workbooks in OpenDocument (.ods, ISO/IEC 26300): their tabs, and the filled cells of one."""

from functools import cached_property
from xml.etree.ElementTree import Element

from asbuilt.record.sheets.archive import Archive, WorkbookError, attribute, local
from asbuilt.record.sheets.tabs import Grid, Kept, TabCell, TabName, column_letters, number_cell

CONTENT = "content.xml"
"""The part that holds all cells."""

_CELLS = ("table-cell", "covered-table-cell")
_FAILED = ("#", "Err:")


class Ods:
    """One workbook of this kind."""

    def __init__(self, archive: Archive) -> None:
        self.archive = archive

    def tabs(self) -> list[TabName]:
        """List the tabs in their order."""
        return list(self._read[0])

    def grid(self, tab: TabName) -> Grid:
        """Read the filled cells of one tab."""
        return self._read[1][tab.part]

    @cached_property
    def _read(self) -> tuple[list[TabName], dict[str, Grid]]:
        """All tabs: they stand in one part."""
        if "META-INF/manifest.xml" in self.archive.names and b"encryption-data" in self.archive.part(
            "META-INF/manifest.xml"
        ):
            raise WorkbookError("is locked by a password", "save it again without a password")
        hidden: set[str] = set()
        tabs: list[TabName] = []
        grids: dict[str, Grid] = {}
        style, depth, row = "", 0, 0
        for event, element in self.archive.elements(CONTENT):
            tag = local(element.tag)
            if event == "start":
                if tag == "style":
                    style = attribute(element, "name") or ""
                elif tag == "table-properties" and attribute(element, "display") == "false":
                    hidden.add(style)
                elif tag == "table":
                    depth += 1
                    if depth == 1:
                        name, row = attribute(element, "name") or "", 0
                        tabs.append(TabName(name, (attribute(element, "style-name") or "") in hidden, str(len(tabs))))
                        grids[tabs[-1].part] = Grid()
                continue
            if tag == "table":
                depth -= 1
                element.clear()
            elif tag == "table-row" and depth == 1:
                repeated = _count(element, "number-rows-repeated")
                self._row(element, grids[tabs[-1].part], row + 1, repeated)
                row += repeated
                element.clear()
        return tabs, grids

    def _row(self, element: Element, grid: Grid, number: int, repeated: int) -> None:
        """Read one row, which stands there so many times."""
        cells: dict[int, TabCell] = {}
        column = 0
        for each in element:
            if local(each.tag) not in _CELLS:
                continue
            times = _count(each, "number-columns-repeated")
            cell = None if local(each.tag) == "covered-table-cell" else _cell(each)
            if cell is not None:
                self.archive.count_cells(times)
                cells.update(dict.fromkeys(range(column, column + times), cell))
            down, across = _count(each, "number-rows-spanned"), _count(each, "number-columns-spanned")
            if down > 1 or across > 1:
                begin, end = column_letters(column), column_letters(column + across - 1)
                grid.merged.append(f"{begin}{number}:{end}{number + down - 1}")
            column += times
        if cells:
            self.archive.count_cells(len(cells) * (repeated - 1))
            grid.rows |= {number + more: cells for more in range(repeated)}


def _count(element: Element, name: str) -> int:
    """Read how often something is repeated; 1 where nothing is said."""
    words = attribute(element, name) or "1"
    if not (words.isascii() and words.isdigit() and len(words) < 10):
        raise WorkbookError(f"is a damaged workbook: {name} is {words[:20]!r}")
    return max(int(words), 1)


def _cell(element: Element) -> TabCell | None:
    """Read one cell; None = nothing in it."""
    words = "\n".join(_words(each) for each in element if local(each.tag) == "p")
    kinds = [value for key, value in element.items() if local(key) == "value-type"]
    formula = attribute(element, "formula") is not None
    if "error" in kinds or (formula and words.startswith(_FAILED)):
        return TabCell(words, Kept.ERROR)
    match kinds[0] if kinds else "":
        case "float" | "currency" | "percentage":
            return number_cell(attribute(element, "value") or words)
        case "date":
            return TabCell((attribute(element, "date-value") or words).removesuffix("T00:00:00"), Kept.DAY)
        case "time":
            return TabCell(words, Kept.TIME)
        case "boolean":
            return TabCell(attribute(element, "boolean-value") or words.lower(), Kept.FLAG)
        case "" if formula and not words:
            return TabCell("", Kept.UNRECKONED)
    text = attribute(element, "string-value")
    words = words if text is None else text
    return TabCell(words) if words.strip() else None


def _words(element: Element) -> str:
    """Give the text of one paragraph, with the spaces and line ends that stand there as elements."""
    pieces = [element.text or ""]
    for child in element:
        match local(child.tag):
            case "s":
                pieces.append(" " * min(_count(child, "c"), 100))
            case "tab":
                pieces.append("\t")
            case "line-break":
                pieces.append("\n")
            case "annotation" | "note" | "ruby-text":
                pass
            case _:
                pieces.append(_words(child))
        pieces.append(child.tail or "")
    return "".join(pieces)

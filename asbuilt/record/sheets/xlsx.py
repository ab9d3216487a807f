"""Workbooks in Office Open XML (.xlsx, ISO/IEC 29500): their tabs, and the filled cells of one."""

import math
import posixpath
import re
from datetime import datetime, timedelta
from functools import cached_property
from xml.etree.ElementTree import Element

from asbuilt.record.sheets.archive import Archive, WorkbookError, attribute, local
from asbuilt.record.sheets.tabs import Grid, Kept, TabCell, TabName, number_cell

BOOK = "xl/workbook.xml"
"""The part that lists the tabs."""

_DATE_FORMATS = {*range(14, 18), 22, *range(27, 37), *range(50, 59)}  # ISO/IEC 29500-1, 18.8.30
_TIME_FORMATS = {*range(18, 22), 45, 46, 47}
_NO_CODE = re.compile(r'"[^"]*"|\\.|_.|\*.|\[(?!h+\]|m+\]|s+\])[^\]]*\]', re.IGNORECASE)
_PLACE = re.compile(r"\$?([A-Z]{1,3})\$?([0-9]{1,7})")
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")  # ST_Xstring, 22.9.2.19
_LAST_SERIAL = 2_958_465  # 9999-12-31


class Xlsx:
    """One workbook of this kind."""

    def __init__(self, archive: Archive) -> None:
        self.archive = archive
        self._from_1904 = False

    def tabs(self) -> list[TabName]:
        """List the tabs in their order; charts are none."""
        targets = self._targets()
        found = []
        for event, element in self.archive.elements(BOOK):
            if event == "start" and local(element.tag) == "workbookPr":
                self._from_1904 = (attribute(element, "date1904") or "0") in ("1", "true")
            if event == "start" and local(element.tag) == "sheet":
                part = targets.get(attribute(element, "id") or "")
                if part is not None:
                    hidden = (element.get("state") or "visible") != "visible"
                    found.append(TabName(element.get("name") or "", hidden, part))
        return found

    def _targets(self) -> dict[str, str]:
        """Where the cells of each tab are, by the number of its relation."""
        targets = {}
        for event, element in self.archive.elements("xl/_rels/workbook.xml.rels"):
            kind = element.get("Type") or ""
            if event == "start" and local(element.tag) == "Relationship" and kind.endswith("/worksheet"):
                target = element.get("Target") or ""
                path = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"xl/{target}")
                targets[element.get("Id") or ""] = path
        return targets

    def grid(self, tab: TabName) -> Grid:
        """Read the filled cells of one tab."""
        grid, row, column = Grid(), 0, -1
        for event, element in self.archive.elements(tab.part):
            tag = local(element.tag)
            if event == "start" and tag == "row":
                row, column = _whole(element.get("r")) or row + 1, -1
            elif event == "end" and tag == "c":
                row, column = _place(element.get("r")) or (row, column + 1)
                if (cell := self._cell(element)) is not None:
                    grid.rows.setdefault(row, {})[column] = cell
                    self.archive.count_cells(1)
                element.clear()
            elif event == "end" and tag == "row":
                element.clear()
            elif event == "start" and tag == "mergeCell":
                grid.merged.append(element.get("ref") or "")
        return grid

    def _cell(self, element: Element) -> TabCell | None:
        """Read one cell; None = nothing in it."""
        kind = element.get("t") or "n"
        parts = {local(child.tag): child for child in element}
        value = parts["v"].text if "v" in parts else None
        if kind == "inlineStr":
            return _text_cell(_text(parts["is"])) if "is" in parts else None
        if value is None or value == "":
            return TabCell("", Kept.UNRECKONED) if "f" in parts and kind != "str" else None
        match kind:
            case "s":
                return _text_cell(self._shared_text(value))
            case "str":
                return _text_cell(_unescaped(value))
            case "b":
                return TabCell("true" if value == "1" else "false", Kept.FLAG)
            case "e":
                return TabCell(value, Kept.ERROR)
            case "d":
                return TabCell(value.removesuffix("T00:00:00"), Kept.DAY)
        return self._number(value, _whole(element.get("s")) or 0)

    def _number(self, value: str, style: int) -> TabCell:
        kept = self._styles[style] if style < len(self._styles) else Kept.NUMBER
        try:
            serial = float(value)
        except ValueError:
            return TabCell(value)
        if kept is Kept.NUMBER or not math.isfinite(serial) or not 0 <= serial <= _LAST_SERIAL:
            return number_cell(value)
        return _moment(serial, kept, from_1904=self._from_1904)

    def _shared_text(self, number: str) -> str:
        index = _whole(number)
        if index is None or index >= len(self._shared):
            raise WorkbookError(
                f"is a damaged workbook: a cell asks for text {number}, and there are {len(self._shared)}"
            )
        return self._shared[index]

    @cached_property
    def _shared(self) -> list[str]:
        """Texts that cells refer to by number."""
        texts = []
        for name in sorted(each for each in self.archive.names if each.lower() == "xl/sharedstrings.xml"):
            for event, element in self.archive.elements(name):
                if event == "end" and local(element.tag) == "si":
                    texts.append(_text(element))
                    element.clear()
        return texts

    @cached_property
    def _styles(self) -> list[Kept]:
        """What a number is by the number of its cell's style."""
        codes: dict[int, str] = {}
        styles: list[Kept] = []
        inside = False
        if "xl/styles.xml" not in self.archive.names:
            return styles
        for event, element in self.archive.elements("xl/styles.xml"):
            tag = local(element.tag)
            if tag == "cellXfs":
                inside = event == "start"
            elif event == "start" and tag == "numFmt":
                codes[_whole(element.get("numFmtId")) or 0] = element.get("formatCode") or ""
            elif event == "start" and tag == "xf" and inside:
                styles.append(_kept_as(_whole(element.get("numFmtId")) or 0, codes))
        return styles


def _kept_as(number: int, codes: dict[int, str]) -> Kept:
    """Tell what a number format makes of a number."""
    if number in _DATE_FORMATS:
        return Kept.DAY
    if number in _TIME_FORMATS:
        return Kept.TIME
    letters = set(_NO_CODE.sub("", codes.get(number, "")).lower().partition(";")[0])
    if letters & {"y", "d"} or (letters & {"m"} and not letters & {"h", "s"}):
        return Kept.DAY
    return Kept.TIME if letters & {"h", "s"} else Kept.NUMBER


def _moment(serial: float, kept: Kept, *, from_1904: bool) -> TabCell:
    if kept is Kept.TIME or serial < 1:
        minutes = round(serial * 1440)
        return TabCell(f"{minutes // 60:02}:{minutes % 60:02}", Kept.TIME)
    # Those that count from 1900 count a 29 February 1900 that never was.
    begin = datetime(1904, 1, 1) if from_1904 else datetime(1899, 12, 30 if serial >= 60 else 31)
    try:
        moment = begin + timedelta(minutes=round(serial * 1440))
    except OverflowError:
        return TabCell(f"{serial:g}", Kept.DAY)
    day = moment.date().isoformat()
    return TabCell(day if moment.hour == moment.minute == 0 else f"{day} {moment:%H:%M}", Kept.DAY)


def _text(element: Element) -> str:
    """Join the runs of a text, without the readings that stand over some scripts."""
    pieces = []
    for child in element:
        if local(child.tag) == "t":
            pieces.append(child.text or "")
        elif local(child.tag) == "r":
            pieces += [each.text or "" for each in child if local(each.tag) == "t"]
    return _unescaped("".join(pieces))


def _text_cell(words: str) -> TabCell | None:
    return TabCell(words) if words.strip() else None


def _unescaped(words: str) -> str:
    if "_x" not in words:
        return words
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), words)


def _whole(words: str | None) -> int | None:
    return int(words) if words and words.isascii() and words.isdigit() and len(words) < 10 else None


def _place(words: str | None) -> tuple[int, int] | None:
    """Give row from 1 and column from 0 of a place such as B2."""
    match = _PLACE.fullmatch(words or "")
    if match is None:
        return None
    column = 0
    for letter in match[1]:
        column = 26 * column + ord(letter) - ord("A") + 1
    return int(match[2]), column - 1

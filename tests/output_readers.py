"""Somebody else's readers for everything that is made of a property: what structure a file has, and which words.

A reader gives two things: the *shape* (tags, keys, columns, layers, events: all that is not words of the record) and
the *words*. A file made of hostile words must have the shape of the same file made of harmless ones. The readers know
nothing of how the files are written, and refuse what their format forbids.
"""

import csv
import io
import json
import re
import sqlite3
import subprocess
import tomllib
import unicodedata
import zipfile
from collections import Counter
from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import ezdxf
import gpxpy
import pyarrow.parquet
import pyogrio
import vobject
from lxml import etree

Shape = Counter[Hashable]


@dataclass(frozen=True)
class Read:
    """What a reader makes of a file."""

    shape: Shape
    words: str
    exact: bool = True  #: the shape does not hang on which words are blank or too long for a line


def said_by(text: str) -> str:
    """Give the letters and digits of a text, which no format has a reason to lose."""
    return re.sub(r"[\W_]+", "", text.casefold())


def read_terminal(text: str) -> Read:
    """Read what a terminal gets: it obeys control characters, and turns words round by marks of direction."""
    signs = set(text) - {"\n", "\t"}
    barred = {hex(ord(sign)) for sign in signs if unicodedata.category(sign) in ("Cc", "Cs")}
    barred |= {hex(ord(sign)) for sign in signs if 0x202A <= ord(sign) <= 0x202E or 0x2066 <= ord(sign) <= 0x2069}
    assert not barred
    return Read(Counter(), text)


def read_printed_json(text: str) -> Read:
    """Read JSON from a terminal."""
    read_terminal(text)
    return read_json(text)


def read_json(text: str) -> Read:
    """Read JSON (RFC 8259): no numbers that it does not have, and no key twice."""
    shape: Shape = Counter()
    words: list[str] = []

    def walk(value: Any, path: str) -> None:
        if isinstance(value, dict):
            for key, each in value.items():
                own = path == ".asbuilt_sheets"  # its keys are names of properties
                words.append(key if own else "")
                shape[f"{path}.{'*' if own else key}"] += 1
                walk(each, f"{path}.{'*' if own else key}")
        elif isinstance(value, list):
            for each in value:
                walk(each, f"{path}[]")
        elif isinstance(value, str):
            words.append(value)

    walk(json.loads(text, parse_constant=_no_constant, object_pairs_hook=_no_key_twice), "")
    return Read(shape, "\n".join(words), exact=False)


def _no_constant(word: str) -> float:
    raise AssertionError(f"{word} is no JSON")


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    assert len({key for key, _ in pairs}) == len(pairs)
    return dict(pairs)


class _Page(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.shape: Shape = Counter()
        self.words: list[str] = []
        self.blocks: list[str] = []
        self._script: str | None = None
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = sorted(name for name, _ in attrs)
        assert not [name for name in names if name.startswith("on") or name == "srcdoc"], attrs
        for name, value in attrs:
            if name in ("href", "src", "action", "data"):
                assert re.match(r"#|data:image/|$", value or ""), (tag, name, value)
        if tag != "time":  # what looks like a date is kept on one line
            self.shape[tag, *names] += 1
        self._script = dict(attrs).get("type") or "" if tag == "script" else None
        self.words += [value or "" for name, value in attrs if name in ("alt", "aria-label", "data-head", "title")]

    def handle_data(self, data: str) -> None:
        if self._script == "application/json":
            self.blocks.append(data)
        elif self._script is None:
            self.words.append(data)

    def handle_comment(self, data: str) -> None:
        self.shape["comment", data] += 1

    def handle_endtag(self, tag: str) -> None:
        self._script = None


def read_html(page: str) -> Read:
    """Read HTML: its tags with the names of their attributes; the JSON block of a map counts as words."""
    seen = _Page(page)
    assert seen.shape["script", "src"] == 0
    words = [*seen.words, *(read_json(block).words for block in seen.blocks)]
    return Read(seen.shape, "\n".join(words), exact=False)


def read_xml(text: str | bytes) -> Read:
    """Read XML by a parser that mends nothing: tags with the names of their attributes."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, recover=False, huge_tree=True)
    content = text.encode() if isinstance(text, str) else text
    assert b"<!DOCTYPE" not in content
    shape: Shape = Counter()
    words = []
    for element in etree.fromstring(content, parser).iter():
        assert isinstance(element.tag, str), "a comment or an instruction"
        names = sorted(map(str, element.attrib))
        assert not [name for name in names if name.startswith("on") or name.endswith("href")]
        assert etree.QName(element).localname not in ("script", "foreignObject", "image", "use", "a")
        shape[element.tag, *names] += 1
        words += [element.text or "", element.tail or "", *map(str, element.attrib.values())]
    return Read(shape, "\n".join(words), exact=False)


def read_kml(content: bytes) -> Read:
    """Read KML; a description is HTML to who shows it, so it is read once more as such."""
    read = read_xml(content)
    described = etree.fromstring(content).iter("{*}description")
    pages = [_Page(each.text or "") for each in described]
    assert {tag for page in pages for tag in page.shape} <= {("br",)}
    return Read(read.shape, read.words + "\n".join("".join(page.words) for page in pages), exact=False)


def read_kmz(content: bytes) -> Read:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.namelist() == ["doc.kml"]
        return read_kml(archive.read("doc.kml"))


def read_gpx(content: bytes) -> Read:
    known = gpxpy.parse(content.decode())
    read = read_xml(content)
    places = (len(known.waypoints), len(known.routes), sum(len(route.points) for route in known.routes))
    return Read(read.shape + Counter({("places", places): 1}), read.words, exact=False)


def read_csv(content: bytes) -> Read:
    """Read CSV (RFC 4180): as many cells in each row, and none that a spreadsheet would reckon."""
    rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True))
    assert len({len(row) for row in rows if row}) == 1
    for row in rows:
        for cell in row:
            assert _is_no_formula(cell), cell
    shape: Shape = Counter({("rows", len(rows)): 1, ("columns", *rows[0]): 1})
    return Read(shape, "\n".join("\n".join(row) for row in rows))


def _is_no_formula(cell: str) -> bool:
    """Tell whether a spreadsheet takes a cell for words or a number: no formula, and no tab or line end before one.

    The signs that begin one are those that OWASP lists (CSV Injection: = + - @, tab, carriage return), from memory;
    a telephone number of digits and blanks behind one + is none.
    """
    bare = cell.lstrip(" \t\r\n\v\f\u00a0\ufeff\u200b\u2060\u3000")
    begins = bare[:1] and bare[0] in "=+-@\uff1d\uff0b\uff0d\uff20"
    return not begins or re.fullmatch(r"[+-]?\d+(\.\d+)?|\+\d+( \d+)*", cell) is not None


def read_calendar(content: bytes) -> Read:
    """Read a calendar (RFC 5545): events and nothing else, no line above 75 octets, no control characters."""
    assert all(len(line) <= 75 for line in content.split(b"\r\n"))
    assert not re.search(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]|(?<!\r)\n|\r(?!\n)", content)
    calendar = vobject.readOne(content.decode())
    assert {each.name for each in calendar.components()} <= {"VEVENT"}
    shape: Shape = Counter()
    words = []
    for event in calendar.components():
        assert not list(event.components())
        shape["event"] += 1
        shape.update(key for key in event.contents if key not in ("location",))
        for lines in event.contents.values():
            words += [str(line.value) for line in lines]
    return Read(shape, "\n".join(words))


def read_dxf(content: bytes) -> Read:
    """Read a drawing: entities by kind and layer; the auditor of ezdxf has nothing to mend."""
    content.decode("ascii")
    drawing = ezdxf.read(io.StringIO(content.decode("ascii")))
    audit = drawing.audit()
    assert not audit.errors
    assert not audit.fixes
    return Read(Counter(each.dxftype() for each in drawing.modelspace()), "", exact=False)


def read_layers(path: Path) -> Read:
    """Read a GeoPackage or FlatGeobuf by GDAL: layers, columns and features."""
    shape: Shape = Counter()
    words = []
    for layer, _ in pyogrio.list_layers(path):
        meta, _, _, data = pyogrio.raw.read(path, layer=layer, read_geometry=False)
        # names of columns are ours; the name of a FlatGeobuf's one layer may be that of the file
        shape["layer", layer, *meta["fields"]] += len(data[0]) if data else 0
        words += [str(value) for column in data for value in column if isinstance(value, str)]
    if path.suffix == ".gpkg":
        connection = sqlite3.connect(path)
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        shape.update(connection.execute("SELECT type, name FROM sqlite_master"))
        # GDAL ends a text at a NUL, which no sheet takes but a table of SQLite holds
        words += [row[0] for row in connection.execute("SELECT text FROM asbuilt_sheets")]
        connection.close()
    return Read(shape, "\n".join(words), exact=False)


def read_parquet(path: Path) -> Read:
    table = pyarrow.parquet.read_table(path)
    words = [str(value) for column in table.columns for value in column.to_pylist() if isinstance(value, str)]
    return Read(Counter({("columns", *table.column_names): table.num_rows}), "\n".join(words))


def read_pdf(path: Path) -> Read:
    """Read a PDF by poppler: nothing runs, nothing is linked, no form; its words are cut to their room."""
    told = _out("pdfinfo", path)
    for what in ("JavaScript", "Encrypted"):
        assert re.search(rf"{what}: +no", told), told
    assert re.search("Form: +none", told), told
    links = _out("pdfinfo", "-url", path).splitlines()[1:]
    assert not links
    assert "0 embedded files" in _out("pdfdetach", "-list", path)
    assert _out("pdftotext", path, "-").strip()
    return Read(Counter(), "", exact=False)


def _out(*words: str | Path) -> str:
    done = subprocess.run(words, capture_output=True, check=True)
    said = [line for line in done.stderr.splitlines() if b"Suspects object" not in line]  # of every tagged PDF of typst
    assert said == []
    return done.stdout.decode("utf-8", "replace")


def read_toml(content: bytes) -> Read:
    words: list[str] = []
    shape: Shape = Counter()
    for key, value in _flat(tomllib.loads(content.decode())):
        shape[key] += 1
        words.append(str(value))
    return Read(shape, "\n".join(words))


def _flat(table: dict[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{before}{key}.")
        else:
            yield before + key, value


def read_zip(path: Path) -> Read:
    """Read a packet: plain names that stay where they are unpacked; each file by its own reader."""
    shape: Shape = Counter()
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        for member in archive.infolist():
            assert is_plain(member.filename), member.filename
            assert member.external_attr >> 16 & 0o170000 in (0, 0o100000)
            if "/photos/" not in member.filename:
                shape[member.filename] += 1
            reader = _TEXTS.get(Path(member.filename).suffix)
            if reader is not None:
                reader(archive.read(member))
        words = archive.read("README.txt").decode()
    return Read(shape, words)


def is_plain(name: str) -> bool:
    """Tell whether a name is that of a file on any system, and leads nowhere else."""
    for part in name.split("/"):
        reserved = re.fullmatch(
            r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9\u00b9\u00b2\u00b3])(\..*)?", part.casefold()
        )
        if part in ("", ".", "..") or reserved or re.search(r'[<>:"\\|?*]', part) or part[-1] in ". ":
            return False
        if not part.isprintable() or len(part.encode()) > 255:
            return False
    return True


def read_folder(folder: Path) -> Read:
    """Read a folder of sheets or of a route, each file by its own reader."""
    shape: Shape = Counter()
    words = []
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        assert is_plain(name)
        assert path.resolve().is_relative_to(folder.resolve())
        if not name.startswith("photos"):
            shape[name] += 1
        if path.is_file() and path.suffix in READERS:
            words.append(read_file(path).words)
    return Read(shape, "\n".join(words))


_TEXTS: dict[str, Callable[[bytes], Read]] = {
    ".html": lambda content: read_html(content.decode()),
    ".svg": read_xml,
    ".ics": read_calendar,
    ".csv": read_csv,
    ".json": lambda content: read_json(content.decode()),
    ".geojson": lambda content: read_json(content.decode()),
    ".kml": read_kml,
    ".kmz": read_kmz,
    ".gpx": read_gpx,
    ".dxf": read_dxf,
    ".toml": read_toml,
    ".txt": lambda content: read_terminal(content.decode()),
}
_PLACES: dict[str, Callable[[Path], Read]] = {
    ".gpkg": read_layers,
    ".fgb": read_layers,
    ".parquet": read_parquet,
    ".pdf": read_pdf,
    ".zip": read_zip,
    "": read_folder,
}
READERS = {**_TEXTS, **_PLACES}


def read_file(path: Path) -> Read:
    """Read a file by the reader of its ending."""
    if path.suffix in _TEXTS:
        return _TEXTS[path.suffix](path.read_bytes())
    return _PLACES[path.suffix](path)

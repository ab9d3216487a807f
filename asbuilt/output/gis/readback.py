"""Field sheets out of an exported GeoJSON or GeoPackage again; nothing in a stranger's file is trusted."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path, PurePosixPath
from typing import Any

from asbuilt.errors import AsbuiltError, shown
from asbuilt.output.gis.geojson import SHEETS_MEMBER
from asbuilt.output.gis.geopackage import MARK, SHEETS_TABLE

BIGGEST_JSON = 300_000_000
"""Bytes of a GeoJSON file, which is read as a whole; a GeoPackage is read property by property."""

BIGGEST_SHEET = 10_000_000
"""Characters of one sheet, the same that field sheets may have."""

MOST_SHEETS = 60
"""Sheets of one property: four times as many as there are kinds."""

_GEOPACKAGE = 0x47504B47
"""Application id of a GeoPackage, the letters GPKG (OGC 12-128, requirement 2)."""


class ReadBackError(AsbuiltError, ValueError):
    """A file that holds no field sheets to be read back, or not in the way that `asbuilt export` writes them."""


@dataclass(frozen=True, slots=True)
class Carried:
    """The field sheets of one property as a file carries them."""

    property: str
    mark: str  #: as `Sheaf.mark`
    sheets: dict[str, str]


def read_carried(path: Path) -> Iterator[Carried]:
    """Read the field sheets that a file carries, property by property.

    Raises
    ------
    ReadBackError
        If the file is neither GeoJSON nor GeoPackage, or carries no field sheets, or some that nobody wrote so.
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(512)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        raise ReadBackError(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from error
    if head.startswith(b"SQLite format 3\0"):
        yield from _of_package(path)
    elif head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{"):
        yield from _of_geojson(path, size)
    else:
        packet = "; a packet is taken in with `asbuilt import-packet`" if head.startswith(b"PK") else ""
        accepted = f"accepted: a .geojson or .gpkg that `asbuilt export` wrote{packet}"
        raise ReadBackError(f"{path}: is neither GeoJSON nor GeoPackage; {accepted}")


def _no_sheets(path: Path) -> ReadBackError:
    return ReadBackError(
        f"{path}: carries no field sheets, and measurements cannot be made from coordinates; accepted: a .geojson or "
        ".gpkg that `asbuilt export` wrote without --no-sheets"
    )


def _of_geojson(path: Path, size: int) -> Iterator[Carried]:
    if size > BIGGEST_JSON:
        raise ReadBackError(f"{path}: {size / 1e6:,.0f} MB of GeoJSON are too much at once; export as .gpkg instead")
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise ReadBackError(f"{path}: is not JSON: {shown(str(error)[:200])}") from None
    held = content.get(SHEETS_MEMBER) if isinstance(content, dict) else None
    if not isinstance(held, dict) or not held:
        raise _no_sheets(path)
    for name, each in held.items():
        if not isinstance(each, dict) or not isinstance(each.get("sheets"), dict):
            raise ReadBackError(f"{path}: the field sheets of {shown(name)} are not as `asbuilt export` writes them")
        yield _checked(path, name, each.get("mark"), each["sheets"])


def _of_package(path: Path) -> Iterator[Carried]:
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)) as db:
            db.execute("PRAGMA trusted_schema = OFF")  # no function runs because a stranger's table says so
            if db.execute("PRAGMA application_id").fetchone()[0] != _GEOPACKAGE:
                raise ReadBackError(f"{path}: is a database, but no GeoPackage")
            yield from _rows_of(path, db)
    except sqlite3.Error as error:
        raise ReadBackError(f"{path}: cannot be read as a GeoPackage: {error}") from error


def _rows_of(path: Path, db: sqlite3.Connection) -> Iterator[Carried]:
    made = db.execute("SELECT sql FROM sqlite_master WHERE type = 'table' AND name = ?", (SHEETS_TABLE,)).fetchone()
    if made is None or not str(made[0]).upper().startswith("CREATE TABLE"):
        raise _no_sheets(path)
    rows = db.execute(
        f"SELECT property, sheet, iif(length(text) > ?, NULL, text) FROM {SHEETS_TABLE} ORDER BY id",  # noqa: S608
        (BIGGEST_SHEET,),
    )
    empty = True
    for name, group in groupby(rows, key=lambda row: row[0]):
        empty = False
        held = {sheet: text for _, sheet, text in group}
        yield _checked(path, name, held.pop(MARK, None), held)
    if empty:
        raise _no_sheets(path)


def _checked(path: Path, name: Any, mark: Any, sheets: dict[Any, Any]) -> Carried:
    title = shown(str(name)[:200])
    if len(sheets) > MOST_SHEETS:
        raise ReadBackError(f"{path}: {title} has {len(sheets)} field sheets; accepted: up to {MOST_SHEETS}")
    for sheet, text in sheets.items():
        if not (isinstance(sheet, str) and is_plain_name(sheet)):
            raise ReadBackError(f"{path}: {title}: {shown(str(sheet)[:200])} is no name of a field sheet")
        if not isinstance(text, str) or len(text) > BIGGEST_SHEET:
            raise ReadBackError(f"{path}: {title}: {sheet} is no text of up to {BIGGEST_SHEET:,} characters")
    return Carried(str(name), mark if isinstance(mark, str) else "", sheets)


def is_plain_name(name: str) -> bool:
    """Tell whether the name of a sheet stays in the folder that it is put into.

    Examples
    --------
    >>> [is_plain_name(name) for name in ("points.csv", "rules/own.toml", "../points.csv", "/points.csv", "x.py")]
    [True, True, False, False, False]
    """
    path = PurePosixPath(name)
    return (
        0 < len(name) <= 200
        and name.isprintable()
        and not set(name) & set('\\:*?"<>|')
        and not path.is_absolute()
        and not any(part.startswith(".") for part in path.parts)
        and str(path) == name
        and path.suffix in (".csv", ".toml")
    )

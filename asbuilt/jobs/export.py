"""Export one property, or all of them one after the other, as a file for other programs."""

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from asbuilt.errors import AsbuiltError, PlaceError
from asbuilt.findings import Finding, Severity, worst_first
from asbuilt.jobs.draw import Shown, show_property
from asbuilt.jobs.locate import locate
from asbuilt.jobs.properties import located
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.features import Feature
from asbuilt.output.files import refuse_existing
from asbuilt.output.gis.aside import set_aside
from asbuilt.output.gis.dxf import write_dxf
from asbuilt.output.gis.flatgeobuf import write_flatgeobuf
from asbuilt.output.gis.formats import ExportError, Format, Sheaf, counted, format_of
from asbuilt.output.gis.geopackage import write_geopackage
from asbuilt.output.gis.geoparquet import require_parquet, write_geoparquet
from asbuilt.output.gis.kml import pack_kmz, write_kml
from asbuilt.output.gis.office_geojson import write_geojson_file
from asbuilt.output.gis.points_csv import csv_lines
from asbuilt.output.gis.system import System, drawing_unit, lay, parse_system, system_findings
from asbuilt.output.gis.waypoints import write_waypoints
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_all
from asbuilt.record.nouns import NOUNS
from asbuilt.record.rows import to_row
from asbuilt.record.sheets.write import sheet_texts

NAMED = 5
"""Properties that are named where they are left out; more are counted."""

PLACE_MEND = (
    "give [earth] in property.toml a reference point with coordinates and a wall's azimuth, or two known coordinates "
    "in known_coordinates.csv"
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be written, and how."""

    out: Path
    today: date
    format: str | None = None  #: None = by the ending of `out`
    crs: str | None = None  #: local, wgs84, EPSG:n; None = what the format is made for
    elevation: bool = False
    sheets: bool = True  #: let the field sheets go along where the format can carry them
    overwrite: bool = False


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written."""

    path: Path
    format: Format
    system: System
    properties: int
    features: int
    findings: tuple[Finding, ...]  #: of the property and of the file, worst first
    notes: tuple[Finding, ...]  #: those of the file alone
    left_out: tuple[str, ...] = ()  #: properties that could not go into the file


@dataclass(slots=True)
class _Tally:
    """What is noticed while the properties pass."""

    properties: int = 0
    left_out: dict[str, str] = field(default_factory=dict)  #: name of the property -> why
    photos: int = 0
    private: int = 0  #: properties whose sheets name an owner or a phone
    grid: list[Finding] = field(default_factory=list)  #: of the first property that brings some


def export_property(record_file: Path, name: str, wanted: Wanted) -> Exported:
    """Write everything of one property: components, points, marks and the house.

    Raises
    ------
    ExportError
        If the format cannot hold what is asked for.
    PlaceError
        If the property has no place on the earth, and the file needs one.
    OutputError
        If the file cannot be written.
    """
    kind, system = _chosen(wanted)
    found = located(record_file, name)
    if found.placement is None and system.key != "local":
        plane = "; or --crs local" if "local" in kind.systems else ""
        raise PlaceError(
            f"{name} has no place on the earth, which {kind.title} in {system.title} needs; {PLACE_MEND}{plane}"
        )
    grid = system_findings(name, found.placement, system)
    shown = show_property(found, wanted.today)
    tally = _Tally(grid=grid)
    sheaf = _sheaf(shown, kind, system, wanted, tally)
    count = _write(kind, system, wanted, [sheaf], found.record.property.units)
    notes = (*grid, *_noticed(tally, name))
    findings = tuple(worst_first([*shown.findings, *notes]))
    return Exported(wanted.out, kind, system, 1, count, findings, notes)


def export_office(record_file: Path, wanted: Wanted) -> Exported:
    """Write all properties of a record; one of them is in memory at a time.

    What cannot go into the file, such as a property without a place on the earth, is left out and named.

    Raises
    ------
    ExportError, OutputError
        As `export_property`; also if there is nothing to write.
    """
    kind, system = _chosen(wanted)
    if system.key == "local" and kind.key != "csv":
        raise ExportError("each property has a plane of its own; for all of them in one file give --crs EPSG:n")
    tally = _Tally()
    sheaves = office_sheaves(record_file, kind, system, wanted, tally)
    count = _write(kind, system, wanted, sheaves, "m")
    notes = tuple(worst_first([*tally.grid, *_noticed(tally, "all properties")]))
    return Exported(wanted.out, kind, system, tally.properties, count, notes, notes, tuple(tally.left_out))


def office_sheaves(record_file: Path, kind: Format, system: System, wanted: Wanted, tally: _Tally) -> Iterator[Sheaf]:
    """Read, solve and give one property after the other."""
    with open_record(record_file, read_only=True) as record:
        for known in read_all(record):
            name = known.property.name
            try:
                found = locate(known)
                if found.placement is None and system.key != "local":
                    raise PlaceError("no place on the earth")
                grid = system_findings(name, found.placement, system)
                sheaf = _sheaf(show_property(found, wanted.today), kind, system, wanted, tally)
            except AsbuiltError as error:  # one property that cannot be drawn must not keep the others
                tally.left_out[name] = str(error)
                continue
            tally.properties += 1
            tally.grid = tally.grid or grid
            yield sheaf
    if not tally.properties:
        reasons = "".join(f"; {name}: {why}" for name, why in list(tally.left_out.items())[:NAMED])
        raise ExportError(f"there is nothing to write: no property of {record_file} can go into the file{reasons}")


def carried(record: PropertyRecord) -> PropertyRecord:
    """Give what field sheets as text can say: without pictures, and without what a draft could not take."""
    return replace(record, photos=(), left_out=(), property=replace(record.property, draft=False))


def digest_of(record: PropertyRecord) -> str:
    """Give a digest (SHA-256) of what the field sheets of a property say; empty fields do not count."""
    known = carried(record)
    digest = hashlib.sha256()
    for noun in NOUNS:
        held = getattr(known, noun.field)
        for value in held if isinstance(held, tuple) else (held,):
            row = {key: each for key, each in to_row(value).items() if each is not None}
            digest.update(json.dumps([noun.kind, row], sort_keys=True).encode())
    return digest.hexdigest()


def mark_of(record: PropertyRecord) -> str:
    """Give the mark that goes along with field sheets; see `Sheaf.mark`."""
    return f"{'draft' if record.property.draft else 'complete'} {digest_of(record)}"


def _chosen(wanted: Wanted) -> tuple[Format, System]:
    """Choose format and system, and refuse what does not go together, before any work is done."""
    kind = format_of(wanted.out, wanted.format)
    system = parse_system(wanted.crs or kind.systems[0])
    if system.key not in kind.systems:
        able = {"local": "local", "wgs84": "wgs84", "epsg": "EPSG:n"}
        raise ExportError(
            f"{kind.title} cannot be in {wanted.crs}; accepted: --crs {' or '.join(able[key] for key in kind.systems)}"
        )
    if wanted.elevation and not kind.high:
        raise ExportError(
            f"{kind.title} takes no third coordinate here; the column elevation_m has the elevation without --elevation"
        )
    refuse_existing(wanted.out, overwrite=wanted.overwrite)
    if kind.key == "parquet":
        require_parquet()
    return kind, system


def _sheaf(shown: Shown, kind: Format, system: System, wanted: Wanted, tally: _Tally) -> Sheaf:
    """Make one property ready for the file."""
    record = shown.located.record
    place = record.property
    own: dict[str, object] = {"property": place.name} | ({"draft": True} if place.draft else {})
    features = [_owned(feature, own) for feature in shown.features]
    # GeoJSON cuts and raises by itself, as RFC 7946 wants it
    high = wanted.elevation and kind.key != "geojson"
    laid = lay(features, shown.located.placement, system, elevation=high)
    if not (kind.sheets and wanted.sheets):
        return Sheaf(place.name, laid)
    tally.photos += len(record.photos)
    tally.private += bool(place.owner or place.phone)
    return Sheaf(place.name, laid, sheet_texts(carried(record)), mark_of(record))


def _owned(feature: Feature, own: dict[str, object]) -> Feature:
    return replace(feature, attributes={**feature.attributes, **own})


def _write(kind: Format, system: System, wanted: Wanted, sheaves: Iterable[Sheaf], units: str) -> int:
    """Write the file, whole or not at all."""
    passing = counted(sheaves, kind)
    writers: dict[str, Callable[[Path], int]] = {
        "geojson": lambda path: write_geojson_file(path, passing, elevation=wanted.elevation, sheets=wanted.sheets),
        "gpkg": lambda path: write_geopackage(path, passing, system, dated=wanted.today),
        "fgb": lambda path: write_flatgeobuf(path, passing, system),
        "parquet": lambda path: write_geoparquet(path, passing, system),
        "csv": lambda path: _write_lines(path, csv_lines(passing, system)),
        "kml": lambda path: _write_text(path, *write_kml(passing)),
        "kmz": lambda path: _write_kmz(path, *write_kml(passing)),
        "gpx": lambda path: _write_text(path, *write_waypoints(passing)),
        "dxf": lambda path: _write_text(path, *_drawing(passing, system, units)),
    }
    with set_aside(wanted.out, overwrite=wanted.overwrite, private=kind.sheets and wanted.sheets) as aside:
        return writers[kind.key](aside)


def _drawing(sheaves: Iterable[Sheaf], system: System, units: str) -> tuple[str, int]:
    unit, unit_m = drawing_unit(system, units)
    return write_dxf(sheaves, unit, unit_m, held_m=system.unit_m or 1.0)


def _write_text(path: Path, text: str, count: int) -> int:
    path.write_text(text, encoding="utf-8", newline="\n")
    return count


def _write_kmz(path: Path, text: str, count: int) -> int:
    path.write_bytes(pack_kmz(text))
    return count


def _write_lines(path: Path, lines: Iterator[str]) -> int:
    """Write CSV as UTF-8 with a mark before it, by which spreadsheets know it; gives the rows below the heading."""
    count = -1
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        for line in lines:
            file.write(line)
            count += 1
    return count


def _noticed(tally: _Tally, subject: str) -> Iterator[Finding]:
    if tally.left_out:
        names = list(tally.left_out.items())
        more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
        listed = "; ".join(f"{name} ({why})" for name, why in names[:NAMED])
        message = f"{len(names)} left out of the file: {listed}{more}."
        yield Finding("left-out", subject, message, Severity.ATTENTION, "Export them one by one with --crs local.")
    if tally.photos:
        plural = "" if tally.photos == 1 else "s"
        message = f"{tally.photos} photo{plural} not in the file: it carries measurements and words only."
        yield Finding("photos-not-carried", subject, message, Severity.NOTE)
    if tally.private:
        message = "The file carries the field sheets, with what they say of owner, phone and household."
        yield Finding("carries-sheets", subject, message, Severity.NOTE, "--no-sheets leaves them out.")

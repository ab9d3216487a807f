"""`asbuilt export` and `asbuilt import`: files for other programs, and back into a record."""

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from asbuilt.cli.options import at_option, day_option, json_option, overwrite_option, record_option, who_option
from asbuilt.cli.printing import finish, show, show_json, warn_findings
from asbuilt.findings import Finding, Severity

if TYPE_CHECKING:  # numpy stays out of --help
    from asbuilt.jobs.export import Exported

FORMATS = ("geojson", "gpkg", "kml", "kmz", "gpx", "dxf", "fgb", "parquet", "csv")


@click.command(short_help="Write a file for other mapping and drawing programs.")
@click.argument("name", metavar="[PROPERTY]", required=False)
@record_option
@at_option
@click.option("--all", "every", is_flag=True, help="All properties of the record in one file.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True, help="File to write.")
@click.option("--format", "kind", type=click.Choice(FORMATS), help="Kind of file; default: by the ending of --out.")
@click.option("--crs", metavar="SYSTEM", help="local, wgs84 or EPSG:n; default: wgs84, of DXF local.")
@click.option("--elevation", is_flag=True, help="Also the third coordinate where levels give it.")
@click.option("--no-sheets", is_flag=True, help="Leave the field sheets out of GeoJSON and GeoPackage.")
@day_option
@overwrite_option
@json_option
def export(
    name: str | None,
    record_file: Path,
    every: bool,
    out: Path,
    kind: str | None,
    crs: str | None,
    elevation: bool,
    no_sheets: bool,
    today: date,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Write one property, or all with --all, as a file for other programs.

    The ending of the file says which kind: .geojson, .gpkg (GeoPackage), .kml, .kmz, .gpx (waypoints), .dxf, .fgb
    (FlatGeobuf), .parquet (GeoParquet), .csv (points with their tapes). Coordinates are longitude and latitude of
    WGS 84, of a DXF the house's own plane in feet or metres; with --crs any system of the EPSG data set. GeoJSON and
    GeoPackage carry the field sheets too, and `asbuilt import` reads them back.

    \b
    Example:
      asbuilt export "Fernbank Lane 14" --out property.gpkg
    """
    from asbuilt.jobs.export import Wanted, export_office, export_property

    if every == (name is not None):
        raise click.UsageError("give a PROPERTY or --all" + (", not both" if every else ""))
    wanted = Wanted(out, today, kind, crs, elevation, not no_sheets, overwrite)
    done = export_office(record_file, wanted) if name is None else export_property(record_file, name, wanted)
    if as_json:
        show_json(
            {
                "property": name,
                "written": str(out),
                "format": done.format.key,
                "crs": done.system.key if done.system.epsg is None else f"EPSG:{done.system.epsg}",
                "properties": done.properties,
                "features": done.features,
                "left_out": list(done.left_out),
                "findings": [finding.as_json() for finding in done.findings],
            }
        )
    else:
        show(_what_was_written(name, done))
        warn_findings(done.findings)
        _show_notes(done.notes)
    finish(done.findings)


def _show_notes(findings: Sequence[Finding]) -> None:
    """Print what is worth knowing of the file; it is part of the answer."""
    for finding in findings:
        if finding.severity is Severity.NOTE:
            show(f"note: {finding.sentence()}")


def _what_was_written(name: str | None, done: "Exported") -> str:
    what = name if name is not None else f"{done.properties} propert{'y' if done.properties == 1 else 'ies'}"
    things = f"{done.features} thing{'' if done.features == 1 else 's'}"
    return f"{done.path}: {what} as {done.format.title}, {things}, in {done.system.title}"


@click.command("import", short_help="Load the field sheets out of an exported file.")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@record_option
@click.option("--supersede", metavar="REASON", help="Store changed sheets over what is recorded, and why.")
@who_option
@json_option
def import_(file: Path, record_file: Path, supersede: str | None, who: str, as_json: bool) -> None:
    """Take the properties of an exported GeoJSON or GeoPackage into the record.

    The measurements come from the field sheets that the file carries; coordinates in it are not read. Sheets that say
    the same as the record change nothing; changed ones need --supersede with a reason, as with `asbuilt load`.

    \b
    Example:
      asbuilt import property.gpkg
    """
    from asbuilt.jobs.import_file import import_file

    now = datetime.now().astimezone()
    done = import_file(record_file, file, who=who, now=now, supersede=supersede)
    if as_json:
        imported = [
            {
                "property": each.property,
                "added": each.added,
                "superseded": each.superseded,
                "withdrawn": each.withdrawn,
                "unchanged": each.unchanged,
            }
            for each in done.outcomes
        ]
        findings = [finding.as_json() for finding in done.findings]
        show_json({"record": str(record_file), "imported": imported, "findings": findings})
    else:
        for each in done.outcomes:
            rows = each.added + each.superseded + each.withdrawn
            what = f"{rows} rows stored in {record_file}" if each.wrote() else "recorded already; nothing changed"
            show(f"{each.property}: {what}")
        warn_findings(done.findings)
        _show_notes(done.findings)
    finish(done.findings)

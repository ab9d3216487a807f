"""`asbuilt positions`, `asbuilt map` and `asbuilt geojson`: one property, solved and shown."""

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.options import (
    at_option,
    day_option,
    json_option,
    out_option,
    overwrite_option,
    property_argument,
    public_option,
    record_option,
)
from asbuilt.cli.printing import finish, show, show_json, show_json_text, warn_findings
from asbuilt.file_names import file_stem


@click.command(short_help="Print where everything is, and how well that is known.")
@property_argument
@record_option
@at_option
@click.option("--full", is_flag=True, help="Also residuals, redundancy, ellipses and tests, for a surveyor.")
@json_option
def positions(name: str, record_file: Path, full: bool, as_json: bool) -> None:
    """Solve one property and print where everything is, and how well that is known.

    \b
    Example:
      asbuilt positions "Fernbank Lane 14"
    """
    from asbuilt.jobs.properties import located
    from asbuilt.output.text.positions import positions_json, positions_table

    found = located(record_file, name)
    if as_json:
        draft = {"draft": True} if found.record.property.draft else {}
        show_json({**positions_json(found.solution, found.placement, found.findings), **draft})
    else:
        show(positions_table(found.record, found.solution, found.findings))
        if full:
            from asbuilt.output.text.fulltable import full_table

            show("\n" + full_table(found.joint, found.solution, found.placement))
    finish(found.findings)


@click.command("map", short_help="Draw the map: one HTML file, no network needed.")
@property_argument
@record_option
@at_option
@out_option("File to write; default: the property's name with .html, here.")
@public_option
@day_option
@overwrite_option
@json_option
def map_(
    name: str, record_file: Path, out: Path | None, public: bool, today: date, overwrite: bool, as_json: bool
) -> None:
    """Draw one property as a map: one HTML file that opens without a network, on a phone too.

    \b
    Example:
      asbuilt map "Fernbank Lane 14" --out map.html
    """
    from asbuilt.jobs.draw import map_of, show_property
    from asbuilt.jobs.properties import located
    from asbuilt.output.files import write_whole

    found = located(record_file, name, public_on=today if public else None)
    path = out or Path(f"{file_stem(name)}.html")
    shown = show_property(found, today)
    write_whole(path, map_of(shown, record_file), overwrite=overwrite)
    findings = shown.findings
    if as_json:
        show_json({"property": name, "written": str(path), "findings": [finding.as_json() for finding in findings]})
    else:
        show(f"{path}: the map of {name}; open it in any browser, no network needed")
        warn_findings(findings)
    finish(findings)


@click.command(short_help="Write GeoJSON (RFC 7946), one feature a component.")
@property_argument
@record_option
@at_option
@out_option("File to write; default: print it.")
@click.option("--points", is_flag=True, help="Also every measured point as a feature of its own.")
@click.option("--house", is_flag=True, help="Also the house outline and the reference points.")
@click.option("--elevation", is_flag=True, help="Also the third coordinate where levels give it.")
@public_option
@day_option
@overwrite_option
@json_option
def geojson(
    name: str,
    record_file: Path,
    out: Path | None,
    points: bool,
    house: bool,
    elevation: bool,
    public: bool,
    today: date,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Write one property as GeoJSON (RFC 7946), one feature a component.

    With --elevation points and pipes whose levels are known have a third coordinate, metres above the benchmark's
    datum (`elevation_text` names it), which is the height of RFC 7946 only where that datum is the WGS 84 ellipsoid.

    \b
    Example:
      asbuilt geojson "Fernbank Lane 14" --points --out property.geojson
    """
    from asbuilt.jobs.draw import geojson_of, show_property
    from asbuilt.jobs.properties import located
    from asbuilt.output.files import write_whole

    found = located(record_file, name, public_on=today if public else None)
    shown = show_property(found, today)
    text = geojson_of(shown, points=points, house=house, elevation=elevation)
    findings = shown.findings
    if out is None:
        show_json_text(text)
    else:
        write_whole(out, text, overwrite=overwrite)
        if as_json:
            show_json({"property": name, "written": str(out), "findings": [f.as_json() for f in findings]})
        else:
            show(f"{out}: {name} as GeoJSON")
    if not as_json:
        warn_findings(findings)
    finish(findings)

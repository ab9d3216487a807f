"""`asbuilt sheets`, `asbuilt packet` and `asbuilt import-packet`: one property handed over, and taken in."""

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
from asbuilt.cli.printing import finish, show, show_json, warn_findings


@click.command(short_help="Write a property back as a folder of field sheets.")
@property_argument
@record_option
@at_option
@click.option(
    "--out",
    "folder",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    help="A new or empty folder to write into.",
)
@json_option
def sheets(name: str, record_file: Path, folder: Path, as_json: bool) -> None:
    """Write a property back as the folder of its field sheets, photos and all, as `asbuilt load` reads them.

    Readings stand as they were read; what was typed at the prompt stands in the sheets too.

    \b
    Example:
      asbuilt sheets "Fernbank Lane 14" --out fernbank
    """
    from asbuilt.jobs.sheets_out import write_sheets

    written = write_sheets(record_file, name, folder)
    if as_json:
        show_json({"property": name, "written": [str(path) for path in written]})
    else:
        show(f"{folder}: {len(written)} files; `asbuilt load {folder}` reads them back")


@click.command(short_help="Put everything of one property into one file.")
@property_argument
@record_option
@at_option
@out_option("ZIP file to write; default: the property's name with -packet.zip, here.")
@click.option("--building", metavar="NAME", help="For the people of one building: no other household is in it.")
@public_option
@day_option
@overwrite_option
@json_option
def packet(
    name: str,
    record_file: Path,
    out: Path | None,
    building: str | None,
    public: bool,
    today: date,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Write the packet of one property: one ZIP file for the next owner, which opens without this program.

    In it: a README, the map, the sheets to print, the history report, the record with its chain of hashes, the field
    sheets, the photos, and a list of SHA-256 sums. The same record and day give the same bytes.

    \b
    Example:
      asbuilt packet "Fernbank Lane 14" --out fernbank.zip
    """
    from asbuilt.jobs.packet import default_name, make_packet

    path = out or Path(default_name(name))
    made = make_packet(record_file, name, path, today, building=building, public=public, overwrite=overwrite)
    if as_json:
        show_json(
            {
                "property": name,
                "written": str(made.path),
                "files": list(made.files),
                "absent": [{"file": file, "reason": reason} for file, reason in made.absent],
                "findings": [finding.as_json() for finding in made.findings],
            }
        )
    else:
        show(f"{path}: the packet of {name}, {len(made.files)} files and their sums; begin with README.txt")
        for file, reason in made.absent:
            show(f"not in it: {file} ({reason})")
        warn_findings(made.findings)
    finish(made.findings)


@click.command("import-packet", short_help="Verify a packet and take it into a record.")
@click.argument("file", type=click.Path(path_type=Path))
@record_option
@json_option
def import_packet(file: Path, record_file: Path, as_json: bool) -> None:
    """Verify a packet (every sum, every entry and its chain, every photo) and take it into a record.

    Who stored each entry and when stays as it is in the packet. A property of that name with other readings is
    refused; with the same ones nothing is to be done.

    \b
    Example:
      asbuilt import-packet fernbank.zip --record office.db
    """
    from asbuilt.jobs.import_packet import import_packet as take_in

    done = take_in(file, record_file)
    if as_json:
        show_json(
            {
                "property": done.property,
                "record": str(record_file),
                "added": done.entries,
                "photos": done.photos,
                "ahead": done.ahead,
            }
        )
    elif done.entries:
        show(f"{done.property}: {done.entries} entries and {done.photos} photos taken into {record_file}, verified")
    else:
        more = f", and {done.ahead} entries more" if done.ahead else ""
        show(f"{done.property}: {record_file} holds all of it already{more}; nothing changed")

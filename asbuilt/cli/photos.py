"""`asbuilt photo` and `asbuilt photos`: pictures of what is in the ground."""

from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from asbuilt.cli.options import at_option, json_option, property_argument, record_option, who_option
from asbuilt.cli.printing import show, show_json, warn

if TYPE_CHECKING:
    from asbuilt.model.photos import Photo


@click.command(short_help="Attach photos to a component or a point.")
@property_argument
@click.argument("of")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--caption", metavar="WORDS", help="What is to be seen; no names of people.")
@click.option("--remove-gps", is_flag=True, help="Take the place out of what is kept, and all else but the time.")
@record_option
@who_option
@json_option
def photo(
    name: str,
    of: str,
    files: tuple[Path, ...],
    caption: str | None,
    remove_gps: bool,
    record_file: Path,
    who: str,
    as_json: bool,
) -> None:
    """Attach photos to OF: a component, a point or a reference point. All of them are stored, or none.

    JPEG, PNG and WebP are taken in, and copied into the folder beside the record whose name ends in .photos. Your own
    files stay as they are. Their time, place and orientation are read.

    \b
    Example:
      asbuilt photo "Fernbank Lane 14" well sample_property/photos/cleanout.jpg
    """
    from asbuilt.jobs.photos import attach_photos

    now = datetime.now().astimezone()
    done = attach_photos(record_file, name, of, files, who=who, now=now, caption=caption, remove_gps=remove_gps)
    if as_json:
        show_json(
            {
                "property": name,
                "of": done.of,
                "stored": [asdict(each) for each in done.photos],
                "known": [asdict(each) for each in done.known],
            }
        )
        return
    for each in done.photos:
        show(f"{done.of}: {_words(each)}")
    for each in done.known:
        show(f"{done.of}: {each.file} is attached already; nothing changed")


@click.command(short_help="List the photos of a property.")
@property_argument
@record_option
@at_option
@json_option
def photos(name: str, record_file: Path, as_json: bool) -> None:
    """List the photos of one property: what each shows, when and where it was taken, and where it is kept.

    Exit status 1 where one is missing or was altered.

    \b
    Example:
      asbuilt photos "Fernbank Lane 14"
    """
    from asbuilt.jobs.photos import photos_of

    found, faults = photos_of(record_file, name)
    if as_json:
        show_json([{**asdict(each), "kept": str(place)} for each, place in found])
    else:
        show("\n".join(f"{each.of}: {_words(each)}" for each, _ in found) or f"{name} has no photos")
    for fault in faults:
        warn(f"attention: {fault}")
    raise click.exceptions.Exit(1 if faults else 0)


def _words(each: "Photo") -> str:
    place = None if each.latitude is None else f"at {each.latitude:.5f}, {each.longitude:.5f}"
    parts = [
        each.file,
        f"{each.width} x {each.height}",
        None if each.taken_at is None else f"taken {each.taken_at}",
        "place removed" if each.gps_removed else place,
        each.caption,
    ]
    return ", ".join(part for part in parts if part)

"""`asbuilt clear-of`: how far something planned would be from all that is buried."""

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.options import at_option, day_option, json_option, overwrite_option, property_argument, record_option
from asbuilt.cli.printing import show, show_json


@click.command("clear-of", short_help="May this be built here? Distances to all that is buried.")
@property_argument
@click.argument("shape", metavar="SHAPE")
@record_option
@at_option
@click.option("--wall", metavar="“A > B”", help="The wall that along and out are counted from.")
@click.option("--along", metavar="LENGTH", help="How far along the wall from A its first corner lies (or its middle).")
@click.option("--out", metavar="LENGTH", help="How far square out from the wall that is.")
@click.option("--hand", metavar="HAND", help="left or right of A > B; default: outside.")
@click.option("--length", metavar="LENGTH", help="How long it is along the wall.")
@click.option("--width", metavar="LENGTH", help="How far it goes out; of a drawn line, how wide it is.")
@click.option("--radius", metavar="LENGTH", help="Of something round, such as a tree or a pool; instead of both.")
@click.option("--kind", metavar="KIND", help="What a drawn shape is, where its file does not say so.")
@click.option("--same-map", is_flag=True, help="The file was drawn on a map of this property made by asbuilt.")
@click.option("--map", "map_file", type=click.Path(dir_okay=False, path_type=Path), help="Also draw it on the map.")
@day_option
@overwrite_option
@json_option
def clear_of(
    name: str,
    shape: str,
    record_file: Path,
    wall: str | None,
    along: str | None,
    out: str | None,
    hand: str | None,
    length: str | None,
    width: str | None,
    radius: str | None,
    kind: str | None,
    same_map: bool,
    map_file: Path | None,
    today: date,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Say how far something planned would be from all that is recorded, by the limits of the property's rules.

    SHAPE is what it is (shed, patio, deck, pool, drive, tree ...), set out by offsets from a wall, or a GeoJSON file
    with one polygon, line or point. Exit status 0: nothing recorded stands against it; 1: something does, or cannot be
    told.

    \b
    Example:
      asbuilt clear-of "Fernbank Lane 14" shed --wall "SE corner > NE corner" \\
          --along "4 0" --out "30 0" --length "10 0" --width "8 0"
    """
    from asbuilt.jobs.clear_of import Wanted, answer_of, clear_of, map_with
    from asbuilt.jobs.properties import located
    from asbuilt.output.files import refuse_existing, write_whole

    drawn = Path(shape) if shape.lower().endswith((".geojson", ".json")) else None
    if drawn is None and (wall is None or along is None or out is None):
        raise click.UsageError("say where it is: --wall, --along and --out, and --length and --width or --radius")
    if drawn is None and (radius is None) == (length is None or width is None):
        raise click.UsageError("say how large it is: --length and --width, or --radius")
    if map_file is not None:
        refuse_existing(map_file, overwrite=overwrite)
    found = located(record_file, name)
    wanted = Wanted(
        kind if drawn is not None else shape, wall, along, out, hand, length, width, radius, drawn, same_map
    )
    told = clear_of(found, wanted, today)
    answer = answer_of(told)
    if map_file is not None:
        write_whole(map_file, map_with(found, told, today), overwrite=overwrite)
    if as_json:
        show_json({**answer.as_json(), "map": None if map_file is None else str(map_file)})
    else:
        show(answer.text())
        if map_file is not None:
            show(f"\n{map_file}: the map with it; open it in any browser, no network needed")
    raise click.exceptions.Exit(0 if answer.clear else 1)

"""`asbuilt next-tape` and `asbuilt ready`: which tape to pull next, and what is still to be taped."""

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from asbuilt.cli.options import at_option, json_option, property_argument, record_option
from asbuilt.cli.printing import finish, show, show_json

if TYPE_CHECKING:  # numpy stays out of --help
    from asbuilt.jobs.ready import Readiness


@click.command("next-tape", short_help="Say which tape to pull next, and what each would bring.")
@property_argument
@click.argument("point", metavar="[POINT]", required=False)
@record_option
@at_option
@click.option("--visible", multiple=True, metavar="NAME", help="A reference point that can be seen; repeat it.")
@click.option("--lost", multiple=True, metavar="NAME", help="A reference point that cannot be used; repeat it.")
@click.option("--wall", metavar="“A > B”", help="Nothing measured yet: the rough place is by this wall.")
@click.option("--along", metavar="LENGTH", help="How far along the wall from A, with --wall.")
@click.option("--out", metavar="LENGTH", help="How far square out from it, with --wall.")
@click.option("--hand", metavar="HAND", help="left or right of A > B; default: outside.")
@json_option
def next_tape(
    name: str,
    point: str | None,
    record_file: Path,
    visible: tuple[str, ...],
    lost: tuple[str, ...],
    wall: str | None,
    along: str | None,
    out: str | None,
    hand: str | None,
    as_json: bool,
) -> None:
    """Rank the reference points by what one more tape from each would do for a point, best first.

    Before anything is measured, say roughly where it will be (--wall, --along, --out), and get the best two and the
    best three corners. What is gone is never offered.

    \b
    Example:
      asbuilt next-tape "Fernbank Lane 14" "tank outlet"
    """
    from asbuilt.jobs.next_tape import Rough, plan_first, plan_next
    from asbuilt.output.text.plan import first_plan_json, first_plan_table, plan_json, plan_table

    if wall is None and (along or out or hand):
        raise click.UsageError("--along, --out and --hand go with --wall")
    if wall is not None:
        if point is not None or along is None or out is None:
            raise click.UsageError("a rough place is --wall, --along and --out, without a point")
        first = plan_first(record_file, name, Rough(wall, along, out, hand), visible=visible, lost=lost)
        if as_json:
            show_json({"property": first.property, **first_plan_json(first.place, first.two, first.three)})
        else:
            show(first_plan_table(first.place, first.two, first.three, first.units))
        return
    if point is None:
        raise click.UsageError("give a point, or a rough place: --wall, --along and --out")
    plan = plan_next(record_file, name, point, visible=visible, lost=lost)
    if as_json:
        show_json({"property": plan.property, **plan_json(plan.position, plan.tapes)})
    else:
        show(plan_table(plan.position, plan.tapes, plan.units))


@click.command(short_help="List what is still to be taped before it is covered.")
@property_argument
@record_option
@at_option
@json_option
def ready(name: str, record_file: Path, as_json: bool) -> None:
    """List what is still to be taped: points without a tape, open sides, unchecked points, rows left out of a draft.

    Exit status 0: nothing is missing; 1: something is.

    \b
    Example:
      asbuilt ready "Fernbank Lane 14"
    """
    from asbuilt.jobs.ready import what_is_missing

    found = what_is_missing(record_file, name)
    if as_json:
        missing = [each.as_json() for each in found.missing]
        show_json({"property": found.property, "draft": found.draft, "ready": not missing, "missing": missing})
    else:
        show(_ready_text(found))
    if found.missing:
        raise click.exceptions.Exit(1)
    finish(())


def _ready_text(found: "Readiness") -> str:
    from asbuilt.jobs.ready import HEADINGS

    draft = " (DRAFT)" if found.draft else ""
    if not found.missing:
        return f"{found.property}: nothing is missing; all {found.points} points are taped and checked"
    count = len(found.missing)
    lines = [f"{found.property}{draft}: {count} thing{'' if count == 1 else 's'} to do before it is covered"]
    for what, heading in HEADINGS.items():
        mine = [each for each in found.missing if each.what == what]
        lines += ["", f"{heading} ({len(mine)})"] if mine else []
        for each in mine:
            lines += textwrap.wrap(each.words, 100, initial_indent="  ", subsequent_indent="      ")
    return "\n".join(lines)

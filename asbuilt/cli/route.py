"""`asbuilt route`: which services to do on which day, by which truck and in which order."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from asbuilt.cli.options import Day, at_option, json_option, overwrite_option, record_option
from asbuilt.cli.printing import show, show_json, warn
from asbuilt.cli.route_words import DAY_S, Amount, Clock, Hours, Lasting, Place, Speed

if TYPE_CHECKING:
    from asbuilt.jobs.route import Wish


@click.command(short_help="Choose and order the services of a day for the truck.")
@record_option
@at_option
@click.option("--date", "on", type=Day(), required=True, help="The first day.")
@click.option("--days", type=click.IntRange(1, 31), default=1, show_default=True, help="So many working days.")
@click.option("--weekends", is_flag=True, help="Saturdays and Sundays are working days too.")
@click.option("--trucks", type=click.IntRange(1, 20), help="How many trucks; default: one for each --truck-gal.")
@click.option(
    "--truck-gal",
    "trucks_gal",
    type=Amount(100, 20_000),
    multiple=True,
    required=True,
    help="What a truck holds, US gallons; once for all trucks, or once for each.",
)
@click.option("--from", "yard", type=Place(), required=True, help="The yard, where every run begins and ends.")
@click.option("--dump", "dumps", type=Place(), multiple=True, required=True, help="A disposal site; may be repeated.")
@click.option("--dump-hours", type=Hours(), default="07:00-16:00", show_default=True, help="When they are open.")
@click.option("--start", type=Clock(), default="07:00", show_default=True, help="When the trucks leave the yard.")
@click.option("--shift", type=Lasting(), default="10h", show_default=True, help="When they must be back, from then.")
@click.option(
    "--service-minutes", type=Amount(0, 600), default=40, show_default=True, help="At the house, for each pump-out."
)
@click.option("--dump-minutes", type=Amount(0, 600), default=20, show_default=True, help="At a disposal site.")
@click.option(
    "--road-factor", type=Amount(1, 5), default=1.3, show_default=True, help="How much longer roads are than straight."
)
@click.option("--speed", type=Speed(), default="35", show_default=True, help="Mean speed; km/h where it says so.")
@click.option(
    "--matrix",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="CSV of driving minutes by name (yard, dump 1, properties) instead of factor and speed.",
)
@click.option(
    "--within", type=click.IntRange(0, 3650), default=90, show_default=True, metavar="DAYS", help="Due by then."
)
@click.option(
    "--task", "tasks", multiple=True, metavar="TASK", default=("pump-out",), show_default=True, help="May be repeated."
)
@json_option
@click.option(
    "--out", "folder", type=click.Path(file_okay=False, path_type=Path), help="Folder for list, map, GPX and calendar."
)
@overwrite_option
def route(record_file: Path, as_json: bool, folder: Path | None, overwrite: bool, **words: Any) -> None:
    """Choose and order the services that are due, for one or several trucks over one or several days.

    Urgency goes before distance: what is overdue by more than a year first, then what is overdue, then what falls due
    in 30 days, in 90 days and later. Tanks fill the truck, which is emptied at the disposal sites within their hours
    and comes home empty. Driving times are straight lines times --road-factor at --speed, or those of --matrix. What
    could not be fitted is listed with the reason; then the exit status is 1.

    With the extra `route` (pip install 'asbuilt[route]') PyVRP searches too; without it a plain search stands in.
    Times are planning figures; the driver and local rules decide.

    \b
    Example:
      asbuilt route --date 2027-05-03 --truck-gal 2500 --from 42.53,-118.45 \\
        --dump 42.61,-118.40 --out monday
    """
    from asbuilt.jobs.route import plan_route, refuse_folder, write_route
    from asbuilt.output.text.route import route_json, route_text

    if folder is not None:
        refuse_folder(folder, overwrite=overwrite)
    routed = plan_route(record_file, _wish(words))
    metric = words["speed"].metric
    written: tuple[Path, ...] = ()
    if folder is not None:
        written = write_route(routed, folder, datetime.now(UTC), metric=metric, overwrite=overwrite)
    if as_json:
        files = {"written": [str(path) for path in written], "drafts": list(routed.drafts)}
        show_json(route_json(routed.plan) | files)
    else:
        show(route_text(routed.plan, metric=metric))
        if written:
            show("\n".join(["", "Written:", *(f"  {path}" for path in written)]))
        for name in routed.drafts:
            warn(f"attention: {name} is a draft: its sheets are not complete.")
    raise click.exceptions.Exit(1 if routed.plan.left_out or routed.drafts else 0)


def _wish(words: dict[str, Any]) -> "Wish":
    """Put the options together; what does not go together is refused."""
    from asbuilt.jobs.route import Wish
    from asbuilt.service.routes import Shift

    opens, closes = words["dump_hours"]
    end = words["start"] + words["shift"]
    if end > DAY_S:
        raise click.UsageError("--start plus --shift runs past midnight; accepted: a shift that ends by 24:00")
    if words["dump_minutes"] * 60 > closes - opens:
        raise click.UsageError("--dump-minutes is longer than --dump-hours: no truck could be emptied")
    shift = Shift(
        words["start"], end, opens, closes, round(words["service_minutes"] * 60), round(words["dump_minutes"] * 60)
    )
    return Wish(
        words["on"],
        words["days"],
        _trucks(words["trucks"], words["trucks_gal"]),
        words["yard"],
        words["dumps"],
        shift,
        words["road_factor"],
        words["speed"].metres_a_second,
        words["speed"].words,
        words["matrix"],
        words["within"],
        tuple(" ".join(task.lower().split()) for task in words["tasks"]),
        words["weekends"],
    )


def _trucks(count: int | None, gallons: tuple[float, ...]) -> tuple[float, ...]:
    if count is None or count == len(gallons):
        return gallons
    if len(gallons) == 1:
        return gallons * count
    raise click.UsageError(
        f"--trucks {count} and {len(gallons)} times --truck-gal; accepted: one --truck-gal for all, or one for each"
    )

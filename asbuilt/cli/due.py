"""`asbuilt due`: what is due when, over all properties of the record."""

from datetime import UTC, date, datetime
from pathlib import Path

import click

from asbuilt.cli.options import at_option, day_option, json_option, overwrite_option, record_option
from asbuilt.cli.printing import finish, show, show_json_text, warn, warn_findings


@click.command(short_help="List what is due when, and why, soonest first.")
@record_option
@at_option
@click.option("--property", "name", metavar="PROPERTY", help="Only this property; default: all.")
@click.option("--task", metavar="TASK", help="Only this task, such as pump-out.")
@click.option("--within", type=click.IntRange(0), metavar="DAYS", help="Only what is overdue or due in so many days.")
@day_option
@click.option("--csv", "as_csv", is_flag=True, help="Print a CSV sheet with address, owner and phone.")
@json_option
@click.option("--ics", "calendar", type=click.Path(dir_okay=False, path_type=Path), help="Write a calendar (RFC 5545).")
@click.option(
    "--map", "map_file", type=click.Path(dir_okay=False, path_type=Path), help="Write a map by urgency, HTML."
)
@overwrite_option
@click.option(
    "--rebuild", "again", is_flag=True, help="Reckon the kept list of every property anew, and print nothing else."
)
def due(
    record_file: Path,
    name: str | None,
    task: str | None,
    within: int | None,
    today: date,
    as_csv: bool,
    as_json: bool,
    calendar: Path | None,
    map_file: Path | None,
    overwrite: bool,
    again: bool,
) -> None:
    """List what falls due, soonest first, each with its reason and the source of the interval.

    Every task counts from its last service: pump-outs by measured sludge and scum, or else by the published table;
    inspections, filters, pump and alarm tests and the rest by the rule profile that property.toml names, or by the
    maker's and the owner's settings in tasks.csv, where they are shorter. These are planning figures; local code and a
    licensed professional decide.

    \b
    Example:
      asbuilt due --within 365 --on 2026-06-01
    """
    from asbuilt.jobs.due import due_json, list_due, rebuild
    from asbuilt.output.text.duelist import due_csv, due_list_text

    if as_csv and as_json:
        raise click.UsageError("--csv and --json are two forms of one list; give one of them")
    if (calendar or map_file) and (as_csv or as_json or again):
        raise click.UsageError("--ics and --map write files instead of printing; leave --csv, --json and --rebuild out")
    if again:
        count, differing = rebuild(record_file)
        show(f"{count} properties reckoned anew; the kept list of {differing} was missing or no longer held")
        return
    task = None if task is None else " ".join(task.lower().split())
    if as_json:
        text, attention = due_json(record_file, today, within=within, name=name, task=task)
        show_json_text(text)
        raise click.exceptions.Exit(int(attention))
    if calendar or map_file:
        from asbuilt.jobs.due_files import write_due

        files = write_due(
            record_file,
            today,
            datetime.now(UTC),
            calendar=calendar,
            map_file=map_file,
            overwrite=overwrite,
            within=within,
            name=name,
            task=task,
        )
        show("\n".join(files.said))
        warn_findings(files.findings)
        finish(files.findings)
    found = list_due(record_file, today, within=within, name=name, task=task)
    if as_csv:
        show(due_csv(found.listed))
    else:
        one = name is not None
        show(due_list_text(found.listed, found.findings, today, one=one, within=within, later=found.later))
    if found.reckoned_anew > 1:
        warn(f"{found.reckoned_anew} properties were reckoned anew; `asbuilt due --rebuild` keeps their lists")
    warn_findings(found.findings)
    finish(found.findings)

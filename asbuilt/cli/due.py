"""`asbuilt due`: what is due when, over all properties of the record."""

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.options import day_option, json_option, record_option
from asbuilt.cli.printing import finish, show, show_json, warn_findings


@click.command(short_help="List what is due when, and why, soonest first.")
@record_option
@click.option("--property", "name", metavar="PROPERTY", help="Only this property; default: all.")
@day_option
@json_option
def due(record_file: Path, name: str | None, today: date, as_json: bool) -> None:
    """List what falls due, soonest first, each with its reason and the source of the interval.

    The pump-out date is that of the published table of years by tank size and people, over the household's history. It
    is a planning figure; a measured sludge and scum reading tells more.

    \b
    Example:
      asbuilt due --on 2026-11-01
    """
    from asbuilt.jobs.due import due_list
    from asbuilt.jobs.properties import recorded, recorded_all
    from asbuilt.output.duelist import due_table

    records = recorded_all(record_file) if name is None else [recorded(record_file, name)]
    dues, findings = due_list(records, today)
    if as_json:
        show_json([one.as_json() for one in dues])
    else:
        show(due_table(dues, findings))
        warn_findings(findings)
    finish(findings)

"""`asbuilt backfill-check`: whether the record is complete and sound before everything is covered."""

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.options import at_option, day_option, json_option, property_argument, record_option
from asbuilt.cli.printing import show, show_json


@click.command("backfill-check", short_help="Check that the record is complete before backfill.")
@property_argument
@record_option
@at_option
@day_option
@click.option("--all", "everything", is_flag=True, help="Also print what is done.")
@json_option
def backfill_check(name: str, record_file: Path, today: date, everything: bool, as_json: bool) -> None:
    """Check whether the record of a property is complete and sound while everything can still be seen.

    One list, the most urgent first: locations, levels, setbacks, flotation, tests and evidence, each with the number,
    the limit, its source and the next act. The limits are those of the rule profile that property.toml names. It is no
    release: the authority decides.

    Exit status 0: nothing is left to do; 1: something is missing, doubtful or outside the rule.

    \b
    Example:
      asbuilt backfill-check "Fernbank Lane 14"
    """
    from asbuilt.jobs import backfill_check as job
    from asbuilt.jobs.properties import located
    from asbuilt.output.text.checklist import checklist_json, checklist_text

    found = job.backfill_check(located(record_file, name), today)
    if as_json:
        show_json(checklist_json(found.name, found.on, found.profile, found.items))
    else:
        show(checklist_text(found.name, found.profile, found.items, everything=everything))
    raise click.exceptions.Exit(0 if found.clean else 1)

"""`asbuilt levels`: elevations, cover and the fall of the pipes."""

from pathlib import Path

import click

from asbuilt.cli.options import at_option, json_option, property_argument, record_option
from asbuilt.cli.printing import finish, show, show_json


@click.command(short_help="Print elevations, soil cover and the fall of the pipes.")
@property_argument
@record_option
@at_option
@json_option
def levels(name: str, record_file: Path, as_json: bool) -> None:
    """Print the levels of one property: elevations, how far below the ground, how pipes fall, and how loops close.

    Elevations count from the benchmark of property.toml; the readings stand in levels.csv.

    \b
    Example:
      asbuilt levels "Fernbank Lane 14"
    """
    from asbuilt.jobs.properties import located
    from asbuilt.output.text.levels import levels_json, levels_table
    from asbuilt.survey.slopes import level_findings

    found = located(record_file, name)
    findings = level_findings(found.record, found.solution)
    if as_json:
        show_json(levels_json(found.record, found.solution, findings))
    else:
        show(levels_table(found.record, found.solution, findings))
    finish(findings)

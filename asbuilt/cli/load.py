"""`asbuilt load`: field sheets into the record."""

import getpass
from datetime import datetime
from pathlib import Path

import click

from asbuilt.cli.options import json_option, record_option
from asbuilt.cli.printing import finish, show, show_json, warn_findings


@click.command()
@click.argument("sheets", type=click.Path(file_okay=False, path_type=Path))
@record_option
@click.option("--supersede", metavar="REASON", help="Store changed sheets over what is recorded, and why.")
@click.option("--who", default=getpass.getuser, show_default="your login name", help="Who stores them.")
@json_option
def load(sheets: Path, record_file: Path, supersede: str | None, who: str, as_json: bool) -> None:
    """Store a folder of field sheets in the record, all of it or nothing.

    Every problem of every sheet is reported in one go. Sheets that say the same as the record change nothing; changed
    ones need --supersede with a reason, and the old readings stay readable.

    \b
    Example:
      asbuilt load sample_property --record asbuilt.db
    """
    from asbuilt.jobs.load import load_sheets

    loaded = load_sheets(record_file, sheets, who=who, now=datetime.now().astimezone(), supersede=supersede)
    outcome, findings = loaded.outcome, loaded.located.findings
    if as_json:
        show_json(
            {
                "property": outcome.property,
                "record": str(record_file),
                "added": outcome.added,
                "superseded": outcome.superseded,
                "withdrawn": outcome.withdrawn,
                "unchanged": outcome.unchanged,
                "findings": [finding.as_json() for finding in findings],
            }
        )
    elif outcome.wrote():
        changed = f", {outcome.superseded} superseded, {outcome.withdrawn} withdrawn" if supersede else ""
        show(f"{outcome.property}: {outcome.added} rows stored{changed} in {record_file}")
    else:
        show(f"{outcome.property}: the sheets say what is recorded already; nothing changed")
    if not as_json:
        warn_findings(findings)
    finish(findings)

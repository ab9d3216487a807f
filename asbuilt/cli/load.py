"""`asbuilt load`: field sheets into the record."""

import getpass
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from asbuilt.cli.options import json_option, record_option
from asbuilt.cli.printing import finish, show, show_json, warn_findings

if TYPE_CHECKING:  # numpy stays out of --help
    from asbuilt.survey.solution import Position


def _login_name() -> str:
    with suppress(OSError, KeyError, ImportError):  # a bare machine or a container may know no name
        return getpass.getuser()
    return "not known"


@click.command(short_help="Store a folder of field sheets in the record.")
@click.argument("sheets", type=click.Path(file_okay=False, path_type=Path))
@record_option
@click.option("--supersede", metavar="REASON", help="Store changed sheets over what is recorded, and why.")
@click.option("--who", default=_login_name, show_default="your login name", help="Who stores them.")
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
        counts = {"added": outcome.added, "superseded": outcome.superseded, "withdrawn": outcome.withdrawn}
        what = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
        show(f"{outcome.property}: rows of the sheets stored in {record_file}: {what}")
    else:
        show(f"{outcome.property}: the sheets say what is recorded already; nothing changed")
    if not as_json:
        show(_how_many(loaded.located.solution.points))
        warn_findings(findings)
    finish(findings)


def _how_many(points: "tuple[Position, ...]") -> str:
    located = sum(point.place is not None for point in points)
    checked = sum(point.checked for point in points)
    return f"{located} of {len(points)} points located, {checked} of them checked by a spare tape"

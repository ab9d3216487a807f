"""`asbuilt log`: every entry of one property."""

from pathlib import Path
from typing import Any

import click

from asbuilt.cli.options import at_option, json_option, property_argument, record_option
from asbuilt.cli.printing import show, show_json


@click.command(short_help="List every entry: who, when, from where, what.")
@property_argument
@record_option
@at_option
@json_option
def log(name: str, record_file: Path, as_json: bool) -> None:
    """List every entry of one property in the order in which it was made, one a line; nothing is ever taken out.

    Number, local time with its distance from UTC, who, from where, what; then the number of the entry that it
    supersedes, and why.

    \b
    Example:
      asbuilt log "Fernbank Lane 14"
    """
    from asbuilt.jobs.history import history_of

    entries = history_of(record_file, name)
    if as_json:
        show_json([entry.as_json() for entry in entries])
    else:
        show("\n".join(_lines(entries)))


def _lines(entries: list[Any]) -> list[str]:
    rows = [(str(e.number), e.at.isoformat(" ", "minutes"), e.who, e.place, _what(e)) for e in entries]
    widths = [max(len(row[k]) for row in rows) for k in range(4)]
    return [
        "  ".join([row[0].rjust(widths[0]), *(row[k].ljust(widths[k]) for k in (1, 2, 3)), " ".join(row[4].split())])
        for row in rows
    ]


def _what(entry: Any) -> str:
    words: str = entry.what
    if entry.supersedes is not None:
        words += f" [over {entry.supersedes}]"
    return words + (f" ({entry.reason})" if entry.reason else "")

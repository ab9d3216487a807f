"""What falls due as a table, the reason under each line."""

import textwrap
from collections.abc import Sequence

from asbuilt.findings import Finding, Severity
from asbuilt.service.schedule import Due

WIDTH = 100
"""Columns of the list: a small terminal, or a letter sheet across in a fixed-width face."""

_INDENT = " " * 12  # under the word after the date


def due_table(dues: Sequence[Due], findings: Sequence[Finding] = ()) -> str:
    """Write the list as text, soonest first as it came; then notes, then the sources, each once.

    Findings that need attention are left to the caller, who says them where errors are said.
    """
    sources = list(dict.fromkeys(due.reference for due in dues))
    lines = [line for due in dues for line in _entry(due, sources)] if dues else ["Nothing is scheduled.", ""]
    for finding in findings:
        if finding.severity is Severity.NOTE:
            lines += textwrap.wrap(f"note: {finding.sentence()}", WIDTH, subsequent_indent="  ")
    for number, source in enumerate(sources, start=1):
        mark = f"[{number}] " if len(sources) > 1 else ""
        lines += textwrap.wrap(f"{mark}Source of the interval: {source}", WIDTH, subsequent_indent="  ")
    return "\n".join(lines).rstrip("\n")


def _entry(due: Due, sources: Sequence[str]) -> list[str]:
    when = "no date   " if due.due_on is None else due.due_on.isoformat()
    late = "OVERDUE " if due.overdue else ""
    mark = f" [{sources.index(due.reference) + 1}]" if len(sources) > 1 else ""
    what = f"{when}  {late}{due.task} of {due.component}, {due.property}"
    lines = textwrap.wrap(what, WIDTH, subsequent_indent=_INDENT)
    if due.earliest_on and due.latest_on:
        lines.append(f"{_INDENT}between {due.earliest_on} and {due.latest_on}, as use varies")
    lines += textwrap.wrap(f"{due.reason}{mark}", WIDTH, initial_indent=_INDENT, subsequent_indent=_INDENT)
    return [*lines, ""]

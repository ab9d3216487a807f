"""What falls due as a list to read, as a CSV sheet and as JSON."""

import csv
import io
import json
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from asbuilt.findings import Finding, Severity
from asbuilt.output.words import csv_text
from asbuilt.service.due import Due, Listed

WIDTH = 100
"""Columns of the list: a small terminal, or a letter sheet across in a fixed-width face."""

NOTES_SHOWN = 20
"""Notes printed under a list over many properties; with more, they are counted."""

GROUPS = ((30, "Due in 30 days"), (90, "Due in 90 days"), (365, "Due in a year"))
"""Days from today, and the heading of what falls due by then."""

CSV_COLUMNS = (
    *("due_on", "overdue", "task", "component", "property", "address", "owner", "phone"),
    *("earliest_on", "latest_on", "method", "reason", "reference"),
)

_INDENT = " " * 12  # under the word after the date


def due_list_text(
    listed: Sequence[Listed],
    findings: Sequence[Finding],
    today: date,
    *,
    one: bool = True,
    within: int | None = None,
    later: Listed | None = None,
) -> str:
    """Write the list as text, soonest first as it came, in groups; then notes, then the sources, each once.

    Findings that need attention are left to the caller, who says them where errors are said.

    Parameters
    ----------
    one
        Whether every note is wanted; over many properties a great number of them is only counted.
    within
        The days that were asked for, if any.
    later
        What comes next after them, said where they hold nothing.
    """
    sources = list(dict.fromkeys(each.due.reference for each in listed))
    lines = [] if listed else [*textwrap.wrap(_nothing(within, later, one=one), WIDTH, break_on_hyphens=False), ""]
    heading = None
    for each in listed:
        if heading != (heading := _group(each.due, today)):
            lines += [heading, ""]
        lines += _entry(each, sources)
    notes = [finding for finding in findings if finding.severity is Severity.NOTE]
    if len(notes) > NOTES_SHOWN and not one:
        lines.append(f"{len(notes)} notes on what the records lack; `asbuilt due --property NAME` prints those of one.")
        notes = []
    for finding in notes:
        lines += textwrap.wrap(f"note: {finding.sentence()}", WIDTH, subsequent_indent="  ")
    for number, source in enumerate(sources, start=1):
        mark = f"[{number}] " if len(sources) > 1 else ""
        lines += textwrap.wrap(f"{mark}Source of the interval: {source}", WIDTH, subsequent_indent="  ")
    return "\n".join(lines).rstrip("\n")


def due_csv(listed: Iterable[Listed]) -> str:
    """Write the list as a CSV sheet that a spreadsheet opens as text and never as a formula."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    for each in listed:
        cells = {**each.due.as_json(), "address": each.address, "owner": each.owner, "phone": each.phone}
        cells["overdue"] = "yes" if each.due.overdue else "no"
        writer.writerow([csv_text(cells[column]) for column in CSV_COLUMNS])
    return stream.getvalue().rstrip("\n")


def due_json(rows: Sequence[Mapping[str, Any]]) -> str:
    """Write rows as JSON, one object a line: many times faster than an indented one, and still readable."""
    encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode
    return json_lines([encode(row) for row in rows])


def json_lines(objects: Sequence[str]) -> str:
    """Put JSON objects into a JSON list, one a line."""
    return "[\n  " + ",\n  ".join(objects) + "\n]\n" if objects else "[]\n"


def next_words(later: Listed, *, one: bool = False) -> str:
    """Say what comes next: `the next is 2027-04-18: inspection of septic tank`."""
    where = "" if one else f", {later.due.property}"
    return f"the next is {later.due.due_on}: {later.due.task} of {later.due.component}{where}"


def _nothing(within: int | None, later: Listed | None, *, one: bool) -> str:
    if within is None or later is None:
        return "Nothing is scheduled."
    return f"Nothing in {within} day{'' if within == 1 else 's'}; {next_words(later, one=one)}."


def _group(due: Due, today: date) -> str:
    if due.due_on is None:
        return "No date"
    if due.overdue:
        return "Overdue"
    days = (due.due_on - today).days
    return next((heading for most, heading in GROUPS if days <= most), "Later")


def _entry(each: Listed, sources: Sequence[str]) -> list[str]:
    due = each.due
    when = "no date   " if due.due_on is None else due.due_on.isoformat()
    late = "OVERDUE " if due.overdue else ""
    mark = f" [{sources.index(due.reference) + 1}]" if len(sources) > 1 else ""
    what = f"{when}  {late}{due.task} of {due.component}, {due.property}"
    lines = textwrap.wrap(what, WIDTH, subsequent_indent=_INDENT)
    whom = ", ".join(part for part in (each.address, each.owner, each.phone) if part)
    lines += textwrap.wrap(whom, WIDTH, initial_indent=_INDENT, subsequent_indent=_INDENT)
    if due.earliest_on and due.latest_on:
        lines.append(f"{_INDENT}between {due.earliest_on} and {due.latest_on}, as use varies")
    lines += textwrap.wrap(f"{due.reason}{mark}", WIDTH, initial_indent=_INDENT, subsequent_indent=_INDENT)
    return [*lines, ""]

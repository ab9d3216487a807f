"""`asbuilt service`: record what was done, by options or guided at the prompt, and undo it again."""

import sys
import textwrap
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from asbuilt.cli.options import at_option, json_option, property_argument, record_option, who_option
from asbuilt.cli.printing import finish, show, show_json, warn_findings
from asbuilt.errors import AsbuiltError
from asbuilt.findings import Severity
from asbuilt.model.tasks import KNOWN_TASKS

if TYPE_CHECKING:
    from asbuilt.jobs.record_service import Place, Recorded

F = TypeVar("F", bound=Callable[..., Any])

ANSWERS = {
    "on": "Day of the service, such as 2026-05-14.",
    "component": "What it was done on, such as septic tank.",
    "task": "What was done: pump-out, inspection, effluent filter and so on.",
    "compartment": "Which compartment; blank = the whole tank.",
    "tanks": "All tanks emptied by this one load, with commas, or both.",
    "by": "Who did it.",
    "gallons": "US gallons removed.",
    "level_before": "Liquid before: at, above or below the outlet.",
    "runback": "Did liquid run back from the field (yes or no)?",
    "opening": "Through which opening.",
    "sludge": "Depth of the settled solids.",
    "scum": "Thickness of the floating layer.",
    "sludge_top": "Top of the sludge below the liquid level.",
    "scum_bottom": "Underside of the scum below the liquid level.",
    "baffles": "State of the baffles.",
    "filter": "State of the effluent filter, and what was done.",
    "lid": "State of the lids: sound, damaged or missing.",
    "secured": "Were all lids fastened on leaving (yes or no)?",
    "reason": "Why it was done.",
    "findings": "What was found.",
    "actions": "What was mended or changed.",
    "disposal": "Where the load went.",
    "ticket": "Number of the disposal ticket.",
    "advice": "What should be done next, and when.",
    "evidence": "How it is known: own reading, receipt or told.",
    "scan": "File of the receipt.",
    "note": "Anything else.",
}
"""Columns of service.csv in the order in which a person is asked, each with its question."""


def _answer_options(command: F) -> F:
    for name, question in reversed(ANSWERS.items()):
        command = click.option(f"--{name.replace('_', '-')}", name, metavar="TEXT", help=question)(command)
    return command


@click.command(short_help="Record a pump-out, inspection or repair, or undo one.")
@property_argument
@record_option
@at_option
@_answer_options
@click.option("--ask", is_flag=True, help="Ask for each of them; done without options at a terminal.")
@click.option("--list", "as_list", is_flag=True, help="List the service entries with their numbers.")
@click.option("--undo", type=int, metavar="ENTRY", help="Withdraw the entry of this number; give --reason.")
@who_option
@json_option
def service(
    name: str,
    record_file: Path,
    ask: bool,
    as_list: bool,
    undo: int | None,
    who: str,
    as_json: bool,
    **answers: str | None,
) -> None:
    """Record one service of one component: readings, gallons, lids, where the load went.

    With options it is recorded at once; at a terminal without options each is asked for, and an empty answer leaves it
    out. A mistake is undone by an entry that supersedes it, so both stay readable.

    Before you open a tank: its gases kill, also those who come to help. Never enter it. Keep children and flames away,
    and leave no lid loose.

    \b
    Example:
      asbuilt service "Fernbank Lane 14" --list
    """
    from asbuilt.jobs.record_service import add_service, place_of, read_entry, service_entries, undo_service

    now = datetime.now().astimezone()
    given = {column: words for column, words in answers.items() if words is not None}
    if undo is not None:
        reason = given.pop("reason", None)
        if given or ask or as_list:
            raise click.UsageError("--undo goes with --reason only")
        if reason is None:
            raise click.UsageError("--undo needs --reason TEXT: why the entry is withdrawn")
        entry = undo_service(record_file, name, undo, reason=reason, who=who, now=now)
        if as_json:
            show_json({"property": name, "undone": undo})
        else:
            show(f"{name}: entry {undo}, {entry.task} of {entry.component} on {entry.on}, no longer counts")
        return
    if as_list:
        _list(service_entries(record_file, name), as_json)
        return
    place = place_of(record_file, name)
    if not given and not ask and not sys.stdin.isatty():
        raise click.UsageError("give --on, --component and --task, or --ask, --list or --undo")
    if ask or not given:
        given = _ask(place, now.date(), given)
    entry = read_entry(place, given, now.date())
    recorded = add_service(record_file, name, entry, who=who, now=now)
    if as_json:
        show_json(_json(recorded))
    else:
        show(_text(recorded))
        warn_findings(recorded.findings)
    finish(recorded.findings)


def _ask(place: "Place", today: date, given: dict[str, str]) -> dict[str, str]:
    """Ask for every column that was not given; an answer that cannot be taken is asked for again."""
    from asbuilt.jobs.record_service import read_answer

    defaults = {"on": today.isoformat(), "component": place.tanks[0] if len(place.tanks) == 1 else ""}
    asked = dict(given)
    click.echo(f"{place.name}: an empty answer leaves a question out.")
    for column, question in ANSWERS.items():
        while column not in given:
            words: str = click.prompt(f"{column}: {question}", default=defaults.get(column, ""), show_default=True)
            try:
                if words.strip():
                    read_answer(place, column, words, today)
            except AsbuiltError as error:
                click.echo(f"  {error}")
                continue
            asked[column] = words
            break
    return asked


def _list(entries: list[Any], as_json: bool) -> None:
    if as_json:
        show_json([{"entry": each.number, **_cells(each.entry)} for each in entries])
        return
    lines = [
        f"{each.number:>6}  {each.entry.on}  {each.entry.task} of {each.entry.component}"
        + (f", {each.entry.gallons:,.10g} gal" if each.entry.gallons is not None else "")
        + (f", {each.entry.by}" if each.entry.by else "")
        for each in entries
    ]
    show("\n".join(lines) if lines else "No service is recorded.")


def _cells(entry: Any) -> dict[str, Any]:
    cells: dict[str, Any] = {}
    for column in ANSWERS:
        value = getattr(entry, column)
        if hasattr(value, "as_read"):
            cells |= {column: value.as_read, f"{column}_m": value.metres}
        else:
            cells[column] = value.isoformat() if isinstance(value, date) else value
    return cells


def _json(recorded: "Recorded") -> dict[str, Any]:
    return {
        "property": recorded.property,
        "entry": recorded.number,
        "recorded": _cells(recorded.entry),
        "due": [due.as_json() for due in recorded.dues],
        "missing": [{"item": item.item, "reference": item.reference.words()} for item in recorded.missing],
        "findings": [finding.as_json() for finding in recorded.findings],
    }


def _text(recorded: "Recorded") -> str:
    entry = recorded.entry
    lines = [
        f"{recorded.property}: {entry.task} of {entry.component} on {entry.on} recorded as entry {recorded.number} "
        f"(--undo {recorded.number} --reason TEXT withdraws it)"
    ]
    if entry.task not in KNOWN_TASKS and not any(due.task == entry.task for due in recorded.dues):
        lines += [f"{entry.task} is a task of your own: how often it is wanted can stand in tasks.csv"]
    lines += [f"next {due.task} of {due.component}: {due.due_on or 'no date'} ({due.method})" for due in recorded.dues]
    if recorded.missing:
        items = ", ".join(item.item for item in recorded.missing)
        lines += [f"not yet in the record, and wanted by {recorded.missing[0].reference.words()}: {items}"]
    notes = [finding for finding in recorded.findings if finding.severity is Severity.NOTE]
    lines += [f"note: {finding.sentence()}" for finding in notes]
    return "\n".join(textwrap.fill(line, 100, subsequent_indent="  ") for line in lines)

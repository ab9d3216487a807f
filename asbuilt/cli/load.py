"""`asbuilt load`: field sheets into the record."""

from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from asbuilt.cli.options import json_option, record_option, who_option
from asbuilt.cli.printing import finish, show, show_json, warn, warn_findings

if TYPE_CHECKING:  # numpy stays out of --help
    from asbuilt.jobs.load import Loaded
    from asbuilt.survey.solution import Position


NAMED = 3
"""Corrected readings that are named; more are counted."""


@click.command(short_help="Store field sheets in the record: a folder, or a workbook.")
@click.argument("sheets", type=click.Path(path_type=Path))
@record_option
@click.option("--supersede", metavar="REASON", help="Store changed sheets over what is recorded, and why.")
@click.option("--seen", type=click.IntRange(1), metavar="ENTRY", help="With --supersede: the last entry you have seen.")
@click.option("--draft", is_flag=True, help="Store the good rows of half-filled sheets and list the rest.")
@who_option
@json_option
def load(
    sheets: Path, record_file: Path, supersede: str | None, seen: int | None, draft: bool, who: str, as_json: bool
) -> None:
    """Store field sheets in the record, all of them or nothing.

    SHEETS is a folder of plain files, or a workbook (.xlsx or .ods) with a tab a sheet: `points` for points.csv,
    `property` for property.toml with a key in column A, such as measured.by, and its value in column B.

    Every problem of every sheet is reported in one go. Sheets that say the same as the record change nothing; changed
    ones need --supersede with a reason, and the old readings stay readable. What was typed with `asbuilt tape` or
    `asbuilt correct` stands, also where the sheets do not know of it. Sheets that were made from an older view of the
    record, and would undo what somebody recorded since, are refused with what that is.

    With --draft the good rows are stored, the rest is listed, and every output says DRAFT, until the complete sheets
    are loaded without it. Over a draft no reason is needed.

    \b
    Example:
      asbuilt load sample_property --record asbuilt.db
    """
    from asbuilt.jobs.load import load_sheets

    if seen is not None and supersede is None:
        raise click.UsageError("--seen goes with --supersede")
    now = datetime.now().astimezone()
    loaded = load_sheets(record_file, sheets, who=who, now=now, supersede=supersede, seen=seen, draft=draft)
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
                "draft": draft,
                "left_out": [asdict(problem) for problem in loaded.left_out],
                "findings": [finding.as_json() for finding in (*loaded.notes, *findings)],
            }
        )
    else:
        show(f"{outcome.property}{' (DRAFT)' if draft else ''}: {_what_was_done(loaded, record_file)}")
        if outcome.corrected:
            show(_corrected_words(outcome.corrected))
        show(_how_many(loaded.located.solution.points))
        for note in loaded.notes:
            warn(f"note: {note.sentence()}")
        for problem in loaded.left_out:
            warn(f"left out: {problem}")
        warn_findings(findings)
    if loaded.left_out:
        raise click.exceptions.Exit(1)
    finish(findings)


def _what_was_done(loaded: "Loaded", record_file: Path) -> str:
    outcome = loaded.outcome
    if not outcome.wrote():
        return "the sheets say what is recorded already; nothing changed"
    counts = {"added": outcome.added, "superseded": outcome.superseded, "withdrawn": outcome.withdrawn}
    what = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
    return f"rows of the sheets stored in {record_file}: {what}"


def _corrected_words(readings: tuple[str, ...]) -> str:
    many, more = len(readings), len(readings) - NAMED
    stand = f"{many} readings stand as they were" if many > 1 else "1 reading stands as it was"
    which = "; ".join(readings[:NAMED]) + (f"; and {more} more" if more > 0 else "")
    return f"{stand} corrected or withdrawn at the prompt; mend the sheets too: {which}"


def _how_many(points: "tuple[Position, ...]") -> str:
    located = sum(point.place is not None for point in points)
    checked = sum(point.checked for point in points)
    return f"{located} of {len(points)} points located, {checked} of them checked by a spare tape"

"""`asbuilt load-cards`: an office's paper cards, typed into one wide sheet, into the record."""

import sys
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from asbuilt.cli.options import json_option, overwrite_option, record_option, who_option
from asbuilt.cli.printing import show, show_json, warn

if TYPE_CHECKING:  # numpy stays out of --help
    from asbuilt.jobs.load_cards import CardsLoaded

SHOWN = 10
"""Cards set aside, and notes, that are shown; more are counted."""


@click.command("load-cards", short_help="Store an office's cards from one wide sheet, a map telling what is what.")
@click.argument("cards", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--map",
    "map_file",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="The map (TOML): which heading is which cell of which sheet.",
)
@record_option
@click.option(
    "--rejects",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the cards that were set aside there, with the reasons in a column of their own.",
)
@click.option("--resume", is_flag=True, help="Pass over cards that are recorded already and say the same.")
@overwrite_option
@who_option
@json_option
def load_cards(
    cards: Path,
    map_file: Path,
    record_file: Path,
    rejects: Path | None,
    resume: bool,
    overwrite: bool,
    who: str,
    as_json: bool,
) -> None:
    """Store an office's cards: each row of CARDS, or all rows with the same key, is a property.

    CARDS is a CSV sheet or a workbook. A card in which anything cannot be taken is set aside with its reasons, and the
    others are stored. Cards are stored in batches: when the command is stopped in the middle, run it again with
    --resume. The file of --rejects has the same headings: mend it and load it with the same map.

    \b
    Example:
      asbuilt load-cards sample_property/cards/cards.csv \\
          --map sample_property/cards/map.toml
    """
    from asbuilt.jobs.load_cards import load_cards as load

    now = datetime.now().astimezone()
    with click.progressbar(length=1, label="cards", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:

        def progress(done: int, of: int) -> None:
            bar.length = of
            bar.update(done - bar.pos)

        found = load(
            record_file,
            cards,
            map_file,
            who=who,
            now=now,
            resume=resume,
            rejects=rejects,
            overwrite=overwrite,
            progress=progress,
        )
    if as_json:
        show_json(_as_json(found, record_file, rejects))
    else:
        show(_summary(found, record_file))
        _show_set_aside(found, rejects)
    if found.set_aside or any(note.severity.rank for note in found.notes):
        raise click.exceptions.Exit(1)


def _summary(found: "CardsLoaded", record_file: Path) -> str:
    counts = {"stored": found.stored, "recorded already": found.already, "set aside": len(found.set_aside)}
    said = ", ".join(f"{count:,} {word}" for word, count in counts.items() if count or word == "stored")
    return f"{found.cards:,} card{'' if found.cards == 1 else 's'} for {record_file}: {said}"


def _show_set_aside(found: "CardsLoaded", rejects: Path | None) -> None:
    for bad in found.set_aside[:SHOWN]:
        for problem in bad.problems:
            warn(f"set aside: {problem}")
    more = len(found.set_aside) - SHOWN
    if rejects is not None and found.set_aside:
        warn(f"all cards set aside, with their reasons: {rejects}")
    elif more > 0:
        warn(f"... and {more:,} more; --rejects FILE writes them all with their reasons")
    for note in found.notes[:SHOWN]:
        warn(f"{note.severity}: {note.sentence()}")
    if len(found.notes) > SHOWN:
        warn(f"... and {len(found.notes) - SHOWN:,} more to look at; --json lists them all")


def _as_json(found: "CardsLoaded", record_file: Path, rejects: Path | None) -> dict[str, object]:
    return {
        "record": str(record_file),
        "cards": found.cards,
        "stored": found.stored,
        "recorded_already": found.already,
        "set_aside": [
            {"row": bad.card.row, "property": bad.name, "problems": [asdict(problem) for problem in bad.problems]}
            for bad in found.set_aside
        ],
        "rejects": str(rejects) if rejects is not None and found.set_aside else None,
        "findings": [note.as_json() for note in found.notes],
    }

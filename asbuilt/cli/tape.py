"""`asbuilt tape`, `correct`, `withdraw`: the readings of one point, while the hole is open and when one was wrong."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

import click

from asbuilt.cli.options import json_option, property_argument, record_option, who_option
from asbuilt.cli.printing import finish, show, show_json, warn, warn_findings

if TYPE_CHECKING:  # numpy stays out of --help
    from asbuilt.jobs.correct import Corrected
    from asbuilt.jobs.correct_entry import Mended
    from asbuilt.jobs.tape import Answered

F = TypeVar("F", bound=Callable[..., Any])

point_argument = click.argument("point", metavar="POINT")
_SIDE = click.option("--side", metavar="SIDE", help="Its side, such as “left of A > B”, or out.")
_HELD = click.option("--held", metavar="HOW", help="How the tapes were held: level, slope or unknown.")
_DROP = click.option("--drop", metavar="LENGTH", help="How far the point lies below the tape's other end.")
_FROM = click.option("--from", "from_", metavar="NAME", help="Where the tape was pulled from.")
_WAS = click.option("--was", metavar="READING", help="The reading as it stands; needed where there are several.")
_or_point_argument = click.argument("point", metavar="[POINT]", required=False)
_ENTRY = click.option("--entry", type=click.IntRange(1), metavar="N", help="Any entry, by its number in `asbuilt log`.")
_REASON = click.option("--reason", required=True, metavar="TEXT", help="Why; it stays in the record.")


@click.command(short_help="Take one point's tapes and say at once whether they are good.")
@property_argument
@point_argument
@click.argument("tapes", nargs=-1, metavar="[FROM READING]...")
@record_option
@_SIDE
@_HELD
@_DROP
@click.option("--note", metavar="TEXT", help="Of these tapes, such as second pull.")
@click.option("--component-kind", "kind", metavar="KIND", help="The point is of a new component, of this kind.")
@click.option("--new", is_flag=True, help="A new point, however like a known one its name is.")
@click.option("--dry-run", is_flag=True, help="Only try it; store nothing.")
@who_option
@json_option
def tape(
    name: str,
    point: str,
    tapes: tuple[str, ...],
    record_file: Path,
    side: str | None,
    held: str | None,
    drop: str | None,
    note: str | None,
    kind: str | None,
    new: bool,
    dry_run: bool,
    who: str,
    as_json: bool,
) -> None:
    """Take the tapes of one point: in turn what a tape was pulled from and what it read.

    Readings are written as in the sheets, so in feet and inches "23 4.5" will do. The answer says how well the point is
    known, which tape to pull again, or which to pull next. Exit status 1: act before the hole is closed.

    \b
    Example:
      asbuilt tape "Fernbank Lane 14" "tank outlet" "SE corner" "54 1" --dry-run
    """
    from asbuilt.jobs.tape import Typed, tape_point

    typed = Typed(point, tapes, side=side, held=held, drop=drop, note=note, kind=kind, new=new)
    now = datetime.now().astimezone()
    said = tape_point(record_file, name, typed, who=who, now=now, dry_run=dry_run)
    _tell(said, as_json, stored=not dry_run, what="tape", new=said.new_point, component=said.component)


@click.command(short_help="Correct one reading or entry; the old one stays readable.")
@property_argument
@_or_point_argument
@record_option
@_ENTRY
@click.option(
    "--set", "cells", multiple=True, metavar="COLUMN=VALUE", help="A cell of the entry's row as it should be."
)
@_FROM
@_WAS
@click.option("--read", metavar="READING", help="What it should have been.")
@click.option("--new-from", metavar="NAME", help="Where the tape was really pulled from.")
@_SIDE
@_HELD
@_DROP
@_REASON
@who_option
@json_option
def correct(
    name: str,
    point: str | None,
    record_file: Path,
    entry: int | None,
    cells: tuple[str, ...],
    from_: str | None,
    was: str | None,
    read: str | None,
    new_from: str | None,
    side: str | None,
    held: str | None,
    drop: str | None,
    reason: str,
    who: str,
    as_json: bool,
) -> None:
    """Correct one recorded tape: a new entry over the old one, with a reason.

    Say which tape (--from C --was "32 4") and what it should have been (--read "23 4"); with --side alone the side of
    the point is corrected. Any other row, and tapes too: --entry with its number in `asbuilt log`, and --set with a
    column of its sheet (--entry 163 --set "distance=54 11"), once a cell. Nothing is corrected unasked, and nothing is
    lost: `asbuilt log` shows both.

    \b
    Example:
      asbuilt correct "Fernbank Lane 14" "SE stake" --side out --reason seen
    """
    _point_or_entry(point, entry, from_, was, read, new_from, side, held, drop)
    now = datetime.now().astimezone()
    if entry is not None:
        from asbuilt.jobs.correct_entry import correct_entry

        mended = correct_entry(record_file, name, entry, _cells(cells), reason=reason, who=who, now=now)
        _tell_mended(mended, "correction", as_json)
    if cells:
        raise click.UsageError("--set goes with --entry")
    from asbuilt.jobs.correct import Correction, correct_reading

    asked = Correction(point or "", from_, was, read, new_from, side, held, drop)
    if not asked.changes:
        raise click.UsageError("say what it should have been: --read, --new-from, --side, --held or --drop")
    if from_ is None and (asked.was or read or new_from or held or drop):
        raise click.UsageError("say which tape: --from NAME")
    done = correct_reading(record_file, name, asked, reason=reason, who=who, now=now)
    _tell_change(done, as_json)


@click.command(short_help="Withdraw one reading or entry; it stays readable.")
@property_argument
@_or_point_argument
@record_option
@_ENTRY
@_FROM
@_WAS
@_REASON
@who_option
@json_option
def withdraw(
    name: str,
    point: str | None,
    record_file: Path,
    entry: int | None,
    from_: str | None,
    was: str | None,
    reason: str,
    who: str,
    as_json: bool,
) -> None:
    """Withdraw one recorded tape, or with --entry any entry: it no longer counts, and `asbuilt log` still shows it.

    Where other rows hang on an entry (tapes on their corner, say), it is refused and they are named.

    \b
    Example:
      asbuilt withdraw "Fernbank Lane 14" --entry 163 --reason "typed twice"
    """
    _point_or_entry(point, entry, from_, was)
    now = datetime.now().astimezone()
    if entry is not None:
        from asbuilt.jobs.correct_entry import withdraw_entry

        mended = withdraw_entry(record_file, name, entry, reason=reason, who=who, now=now)
        _tell_mended(mended, "withdrawal", as_json)
    from asbuilt.jobs.correct import Correction, withdraw_reading

    if from_ is None:
        raise click.UsageError("say which tape: --from NAME")
    asked = Correction(point or "", from_, was)
    done = withdraw_reading(record_file, name, asked, reason=reason, who=who, now=now)
    _tell_change(done, as_json)


def _point_or_entry(point: str | None, entry: int | None, *of_a_tape: str | None) -> None:
    """Refuse a command that names neither a point nor an entry, or both."""
    if entry is None and point is None:
        raise click.UsageError("say which reading: POINT and --from NAME, or --entry N")
    if entry is not None and (point is not None or any(each is not None for each in of_a_tape)):
        raise click.UsageError("--entry names the entry alone: leave out POINT and what tells a tape")


def _cells(words: tuple[str, ...]) -> dict[str, str]:
    """Part COLUMN=VALUE; a blank value empties the cell."""
    parted = [each.partition("=") for each in words]
    if not parted:
        raise click.UsageError("say what it should be: --set COLUMN=VALUE")
    wrong = [words[k] for k, (column, sign, _) in enumerate(parted) if not sign or not column.strip()]
    if wrong:
        raise click.UsageError(f"--set {wrong[0]}: write COLUMN=VALUE")
    return {column.strip(): value.strip() for column, _, value in parted}


def _tell_mended(done: "Mended", what: str, as_json: bool) -> NoReturn:
    """Print what became of an entry and end with its status."""
    if as_json:
        show_json(
            {
                "property": done.property,
                "draft": done.draft,
                "stored": 1,
                "entry": done.entry.as_json(),
                "findings": [finding.as_json() for finding in done.findings],
            }
        )
    else:
        draft = f"; {done.property} is a DRAFT" if done.draft else ""
        show(f"{done.entry.what}\n1 {what} stored as entry {done.entry.number}, over {done.entry.supersedes}{draft}")
        warn_findings(done.findings)
    finish(done.findings)


def _tell_change(done: "Corrected", as_json: bool) -> None:
    changes = [
        f"{old.from_} to {old.to} {old.distance.as_read}: {'withdrawn' if new is None else _now(old, new)}"
        for old, new in done.changes
    ]
    what = "withdrawal" if any(new is None for _, new in done.changes) else "correction"
    _tell(done.answered, as_json, stored=True, what=what, changes=changes)


def _now(old: Any, new: Any) -> str:
    """Say what of a tape is now otherwise."""
    before, after = _words(old), _words(new)
    return "now " + ", ".join(f"{name}{word}" for name, word in after.items() if word != before[name])


def _words(tie: Any) -> dict[str, Any]:
    drop = tie.drop and tie.drop.as_read
    ends = {"from ": tie.from_, "to ": tie.to}
    return {**ends, "": tie.distance.as_read, "side ": tie.side, "held ": tie.held, "drop ": drop}


def _tell(
    said: "Answered",
    as_json: bool,
    *,
    stored: bool,
    what: str,
    new: bool = False,
    component: str | None = None,
    changes: list[str] | None = None,
) -> None:
    """Print the answer of one point and end with its status."""
    from asbuilt.output.text.trench import TrenchWords, needs_act, verdict_json

    words = TrenchWords(said.property, tail=_tail(), stored=stored)
    if as_json:
        show_json(
            {
                "property": said.property,
                "draft": said.draft,
                "stored": said.stored,
                "new_point": new,
                "new_component": component,
                **({} if changes is None else {"changes": changes}),
                **verdict_json(said.verdict, words),
                "elsewhere": [finding.as_json() for finding in (*said.from_gone, *said.elsewhere)],
            }
        )
    else:
        show("\n".join(words.lines(said.verdict)))
        show("\n".join([*(changes or []), _stored(said, stored, what, new, component)]))
        warn_findings(said.from_gone)
        if said.elsewhere:
            count = len(said.elsewhere)
            more = "1 other thing here needs" if count == 1 else f"{count} other things here need"
            warn(f'{more} attention: asbuilt ready "{said.property}"')
    if needs_act(said.verdict) or said.from_gone:
        raise click.exceptions.Exit(1)
    finish(())


def _stored(said: "Answered", stored: bool, what: str, new: bool, component: str | None) -> str:
    if not stored:
        return "nothing stored (--dry-run)"
    count = said.stored - (component is not None)
    entries = f"{count} {what}{'' if count == 1 else 's'} stored"
    beside = [f"new component {component}"] if component is not None else []
    beside += [f"new point {said.verdict.name}"] if new else []
    draft = f"; {said.property} is a DRAFT" if said.draft else ""
    return ", ".join([entries, *beside]) + draft


def _tail() -> str:
    """Give the record file to commands that are proposed, where it was named on the command line."""
    context = click.get_current_context()
    source = context.get_parameter_source("record_file")
    if source is not click.core.ParameterSource.COMMANDLINE:
        return ""
    from asbuilt.output.text.trench import quoted

    return f" --record {quoted(str(context.params['record_file']))}"

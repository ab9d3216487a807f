"""Whether a record can be trusted, and a copy for the day it is gone: `verify`, `backup` and `restore`."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from asbuilt.cli.options import json_option, record_option
from asbuilt.cli.printing import show, show_json, warn

if TYPE_CHECKING:
    from asbuilt.jobs.verify import Verified

_folder = click.Path(file_okay=False, path_type=Path)
_file = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command(short_help="Verify that nothing in the record was altered or lost.")
@record_option
@click.option("--quick", is_flag=True, help="Leave out what takes long: photos byte by byte, due lists, places.")
@click.option("--every", is_flag=True, help="Reckon the places of every property, also of more than 200.")
@click.option("--head", "noted", multiple=True, metavar="HASH", help="A hash noted elsewhere; must be in the record.")
@click.option("--against", type=_file, help="Another copy, such as a backup: all its entries must be in the record.")
@json_option
def verify(
    record_file: Path, quick: bool, every: bool, noted: tuple[str, ...], against: Path | None, as_json: bool
) -> None:
    """Verify a record: the file, its tables, the chain of hashes over the entries, photos, due lists and places.

    Each entry carries a hash over itself and the one before it, so that what was altered behind the program's back is
    found, and where. Places are reckoned twice: from the record, and from its field sheets written out and read again.
    Exit status 1 with every fault named.

    What cannot be seen from inside: a whole chain made anew by somebody who knows how. So note the last hash on paper,
    as it is printed here, or keep a backup elsewhere, and give them to --head and --against.

    \b
    Example:
      asbuilt verify --record asbuilt.db
    """
    from asbuilt.jobs.verify import verify as look

    found = look(record_file, quick=quick, every=every, noted=noted, against=against)
    if as_json:
        show_json(_json(found))
    else:
        for fault in found.faults:
            warn(f"fault: {fault.where}: {fault.message}")
        show("\n".join(_lines(record_file, found, quick=quick)))
    raise click.exceptions.Exit(1 if found.faults else 0)


@click.command(short_help="Copy record and photos into a folder, dated and verified.")
@record_option
@click.option("--to", "folder", type=_folder, help="Folder to write into; default: one beside the record.")
@click.option(
    "--keep", type=click.IntRange(1), default=10, show_default=True, metavar="N", help="So many of the newest stay."
)
@json_option
def backup(record_file: Path, folder: Path | None, keep: int, as_json: bool) -> None:
    """Copy the record and its photos into a folder, and verify the copy. Others may go on working meanwhile.

    A folder on another disk or machine is best: what lies beside the record goes with its disk. Of the backups in the
    folder the newest --keep stay. Only backups of which every entry is in this record are removed, so none of another
    record of that name; no other file ever, and photos never.

    \b
    Example:
      asbuilt backup --to backups
    """
    from asbuilt.jobs.backup import back_up

    done = back_up(record_file, folder, keep=keep, now=datetime.now().astimezone())
    if as_json:
        show_json(
            {
                "backup": str(done.path),
                "properties": done.properties,
                "entries": done.entries,
                "photos": done.photos,
                "mark": done.mark,
                "removed": [str(path) for path in done.removed],
                "others": [str(path) for path in done.others],
                "faults": list(done.faults),
            }
        )
    else:
        for fault in done.faults:
            warn(f"fault: {fault}")
        held = f"{_counted(done.properties, 'property', 'properties')}, {_counted(done.entries, 'entry', 'entries')}"
        sound = "it is a true copy of a record with faults" if done.faults else "verified"
        show(f"{done.path}: {held}, {_counted(done.photos, 'photo', 'photos')}; {sound}")
        show(f"mark of the whole record: {done.mark}")
        if done.removed:
            show(f"removed: {', '.join(path.name for path in done.removed)}")
        if done.others:
            names = ", ".join(path.name for path in done.others)
            show(f"left alone, with entries that this record does not have or not to be read: {names}")
    raise click.exceptions.Exit(1 if done.faults else 0)


@click.command(short_help="Put a backup in the place of the record.")
@click.argument("copy", metavar="BACKUP", type=_file)
@record_option
@click.option("--overwrite-newer", is_flag=True, help="Also where the record knows more than the backup.")
@json_option
def restore(copy: Path, record_file: Path, overwrite_newer: bool, as_json: bool) -> None:
    """Put a backup in the place of the record; the record that was there is kept beside it under another name.

    A record that knows more than the backup is not replaced without being told to: what would go is listed.

    \b
    Example:
      asbuilt restore asbuilt.db --record found-again.db
    """
    from asbuilt.jobs.backup import restore as put_back

    done = put_back(record_file, copy, overwrite_newer=overwrite_newer, now=datetime.now().astimezone())
    gone = sum(each.only_here for each in done.lost)
    if as_json:
        show_json(
            {
                "record": str(record_file),
                "properties": done.properties,
                "entries": done.entries,
                "photos": done.photos,
                "kept": None if done.kept is None else str(done.kept),
                "entries_only_in_kept": gone,
                "faults": list(done.faults),
            }
        )
    else:
        for fault in done.faults:
            warn(f"fault: {fault}")
        held = f"{_counted(done.properties, 'property', 'properties')}, {_counted(done.entries, 'entry', 'entries')}"
        show(f"{record_file}: {held}, {_counted(done.photos, 'photo', 'photos')}, as in {copy}")
        if done.kept is not None:
            more = f"; {_counted(gone, 'entry', 'entries')} only there" if gone else ""
            show(f"the record that was there is kept as {done.kept}{more}")
    raise click.exceptions.Exit(1 if done.faults else 0)


def _counted(count: int, one: str, many: str) -> str:
    return f"{count:,} {one if count == 1 else many}"


def _lines(record_file: Path, found: "Verified", *, quick: bool) -> list[str]:
    entries = sum(head.entries for head in found.heads)
    held = f"{_counted(len(found.heads), 'property', 'properties')}, {_counted(entries, 'entry', 'entries')}"
    count = len(found.faults)
    verdict = _counted(count, "fault", "faults") if count else "no fault"
    lines = [f"{record_file}: {held}, {_counted(found.photos, 'photo', 'photos')}: {verdict}"]
    if not quick:
        lines.append(_places(found))
        lines += [f"not among them, for its sheets cannot be read again: {each}" for each in found.not_written]
    if len(found.heads) == 1:
        lines.append(f"last hash of {found.heads[0].name}: {found.heads[0].head}")
    return [*lines, f"mark of the whole record: {found.mark}", *found.witnessed]


def _places(found: "Verified") -> str:
    """Say what was reckoned twice, and how."""
    of = f" of {len(found.heads):,}" if found.solved < len(found.heads) else ""
    held = f"{_counted(found.positions, 'place', 'places')} of {found.solved:,}{of}"
    what = "property" if len(found.heads) == 1 else "properties"
    return f"{held} {what} reckoned from the record and again from its field sheets, written out and read"


def _json(found: "Verified") -> dict[str, object]:
    return {
        "sound": not found.faults,
        "faults": [fault.as_json() for fault in found.faults],
        "photos": found.photos,
        "solved": found.solved,
        "positions": found.positions,
        "not_written": list(found.not_written),
        "mark": found.mark,
        "witnessed": list(found.witnessed),
        "properties": [{"name": each.name, "entries": each.entries, "head": each.head} for each in found.heads],
    }

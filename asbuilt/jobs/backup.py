"""Back a record up, verified after writing, and put a backup back without losing what came after it."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from asbuilt.errors import RecordError
from asbuilt.output.files import make_folder, write_whole
from asbuilt.record.backups import (
    all_photos,
    backup_folder,
    drop_old,
    make_backup,
    note_backup,
    put_back,
    put_photos,
    take_alone,
)
from asbuilt.record.chain import verify_chain
from asbuilt.record.copies import copy_record, free_name, last_backup_file
from asbuilt.record.database import Record, open_record
from asbuilt.record.soundness import file_faults, mark_of, read_heads
from asbuilt.record.witness import Compared, Standing, compare_records, numbers
from asbuilt.whole_files import replace_file

NAMED = 5
"""Properties that a message names; more are counted."""


@dataclass(frozen=True, slots=True)
class BackedUp:
    """One backup, and what was found when it was read again."""

    path: Path
    properties: int
    entries: int
    photos: int
    mark: str  #: one hash for all of it
    faults: tuple[str, ...]  #: of the record itself: the backup is a true copy of it
    removed: tuple[Path, ...]  #: older backups
    others: tuple[Path, ...]  #: named like its backups, but with entries that it does not have, or not to be read


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restored record holds, and where the one before it is."""

    properties: int
    entries: int
    photos: int
    kept: Path | None  #: the record that was there before; None = there was none
    faults: tuple[str, ...]  #: photos that the backup does not have
    lost: tuple[Compared, ...] = ()  #: properties of which the record before knew more


def back_up(record_file: Path, folder: Path | None, *, keep: int, now: datetime) -> BackedUp:
    """Write a backup, read it again, and keep the newest ones.

    Parameters
    ----------
    folder
        Where to; None = the folder of backups beside the record.
    keep
        So many of the newest stay; only backups of which all entries are in this record are removed, and none where a
        fault was found.

    Raises
    ------
    RecordError, PhotoError, OutputError
        If it cannot be written, or is not what the record is. Then it is removed again.
    """
    with open_record(record_file, read_only=True) as record:
        into = backup_folder(record_file) if folder is None else folder
        _make_private(into)
        copied = make_backup(record, into, now)
    with open_record(copied.path, read_only=True) as copy:
        damage = file_faults(copy)
        heads = read_heads(copy)
        faults = [
            *copied.faults,
            *damage,
            *(f"{each.name}: {said}" for each in heads for said in verify_chain(copy, each.name)),
        ]
        removed, others = ([], []) if faults else drop_old(into, copy, record_file, keep)
    if any(fault.startswith("the file is damaged") for fault in damage):
        copied.path.unlink(missing_ok=True)
        raise RecordError(f"{copied.path}: read again, the backup is damaged ({damage[0]}); it was removed")
    write_whole(last_backup_file(record_file), note_backup(record_file, copied.path, now), overwrite=True)
    entries = sum(each.entries for each in heads)
    told = (tuple(faults), tuple(removed), tuple(others))
    return BackedUp(copied.path, len(heads), entries, copied.photos, mark_of(heads), *told)


def restore(record_file: Path, backup: Path, *, overwrite_newer: bool, now: datetime) -> Restored:
    """Put a backup in the place of a record, which is kept aside under another name.

    Raises
    ------
    RecordError
        If the backup does not pass, the record knows more than it and `overwrite_newer` is not set, somebody uses the
        record, or nothing can be written. The record is as it was.
    """
    if _same_file(record_file, backup):
        raise RecordError(f"{backup}: this is the record itself; give one of its backups")
    with open_record(backup, read_only=True) as source:
        _refuse_unsound(source)
        heads, photos = read_heads(source), all_photos(source)
        found: list[tuple[int, list[str]]] = []

        def photos_first() -> None:  # so that no entry is ever there without its photo
            found.append(put_photos(backup, record_file, photos))

        kept, lost = _put(record_file, source, photos_first, overwrite_newer=overwrite_newer, now=now)
    ((count, missing),) = found
    open_record(record_file).close()  # of an older version: brought up to date, as by any command that writes
    entries = sum(each.entries for each in heads)
    return Restored(len(heads), entries, count, kept, tuple(missing), tuple(lost))


def _put(
    record_file: Path, source: Record, photos_first: Callable[[], None], *, overwrite_newer: bool, now: datetime
) -> tuple[Path | None, list[Compared]]:
    """Decide whether the backup may be put there; only then is anything written."""
    if not record_file.exists() or record_file.stat().st_size == 0:
        photos_first()
        record_file.unlink(missing_ok=True)
        copy_record(source.connection, record_file)
        return None, []
    aside = free_name(record_file.with_name(f"{record_file.name}.before-restore-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}"))
    record = _opened(record_file)
    if record is None:
        photos_first()
        _put_over_damaged(record_file, source, aside)
        return aside, []
    with record:
        take_alone(record)
        lost = [each for each in compare_records(record, source) if each.only_here]
        if lost and not overwrite_newer:
            raise RecordError(_newer(record_file, source.path, lost))
        photos_first()
        copy_record(record.connection, aside)
        put_back(record, source)
    return aside, lost


def _opened(record_file: Path) -> Record | None:
    """Open the record that is there; None = it cannot be opened at all, or its pages are damaged."""
    try:
        record = open_record(record_file)
    except RecordError as error:
        if "damaged" in str(error) or "not an SQLite file" in str(error):
            return None
        raise
    if file_faults(record, quick=True) and not read_heads(record):
        record.close()
        return None
    return record


def _put_over_damaged(record_file: Path, source: Record, aside: Path) -> None:
    """Keep what cannot be opened aside, with what SQLite left beside it, and put the backup in its place.

    The copy is written first: where there is no room for it, what is there keeps its name.
    """
    fresh = free_name(record_file.with_name(f"{record_file.name}.restoring"))
    copy_record(source.connection, fresh)
    try:
        _keep_under(record_file, aside)
        for ending in ("-wal", "-journal", "-shm"):
            beside = record_file.with_name(record_file.name + ending)
            if beside.exists():
                beside.rename(aside.with_name(aside.name + ending))
        replace_file(fresh, record_file)
    except OSError as error:
        raise RecordError(f"{record_file}: the backup could not be put there ({error.strerror})") from error
    finally:
        fresh.unlink(missing_ok=True)


def _keep_under(path: Path, other: Path) -> None:
    """Give a file a second name beside its own; where a disk has no such thing, a new one in the place of it."""
    try:
        other.hardlink_to(path)
    except FileExistsError:
        raise
    except OSError:
        path.rename(other)


def _refuse_unsound(source: Record) -> None:
    faults = file_faults(source)
    faults += [f"{each.name}: {said}" for each in read_heads(source) for said in verify_chain(source, each.name)]
    if faults:
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        raise RecordError(f"{source.path}: this backup is not sound: {faults[0]}{more}; nothing was changed")


def _newer(record_file: Path, backup: Path, lost: list[Compared]) -> str:
    listed = [_loss(each) for each in lost[:NAMED]]
    more = [f"and {len(lost) - NAMED} more properties"] if len(lost) > NAMED else []
    return "\n".join(
        [
            f"{record_file} knows what {backup} does not; nothing was changed",
            *listed,
            *more,
            "to put the backup in its place all the same: --overwrite-newer (the record is kept under another name)",
        ]
    )


def _loss(each: Compared) -> str:
    if each.standing is Standing.ONLY_HERE:
        return f"  {each.name}: all {each.here} entries"
    apart = f", and the backup has {each.only_there} others" if each.standing is Standing.APART else ""
    return f"  {each.name}: {numbers(each.common + 1, each.here)}{apart}"


def _make_private(folder: Path) -> None:
    """Make the folder of backups, for its owner only where it is new."""
    if not folder.is_dir():
        make_folder(folder)
        folder.chmod(0o700)


def _same_file(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False

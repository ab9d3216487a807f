"""A finished file to its place: whole or not at all, and on the disk before anything counts on it."""

import os
from contextlib import suppress
from pathlib import Path


def replace_file(aside: Path, place: Path) -> None:
    """Move a finished file of the same disk to its place; what was there is replaced.

    Raises
    ------
    OSError
        If it cannot be moved; what was there is still there.
    """
    _sync_file(aside)
    aside.replace(place)
    sync_folder(place.parent)


def add_file(aside: Path, place: Path) -> None:
    """Move a finished file of the same disk to a place where none is.

    Raises
    ------
    FileExistsError
        If there is one already.
    """
    _sync_file(aside)
    try:
        os.link(aside, place)  # unlike a rename it never replaces
    except FileExistsError:
        raise
    except OSError:  # a medium without hard links, such as a memory stick
        if place.exists():
            raise FileExistsError(17, "there is a file of that name already", str(place)) from None
        aside.replace(place)
    aside.unlink(missing_ok=True)
    sync_folder(place.parent)


def sync_folder(folder: Path) -> None:
    """See to it that the names in a folder reach the disk, where the system lets one do that."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _sync_file(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())

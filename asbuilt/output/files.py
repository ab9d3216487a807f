"""Files that appear whole or not at all."""

import os
import secrets
import shutil
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from asbuilt.errors import AsbuiltError
from asbuilt.whole_files import replace_file, sync_folder

PRIVATE, PRIVATE_FOLDER = 0o600, 0o700
"""Rights of what only its owner may read, as the record itself."""


class OutputError(AsbuiltError, OSError):
    """An output file cannot be written where it was asked for."""


def refuse_existing(path: Path, *, overwrite: bool) -> None:
    """Refuse a place that cannot take a file, before any work is done for it.

    Raises
    ------
    OutputError
        If the file is there already and `overwrite` is not set, or a folder of that name is.
    """
    try:
        if path.is_dir():
            raise OutputError(f"{path}: a folder is there already; give the name of a file")
        if path.exists() and not overwrite:
            raise OutputError(f"{path}: the file is there already; --overwrite replaces it")
    except OutputError:
        raise
    except OSError as error:  # a name longer than the file system takes
        raise OutputError(f"{path}: cannot be written here: {error.strerror}") from error


def make_folder(folder: Path) -> None:
    """Make a folder and those above it.

    Raises
    ------
    OutputError
        If it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder}: the folder cannot be made: {error.strerror}") from error


def write_whole(path: Path, content: str | bytes, *, overwrite: bool = False, private: bool = False) -> None:
    """Write a file beside its place and move it there; text in UTF-8 with plain line ends.

    A file that is replaced keeps who may read it; a new one gets what the user's umask leaves.

    Parameters
    ----------
    private
        Nobody but its owner may read it, whatever was there before: it says who somebody is or how to reach them.

    Raises
    ------
    OutputError
        If the file is there already and `overwrite` is not set, or the folder cannot be written.
    """
    with opened_whole(path, overwrite=overwrite, private=private) as file:
        file.write(_bytes(content))


@contextmanager
def opened_whole(path: Path, *, overwrite: bool = False, private: bool = False) -> Iterator[IO[bytes]]:
    """Give a file to write into, which takes its place when the block ends, and none where the block fails.

    Parameters
    ----------
    private
        See `write_whole`.

    Raises
    ------
    OutputError
        If the file is there already and `overwrite` is not set, or the folder cannot be written.
    """
    refuse_existing(path, overwrite=overwrite)
    aside, handle = _new_file_beside(path, private=private)
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
        put_in_place(aside, path, private=private)
    except OSError as error:
        if isinstance(error, AsbuiltError):
            raise
        raise OutputError(f"{path}: not written: {error.strerror or error}") from error
    finally:
        with suppress(OSError):
            aside.unlink(missing_ok=True)


def write_all(contents: Mapping[Path, str | bytes], *, overwrite: bool = False, private: bool = False) -> None:
    """Write the files of one action: none takes its place before all of them are on the disk.

    What stops after that leaves each file whole, the old one or the new one.

    Parameters
    ----------
    private
        See `write_whole`.

    Raises
    ------
    OutputError
        If one of the files is there already and `overwrite` is not set, or one of the folders cannot be written.
    """
    for path in contents:
        refuse_existing(path, overwrite=overwrite)
    ready: dict[Path, Path] = {}
    path = Path()
    try:
        for path, content in contents.items():
            ready[path], handle = _new_file_beside(path, private=private)
            with os.fdopen(handle, "wb") as file:
                file.write(_bytes(content))
                file.flush()
                os.fsync(file.fileno())
        for path, aside in ready.items():
            put_in_place(aside, path, private=private)
    except OSError as error:
        if isinstance(error, AsbuiltError):
            raise
        raise OutputError(f"{path}: not written: {error.strerror or error}") from error
    finally:
        for aside in ready.values():
            with suppress(OSError):
                aside.unlink(missing_ok=True)


def write_folder(
    folder: Path, contents: Mapping[str, str | bytes], *, overwrite: bool = False, private: bool = False
) -> tuple[Path, ...]:
    """Write the files of one action into a folder; a new folder appears with all of them or not at all.

    Into a folder that is there already they are written as by `write_all`.

    Parameters
    ----------
    private
        See `write_whole`; nobody else may look into a new folder.

    Returns
    -------
    tuple of Path
        The files, in their order.

    Raises
    ------
    OutputError
        If one of the files is there already and `overwrite` is not set, or something cannot be written.
    """
    places = {folder / name: content for name, content in contents.items()}
    if folder.exists():
        write_all(places, overwrite=overwrite, private=private)
        return tuple(places)
    make_folder(folder.parent)
    aside = folder.parent / f".asbuilt.{secrets.token_hex(8)}"
    try:
        aside.mkdir(mode=PRIVATE_FOLDER if private else 0o777)
        write_all({aside / name: content for name, content in contents.items()}, private=private)
        aside.rename(folder)
        sync_folder(folder.parent)
    except OSError as error:
        if isinstance(error, AsbuiltError):
            raise OutputError(str(error).replace(str(aside), str(folder))) from error
        raise OutputError(f"{folder}: not written: {error.strerror or error}") from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return tuple(places)


def put_in_place(aside: Path, path: Path, *, private: bool = False) -> None:
    """Move a finished file of the same disk to its place, with the rights that it is to have there.

    Raises
    ------
    OSError
        If it cannot be moved; what was there is still there.
    """
    place = Path(os.path.realpath(path))  # a link stays a link
    with suppress(OSError):
        aside.chmod(PRIVATE if private else stat.S_IMODE(place.stat().st_mode))
    replace_file(aside, place)


def _bytes(content: str | bytes) -> bytes:
    return content if isinstance(content, bytes) else content.encode("utf-8")


def _new_file_beside(path: Path, *, private: bool) -> tuple[Path, int]:
    """Make an empty file in the folder of a place, with the rights of the one there or of any new file of the user."""
    place = Path(os.path.realpath(path))
    if not place.parent.is_dir():
        raise OutputError(f"{path}: there is no folder {path.parent}; make it first")
    aside = place.parent / f".asbuilt.{secrets.token_hex(8)}"  # the name itself may be of full length
    try:
        rights = stat.S_IMODE(place.stat().st_mode) & 0o666 if place.exists() else 0o666
        rights = PRIVATE if private else rights
        return aside, os.open(aside, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), rights)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written here: {error.strerror}") from error

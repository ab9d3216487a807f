"""Files that appear whole or not at all."""

import os
import tempfile
from pathlib import Path

from asbuilt.errors import AsbuiltError


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


def write_whole(path: Path, content: str | bytes, *, overwrite: bool = False) -> None:
    """Write a file beside its place and move it there; text in UTF-8 with plain line ends.

    Raises
    ------
    OutputError
        If the file is there already and `overwrite` is not set, or the folder cannot be written.
    """
    refuse_existing(path, overwrite=overwrite)
    if not path.parent.is_dir():
        raise OutputError(f"{path}: there is no folder {path.parent}; make it first")
    try:
        handle, aside = tempfile.mkstemp(dir=path.parent, prefix=".asbuilt.")  # the name itself may be of full length
    except OSError as error:
        raise OutputError(f"{path}: cannot be written here: {error.strerror}") from error
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content if isinstance(content, bytes) else content.encode("utf-8"))
        Path(aside).chmod(0o644)
        Path(aside).replace(path)
    except OSError as error:
        Path(aside).unlink(missing_ok=True)
        raise OutputError(f"{path}: not written: {error.strerror}") from error

"""Large files that appear whole or not at all: written aside, then moved to their place."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from asbuilt.output.files import OutputError, put_in_place, refuse_existing


@contextmanager
def set_aside(path: Path, *, overwrite: bool, private: bool = False) -> Iterator[Path]:
    """Give a place of the same name in a folder beside it; what is there at the end is moved to `path`.

    The name keeps its ending, which the libraries of some formats insist on.

    Parameters
    ----------
    private
        See `asbuilt.output.files.write_whole`.

    Raises
    ------
    OutputError
        If the file is there already and `overwrite` is not set, or the folder cannot be written.
    """
    refuse_existing(path, overwrite=overwrite)
    if not path.parent.is_dir():
        raise OutputError(f"{path}: there is no folder {path.parent}; make it first")
    try:
        folder = tempfile.TemporaryDirectory(dir=path.parent, prefix=".asbuilt.")
    except OSError as error:
        raise OutputError(f"{path}: cannot be written here: {error.strerror}") from error
    with folder:
        aside = Path(folder.name) / f"export{path.suffix}"
        try:
            yield aside
            put_in_place(aside, path, private=private)
        except OSError as error:
            if isinstance(error, OutputError):
                raise
            raise OutputError(f"{path}: not written: {error.strerror or error}") from error

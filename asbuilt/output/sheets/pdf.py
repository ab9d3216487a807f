"""Printed sheets: from plain data to PDF by a template. The one room of typst.

The record's words reach a template as data only (JSON in `sys.inputs`), never as source, so that they print as they
stand whatever they hold. Fonts come with the package and nothing else is used; nothing of the day or the machine gets
into the file, so that the same data gives the same bytes.
"""

import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from importlib.resources import as_file, files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from asbuilt.errors import AsbuiltError

PAPERS = ("us-letter", "a4")
"""What a sheet can be printed on."""

_ASSETS = files("asbuilt") / "output" / "assets"
_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ud800-\udfff]")
_LONG_WORD = re.compile(r"\S{25,}")
_JOINT = "\u200b"  # a place where a line may break, without width


class SheetPdfError(AsbuiltError):
    """A sheet that cannot be set."""


def render_pdf(
    template: str, data: Mapping[str, Any], paper: str, *, images: Mapping[str, bytes] | None = None
) -> bytes:
    """Set one sheet.

    Parameters
    ----------
    template
        Name of a template in `assets/typst`, without its ending.
    data
        Texts, numbers, booleans, None, and lists and tables of these; texts print literally.
    paper
        One of PAPERS.
    images
        Drawings (SVG of our own making) and photos by file name; a template shows one by
        `image("images/" + name)`.

    Raises
    ------
    SheetPdfError
        If the template cannot be set from the data: a fault of ours.
    """
    import typst

    if paper not in PAPERS:
        raise ValueError(f"paper {paper!r} is none of {', '.join(PAPERS)}")
    told = json.dumps({**_printable(data), "paper": paper}, ensure_ascii=True, allow_nan=False)
    with TemporaryDirectory(prefix="asbuilt-") as folder, as_file(_ASSETS / "fonts") as fonts:
        _lay_out(Path(folder), images or {})
        try:
            made = typst.compile(
                str(Path(folder) / f"{template}.typ"),
                root=folder,
                font_paths=[str(fonts)],
                ignore_system_fonts=True,
                format="pdf",
                sys_inputs={"data": told},
            )
        except typst.TypstError as error:
            raise SheetPdfError(f"the sheet {template} could not be set: {error}") from error
    if not isinstance(made, bytes):
        raise SheetPdfError(f"the sheet {template} gave no single file")
    return made


def _lay_out(folder: Path, images: Mapping[str, bytes]) -> None:
    """Put the templates and the images of one sheet into a folder that nobody else can read."""
    for each in (_ASSETS / "typst").iterdir():
        if each.name.endswith(".typ"):
            (folder / each.name).write_bytes(each.read_bytes())
    (folder / "images").mkdir()
    for name, content in images.items():
        (folder / "images" / name).write_bytes(content)


def shortened(text: str | None, limit: int) -> str:
    """Cut a text that would push the rest off the page; what is left out is in the record.

    Parameters
    ----------
    limit
        How many usual letters there is room for; wide ones count more.
    """
    words = " ".join((text or "").split())
    if sum(map(_letters, words)) <= limit:
        return words
    room, kept = limit - 1.0, 0
    while room >= _letters(words[kept]):
        room -= _letters(words[kept])
        kept += 1
    return words[:kept].rstrip() + "…"


def _letters(letter: str) -> float:
    """How many usual letters wide one is."""
    if unicodedata.east_asian_width(letter) in "WF" or letter in "WM@%":
        return 1.7
    return 1.2 if letter.isupper() else 1.0


def _printable(value: Any) -> Any:
    """Take out what no printer shows or what turns the reading order, and let long words break."""
    if isinstance(value, str):
        clean = _UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", value)
        return _LONG_WORD.sub(lambda match: _JOINT.join(match[0]), clean)
    if isinstance(value, Mapping):
        return {key: _printable(each) for key, each in value.items()}
    if isinstance(value, Sequence):
        return [_printable(each) for each in value]
    return value

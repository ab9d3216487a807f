"""How wide a text is when it is set in the packaged face, read from the advance widths of the font file itself.

Sizes and widths are in one unit, whichever: millimetres on a drawing. Pairs of letters that the face draws closer
together make a text a little narrower than what is told here, never wider.
"""

import struct
import unicodedata
from bisect import bisect_right
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

ASCENT, DESCENT = 0.93, 0.24
"""How far letters with accents reach above and below the base line, in sizes (DejaVu Sans: `hhea` of the file)."""

_FONTS = files("asbuilt") / "output" / "assets" / "fonts"
_WIDE, _USUAL = 1.05, 0.7  # what the face does not have: another face or an empty box is drawn


@dataclass(frozen=True, slots=True)
class _Face:
    units: int  #: font units in one size
    starts: tuple[int, ...]  #: first character of each stretch of neighbouring characters
    stretches: tuple[tuple[int, int], ...]  #: last character, its first glyph's number
    advances: tuple[int, ...]  #: of each glyph; the last one holds for all that follow

    def advance(self, letter: str) -> float | None:
        """Advance of one character in sizes; None where the face lacks it."""
        code = ord(letter)
        k = bisect_right(self.starts, code) - 1
        if k < 0 or code > self.stretches[k][0]:
            return None
        glyph = self.stretches[k][1] + code - self.starts[k]
        return self.advances[min(glyph, len(self.advances) - 1)] / self.units


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of one line of text.

    Examples
    --------
    >>> round(text_width("in", 2048), 0)  # 569 and 1298 font units of 2048
    1867.0
    """
    face = _face("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")
    return size * sum(_advance(face, letter) for letter in text)


def fit_text(text: str, size: float, width: float, *, bold: bool = False) -> str:
    """Cut one line of text so that it is no wider than `width`; an ellipsis shows that it was cut."""
    if text_width(text, size, bold=bold) <= width:
        return text
    kept, room = 0, width - text_width("…", size, bold=bold)
    while kept < len(text) and (room := room - text_width(text[kept], size, bold=bold)) >= 0:
        kept += 1
    return text[:kept].rstrip() + "…"


def _advance(face: _Face, letter: str) -> float:
    if unicodedata.combining(letter):
        return 0.0
    own = face.advance(letter)
    if own is not None:
        return own
    return _WIDE if unicodedata.east_asian_width(letter) in "WF" or ord(letter) > 0xFFFF else _USUAL


@cache
def _face(name: str) -> _Face:
    """Read `head`, `hhea`, `hmtx` and `cmap` of a TrueType file (OpenType specification, ISO/IEC 14496-22)."""
    data = (_FONTS / name).read_bytes()
    count = struct.unpack_from(">H", data, 4)[0]
    entries = (struct.unpack_from(">4sLLL", data, 12 + 16 * k) for k in range(count))
    tables = {tag: offset for tag, _, offset, _ in entries}
    units = struct.unpack_from(">H", data, tables[b"head"] + 18)[0]
    long_ones = struct.unpack_from(">H", data, tables[b"hhea"] + 34)[0]
    advances = struct.unpack_from(">" + "Hh" * long_ones, data, tables[b"hmtx"])[::2]
    stretches = _characters(data, tables[b"cmap"])
    return _Face(units, tuple(s[0] for s in stretches), tuple((s[1], s[2]) for s in stretches), advances)


def _characters(data: bytes, cmap: int) -> list[tuple[int, int, int]]:
    """Give the stretches of the full Unicode table, format 12: first and last character, number of the first glyph."""
    for k in range(struct.unpack_from(">H", data, cmap + 2)[0]):
        offset = cmap + struct.unpack_from(">L", data, cmap + 4 + 8 * k + 4)[0]
        if struct.unpack_from(">H", data, offset)[0] == 12:
            groups = struct.unpack_from(">L", data, offset + 12)[0]
            return sorted(struct.unpack_from(">LLL", data, offset + 16 + 12 * g) for g in range(groups))
    raise ValueError("the packaged font has no table of all its characters")  # a test reads both faces

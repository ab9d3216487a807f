"""The parts that a picture file is made of: how large it is, where it ends, and which parts are its own words.

JPEG: ITU-T T.81 annex B; PNG: the W3C recommendation, sections 5 and 11; WebP: RFC 9649, section 2 (all from memory).
"""

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

MOST_SCANS = 100
"""Scans in one JPEG: each may take as long to decode as the whole picture. Usual ones have up to ten."""

_SOF = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
_ALONE = {0x01, *range(0xD0, 0xD8)}
_PNG_START = 8
_PNG_WORDS = {b"eXIf", b"tEXt", b"zTXt", b"iTXt", b"tIME"}
_EXIF_FLAG, _XMP_FLAG = 0x08, 0x04


class PartsError(ValueError):
    """A picture whose parts do not follow one another as they should."""


@dataclass(frozen=True, slots=True)
class Shape:
    """What is known of a picture before it is unpacked."""

    width: int  #: pixels as they are stored
    height: int
    end: int  #: bytes up to its end; what follows is none of it
    animated: bool


def parts_of(content: bytes, form: str) -> Shape:
    """Walk through a picture's parts.

    Raises
    ------
    PartsError
        If it ends too early, or its parts do not follow one another.
    """
    try:
        return _SHAPES[form](content)
    except (struct.error, IndexError):
        raise PartsError("it ends too early") from None


def without_words(content: bytes, form: str, exif: bytes) -> bytes:
    """Take out every part that is words and not picture, and put in fresh Exif data.

    Parameters
    ----------
    content
        A picture up to its end.
    exif
        A TIFF block; empty = none.
    """
    return _WITHOUT[form](content, exif)


# JPEG


def _segments(content: bytes) -> Iterator[tuple[int, int, int]]:
    """Give marker, begin and end of each segment; that of a scan reaches over its data."""
    place = 2
    while True:
        begin = place
        if content[place] != 0xFF:
            raise PartsError("a part of it does not begin where it should")
        while content[place] == 0xFF:
            place += 1
        marker = content[place]
        place += 1
        if marker not in _ALONE and marker != 0xD9:
            (length,) = struct.unpack_from(">H", content, place)
            if length < 2 or place + length > len(content):
                raise PartsError("it ends too early")
            place += length
        if marker == 0xDA:
            place = _end_of_scan(content, place)
        yield marker, begin, place
        if marker == 0xD9:
            return


def _end_of_scan(content: bytes, place: int) -> int:
    while True:
        place = content.find(b"\xff", place)
        if place < 0 or place + 1 >= len(content):
            raise PartsError("it ends too early")
        after = content[place + 1]
        if after == 0xFF:
            place += 1
        elif after == 0 or after in _ALONE:
            place += 2
        else:
            return place


def _jpeg(content: bytes) -> Shape:
    size, scans, last = None, 0, 0
    for marker, begin, end in _segments(content):
        last = end
        if marker in _SOF:
            start = content.index(marker, begin)
            height, width = struct.unpack_from(">HH", content, start + 4)
            if size is not None and size != (width, height):
                raise PartsError("it names two sizes")
            size = width, height
        scans += marker == 0xDA
        if scans > MOST_SCANS:
            raise PartsError(f"it has more than {MOST_SCANS} scans")
    if size is None or not scans or 0 in size:
        raise PartsError("there is no picture in it")
    return Shape(*size, last, animated=False)


def _jpeg_without(content: bytes, exif: bytes) -> bytes:
    kept = [content[:2]]
    words = [b"\xff\xe1" + struct.pack(">H", len(exif) + 8) + b"Exif\0\0" + exif] if exif else []
    for marker, begin, end in _segments(content):
        part = content[begin:end]
        body = part[part.index(marker) + 3 :]
        is_words = marker == 0xFE or 0xE0 <= marker <= 0xEF
        needed = (marker == 0xE0 and body.startswith(b"JFIF\0")) or (marker == 0xEE and body.startswith(b"Adobe"))
        needed = needed or (marker == 0xE2 and body.startswith(b"ICC_PROFILE\0"))  # colours are right by it
        if words and marker != 0xE0:
            kept.append(words.pop())
        if not is_words or needed:
            kept.append(part)
    return b"".join(kept)


# PNG


def _chunks(content: bytes) -> Iterator[tuple[bytes, int, int]]:
    """Give name, begin and end of each chunk."""
    place = _PNG_START
    while True:
        length, name = struct.unpack_from(">I4s", content, place)
        end = place + 12 + length
        if end > len(content):
            raise PartsError("it ends too early")
        if zlib.crc32(content[place + 4 : end - 4]) != struct.unpack_from(">I", content, end - 4)[0]:
            raise PartsError("a check sum in it is wrong")
        yield name, place, end
        if name == b"IEND":
            return
        place = end


def _png(content: bytes) -> Shape:
    names, last = set[bytes](), 0
    for name, _, end in _chunks(content):
        last = end
        if not names and name != b"IHDR":
            raise PartsError("it does not begin as it should")
        names.add(name)
    width, height = struct.unpack_from(">II", content, _PNG_START + 8)
    if b"IDAT" not in names or not width or not height:
        raise PartsError("there is no picture in it")
    return Shape(width, height, last, animated=b"acTL" in names)


def _png_without(content: bytes, exif: bytes) -> bytes:
    kept = [content[:_PNG_START]]
    for name, begin, end in _chunks(content):
        if name not in _PNG_WORDS and (name[0] < 0x60 or name in _PNG_NEEDED):
            kept.append(content[begin:end])
        if name == b"IHDR" and exif:
            kept.append(struct.pack(">I", len(exif)) + (body := b"eXIf" + exif) + struct.pack(">I", zlib.crc32(body)))
    return b"".join(kept)


_PNG_NEEDED = {b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"bKGD", b"pHYs"}
"""Chunks that say how pixels look; of the other ones that a viewer may skip nobody knows what they hold."""


# WebP


def _webp_chunks(content: bytes) -> Iterator[tuple[bytes, int, int]]:
    (size,) = struct.unpack_from("<I", content, 4)
    if size + 8 > len(content) or size < 12:
        raise PartsError("it ends too early")
    place = 12
    while place < size + 8:
        name, length = struct.unpack_from("<4sI", content, place)
        end = place + 8 + length + length % 2
        if end > size + 8:
            raise PartsError("a part of it does not end where it should")
        yield name, place, end
        place = end


def _webp(content: bytes) -> Shape:
    size, names = None, set[bytes]()
    for name, begin, _ in _webp_chunks(content):
        if not names:
            size = _webp_size(name, content, begin + 8)
        elif name in (b"VP8 ", b"VP8L") and _webp_size(name, content, begin + 8) != size:
            raise PartsError("it names two sizes")
        names.add(name)
    if size is None or 0 in size or not names & {b"VP8 ", b"VP8L", b"ANMF"}:
        raise PartsError("there is no picture in it")
    return Shape(*size, struct.unpack_from("<I", content, 4)[0] + 8, animated=bool(names & {b"ANIM", b"ANMF"}))


def _webp_size(name: bytes, content: bytes, place: int) -> tuple[int, int] | None:
    if name == b"VP8X":
        width, height = (int.from_bytes(content[place + at : place + at + 3], "little") + 1 for at in (4, 7))
        return width, height
    if name == b"VP8L":
        bits = struct.unpack_from("<I", content, place + 1)[0]
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    if name == b"VP8 ":
        width, height = struct.unpack_from("<HH", content, place + 6)
        return width & 0x3FFF, height & 0x3FFF
    return None


def _webp_without(content: bytes, exif: bytes) -> bytes:
    kept = []
    for name, begin, end in _webp_chunks(content):
        if name == b"VP8X":
            flags = content[begin + 8] & ~(_EXIF_FLAG | _XMP_FLAG) | (_EXIF_FLAG if exif else 0)
            kept.append(content[begin : begin + 8] + bytes([flags]) + content[begin + 9 : end])
        elif name in (b"VP8 ", b"VP8L", b"ALPH", b"ICCP"):
            kept.append(content[begin:end])
    if exif:
        kept.append(b"EXIF" + struct.pack("<I", len(exif)) + exif + b"\0" * (len(exif) % 2))
    body = b"WEBP" + b"".join(kept)
    return b"RIFF" + struct.pack("<I", len(body)) + body


_SHAPES = {"jpeg": _jpeg, "png": _png, "webp": _webp}
_WITHOUT = {"jpeg": _jpeg_without, "png": _png_without, "webp": _webp_without}

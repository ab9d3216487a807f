"""Small pictures made for tests, with what cameras write into them, and files that only pretend to be pictures."""

import struct
import zlib
from io import BytesIO

from PIL import Image

PLACE = (42.52841, -118.45502)


def exif(
    taken: str | None = None, place: tuple[float, float] | None = None, orientation: int = 1, artist: str | None = None
) -> Image.Exif:
    """Write what a camera writes."""
    own = Image.Exif()
    own[0x0112] = orientation
    if artist is not None:
        own[0x013B] = artist
    if taken is not None:
        own.get_ifd(0x8769)[0x9003] = taken
    if place is not None:
        latitude, longitude = place
        own.get_ifd(0x8825).update(
            {
                1: "N" if latitude >= 0 else "S",
                2: (abs(latitude), 0, 0),
                3: "E" if longitude >= 0 else "W",
                4: (abs(longitude), 0, 0),
            }
        )
    return own


def picture(form: str = "JPEG", size: tuple[int, int] = (60, 40), **words: object) -> bytes:
    """Make a picture whose top left quarter is red, the rest blue."""
    image = Image.new("RGB", size, (20, 40, 200))
    image.paste((220, 30, 20), (0, 0, size[0] // 2, size[1] // 2))
    out = BytesIO()
    image.save(out, form, **words)
    return out.getvalue()


def animated(form: str) -> bytes:
    """Make an animation of two pictures."""
    frames = [Image.new("RGB", (30, 20), colour) for colour in ("red", "green")]
    out = BytesIO()
    frames[0].save(out, form, save_all=True, append_images=frames[1:], duration=100)
    return out.getvalue()


def png_bomb(side: int = 60_000) -> bytes:
    """Make a PNG of a few bytes that says it has billions of pixels."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )

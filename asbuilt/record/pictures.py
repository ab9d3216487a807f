"""A picture as bytes: what it is, whether all of it can be read, its time and place, and the same without its place.

Nothing that a picture says of itself is believed: its kind is told from its bytes, its size is looked at before
anything is unpacked, and all of it is decoded once before it is kept.
"""

import hashlib
import math
import re
import warnings
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from asbuilt.errors import AsbuiltError
from asbuilt.record.picture_parts import PartsError, Shape, parts_of, without_words

if TYPE_CHECKING:  # pillow is imported where a picture is looked at
    from PIL.Image import Image

BIGGEST_BYTES = 30_000_000
"""Bytes in one picture; a phone's largest is about half of it."""

MOST_PIXELS = 80_000_000
"""Pixels in one picture: unpacked it takes four bytes each, 320 MB. Phones give 12 to 50 million."""

SUFFIXES = {".jpg": "jpeg", ".jpeg": "jpeg", ".png": "png", ".webp": "webp"}
"""Endings of the names of pictures that are taken in, and the form that each stands for."""

ENDINGS = {"jpeg": ".jpg", "png": ".png", "webp": ".webp"}
"""The ending under which each form is kept."""

ACCEPTED = "accepted: JPEG, PNG or WebP, not animated"

_SAVE_AS_JPEG = "save it as JPEG (a phone's camera settings have it as `most compatible`) and give that file"
_KINDS: tuple[tuple[str, re.Pattern[bytes]], ...] = (
    ("jpeg", re.compile(rb"\xff\xd8\xff")),
    ("png", re.compile(rb"\x89PNG\r\n\x1a\n")),
    ("webp", re.compile(rb"RIFF....WEBP", re.DOTALL)),
    ("HEIC", re.compile(rb"....ftyp(hei|hev|mif1|msf1|avi[fs])", re.DOTALL)),
    ("a film", re.compile(rb"....ftyp", re.DOTALL)),
    ("a GIF", re.compile(rb"GIF8")),
    ("a TIFF", re.compile(rb"II\*\0|MM\0\*")),
    ("a BMP", re.compile(rb"BM....\0\0\0\0", re.DOTALL)),
    ("a PDF", re.compile(rb"%PDF")),
    ("an archive", re.compile(rb"PK\x03\x04|\x1f\x8b|7z|Rar!")),
    ("text", re.compile(rb"(\xef\xbb\xbf)?\s*<")),
)
_CLOCK = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)", re.ASCII)
_ORIENTATION, _EXIF, _GPS, _TAKEN = 0x0112, 0x8769, 0x8825, 0x9003  # Exif 2.32 tags, from memory


class PictureError(AsbuiltError, ValueError):
    """A file that is not taken in as a picture.

    Parameters
    ----------
    name
        The file.
    reason
        What is wrong with it.
    accepted
        What would be accepted.
    """

    def __init__(self, name: str, reason: str, accepted: str) -> None:
        self.name = name
        self.reason = reason
        self.accepted = accepted
        super().__init__(f"{name}: {reason}; {accepted}")


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture as it is kept."""

    content: bytes
    form: str  #: jpeg, png or webp
    width: int  #: pixels, the right way up
    height: int
    taken_at: str | None  #: local time by its own data: 2026-05-02 10:31:07
    latitude: float | None  #: degrees WGS 84 by its own data
    longitude: float | None

    @property
    def sha256(self) -> str:
        """Give the hash that it is known by."""
        return hashlib.sha256(self.content).hexdigest()


def look_at(content: bytes, name: str, *, remove_gps: bool = False) -> Picture:
    """Check a picture, read its time and place, and give it as it is to be kept.

    What stands behind the end of the picture (a second picture, a film, an archive) is cut off; else the bytes stay
    as they are. With `remove_gps` everything that the picture says of itself is taken out but its orientation and
    its time; its pixels are not touched.

    Parameters
    ----------
    content
        Its bytes.
    name
        Name of its file, whose ending must say what it is.

    Raises
    ------
    PictureError
        If it is of another kind than its name says or than is accepted, too large, animated or damaged.
    """
    form = _form(content, name)
    try:
        shape = parts_of(content, form)
    except PartsError as error:
        raise PictureError(name, f"the picture is damaged ({error})", "save it again, or give another one") from None
    _check_shape(shape, name)
    kept = content[: shape.end]
    image = _decoded(kept, form, name)
    orientation, taken_at, place = _own_words(image)
    if remove_gps:
        kept, place = without_words(kept, form, _fresh_exif(orientation, taken_at)), None
    width, height = (shape.height, shape.width) if orientation >= 5 else (shape.width, shape.height)
    latitude, longitude = place or (None, None)
    return Picture(kept, form, width, height, taken_at, latitude, longitude)


def kept_bytes(content: bytes, form: str, *, remove_gps: bool) -> bytes:
    """Give the bytes that `look_at` keeps of a picture that it has taken, without decoding it again."""
    kept = content[: parts_of(content, form).end]
    return bare(kept, form) if remove_gps else kept


def bare(content: bytes, form: str) -> bytes:
    """Take out everything that a picture says of itself but its orientation and its time; pixels stay as they are."""
    orientation, taken_at, _ = _own_words(_opened(content, form))
    return without_words(content, form, _fresh_exif(orientation, taken_at))


def small_jpeg(content: bytes, form: str, longest_px: int) -> bytes:
    """Make a small JPEG of a picture, the right way up, with nothing in it but pixels.

    Parameters
    ----------
    longest_px
        Pixels of its longer side at most; a smaller picture stays as large as it is.
    """
    from PIL import Image, ImageOps

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image = _opened(content, form)
        image.draft("RGB", (longest_px, longest_px))
        image = image if image.mode in ("RGB", "L", "CMYK") else _on_white(image)  # a palette does not blend
        image.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS)
        upright = _on_white(ImageOps.exif_transpose(image))
        upright.info = {}  # a comment of the original would be written again
        out = BytesIO()
        upright.save(out, "JPEG", quality=80, optimize=True)
    return out.getvalue()


def _on_white(image: "Image") -> "Image":
    """Give a picture in plain colours; what is transparent becomes white, as on paper."""
    from PIL import Image

    if image.mode in ("RGB", "L"):
        return image
    if image.mode.startswith("I"):  # sixteen bits a pixel
        return image.point(lambda value: value / 256).convert("L")
    with_alpha = image.convert("RGBA")
    paper = Image.new("RGB", image.size, "white")
    paper.paste(with_alpha, mask=with_alpha.getchannel("A"))
    return paper


def _form(content: bytes, name: str) -> str:
    """Tell the form of a picture, or refuse it: by its bytes, which its name must agree with."""
    if len(content) > BIGGEST_BYTES:
        reason = f"has {len(content):,} bytes"
        raise PictureError(name, reason, f"accepted: at most {BIGGEST_BYTES:,}; save it smaller")
    suffix = PurePath(name).suffix.lower()
    kind = next((kind for kind, pattern in _KINDS if pattern.match(content)), None)
    if kind == "HEIC" or (kind is None and suffix in (".heic", ".heif", ".avif")):
        raise PictureError(name, "is HEIC or AVIF, which many programs cannot show", _SAVE_AS_JPEG)
    if kind not in ENDINGS:
        reason = "is empty" if not content else "is no picture" if kind is None else f"is {kind}"
        raise PictureError(name, reason, ACCEPTED)
    if SUFFIXES.get(suffix) != kind:
        right = f"{PurePath(name).stem}{ENDINGS[kind]}"
        raise PictureError(name, f"is a {_TITLES[kind]} by its bytes and not by its name", f"name it {right}")
    return kind


_TITLES = {"jpeg": "JPEG", "png": "PNG", "webp": "WebP"}


def _check_shape(shape: Shape, name: str) -> None:
    pixels = shape.width * shape.height
    if pixels > MOST_PIXELS:
        reason = f"has {shape.width:,} x {shape.height:,} pixels"
        raise PictureError(name, reason, f"accepted: at most {MOST_PIXELS // 1_000_000} million; save it smaller")
    if shape.animated:
        raise PictureError(name, "is animated", ACCEPTED)


def _opened(content: bytes, form: str) -> "Image":
    from PIL import Image

    return Image.open(BytesIO(content), formats=[form.upper()])


def _decoded(content: bytes, form: str, name: str) -> "Image":
    """Decode all of a picture."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = _opened(content, form)
            image.load()
    except Exception as error:  # whatever a broken picture brings out of its decoder
        reason = f"the picture is damaged ({type(error).__name__})"
        raise PictureError(name, reason, "save it again, or give another one") from error
    return image


def _own_words(image: "Image") -> tuple[int, str | None, tuple[float, float] | None]:
    """Read orientation, time and place; a picture whose own data are damaged has none."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            exif = image.getexif()
            orientation, inner, gps = exif.get(_ORIENTATION, 1), exif.get_ifd(_EXIF), exif.get_ifd(_GPS)
            return _orientation(orientation), _clock(inner.get(_TAKEN)), _place(gps)
    except Exception:
        return 1, None, None


def _orientation(said: Any) -> int:
    return said if isinstance(said, int) and 1 <= said <= 8 else 1


def _clock(said: Any) -> str | None:
    """Read the moment of a camera's clock; None where it is no moment of the calendar."""
    match = _CLOCK.fullmatch(said.strip("\0 ")) if isinstance(said, str) else None
    if match is None:
        return None
    try:
        return datetime.fromisoformat(f"{match[1]}-{match[2]}-{match[3]} {match[4]}").isoformat(" ")
    except ValueError:
        return None


def _place(gps: Any) -> tuple[float, float] | None:
    """Read latitude and longitude; 0, 0 is what a camera writes that does not know."""
    latitude, longitude = _degrees(gps.get(2), gps.get(1), "NS"), _degrees(gps.get(4), gps.get(3), "EW")
    if latitude is None or longitude is None or latitude == longitude == 0:
        return None
    inside = abs(latitude) <= 90 and abs(longitude) <= 180
    return (round(latitude, 7), round(longitude, 7)) if inside else None


def _degrees(parts: Any, letter: Any, letters: str) -> float | None:
    if not isinstance(parts, tuple) or len(parts) != 3 or letter not in tuple(letters):
        return None
    degrees: float = sum(float(part) / 60.0**place for place, part in enumerate(parts))
    if not math.isfinite(degrees):
        return None
    return -degrees if letter == letters[1] else degrees


def _fresh_exif(orientation: int, taken_at: str | None) -> bytes:
    """Write orientation and time as new Exif data; empty where there is nothing to say."""
    from PIL import Image

    if orientation == 1 and taken_at is None:
        return b""
    exif = Image.Exif()
    if orientation != 1:
        exif[_ORIENTATION] = orientation
    if taken_at is not None:
        exif.get_ifd(_EXIF)[_TAKEN] = taken_at.replace("-", ":")
    return exif.tobytes().removeprefix(b"Exif\0\0")

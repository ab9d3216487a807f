"""Pictures: what is taken in and what is refused, what they say of themselves, and the same without it."""

from io import BytesIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from asbuilt.record import picture_parts, pictures
from asbuilt.record.pictures import PictureError, bare, kept_bytes, look_at, small_jpeg
from tests.picture_samples import PLACE, animated, exif, picture, png_bomb

FORMS = [("JPEG", "a.jpg"), ("PNG", "a.png"), ("WEBP", "a.webp")]


def refusal(content: bytes, name: str) -> str:
    with pytest.raises(PictureError) as caught:
        look_at(content, name)
    return str(caught.value)


def pixels(content: bytes) -> bytes:
    return Image.open(BytesIO(content)).convert("RGB").tobytes()


@pytest.mark.parametrize(("form", "name"), FORMS)
def test_time_place_and_size_are_read_and_the_bytes_stay(form: str, name: str) -> None:
    content = picture(form, exif=exif("2026:05:02 10:31:07", PLACE))
    found = look_at(content, name)
    assert found.content == content
    assert (found.width, found.height, found.taken_at) == (60, 40, "2026-05-02 10:31:07")
    assert (found.latitude, found.longitude) == pytest.approx(PLACE, abs=1e-6)


def test_degrees_minutes_and_seconds_are_added_up() -> None:
    own = exif()
    own.get_ifd(0x8825).update({1: "S", 2: (33, 51, 31.32), 3: "E", 4: (151, 12, 50.76)})
    found = look_at(picture(exif=own), "a.jpg")
    assert (found.latitude, found.longitude) == (
        -33.8587,
        151.2141,
    )  # 33 + 51/60 + 31.32/3600, 151 + 12/60 + 50.76/3600


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(("form", "name"), FORMS)
def test_a_turned_picture_is_right_side_up_in_its_thumbnail(form: str, name: str, orientation: int) -> None:
    """Independent: Exif 2.32 says in which corner the stored first row and column lie; red is stored at the first."""
    words = {"lossless": True} if form == "WEBP" else {"quality": 95} if form == "JPEG" else {}
    content = picture(form, exif=exif(orientation=orientation), **words)
    found = look_at(content, name)
    assert (found.width, found.height) == ((40, 60) if orientation >= 5 else (60, 40))
    corner = {1: "tl", 2: "tr", 3: "br", 4: "bl", 5: "tl", 6: "tr", 7: "br", 8: "bl"}[orientation]
    for made in (content, bare(content, found.form)):
        small = Image.open(BytesIO(small_jpeg(made, found.form, 30)))
        assert max(small.size) == 30
        assert (small.width > small.height) == (orientation < 5)
        w, h = small.size
        at = {"tl": (4, 4), "tr": (w - 5, 4), "bl": (4, h - 5), "br": (w - 5, h - 5)}
        red = {key for key, xy in at.items() if small.convert("RGB").getpixel(xy)[0] > 128}  # type: ignore[index]
        assert red == {corner}


@pytest.mark.parametrize(("form", "name"), FORMS)
def test_what_a_picture_says_of_itself_is_taken_out_and_its_pixels_stay(form: str, name: str) -> None:
    words = {"exif": exif("2026:05:02 10:31:07", PLACE, 6, artist="MARKERARTIST")}
    words |= {"JPEG": {"comment": b"MARKERCOMMENT", "xmp": b"<x>MARKERXMP</x>"}, "WEBP": {"xmp": b"MARKERXMP"}}.get(
        form, {}
    )
    content = picture(form, **words)
    assert b"MARKER" in content
    found = look_at(content, name, remove_gps=True)
    assert (found.latitude, found.longitude, found.taken_at) == (None, None, "2026-05-02 10:31:07")
    assert b"MARKER" not in found.content
    kept = Image.open(BytesIO(found.content)).getexif()
    assert not kept.get_ifd(0x8825)
    assert kept[0x0112] == 6
    assert pixels(found.content) == pixels(content)
    # taken once more nothing changes, so that sheets written back read the same
    assert look_at(found.content, name, remove_gps=True) == found
    assert kept_bytes(content, found.form, remove_gps=True) == found.content


@pytest.mark.parametrize(("form", "name"), FORMS)
def test_what_hangs_behind_the_end_of_a_picture_is_not_kept(form: str, name: str) -> None:
    content = picture(form)
    assert look_at(content + b"PK\x03\x04 a whole archive", name).content == content


def test_a_thumbnail_carries_nothing_but_pixels() -> None:
    content = picture(exif=exif("2026:05:02 10:31:07", PLACE, artist="MARKER"), comment=b"MARKER")
    small = small_jpeg(content, "jpeg", 20)
    assert b"MARKER" not in small
    assert b"Exif" not in small
    assert dict(Image.open(BytesIO(small)).getexif()) == {}


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P", "1", "L", "CMYK", "I;16"])
def test_every_kind_of_pixel_becomes_a_thumbnail(mode: str) -> None:
    out = BytesIO()
    Image.new("L", (50, 30), 90).convert(mode).save(out, "JPEG" if mode == "CMYK" else "PNG")
    form = "jpeg" if mode == "CMYK" else "png"
    small = Image.open(BytesIO(small_jpeg(out.getvalue(), form, 25)))
    assert small.size == (25, 15)


REFUSED = [
    ("an empty file", b"", "a.jpg", "a.jpg: is empty; accepted: JPEG, PNG or WebP, not animated"),
    ("text", b"<html><script>alert(1)</script>", "a.jpg", "a.jpg: is text; accepted: JPEG, PNG or WebP, not animated"),
    ("noise", b"\1\2\3\4" * 20, "a.png", "a.png: is no picture; accepted: JPEG, PNG or WebP, not animated"),
    ("an archive", b"PK\x03\x04....", "a.jpg", "a.jpg: is an archive; accepted: JPEG, PNG or WebP, not animated"),
    ("a GIF", animated("GIF"), "a.gif", "a.gif: is a GIF; accepted: JPEG, PNG or WebP, not animated"),
    (
        "a PNG under the name of a JPEG",
        picture("PNG"),
        "lid.jpg",
        "lid.jpg: is a PNG by its bytes and not by its name; name it lid.png",
    ),
    ("without an ending", picture(), "lid", "lid: is a JPEG by its bytes and not by its name; name it lid.jpg"),
    (
        "HEIC",
        b"\0\0\0\x24ftypheic\0\0\0\0mif1heic",
        "IMG_1.HEIC",
        "IMG_1.HEIC: is HEIC or AVIF, which many programs cannot show; save it as JPEG (a phone's camera settings "
        "have it as `most compatible`) and give that file",
    ),
    ("an animated PNG", animated("PNG"), "a.png", "a.png: is animated; accepted: JPEG, PNG or WebP, not animated"),
    ("an animated WebP", animated("WEBP"), "a.webp", "a.webp: is animated; accepted: JPEG, PNG or WebP, not animated"),
    (
        "a bomb",
        png_bomb(),
        "a.png",
        "a.png: has 60,000 x 60,000 pixels; accepted: at most 80 million; save it smaller",
    ),
    (
        "a picture that says it has more pixels than bytes for them",
        png_bomb(500),
        "a.png",
        "a.png: the picture is damaged (OSError); save it again, or give another one",
    ),
]


@pytest.mark.parametrize(("content", "name", "line"), [pytest.param(*each[1:], id=each[0]) for each in REFUSED])
def test_what_is_refused_is_said_in_one_line(content: bytes, name: str, line: str) -> None:
    assert refusal(content, name) == line


def test_a_file_that_is_too_large_is_refused_before_it_is_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "BIGGEST_BYTES", 100)
    assert refusal(picture(), "a.jpg").endswith("accepted: at most 100; save it smaller")


def test_a_jpeg_of_endless_scans_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(picture_parts, "MOST_SCANS", 2)
    content = picture(progressive=True)
    assert refusal(content, "a.jpg") == (
        "a.jpg: the picture is damaged (it has more than 2 scans); save it again, or give another one"
    )


@pytest.mark.parametrize(("form", "name"), FORMS)
def test_a_picture_that_is_cut_short_is_refused_wherever_it_is_cut(form: str, name: str) -> None:
    content = picture(form, exif=exif("2026:05:02 10:31:07"))
    for end in range(12, len(content) - 1, 7):
        with pytest.raises(PictureError):
            look_at(content[:end], name)


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(FORMS), st.lists(st.tuples(st.integers(0, 5000), st.integers(0, 255)), min_size=1, max_size=8))
def test_a_picture_with_wrong_bytes_is_taken_whole_or_refused(
    of: tuple[str, str], wrong: list[tuple[int, int]]
) -> None:
    form, name = of
    content = bytearray(picture(form, exif=exif("2026:05:02 10:31:07", PLACE, 6)))
    for place, value in wrong:
        content[place % len(content)] = value
    try:
        found = look_at(bytes(content), name, remove_gps=True)
    except PictureError:
        return
    assert look_at(found.content, name, remove_gps=True).content == found.content
    assert found.latitude is None


@pytest.mark.parametrize("said", ["2026:13:02 10:31:07", "soon", "0000:00:00 00:00:00", "2026:05:02 10:31", "\0"])
def test_a_time_that_cannot_be_is_none(said: str) -> None:
    assert look_at(picture(exif=exif(said)), "a.jpg").taken_at is None


@pytest.mark.parametrize("place", [(0.0, 0.0), (91.0, 10.0), (10.0, 181.0)])
def test_a_place_that_cannot_be_is_none(place: tuple[float, float]) -> None:
    assert look_at(picture(exif=exif(place=place)), "a.jpg").latitude is None

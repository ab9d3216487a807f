"""Draws the photos of the sample property: invented sketches, each marked as one.

Run by hand, `python -m tests.draw_sketches`; what it drew lies in sample_property/photos.
"""

from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from tests.commands import SAMPLE

GRASS, EARTH, LID, DARK, WHITE = "#7d9c5f", "#8b6f4e", "#3f6b4f", "#22301f", "#ffffff"
SIZE = (640, 480)


def sketch(words: str) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    """Begin a picture: grass, an open hole, and the line that says what it is."""
    image = Image.new("RGB", SIZE, GRASS)
    pen = ImageDraw.Draw(image)
    pen.rectangle((60, 60, 580, 400), fill=EARTH, outline=DARK, width=4)
    pen.rectangle((0, 430, 640, 480), fill=WHITE)
    pen.text((12, 440), f"INVENTED SKETCH, not a photo: {words}", fill=DARK, font=ImageFont.load_default(20))
    return image, pen


def lid(words: str, handle: bool) -> Image.Image:
    """Draw a round lid with six screws."""
    image, pen = sketch(words)
    pen.ellipse((200, 100, 440, 340), fill=LID, outline=DARK, width=6)
    for x, y in ((320, 118), (416, 174), (416, 266), (320, 322), (224, 266), (224, 174)):
        pen.ellipse((x - 6, y - 6, x + 6, y + 6), fill=WHITE, outline=DARK)
    if handle:
        pen.rectangle((280, 210, 360, 230), fill=DARK)
    return image


def cleanout() -> Image.Image:
    """Draw a pipe with a square plug, seen from above."""
    image, pen = sketch("cleanout cap")
    pen.ellipse((250, 150, 390, 290), fill=WHITE, outline=DARK, width=6)
    pen.rectangle((300, 200, 340, 240), fill="#b08d3c", outline=DARK, width=3)
    return image


def panel() -> Image.Image:
    """Draw a box on a wall with a light."""
    image, pen = sketch("control panel on the siding")
    pen.rectangle((60, 60, 580, 400), fill="#c9c2b4", outline=DARK, width=4)
    for y in range(90, 400, 30):
        pen.line((60, y, 580, y), fill="#a59d8d", width=2)
    pen.rectangle((240, 120, 400, 340), fill="#9aa3a8", outline=DARK, width=5)
    pen.ellipse((300, 80, 340, 120), fill="#b5352a", outline=DARK, width=3)
    pen.rectangle((310, 340, 330, 400), fill="#7b858b", outline=DARK, width=3)
    return image


def field() -> Image.Image:
    """Draw four pipes in their trenches from above: a box at the end of each, two ports between."""
    image, pen = sketch("the open field")
    for y in (110, 190, 270, 350):
        pen.line((110, y, 540, y), fill=WHITE, width=8)
        pen.ellipse((84, y - 22, 128, y + 22), fill=LID, outline=DARK, width=4)
    for x, y in ((330, 190), (250, 350)):
        pen.ellipse((x - 16, y - 16, x + 16, y + 16), fill=WHITE, outline=DARK, width=4)
    return image


def own_words(taken: str, place: tuple[float, float] | None = None, orientation: int = 1) -> Image.Exif:
    """Write what a camera writes: time, orientation, and a place of the invented property."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif.get_ifd(0x8769)[0x9003] = taken
    if place is not None:
        latitude, longitude = place
        gps = {1: "N", 2: (latitude, 0, 0), 3: "W", 4: (-longitude, 0, 0)}
        exif.get_ifd(0x8825).update(gps)
    return exif


def small(image: Image.Image) -> Image.Image:
    """Make a picture as small as it may be and still be read."""
    return image.resize((480, 360), Image.Resampling.LANCZOS)


def main(folder: Path) -> None:
    """Draw all of them."""
    place = (42.52841, -118.45502)
    small(lid("inlet lid of the septic tank", handle=True)).save(
        folder / "inlet-lid.jpg", quality=50, exif=own_words("2017:06:14 10:31:07", place)
    )
    turned = small(lid("lid of the pump tank", handle=False)).transpose(Image.Transpose.ROTATE_90)
    turned.save(folder / "pump-lid.jpg", quality=50, exif=own_words("2017:06:14 11:02:40", orientation=6))
    small(cleanout()).save(folder / "cleanout.jpg", quality=50, exif=own_words("2017:06:14 09:12:55"))
    small(lid("outlet lid of the septic tank", handle=True)).save(
        folder / "outlet-lid.jpg", quality=50, exif=own_words("2017:06:14 10:35:20")
    )
    field().quantize(16).save(folder / "field.png", optimize=True)
    panel().quantize(16).save(folder / "panel.png", optimize=True)


if __name__ == "__main__":
    main(SAMPLE / "photos")

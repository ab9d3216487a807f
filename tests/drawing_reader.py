"""Read a drawing back: texts and marks from the SVG, ink from the printed page. Knows nothing of how it was drawn."""

import io
import subprocess
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import pairwise
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFont
from scipy.signal import fftconvolve

SVG = "{http://www.w3.org/2000/svg}"
DPI = 200
MM = 25.4 / DPI  # of one pixel

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Said:
    """One text of the drawing with the box that FreeType gives it, millimetres."""

    words: str
    box: Box
    label: bool  #: on the plan


def read_svg(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314  # our own drawing


@cache
def _face(bold: bool) -> ImageFont.FreeTypeFont:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(files("asbuilt") / "output" / "assets" / "fonts" / name), 1000)


def texts(svg: str) -> list[Said]:
    """Give every text with its box: its width by FreeType, its height by the face's ascent and descent."""
    found = []
    for each in read_svg(svg).iter(f"{SVG}text"):
        size, x, y = (float(each.attrib[key]) for key in ("font-size", "x", "y"))
        face = _face(each.get("font-weight") == "bold")
        ascent, descent = face.getmetrics()
        words = each.text or ""
        width = face.getlength(words) * size / 1000
        box = (x, y - ascent * size / 1000, x + width, y + descent * size / 1000)
        found.append(Said(words, box, each.get("class") == "label"))
    return found


def overlapping(said: list[Said]) -> list[tuple[str, str]]:
    """Give the pairs of texts whose boxes overlap, by more than a hundredth of a millimetre."""
    said = sorted(said, key=lambda each: each.box[0])
    pairs = []
    for k, a in enumerate(said):
        for b in said[k + 1 :]:
            if b.box[0] >= a.box[2]:
                break
            wide = min(a.box[2], b.box[2]) - max(a.box[0], b.box[0])
            high = min(a.box[3], b.box[3]) - max(a.box[1], b.box[1])
            if wide > 0.01 and high > 0.01:
                pairs.append((a.words, b.words))
    return pairs


def plan_frame(svg: str) -> Box:
    """Give the frame of the plan: the first closed line outside of the plan's own group."""
    polygon = next(each for each in read_svg(svg) if each.tag == f"{SVG}polygon")
    places = [tuple(map(float, pair.split(","))) for pair in polygon.attrib["points"].split()]
    xs, ys = zip(*places, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def marks(svg: str, role: str = "point") -> dict[str, tuple[float, float]]:
    """Give the middle of each drawn point or reference point by its name, millimetres."""
    found = {}
    for group in read_svg(svg).iter(f"{SVG}g"):
        if group.get("class") == role:
            circles = list(group.iter(f"{SVG}circle"))
            if circles:
                found[group.attrib["data-name"]] = (float(circles[-1].attrib["cx"]), float(circles[-1].attrib["cy"]))
    return found


def printed(pdf: bytes, page: int = 1) -> NDArray[np.bool_]:
    """Print one page and tell where its ink is."""
    command = ["pdftoppm", "-r", str(DPI), "-f", str(page), "-l", str(page), "-gray", "-png", "-"]
    done = subprocess.run(command, input=pdf, capture_output=True, check=True)
    return np.asarray(Image.open(io.BytesIO(done.stdout)).convert("L")) < 128


def rings_with_a_dot(ink: NDArray[np.bool_]) -> list[tuple[float, ...]]:
    """Find the symbols of inspection ports in the ink, millimetres: a dot of 0.5 mm in a ring of 1.3 mm."""
    reach = int(2.0 / MM)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1] * MM
    r = np.hypot(x, y)
    dot, gap, ring = (r < 0.45), (r > 0.68) & (r < 1.05), (r > 1.22) & (r < 1.38)
    kernel = dot / dot.sum() + ring / ring.sum() - 2 * gap / gap.sum()
    score = fftconvolve(ink.astype(float), kernel[::-1, ::-1], mode="same")
    found: list[tuple[float, ...]] = []
    while score.max() > 1.6:
        row, column = np.unravel_index(int(score.argmax()), score.shape)
        near = (slice(max(row - 8, 0), row + 9), slice(max(column - 8, 0), column + 9))
        weight = np.clip(score[near] - 0.7 * score.max(), 0, None)
        rows, columns = np.mgrid[near]
        found.append(
            (float((columns * weight).sum() / weight.sum()) * MM, float((rows * weight).sum() / weight.sum()) * MM)
        )
        score[max(row - reach, 0) : row + reach, max(column - reach, 0) : column + reach] = 0
    return found


def straight_runs(ink: NDArray[np.bool_], least_mm: float, most_mm: float) -> list[float]:
    """Give the lengths of unbroken horizontal lines of ink between two lengths, millimetres."""
    lengths: list[float] = []
    for row in ink:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.view(np.int8), [0]])))
        lengths += [float(b - a) * MM for a, b in pairwise(edges) if least_mm <= (b - a) * MM <= most_mm and row[a]]
    return lengths

"""Features with hostile words in every text, and other people's readers for what is written of them."""

import re
import shutil
import subprocess
from pathlib import Path

from shapely.geometry import LineString, Point, Polygon

from asbuilt.output.features import Feature
from asbuilt.output.gis.formats import Sheaf
from tests.hostile import HOSTILE

DAY = ("--on", "2026-06-01")


def kept(text: str) -> str:
    """Say which text a file must give back: line ends are newlines, and what no file may hold is U+FFFD.

    Written by its own rule: every kind of line end of Unicode (UAX 14, class BK, CR, LF, NL) is one newline; the
    controls but tab and newline (general category Cc), the marks that embed or isolate a reading direction (UAX 9),
    halves of characters and the two non-characters at the end of the first plane cannot stand in a file.
    """
    text = text.replace("\r\n", "\n")
    text = "".join("\n" if sign in "\r\v\f\x85\u2028\u2029" else sign for sign in text)
    return "".join("\ufffd" if _is_barred(ord(sign)) else sign for sign in text)


def _is_barred(code: int) -> bool:
    control = (code < 0x20 and code not in (9, 10)) or 0x7F <= code <= 0x9F
    turning = 0x202A <= code <= 0x202E or 0x2066 <= code <= 0x2069
    return control or turning or 0xD800 <= code <= 0xDFFF or code in (0xFFFE, 0xFFFF)


def hostile_features(words: tuple[str, ...] = HOSTILE) -> tuple[Feature, ...]:
    """Give a point, a line or an area for each text, with the text in each of its words."""
    made = []
    for k, text in enumerate(words):
        west, south = -118 + k * 1e-3, 42 + k * 1e-3
        shape = (
            Point(west, south),
            LineString([(west, south), (west + 1e-4, south + 1e-4)]),
            Polygon([(west, south), (west + 1e-4, south), (west, south + 1e-4)]),
        )[k % 3]
        role = "point" if k % 3 == 0 else "component"
        own = {"property": text, "description": text, "accuracy_text": text, "r95_m": 0.05, "checked": k % 2 == 0}
        if role == "point":
            own |= {"component": text, "point": text, "depth_text": text, "elevation_m": 30.25, "photo": text}
            own["ties"] = [{"from": text, "as_read": text, "residual_m": None, "from_lonlat": None}]
        else:
            own |= {"material": text, "note": text, "points": 2, "installed_on": "2025-04-03"}
            own["due"] = [{"due_on": "2027-01-02", "task": text, "component": text}]
            own["service"] = [{"on": "2026-01-02", "task": text, "by": text, "gallons": 1000.0, "note": text}]
            own["strange"] = {text: [text]}  # an attribute that no column is for
        made.append(Feature(role, text, text, shape, own))
    return tuple(made)


def hostile_sheaf(words: tuple[str, ...] = HOSTILE) -> Sheaf:
    """Give a property of hostile words, with hostile field sheets."""
    return Sheaf(
        "<b>&\x00]]>\u202e{{7*7}}", hostile_features(words), {"points.csv": "\n".join(map(kept, words))}, "complete x"
    )


def ogrinfo(path: Path, *words: str) -> str:
    """Let GDAL's own program read a whole file; what it complains of is an error here."""
    assert shutil.which("ogrinfo"), "this test needs GDAL's ogrinfo: apt-get install gdal-bin"
    done = subprocess.run(["ogrinfo", "-ro", "-al", *words, str(path)], capture_output=True)
    said = done.stdout.decode("utf-8", "replace")
    assert (done.returncode, done.stderr) == (0, b""), done.stderr.decode("utf-8", "replace")
    assert "ERROR" not in said.partition("OGRFeature(")[0]
    return said


def feature_counts(said: str) -> list[int]:
    """Give how many features each layer has, as ogrinfo counts them."""
    return [int(count) for count in re.findall(r"^Feature Count: (\d+)$", said, re.MULTILINE)]

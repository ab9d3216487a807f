"""A person with two tapes who has nothing but the printed sentences and the true corners; imports nothing of ours.

Reads the sentences of `asbuilt find` (English or Spanish), pulls the tapes with or without an error, and says where
that ends. Metres.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

Place = tuple[float, float]

_LENGTH = r"(?:\d+' [\d ]+(?:/\d)?\"|[\d.]+ (?:ft|pies|m))"
_SMALL = r"(?:\d+ (?:ft|pies?)(?: \d+ (?:in|pulg))?|[\d /.]+ (?:in|pulg|cm|mm|m|ft|pies))"
_WORDS = {
    "en": {
        "tape": rf"\d\. From (.+?): ({_LENGTH})",
        "side": r"Standing at (.+?), looking at (.+?), it is on your (left|right)",
        "check": rf"from (.+?) it must read ({_LENGTH}), give or take ({_SMALL})\.",
        "circle": rf"It lies within ({_SMALL}) of that spot, 19 times in 20",
        "wall": rf"Start at (.+?), look at (.+?): ({_LENGTH}) along the wall.*?Then square out ({_LENGTH}) to your "
        rf"(left|right)\. It lies within ({_SMALL}) of there",
    },
    "es": {
        "tape": rf"\d\. Desde (.+?): ({_LENGTH})",
        "side": r"De pie en (.+?), mirando hacia (.+?), queda a su (izquierda|derecha)",
        "check": rf"desde (.+?) debe medir ({_LENGTH}), ({_SMALL}) más o menos\.",
        "circle": rf"Está a menos de ({_SMALL}) de ese punto, 19 veces de cada 20",
        "wall": rf"Empiece en (.+?), mire hacia (.+?): ({_LENGTH}) a lo largo de la pared.*?Luego ({_LENGTH}) en "
        rf"escuadra hacia su (izquierda|derecha)\. Está a menos de ({_SMALL}) de ahí",
    },
}


def metres_of(words: str) -> float:
    """Read a printed length or radius: 23' 4 1/2", 1 ft 3 in, 2 1/2 in, 7.12 m, 5 cm."""
    total = 0.0
    sizes = {"'": 0.3048, "ft": 0.3048, "pies": 0.3048, "pie": 0.3048, '"': 0.0254, "in": 0.0254, "pulg": 0.0254}
    sizes |= {"m": 1.0, "cm": 0.01, "mm": 0.001}
    for number, unit in re.findall(r"([\d./ ]+?) ?('|\"|ft|pies|pie|in|pulg|cm|mm|m)(?![a-z])", words):
        for part in number.split():
            top, _, bottom = part.partition("/")
            total += float(top) / float(bottom or 1) * sizes[unit]
    return total


@dataclass(frozen=True, slots=True)
class Read:
    """What one reads on the sheet of one lid."""

    tapes: tuple[tuple[str, float], tuple[str, float]]
    side: tuple[str, str, str]  #: standing at, looking at, left or right
    within_m: float
    check: tuple[str, float, float] | None
    wall: tuple[str, str, float, float, str, float] | None  #: from, to, along, out, hand, within


def read_instructions(text: str, lang: str = "en") -> Read:
    """Read the sentences of one lid; line breaks are nothing."""
    flat = " ".join(text.replace("\u200b", "").split())
    words = _WORDS[lang]
    hands = {"izquierda": "left", "derecha": "right", "left": "left", "right": "right"}
    tapes = re.findall(words["tape"], flat)[:2]
    side = re.search(words["side"], flat)
    circle = re.search(words["circle"], flat)
    assert len(tapes) == 2, flat
    assert side is not None, flat
    assert circle is not None, flat
    check, wall = re.search(words["check"], flat), re.search(words["wall"], flat)
    (a, one), (b, two) = tapes
    return Read(
        ((a, metres_of(one)), (b, metres_of(two))),
        (side[1], side[2], hands[side[3]]),
        metres_of(circle[1]),
        None if check is None else (check[1], metres_of(check[2]), metres_of(check[3])),
        None
        if wall is None
        else (wall[1], wall[2], metres_of(wall[3]), metres_of(wall[4]), hands[wall[5]], metres_of(wall[6])),
    )


def swing(corners: Mapping[str, Place], read: Read, errors: tuple[float, float] = (0.0, 0.0)) -> Place:
    """Swing both tapes from the true corners and mark where they meet, on the side that is printed.

    Tapes that do not quite meet are marked midway.
    """
    (first, d1), (second, d2) = read.tapes
    (ax, ay), (bx, by) = corners[first], corners[second]
    d1, d2 = d1 + errors[0], d2 + errors[1]
    apart = math.hypot(bx - ax, by - ay)
    ux, uy = (bx - ax) / apart, (by - ay) / apart
    along = (d1 * d1 - d2 * d2 + apart * apart) / (2 * apart)
    out = math.sqrt(max(d1 * d1 - along * along, 0.0))
    left = (ax + along * ux - out * uy, ay + along * uy + out * ux)
    right = (ax + along * ux + out * uy, ay + along * uy - out * ux)
    stand, look, hand = read.side
    (sx, sy), (lx, ly) = corners[stand], corners[look]
    is_left = (lx - sx) * (left[1] - sy) - (ly - sy) * (left[0] - sx) > 0
    return left if is_left == (hand == "left") else right


def walk_out(
    corners: Mapping[str, Place], read: Read, errors: tuple[float, float] = (0.0, 0.0), askew_deg: float = 0.0
) -> Place:
    """Go along the wall and square out, as printed."""
    assert read.wall is not None
    start, to, along, out, hand, _ = read.wall
    (ax, ay), (bx, by) = corners[start], corners[to]
    heading = math.atan2(by - ay, bx - ax)
    turn = heading + math.radians(90 if hand == "left" else -90) + math.radians(askew_deg)
    along, out = along + errors[0], out + errors[1]
    return (
        ax + along * math.cos(heading) + out * math.cos(turn),
        ay + along * math.sin(heading) + out * math.sin(turn),
    )


def miss_m(place: Place, truth: Place) -> float:
    return math.dist(place, truth)


def tape_error(rng: np.random.Generator, metres: float) -> float:
    """One tape of a finder who takes usual care: 15 mm and 0.5 mm a metre."""
    return float(rng.normal(0.0, math.hypot(0.015, 0.0005 * metres)))

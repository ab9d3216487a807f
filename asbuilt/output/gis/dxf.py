"""DXF, release 12, ASCII: a drawing of true size, a layer for each kind of thing.

Every value stands on a line of its own below its group code, so a line end inside a text would begin a new group:
`dxf_text` lets nothing through but printable ASCII. The unit is that of the system, or of the property in the house's
own plane; `$INSUNITS`, which is younger than release 12, says it to programs that look for it.
"""

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from asbuilt.output.features import Feature
from asbuilt.output.gis.columns import fit_text
from asbuilt.output.gis.formats import Sheaf
from asbuilt.output.map.symbols import group_of
from asbuilt.output.words import one_line

LONGEST_TEXT = 240
"""Characters of one text; release 12 takes 255 in a line."""

TEXT_M = 0.15
"""Height of the letters: readable at 1:60, the scale of a plan that shows a house on a sheet."""

INSUNITS = {"metre": 6, "foot": 2, "US survey foot": 21}
"""Codes of the header variable for the units in use; others are given as unitless, 0."""

COLOURS = {
    "building": 7,
    "sewer": 3,
    "water": 5,
    "electric": 1,
    "signal": 30,
    "gas": 2,
    "reclaimed": 6,
    "survey": 221,
    "reserve": 8,
    "other": 9,
    "reference": 7,
    "gone": 8,
}
"""Colour numbers nearest to the APWA Uniform Color Code."""

_PLAIN = {"′": "'", "″": '"', "’": "'", "“": '"', "”": '"', "½": " 1/2", "¼": " 1/4", "¾": " 3/4", "Ø": "dia "}
_LAYER_SIGNS = re.compile(r"[^A-Z0-9_$-]+")


def dxf_text(text: str) -> str:
    r"""Make text printable ASCII of one line, with nothing in it that a drawing program obeys.

    Primes and fractions become what a keyboard has, accents fall off, other letters become `\U+nnnn`, which drawing
    programs show as the letter. So do the signs that begin a code of theirs: backslash, circumflex, and a percent
    sign beside another. The one place where this is done.

    Examples
    --------
    >>> print(dxf_text("47′ 5½″\n  0\nEOF"), dxf_text("%%d \\P ^J"), dxf_text("café 水"))
    47' 5 1/2" 0 EOF \U+0025\U+0025d \U+005CP \U+005EJ cafe \U+6C34
    """
    words = one_line(fit_text(text))
    for sign, plain in _PLAIN.items():
        words = words.replace(sign, plain)
    decomposed = unicodedata.normalize("NFKD", words)
    letters = [_ascii(sign) for sign in decomposed if not unicodedata.combining(sign)]
    made = "".join(letters).replace("%%", _code("%") * 2)
    if len(made) <= LONGEST_TEXT:
        return made
    cut = made[: LONGEST_TEXT - 3]
    return re.sub(r"\\(U(\+[0-9A-F]{0,3})?)?$", "", cut) + "..."  # not in the middle of a code


def _ascii(sign: str) -> str:
    if sign in "\\^":
        return _code(sign)
    if " " <= sign <= "~":
        return sign
    return _code(sign) if ord(sign) <= 0xFFFF else "?"


def _code(sign: str) -> str:
    return f"\\U+{ord(sign):04X}"


def layer_name(kind: str) -> str:
    """Make the name of a layer of a kind: capitals, digits and underlines, 31 signs at most, as release 12 wants.

    Examples
    --------
    >>> layer_name("electrical cable (240 V)")
    'ELECTRICAL_CABLE_240_V'
    """
    plain = unicodedata.normalize("NFKD", fit_text(kind)).upper()
    return _LAYER_SIGNS.sub("_", plain).strip("_")[:31].strip("_") or "OTHER"


def write_dxf(sheaves: Iterable[Sheaf], unit: str, unit_m: float, held_m: float = 1.0) -> tuple[str, int]:
    """Write a drawing, and give how many things it has.

    Parameters
    ----------
    unit, unit_m
        The unit of the drawing: its name, and the metres in it.
    held_m
        The metres in the unit of the coordinates as they come; heights and radii come in metres.
    """
    layers: dict[str, int] = {}
    body: list[str] = []
    bounds: list[Sequence[float]] = []
    count = 0
    for sheaf in sheaves:
        gone = frozenset(f.name for f in sheaf.features if f.role == "component" and f.attributes.get("removed_on"))
        for feature in sheaf.features:
            if feature.geometry is None or feature.geometry.is_empty:
                continue
            pen = _Pen(layer_name(feature.kind), held_m / unit_m, unit_m)
            layers.setdefault(pen.layer, COLOURS[group_of(feature, gone)])
            body += pen.draw(feature)
            bounds.append([value * held_m / unit_m for value in feature.geometry.bounds])
            count += 1
    layers |= {"TEXT": 7, "TEXT_POINTS": 9, "RADIUS_95": 8}
    parts = [*_header(bounds, unit), *_tables(layers), *_groups((0, "SECTION"), (2, "ENTITIES")), *body]
    return "".join([*parts, *_groups((0, "ENDSEC"), (0, "EOF"))]), count


class _Pen:
    """Draws things on one layer, in units of the drawing."""

    def __init__(self, layer: str, scale: float, unit_m: float) -> None:
        self.layer, self.scale, self.unit_m = layer, scale, unit_m

    def draw(self, feature: Feature) -> Iterator[str]:
        geometry = feature.geometry
        if geometry is None:
            return
        for part in shapely.get_parts(geometry):
            yield from self._part(part)
        radius = feature.attributes.get("r95_m")
        first = shapely.get_parts(geometry)[0]
        # a line's name stands in its middle, where no point has its own
        line = first.geom_type == "LineString"
        spot = first.interpolate(0.5, normalized=True) if line else first.representative_point()
        if feature.role == "point" and radius:
            place = self._place(10, geometry.coords[0][:2])
            yield from _groups((0, "CIRCLE"), (8, "RADIUS_95"), *place, (40, _number(radius / self.unit_m)))
        if feature.role != "component" or feature.attributes.get("points") != 1:
            layer = "TEXT" if feature.role in ("component", "building") else "TEXT_POINTS"
            yield from self._label(layer, dxf_text(feature.name), spot)

    def _part(self, part: BaseGeometry) -> Iterator[str]:
        if part.geom_type == "Point":
            yield from _groups((0, "POINT"), (8, self.layer), *self._place(10, part.coords[0]))
            return
        closed = part.geom_type == "Polygon"
        rings = [part.exterior, *part.interiors] if closed else [part]
        for ring in rings:
            places = list(ring.coords)[: -1 if closed else None]
            high = 8 if ring.has_z else 0
            head = ((0, "POLYLINE"), (8, self.layer), (66, "1"), (70, str(int(closed) + high)))
            yield from _groups(*head, (10, "0.0"), (20, "0.0"), (30, "0.0"))
            for place in places:
                flag = ((70, "32"),) if high else ()
                yield from _groups((0, "VERTEX"), (8, self.layer), *self._place(10, place), *flag)
            yield from _groups((0, "SEQEND"), (8, self.layer))

    def _label(self, layer: str, words: str, spot: BaseGeometry) -> Iterator[str]:
        if words:
            height = TEXT_M / self.unit_m
            x, y = (value * self.scale + height / 2 for value in spot.coords[0][:2])
            place = ((10, _number(x)), (20, _number(y)), (30, "0.0"))
            yield from _groups((0, "TEXT"), (8, layer), *place, (40, _number(height)), (1, words))

    def _place(self, code: int, place: Sequence[float]) -> tuple[tuple[int, str], ...]:
        x, y, *height = place
        z = height[0] / self.unit_m if height else 0.0
        return (code, _number(x * self.scale)), (code + 10, _number(y * self.scale)), (code + 20, _number(z))


def _header(bounds: Sequence[Sequence[float]], unit: str) -> Iterator[str]:
    west, south, east, north = (
        (min(b[0] for b in bounds), min(b[1] for b in bounds), max(b[2] for b in bounds), max(b[3] for b in bounds))
        if bounds
        else (0.0, 0.0, 1.0, 1.0)
    )
    yield from _groups((999, f"as-built plan, unit: {dxf_text(unit)}; defer to local code and licensed practice"))
    yield from _groups((0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009"))
    yield from _groups((9, "$INSUNITS"), (70, str(INSUNITS.get(unit, 0))))
    yield from _groups((9, "$MEASUREMENT"), (70, "1" if unit == "metre" else "0"))
    yield from _groups((9, "$EXTMIN"), (10, _number(west)), (20, _number(south)), (30, "0.0"))
    yield from _groups((9, "$EXTMAX"), (10, _number(east)), (20, _number(north)), (30, "0.0"))
    yield from _groups((0, "ENDSEC"))


def _tables(layers: Mapping[str, int]) -> Iterator[str]:
    yield from _groups((0, "SECTION"), (2, "TABLES"))
    yield from _groups((0, "TABLE"), (2, "LTYPE"), (70, "1"), (0, "LTYPE"), (2, "CONTINUOUS"), (70, "0"))
    yield from _groups((3, "Solid line"), (72, "65"), (73, "0"), (40, "0.0"), (0, "ENDTAB"))
    yield from _groups((0, "TABLE"), (2, "LAYER"), (70, str(len(layers) + 1)))
    for name, colour in ({"0": 7} | dict(layers)).items():
        yield from _groups((0, "LAYER"), (2, name), (70, "0"), (62, str(colour)), (6, "CONTINUOUS"))
    yield from _groups((0, "ENDTAB"), (0, "TABLE"), (2, "STYLE"), (70, "1"), (0, "STYLE"), (2, "STANDARD"))
    yield from _groups((70, "0"), (40, "0.0"), (41, "1.0"), (50, "0.0"), (71, "0"), (42, "0.2"), (3, "txt"), (4, ""))
    yield from _groups((0, "ENDTAB"), (0, "ENDSEC"))


def _groups(*pairs: tuple[int, str]) -> Iterator[str]:
    """Write group codes and their values, each on its line."""
    for code, value in pairs:
        yield f"{code:>3}\n{value}\n"


def _number(value: float) -> str:
    return f"{value:.6f}"

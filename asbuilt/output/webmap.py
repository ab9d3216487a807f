"""The map: one HTML document with everything inside it, which opens from a file without a network.

folium makes the frame (the Leaflet map, its layers with constant names, the layer control). It compiles what it
is given as a Jinja2 template, some of it twice, so nothing that a person typed ever reaches it: the record goes
into one JSON block, the document is put together by joining strings, and `assets/plan.js` draws from the block
with text nodes only. The content security policy names the hash of each of our own scripts and nothing else.
"""

import json
import re
import threading
from base64 import b64encode
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from html import escape
from importlib.resources import files
from typing import Any, cast

import branca.element
import folium
from pyproj import Geod
from shapely.geometry.base import BaseGeometry

from asbuilt.errors import AsbuiltError
from asbuilt.output.features import Feature

UNITS = ("ft-in", "ft", "m")
"""How lengths are shown; the same words as `units` of the property sheet."""

MAX_ZOOM = 24
"""About 7 mm of ground a pixel at 45 degrees latitude: a lid fills the screen."""

TILE_ZOOM = 19
"""Deepest zoom that tile servers usually serve; deeper, the picture is enlarged."""

CSS_IMAGES = {"images/layers.png": "layers.png", "images/layers-2x.png": "layers-2x.png"}
"""Pictures that Leaflet's style sheet asks for, and the packaged file; its pin marker is not used here."""


class FrameError(AsbuiltError, RuntimeError):
    """The frame that folium made asks for something that is not packaged; no map is written."""


class BackgroundError(AsbuiltError, ValueError):
    """An address or a credit of the online background that cannot be taken."""


@dataclass(frozen=True, slots=True)
class Background:
    """An online background layer: off until somebody ticks it, and only then asked for.

    Address and credit go through folium, so they are held to a narrow set of characters.
    """

    url: str  #: https address with {z}, {x}, {y} and, if need be, {s}
    credit: str  #: who must be named, plain text
    credit_url: str  #: where the terms stand

    def __post_init__(self) -> None:
        bare = re.sub(r"\{[szxy]\}", "", self.url)
        if not re.fullmatch(r"https://[\w.-]+(:\d+)?/[\w./?&=%@~+-]*", bare, re.ASCII):
            raise BackgroundError(f"background address {self.url!r}: an https address with {{z}}, {{x}}, {{y}}")
        if not all(slot in self.url for slot in ("{z}", "{x}", "{y}")):
            raise BackgroundError(f"background address {self.url!r} lacks one of {{z}}, {{x}}, {{y}}")
        if not re.fullmatch(r"[^{}<>&\"'\\]+", self.credit):
            raise BackgroundError(f"background credit {self.credit!r}: plain words without {{}}<>&\"'\\")
        if not re.fullmatch(r"https://[\w./-]+", self.credit_url, re.ASCII):
            raise BackgroundError(f"background credit address {self.credit_url!r}: a plain https address")

    @property
    def host(self) -> str:
        """What the content security policy lets pictures come from, such as `https://*.example.org`."""
        return "/".join(self.url.split("/")[:3]).replace("{s}", "*")


STREETS = Background(
    "https://tile.openstreetmap.org/{z}/{x}/{y}.png",
    "OpenStreetMap contributors",
    "https://www.openstreetmap.org/copyright",
)
"""The general open street map."""


@dataclass(frozen=True, slots=True)
class MapSheet:
    """What one map shows."""

    title: str  #: name of the property
    subtitle: tuple[str, ...]  #: lines under it: address, notes
    units: str  #: one of UNITS
    features: tuple[Feature, ...]
    placed: bool  #: False = no place on the earth; the geometries then stand near latitude 0, longitude 0
    as_of: str  #: the day for which it is drawn
    findings: tuple[Mapping[str, Any], ...] = ()  #: code, subject, message, severity
    due: tuple[Mapping[str, Any], ...] = ()  #: the keys of `due --json`
    cautions: tuple[str, ...] = ()
    north_up: bool | None = None  #: None = as `placed`; True = an azimuth is known although no place is

    def __post_init__(self) -> None:
        if self.units not in UNITS:
            raise ValueError(f"units {self.units!r}: one of {', '.join(UNITS)}")


@dataclass(frozen=True, slots=True)
class Frame:
    """What folium made: constant markup and script, without a word of the record."""

    html: str
    script: str
    map_name: str  #: the global variable of the Leaflet map
    layers: Mapping[str, str]  #: key of a group -> the global variable of its layer


def render_map(sheet: MapSheet, *, background: Background | None = STREETS) -> str:
    """Write the map of one property.

    Parameters
    ----------
    sheet
        What is shown. Geometries are longitude, latitude in degrees (WGS 84).
    background
        The optional online layer; None = none. A property without a place never has one.

    Returns
    -------
    str
        One complete HTML document; the same sheet gives the same bytes.

    Raises
    ------
    FrameError
        folium's frame asks for a library that is not packaged.
    """
    background = background if sheet.placed else None
    gone = _gone(sheet.features)
    features = [_feature(feature, gone) for feature in sheet.features]
    used = {feature["group"] for feature in features}
    groups = tuple(group for group in GROUPS if group.key in used)
    frame = make_frame(groups, background)
    page = Page(
        f"{sheet.title}: plan of what is buried", _plain_sheet(sheet), "About this property", "plan.js", ("plan.css",)
    )
    return write_page(page, frame, json_block(_plan(sheet, features, groups, frame)), background)


# ---------------------------------------------------------------- colours and symbols


@dataclass(frozen=True, slots=True)
class Group:
    """A layer of the map: things of one colour, told apart by their dashes too."""

    key: str
    title: str
    colour: str  #: of lines and symbols
    dash: str = ""  #: SVG dash pattern; empty = an unbroken line
    fill: str = ""  #: of areas; empty = the colour, thinned
    shown: bool = True

    @property
    def layer_name(self) -> str:
        """Constant markup for the layer control: a piece of the line and the title."""
        return (
            '<svg width="34" height="14" aria-hidden="true"><path d="M1 7H33" stroke="#fff" stroke-width="9"/>'
            f'<path d="M1 7H33" stroke="{self.colour}" stroke-width="5" stroke-dasharray="{self.dash}"/></svg> '
            f"<span>{self.title}</span>"
        )

    def as_json(self) -> dict[str, str]:
        """Give what plan.js draws with."""
        fill = self.fill or self.colour
        return {"key": self.key, "title": self.title, "colour": self.colour, "dash": self.dash, "fill": fill}


GROUPS = (
    Group("building", "House and buildings", "#1c1c1c", fill="#8a857a"),
    Group("sewer", "Sewer and drain", "#00722f"),
    Group("water", "Drinking water", "#0046c7", "16 6"),
    Group("electric", "Electric power", "#c8001e", "7 6"),
    Group("signal", "Alarm and signal", "#c24e00", "4 5"),
    Group("gas", "Gas and oil", "#8f6b00", "14 5 3 5", fill="#ffd400"),
    Group("reclaimed", "Irrigation, reclaimed water", "#6f1fa5", "18 5 3 5 3 5"),
    Group("survey", "Property lines and survey", "#c2187f", "22 6 5 6"),
    Group("reserve", "Reserve ground, keep free", "#3d3d3d", "9 7", fill="#ffffff"),
    Group("other", "Other things", "#4a4a4a", "5 5"),
    Group("reference", "Marks to measure from", "#1c1c1c"),
    Group("gone", "No longer in the ground", "#6b6b6b", "2 8", shown=False),
)
"""Colours by the APWA Uniform Color Code: green sewers and drains, blue potable water, red electric, orange
communication and alarm, yellow gas and oil, purple reclaimed water, pink survey, white proposed excavation (here
ground kept for it). Shades are darkened until they stand out on a light ground in the sun; dashes are our own."""

GROUP_WORDS = {
    "reserve": "reserve|replacement area|repair area",
    "survey": "property (line|corner)|boundary|easement|setback|survey|benchmark",
    "signal": "alarm|signal|communication|telephone|float cable|internet",
    "electric": "electric(al|ity)?|power|cable|conduit|control panel|panel|wire",
    "gas": "gas|propane|oil|fuel|petroleum",
    "reclaimed": "irrigation|reclaimed|sprinkler",
    "sewer": "sewer|septic|effluent|drain|drainfield|leach|storm ?water|monitoring|observation|inspection port",
    "water": "well|water|spring|hydrant|spigot",
    "sewer ": "tank|pipe|lateral|manifold|distribution|drop box|d-?box|cleanout|riser|valve|port|pump|filter|mound"
    "|trench|bed|chamber|header|transport|force ?main|soil absorption|dosing|line",
}
"""Words in a kind -> the group's key (trailing space: second helping); the first that matches counts."""

SYMBOL_WORDS = {
    "cleanout": "clean-?out",
    "lid": "lid|cover|riser|hatch|manhole|access",
    "flush": "turn-?up|flushing|flush",
    "valve": "valve|shut-?off|stopcock",
    "port": "port|observation|monitoring",
    "box": "panel|switch|box",
    "well": "well|hydrant|spigot",
}
"""Words in the name of a point, then in its kind -> its symbol; the first that matches counts."""


PLACE_WORDS = r"^(at|to|from|near|by)\b|^\w+ end$"
"""A point that is named after what lies beside it, such as "at cleanout" or "panel end", is not that thing."""


def group_of(feature: Feature, gone: frozenset[str] = frozenset()) -> str:
    """Tell the key of the layer that a feature belongs to; `gone` names the components that were taken out."""
    if feature.role in ("building", "reference"):
        return feature.role
    if feature.attributes.get("removed_on") or (
        feature.role == "point" and feature.attributes.get("component") in gone
    ):
        return "gone"
    return (_first_match(GROUP_WORDS, feature.kind) or "other").strip()


def symbol_of(feature: Feature) -> str:
    """Tell the symbol of a point: what it is before what it belongs to."""
    if feature.role == "reference":
        return "mark"
    own = str(feature.attributes.get("point") or feature.name.rpartition("/")[2])
    if re.search(PLACE_WORDS, own.lower()):
        return "spot"
    return _first_match(SYMBOL_WORDS, own) or _first_match(SYMBOL_WORDS, feature.kind) or "spot"


def _first_match(words: Mapping[str, str], text: str) -> str | None:
    return next((key for key, rx in words.items() if re.search(rf"\b({rx})s?\b", text.lower())), None)


# ---------------------------------------------------------------- the data


def _plan(sheet: MapSheet, features: list[dict[str, Any]], groups: tuple[Group, ...], frame: Frame) -> dict[str, Any]:
    """Gather all that plan.js reads."""
    return {
        "title": sheet.title,
        "subtitle": sheet.subtitle,
        "units": sheet.units,
        "placed": sheet.placed,
        "north_up": sheet.placed if sheet.north_up is None else sheet.north_up,
        "as_of": sheet.as_of,
        "metres_per_degree": metres_per_degree(_middle_latitude(sheet)),
        "groups": [group.as_json() for group in groups],
        "features": features,
        "findings": [dict(finding) for finding in sheet.findings],
        "due": [dict(due) for due in sheet.due],
        "cautions": sheet.cautions,
        "frame": {"map": frame.map_name, "layers": dict(frame.layers)},
    }


def metres_per_degree(latitude: float) -> tuple[float, float]:
    """Give the metres in a degree of longitude and of latitude on the WGS 84 ellipsoid at a latitude.

    Leaflet's own distances are those of a sphere, and up to 0.3 % wrong; with these two factors a distance on a
    property is right to a tenth of a millimetre.

    Examples
    --------
    The published lengths of a degree at 45 degrees, 78.85 km and 111.13 km:

    >>> [round(metres / 1000, 2) for metres in metres_per_degree(45.0)]
    [78.85, 111.13]
    """
    geod, step = Geod(ellps="WGS84"), 0.001
    east = geod.inv(0.0, latitude, step, latitude)[2] / step
    north = geod.inv(0.0, latitude - step / 2, 0.0, latitude + step / 2)[2] / step
    return east, north


def _middle_latitude(sheet: MapSheet) -> float:
    """Give the latitude in the middle of all that is drawn, 0 if nothing is."""
    boxes = [f.geometry.bounds for f in sheet.features if f.geometry is not None and not f.geometry.is_empty]
    if not boxes:
        return 0.0
    return float(min(box[1] for box in boxes) + max(box[3] for box in boxes)) / 2


def _gone(features: tuple[Feature, ...]) -> frozenset[str]:
    """Name the components that were taken out, without those that another of the same name replaced."""
    components = [feature for feature in features if feature.role == "component"]
    standing = {component.name for component in components if not component.attributes.get("removed_on")}
    return frozenset(component.name for component in components) - standing


def _feature(feature: Feature, gone: frozenset[str]) -> dict[str, Any]:
    """Turn a feature into what plan.js draws; the words stay as they are."""
    return {
        "role": feature.role,
        "name": feature.name,
        "kind": feature.kind,
        "group": group_of(feature, gone),
        "symbol": symbol_of(feature),
        "parts": [] if feature.geometry is None else _parts(feature.geometry),
        "attributes": dict(feature.attributes),
    }


def _parts(geometry: BaseGeometry) -> list[dict[str, Any]]:
    """Split a geometry into simple parts: point, line, area (outer ring first); longitude, latitude."""
    if geometry.is_empty:
        return []
    if hasattr(geometry, "geoms"):
        return [part for piece in geometry.geoms for part in _parts(piece)]
    if geometry.geom_type == "Polygon":
        rings = [geometry.exterior, *geometry.interiors]
        return [{"type": "area", "at": [[list(xy[:2]) for xy in ring.coords] for ring in rings]}]
    coordinates = [list(xy[:2]) for xy in geometry.coords]
    if geometry.geom_type == "Point":
        return [{"type": "point", "at": coordinates[0]}]
    return [{"type": "line", "at": coordinates}]


def json_block(plan: Mapping[str, Any]) -> str:
    """Write the data as a JSON script element that no text in it can close or open."""
    text = json.dumps(plan, ensure_ascii=True, allow_nan=False, default=_iso)
    for character in "<>&":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return f'<script type="application/json" id="plan-data">{text}</script>'


def _iso(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{value!r} is not a plain JSON value")


# ---------------------------------------------------------------- the frame


class OfflineMap(folium.Map):
    """folium's map, asking for Leaflet alone; the links are replaced by the packaged files."""

    default_js = [("leaflet", "leaflet.js")]  # noqa: RUF012  folium reads class lists
    default_css = [("leaflet_css", "leaflet.css")]  # noqa: RUF012


_ids_are_steady = threading.Lock()


@contextmanager
def steady_ids() -> Iterator[None]:
    """Let folium count its element names instead of drawing them at random, so that maps can be compared."""
    count = iter(range(1, 1 << 62))
    with _ids_are_steady:
        drawn = vars(branca.element)["urandom"]
        vars(branca.element)["urandom"] = lambda size: next(count).to_bytes(size, "big")
        try:
            yield
        finally:
            vars(branca.element)["urandom"] = drawn


def make_frame(groups: tuple[Group, ...], background: Background | None) -> Frame:
    """Let folium make map, layers and layer control; everything handed to it is constant."""
    with steady_ids():
        # The view is set by plan.js. `max_zoom` of folium goes to a tile layer only, hence `options`.
        frame = OfflineMap(location=[0, 0], zoom_start=18, tiles=None, zoom_snap=0.25)
        frame.options.update(maxZoom=MAX_ZOOM, minZoom=10, fadeAnimation=False)
        if background is not None:
            _tiles(background).add_to(frame)
        layers = {group.key: folium.FeatureGroup(group.layer_name, show=group.shown) for group in groups}
        for layer in layers.values():
            layer.add_to(frame)
        folium.LayerControl(position="topright", collapsed=True).add_to(frame)
        figure = cast(branca.element.Figure, frame.get_root())
        figure.render()
        refuse_unknown_links(figure, frame.get_name())
        names = {key: layer.get_name() for key, layer in layers.items()}
        return Frame(figure.html.render().strip(), figure.script.render(), frame.get_name(), names)


def _tiles(background: Background) -> folium.TileLayer:
    credit = f'&copy; <a href="{background.credit_url}" target="_blank" rel="noopener">{background.credit}</a>'
    return folium.TileLayer(
        background.url,
        attr=credit,
        name="Street map behind (needs the internet)",
        overlay=True,
        show=False,
        max_zoom=MAX_ZOOM,
        max_native_zoom=TILE_ZOOM,
    )


def refuse_unknown_links(figure: branca.element.Figure, map_name: str) -> None:
    """Fail closed: a folium that brings one more library would bring a link to the network with it.

    folium's own header (a viewport that forbids enlarging, styles for whole-page maps) is left out; plan.css
    lays the page out.
    """
    known = {"meta_http", "leaflet", "leaflet_css", map_name}
    for name, child in figure.header._children.items():
        if name not in known:
            what = getattr(child, "url", type(child).__name__)
            raise FrameError(f"the map's frame asks for {name!r} ({what}), which is not packaged with asbuilt")


# ---------------------------------------------------------------- the document


def _asset(name: str) -> bytes:
    return files("asbuilt.output").joinpath("assets", *name.split("/")).read_bytes()


def _asset_text(name: str) -> str:
    """Give a packaged text with the line ends that a browser makes of it before it hashes."""
    return _asset(name).decode().replace("\r\n", "\n")


def _leaflet_css() -> str:
    """Give Leaflet's style sheet with its pictures inside it."""
    text = re.sub(r"/\*.*?\*/", "", _asset_text("leaflet/leaflet.css"), flags=re.DOTALL)
    for address, name in CSS_IMAGES.items():
        picture = b64encode(_asset(f"leaflet/{name}")).decode()
        text = text.replace(f"url({address})", f"url(data:image/png;base64,{picture})")
    text = text.replace("url(images/marker-icon.png)", "none").replace("behavior: url(#default#VML);", "")
    left = re.findall(r"url\((?!data:)[^)]*\)", text)
    if left:
        raise FrameError(f"leaflet.css asks for {left[0]}, which is not packaged with asbuilt")
    return text


def _element(tag: str, text: str) -> str:
    """Write a constant script or style element."""
    if f"</{tag}" in text.lower() or "<!--" in text:
        raise FrameError(f"a packaged {tag} would end its own element")
    return f"<{tag}>{text}</{tag}>"


def _hash_of(element: str) -> str:
    """Give the policy's name of a script or style element: the hash of what stands between its tags."""
    text = element[element.index(">") + 1 : element.rindex("</")]
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"


def _policy(scripts: list[str], styles: list[str], background: Background | None) -> str:
    pictures = "data:" if background is None else f"data: {background.host}"
    return (
        f"default-src 'none'; script-src {' '.join(map(_hash_of, scripts))}; "
        f"style-src {' '.join(map(_hash_of, styles))}; img-src {pictures}; base-uri 'none'; form-action 'none'"
    )


ICON = (
    "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 16 16'%3E%3Ccircle cx='8' cy='8' "
    "r='7' fill='%2300722f'/%3E%3Ccircle cx='8' cy='8' r='3' fill='white'/%3E%3C/svg%3E"
)
"""A lid, green; without an icon of its own a browser asks for one."""


@dataclass(frozen=True, slots=True)
class Page:
    """What one document is made of besides its frame and its data."""

    title: str  #: as typed
    plain: str  #: markup for readers that run no script; every word of the record in it is escaped
    about: str  #: constant: what the panel tells about
    script: str  #: name of our own packaged script
    styles: tuple[str, ...]  #: names of our own packaged style sheets


def write_page(page: Page, frame: Frame, block: str, background: Background | None) -> str:
    """Join everything; the text of the record enters here and is compiled by nothing afterwards.

    Parameters
    ----------
    block
        The data, made by `json_block`.
    """
    library = _asset_text("leaflet/leaflet.js").split("//# sourceMappingURL=")[0]
    leaflet = f"/*\n{_asset_text('leaflet/LICENSE')}*/\n{library}"  # the licence travels with the copy
    scripts = [_element("script", text) for text in (leaflet, frame.script, _asset_text(page.script))]
    styles = [_element("style", text) for text in (_leaflet_css(), *map(_asset_text, page.styles))]
    return "\n".join(
        [
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{_policy(scripts, styles, background)}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="strict-origin-when-cross-origin">',
            f"<title>{escaped(page.title)}</title>",
            f'<link rel="icon" href="{ICON}">',
            *styles,
            "</head>\n<body>",
            f"<noscript>{page.plain}</noscript>",
            f'<div id="page">\n<aside id="panel" aria-label="{page.about}"></aside>',
            '<section id="card" aria-label="About the chosen part"></section>',
            f'<main id="plan" aria-label="Plan">{frame.html}</main>\n</div>',
            block,
            *scripts,
            "</body>\n</html>\n",
        ]
    )


def escaped(value: object) -> str:
    """Escape for HTML; half a character pair, which no file can hold, becomes a question mark."""
    return escape(str(value).encode("utf-8", "replace").decode())


def _plain_sheet(sheet: MapSheet) -> str:
    """Write the ties as a table for readers that run no script."""
    heads = "".join(f"<th scope=col>{head}</th>" for head in ("Point", "Ties, as read", "Depth", "How well known"))
    lines = "".join(f"<p>{escaped(line)}</p>" for line in (*sheet.subtitle, f"As of {sheet.as_of}"))
    cautions = "".join(f"<p><strong>Caution: {escaped(line)}</strong></p>" for line in sheet.cautions)
    rows = "".join(_plain_row(feature) for feature in sheet.features if feature.role == "point")
    return (
        f"<h1>{escaped(sheet.title)}</h1>{lines}{cautions}<p>This viewer runs no script, so the plan is not drawn. "
        f"These are the measurements behind it.</p><table><tr>{heads}</tr>{rows}</table>"
    )


def _plain_row(feature: Feature) -> str:
    attributes = feature.attributes
    ties = [f"{escaped(tie.get('from'))}: {escaped(tie.get('as_read'))}" for tie in attributes.get("ties") or ()]
    known = attributes.get("accuracy_text") or ("located" if feature.geometry is not None else "not located")
    if attributes.get("checked") is False:
        known = f"{known}; not checked"
    depth = escaped(attributes.get("depth_text") or "")
    return (
        f"<tr><th scope=row>{escaped(feature.name)}</th><td>{'<br>'.join(ties)}</td>"
        f"<td>{depth}</td><td>{escaped(known)}</td></tr>"
    )

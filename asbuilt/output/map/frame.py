"""The frame of a map and the document round it: folium's constant markup, our scripts, one block of data.

folium makes the frame (the Leaflet map, its layers with constant names, the layer control). It compiles what it
is given as a Jinja2 template, some of it twice, so nothing that a person typed ever reaches it: the record goes
into one JSON block and the document is put together by joining strings. The content security policy names the hash
of each of our own scripts and nothing else.
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
from importlib.resources import files
from typing import Any, cast

import branca.element
import folium

from asbuilt.errors import AsbuiltError
from asbuilt.output.map.symbols import Group
from asbuilt.output.words import html_text

MAX_ZOOM = 24
"""About 7 mm of ground a pixel at 45 degrees latitude: a lid fills the screen."""

TILE_ZOOM = 19
"""Deepest zoom that tile servers usually serve; deeper, the picture is enlarged."""

MOST_PLACES = 20_000
"""Places on one map: at twice the 10,000 that the benchmark pans smoothly a phone still opens it (our own)."""

CSS_IMAGES = {"images/layers.png": "layers.png", "images/layers-2x.png": "layers-2x.png"}
"""Pictures that Leaflet's style sheet asks for, and the packaged file; its pin marker is not used here."""


class FrameError(AsbuiltError, RuntimeError):
    """The frame that folium made asks for something that is not packaged; no map is written."""


class TooManyError(AsbuiltError, ValueError):
    """More on one map than one HTML document can hold.

    Parameters
    ----------
    what
        The map that was asked for.
    count
        Things or places on it.
    advice
        How there would be fewer.
    """

    def __init__(self, what: str, count: int, advice: str) -> None:
        self.count = count
        super().__init__(
            f"{what} would hold {count:,} places, and one HTML file holds {MOST_PLACES:,} at most; {advice}, or write "
            "a file for a mapping program (asbuilt export --all --out office.gpkg)"
        )


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
class Frame:
    """What folium made: constant markup and script, without a word of the record."""

    html: str
    script: str
    map_name: str  #: the global variable of the Leaflet map
    layers: Mapping[str, str]  #: key of a group -> the global variable of its layer


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


def make_frame(groups: tuple[Group, ...], background: Background | None, *, collapsed: bool = True) -> Frame:
    """Let folium make map, layers and layer control; everything handed to it is constant.

    Parameters
    ----------
    collapsed
        False = the switches of the layers lie open, for a page that puts them elsewhere.
    """
    with steady_ids():
        # The view is set by our own script. `max_zoom` of folium goes to a tile layer only, hence `options`.
        frame = OfflineMap(location=[0, 0], zoom_start=18, tiles=None, zoom_snap=0.25)
        frame.options.update(maxZoom=MAX_ZOOM, minZoom=10, fadeAnimation=False)
        if background is not None:
            _tiles(background).add_to(frame)
        layers = {group.key: folium.FeatureGroup(group.layer_name, show=group.shown) for group in groups}
        for layer in layers.values():
            layer.add_to(frame)
        folium.LayerControl(position="topright", collapsed=collapsed).add_to(frame)
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
    still: str  #: markup for viewers that run no script; every word of the record in it is escaped
    about: str  #: constant: what the panel tells about
    scripts: tuple[str, ...]  #: names of our own packaged scripts, in the order in which they need each other
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
    ours = [_asset_text(f"map/{name}") for name in page.scripts]
    first, *scripts = [_element("script", text) for text in (_asset_text("map/first.js"), leaflet, frame.script, *ours)]
    sheets = [_asset_text(f"map/{name}") for name in page.styles]
    styles = [_element("style", text) for text in (_leaflet_css(), *sheets)]
    return "\n".join(
        [
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{_policy([first, *scripts], styles, background)}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="strict-origin-when-cross-origin">',
            f"<title>{html_text(page.title)}</title>",
            f'<link rel="icon" href="{ICON}">',
            *styles,
            first,
            "</head>\n<body>",
            f'<main id="still">{page.still}</main>',
            _body(page, frame),
            block,
            *scripts,
            "</body>\n</html>\n",
        ]
    )


def _body(page: Page, frame: Frame) -> str:
    """Lay out what our scripts fill; constant markup."""
    return "\n".join(
        [
            '<div id="paper-head" aria-hidden="true"></div>',
            f'<main id="page">\n<section id="panel" aria-label="{page.about}"></section>',
            '<section id="card" aria-label="About the chosen part"></section>',
            '<section id="choice" aria-label="What is shown"></section>',
            f'<section id="plan" aria-label="Map">{frame.html}</section>',
            '<div id="says"></div>',
            '<div id="tools" role="toolbar" aria-label="Tools"></div>\n</main>',
            '<div id="paper" aria-hidden="true"></div>',
        ]
    )

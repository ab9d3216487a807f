"""Styles of the layers of a GeoPackage: the colours of the map, as SLD (OGC 05-078) and as the QML of desktop GIS.

Which kind belongs to which colour is asked by words in the kind, as on the map, so that kinds that nobody thought of
have a colour too.
"""

from collections.abc import Iterator
from xml.sax.saxutils import escape, quoteattr

from asbuilt.output.map.symbols import GROUP_WORDS, GROUPS, Group

_GROUP = {group.key: group for group in GROUPS}
_PLACE_SIZE, _LINE_WIDTH = 3, 0.6  #: millimetres
_PIXELS_A_MM = 3.6
"""SLD counts in pixels of 0.28 mm (OGC 05-078, 11.1.3)."""


def layer_styles(name: str, title: str, geometry_type: str) -> tuple[str, str]:
    """Give the style of a layer as QML and as SLD.

    Parameters
    ----------
    name, title
        Of the layer.
    geometry_type
        Point, LineString or Polygon.
    """
    rules = list(_rules(name))
    return _qml(rules, geometry_type), _sld(name, title, rules, geometry_type)


def _rules(layer: str) -> Iterator[tuple[Group, tuple[str, ...] | None]]:
    """Give the groups with the words of their kinds, the first match first; None = all the rest."""
    if layer.startswith("building") or layer == "reference_points":
        yield _GROUP["reference" if layer == "reference_points" else "building"], None
        return
    for key, words in GROUP_WORDS.items():
        yield _GROUP[key.strip()], _plain_words(words)
    yield _GROUP["other"], None


def _plain_words(pattern: str) -> tuple[str, ...]:
    """Take the alternatives of a pattern apart into plain words, which the filters of SLD can look for.

    Examples
    --------
    >>> _plain_words("alarm|storm ?water|property (line|corner)|electric(al|ity)?|d-?box")
    ('alarm', 'storm water', 'stormwater', 'property line', 'property corner', 'electric', 'd-box', 'dbox')
    """
    found: list[str] = []
    for part in _alternatives(pattern):
        head, bracket, rest = part.partition("(")
        inner, _, tail = rest.partition(")")
        if bracket and tail == "?":
            found.append(head)
        elif bracket:
            found += [head + each + tail for each in inner.split("|")]
        elif "?" in part:
            at = part.index("?")
            found += [part.replace("?", ""), part[: at - 1] + part[at + 1 :]]
        else:
            found.append(part)
    return tuple(found)


def _alternatives(pattern: str) -> Iterator[str]:
    depth, begin = 0, 0
    for at, sign in enumerate(pattern):
        depth += (sign == "(") - (sign == ")")
        if sign == "|" and depth == 0:
            yield pattern[begin:at]
            begin = at + 1
    yield pattern[begin:]


# ------------------------------------------------------------ SLD


def _sld(name: str, title: str, rules: list[tuple[Group, tuple[str, ...] | None]], geometry_type: str) -> str:
    body = "".join(_sld_rule(group, words, rules[:place], geometry_type) for place, (group, words) in enumerate(rules))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<StyledLayerDescriptor xmlns="http://www.opengis.net/sld" xmlns:ogc="http://www.opengis.net/ogc" '
        'xmlns:se="http://www.opengis.net/se" version="1.1.0">'
        f"<NamedLayer><se:Name>{escape(name)}</se:Name><UserStyle><se:Name>{escape(name)}</se:Name>"
        f"<se:FeatureTypeStyle><se:Description><se:Title>{escape(title)}</se:Title></se:Description>{body}"
        "</se:FeatureTypeStyle></UserStyle></NamedLayer></StyledLayerDescriptor>\n"
    )


def _sld_rule(
    group: Group,
    words: tuple[str, ...] | None,
    before: list[tuple[Group, tuple[str, ...] | None]],
    geometry_type: str,
) -> str:
    """Write one rule; those before it are excluded, because all rules that match are drawn."""
    taken = [word for _, earlier in before for word in earlier or ()]
    parts = ([_like_any(words)] if words else []) + ([f"<ogc:Not>{_like_any(taken)}</ogc:Not>"] if taken else [])
    condition = parts[0] if len(parts) == 1 else f"<ogc:And>{''.join(parts)}</ogc:And>" if parts else ""
    chosen = f"<ogc:Filter>{condition}</ogc:Filter>" if condition else ""
    return (
        f"<se:Rule><se:Name>{escape(group.key)}</se:Name><se:Description><se:Title>{escape(group.title)}</se:Title>"
        f"</se:Description>{chosen}{_sld_symbol(group, geometry_type)}</se:Rule>"
    )


def _like_any(words: tuple[str, ...] | list[str]) -> str:
    likes = [
        '<ogc:PropertyIsLike matchCase="false" wildCard="*" singleChar="_" escapeChar="\\">'
        f"<ogc:PropertyName>kind</ogc:PropertyName><ogc:Literal>*{escape(word)}*</ogc:Literal></ogc:PropertyIsLike>"
        for word in words
    ]
    return likes[0] if len(likes) == 1 else f"<ogc:Or>{''.join(likes)}</ogc:Or>"


def _sld_symbol(group: Group, geometry_type: str) -> str:
    width = round(_LINE_WIDTH * _PIXELS_A_MM, 1)
    line = f'<se:SvgParameter name="stroke">{group.colour}</se:SvgParameter>' + (
        f'<se:SvgParameter name="stroke-width">{width}</se:SvgParameter>'
    )
    if group.dash:
        line += f'<se:SvgParameter name="stroke-dasharray">{group.dash}</se:SvgParameter>'
    fill = f'<se:SvgParameter name="fill">{group.fill or group.colour}</se:SvgParameter>'
    if geometry_type == "LineString":
        return f"<se:LineSymbolizer><se:Stroke>{line}</se:Stroke></se:LineSymbolizer>"
    if geometry_type == "Polygon":
        thin = fill + '<se:SvgParameter name="fill-opacity">0.3</se:SvgParameter>'
        return f"<se:PolygonSymbolizer><se:Fill>{thin}</se:Fill><se:Stroke>{line}</se:Stroke></se:PolygonSymbolizer>"
    return (
        f"<se:PointSymbolizer><se:Graphic><se:Mark><se:WellKnownName>circle</se:WellKnownName>"
        f"<se:Fill>{fill}</se:Fill></se:Mark><se:Size>{round(_PLACE_SIZE * _PIXELS_A_MM)}</se:Size></se:Graphic>"
        "</se:PointSymbolizer>"
    )


# ------------------------------------------------------------ QML


def _qml(rules: list[tuple[Group, tuple[str, ...] | None]], geometry_type: str) -> str:
    kind = {"LineString": "line", "Polygon": "fill"}.get(geometry_type, "marker")
    body, symbols, taken = "", "", list[str]()
    for number, (group, words) in enumerate(rules):
        own = _matches(words) if words else ""
        condition = " AND ".join(part for part in (own, f"NOT ({_matches(taken)})" if taken else "") if part)
        chosen = f" filter={quoteattr(condition)}" if condition else ""
        body += f'<rule key="r{number}" symbol="{number}" label={quoteattr(group.title)}{chosen}/>'
        symbols += f'<symbol type="{kind}" name="{number}" alpha="1">{_qml_symbol(group, kind)}</symbol>'
        taken += words or ()
    return (
        '<!DOCTYPE qgis PUBLIC "http://mrcc.com/qgis.dtd" "SYSTEM">\n<qgis version="3.22" styleCategories="Symbology">'
        f'<renderer-v2 type="RuleRenderer" symbollevels="0" forceraster="0"><rules key="all">{body}</rules>'
        f"<symbols>{symbols}</symbols></renderer-v2></qgis>\n"
    )


def _matches(words: tuple[str, ...] | list[str]) -> str:
    return " OR ".join(f"\"kind\" ILIKE '%{word}%'" for word in words)


def _qml_symbol(group: Group, kind: str) -> str:
    colour, fill = _rgba(group.colour), _rgba(group.fill or group.colour, 77 if kind == "fill" else 255)
    pen = "dash" if group.dash else "solid"
    if kind == "line":
        own = {"line_color": colour, "line_width": _LINE_WIDTH, "line_width_unit": "MM", "line_style": pen}
        return _qml_layer("SimpleLine", own)
    if kind == "fill":
        edge = {"outline_color": colour, "outline_width": _LINE_WIDTH, "outline_width_unit": "MM"}
        return _qml_layer("SimpleFill", {"color": fill, "style": "solid", "outline_style": pen, **edge})
    own = {"name": "circle", "color": fill, "outline_color": "255,255,255,255", "size": _PLACE_SIZE, "size_unit": "MM"}
    return _qml_layer("SimpleMarker", own)


def _qml_layer(name: str, options: dict[str, object]) -> str:
    held = "".join(f'<prop k="{key}" v="{value}"/>' for key, value in options.items())
    return f'<layer class="{name}" enabled="1" locked="0" pass="0">{held}</layer>'


def _rgba(colour: str, alpha: int = 255) -> str:
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return f"{red},{green},{blue},{alpha}"

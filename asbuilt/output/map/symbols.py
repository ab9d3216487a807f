"""Colours and symbols of the map: which kind of thing belongs to which group, as data."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from asbuilt.output.features import Feature


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
    Group("proposed", "Proposed, not built", "#111111", "12 4 3 4", fill="#ffffff"),
    Group("gone", "No longer in the ground", "#6b6b6b", "2 8", shown=False),
)
"""Colours by the APWA Uniform Color Code: green sewers and drains, blue potable water, red electric, orange
communication and alarm, yellow gas and oil, purple reclaimed water, pink survey, white proposed excavation (here
ground kept for it, and what somebody would build). Shades are darkened until they stand out on a light ground in the
sun; dashes are our own."""

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
    if feature.role in ("building", "reference", "proposed"):
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

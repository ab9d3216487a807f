"""An invented property on which nothing is lacking before it is covered, and five faults that can be put into it.

Everything lies where `PLACES` says, in feet from the house's SW corner; tapes are reckoned from there and written to
the half inch, rod readings to the hundredth of a foot.
"""

import math
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Any

from asbuilt.units import FOOT_M, format_length

DAY = date(2026, 5, 2)
NAME = "Backfill Lane 5 (invented)"

CORNERS = {"SW": (0.0, 0.0), "SE": (48.0, 0.0), "NE": (48.0, 26.0), "NW": (0.0, 26.0)}

PLACES: dict[str, tuple[float, float]] = {
    "septic tank/inlet lid": (25.5, 42.5),
    "septic tank/outlet lid": (32.5, 42.5),
    "pump tank/lid": (12.0, 42.5),
    "pump tank/west end": (9.0, 42.5),
    "building sewer/house exit": (23.0, 26.5),
    "building sewer/tank inlet": (23.5, 42.5),
    "effluent line/tank outlet": (34.5, 42.5),
    "effluent line/bend": (34.5, 49.0),
    "effluent line/pump tank inlet": (12.0, 45.5),
    "transport line/pump tank outlet": (9.0, 44.0),
    "transport line/manifold end": (-25.0, 60.0),
    "lateral 1/near end": (-25.0, 62.0),
    "lateral 1/turn-up": (-65.0, 62.0),
    "lateral 2/near end": (-25.0, 70.0),
    "lateral 2/turn-up": (-65.0, 70.0),
    "electrical cable/panel end": (10.0, 26.5),
    "electrical cable/bend": (6.0, 36.0),
    "electrical cable/tank end": (10.5, 40.5),
    "control panel/centre": (10.0, 26.5),
    "well/casing": (110.0, 42.5),
    "water line/at well": (109.0, 42.0),
    "water line/house entry": (48.5, 13.0),
    "property line/pin 1": (-85.0, -30.0),
    "property line/pin 2": (-85.0, 120.0),
    "property line/pin 3": (125.0, 120.0),
    "property line/pin 4": (125.0, -30.0),
    "reserve area/corner 1": (-65.0, 80.0),
    "reserve area/corner 2": (-25.0, 80.0),
    "reserve area/corner 3": (-25.0, 95.0),
    "reserve area/corner 4": (-65.0, 95.0),
}
"""True places, feet east and north of the SW corner."""

INVERTS = {
    "building sewer/house exit": 97.00,
    "building sewer/tank inlet": 96.50,
    "effluent line/tank outlet": 96.25,
    "effluent line/pump tank inlet": 95.60,
    "lateral 1/near end": 95.00,
    "lateral 1/turn-up": 95.00,
    "lateral 2/near end": 94.50,
    "lateral 2/turn-up": 94.50,
}
"""True elevations of inverts, feet; the SW corner's mark is 100.00."""

COMPONENTS: list[dict[str, str]] = [
    {
        "name": "septic tank",
        "kind": "septic tank",
        "shape": "box",
        "length": "11' 0\"",
        "width": "5' 0\"",
        "height": "5' 6\"",
        "wall": '3"',
        "weight_lb": "11000",
        "cover": "1' 6\"",
        "groundwater": "7' 0\"",
    },
    {
        "name": "pump tank",
        "kind": "pump tank",
        "shape": "box",
        "length": "6' 0\"",
        "end_to_lid": "3' 0\"",
        "width": "4' 6\"",
        "height": "5' 0\"",
        "wall": '3"',
        "weight_lb": "6000",
        "cover": "1' 6\"",
        "groundwater": "7' 0\"",
    },
    {"name": "building sewer", "kind": "building sewer", "shape": "line", "marker": "warning tape"},
    {"name": "effluent line", "kind": "effluent line", "shape": "line", "marker": "warning tape"},
    {
        "name": "transport line",
        "kind": "transport line",
        "shape": "line",
        "marker": "tracer wire",
        "marker_end": "in the pump tank's riser",
    },
    *(
        {
            "name": f"lateral {k}",
            "kind": "lateral",
            "shape": "line",
            "width": "3' 0\"",
            "marker": "steel rod",
            "orifice": '3/16"',
        }
        for k in (1, 2)
    ),
    {"name": "electrical cable", "kind": "electrical cable", "shape": "line", "marker": "red tape"},
    {"name": "control panel", "kind": "control panel", "shape": "point"},
    {"name": "well", "kind": "well", "shape": "point"},
    {"name": "water line", "kind": "water line", "shape": "line", "marker": "tracer wire", "marker_end": "at the well"},
    {"name": "property line", "kind": "property line", "shape": "area", "shown_by": "the owner"},
    {"name": "reserve area", "kind": "reserve area", "shape": "area"},
]

READINGS = [
    ("septic tank", "watertightness", "passed"),
    ("pump tank", "watertightness", "passed"),
    ("building sewer", "plumbing-test", "passed"),
    ("pump tank", "float-off", '12"'),
    ("pump tank", "float-on", '18"'),
    ("pump tank", "float-alarm", '24"'),
    ("pump tank", "drawdown", '5"'),
    ("pump tank", "drawdown-time", "1 min"),
    ("pump tank", "alarm-test", "passed"),
    *(
        (f"lateral {k}", reading, value)
        for k in (1, 2)
        for reading, value in (
            ("squirt-first", "5' 4\""),
            ("squirt-last", "5' 1\""),
            ("depth-uphill", "2' 0\""),
            ("depth-downhill", "1' 10\""),
        )
    ),
]

PROPERTY = f"""
name = "{NAME}"
units = "ft-in"
permit = "OSS-5 (invented)"
authority = "Hollow Mere Health District (invented)"

[measured]
by = "tester"
on = 2026-05-02
care = "careful"
level_tolerance = '1/2"'

[benchmark]
on = "SW"
elevation = "100.00 ft"

[panel]
breaker = "no. 14"
alarm_breaker = "no. 16"

[inspection]
state = "released"
released_on = 2026-05-01
by = "the district (invented)"

[drawing]
as_designed = true
"""

OPENINGS = (
    "septic tank/inlet lid",
    "septic tank/outlet lid",
    "pump tank/lid",
    "lateral 1/turn-up",
    "lateral 2/turn-up",
)


@dataclass
class Site:
    """What is on the property, to be changed before it is written."""

    places: dict[str, tuple[float, float]] = field(default_factory=lambda: dict(PLACES))
    inverts: dict[str, float] = field(default_factory=lambda: dict(INVERTS))
    components: list[dict[str, str]] = field(default_factory=lambda: [dict(each) for each in COMPONENTS])
    readings: list[tuple[str, str, str]] = field(default_factory=lambda: list(READINGS))
    photos: list[str] = field(default_factory=lambda: list(OPENINGS))
    two_tapes: list[str] = field(default_factory=list)  #: points with two tapes and a side only
    toml: str = PROPERTY
    files: dict[str, str] = field(default_factory=dict)  #: further TOML files, such as a rule profile

    def component(self, name: str) -> dict[str, str]:
        """Give one row of components.csv."""
        return next(each for each in self.components if each["name"] == name)

    def sheets(self) -> dict[str, Any]:
        """Write it as sheets."""
        return {
            "property": self.toml,
            **self.files,
            "reference_points": [["name", "description"], *([name, f"mark at {name}"] for name in CORNERS)],
            "walls": [["from", "to", "length", "turn"], *self._walls()],
            "points": [self._heading(), *(self._point(name) for name in self.places)],
            "components": self._components(),
            "levels": self._levels(),
            "readings": [
                ["on", "component", "reading", "value"],
                *([DAY.isoformat(), *reading] for reading in self.readings),
            ],
        }

    def _walls(self) -> list[list[str]]:
        ends = list(CORNERS)
        pairs = zip(ends, [*ends[1:], ends[0]], strict=True)
        return [[a, b, feet(math.dist(CORNERS[a], CORNERS[b])), "L"] for a, b in pairs]

    def _heading(self) -> list[str]:
        tapes = [f"{word}{k}" for k in range(1, 5) for word in ("from", "tape")]
        return ["component", "point", *tapes, "side", "held", "size", "photo", "pin", "depth", "depth_to"]

    def _point(self, name: str) -> list[str]:
        component, _, point = name.partition("/")
        corners = ["NW", "NE"] if name in self.two_tapes else list(CORNERS)
        tapes = [each for c in corners for each in (c, feet(math.dist(CORNERS[c], self.places[name])))]
        tapes += [""] * (8 - len(tapes))
        side = ("left of NW > NE" if self.places[name][1] > 26 else "right of NW > NE") if len(corners) == 2 else ""
        pipe = component in ("building sewer", "effluent line")
        return [
            component,
            point,
            *tapes,
            side,
            "level",
            '4"' if pipe else "",
            "photo.jpg" if name in self.photos else "",
            "found" if component == "property line" else "",
            "2' 0\"" if pipe else "",
            "invert" if pipe else "",
        ]

    def _components(self) -> list[list[str]]:
        columns = list(dict.fromkeys(key for each in self.components for key in each))
        return [columns, *([each.get(column, "") for column in columns] for each in self.components)]

    def _levels(self) -> list[list[str]]:
        rows = [["setup", "on", "to", "backsight [ft]", "foresight [ft]", "distance [ft]"]]
        rows.append(["1", "SW", "top", "4.00", "", "50"])
        at = [(name, elevation) for name, elevation in self.inverts.items() if name in self.places]
        return [*rows, *([["1", name, "invert", "", f"{104 - elevation:.2f}", "50"] for name, elevation in at])]


def feet(number: float) -> str:
    """Write feet as a tape is read: to the half inch."""
    return format_length(number * FOOT_M, "ft-in", Fraction(1, 2))


def faulty() -> Site:
    """Give the property with five faults: cable end, trench, well, third tie, photo."""
    site = Site()
    del site.places["electrical cable/tank end"]
    site.inverts["lateral 1/turn-up"] -= 1 / 12
    site.places["well/casing"] = (81.0, 42.5)
    site.places["water line/at well"] = (80.0, 42.0)
    site.two_tapes.append("septic tank/inlet lid")
    site.photos.remove("septic tank/outlet lid")
    return site

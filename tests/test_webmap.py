"""The map document: nothing typed is ever markup or template, nothing comes from the network, same in = same out."""

import dataclasses
import json
import re
from datetime import date
from hashlib import sha256
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path
from typing import Any

import branca.element
import folium
import pytest
from shapely.geometry import LineString, MultiPoint, Point, Polygon

from asbuilt.output import webmap
from asbuilt.output.features import Feature
from asbuilt.output.webmap import STREETS, Background, BackgroundError, FrameError, MapSheet, render_map

ASSETS = files("asbuilt.output").joinpath("assets")

PAYLOADS = (
    "</script><script>window.pwned=1</script>",
    "<img src=x onerror=window.pwned=1>",
    "`;window.pwned=1;`",
    "${window.pwned=1}",
    "{{ cycler.__init__.__globals__.os.mkdir('pwned-by-template') }}",
    "\"'><svg onload=window.pwned=1>",
    "</noscript></title></style><script>window.pwned=1</script>",
    "cost {{5}}",
    "{% endfor %}",
    "lot {# 3",
    "<!--<script>",
    "line\u2028separator\u2029end",
    "javascript:window.pwned=1",
    "__proto__",
    "caf\u00e9 \U0001f4a7 \ud800 half a pair",
)
"""Texts that broke or ran in a map made by folium alone, and their relatives."""


# ------------------------------------------------------------ a small invented property

EAST_M, NORTH_M = webmap.metres_per_degree(45.0)


def at(x_m: float, y_m: float) -> tuple[float, float]:
    """Put a place of the house frame in the middle of an ocean, where nobody lives."""
    return -30.0 + x_m / EAST_M, 45.0 + y_m / NORTH_M


MARKS = {"A": (0, 0), "B": (12, 0), "C": (12, 7), "D": (0, 9)}


def measured(
    component: str, point: str, kind: str, x_m: float, y_m: float, marks: str, **more: Any
) -> Feature:
    """Make a located point with a reading from each of the marks."""
    ties = []
    for mark in marks:
        inches = round(((x_m - MARKS[mark][0]) ** 2 + (y_m - MARKS[mark][1]) ** 2) ** 0.5 / 0.0254)
        reading = f"{inches // 12}' {inches % 12}\""
        ties.append({"from": mark, "as_read": reading, "from_lonlat": list(at(*MARKS[mark]))})
    attributes = {
        "component": component,
        "point": point,
        "r95_m": 0.05,
        "r95_earth_m": 4.2,
        "accuracy_text": "within 2 in, 19 times in 20",
        "checked": len(marks) > 2,
        "unchecked_because": None if len(marks) > 2 else "only two tapes, nothing to check them by",
        "ties": ties,
        **more,
    }
    return Feature(
        "point", f"{component}/{point}" if point else component, kind, Point(at(x_m, y_m)), attributes
    )


def sample_features() -> tuple[Feature, ...]:
    """Make a house, two tanks, lines, a cable, a well, a water line, a reserve area and their points."""
    due = {
        "property": "Invented Hollow",
        "component": "septic tank",
        "task": "pump out",
        "due_on": "2025-03-14",
        "earliest_on": "2024-11-01",
        "latest_on": "2025-08-20",
        "reason": "published table: 2.6 years for 1,000 gal and 4 people",
        "method": "table",
        "reference": "years by size and people",
        "overdue": True,
    }
    service = [
        {"on": "2019-05-02", "task": "pump out", "by": "an invented pumper", "gallons": 980, "note": "full"},
        {"on": "2022-08-09", "task": "pump out", "by": "an invented pumper", "gallons": 1000, "note": None},
    ]

    def thing(name: str, kind: str, geometry: Any, **attributes: Any) -> Feature:
        return Feature("component", name, kind, geometry, attributes)

    corners = [
        Feature(
            "reference", mark, "corner", Point(at(*xy)), {"description": f"corner {mark}, outside of siding"}
        )
        for mark, xy in MARKS.items()
    ]
    pins = [
        Feature("reference", f"pin {i}", "pin", Point(at(*xy)), {"description": "iron pin", "gone_on": None})
        for i, xy in enumerate(((-14, 22), (34, 22)), 1)
    ]
    return (
        Feature(
            "building",
            "house",
            "house",
            Polygon([at(*xy) for xy in ((0, 0), (12, 0), (12, 7), (5, 7), (5, 9), (0, 9))]),
            {},
        ),
        *corners,
        *pins,
        thing(
            "septic tank",
            "septic tank",
            Polygon([at(*xy) for xy in ((15, -7), (18, -7), (18, -5.2), (15, -5.2))]),
            shape="box",
            volume_gal=1000,
            material="concrete",
            installed_on="2011-06-14",
            due=[due],
            service=service,
        ),
        thing(
            "pump tank",
            "pump tank",
            Polygon([at(*xy) for xy in ((20, -7), (22.2, -7), (22.2, -5.2), (20, -5.2))]),
            volume_gal=750,
        ),
        thing(
            "old tank",
            "septic tank",
            Polygon([at(*xy) for xy in ((-6, -6), (-4, -6), (-4, -4), (-6, -4))]),
            removed_on="2011-06-10",
            status="removed",
        ),
        thing("building sewer", "building sewer", LineString([at(12, 2), at(13.4, 2), at(15, -6.1)])),
        thing("effluent line", "effluent line", LineString([at(22.2, -6.1), at(26, -6.1), at(27, 4)])),
        thing("lateral 1", "lateral", LineString([at(27, 4), at(27, 19)])),
        thing("lateral 2", "lateral", LineString([at(29, 4), at(29, 19)])),
        thing("manifold", "manifold", LineString([at(27, 4), at(29, 4)])),
        thing("pump cable", "electrical cable", LineString([at(12, 5), at(19, 3), at(21, -5.2)])),
        thing("alarm wire", "alarm wire", LineString([at(12, 5), at(19.6, 2.6), at(21.6, -5.2)])),
        thing("control panel", "control panel", Point(at(12, 5))),
        thing("well", "well", Point(at(-10, 16))),
        thing("water line", "water line", LineString([at(-10, 16), at(0, 7)])),
        thing(
            "reserve area",
            "reserve area",
            Polygon([at(*xy) for xy in ((14, 8), (24, 8), (24, 19), (14, 19))]),
            note="keep free of buildings and of traffic",
        ),
        thing("west property line", "property line", LineString([at(-14, -12), at(-14, 22)])),
        thing("lost valve", "valve", None, note="mentioned on an old card, never found"),
        measured(
            "septic tank",
            "inlet lid",
            "septic tank",
            15.5,
            -6.1,
            "ABC",
            depth_text="1' 2\" below grade to top",
            size="24 in",
            photo="lid-1.jpg",
            mark="T1",
            description="centre of the green plastic lid",
        ),
        measured(
            "septic tank", "outlet lid", "septic tank", 17.5, -6.1, "ABC", depth_text="1' 4\" below grade"
        ),
        measured("pump tank", "lid", "pump tank", 21.1, -6.1, "AB", depth_text='6" below grade'),
        measured("building sewer", "cleanout", "building sewer", 13.4, 2, "BCA"),
        measured("building sewer", "bend", "building sewer", 13.4, 1.4, "BC"),
        measured("lateral 1", "turn-up", "lateral", 27, 19, "BC"),
        measured("lateral 2", "turn-up", "lateral", 29, 19, "BCD"),
        measured("lateral 1", "inspection port", "lateral", 27, 12, "BCD"),
        measured("control panel", "", "control panel", 12, 5, "BC"),
        measured("well", "", "well", -10, 16, "ADC"),
        Feature(
            "point",
            "lost valve/lid",
            "valve",
            None,
            {
                "component": "lost valve",
                "point": "lid",
                "checked": False,
                "unchecked_because": "one tape only",
                "ties": [{"from": "old oak", "as_read": "17' 0\"", "from_lonlat": None}],
            },
        ),
    )


def sample_sheet(**changes: Any) -> MapSheet:
    """Make the sheet of the invented property."""
    features = sample_features()
    tank = next(feature for feature in features if feature.name == "septic tank")
    sheet = MapSheet(
        title="Invented Hollow",
        subtitle=("1 Nowhere Lane", "INVENTED for tests: no such place, nobody lives here"),
        units="ft-in",
        features=features,
        placed=True,
        as_of="2026-05-01",
        findings=(
            {
                "code": "unchecked",
                "subject": "pump tank/lid",
                "message": "Two tapes only: a misreading would not show. Pull one from C.",
                "severity": "note",
            },
            {
                "code": "single-tie",
                "subject": "lost valve/lid",
                "message": "One tape does not make a place. Pull two more.",
                "severity": "attention",
            },
        ),
        due=tuple(tank.attributes["due"]),
        cautions=(
            "Never lean into or enter a tank: the gas in it kills in minutes.",
            "Have all utilities marked before you dig, and dig by hand near a cable.",
        ),
    )
    return dataclasses.replace(sheet, **changes)


def hostile(value: Any, payload: str) -> Any:
    """Put the payload into every text of a value, keeping what is not text."""
    if isinstance(value, str):
        return payload
    if isinstance(value, Feature):
        attributes = hostile(dict(value.attributes), payload)
        return Feature(
            value.role, f"{value.name} {payload}", f"{value.kind} {payload}", value.geometry, attributes
        )
    if isinstance(value, dict):
        # A point must still find its component, so these two keep their own word before the payload.
        return {
            key: f"{item} {payload}" if key in ("component", "subject") else hostile(item, payload)
            for key, item in value.items()
        }
    if isinstance(value, list | tuple):
        return type(value)(hostile(item, payload) for item in value)
    return value


def hostile_sheet(payload: str) -> MapSheet:
    """Put the payload into every text field of sheet and features."""
    sheet = sample_sheet()
    return MapSheet(
        title=payload,
        subtitle=hostile(sheet.subtitle, payload),
        units=sheet.units,
        features=hostile(sheet.features, payload),
        placed=True,
        as_of=payload,
        findings=hostile(sheet.findings, payload),
        due=hostile(sheet.due, payload),
        cautions=hostile(sheet.cautions, payload),
    )

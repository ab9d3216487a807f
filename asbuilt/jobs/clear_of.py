"""May this be built here? Something planned, put beside what is recorded, held against the rules of the property."""

import math
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from asbuilt.checks.clear_of import Buried, Clearance, built_over, buried_by, clearances
from asbuilt.errors import PlaceError
from asbuilt.jobs.draw import map_of, show_property
from asbuilt.jobs.locate import Located
from asbuilt.jobs.wall_line import wall_line
from asbuilt.model.components import Component, Point, split_name
from asbuilt.output.features import Feature, on_earth
from asbuilt.output.text.clear_of import ClearAnswer
from asbuilt.record.profiles import profile_of
from asbuilt.record.prompt import Prompt
from asbuilt.record.shape_files import DrawnShape, read_shape
from asbuilt.rules.profile import Profile
from asbuilt.shapes import Outlines
from asbuilt.survey.planned import Planned, put_down, set_out, with_planned
from asbuilt.units import Length

SET_OUT_SIGMA_M = 0.025
"""How well a corner of what is planned is set out: a stake is driven to an inch (our judgement)."""

CIRCLE_CORNERS = 24
"""Corners of the polygon round something round: it is 1 % of the radius too large at most, which is the safe side."""

RADIUS_95 = 2.447747
"""Radius that holds 95 % of a circular normal distribution, in standard deviations of one axis."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Something planned, as it was typed: by offsets from a wall, or in a file."""

    kind: str | None
    wall: str | None = None
    along: str | None = None
    out: str | None = None
    hand: str | None = None
    length: str | None = None  #: along the wall
    width: str | None = None  #: out from the wall; of a drawn line: across it
    radius: str | None = None  #: of something round; along and out lead to its middle
    file: Path | None = None
    same_map: bool = False  #: the file was drawn on a map of ours, so that it is off by as much as the house


@dataclass(frozen=True, slots=True)
class ClearOf:
    """The answer for one thing that is planned."""

    property: str
    units: str
    planned: Component
    area: BaseGeometry  #: in the frame of the solution
    clearances: tuple[Clearance, ...]  #: what breaks a limit first
    buried: tuple[Buried, ...]
    over_buildings: tuple[str, ...]
    profile: Profile
    earth_doubt_m: float  #: how far a shape in longitude and latitude may be off against the house, 95 %


def clear_of(located: Located, wanted: Wanted, today: date) -> ClearOf:
    """Hold something planned against all that is in the ground as on a day.

    Raises
    ------
    PromptError
        If a name or a length of what was typed is wrong.
    SheetError
        If the file cannot be read.
    PlaceError
        If the shape is in longitude and latitude and the property has no place on the earth.
    """
    record = located.record
    prompt = Prompt(record)
    if wanted.file is None:
        component, planned = _typed(located, prompt, wanted)
        doubt = 0.0
    else:
        component, planned, doubt = _drawn(located, prompt, wanted, read_shape(wanted.file))
    standing = tuple(each for each in record.components if each.stands_on(today))
    corners = tuple(Point(component.name, split_name(name)[1], k) for k, name in enumerate(planned.names))
    beside = replace(record, components=(*standing, component), points=(*record.points, *corners))
    outlines = Outlines(beside, with_planned(located.solution, planned))
    area = Polygon(planned.places)
    profile = profile_of(record)
    return ClearOf(
        record.property.name,
        record.property.units,
        component,
        area,
        tuple(clearances(outlines, standing, component, profile)),
        tuple(buried_by(area, standing, located.solution.points, profile)),
        tuple(built_over(outlines, area)),
        profile,
        doubt,
    )


def answer_of(told: ClearOf) -> ClearAnswer:
    """Give the answer as it is shown."""
    return ClearAnswer(
        told.property,
        told.units,
        told.planned.kind,
        told.clearances,
        told.buried,
        told.over_buildings,
        told.profile.local_code,
        told.earth_doubt_m,
    )


def map_with(located: Located, told: ClearOf, today: date) -> str:
    """Draw the map of the property with what is planned on it."""
    lines = [line.strip() for line in answer_of(told).text().splitlines() if line.strip()]
    geometry = on_earth(told.area, located.placement)
    feature = Feature("proposed", told.planned.name, told.planned.kind, geometry, {"lines": lines})
    return map_of(show_property(located, today), proposed=(feature,))


def _typed(located: Located, prompt: Prompt, wanted: Wanted) -> tuple[Component, Planned]:
    """Set out a rectangle or a circle from a wall."""
    line = wall_line(located, prompt, wanted.wall or "", wanted.hand)
    along = _length(prompt, "--along", wanted.along)
    out = _length(prompt, "--out", wanted.out)
    if wanted.radius is not None:
        radius = _length(prompt, "--radius", wanted.radius)
        prompt.stop()
        assert line is not None  # noqa: S101 - else it was noted
        corners = [(along + x, out + y) for x, y in _circle(radius)]
    else:
        length, width = _length(prompt, "--length", wanted.length), _length(prompt, "--width", wanted.width)
        prompt.stop()
        assert line is not None  # noqa: S101 - else it was noted
        corners = [(along + x, out + y) for x, y in ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width))]
    a, b, hand = line
    component = _component(located, prompt, wanted.kind or "")
    sign = 1.0 if hand == "left" else -1.0
    signed = [(x, sign * y) for x, y in corners]
    return component, set_out(located.solution, component.name, (a, b), signed, SET_OUT_SIGMA_M)


def _drawn(located: Located, prompt: Prompt, wanted: Wanted, shape: DrawnShape) -> tuple[Component, Planned, float]:
    """Lay a drawn shape into the plane of the property; a line gets its width, a point its radius."""
    placement = located.placement
    if placement is None:
        raise PlaceError(
            f"{located.record.property.name} has no place on the earth, so a shape in longitude and latitude cannot be "
            "laid beside it; give offsets from a wall: --wall, --along, --out, --length, --width"
        )
    east, north = placement.frame.to_plane(*np.array(shape.corners).T)
    places = placement.fit.unlay(np.stack([east, north], axis=-1))
    if shape.form == "LineString":
        half = _length(prompt, "--width", wanted.width) / 2
        prompt.stop()
        places = np.array(LineString(places).buffer(half, cap_style="flat", join_style="mitre").exterior.coords[:-1])
    elif shape.form == "Point":
        radius = _length(prompt, "--radius", wanted.radius)
        prompt.stop()
        places = places[0] + np.array(_circle(radius))
    component = _component(located, prompt, wanted.kind or shape.kind or "")
    doubt = 0.0 if wanted.same_map else min(placement.r95_earth_m.values())
    return component, put_down(component.name, places, math.hypot(doubt / RADIUS_95, SET_OUT_SIGMA_M)), doubt


def _component(located: Located, prompt: Prompt, kind: str) -> Component:
    """Make the planned component, under a name that nothing recorded has."""
    if not kind.strip():
        accepted = "accepted: a word such as shed, patio, pool, drive, tree; in a file the property kind, or --kind"
        prompt.refuse("SHAPE", "does not say what it is", accepted)
    prompt.stop()
    taken = {each.name for each in located.record.components} | set(prompt.components)
    name = next(name for n in range(1, 1000) if (name := f"planned {kind}" + (f" {n}" if n > 1 else "")) not in taken)
    return Component(name, kind, "area")


def _length(prompt: Prompt, what: str, words: str | None) -> float:
    """Read a length, metres; 0 where it was noted as wrong."""
    if words is None:
        prompt.refuse(what, "is missing", "give it as a length")
        return 0.0
    if words.strip() == "0":
        return 0.0
    read: Length | None = prompt.cell(what, "length", words)
    return 0.0 if read is None else read.metres


def _circle(radius: float) -> list[tuple[float, float]]:
    """Give corners whose sides touch a circle from outside."""
    outer = radius / math.cos(math.pi / CIRCLE_CORNERS)
    turns = [2 * math.pi * k / CIRCLE_CORNERS for k in range(CIRCLE_CORNERS)]
    return [(outer * math.cos(turn), outer * math.sin(turn)) for turn in turns]

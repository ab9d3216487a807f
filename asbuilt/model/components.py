"""Things in the ground and the measured points of each."""

import math
from dataclasses import dataclass
from datetime import date

from asbuilt.units import Length

SHAPES = ("point", "line", "area", "box")
"""How a component's points make its outline."""

FORMS = ("box", "round", "lying")
"""The body of a tank: a box, an upright cylinder, a lying one (length by width = its diameter)."""


KNOWN_BY = ("open", "probed", "detected", "drawing", "told")
"""How a place is known, the surest first: measured while it lay open, felt with a probe, found from above with an
instrument, taken from an older drawing, or told by somebody."""

PINS = ("found", "not found")
"""Whether the pin at a corner of an apparent property line was seen."""

ABANDONED = "abandoned"
"""Stands in the `status` of what was left in the ground out of use."""


@dataclass(frozen=True, slots=True)
class Component:
    """A thing in the ground."""

    name: str
    kind: str  #: septic tank, pump tank, riser, cleanout, lateral, electrical cable, well ...
    shape: str | None = None  #: one of SHAPES; None = from the number of points
    length: Length | None = None
    width: Length | None = None
    height: Length | None = None
    volume_gal: float | None = None  #: nominal volume, US gallons
    liquid_depth: Length | None = None
    material: str | None = None
    installed_on: date | None = None
    removed_on: date | None = None
    replaces: str | None = None
    status: str | None = None
    note: str | None = None
    outlet_depth: Length | None = None  #: bottom of the outlet baffle below the liquid level
    compartments: str | None = None  #: US gallons of each in the order of the flow: inlet 840, outlet 410
    follows: str | None = None  #: the tank that this one takes its flow from, in series
    form: str | None = None  #: one of FORMS; None = a box
    wall: Length | None = None  #: thickness of its walls; length, width and height are outside sizes
    weight_lb: float | None = None  #: of the empty tank, pounds
    cover: Length | None = None  #: soil over its top, below finished grade
    groundwater: Length | None = None  #: the highest groundwater known beside it, below finished grade
    gal_per_in: float | None = None  #: US gallons in an inch of depth, as its maker states them
    pipe: str | None = None  #: nominal size and schedule of a line: 2 in sch 40
    drains_back: bool | None = None  #: the line runs empty into the pump tank after each dose
    marker: str | None = None  #: tracer wire, warning tape or buried marker laid with it
    marker_end: str | None = None  #: where the end of its tracer wire comes up
    closed_how: str | None = None  #: how what was abandoned in place was closed: pumped, crushed, filled with sand
    shown_by: str | None = None  #: who showed where an apparent property line or an easement runs
    orifice: Length | None = None  #: diameter of the holes of a lateral
    orifices: int | None = None  #: how many holes a lateral has
    spacing: Length | None = None  #: of the holes along a lateral
    end_to_lid: Length | None = None  #: from the outside of a tank's end to its first point, along it to the second
    side_to_lid: Length | None = None  #: from its left side, seen that way, to its first point; None = half its width

    def stands_on(self, day: date) -> bool:
        """Tell whether the component is in the ground on that day."""
        begun = self.installed_on is None or self.installed_on <= day
        return begun and (self.removed_on is None or self.removed_on > day)


@dataclass(frozen=True, slots=True)
class Point:
    """One measured place of a component, such as the centre of a lid."""

    component: str
    point: str
    order: float | None = None  #: place along a line or round an area
    mark: str | None = None  #: what was chalked beside it
    size: str | None = None
    depth: Length | None = None  #: below finished grade
    depth_to: str | None = None  #: top or invert
    description: str | None = None
    photo: str | None = None
    known_by: str | None = None  #: one of KNOWN_BY; None = measured while open
    color: str | None = None
    material: str | None = None
    landmark: str | None = None  #: where it is in the words of today: 9 paces from the back door
    pin: str | None = None  #: of a property line: one of PINS

    @property
    def name(self) -> str:
        """Full name, such as `septic tank/inlet lid`."""
        return full_name(self.component, self.point)


COMPARTMENTS_ACCEPTED = "accepted: the US gallons of each compartment, such as inlet 840, outlet 410"


def parse_compartments(text: str) -> dict[str, float]:
    """Read the gallons of each compartment, in the order of the flow; names in small letters.

    Raises
    ------
    ValueError
        If it is not names with gallons above 0; the text says what is accepted.

    Examples
    --------
    >>> parse_compartments("Inlet 840, outlet 410")
    {'inlet': 840.0, 'outlet': 410.0}
    """
    parts: dict[str, float] = {}
    for part in text.casefold().split(","):
        name, _, gallons = part.strip().rpartition(" ")
        name = " ".join(name.split())
        try:
            volume = float(gallons)
        except ValueError:
            raise ValueError(COMPARTMENTS_ACCEPTED) from None
        if not name or name in parts or not (math.isfinite(volume) and volume > 0):
            raise ValueError(COMPARTMENTS_ACCEPTED)
        parts[name] = volume
    return parts


def full_name(component: str, point: str) -> str:
    """Join a component's name and a point's name into the name used in ties."""
    return f"{component}/{point}" if point else component


def split_name(name: str) -> tuple[str, str]:
    """Undo `full_name`: a name without a slash is a component of one point."""
    component, _, point = name.partition("/")
    return component, point

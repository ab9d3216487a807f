"""From a solved property to features: one list that the map, the GeoJSON and the other files are written from."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True)
class Feature:
    """One thing with a place: a component, a measured point, a reference point or a building."""

    role: str  #: component, point, reference or building
    name: str
    kind: str  #: kind of the component, also for its points; "corner", "pin" ... for a reference point
    geometry: BaseGeometry | None  #: longitude, latitude in degrees (WGS 84); None = could not be located
    attributes: Mapping[str, Any] = field(default_factory=dict)  #: plain JSON values

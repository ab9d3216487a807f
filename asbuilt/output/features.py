"""From a solved property to features: one list that the map, the GeoJSON and the other files are written from."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
from shapely import transform
from shapely.geometry import LineString
from shapely.geometry import Point as Place
from shapely.geometry.base import BaseGeometry

from asbuilt.model.components import Component, Point
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.walks import split_walks
from asbuilt.output.heights import Heights
from asbuilt.service.schedule import Due
from asbuilt.shapes import Outlines, building_outline
from asbuilt.survey.earth import LocalFrame, Placement
from asbuilt.survey.solution import Position, Solution
from asbuilt.units import Length, format_small


@dataclass(frozen=True, slots=True)
class Feature:
    """One thing with a place: a component, a measured point, a reference point or a building."""

    role: str  #: component, point, reference or building
    name: str
    kind: str  #: kind of the component, also for its points; "corner", "pin" ... for a reference point
    geometry: BaseGeometry | None  #: longitude, latitude in degrees (WGS 84); None = could not be located
    attributes: Mapping[str, Any] = field(default_factory=dict)  #: plain JSON values
    heights_m: tuple[float, ...] | None = None  #: elevation of each vertex of a point or line; None = not all known


def build_features(
    record: PropertyRecord, solution: Solution, placement: Placement | None, dues: Sequence[Due] = ()
) -> tuple[Feature, ...]:
    """Make the features of one property: buildings, components, their points, reference points.

    Parameters
    ----------
    placement
        None draws the property round latitude 0, longitude 0, true to scale, for a map that shows no coordinates.
    """
    return tuple(_Builder(record, solution, placement, dues).build())


def accuracy_words(position: Position, units: str) -> str | None:
    """Say how well a place is known: `within 2 in, 19 times in 20`; None where it could not be located."""
    if position.r95_m is None:
        return None
    return f"within {format_small(position.r95_m, units)}, 19 times in 20"


class _Builder:
    def __init__(
        self, record: PropertyRecord, solution: Solution, placement: Placement | None, dues: Sequence[Due]
    ) -> None:
        self.record = record
        self.units = record.property.units
        self.placement = placement
        self.dues = dues
        self.positions = {p.name: p for p in (*solution.references, *solution.points)}
        self.places = {name: p.place for name, p in self.positions.items() if p.place is not None}
        self.rows = {point.name: point for point in record.points}
        self.heights = Heights(record, solution.levels)
        self.outlines = Outlines(record, solution)

    def build(self) -> Iterable[Feature]:
        yield from self._buildings()
        for component in self._components():
            names = self.record.points_of(component.name) if self._is_last(component) else ()
            yield self._component(component, names)
            for name in names:
                yield self._point(name, component)
        for reference in self.record.reference_points:
            attributes = {"description": reference.description, "gone_on": _iso(reference.gone_on)}
            geometry = self._spot(reference.name)
            attributes |= self._accuracy(self.positions[reference.name])
            attributes |= self.heights.elevation_attributes(reference.name)
            kind = reference.kind or "reference point"
            yield Feature("reference", reference.name, kind, geometry, attributes, self.heights.along([reference.name]))

    def _components(self) -> list[Component]:
        """All components: those of the sheet, and those that only points name."""
        listed = list(self.record.components)
        known = {component.name for component in listed}
        named = dict.fromkeys(self.record.component_of(name) for name in self.record.point_names())
        return listed + [Component(name, "unknown") for name in named if name not in known]

    def _of_name(self, component: Component) -> list[Component]:
        """All components that were ever called so, the one that was taken out first first."""
        same = [one for one in self.record.components if one.name == component.name]
        return sorted(same, key=lambda one: (one.removed_on or date.max, one.installed_on or date.min))

    def _is_last(self, component: Component) -> bool:
        """Tell whether the points of that name are this component's: where one replaced another, the last one's."""
        same = self._of_name(component)
        return not same or same[-1] is component

    def _buildings(self) -> Iterable[Feature]:
        for walk in split_walks(self.record.walls):
            geometry = building_outline(walk, self.places)
            if geometry is not None:
                name = f"building at {walk.corners[0]}"
                yield Feature("building", name, "building", self._earth(geometry))

    def _component(self, component: Component, names: Sequence[str]) -> Feature:
        placed = [self.places[name] for name in names if name in self.places]
        geometry = self.outlines.line_of(component.name) if placed else None
        attributes = {
            "property": self.record.property.name,
            "shape": component.shape,
            "material": component.material,
            "length": _read(component.length),
            "width": _read(component.width),
            "height": _read(component.height),
            "volume_gal": component.volume_gal,
            "installed_on": _iso(component.installed_on),
            "removed_on": _iso(component.removed_on),
            "replaces": component.replaces,
            "status": component.status,
            "note": component.note,
            "points": len(names),
            "points_located": len(placed),
            **self._worst([self.positions[name] for name in names]),
            "due": [d.as_json() for d in self.dues if d.component == component.name]
            if self._is_last(component)
            else [],
            "service": self._service(component),
        }
        heights = None
        if isinstance(geometry, LineString) or len(placed) == 1:
            heights = self.heights.along([name for name in names if name in self.places])
        return Feature("component", component.name, component.kind, self._earth(geometry), attributes, heights)

    def _point(self, name: str, component: Component) -> Feature:
        row = self.rows.get(name) or Point(component.name, name.partition("/")[2])
        position = self.positions[name]
        attributes = {
            "property": self.record.property.name,
            "component": component.name,
            "point": row.point,
            "mark": row.mark,
            "size": row.size,
            **self.heights.depth_attributes(name),
            **self.heights.elevation_attributes(name),
            "description": row.description,
            "photo": row.photo,
            **self._accuracy(position),
            "ties": [self._tie(tie.from_, tie.as_read, tie.residual_m) for tie in position.ties],
        }
        return Feature("point", name, component.kind, self._spot(name), attributes, self.heights.along([name]))

    def _tie(self, other: str, as_read: str, residual_m: float | None) -> dict[str, Any]:
        spot = self._spot(other)
        lonlat = [round(value, 9) for value in spot.coords[0]] if spot is not None else None
        return {"from": other, "as_read": as_read, "residual_m": _rounded(residual_m), "from_lonlat": lonlat}

    def _accuracy(self, position: Position) -> dict[str, Any]:
        earth = self.placement.r95_earth_m.get(position.name) if self.placement is not None else None
        return {
            "r95_m": _rounded(position.r95_m),
            "r95_earth_m": _rounded(earth),
            "accuracy_text": accuracy_words(position, self.units),
            "checked": position.checked,
            "unchecked_because": position.unchecked_because,
        }

    def _worst(self, positions: Sequence[Position]) -> dict[str, Any]:
        """Accuracy of the least well known of a component's points."""
        located = [position for position in positions if position.r95_m is not None]
        if not located:
            return {"r95_m": None, "r95_earth_m": None, "accuracy_text": None, "checked": False}
        worst = max(located, key=lambda position: position.r95_m or 0.0)
        checked = len(located) == len(positions) and all(position.checked for position in located)
        accuracy = self._accuracy(worst)
        del accuracy["unchecked_because"]
        return accuracy | {"checked": checked}

    def _service(self, component: Component) -> list[dict[str, Any]]:
        """List what was done to it; where one replaced another of its name, up to the day it was taken out."""
        before = [one.removed_on for one in self._of_name(component) if one is not component and one.removed_on]
        since = max((day for day in before if day < (component.removed_on or date.max)), default=date.min)
        until = date.max if self._is_last(component) else component.removed_on or date.max
        mine = (e for e in self.record.service if e.component == component.name and since <= e.on < until)
        entries = sorted(mine, key=lambda e: e.on)
        return [
            {"on": e.on.isoformat(), "task": e.task, "by": e.by, "gallons": e.gallons, "note": e.note} for e in entries
        ]

    def _spot(self, name: str) -> Place | None:
        place = self.places.get(name)
        return None if place is None else self._earth(Place(place))

    def _earth(self, geometry: BaseGeometry | None) -> Any:
        return None if geometry is None else on_earth(geometry, self.placement)


def on_earth(geometry: BaseGeometry, placement: Placement | None) -> BaseGeometry:
    """Bring a geometry of the output frame to longitude and latitude; without a placement round 0, 0."""
    if placement is not None:
        return transform(geometry, placement.to_earth)
    nowhere = LocalFrame(0.0, 0.0)
    return transform(geometry, lambda xy: np.column_stack(nowhere.to_earth(xy[:, 0], xy[:, 1])))


def _read(length: Length | None) -> str | None:
    return None if length is None else length.as_read


def _iso(day: Any) -> str | None:
    return None if day is None else day.isoformat()


def _rounded(metres: float | None) -> float | None:
    return None if metres is None else round(metres, 4)

"""Everything that is recorded of one property."""

from dataclasses import dataclass

from asbuilt.errors import Problem
from asbuilt.model.components import Component, Point, split_name
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.levels import LevelShot
from asbuilt.model.measurements import KnownCoordinate, Offset, Tie, Wall
from asbuilt.model.photos import Photo
from asbuilt.model.place import Property, ReferencePoint
from asbuilt.model.rule_files import RuleFile
from asbuilt.model.sightings import Sighting
from asbuilt.model.site_readings import SiteReading
from asbuilt.model.tasks import OwnTask


@dataclass(frozen=True, slots=True)
class PropertyRecord:
    """One property as it is known: what the sheets say, row by row."""

    property: Property
    reference_points: tuple[ReferencePoint, ...]
    walls: tuple[Wall, ...] = ()
    points: tuple[Point, ...] = ()
    ties: tuple[Tie, ...] = ()
    offsets: tuple[Offset, ...] = ()
    known_coordinates: tuple[KnownCoordinate, ...] = ()
    components: tuple[Component, ...] = ()
    household: tuple[Household, ...] = ()
    service: tuple[ServiceEntry, ...] = ()
    levels: tuple[LevelShot, ...] = ()
    tasks: tuple[OwnTask, ...] = ()
    rule_files: tuple[RuleFile, ...] = ()
    readings: tuple[SiteReading, ...] = ()
    photos: tuple[Photo, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    left_out: tuple[Problem, ...] = ()  #: of a draft: what its sheets held that could not be taken

    def reference_names(self) -> tuple[str, ...]:
        """Names of the reference points, in the order of the sheet."""
        return tuple(reference.name for reference in self.reference_points)

    def point_names(self) -> tuple[str, ...]:
        """Full names of all points, those of `points.csv` first, then those that only ties or offsets name."""
        known = dict.fromkeys(self.reference_names())
        names = dict.fromkeys(point.name for point in self.points)
        for tie in self.ties:
            names.update(dict.fromkeys(end for end in (tie.from_, tie.to) if end not in known))
        names.update(dict.fromkeys(offset.point for offset in self.offsets if offset.point not in known))
        return tuple(names)

    def points_of(self, component: str) -> tuple[str, ...]:
        """Full names of a component's points: by `order` where it is given, then as they stand in the sheets."""
        return self.points_by_component().get(component, ())

    def points_by_component(self) -> dict[str, tuple[str, ...]]:
        """Full names of the points of each component, also of those that only points name; see `points_of`."""
        rows = {point.name: point for point in self.points}
        orders = {point.name: point.order for point in self.points if point.order is not None}
        found: dict[str, list[str]] = {}
        for name in self.point_names():
            row = rows.get(name)
            found.setdefault(split_name(name)[0] if row is None else row.component, []).append(name)
        return {
            component: tuple(sorted(names, key=lambda name: orders.get(name, float("inf"))))
            for component, names in found.items()
        }

    def component_of(self, name: str) -> str:
        """Name of the component that a point belongs to."""
        for point in self.points:
            if point.name == name:
                return point.component
        return split_name(name)[0]

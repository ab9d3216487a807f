"""May this be built here? Distances from something planned to all that is buried, and the openings it would bury."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from shapely.geometry import Point as Place
from shapely.geometry.base import BaseGeometry

from asbuilt.checks.item import Outcome
from asbuilt.checks.look import K95, half_widths_m, is_opening, verdict
from asbuilt.model.components import Component
from asbuilt.rules.keys import BETWEEN
from asbuilt.rules.profile import Limit, Profile
from asbuilt.shapes import Apart, Outlines
from asbuilt.survey.solution import Position

TOUCH_M = 1e-6
"""What meets no deeper than this only touches: far below what is set out, far above rounding."""


@dataclass(frozen=True, slots=True)
class Clearance:
    """How far something planned is from one component, and which limit that keeps or breaks."""

    component: Component
    apart: Apart | None  #: None = the component has no place
    limit: Limit | None  #: the strictest one; None = the profile has none between the two
    outcome: Outcome

    @property
    def doubt_m(self) -> float:
        """Give or take: 19 of 20 such distances lie within it; how a box may lie, and a width not recorded, in full."""
        return 0.0 if self.apart is None else K95 * self.apart.sigma_m + self.apart.nearer_m


@dataclass(frozen=True, slots=True)
class Buried:
    """An opening that something planned would lie over."""

    point: str
    sure: bool  #: False = it may lie just beside it


def clearances(
    outlines: Outlines, components: Sequence[Component], planned: Component, profile: Profile
) -> list[Clearance]:
    """Measure from something planned to every component, what breaks or may break a limit first, then by distance.

    Parameters
    ----------
    outlines
        Of the property with the planned component among its own.
    components
        What is in the ground.
    """
    found = [_clearance(outlines, each, planned, profile) for each in components]
    return sorted(
        found,
        key=lambda it: (it.outcome.rank, 0.0 if it.apart is None else it.apart.distance_m - it.doubt_m),
    )


def _clearance(outlines: Outlines, component: Component, planned: Component, profile: Profile) -> Clearance:
    half_widths = half_widths_m(profile, [component])
    apart = outlines.apart(planned.name, component.name, half_widths_m=half_widths)
    limits = [limit for key in BETWEEN for limit in profile.limits_for(key, component.kind, to=planned.kind)]
    if apart is None:
        return Clearance(component, None, max(limits, key=lambda it: it.si, default=None), Outcome.DOUBTFUL)
    if not limits:  # no rule says whether it may lie over it, so somebody must be asked
        meets = apart.distance_m - K95 * apart.sigma_m - apart.nearer_m <= 0
        return Clearance(component, apart, None, Outcome.DOUBTFUL if meets else Outcome.DONE)
    limit, outcome = min(((each, _stands(apart, each)) for each in limits), key=lambda it: (it[1].rank, -it[0].si))
    return Clearance(component, apart, limit, outcome)


def _stands(apart: Apart, limit: Limit) -> Outcome:
    """Hold a distance against a limit, on the safe side where a direction or a width was not measured."""
    as_drawn = verdict(apart.distance_m, apart.sigma_m, limit)
    nearest = verdict(max(0.0, apart.distance_m - apart.nearer_m), apart.sigma_m, limit)
    return as_drawn if as_drawn is not Outcome.DONE or nearest is Outcome.DONE else Outcome.DOUBTFUL


def buried_by(
    area: BaseGeometry, components: Sequence[Component], points: Sequence[Position], profile: Profile
) -> Iterator[Buried]:
    """Tell which openings an area lies over, surely or perhaps.

    Openings are the points that the profile wants a photo of: those that must be opened again.

    Parameters
    ----------
    area
        A polygon in the frame of the positions.
    """
    for component in components:
        for position in points:
            own = position.name.partition("/")[2] or position.name
            opened = position.component == component.name and is_opening(profile, component.kind, own)
            if opened and position.place is not None:
                spot, radius = Place(position.place), position.r95_m or 0.0
                if area.distance(spot) <= radius:
                    yield Buried(position.name, area.contains(spot) and area.boundary.distance(spot) >= radius)


def built_over(outlines: Outlines, area: BaseGeometry) -> Iterator[str]:
    """Give the buildings that an area lies in or over, also one whose walk does not close.

    What stands against a wall is beside the building and not over it.
    """
    inner = area.buffer(-TOUCH_M)
    for name in outlines.buildings:
        shape = outlines.of(name)
        if shape is not None and shape.intersects(inner):
            yield name

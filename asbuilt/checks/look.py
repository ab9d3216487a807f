"""What the checks look at: one solved property, its rules and a day; and how a number stands to a limit."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from asbuilt.checks.item import Outcome
from asbuilt.model.components import ABANDONED, Component, Point, split_name
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.site_readings import SiteReading
from asbuilt.rules.profile import PUMPED, Limit, Profile
from asbuilt.survey.solution import Position, Solution
from asbuilt.units import format_length, format_small

K95 = 1.959963984540054
"""95 % of a normal error lie within so many standard deviations."""

_ALIKE = 1e-9  # rounding; far below what a rod or a tape tells


@dataclass(frozen=True, slots=True)
class Look:
    """One property as the checks see it. Components are those in the ground, what was left abandoned apart."""

    record: PropertyRecord
    solution: Solution
    profile: Profile
    components: tuple[Component, ...]
    abandoned: tuple[Component, ...]
    readings: tuple[SiteReading, ...]  #: up to the day, those of components that stand
    unchecked: Mapping[str, str] = field(default_factory=dict)  #: why each unchecked point is so, and its next tape

    def of_kinds(self, word: str) -> list[Component]:
        """Give the components of a kind or of a group of kinds of the profile."""
        return [each for each in self.components if self.profile.closeness(word, each.kind) is not None]

    def pumped(self) -> bool:
        """Tell whether the system has a pump."""
        return bool(self.of_kinds("pump tank"))

    def asked(self, needs: str | None) -> bool:
        """Tell whether what is asked only of some systems is asked of this one."""
        return needs is None or self.pumped() or (needs != PUMPED and bool(self.of_kinds("treatment unit")))

    def points(self, component: str) -> list[str]:
        """Give the full names of the points of a component, in their order."""
        return list(self.record.points_of(component))

    def row(self, name: str) -> Point | None:
        """Give the row of a point in points.csv; None where only ties or offsets name it."""
        return next((each for each in self.record.points if each.name == name), None)

    def position(self, name: str) -> Position | None:
        """Give the position of a point that has a place."""
        found = next((each for each in self.solution.points if each.name == name), None)
        return None if found is None or found.place is None else found

    def latest(self, component: str, *words: str) -> SiteReading | None:
        """Give the latest reading of one of some words at a component; of one day the last in the sheet."""
        found = [each for each in self.readings if each.component == component and each.reading in words]
        return max(enumerate(found), key=lambda pair: (pair[1].on, pair[0]))[1] if found else None

    def length(self, metres: float) -> str:
        """Write a length in the property's units."""
        return format_length(metres, self.record.property.units)

    def small(self, metres: float) -> str:
        """Write an uncertainty in the property's units, rounded up."""
        return format_small(metres, self.record.property.units)


def look_at(
    record: PropertyRecord,
    solution: Solution,
    profile: Profile,
    readings: tuple[SiteReading, ...],
    components: tuple[Component, ...],
    unchecked: Mapping[str, str],
) -> Look:
    """Gather what the checks look at.

    Parameters
    ----------
    readings
        Those up to the day that the check is made for.
    components
        Those in the ground on that day.
    unchecked
        By point: why it is not checked, and the tape that would mend it.
    """
    left = tuple(each for each in components if is_abandoned(each))
    used = tuple(each for each in components if not is_abandoned(each))
    begun = {each.name: each.installed_on for each in used}
    since = tuple(each for each in readings if (day := begun.get(each.component)) is None or each.on >= day)
    return Look(record, solution, profile, used, left, since, unchecked)


def is_abandoned(component: Component) -> bool:
    """Tell whether a component was left in the ground out of use."""
    return ABANDONED in (component.status or "").casefold()


def verdict(quantity: float, sigma: float, limit: Limit) -> Outcome:
    """Hold a number against a limit: kept, too close to call, or outside.

    Parameters
    ----------
    quantity
        In the unit of `Limit.si`: metres, or fall a metre.
    sigma
        Its standard deviation; a number is called only where 19 of 20 such lie on one side.

    Examples
    --------
    >>> from asbuilt.rules.reference import Reference
    >>> limit = Limit("setback", 10, "m", "at least", "tank", Reference("R."), "seen", to="well")
    >>> [str(verdict(metres, 0.1, limit)) for metres in (10.2, 10.1, 9.7)]
    ['done', 'doubtful', 'outside the rule']
    """
    spare = limit.si - quantity if limit.upper else quantity - limit.si
    strict = limit.comparison in ("more than", "less than")
    doubt = K95 * sigma
    if spare - doubt > _ALIKE or (not strict and spare - doubt >= -_ALIKE):
        return Outcome.DONE
    if spare + doubt < -_ALIKE or (strict and spare + doubt <= _ALIKE):
        return Outcome.OUTSIDE
    return Outcome.DOUBTFUL


def called(outcome: Outcome) -> str:
    """Say where a number does not decide."""
    return ": too close to call" if outcome is Outcome.DOUBTFUL else ""


def act_for(outcome: Outcome, outside: str, doubtful: str) -> str:
    """Choose the next act by the outcome."""
    return {Outcome.OUTSIDE: outside, Outcome.DOUBTFUL: doubtful}.get(outcome, "")


def is_opening(profile: Profile, kind: str, own: str) -> bool:
    """Tell whether a point of a kind of component, by its own name, is one that must be opened again.

    Those are the points that the profile wants a photo of.
    """
    return any(each.photo and each.named_by(own) for each in profile.required_points(kind))


def half_widths_m(profile: Profile, components: Iterable[Component]) -> dict[str, float]:
    """Give half the width that the profile allows a trench, metres, by name of each whose width is not recorded."""
    narrow = [(each.name, each.kind) for each in components if each.width is None]
    widths = {name: [it.si for it in profile.limits_for("trench_width", kind) if it.upper] for name, kind in narrow}
    return {name: max(found) / 2 for name, found in widths.items() if found}


def own_name(point: str) -> str:
    """Give a point's own name without its component's."""
    component, own = split_name(point)
    return own or component


def listed(names: list[str], most: int = 6) -> str:
    """Write names one after another; beyond the most only their number."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more

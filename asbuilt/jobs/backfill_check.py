"""Is the record of a property complete and sound before it is covered? Every check, in one list."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from asbuilt.checks.depths import depth_items
from asbuilt.checks.evidence import evidence_items
from asbuilt.checks.facts import fact_items
from asbuilt.checks.flotation import Float, flotation_items
from asbuilt.checks.item import GROUPS, CheckItem, Outcome
from asbuilt.checks.kinds import kind_items
from asbuilt.checks.levels import level_items
from asbuilt.checks.locations import location_items
from asbuilt.checks.look import Look, look_at
from asbuilt.checks.setbacks import setback_items
from asbuilt.checks.settings import setting_items
from asbuilt.checks.squirt import squirt_items
from asbuilt.jobs.locate import Located
from asbuilt.jobs.ready import UNCHECKED, Missing, Readiness, readiness
from asbuilt.jobs.service_sheet import tank_flotation
from asbuilt.model.components import Component
from asbuilt.record.profiles import profile_of
from asbuilt.rules.profile import Profile
from asbuilt.service.flotation import BOOKKEEPING, Flotation, Verdict
from asbuilt.service.holding_water import holding_water
from asbuilt.shapes import Outlines


@dataclass(frozen=True, slots=True)
class BackfillCheck:
    """What came of all checks of one property."""

    name: str  #: of the property
    on: date
    profile: Profile
    items: tuple[CheckItem, ...]  #: the most urgent first

    def of(self, outcome: Outcome) -> tuple[CheckItem, ...]:
        """Give the items of one outcome."""
        return tuple(item for item in self.items if item.outcome is outcome)

    @property
    def complete(self) -> bool:
        """Tell whether nothing is missing and nothing outside the rule; doubts may be left."""
        return not self.of(Outcome.OUTSIDE) and not self.of(Outcome.MISSING)

    @property
    def clean(self) -> bool:
        """Tell whether nothing at all is left to be done."""
        return all(item.outcome is Outcome.DONE for item in self.items)


def backfill_check(located: Located, today: date) -> BackfillCheck:
    """Make every check of one solved property as on a day.

    Raises
    ------
    ProfileError
        If the rule profile of the property cannot be read.
    """
    items = check_before_backfill(located, today)
    return BackfillCheck(located.record.property.name, today, profile_of(located.record), items)


def check_before_backfill(located: Located, today: date) -> tuple[CheckItem, ...]:
    """Check whether the record of a solved property is complete and sound as on a day, the most urgent first.

    Raises
    ------
    ProfileError
        If the rule profile of the property cannot be read.
    """
    record, ready = located.record, readiness(located)
    standing = tuple(each for each in record.components if each.stands_on(today))
    readings = tuple(each for each in record.readings if each.on <= today)
    profile, unchecked = profile_of(record), _unchecked(ready)
    look = look_at(record, located.solution, profile, readings, standing, unchecked)
    outlines = Outlines(record, located.solution)
    items = [
        *_survey_items(ready),
        *location_items(look),
        *kind_items(look),
        *fact_items(look, outlines),
        *level_items(look, outlines),
        *depth_items(look),
        *setback_items(look, outlines),
        *flotation_items(look, _floats(look, today)),
        *squirt_items(look),
        *setting_items(look),
        *evidence_items(look),
    ]
    return tuple(sorted(items, key=lambda item: (item.outcome.rank, GROUPS.index(item.group))))


def _unchecked(ready: Readiness) -> Mapping[str, str]:
    return {each.subject: each.words for each in ready.missing if each.what == UNCHECKED}


def _survey_items(ready: Readiness) -> list[CheckItem]:
    """Take over what the survey says is still to be taped or taped again."""
    return [_survey_item(each) for each in ready.missing if each.what != UNCHECKED]


def _survey_item(missing: Missing) -> CheckItem:
    code = missing.what.replace(" ", "-")
    return CheckItem(code, "locations", missing.subject, Outcome.MISSING, missing.words)


def _floats(look: Look, today: date) -> tuple[Float, ...]:
    """Reckon for each tank whether it floats, and what water holds it while the hole is open."""
    found = ((tank, tank_flotation(look.record, tank, today)) for tank in look.of_kinds("tank"))
    return tuple(_float(tank, result) for tank, result in found if result is not None)


def _float(tank: Component, result: Flotation) -> Float:
    water = holding_water(tank)
    return Float(
        tank.name,
        {Verdict.HOLDS: True, Verdict.FLOATS: False, Verdict.UNKNOWN: None}[result.verdict],
        str(result.verdict),
        result.factor,
        result.required,
        result.words,
        BOOKKEEPING,
        water.depth_m,
        water.why,
        water.rough,
        water.quarter_holds,
        result.sources,
    )

"""What a history report is made from: one solved property as on a day, and all that was reckoned of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from asbuilt.checks.item import CheckItem
from asbuilt.findings import Finding
from asbuilt.model.components import Component
from asbuilt.model.photos import Photo
from asbuilt.model.property_record import PropertyRecord
from asbuilt.rules.profile import Profile
from asbuilt.service.due import Due
from asbuilt.service.kept import Done
from asbuilt.service.pump_tank import PumpReport
from asbuilt.service.pumping import TankHistory
from asbuilt.service.readings import Reading
from asbuilt.service.transfer import Answer
from asbuilt.survey.solution import Position, Solution


@dataclass(frozen=True, slots=True)
class HistoryFacts:
    """Everything that the report tells, by who reckoned it."""

    record: PropertyRecord
    solution: Solution
    today: date
    findings: Sequence[Finding]  #: of the survey and of what is due
    checks: Sequence[CheckItem]  #: of the record's completeness
    dues: Sequence[Due]
    kept: Sequence[Done]
    pumps: Sequence[PumpReport]
    solids: Mapping[str, Sequence[Reading]]  #: of each septic tank that stands
    answers: Sequence[Answer]
    over_openings: Sequence[str]  #: in words: what was built over an opening
    photos: Mapping[str, bytes]  #: small JPEGs by the hash of the photo
    tanks: Sequence[TankHistory]  #: of each septic tank and pump tank that stands
    profile: Profile

    def is_structure(self, component: Component) -> bool:
        """Tell whether a component is something built or planted on the yard, by the rule profile."""
        return self.profile.closeness("structure", component.kind) is not None

    def standing(self) -> list[Component]:
        """Components that are in the ground on the day."""
        return [each for each in self.record.components if each.stands_on(self.today)]

    def positions_of(self, component: str) -> list[Position]:
        """Positions of a component's points, also those without a place."""
        return [each for each in self.solution.points if each.component == component]

    def photos_of(self, component: str) -> list[Photo]:
        """Photos of a component and of its points."""
        own = {component, *self.record.points_of(component)}
        return [photo for photo in self.record.photos if photo.of in own]

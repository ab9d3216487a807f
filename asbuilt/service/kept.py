"""Which intervals were kept and which were missed: each time something was done, held against the day it was due.

The due list of the day before is reckoned from what had happened by then, so that what is said of 2019 does not hang on
what was done in 2024. Household, profile and settings are those of today's record.
"""

from dataclasses import dataclass
from datetime import date, timedelta

from asbuilt.model.entries import PUMP_OUT
from asbuilt.model.property_record import PropertyRecord
from asbuilt.rules.profile import Profile
from asbuilt.service.due import Due
from asbuilt.service.pumping import is_septic_tank, tank_history
from asbuilt.service.schedule import due_tasks


@dataclass(frozen=True, slots=True)
class Done:
    """One task that was done, and the day by which it was to be done."""

    component: str
    task: str
    done_on: date
    due_on: date
    reference: str  #: whose interval it was

    @property
    def late_days(self) -> int:
        """Days after the day it was due; 0 = kept."""
        return max(0, (self.done_on - self.due_on).days)


def intervals_kept(record: PropertyRecord, today: date, profile: Profile) -> tuple[Done, ...]:
    """Give every task that was done up to a day, with the day it was due, in the order of the days.

    What was never due has no line: a task whose day could not be told before it was first done.
    """
    done: list[Done] = []
    for day in sorted({entry.on for entry in record.service if entry.on <= today}):
        before = _by_task(record, day - timedelta(days=1), profile)
        after = _by_task(record, day, profile)
        for key, due in before.items():
            if due.due_on is not None and key in after and _was_done(record, due, after[key], day):
                done.append(Done(due.component, due.task, day, due.due_on, due.reference))
    return tuple(done)


def _by_task(record: PropertyRecord, day: date, profile: Profile) -> dict[tuple[str, str], Due]:
    dues, _ = due_tasks(record, day, profile)
    return {(due.component, due.task): due for due in dues}


def _was_done(record: PropertyRecord, before: Due, after: Due, day: date) -> bool:
    """Tell whether a task was done on a day: a pump-out where it emptied the tank, any other where its day moved on."""
    if before.task != PUMP_OUT:
        return after.due_on is not None and before.due_on is not None and after.due_on > before.due_on
    return any(
        pumped.on == day and pumped.full
        for tank in record.components
        if tank.name == before.component and is_septic_tank(tank) and tank.stands_on(day)
        for pumped in tank_history(record, tank, day).pumped
    )

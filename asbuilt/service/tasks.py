"""Tasks by interval: what a component brings by its kind, what its maker or owner set, and when it was last done."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from asbuilt.findings import Finding, Severity
from asbuilt.model.components import Component
from asbuilt.model.entries import PUMP_OUT, ServiceEntry
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.tasks import OwnTask, parse_months
from asbuilt.rules.kinds import holds
from asbuilt.rules.profile import DISPOSER, MECHANICAL, PUMPED, Limit, Profile, Task
from asbuilt.service.dosing import PUMP_TANKS
from asbuilt.service.due import Candidate, Due, earliest_of, months_after, months_words, preferred
from asbuilt.service.pumping import FULL_SHARE, begun_on, compartment_of, entries_of, is_septic_tank

RULE = "rule profile"
SETTING = {"maker": "maker's setting", "owner": "owner's setting"}
"""What is printed as the method of an interval."""

_PUMPS = (*PUMP_TANKS, "effluent pump")
_MECHANICAL = (*_PUMPS, "treatment unit", "aerobic unit", "control panel")
"""Kinds that make a system one with a pump, and one with mechanical parts."""

_WORDS = {"maker": "the maker's setting", "owner": "the owner's setting"}


@dataclass(frozen=True, slots=True)
class Last:
    """The day from which an interval counts, and why."""

    on: date
    words: str


@dataclass(frozen=True, slots=True)
class _Brought:
    """One task of one component of the property."""

    component: Component
    name: str
    done_by: tuple[str, ...]
    limits: tuple[Limit, ...] = ()
    settings: tuple[OwnTask, ...] = ()
    also_on: tuple[Component, ...] = ()  #: components whose entries count as well


def tasks_by_interval(record: PropertyRecord, profile: Profile, today: date) -> tuple[list[Due], list[Finding]]:
    """Give every task but the pump-outs, for the components that stand on a day.

    Returns
    -------
    tuple
        What is due, in no order, and findings for tasks whose day cannot be told.
    """
    dues, findings = [], []
    for brought in _brought(record, profile, today):
        last = _last(record, brought, today)
        if last is None:
            findings.append(_cannot_say(brought))
            continue
        candidates = [
            *(by_rule(limit, last) for limit in brought.limits),
            *(by_setting(setting, last) for setting in brought.settings if setting.every_months is not None),
        ]
        chosen = preferred(earliest_of(candidates), last.on, preferred_months(brought.settings))
        dues.append(due_of(record.property.name, brought.component.name, brought.name, chosen, today))
    return dues, findings


def system_words(record: PropertyRecord, today: date) -> tuple[str, ...]:
    """Say what kind of system stands on a day, in the words that limits apply to."""
    kinds = [each.kind for each in record.components if each.stands_on(today)]
    words = []
    if any(holds(phrase, kind) for kind in kinds for phrase in _MECHANICAL):
        words.append(MECHANICAL)
    if any(holds(phrase, kind) for kind in kinds for phrase in _PUMPS):
        words.append(PUMPED)
    return tuple(words)


def pump_out_candidates(
    record: PropertyRecord, profile: Profile, tank: Component, last: Last, today: date
) -> list[Candidate]:
    """Give the intervals of rules and settings that a pump-out must keep besides the solids."""
    about = [tank.kind, *system_words(record, today)]
    if any(row.disposer and row.people > 0 and (row.to is None or row.to > last.on) for row in record.household):
        about.append(DISPOSER)
    return [
        *(by_rule(limit, last) for limit in profile.limits_of("pump_out_interval", about)),
        *(by_setting(each, last) for each in settings_of(record, tank, PUMP_OUT) if each.every_months is not None),
    ]


def by_rule(limit: Limit, last: Last) -> Candidate:
    """Count a rule's interval from a day."""
    months = limit.value * (12 if limit.unit == "years" else 1)
    every = months_words(months)
    source = limit.reference.words() if limit.standing != "common practice" else "common practice"
    reason = f"{last.words}; {every} by {source}"
    if limit.note:
        reason += f": {limit.note}"
    return Candidate(months_after(last.on, months), None, None, reason, RULE, limit.source(), f"{every} by {source}:")


def by_setting(setting: OwnTask, last: Last) -> Candidate:
    """Count a maker's or an owner's interval from a day."""
    source = setting.source or "owner"
    months = setting.every_months or 0.0
    every = f"{months_words(months)} by {_WORDS[source]}"
    reason = f"{last.words}; {every}" + (f": {setting.note}" if setting.note else "")
    reference = f"{_WORDS[source]} in tasks.csv"
    return Candidate(months_after(last.on, months), None, None, reason, SETTING[source], reference, f"{every}:")


def settings_of(record: PropertyRecord, component: Component, task: str) -> tuple[OwnTask, ...]:
    """Give the rows of `tasks.csv` about one task of one component."""
    return tuple(own for own in record.tasks if own.component == component.name and _folded(own.task) == _folded(task))


def preferred_months(settings: Iterable[OwnTask]) -> frozenset[int]:
    """Put the preferred months of several rows together."""
    months: set[int] = set()
    for setting in settings:
        if setting.preferred_months:
            months |= parse_months(setting.preferred_months)
    return frozenset(months)


def due_of(name: str, component: str, task: str, chosen: Candidate, today: date) -> Due:
    """Make the line of the list."""
    return Due(
        property=name,
        component=component,
        task=task,
        due_on=chosen.due_on,
        earliest_on=chosen.earliest_on,
        latest_on=chosen.latest_on,
        reason=chosen.reason,
        method=chosen.method,
        reference=chosen.reference,
        overdue=chosen.due_on is not None and chosen.due_on < today,
    )


# What is brought


def _brought(record: PropertyRecord, profile: Profile, today: date) -> list[_Brought]:
    """Give the tasks that stand: by kind, by having been done once, and the user's own."""
    standing = sorted(
        (each for each in record.components if each.stands_on(today)), key=lambda each: natural(each.name)
    )
    system = system_words(record, today)
    brought = []
    for task in profile.tasks:
        if task.needs is not None and task.needs not in system:
            continue
        for component, also in _bearers(record, task, standing, today):
            about = [*task.kinds, component.kind, *system]
            limits = profile.limits_of(task.key, about)
            settings = settings_of(record, component, task.name)
            if limits or any(each.every_months is not None for each in settings):
                done_by = tuple(map(_folded, (task.name, *task.done_by)))
                brought.append(_Brought(component, task.name, done_by, limits, settings, also))
    return [*brought, *_own(record, standing, brought)]


def _bearers(
    record: PropertyRecord, task: Task, standing: Sequence[Component], today: date
) -> list[tuple[Component, tuple[Component, ...]]]:
    """Give the components that bear a task, each with those whose entries count as well."""
    by_kind = [each for each in standing if is_of_kind(each, task.kinds)]
    others = tuple(each for each in standing if is_of_kind(each, task.where_done_on) and each not in by_kind)
    if by_kind and task.once:
        return [(by_kind[0], (*by_kind[1:], *others))]
    if by_kind:
        return [(each, others if len(by_kind) == 1 else ()) for each in by_kind]
    done_by = set(map(_folded, (task.name, *task.done_by)))
    return [(each, ()) for each in others if _done(record, each, done_by, today)]


def _own(record: PropertyRecord, standing: Sequence[Component], brought: Sequence[_Brought]) -> list[_Brought]:
    """Give the user's own tasks that no kind brings."""
    there = {(each.component.name, _folded(each.name)) for each in brought}
    by_name = {each.name: each for each in standing}
    own = []
    for row in sorted(record.tasks, key=lambda each: (each.component, _folded(each.task))):
        key = (row.component, _folded(row.task))
        component = by_name.get(row.component)
        is_pump_out = key[1] == PUMP_OUT and component is not None and is_septic_tank(component)
        if component is None or key in there or is_pump_out:
            continue
        settings = settings_of(record, component, row.task)
        if any(each.every_months is not None for each in settings):
            there.add(key)
            own.append(_Brought(component, key[1], (key[1],), (), settings))
    return own


def _done(record: PropertyRecord, component: Component, done_by: set[str], today: date) -> list[ServiceEntry]:
    """Give the entries of a component that count as its task done, up to a day.

    A pump-out counts only where it emptied the tank; an entry that says something about the filter is about it.
    """
    begun = begun_on(record, component, today)
    return [
        entry
        for entry in entries_of(record, component, begun)
        if entry.on <= today
        and (_folded(entry.task) in done_by or ("effluent filter" in done_by and entry.filter))
        and not (_folded(entry.task) == PUMP_OUT and not _is_full(component, entry))
    ]


def _is_full(tank: Component, entry: ServiceEntry) -> bool:
    if entry.gallons is None or tank.volume_gal is None:
        return compartment_of(entry) is None
    return entry.gallons >= FULL_SHARE * tank.volume_gal


def _last(record: PropertyRecord, brought: _Brought, today: date) -> Last | None:
    """Give the day on which a task was last done; never done, it counts from installation."""
    done_by = set(brought.done_by)
    done = [entry for each in (brought.component, *brought.also_on) for entry in _done(record, each, done_by, today)]
    if done:
        last = max(done, key=lambda entry: (entry.on, entry.task))
        how = "" if last.evidence in (None, "own reading") else f" ({last.evidence})"
        return Last(last.on, f"last done {last.on.isoformat()}{how}")
    begun = begun_on(record, brought.component, today)
    if begun is not None:
        return Last(
            begun.on, f"never recorded as done, so counted from {begun.words.replace('installed', 'installation')}"
        )
    first = min((row.from_ for row in record.household), default=None)
    if first is None:
        return None
    words = "never recorded as done and no installation date, so counted from the household's first day"
    return Last(first, f"{words} {first.isoformat()}")


def _cannot_say(brought: _Brought) -> Finding:
    name = brought.component.name
    message = f"{name}: cannot say when {brought.name} is due: it was never recorded as done, nor an installation date."
    return Finding("cannot-say-when", name, message, Severity.NOTE, "Record installed_on in components.csv.")


def is_of_kind(component: Component, kinds: Iterable[str]) -> bool:
    """Tell whether one of some phrases stands in the kind of a component, word for word, in upper or lower case."""
    return any(holds(phrase, component.kind) for phrase in kinds)


def _folded(text: str) -> str:
    return " ".join(text.casefold().split())


def natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts lateral 2 before lateral 10."""
    parts: list[tuple[int, int, str]] = []
    for word in name.casefold().split():
        parts.append((0, int(word), "") if word.isascii() and word.isdigit() else (1, 0, word))
    return tuple(parts)

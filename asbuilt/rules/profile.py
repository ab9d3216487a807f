"""A rule profile: limits, tasks, priors and what a record must hold, each with where it stands written.

A profile is data. It extends another one; what it says itself goes before what it takes over. Whatever it says,
local code and licensed practice decide, and a profile carries the sentence that says so.
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TypeVar

from asbuilt.rules.keys import FALLS, METRES
from asbuilt.rules.kinds import Kinds, holds, kinds_of
from asbuilt.rules.reference import Reference
from asbuilt.rules.required import RequiredFact, RequiredPoint

T = TypeVar("T")
A = TypeVar("A", RequiredPoint, RequiredFact)

MECHANICAL = "system with mechanical parts"
PUMPED = "system with a pump"
DISPOSER = "household with a disposer"
"""What a limit may apply to besides a kind of component."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a rule: what it is about, its value, and how a quantity must stand to it."""

    key: str  #: one of KEYS
    value: float
    unit: str
    comparison: str  #: one of COMPARISONS
    applies_to: str  #: a kind of component, MECHANICAL, PUMPED, DISPOSER, or what the check that uses it says
    reference: Reference
    standing: str  #: one of STANDINGS
    note: str | None = None
    to: str | None = None  #: of a setback: a kind or group of kinds to which the distance is measured
    from_size: float | None = None  #: of SIZED keys: the smallest size, inches, for which it holds; None = any
    to_size: float | None = None  #: the largest

    @property
    def upper(self) -> bool:
        """Tell whether it says how much may be, not how much must be."""
        return self.comparison in ("at most", "less than")

    @property
    def identity(self) -> tuple[object, ...]:
        """What two limits share that say the same thing of the same subject."""
        about = (self.applies_to.casefold(), (self.to or "").casefold())
        return (self.key, *about, self.from_size, self.to_size, self.upper)

    @property
    def si(self) -> float:
        """Its value in metres, of a slope in metres of fall a metre; else as it is."""
        per = FALLS if self.unit in FALLS and self.key in ("pipe_slope", "level_slope") else METRES
        return self.value * per.get(self.unit, 1.0)

    def holds_for_size(self, size_in: float | None) -> bool:
        """Tell whether it holds for a size in inches; where the size is not known only a limit for every size does."""
        if size_in is None:
            return self.from_size is None and self.to_size is None
        return (self.from_size or 0.0) <= size_in and (self.to_size is None or size_in <= self.to_size)

    def shown(self) -> str:
        """Write it: at least 10 ft."""
        return f"{self.comparison} {self.value:g} {self.unit}"

    def holds(self, quantity: float) -> bool:
        """Tell whether a quantity in the unit of the limit keeps it.

        Examples
        --------
        >>> limit = Limit("sludge_to_outlet", 12, "in", "at least", "septic tank", Reference("R."), "seen")
        >>> limit.holds(12), limit.holds(11.99)
        (True, False)
        """
        return {
            "at least": quantity >= self.value,
            "more than": quantity > self.value,
            "at most": quantity <= self.value,
            "less than": quantity < self.value,
        }[self.comparison]

    def source(self) -> str:
        """Give the reference with its standing where we have not read the rule itself."""
        return self.reference.source(self.standing)


@dataclass(frozen=True, slots=True)
class Task:
    """A task that a component brings by its kind."""

    name: str
    kinds: tuple[str, ...]  #: phrases, one of which stands in the kind of a component
    key: str  #: the limit that says how often
    done_by: tuple[str, ...]  #: tasks of service entries that count as done
    where_done_on: tuple[str, ...] = ()  #: kinds that have the task too once it was done on them
    needs: str | None = None  #: MECHANICAL or PUMPED: brought only in such a system
    once: bool = False  #: one task for all components of the kinds together


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of a quantity before anything is measured: a normal distribution."""

    key: str  #: one of PRIOR_KEYS
    mean: float
    sd: float
    unit: str
    reference: Reference
    standing: str
    note: str | None = None


@dataclass(frozen=True, slots=True)
class RecordItem:
    """One thing that the record of a service must hold by a published rule."""

    item: str  #: in the rule's words
    task: str  #: of which service entries
    fields: tuple[str, ...]  #: one of these columns of service.csv holds it
    reference: Reference
    standing: str


@dataclass(frozen=True, slots=True)
class Profile:
    """One profile with all that it extends put in."""

    name: str
    title: str
    local_code: str  #: the sentence that leaves the decision to local code
    edition: str | None = None
    limits: tuple[Limit, ...] = ()
    tasks: tuple[Task, ...] = ()
    priors: tuple[Prior, ...] = ()
    record_items: tuple[RecordItem, ...] = ()
    required: tuple[RequiredPoint, ...] = ()
    facts: tuple[RequiredFact, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)  #: local names of NAMES, such as the title of the drawing
    groups: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  #: a word for several kinds, and their phrases
    but_not: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  #: by a word: phrases that hide it
    _kinds: list[Kinds] = field(default_factory=list, init=False, compare=False, repr=False)  # put together once

    @property
    def kinds(self) -> Kinds:
        """What the words of all rules mean."""
        if not self._kinds:
            self._kinds.append(kinds_of(self.groups, self.but_not, self.rule_words()))
        return self._kinds[0]

    def rule_words(self) -> tuple[str, ...]:
        """Give every word by which a rule names kinds: of limits, required points and facts, each once."""
        limits = (word for each in self.limits for word in (each.applies_to, each.to) if word is not None)
        points = (word for each in self.required for word in each.kinds)
        facts = (word for each in self.facts for word in (*each.kinds, *each.components))
        return tuple(dict.fromkeys([*points, *facts, *limits]))

    def limits_of(self, key: str, about: Collection[str]) -> tuple[Limit, ...]:
        """Give the limits of a key that apply to a subject, which is named by phrases.

        A limit applies where its `applies_to` is one of the phrases, or stands within one: "septic tank" applies to
        a "two-compartment septic tank".
        """
        return tuple(
            limit for limit in self.limits if limit.key == key and any(holds(limit.applies_to, each) for each in about)
        )

    def limits_for(
        self, key: str, kind: str, *, to: str | None = None, size_in: float | None = None
    ) -> tuple[Limit, ...]:
        """Give the limits of a key that a component of a kind goes by: at most one from below and one from above.

        `applies_to` and `to` name a kind by a phrase that stands in it, or by a group of phrases. Of several the one
        closest in words holds: the longer phrase before the shorter, of two as long a phrase before a group.

        Parameters
        ----------
        to
            The kind that a setback is measured to.
        size_in
            Of a pipe or an orifice, inches; None = not known.
        """
        found: dict[bool, tuple[tuple[int, int, int, int], Limit]] = {}
        for limit in self.limits:
            if limit.key != key or not limit.holds_for_size(size_in):
                continue
            own = self.closeness(limit.applies_to, kind)
            other = (0, 0) if to is None else self.closeness(limit.to or "", to)
            if own is None or other is None:
                continue
            best = found.get(limit.upper)
            if best is None or (*own, *other) > best[0]:
                found[limit.upper] = ((*own, *other), limit)
        return tuple(limit for _, limit in found.values())

    def closeness(self, word: str, kind: str) -> tuple[int, int] | None:
        """Tell how closely a word of a rule names a kind; None = not at all. See `Kinds.closeness`."""
        return self.kinds.closeness(word, kind)

    def required_points(self, kind: str) -> tuple[RequiredPoint, ...]:
        """Give the points that a component of a kind must have; of several of one `what` the closest in words."""
        return self._closest(self.required, kind)

    def facts_of(self, kind: str) -> tuple[RequiredFact, ...]:
        """Give what else must be told of a component of a kind, or of the property (PROPERTY)."""
        return self._closest(self.facts, kind)

    def _closest(self, asked: Iterable[A], kind: str) -> tuple[A, ...]:
        """Give what is asked of a kind; of several of one name that which names the kind most closely."""
        found: dict[str, tuple[tuple[int, int], A]] = {}
        for each in asked:
            told = [near for word in each.kinds if (near := self.closeness(word, kind)) is not None]
            if told and (each.what not in found or max(told) > found[each.what][0]):
                found[each.what] = (max(told), each)
        return tuple(each for _, each in found.values())

    def prior(self, key: str) -> Prior | None:
        """Give the prior of a quantity; None = nothing is known before it is measured."""
        return next((prior for prior in self.priors if prior.key == key), None)


def extended(own: Profile, parent: Profile, without: Collection[str] = ()) -> Profile:
    """Put the parent's rules into a profile where it says nothing of its own.

    Parameters
    ----------
    own
        The profile as it is written; what it says goes before the same of the parent. Limits are the same by their
        `identity`, tasks by name, priors by key, items of a record by item and task, what is required by kinds and
        `what`, names, groups and what they do not mean by their word.
    parent
        The profile it extends.
    without
        Keys of limits that are not taken over.
    """
    said = {limit.identity for limit in own.limits}
    kept = (each for each in parent.limits if each.identity not in said and each.key not in without)
    return replace(
        own,
        limits=(*own.limits, *kept),
        tasks=_joined(own.tasks, parent.tasks, lambda it: it.name),
        priors=_joined(own.priors, parent.priors, lambda it: it.key),
        record_items=_joined(own.record_items, parent.record_items, lambda it: (it.item, it.task)),
        required=_joined(own.required, parent.required, lambda it: (it.kinds, it.what)),
        facts=_joined(own.facts, parent.facts, lambda it: (it.kinds, it.what)),
        names={**parent.names, **own.names},
        groups={**parent.groups, **own.groups},
        but_not={**parent.but_not, **own.but_not},
    )


def _joined(own: tuple[T, ...], parent: tuple[T, ...], named: Callable[[T], object]) -> tuple[T, ...]:
    """Put behind one's own what the parent has besides."""
    said = {named(each) for each in own}
    return (*own, *(each for each in parent if named(each) not in said))

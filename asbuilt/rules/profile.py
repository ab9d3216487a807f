"""A rule profile: limits, tasks, priors and what a record must hold, each with where it stands written.

A profile is data. It extends another one; what it says itself goes before what it takes over. Whatever it says,
local code and licensed practice decide, and a profile carries the sentence that says so.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

COMPARISONS = ("at least", "more than", "at most", "less than")
"""How a quantity must stand to the value of a limit for the limit to be kept."""

STANDINGS = ("seen", "seen in copies", "from memory", "common practice", "derived", "our judgement")
"""How well a source is known: read by us, read in copies by others, remembered, or no published rule at all."""

LENGTHS = ("in", "ft", "m", "cm")
INTERVALS = ("months", "years")
SHARES = ("% of liquid depth", "% of liquid capacity")
RATES = ("L/person/year", "gal/person/year")
TIMES = ("times the uplift",)
WEIGHTS = ("lb/ft3",)

KEYS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "sludge_to_outlet": LENGTHS,
        "scum_to_outlet": LENGTHS,
        "scum_top_to_tee_top": LENGTHS,
        "solids_share": SHARES,
        "pump_out_interval": INTERVALS,
        "inspection_interval": INTERVALS,
        "filter_interval": INTERVALS,
        "pump_test_interval": INTERVALS,
        "lateral_flush_interval": INTERVALS,
        "unit_service_interval": INTERVALS,
        "flotation_factor": TIMES,
        "soil_weight": WEIGHTS,
    }
)
"""Keys of limits that the program knows, and the units of each. A check that needs a new limit adds its key here,
so that a mistyped key in a user's own profile is refused and not passed over in silence."""

PRIOR_KEYS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"sludge_rate": RATES, "scum_rate": RATES, "sludge_reading": LENGTHS, "scum_reading": LENGTHS}
)
"""Keys of priors: rates of rise per person, and how well a depth is read (mean 0)."""

MECHANICAL = "system with mechanical parts"
PUMPED = "system with a pump"
DISPOSER = "household with a disposer"
"""What a limit may apply to besides a kind of component."""


@dataclass(frozen=True, slots=True)
class Reference:
    """Where something stands written."""

    code: str
    section: str | None = None
    edition: str | None = None
    address: str | None = None

    def words(self) -> str:
        """Give it as it is printed beside an answer."""
        named = " ".join(part for part in (self.code, self.section) if part)
        return f"{named} ({self.edition})" if self.edition else named


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
        words = self.reference.words()
        return words if self.standing in ("seen", "seen in copies") else f"{words} ({self.standing})"


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

    def limits_of(self, key: str, about: Collection[str]) -> tuple[Limit, ...]:
        """Give the limits of a key that apply to a subject, which is named by phrases.

        A limit applies where its `applies_to` is one of the phrases, or stands within one: "septic tank" applies to
        a "two-compartment septic tank".
        """
        phrases = [" ".join(phrase.casefold().split()) for phrase in about]
        return tuple(
            limit
            for limit in self.limits
            if limit.key == key and any(limit.applies_to.casefold() in phrase for phrase in phrases)
        )

    def prior(self, key: str) -> Prior | None:
        """Give the prior of a quantity; None = nothing is known before it is measured."""
        return next((prior for prior in self.priors if prior.key == key), None)


def extended(own: Profile, parent: Profile, without: Collection[str] = ()) -> Profile:
    """Put the parent's rules into a profile where it says nothing of its own.

    Parameters
    ----------
    own
        The profile as it is written; what it says goes before the same of the parent. Limits are the same by key and
        `applies_to`, tasks by name, priors by key, items of a record by item and task.
    parent
        The profile it extends.
    without
        Keys of limits that are not taken over.
    """
    said = {(limit.key, limit.applies_to) for limit in own.limits}
    kept = (each for each in parent.limits if (each.key, each.applies_to) not in said and each.key not in without)
    return replace(
        own,
        limits=(*own.limits, *kept),
        tasks=(*own.tasks, *(t for t in parent.tasks if t.name not in {each.name for each in own.tasks})),
        priors=(*own.priors, *(p for p in parent.priors if p.key not in {each.key for each in own.priors})),
        record_items=(
            *own.record_items,
            *(
                item
                for item in parent.record_items
                if (item.item, item.task) not in {(each.item, each.task) for each in own.record_items}
            ),
        ),
    )


BARE = Profile("bare", "no rules", "Local code and a licensed professional decide.")
"""A profile without any rule: only what the record itself says."""

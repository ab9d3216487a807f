"""Whether the empty tank can float, and what water in it holds it while the hole is open."""

from dataclasses import dataclass

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.look import Look

GROUP = "flotation"

AS_HIGH = (
    "Water inside as high as outside holds any tank that has weight; a quarter of its height may hold it or may not "
    "(common practice)."
)


@dataclass(frozen=True, slots=True)
class Float:
    """What was reckoned of one tank."""

    tank: str
    holds: bool | None  #: None = cannot tell: treat as able to float
    answer: str  #: the verdict in words
    factor: float | None  #: weights by uplift
    required: float
    words: str  #: the reckoning in sentences
    bookkeeping: str  #: what is counted and what is not
    water_m: float | None  #: depth of water inside that holds it bare, water outside up to its top; None = not told
    no_water: str  #: why that is not told; empty where it is
    rough: str  #: why that may be too little; empty where it is known
    quarter_holds: bool | None  #: whether a quarter of its height would
    sources: tuple[str, ...]


def flotation_items(look: Look, floats: tuple[Float, ...]) -> list[CheckItem]:
    """Say of each tank whether it can float, by which bookkeeping, and what holds it during installation."""
    return [item for each in floats for item in (_finished(each), _installing(look, each))]


def _finished(each: Float) -> CheckItem:
    outcome = {True: Outcome.DONE, False: Outcome.OUTSIDE, None: Outcome.DOUBTFUL}[each.holds]
    words = f"{each.tank}, empty and covered: {each.answer}. {each.words} {each.bookkeeping}"
    act = {
        Outcome.DONE: "",
        Outcome.OUTSIDE: "Anchor it by an engineer's design; never empty it while groundwater is high.",
        Outcome.DOUBTFUL: "Fill what is missing in components.csv; never empty it while groundwater is high.",
    }[outcome]
    factor = None if each.factor is None else "no water reaches it" if each.factor > 1e6 else f"{each.factor:.2f}"
    limit = f"at least {each.required:g} times the uplift"
    return CheckItem("floats", GROUP, each.tank, outcome, words, factor, limit, "; ".join(each.sources), act)


def _installing(look: Look, each: Float) -> CheckItem:
    """Say how much water keeps the bare tank down while the hole may fill."""
    if each.water_m is None:
        unknown = f"what water in it holds it cannot be reckoned: {each.no_water}"
        words = f"{each.tank}, while the hole is open: {unknown}. {AS_HIGH}"
        act = "Keep the water in it as high as the water in the hole. Fill what is missing in components.csv."
        return CheckItem("water-inside", GROUP, each.tank, Outcome.DOUBTFUL, words, None, None, None, act)
    depth = look.length(each.water_m)
    quarter = "" if each.quarter_holds is None else " A quarter of its height would hold this one."
    if each.quarter_holds is False:
        quarter = " A quarter of its height would not hold this one."
    at_least = "at least " if each.rough else ""
    more = f" It may need more, for the room in it is only roughly known: {each.rough}." if each.rough else ""
    words = (
        f"{each.tank}, while the hole is open: {at_least}{depth} of water in it hold it with the hole full to its top, "
        f"no soil over it counted.{more}{quarter} {AS_HIGH}"
    )
    act = "Keep the water in it as high as the water in the hole until it is covered."
    if each.rough:
        act += " Fill wall, or gal_per_in, in components.csv."
    outcome, measured = (Outcome.DOUBTFUL if each.rough else Outcome.DONE), f"{at_least}{depth}"
    return CheckItem("water-inside", GROUP, each.tank, outcome, words, measured, None, "FEMA P-259, Example C7", act)

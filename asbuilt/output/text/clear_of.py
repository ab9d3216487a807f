"""May this be built here? The answer in words and as JSON."""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from asbuilt.checks.clear_of import Buried, Clearance
from asbuilt.checks.item import Outcome
from asbuilt.units import format_length, format_small

NOT_RECORDED = (
    "What is not recorded may still be there. Before digging have the public lines marked (811 in the United States); "
    "private lines are not marked by that service."
)

NO_RULE = "no limit of the rules is about this; ask whether it may lie there, and whether it can be reached for repair"

_STANDS = {Outcome.OUTSIDE: "TOO NEAR", Outcome.DOUBTFUL: "too close to call", Outcome.DONE: "clear"}
_WIDTH = 100


@dataclass(frozen=True, slots=True)
class ClearAnswer:
    """What is told of something planned."""

    name: str  #: of the property
    units: str
    planned: str  #: its kind
    clearances: Sequence[Clearance]
    buried: Sequence[Buried]
    over_buildings: Sequence[str]
    local_code: str
    earth_doubt_m: float

    @property
    def clear(self) -> bool:
        """Tell whether nothing stands against it, as far as is recorded."""
        kept = all(each.outcome is Outcome.DONE for each in self.clearances)
        return kept and not self.buried and not self.over_buildings

    def as_json(self) -> dict[str, Any]:
        """Give the keys of `clear-of --json`."""
        return {
            "property": self.name,
            "planned": self.planned,
            "clear": self.clear,
            "buries": [{"point": each.point, "sure": each.sure} for each in self.buried],
            "over_buildings": list(self.over_buildings),
            "distances": [_clearance_json(each) for each in self.clearances],
            "earth_doubt_m": round(self.earth_doubt_m, 4),
        }

    def text(self) -> str:
        """Give the answer for the terminal."""
        return "\n".join(self._lines())

    def _lines(self) -> Iterator[str]:
        yield f"{self.planned} at {self.name}: {self._answer()}"
        for opening in self.buried:
            yield f"  {'lies over' if opening.sure else 'may lie over'} the opening {opening.point}"
        for name in self.over_buildings:
            yield f"  runs into the {name}"
        if self.earth_doubt_m:
            doubt = format_small(self.earth_doubt_m, self.units)
            yield from _wrapped(
                f"The shape came as longitude and latitude, and may be off by {doubt} against the house. Give offsets "
                "from a wall for a sure answer, or --same-map where it was drawn on a map of it that asbuilt made."
            )
        yield ""
        width = max((len(each.component.name) for each in self.clearances), default=9)
        for each in self.clearances:
            yield f"  {each.component.name:{width}}  {self._distance(each)}"
            if each.limit is None and each.outcome is not Outcome.DONE:
                yield from _wrapped(NO_RULE, " " * (width + 4))
            if each.limit is not None:
                limit = f"{each.limit.shown()} by {each.limit.source()}"
                note = "" if each.limit.note is None or each.outcome is Outcome.DONE else f": {each.limit.note}"
                yield from _wrapped(f"{_STANDS[each.outcome]}; {limit}{note}", " " * (width + 4))
        yield ""
        yield from _wrapped(f"{NOT_RECORDED} {self.local_code}", "")

    def _answer(self) -> str:
        if self.clear:
            return "nothing recorded stands against it"
        if any(each.outcome is Outcome.OUTSIDE for each in self.clearances) or any(each.sure for each in self.buried):
            return "not there"
        return "not to be told from the record; look at what is not clear below"

    def _distance(self, each: Clearance) -> str:
        if each.apart is None:
            return "has no place in the record"
        if each.apart.distance_m == 0:
            return "lies under it"
        distance = format_length(each.apart.distance_m, self.units)
        return f"{distance} away, give or take {format_small(each.doubt_m, self.units)}"


def _clearance_json(each: Clearance) -> dict[str, Any]:
    limit = each.limit
    return {
        "component": each.component.name,
        "kind": each.component.kind,
        "distance_m": None if each.apart is None else round(each.apart.distance_m, 4),
        "within_m": None if each.apart is None else round(each.doubt_m, 4),
        "limit": None if limit is None else limit.shown(),
        "source": None if limit is None else limit.source(),
        "outcome": str(each.outcome),
    }


def _wrapped(words: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(words, _WIDTH, initial_indent=indent, subsequent_indent=indent)

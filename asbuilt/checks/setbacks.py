"""Distances from wells, water, buildings and lines between the real shapes, with their doubt, against the rules."""

from collections.abc import Iterator
from dataclasses import dataclass

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.look import K95, Look, half_widths_m, listed, verdict
from asbuilt.model.components import Component
from asbuilt.rules.profile import Limit
from asbuilt.shapes import Apart, Outlines

GROUP = "setbacks"

BUILDING = "building foundation"
"""The kind as which a building counts."""

LINES = ("property line", "easement")
"""Kinds to whose edge one measures, also from within."""

NOT_A_SURVEY = "apparent line; not a boundary survey"


@dataclass(frozen=True, slots=True)
class Measured:
    """One distance that a limit asks for."""

    limit: Limit
    one: Component
    other: str
    apart: Apart

    @property
    def least_m(self) -> float:
        """Give the distance on the safe side."""
        return max(0.0, self.apart.distance_m - K95 * self.apart.sigma_m - self.apart.nearer_m)


def setback_items(look: Look, outlines: Outlines) -> list[CheckItem]:
    """Hold every distance that the profile asks for against its limit; of several components the nearest is told."""
    others = [(each.name, each.kind) for each in look.components] + [(name, BUILDING) for name in outlines.buildings]
    nearest: dict[tuple[Limit, str], Measured] = {}
    beside: dict[tuple[Limit, str], int] = {}
    unplaced: dict[str, None] = {}
    met: set[Limit] = set()
    for one in look.components:
        for name, kind in others:
            for limit in look.profile.limits_for("setback", one.kind, to=kind) if name != one.name else ():
                met.add(limit)
                measured = _measure(look, outlines, limit, one, (name, kind))
                if measured is None:
                    unplaced |= dict.fromkeys(each for each in (one.name, name) if outlines.of(each) is None)
                    continue
                key = (limit, name)
                beside[key] = beside.get(key, 0) + 1
                if key not in nearest or measured.least_m < nearest[key].least_m:
                    nearest[key] = measured
    items = [_item(look, each, beside[key]) for key, each in nearest.items()]
    items += [_line(look, each) for each in look.components if _is_line(each.kind)]
    if unplaced:
        words = f"Setbacks of what has no place cannot be told: {listed(list(unplaced))}."
        items.append(
            CheckItem(
                "setback-unknown", GROUP, "setbacks", Outcome.DOUBTFUL, words, next_act="Tape it, then check again."
            )
        )
    items += _not_looked_at(look, met)
    return items


def _is_line(kind: str) -> bool:
    return any(line in kind.casefold() for line in LINES)


def _measure(look: Look, outlines: Outlines, limit: Limit, one: Component, other: tuple[str, str]) -> Measured | None:
    half_widths = half_widths_m(look.profile, [one])
    apart = outlines.apart(one.name, other[0], edge=_is_line(other[1]), half_widths_m=half_widths)
    return None if apart is None else Measured(limit, one, other[0], apart)


def _item(look: Look, measured: Measured, of: int) -> CheckItem:
    limit, apart = measured.limit, measured.apart
    outcome = verdict(apart.distance_m, apart.sigma_m, limit)
    nearer = apart.nearer_m
    if (
        outcome is Outcome.DONE
        and verdict(max(0.0, apart.distance_m - nearer), apart.sigma_m, limit) is not Outcome.DONE
    ):
        outcome = Outcome.DOUBTFUL
    stands = {Outcome.DONE: "clear", Outcome.OUTSIDE: "short"}.get(outcome, "too close to call")
    distance, doubt = look.length(apart.distance_m), look.small(K95 * apart.sigma_m)
    nearest = " (the nearest)" if of > 1 else ""
    between = f"{measured.one.name}{nearest} to {measured.other}"
    words = f"{between}: {distance}, give or take {doubt}; {limit.shown()}: {stands}."
    words += _why(look, measured)
    act = ""
    if outcome is not Outcome.DONE:
        act = _act(outcome, nearer > 0)
    subject = f"{measured.one.name} to {measured.other}"
    shown = f"{distance} within {doubt}"
    return CheckItem("setback", GROUP, subject, outcome, words, shown, limit.shown(), limit.source(), act)


def _why(look: Look, measured: Measured) -> str:
    """Say what the distance rests on."""
    said = []
    wide_m = measured.apart.wide_m
    if measured.apart.nearer_m > wide_m:
        said.append(f"as the box may lie, it may be {look.small(measured.apart.nearer_m - wide_m)} less")
    if wide_m > 0:
        said.append(f"to the pipe: its trench, whose width is not recorded, may be {look.small(wide_m)} nearer")
    if any(each.name == measured.other and _is_line(each.kind) for each in look.components):
        said.append(NOT_A_SURVEY)
    return "".join(f" ({each})" for each in said)


def _act(outcome: Outcome, unknown: bool) -> str:
    if outcome is Outcome.OUTSIDE:
        return "Do not cover it: ask the authority whether it may stay."
    if unknown:
        return "Fill width of the trench in components.csv, or tape a second point of the tank; then check again."
    return "Tape both ends of the shortest distance directly, or pull one more tape to each; ask the authority."


def _line(look: Look, component: Component) -> CheckItem:
    """Say what is recorded of an apparent property line: who showed it, and which pins were seen."""
    rows = [row for name in look.points(component.name) if (row := look.row(name)) is not None]
    found, told = [row for row in rows if row.pin == "found"], [row for row in rows if row.pin is not None]
    lacking = [
        words
        for words, there in (("which pins were found", len(told) == len(rows)), ("who showed it", component.shown_by))
        if not there
    ]
    source = "trade practice: only a licensed surveyor locates a boundary (common practice)"
    by = component.shown_by or "nobody is named"
    words = f"{component.name}: {NOT_A_SURVEY}; pins found: {len(found)} of {len(rows)}; shown by: {by}."
    if not lacking:
        return CheckItem("line", GROUP, component.name, Outcome.DONE, words, source=source)
    act = f"Not recorded: {', '.join(lacking)}. Fill pin in points.csv and shown_by in components.csv."
    return CheckItem("line", GROUP, component.name, Outcome.DOUBTFUL, words, None, None, source, act)


def _not_looked_at(look: Look, met: set[Limit]) -> Iterator[CheckItem]:
    """Say to what nothing was measured because nothing of the kind is recorded."""
    asked = dict.fromkeys(limit.to for limit in look.profile.limits if limit.key == "setback" and limit.to)
    seen = {limit.to for limit in met}
    missing = [to for to in asked if to not in seen]
    if missing:
        words = f"Nothing of these kinds is recorded, so no setback to them was looked at: {listed(missing, 20)}."
        act = "If there is one near, add it to components.csv and tape it."
        yield CheckItem("not-looked-at", GROUP, "setbacks", Outcome.DONE, words, next_act=act)

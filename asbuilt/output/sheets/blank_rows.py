"""What a blank field sheet asks for: the rows that the rule profile wants of each component, sheet by sheet."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from asbuilt.errors import AsbuiltError
from asbuilt.model.components import Component
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.site_readings import READINGS
from asbuilt.rules.profile import PUMPED, Profile
from asbuilt.rules.required import PROPERTY, RequiredFact, RequiredPoint

MOST_OF_A_KIND, LONGEST_KIND, MOST_COMPONENTS = 40, 60, 120
"""More of one kind than fit a house lot, a longer kind than any trade word, more than a property has: a slip."""

BENDS = 2
"""Rows without a name for the bends of a pipe or cable that has none yet; trenches run straight, and what bends more
goes on the spare rows (our own)."""

READ_FOR = {
    "trench_depth": ("depth-uphill", "depth-downhill"),
    "separation": ("limiting-layer",),
    "squirt_in_lateral": ("squirt-first", "squirt-last"),
    "outlet_spread": ("outlet-spread",),
    "watertight_drop": ("watertight-drop", "watertight-time"),
}
"""Limits of a profile, and the readings that are held against them."""

MEASURED_OF = {
    "tank": ("length", "width", "height", "volume_gal", "weight_lb", "cover", "groundwater", "material"),
    "lateral": ("width", "material", "pipe", "orifice", "orifices", "spacing", "marker", "marker_end"),
    "trench": ("width", "length", "material", "pipe", "marker", "marker_end"),
}
"""Columns of components.csv that the checks look at, by kind or group of kinds; `OTHER` holds for every other one."""

OTHER = ("length", "width", "material", "pipe", "marker", "marker_end")

_COUNTED = re.compile(r"([0-9]{1,3}) ?x? +(.+)", re.ASCII)


class ComponentsError(AsbuiltError, ValueError):
    """A list of components that cannot be read."""


@dataclass(frozen=True, slots=True)
class PointRow:
    """One point to be taped."""

    component: str
    point: str  #: empty = still to be named
    tapes: int  #: how many are asked for
    photo: bool
    size: str = ""
    mark: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class LevelRow:
    """One place for the rod."""

    on: str
    to: str


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One test or setting to be read."""

    component: str
    reading: str
    meaning: str


def parse_components(text: str) -> tuple[Component, ...]:
    """Read kinds of components with their numbers, separated by commas.

    Raises
    ------
    ComponentsError
        If a part is empty, too long, or counts more than there can be; the text says what is accepted.

    Examples
    --------
    >>> [each.name for each in parse_components("septic tank, 2 laterals")]
    ['septic tank', 'lateral 1', 'lateral 2']
    """
    counts: dict[str, int] = {}
    for part in text.split(","):
        words = " ".join(part.split())
        match = _COUNTED.fullmatch(words)
        count, kind = (int(match[1]), match[2]) if match else (1, words)
        kind = _singular(kind) if count > 1 else kind
        if not kind or len(kind) > LONGEST_KIND or "/" in kind or not 1 <= count <= MOST_OF_A_KIND:
            raise ComponentsError(
                f"--components: {words[:80]!r} is not read; accepted: kinds separated by commas, with their number "
                f'where there are several (at most {MOST_OF_A_KIND}), such as "septic tank, pump tank, 4 laterals"'
            )
        counts[kind] = counts.get(kind, 0) + count
    if sum(counts.values()) > MOST_COMPONENTS:
        raise ComponentsError(f"--components: {sum(counts.values())} components; accepted: {MOST_COMPONENTS} at most")
    return tuple(
        Component(kind if count == 1 else f"{kind} {k}", kind)
        for kind, count in counts.items()
        for k in range(1, count + 1)
    )


def _singular(kind: str) -> str:
    if kind.endswith(("xes", "ches", "shes")):
        return kind[:-2]
    return kind[:-1] if kind.endswith("s") and not kind.endswith("ss") else kind


def point_rows(record: PropertyRecord | None, components: Sequence[Component], profile: Profile) -> Iterator[PointRow]:
    """Give a row for each point: those that the record names already, then those that the profile asks for."""
    rows = {} if record is None else {row.name: row for row in record.points}
    for component in components:
        asked = profile.required_points(component.kind)
        names = [name.removeprefix(f"{component.name}/") for name in _recorded(record, component)]
        for name in dict.fromkeys([*names, *_lacking(asked, names)]):
            row = _asked_of(component, name, asked)
            known = rows.get(f"{component.name}/{name}")
            yield row if known is None else replace(row, size=known.size or "", mark=known.mark or "")
        if not asked and not names:
            yield PointRow(component.name, "", 2, photo=False, note="no rule asks for a point of this kind")
        ends = [each for each in asked if each.but_not and each.count > 1]
        if ends and all(ends[0].named_by(name) for name in names) and not profile.closeness("trench", component.kind):
            yield from (PointRow(component.name, "", 2, photo=False, note="bend") for _ in range(BENDS))


def _recorded(record: PropertyRecord | None, component: Component) -> tuple[str, ...]:
    return () if record is None else record.points_of(component.name)


def _lacking(asked: Sequence[RequiredPoint], names: Sequence[str]) -> Iterator[str]:
    for each in asked:
        there = sum(each.named_by(name) for name in names)
        if there < max(each.count, 1):
            yield from each.suggest[there:] or (each.what,)


def _asked_of(component: Component, name: str, asked: Sequence[RequiredPoint]) -> PointRow:
    mine = [each for each in asked if each.named_by(name)]
    checked = any(each.checked for each in mine)
    note = "if there is one" if any(each.count == 0 for each in mine) else ""
    return PointRow(component.name, name, 3 if checked else 2, any(each.photo for each in mine), note=note)


def level_rows(points: Sequence[PointRow], components: Sequence[Component], profile: Profile) -> Iterator[LevelRow]:
    """Give a row for each place whose level the profile has a limit for: inverts that must fall, what must be level."""
    kinds = {component.name: component.kind for component in components}
    for row in points:
        kind = kinds.get(row.component, "")
        to = (
            "bottom"
            if profile.closeness("trench", kind)
            else "invert"
            if _has_limit(profile, "pipe_slope", kind)
            else ""
        )
        if to and row.note != "if there is one":
            yield LevelRow(f"{row.component}/{row.point or '(bend)'}", to)


def _has_limit(profile: Profile, key: str, kind: str) -> bool:
    return any(each.key == key and profile.closeness(each.applies_to, kind) for each in profile.limits)


def reading_rows(components: Sequence[Component], profile: Profile) -> Iterator[ReadingRow]:
    """Give a row for each test and setting that the profile asks for, or has a limit for."""
    for component in components:
        facts = [
            each for each in profile.facts_of(component.kind) if each.readings and _asked(each, components, profile)
        ]
        wanted = [" or ".join(fact.readings) for fact in facts]
        limits = [key for key in READ_FOR if profile.limits_for(key, component.kind)]
        wanted += [reading for key in limits for reading in READ_FOR[key] if reading not in wanted]
        for words in dict.fromkeys(wanted):
            meaning = (
                READINGS[words][1]
                if words in READINGS
                else next(f.what for f in facts if " or ".join(f.readings) == words)
            )
            yield ReadingRow(component.name, words, meaning)


def property_keys(components: Sequence[Component], profile: Profile) -> dict[str, str]:
    """Give the keys of property.toml that the profile asks for, and what each tells."""
    facts = [each for each in profile.facts_of(PROPERTY) if each.columns and _asked(each, components, profile)]
    return {key: fact.what for fact in facts for key in fact.columns}


def _asked(fact: RequiredFact, components: Sequence[Component], profile: Profile) -> bool:
    """Tell whether what is asked only of some systems is asked of one with these components."""

    def any_is(word: str) -> bool:
        return any(profile.closeness(word, each.kind) for each in components)

    return fact.needs is None or any_is("pump tank") or (fact.needs != PUMPED and any_is("treatment unit"))


def columns_of(component: Component, profile: Profile) -> tuple[str, ...]:
    """Give the columns of components.csv to be filled for one component, the profile's own ones among them."""
    usual = next((columns for word, columns in MEASURED_OF.items() if profile.closeness(word, component.kind)), OTHER)
    facts = [column for fact in profile.facts_of(component.kind) for column in fact.columns]
    return tuple(dict.fromkeys([*usual, *facts]))

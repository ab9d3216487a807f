"""Whether the profile knows what each component is, and whether it has a place: nothing is passed in silence."""

from collections.abc import Iterator
from difflib import SequenceMatcher

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.look import Look
from asbuilt.model.components import Component
from asbuilt.rules.kinds import words_of
from asbuilt.rules.profile import DISPOSER, MECHANICAL, PUMPED
from asbuilt.rules.required import PROPERTY

GROUP = "locations"

NOTHING_ASKED = ("structure", "inside another part", "no part of the system")
"""Groups of which nothing is asked: what stands on the yard, what lies within a tank, what is only kept clear of."""

TOO_GENERAL = "too general"
"""The group of phrases that say too little of what a component is: a tank."""

MOST_LIKE = 4
"""Kinds that are named where one is not known."""


def kind_items(look: Look) -> list[CheckItem]:
    """Say which kinds no rule knows, and which components have no point at all."""
    items: list[CheckItem] = []
    for component in look.components:
        if not _is_one_of(look, component, NOTHING_ASKED):
            items += [*_kind(look, component), *_place(look, component)]
    named = {each.name for each in look.record.components}
    bare = dict.fromkeys(look.record.component_of(name) for name in look.record.point_names())
    return [*items, *(_without_row(name) for name in bare if name not in named)]


def _is_one_of(look: Look, component: Component, words: tuple[str, ...]) -> bool:
    return any(look.profile.closeness(word, component.kind) is not None for word in words)


def _kind(look: Look, component: Component) -> Iterator[CheckItem]:
    name, kind = component.name, component.kind
    known = _is_one_of(look, component, look.profile.rule_words())
    said = look.profile.kinds.known_as(kind)
    general = known and said in look.profile.groups.get(TOO_GENERAL, ())
    if known and not general:
        return
    words = f"{name}: no rule of the profile knows the kind “{kind}”: nothing of it was checked."
    if general:
        words = f"{name}: the kind “{kind}” says no more than {said}: only what holds for every {said} was checked."
    alike = ", ".join(nearest(look, kind))
    act = f"If it is one of these, write that as its kind in components.csv: {alike}. Else ask what holds for it."
    yield CheckItem("kind-unknown", GROUP, name, Outcome.DOUBTFUL, words, kind, next_act=act)


def nearest(look: Look, kind: str) -> list[str]:
    """Give the known kinds that are most like one: those that share a word first, the last word before others."""
    own, phrases = words_of(kind), look.profile.kinds.phrases
    aside = {each.text for word in (*NOTHING_ASKED, PROPERTY) for each in phrases.get(word, ())}
    aside |= {MECHANICAL, PUMPED, DISPOSER, *look.profile.groups.get(TOO_GENERAL, ())}
    known = {each.text for every in phrases.values() for each in every} - aside

    def likeness(text: str) -> tuple[bool, bool, float]:
        words = words_of(text)
        alike = SequenceMatcher(None, " ".join(own), " ".join(words)).ratio()
        return own[-1:] == words[-1:], bool(set(own) & set(words)), alike

    return sorted(sorted(known), key=likeness, reverse=True)[:MOST_LIKE]


def _place(look: Look, component: Component) -> Iterator[CheckItem]:
    """Yield what has no point at all; where the profile asks for points it is said of each of them."""
    asked = any(each.count for each in look.profile.required_points(component.kind))
    if look.points(component.name) or asked:
        return
    words = f"{component.name}: no point of it is recorded, so nobody can find it again."
    act = f"Tape it before it is covered: asbuilt tape, or a row in points.csv such as “{component.name}, centre”."
    yield CheckItem("not-located", GROUP, component.name, Outcome.MISSING, words, next_act=act)


def _without_row(name: str) -> CheckItem:
    words = f"{name}: its kind is not recorded, so no rule was asked of it: nothing of it was checked."
    act = "Add it to components.csv with its kind."
    return CheckItem("kind-unknown", GROUP, name, Outcome.DOUBTFUL, words, next_act=act)

"""Whether everything is located that must be found again, well enough, and checked."""

from collections.abc import Iterator, Sequence

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.look import Look, listed, own_name
from asbuilt.model.components import Component
from asbuilt.rules.profile import Limit
from asbuilt.rules.required import RequiredPoint

GROUP = "locations"

OUR_READING = "read as: 19 of 20 such places keep it (our reading)"
"""How a stated accuracy is read, said beside it."""


def location_items(look: Look) -> list[CheckItem]:
    """Say which points are there, how well they are known, and whether a misread tape would show."""
    items = [*_reference_points(look)]
    for component in look.components:
        for required in look.profile.required_points(component.kind):
            items += _required(look, component, required)
        items += _accuracy(look, component)
        items += _bends(look, component)
    asked = _asked_to_be_checked(look)
    items += [_unchecked(look, name) for name in asked if name in look.unchecked]
    items += _others_unchecked(look, asked)
    items += [_abandoned(look, each) for each in look.abandoned]
    return items


def matching(look: Look, component: Component, required: RequiredPoint) -> list[str]:
    """Give the points of a component that are what is required, by their names."""
    return [name for name in look.points(component.name) if required.named_by(own_name(name))]


def _required(look: Look, component: Component, required: RequiredPoint) -> Iterator[CheckItem]:
    found = matching(look, component, required)
    if not required.count and not found:
        return
    listed_names = listed([own_name(name) for name in found]) or "none"
    if len(found) >= required.count:
        words = f"{component.name}: {required.what}: {listed_names}."
        yield CheckItem("points-there", GROUP, component.name, Outcome.DONE, words, source=required.source())
        return
    lacking = [own for own in required.suggest if own not in {own_name(name) for name in found}]
    example = lacking[-1] if lacking else required.what
    yield CheckItem(
        "point-missing",
        GROUP,
        component.name,
        Outcome.MISSING,
        f"{component.name}: {required.what}: {len(found)} of {required.count} recorded ({listed_names}).",
        measured=str(len(found)),
        limit=f"at least {required.count}",
        source=required.source(),
        next_act=f"Tape it before it is covered: asbuilt tape, or a row in points.csv such as "
        f"“{component.name}, {example}”.",
    )


def _accuracy(look: Look, component: Component) -> Iterator[CheckItem]:
    """Hold the radius of each located point of a component against what the profile asks for."""
    limits = look.profile.limits_for("location_accuracy", component.kind)
    radii = {
        name: position.r95_m
        for name in look.points(component.name)
        if (position := look.position(name)) is not None and position.r95_m is not None
    }
    for limit in limits:
        outside = {name: radius for name, radius in radii.items() if radius > limit.si}
        for name, radius in outside.items():
            yield _too_rough(look, name, radius, limit)
        kept = [radius for name, radius in radii.items() if name not in outside]
        if kept:
            words = f"{component.name}: {_points(len(kept))} within {look.small(max(kept))}, 19 times in 20."
            yield CheckItem(
                "accuracy",
                GROUP,
                component.name,
                Outcome.DONE,
                words,
                look.small(max(kept)),
                limit.shown(),
                limit.source(),
            )


def _too_rough(look: Look, name: str, radius: float, limit: Limit) -> CheckItem:
    advice = look.unchecked.get(name, "")
    return CheckItem(
        "accuracy",
        GROUP,
        name,
        Outcome.OUTSIDE,
        f"{name} is known within {look.small(radius)} only, 19 times in 20; {limit.shown()} is asked for, "
        f"{OUR_READING}.",
        measured=look.small(radius),
        limit=limit.shown(),
        source=limit.source(),
        next_act="Pull one more tape, from another side: asbuilt next-tape ranks them."
        + (f" {advice}" if advice else ""),
    )


def _bends(look: Look, component: Component) -> Iterator[CheckItem]:
    """Say how many bends of a line are recorded: those that nobody recorded cannot be seen here."""
    ends = [each for each in look.profile.required_points(component.kind) if each.count >= 2 and each.but_not]
    if not ends:
        return
    bends = [name for name in look.points(component.name) if not ends[0].named_by(own_name(name))]
    named = f": {listed([own_name(name) for name in bends])}" if bends else ""
    words = (
        f"{component.name}: {_points(len(bends))} recorded between its ends{named}; a bend that nobody recorded cannot "
        "be seen here."
    )
    act = "Walk the line while it is open: tape every bend that is not listed."
    yield CheckItem("bends", GROUP, component.name, Outcome.DONE, words, str(len(bends)), None, ends[0].source(), act)


def _asked_to_be_checked(look: Look) -> list[str]:
    """Points at which the profile asks that a misread tape would show."""
    names = [
        name
        for component in look.components
        for required in look.profile.required_points(component.kind)
        if required.checked
        for name in matching(look, component, required)
    ]
    return list(dict.fromkeys(names))


def _unchecked(look: Look, name: str) -> CheckItem:
    words = f"{name} is located but not checked: a misread tape would not show."
    act = f"One more tape: {look.unchecked[name].removeprefix(f'{name}: ')}."
    source = "checked by a spare tape: asked for by the profile (common practice)"
    return CheckItem("not-checked", GROUP, name, Outcome.DOUBTFUL, words, None, None, source, act)


def _others_unchecked(look: Look, asked: Sequence[str]) -> Iterator[CheckItem]:
    """Say in one line which other points a misread tape could have spoiled."""
    others = [name for name in look.unchecked if name not in asked]
    if others:
        words = f"{_points(len(others))} besides {'is' if len(others) == 1 else 'are'} not checked: {listed(others)}."
        act = "asbuilt ready gives the next tape of each."
        subject = others[0] if len(others) == 1 else f"{len(others)} points"
        yield CheckItem("others-not-checked", GROUP, subject, Outcome.DOUBTFUL, words, str(len(others)), next_act=act)


def _reference_points(look: Look) -> Iterator[CheckItem]:
    located = {each.name for each in look.solution.references if each.place is not None}
    told = [
        each.name
        for each in look.record.reference_points
        if each.description and each.gone_on is None and each.name in located
    ]
    for limit in look.profile.limits_for("reference_points", "the property"):
        enough = limit.holds(len(told))
        words = f"{len(told)} described reference points to measure from: {listed(told) or 'none'}."
        act = "" if enough else "Write in reference_points.csv which face and which mark each is."
        outcome = Outcome.DONE if enough else Outcome.MISSING
        yield CheckItem(
            "reference-points",
            GROUP,
            "reference points",
            outcome,
            words,
            str(len(told)),
            limit.shown(),
            limit.source(),
            act,
        )


def _abandoned(look: Look, component: Component) -> CheckItem:
    """Say whether what was left in the ground is located, and how it was closed."""
    located = any(look.position(name) for name in look.points(component.name))
    lacking = [
        words
        for words, there in (("where it is", located), ("how it was closed", bool(component.closed_how)))
        if not there
    ]
    source = "trade practice: what is left in the ground is recorded (common practice)"
    if lacking:
        words = f"{component.name} is {component.status}; not recorded: {', '.join(lacking)}."
        act = "Tape it, and fill closed_how in components.csv: pumped, crushed, filled with sand."
        return CheckItem("abandoned", GROUP, component.name, Outcome.MISSING, words, None, None, source, act)
    words = f"{component.name} is {component.status}: {component.closed_how}."
    return CheckItem("abandoned", GROUP, component.name, Outcome.DONE, words, None, None, source)


def _points(count: int) -> str:
    return f"{count} point{'' if count == 1 else 's'}"

"""Evidence and state: photos of the openings, built as designed or not, how far the authority's inspection is."""

from collections.abc import Iterator

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.checks.locations import matching
from asbuilt.checks.look import Look, listed
from asbuilt.model.components import Component
from asbuilt.rules.required import PROPERTY

GROUP = "evidence"

STATE = "inspection.state"
"""The key of property.toml that this check tells in words of its own; where it stands written the profile says."""


def evidence_items(look: Look) -> list[CheckItem]:
    """Say which openings have no photo, and how far inspection and design are told."""
    return [*_photos(look), *_deviations(look), _inspection(look)]


def _photos(look: Look) -> Iterator[CheckItem]:
    """Yield one line for all openings without a photo, and one for those that have theirs."""
    openings: dict[str, str] = {}
    for component in look.components:
        openings |= _openings(look, component)
    there = [name for name in openings if _has_photo(look, name)]
    missing = [name for name in openings if name not in there]
    if missing:
        words = f"No photo of {_counted(missing)}: {listed(missing, 20)}."
        subject = missing[0] if len(missing) == 1 else f"{len(missing)} openings"
        act = "Take it while it is open, with a tape or a lath in it, and attach it: asbuilt photo."
        yield CheckItem("no-photo", GROUP, subject, Outcome.MISSING, words, None, None, openings[missing[0]], act)
    if there:
        words = f"Photo of {_counted(there)}: {listed(there, 20)}."
        subject = there[0] if len(there) == 1 else f"{len(there)} openings"
        yield CheckItem("photo", GROUP, subject, Outcome.DONE, words, source=openings[there[0]])


def _counted(names: list[str]) -> str:
    return "1 opening" if len(names) == 1 else f"{len(names)} openings"


def _openings(look: Look, component: Component) -> dict[str, str]:
    """Give the points of a component that must have a photo, each with where that stands."""
    asked = [each for each in look.profile.required_points(component.kind) if each.photo]
    return {name: each.source() for each in asked for name in matching(look, component, each)}


def _has_photo(look: Look, name: str) -> bool:
    """Tell whether a point has a photo; one of its component will do where that has but one opening."""
    component = look.record.component_of(name)
    shown = {name} | {
        each.name for each in look.components if each.name == component and len(_openings(look, each)) == 1
    }
    row = look.row(name)
    return any(photo.of in shown for photo in look.record.photos) or (row is not None and bool(row.photo))


def _deviations(look: Look) -> Iterator[CheckItem]:
    """Ask for the deviations where it was not built as designed."""
    drawing = look.record.property.drawing
    if drawing.as_designed is False and not drawing.deviations:
        words = "It was not built as designed, and how it differs is not recorded."
        act = "Fill deviations under [drawing] in property.toml."
        yield CheckItem("deviations", GROUP, "design", Outcome.MISSING, words, next_act=act)


_STEPS = {
    None: (Outcome.MISSING, "How far the authority's inspection is has not been recorded."),
    "not called": (Outcome.DOUBTFUL, "The authority has not been called for its inspection."),
    "called": (Outcome.DOUBTFUL, "The authority was called{called} and has not come yet."),
    "came": (Outcome.DOUBTFUL, "The authority came{came} and has not released it."),
    "released": (Outcome.DONE, "The authority released it{released}."),
}
"""By state: what it comes to, and how it is said."""


def _inspection(look: Look) -> CheckItem:
    """Say how far the inspection before cover is; only the authority releases it."""
    inspection = look.record.property.inspection
    outcome, words = _STEPS[inspection.state]
    days = {"called": inspection.called_on, "came": inspection.came_on, "released": inspection.released_on}
    words = words.format(**{key: f" on {day.isoformat()}" if day else "" for key, day in days.items()})
    if inspection.by:
        words = f"{words.removesuffix('.')}, by {inspection.by}."
    act = {
        None: "Write state under [inspection] in property.toml: not called, called, came or released.",
        "not called": "Call the authority, and leave it open.",
        "called": "Leave it open until the authority has come.",
        "came": "Leave it open until it is released.",
    }.get(inspection.state, "")
    if inspection.state == "released" and not (inspection.by and inspection.released_on):
        outcome = Outcome.MISSING
        act = "Write released_on and by under [inspection]: by whom and when it was released."
    source = next((each.source() for each in look.profile.facts_of(PROPERTY) if STATE in each.columns), None)
    return CheckItem("inspection", GROUP, "inspection", outcome, words, inspection.state, None, source, act)

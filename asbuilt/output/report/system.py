"""What is there, how it is known and how well; what was built since; photos."""

from collections.abc import Iterator

from asbuilt.model.components import Component
from asbuilt.output.report.blocks import Picture, Section, Table
from asbuilt.output.report.facts import HistoryFacts
from asbuilt.survey.solution import Position
from asbuilt.units import format_small

KNOWN_WORDS = {
    "open": "measured open",
    "probed": "probed",
    "detected": "detected from above",
    "drawing": "from a drawing",
    "told": "told",
}
"""How a place is known, in the words of the report."""

MOST_PHOTOS = 24
"""Photos in one report; more would not be looked at, and the file must go by mail."""


def parts(facts: HistoryFacts) -> Section:
    """List what is in the ground, with how its places are known."""
    rows = tuple(_row(facts, each) for each in facts.record.components if not facts.is_structure(each))
    fit = facts.solution.fit
    checked = sum(position.checked for position in facts.solution.points)
    words = (
        f"{len(facts.solution.points)} points were measured; {checked} of them are checked: a tape misread by a foot "
        "would show. Accuracy is counted from the house: 19 times in 20 the point lies no farther from its stated "
        "place. It holds for ordinary reading errors, not for a misread tape.",
        {
            None: "Nothing is spare in the measurements, so nothing tests them as a whole.",
            True: "The measurements agree with each other as well as such tapes do.",
            False: "The measurements do not agree with each other as well as such tapes do.",
        }[fit.passed],
    )
    head = ("Part", "What it is", "Put in", "How its place is known", "Accuracy, worst point")
    return Section("What is there", words, tables=(Table(head, rows, widths=(1.2, 2.2, 1, 1.3, 1.3)),))


def _row(facts: HistoryFacts, component: Component) -> tuple[str, ...]:
    located = [position for position in facts.positions_of(component.name) if position.place is not None]
    return (
        component.name,
        "; ".join(_facts_of(component)),
        _days(component),
        _known(facts, component, located),
        _accuracy(facts, located),
    )


def _facts_of(component: Component) -> Iterator[str]:
    yield component.kind
    if component.volume_gal is not None:
        yield f"{component.volume_gal:,.0f} gal"
    for value in (component.material, component.pipe, component.status, component.closed_how, component.note):
        if value:
            yield value


def _days(component: Component) -> str:
    put_in = "not recorded" if component.installed_on is None else component.installed_on.isoformat()
    out = "" if component.removed_on is None else f"; taken out {component.removed_on.isoformat()}"
    instead = "" if component.replaces is None else f"; in place of {component.replaces}"
    return put_in + out + instead


def _known(facts: HistoryFacts, component: Component, located: list[Position]) -> str:
    if not located:
        return "place not known"
    rows = {point.name: point for point in facts.record.points}
    ways = {(rows[each.name].known_by if each.name in rows else None) or "open" for each in located}
    return ", ".join(words for way, words in KNOWN_WORDS.items() if way in ways)


def _accuracy(facts: HistoryFacts, located: list[Position]) -> str:
    radii = [position.r95_m for position in located if position.r95_m is not None]
    if not radii:
        return "-"
    unchecked = sum(not position.checked for position in located)
    said = "" if not unchecked else f"; {unchecked} of {len(located)} not checked"
    return f"{format_small(max(radii), facts.record.property.units)}{said}"


def built_since(facts: HistoryFacts) -> Section:
    """List what was put on the yard after the system, and what lies over an opening."""
    system = [each for each in facts.standing() if not facts.is_structure(each)]
    begun = min((each.installed_on for each in system if each.installed_on is not None), default=None)
    items = [
        f"{each.name} ({each.kind}), {_days(each)}"
        for each in facts.standing()
        if facts.is_structure(each) and (each.installed_on is None or begun is None or each.installed_on >= begun)
    ]
    gone = [
        f"{each.name}, which was measured from, was found gone on {each.gone_on.isoformat()}"
        for each in facts.record.reference_points
        if each.gone_on is not None and each.gone_on <= facts.today
    ]
    words = () if items or gone else ("No structure is recorded since. Look round the yard: nobody may have told.",)
    return Section("Built and changed since", words, (*items, *gone, *facts.over_openings))


def photos(facts: HistoryFacts) -> Section:
    """Show the photos, those of openings first as they come."""
    shown = [
        Picture(
            facts.photos[photo.sha256],
            ", ".join(part for part in (photo.of, photo.caption, photo.taken_at or "day not recorded") if part),
        )
        for photo in facts.record.photos
        if photo.sha256 in facts.photos
    ]
    left = len(facts.record.photos) - len(shown[:MOST_PHOTOS])
    words = []
    if not facts.record.photos:
        words.append("No photo is recorded: nobody can show what it looked like open.")
    elif left:
        words.append(f"{left} more photos are in the record.")
    return Section("Photos", tuple(words), pictures=tuple(shown[:MOST_PHOTOS]))

"""What is not known: first and plainly, and why."""

from collections.abc import Iterator
from datetime import date
from itertools import pairwise

from asbuilt.checks.item import Outcome
from asbuilt.model.components import ABANDONED
from asbuilt.model.entries import PUMP_OUT
from asbuilt.output.report.blocks import Section, Table
from asbuilt.output.report.facts import HistoryFacts
from asbuilt.service.pumping import is_septic_tank

QUIET_DAYS = 3 * 365 + 1
"""Days without any entry from which a stretch is called a gap: the longest interval of the cited rules for looking
into a tank is three years."""


def not_known(facts: HistoryFacts) -> Section:
    """Say what the record does not tell; an empty record is one long gap."""
    gaps = [*_places(facts), *_checks(facts), *_service(facts), *_told(facts), *_drafts(facts)]
    rows = tuple(dict.fromkeys(gaps))
    words = (
        "Nobody who reads this was there. What stands in this list was not seen, not measured or not written down, "
        "and nothing below speaks for it.",
    )
    if not rows:
        words = ("The record holds nothing that points to a gap. What nobody thought of does not show here.",)
    table = Table(("What", "Not known", "Why"), rows, widths=(1.1, 2, 2))
    return Section("What is not known", words, tables=(table,) if rows else ())


def _places(facts: HistoryFacts) -> Iterator[tuple[str, str, str]]:
    for component in facts.standing():
        positions = facts.positions_of(component.name)
        if ABANDONED in (component.status or "").casefold() and component.closed_how is None:
            yield component.name, "how it was closed", "left in the ground, and nothing is written of it"
        if not positions:
            yield component.name, "where it is", "no point of it was taped"
    for position in facts.solution.points:
        if position.place is None:
            yield position.name, "where it is", position.unchecked_because or "its tapes give no place"
        elif not position.checked:
            why = position.unchecked_because or "nothing checks its tapes"
            yield position.name, "whether its tapes were read right", why


def _checks(facts: HistoryFacts) -> Iterator[tuple[str, str, str]]:
    for item in facts.checks:
        if item.outcome is Outcome.MISSING:
            yield item.subject, item.words, item.source or "the record does not hold it"


def _service(facts: HistoryFacts) -> Iterator[tuple[str, str, str]]:
    record, today = facts.record, facts.today
    past = sorted({entry.on for entry in record.service if entry.on <= today})
    begun = min((each.installed_on for each in facts.standing() if each.installed_on is not None), default=None)
    days = [day for day in [begun, *past, today] if day is not None]
    for first, second in pairwise(days):
        if (second - first).days >= QUIET_DAYS:
            words = f"what was done from {first.isoformat()} to {second.isoformat()}"
            yield "the system", words, f"no entry in {(second - first).days / 365.25:.1f} years"
    for tank in facts.standing():
        if is_septic_tank(tank):
            yield from _tank(facts, tank.name, tank.installed_on)
    if not [row for row in record.household if row.from_ <= today]:
        yield "the household", "who lived there, and how many", "not recorded"
    if record.property.design_gpd is None and record.property.bedrooms is None:
        yield "the design", "design flow and bedrooms", "not recorded"


def _tank(facts: HistoryFacts, name: str, installed_on: date | None) -> Iterator[tuple[str, str, str]]:
    entries = [entry for entry in facts.record.service if entry.on <= facts.today and entry.component == name]
    if installed_on is None:
        yield name, "how old it is", "no day of installation is recorded"
    pumped = any(history.tank.name == name and history.pumped for history in facts.tanks)
    if not pumped and not any(entry.task == PUMP_OUT for entry in entries):
        yield name, "whether it was ever pumped", "no pump-out is recorded"
    if not facts.solids.get(name):
        yield name, "how much sludge and scum is in it", "never measured, as far as is recorded"
    if not any(entry.baffles for entry in entries):
        yield name, "the state of its baffles", "no entry tells"


def _told(facts: HistoryFacts) -> Iterator[tuple[str, str, str]]:
    for point in facts.record.points:
        if point.known_by == "told":
            yield point.name, "where exactly it is", "somebody told it; nobody measured it open"
        elif point.known_by == "drawing":
            yield point.name, "where exactly it is", "taken from an older drawing; nobody measured it open"
    for entry in facts.record.service:
        if entry.on <= facts.today and entry.evidence in (None, "told"):
            why = "only told" if entry.evidence == "told" else "how it is known is not recorded"
            yield entry.component, f"whether the {entry.task} of {entry.on.isoformat()} was done as written", why


def _drafts(facts: HistoryFacts) -> Iterator[tuple[str, str, str]]:
    for problem in facts.record.left_out:
        yield problem.file, "a row of the field sheets", f"could not be read: {problem.reason}"

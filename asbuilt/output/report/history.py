"""The history report for the buyer's inspector: its parts in the order in which they are read."""

from asbuilt.output.cautions import CAUTIONS
from asbuilt.output.report import service, system
from asbuilt.output.report.blocks import Report
from asbuilt.output.report.facts import HistoryFacts
from asbuilt.output.report.gaps import not_known
from asbuilt.output.text.positions import DRAFT_WORDS

NO_VERDICT = "Facts and gaps as recorded. No verdict on the house or its system, and no inspection."


def history_report(facts: HistoryFacts) -> Report:
    """Put the report together: what is not known stands first."""
    place = facts.record.property
    lines = [
        *([DRAFT_WORDS] if place.draft else []),
        *(
            f"{word}{text}"
            for word, text in (("", place.address), ("Permit ", place.permit), ("Authority: ", place.authority))
            if text
        ),
        f"As recorded on {facts.today.isoformat()}. {NO_VERDICT}",
    ]
    sections = (
        not_known(facts),
        service.last_pump_out(facts),
        service.noticed(facts),
        system.parts(facts),
        service.entries(facts),
        service.intervals(facts),
        service.repairs(facts),
        service.tests(facts),
        service.people(facts),
        system.built_since(facts),
        service.asked(facts),
        system.photos(facts),
    )
    return Report("History report", place.name, tuple(lines), sections, CAUTIONS, place.draft)

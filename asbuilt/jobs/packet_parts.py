"""What a packet holds besides the record: everything that can be made from one property, in the order of its README."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from asbuilt.jobs.draw import geojson_of, map_of, show_property
from asbuilt.jobs.drawing import record_drawing
from asbuilt.jobs.due import dues_of
from asbuilt.jobs.find import Asked, find_lids, find_pdf, pictures_of
from asbuilt.jobs.locate import Located
from asbuilt.jobs.report import report_of
from asbuilt.jobs.service_sheet import alarm_sheet, service_sheet
from asbuilt.output.drawing.views import drawing_pdf
from asbuilt.output.report.page import report_html
from asbuilt.output.report.sheet import report_pdf
from asbuilt.output.text.duelist import due_list_text
from asbuilt.output.text.positions import positions_table
from asbuilt.output.words import clean
from asbuilt.service.due import Listed

PAPER = "us-letter"


@dataclass(frozen=True, slots=True)
class Bench:
    """What the parts of a packet are made from: a record with this property alone, and its photos beside it."""

    record_file: Path
    located: Located
    today: date


Maker = Callable[[Bench], bytes]


def _map(bench: Bench) -> bytes:
    return map_of(show_property(bench.located, bench.today), bench.record_file).encode()


def _positions(bench: Bench) -> bytes:
    located = bench.located
    return clean(positions_table(located.record, located.solution, located.findings) + "\n").encode()


def _find(bench: Bench, lang: str) -> bytes:
    asked = Asked(pictures=pictures_of(bench.record_file, bench.located))
    return find_pdf(find_lids(bench.located, bench.today, asked), lang, PAPER, one_page_each=True)


def _drawing(bench: Bench) -> bytes:
    return drawing_pdf(record_drawing(bench.located, bench.today, paper=PAPER), PAPER)


def _report(bench: Bench) -> bytes:
    return report_pdf(report_of(bench.located, bench.today, bench.record_file), PAPER)


def _report_page(bench: Bench) -> bytes:
    return report_html(report_of(bench.located, bench.today, bench.record_file)).encode()


def _due(bench: Bench) -> bytes:
    dues, notes = dues_of(bench.located.record, bench.today)
    place = bench.located.record.property
    listed = [Listed(due, place.address, place.owner, place.phone) for due in dues]
    return clean(due_list_text(listed, notes, bench.today) + "\n").encode()


def _geojson(bench: Bench) -> bytes:
    return geojson_of(show_property(bench.located, bench.today), points=True, house=True).encode()


PARTS: tuple[tuple[str, str, Maker], ...] = (
    ("map.html", "the map: open it in any browser, on a phone too; it needs no network", _map),
    ("find.pdf", "how to find each lid again with two tapes; print it", lambda bench: _find(bench, "en")),
    ("find-es.pdf", "the same in Spanish (lo mismo en español)", lambda bench: _find(bench, "es")),
    ("positions.txt", "where everything is: the tapes to each point, and how well it is known", _positions),
    ("drawing.pdf", "the record drawing, to scale: print it at 100 %", _drawing),
    ("history.pdf", "the history report: what is not known, what is there, what was done", _report),
    ("history.html", "the same for the screen", _report_page),
    ("due.txt", "what is due when, and why", _due),
    (
        "service-sheet.pdf",
        "for whoever pumps the tank: lids, float risk, the way in",
        lambda bench: service_sheet(bench.located, bench.today, paper=PAPER),
    ),
    (
        "alarm-sheet.pdf",
        "for beside the alarm: what to do when it sounds",
        lambda bench: alarm_sheet(bench.located, bench.today, paper=PAPER),
    ),
    ("property.geojson", "the same as the map for any mapping program (GeoJSON, RFC 7946)", _geojson),
)
"""A part that says why it cannot be made of a property (an `AsbuiltError`) is left out, and the README says so."""

SHEET_WORDS = {
    "property.toml": "the property, who measured, one place on the earth",
    "reference_points.csv": "what was measured from",
    "walls.csv": "the walk round the house, wall by wall",
    "points.csv": "one row a measured point, with up to four tapes",
    "ties.csv": "more taped distances",
    "offsets.csv": "points measured along a wall and square out from it",
    "known_coordinates.csv": "points whose place on the earth is known",
    "components.csv": "what is in the ground",
    "household.csv": "who lived there",
    "service.csv": "what was done, and how that is known",
    "levels.csv": "rod readings",
    "tasks.csv": "what maker and owner want done",
    "readings.csv": "floats, counters, tests, day by day",
    "photos.csv": "what each photo in sheets/photos shows",
    "sightings.csv": "what was uncovered again, and where it really was",
}
"""What each sheet is, for somebody who has never seen one."""

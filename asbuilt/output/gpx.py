"""GPX 1.1: the stops of a plan as waypoints, and each run as a route from the yard to the yard."""

from collections.abc import Iterator
from xml.etree import ElementTree as Tree

from asbuilt.output.words import clean, one_line
from asbuilt.service.routes import Halt, Plan, Run, Site, Stop, Tour

NAMESPACE = "http://www.topografix.com/GPX/1/1"
SCHEMA = "http://www.topografix.com/GPX/1/1/gpx.xsd"
YARD_SYMBOL, DUMP_SYMBOL, STOP_SYMBOL = "Flag, Green", "Flag, Blue", "Residence"
"""Names of symbols that satellite receivers commonly know; one that does not know them shows a dot."""
_INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"


def write_gpx(plan: Plan) -> str:
    """Write a plan as GPX 1.1.

    Halts without coordinates, which only a given table of driving times allows, are left out. The elements stand in
    the order that the schema asks for: name, description and symbol, waypoints before routes.
    """
    root = Tree.Element(
        "gpx",
        {
            "version": "1.1",
            "creator": "asbuilt",
            "xmlns": NAMESPACE,
            "xmlns:xsi": _INSTANCE,
            "xsi:schemaLocation": f"{NAMESPACE} {SCHEMA}",
        },
    )
    metadata = Tree.SubElement(root, "metadata")
    _text(metadata, "name", "Stops of the pump truck")
    for site, symbol in ((plan.tour.yard, YARD_SYMBOL), *((dump, DUMP_SYMBOL) for dump in plan.tour.dumps)):
        _site(Tree.SubElement(root, "wpt", _at(site.longitude, site.latitude)), site, symbol)
    for run in plan.runs:
        for halt in run.halts:
            stop = plan.tour.stops[halt.index] if halt.kind == "stop" else None
            if stop is not None and stop.longitude is not None and stop.latitude is not None:
                _stop(Tree.SubElement(root, "wpt", _at(stop.longitude, stop.latitude)), stop, run, halt)
    for number, run in enumerate(plan.runs, start=1):
        _route(Tree.SubElement(root, "rte"), plan.tour, run, number)
    Tree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + Tree.tostring(root, encoding="unicode") + "\n"


def _at(longitude: float, latitude: float) -> dict[str, str]:
    return {"lat": f"{latitude:.7f}", "lon": f"{longitude:.7f}"}


def _text(parent: Tree.Element, tag: str, words: str) -> None:
    Tree.SubElement(parent, tag).text = clean(words)


def _site(point: Tree.Element, site: Site, symbol: str) -> None:
    _text(point, "name", site.name)
    _text(point, "sym", symbol)


def _stop(point: Tree.Element, stop: Stop, run: Run, halt: Halt) -> None:
    number = run.stops.index(halt.index) + 1
    _text(point, "name", f"{number} {one_line(stop.name)}")
    _text(point, "desc", "\n".join(_lines(stop)))
    _text(point, "sym", STOP_SYMBOL)


def _lines(stop: Stop) -> Iterator[str]:
    yield stop.works_words
    yield from (line for line in (stop.address, stop.owner, stop.phone) if line)
    yield from stop.notes


def _route(route: Tree.Element, tour: Tour, run: Run, number: int) -> None:
    _text(route, "name", f"{run.day.on} {run.day.truck.name}")
    _text(route, "number", str(number))
    for halt in run.halts:
        if halt.kind == "stop":
            stop = tour.stops[halt.index]
            if stop.longitude is not None and stop.latitude is not None:
                _stop(Tree.SubElement(route, "rtept", _at(stop.longitude, stop.latitude)), stop, run, halt)
        else:
            yard = halt.kind == "yard"
            site, symbol = (tour.yard, YARD_SYMBOL) if yard else (tour.dumps[halt.index], DUMP_SYMBOL)
            _site(Tree.SubElement(route, "rtept", _at(site.longitude, site.latitude)), site, symbol)

"""Tables of the record drawing: all that the plan has no room for, and all that was read, in words.

A table is plain data for the template; each text is of the record or ours, and prints literally.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from asbuilt.checks.item import GROUPS, CheckItem, Outcome
from asbuilt.findings import Finding
from asbuilt.model.components import Component, Point
from asbuilt.model.measurements import Tie
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.site_readings import READINGS, SiteReading
from asbuilt.output.drawing.scene import Scene, reading_words
from asbuilt.output.heights import Heights
from asbuilt.survey.level_wording import LevelWording
from asbuilt.survey.slopes import pipe_slopes
from asbuilt.survey.solution import Solution
from asbuilt.units import format_length, format_small

CHECKS_IN_WORDS = {
    "locations": "Locations",
    "levels": "Levels and slopes",
    "setbacks": "Setbacks",
    "flotation": "Flotation",
    "tests": "Tests and settings",
    "evidence": "Evidence and state",
}


@dataclass(frozen=True, slots=True)
class Table:
    """One table with its heading."""

    title: str
    columns: tuple[tuple[str, float], ...]  #: heading, share of the width
    rows: tuple[tuple[str, ...], ...]
    note: str = ""  #: a sentence under the heading

    def as_data(self) -> dict[str, object]:
        """Give what the template sets."""
        return {
            "title": self.title,
            "heads": [head for head, _ in self.columns],
            "shares": [share for _, share in self.columns],
            "rows": [list(row) for row in self.rows],
            "note": self.note,
        }


def reference_table(record: PropertyRecord, scene: Scene, today: date) -> Table:
    """List what was measured from."""
    kinds = {each.name: each for each in record.reference_points}
    rows = []
    for mark in scene.marks:
        row = kinds[mark.name]
        gone = f"; found gone {row.gone_on.isoformat()}" if row.gone_on and row.gone_on <= today else ""
        rows.append((mark.key, mark.name, row.kind or "", f"{row.description or 'not described'}{gone}"))
    return Table("Reference points", (("Key", 0.6), ("Name", 2), ("Kind", 1), ("Description", 5)), tuple(rows))


def wall_table(record: PropertyRecord) -> Table:
    """List the walls as they were walked, and the tapes from one reference point to another."""
    units, known = record.property.units, set(record.reference_names())
    turns = {"L": "left, square", "R": "right, square", "?": "not known"}
    rows = [(w.from_, w.to, reading_words(w.length, units), turns.get(w.turn, w.turn)) for w in record.walls]
    rows += [
        (tie.from_, tie.to, reading_words(tie.distance, units), f"a tape{f': {tie.note}' if tie.note else ''}")
        for tie in record.ties
        if tie.from_ in known and tie.to in known
    ]
    columns = (("From", 2), ("To", 2), ("Length", 1), ("Turn at its end", 2))
    return Table("Walls and reference points as measured", columns, tuple(rows))


def point_table(record: PropertyRecord, solution: Solution, scene: Scene) -> Table:
    """List every point: tapes as read, depth, elevation, accuracy, whether it is checked, whether a photo shows it."""
    points = _Points(record, solution)
    rows = tuple(points.row(each.number, each.name) for each in scene.points)
    columns = (
        ("No.", 0.55),
        ("Point", 2.9),
        ("Tapes as measured from ..., offsets", 4.1),
        ("Depth", 1.75),
        ("Elevation", 1.35),
        ("Within", 0.9),
        ("Checked", 1.0),
        ("Photo", 0.75),
    )
    note = (
        "Within: 19 times in 20 the point lies no farther than this from where it is drawn, seen from the reference "
        "points. Checked: a tape misread by a foot would show."
    )
    return Table("Points", columns, rows, note)


class _Points:
    """Rows of the table of points."""

    def __init__(self, record: PropertyRecord, solution: Solution) -> None:
        self.record, self.solution = record, solution
        self.units = record.property.units
        self.rows = {point.name: point for point in record.points}
        self.heights = Heights(record, solution.levels)
        self.words = LevelWording(record)
        self.photos = {photo.of for photo in record.photos}

    def row(self, number: int, name: str) -> tuple[str, ...]:
        position = self.solution.position(name)
        row = self.rows.get(name)
        within = "no place" if position.r95_m is None else format_small(position.r95_m, self.units)
        photo = "yes" if name in self.photos or (row is not None and row.photo) else "no"
        elevation = self.heights.elevation(name)
        height = "" if elevation is None else f"{self.words.height(elevation.elevation_m)} {elevation.to}"
        return (
            str(number),
            self._what(name, row),
            "; ".join(self._ways(name)) or "none",
            self.heights.depth_words(name) or "",
            height,
            within,
            "yes" if position.checked else "no",
            photo,
        )

    def _what(self, name: str, row: Point | None) -> str:
        if row is None:
            return name
        known = None if row.known_by in (None, "open") else f"known by: {row.known_by}"
        mark = f"mark {row.mark}" if row.mark else None
        pin = f"pin {row.pin}" if row.pin else None
        more = ", ".join(each for each in (mark, row.size, pin, known, row.description) if each)
        return f"{name}: {more}" if more else name

    def _ways(self, name: str) -> Iterator[str]:
        tapes = [
            self._tape(tie, tie.to if tie.from_ == name else tie.from_)
            for tie in self.record.ties
            if name in (tie.from_, tie.to)
        ]
        for held, alike in groupby(tapes, key=lambda tape: tape[1]):
            words = [tape for tape, _ in alike]
            each = "each " if len(words) > 1 else ""
            yield "; ".join(words) + (f" ({each}{held})" if held else "")
        for offset in self.record.offsets:
            if offset.point == name:
                along, out = (reading_words(each, self.units) for each in (offset.along, offset.out))
                hand = f" to the {offset.hand}" if offset.hand else ""
                yield f"{along} along {offset.wall_from} > {offset.wall_to}, {out} out{hand}"

    def _tape(self, tie: Tie, other: str) -> tuple[str, str]:
        """Give a tape, and how it was held where that is not level."""
        drop = f"drop {reading_words(tie.drop, self.units)}" if tie.drop is not None else ""
        held = "slope" if tie.held == "slope" else ""
        return f"{other} {reading_words(tie.distance, self.units)}", ", ".join(part for part in (held, drop) if part)


def component_table(record: PropertyRecord, scene: Scene) -> Table:
    """Give the schedule of components: those drawn, then those that were taken out."""
    drawn = [(thing.key, thing.component) for thing in scene.things]
    named = {id(component) for _, component in drawn}
    gone = [("", each) for each in record.components if id(each) not in named]
    rows = tuple(_component(key, each) for key, each in (*drawn, *gone))
    columns = (("Key", 0.7), ("Component", 2.2), ("Kind", 1.8), ("Size", 2.2), ("Material", 2), ("More", 4))
    return Table("Components", columns, rows)


def _component(key: str, each: Component) -> tuple[str, ...]:
    sizes = [size.as_read for size in (each.length, each.width, each.height) if size is not None]
    volume = f"{each.volume_gal:,.0f} gal" if each.volume_gal is not None else None
    holes = f"{each.orifices} orifices" if each.orifices else None
    hole = f"orifices {each.orifice.as_read}" if each.orifice else None
    spacing = f"every {each.spacing.as_read}" if each.spacing else None
    more = (
        f"compartments {each.compartments}" if each.compartments else None,
        f"liquid {each.liquid_depth.as_read} deep" if each.liquid_depth else None,
        f"cover {each.cover.as_read}" if each.cover else None,
        f"weight {each.weight_lb:,.0f} lb" if each.weight_lb is not None else None,
        f"put in {each.installed_on.isoformat()}" if each.installed_on else None,
        f"taken out {each.removed_on.isoformat()}" if each.removed_on else None,
        f"replaces {each.replaces}" if each.replaces else None,
        each.status,
        f"closed: {each.closed_how}" if each.closed_how else None,
        f"marker {each.marker}" if each.marker else None,
        f"end of its wire: {each.marker_end}" if each.marker_end else None,
        f"shown by {each.shown_by}" if each.shown_by else None,
        each.note,
    )
    size = ", ".join(part for part in (" x ".join(sizes), volume, holes, hole, spacing) if part)
    material = ", ".join(part for part in (each.material, each.pipe) if part)
    return key, each.name, each.kind, size, material, "; ".join(part for part in more if part)


def slope_table(record: PropertyRecord, solution: Solution) -> Table | None:
    """List the fall of each stretch of pipe between two levelled inverts; None where nothing was levelled."""
    units, words = record.property.units, LevelWording(record)
    rows = tuple(
        (
            each.component,
            f"{each.start.rpartition('/')[2]} to {each.end.rpartition('/')[2]}",
            format_length(each.length_m, units),
            words.fine(each.fall_m),
            f"{each.percent:.2f} %" if units == "m" else f"{each.percent:.2f} % ({each.inches_a_foot:.2f} in/ft)",
        )
        for each in pipe_slopes(record, solution)
    )
    columns = (("Pipe", 2), ("From, to", 3), ("Length", 1), ("Fall", 1), ("Slope", 1.5))
    return Table("Slopes between levelled inverts", columns, rows) if rows else None


def reading_table(record: PropertyRecord, today: date) -> Table:
    """List tests and settings as they were first read: what later readings are held against."""
    rows = tuple(
        (
            each.on.isoformat(),
            each.component,
            READINGS[each.reading][1] if each.reading in READINGS else each.reading,
            each.as_read,
            ", ".join(part for part in (each.by, each.note) if part),
        )
        for each in _first_readings(record.readings, today)
    )
    columns = (("Date", 1.1), ("Component", 1.6), ("What", 4), ("Read", 1), ("By, note", 3))
    return Table("Tests, settings and readings", columns, rows, "" if rows else "None is recorded.")


def _first_readings(readings: Sequence[SiteReading], today: date) -> list[SiteReading]:
    first: dict[tuple[str, str], date] = {}
    known = [each for each in readings if each.on <= today]
    for each in known:
        key = (each.component, each.reading)
        first[key] = min(each.on, first.get(key, each.on))
    return [each for each in known if each.on == first[each.component, each.reading]]


def check_tables(items: Sequence[CheckItem] | None) -> list[Table]:
    """Give the check before backfill: counts, then what is not done, a table a part, and the sources by their numbers.

    Setbacks stand there in full: the drawing is where they are looked for.

    Parameters
    ----------
    items
        None = it could not be run.
    """
    if items is None:
        return [Table("Check before backfill", (("Part", 1),), (), "It was not run.")]
    ordered = sorted(items, key=lambda item: (GROUPS.index(item.group), item.outcome.rank))
    listed = [item for item in ordered if item.outcome is not Outcome.DONE or item.group == "setbacks"]
    sources = {source: k for k, source in enumerate(dict.fromkeys(each.source for each in listed if each.source), 1)}
    columns = (("Outcome", 1.1), ("What was found", 7.2), ("Limit", 1.6), ("Source", 0.8))
    tables = [
        Table(
            f"Check before backfill: {CHECKS_IN_WORDS[part]}", columns, tuple(_checked(each, sources) for each in group)
        )
        for part, group in groupby(listed, key=lambda item: item.group)
    ]
    rows = tuple((f"[{k}]", source) for source, k in sources.items())
    cited = [Table("Sources of the check", (("", 0.6), ("", 10)), rows)] if rows else []
    return [_counts(ordered), *tables, *cited]


def _counts(ordered: Sequence[CheckItem]) -> Table:
    """Count the outcomes, a line a part that was looked at."""
    rows = []
    for part, group in groupby(ordered, key=lambda item: item.group):
        counts = Counter(item.outcome for item in group)
        rows.append((CHECKS_IN_WORDS[part], *(str(counts[outcome]) for outcome in Outcome)))
    columns = (("Part", 3.0), *((str(outcome).capitalize(), 1.4) for outcome in Outcome))
    note = "What is done is counted, all else is listed below; setbacks are listed in full."
    return Table("Check before backfill", columns, tuple(rows), note)


def _checked(item: CheckItem, sources: Mapping[str, int]) -> tuple[str, ...]:
    act = f" {item.next_act}" if item.next_act and item.outcome is not Outcome.DONE else ""
    source = f"[{sources[item.source]}]" if item.source else ""
    return str(item.outcome), f"{item.words}{act}", item.limit or "", source


def finding_table(findings: Sequence[Finding]) -> Table:
    """List what the survey noticed."""
    rows = tuple((str(each.severity), each.sentence()) for each in findings if each.code != "unchecked")
    note = "" if rows else "Nothing but what the table of points says."
    return Table("What the survey noticed", (("", 1), ("", 9)), rows, note)


def deviation_table(record: PropertyRecord) -> Table:
    """Say how it was built otherwise than designed."""
    drawing = record.property.drawing
    said = {True: "yes", False: "no", None: "not recorded"}[drawing.as_designed]
    rows = (
        ("Design", drawing.design or "not recorded"),
        ("Materials and sizes as designed", said),
        ("Deviations", drawing.deviations or "not recorded"),
        ("Notes", drawing.notes or ""),
    )
    return Table("Design and deviations", (("", 2), ("", 7)), rows)

"""What was done and when, against what was due; solids and flow over the years; what a sale asks for."""

from collections.abc import Iterator
from datetime import date

from asbuilt.model.entries import PUMP_OUT, ServiceEntry
from asbuilt.output.report.blocks import Chart, Section, Series, Table
from asbuilt.output.report.facts import HistoryFacts
from asbuilt.service.design_flow import USUAL_GAL_A_PERSON, design_flow
from asbuilt.service.pumping import TankHistory
from asbuilt.service.solids import number_words
from asbuilt.units import INCH_M

FRESH_DAYS = 30
"""Days after a pump-out in which the tank says little: it fills within days, but solids, leaks and backup do not show
(common practice)."""

KNOWN_WORDS = {"own reading": "read by who did it", "receipt": "signed receipt", "told": "told"}
"""How an entry is known, in the words of the report."""


def last_pump_out(facts: HistoryFacts) -> Section:
    """Say how long ago each tank was emptied, in full or in part: a fresh one hides level, leak and backup."""
    words = [] if facts.tanks else ["No septic tank and no pump tank stands."]
    fresh = [tank for tank in facts.tanks if any((facts.today - day).days <= FRESH_DAYS for day in _pumped_on(tank))]
    if fresh:
        words.append(
            f"{' and '.join(each.tank.name for each in fresh)}: a tank that was emptied just now hides what an "
            "inspection looks for: the level before, a leak below the outlet, solids gone over, water backing up from "
            "the field. Look again when it has been in use for weeks."
        )
    lines = tuple(_last_of(tank, facts.today) for tank in facts.tanks)
    return Section("Days since the last pump-out", tuple(words), lines)


def _pumped_on(history: TankHistory) -> list[date]:
    """Give the days of a tank's own pump-outs; without a volume they are not judged, but they were."""
    return [entry.on for entry in history.entries if entry.task.strip().casefold() == PUMP_OUT]


def _last_of(history: TankHistory, today: date) -> str:
    """Say of one tank when it was last emptied, and when last in part."""
    name, days = history.tank.name, _pumped_on(history)
    if not days:
        return f"{name}: no pump-out is recorded."
    if not history.pumped:
        return (
            f"{name}: last pump-out {_ago(max(days), today)}; whether it was a full one cannot be told, because its "
            "volume is not recorded."
        )
    last = {day.full: day for day in history.pumped}  # in the order of their days, so the last of each is left
    full, partial = last.get(True), last.get(False)
    said = ["no full pump-out is recorded"]
    if full is not None:
        said = [f"last full pump-out {_ago(full.on, today, full.words)}"]
    if partial is not None:
        said.append(f"last partial one {_ago(partial.on, today, partial.words)}")
    return f"{name}: {'; '.join(said)}."


def _ago(day: date, today: date, words: str = "") -> str:
    return f"{day.isoformat()}, {(today - day).days} days ago{f' ({words})' if words else ''}"


def entries(facts: HistoryFacts) -> Section:
    """List every entry with how it is known, the latest first."""
    rows = tuple(
        (
            entry.on.isoformat(),
            f"{entry.component}: {entry.task}",
            _told(entry),
            entry.by or "-",
            _known(entry),
        )
        for entry in sorted(_past(facts), key=lambda entry: entry.on, reverse=True)
    )
    head = ("Day", "What", "Found and done", "By", "How it is known")
    words = () if rows else ("No service entry is recorded.",)
    tables = (Table(head, rows, widths=(1, 1.5, 2.8, 1.3, 1.1)),) if rows else ()
    return Section("What was done", words, tables=tables, charts=tuple(_charts(facts)))


def _told(entry: ServiceEntry) -> str:
    parts = [
        None if entry.gallons is None else f"{number_words(entry.gallons)} gal",
        entry.compartment and f"compartment {entry.compartment}",
        None if entry.sludge is None else f"sludge {entry.sludge.as_read}",
        None if entry.scum is None else f"scum {entry.scum.as_read}",
        entry.level_before and f"liquid {entry.level_before} the outlet",
        "ran back from the field" if entry.runback else None,
        entry.findings,
        entry.actions,
        entry.filter and f"filter: {entry.filter}",
        entry.lid and f"lids {entry.lid}",
        {True: "lids fastened", False: "LIDS NOT FASTENED", None: None}[entry.secured],
        entry.note,
        entry.advice and f"advice: {entry.advice}",
    ]
    return "; ".join(part for part in parts if part) or "-"


def _charts(facts: HistoryFacts) -> Iterator[Chart]:
    for name, readings in facts.solids.items():
        pumped = tuple(
            (entry.on, f"pumped out {entry.on.isoformat()}")
            for entry in _past(facts)
            if entry.task == PUMP_OUT and entry.component == name
        )
        series = []
        for compartment in dict.fromkeys(reading.compartment for reading in readings):
            own = [reading for reading in readings if reading.compartment == compartment]
            for layer in ("sludge", "scum"):
                points = [(each.on, depth) for each in own if (depth := getattr(each, f"{layer}_m")) is not None]
                if points:
                    title = f"{layer}, {compartment or 'whole tank'}"
                    series.append(Series(title, tuple((day, depth / INCH_M) for day, depth in points), joined=False))
        if series:
            yield Chart(f"{name}: sludge and scum as measured", "inches", tuple(_dots(each) for each in series), pumped)
    design = design_flow(facts.record.property)
    for report in facts.pumps:
        steps = [(day, flow.gal_per_day) for flow in report.flows for day in (flow.begins, flow.ends)]
        if steps:
            limit = None if design is None else (design.gal_per_day, f"design flow {design.gal_per_day:g}")
            series_of = Series("between two readings", tuple(steps), joined=False)
            yield Chart(f"{report.tank.name}: flow", "gallons a day", (series_of,), limit=limit)


def _dots(series: Series) -> Series:
    """Give single dots: what lies between two readings nobody knows."""
    return Series(series.name, tuple(point for point in series.points for _ in (0, 1)), joined=False)


def intervals(facts: HistoryFacts) -> Section:
    """Say which intervals were kept or missed, and what is overdue."""
    done = tuple(
        (
            each.done_on.isoformat(),
            f"{each.component}: {each.task}",
            each.due_on.isoformat(),
            "kept" if not each.late_days else f"{each.late_days} days late",
            each.reference,
        )
        for each in facts.kept
    )
    open_ = tuple(
        (
            f"{due.component}: {due.task}",
            "no date" if due.due_on is None else due.due_on.isoformat(),
            f"overdue by {(facts.today - due.due_on).days} days" if due.overdue and due.due_on else "to come",
            due.reason,
        )
        for due in facts.dues
    )
    tables = []
    if open_:
        tables.append(Table(("Task", "Due", "State", "Why"), open_, "Next, and overdue", (1.6, 1, 1.1, 3.4)))
    if done:
        head = ("Done", "Task", "Was due", "Kept", "Whose interval")
        tables.append(Table(head, done, "Kept and missed, by the profile and settings of today", (1, 1.6, 1, 1, 2.2)))
    words = () if tables else ("Nothing of this property has an interval.",)
    return Section("Intervals kept and missed, and what is overdue", words, tables=tuple(tables))


def repairs(facts: HistoryFacts) -> Section:
    """List what was mended, taken out and replaced."""
    dated = [
        (
            entry.on,
            f"{entry.on.isoformat()}: {entry.component}, {_mended(entry)}",
        )
        for entry in _past(facts)
        if entry.actions or any(word in entry.task for word in ("repair", "replace"))
    ]
    dated += [
        (each.removed_on, f"{each.removed_on.isoformat()}: {each.name} ({each.kind}) was taken out")
        for each in facts.record.components
        if each.removed_on is not None and each.removed_on <= facts.today
    ]
    words = () if dated else ("No repair and no replacement is recorded.",)
    return Section("Repairs and replacements", words, tuple(line for _, line in sorted(dated)))


def _mended(entry: ServiceEntry) -> str:
    told = entry.actions or entry.note
    return f"{entry.task}{f': {told}' if told else ''} ({_known(entry)})"


def _known(entry: ServiceEntry) -> str:
    return KNOWN_WORDS.get(entry.evidence or "", "not recorded")


def tests(facts: HistoryFacts) -> Section:
    """Hold tests and readings against the first day, and say what was noticed."""
    changed = [finding.sentence() for report in facts.pumps for finding in report.findings]
    rows = tuple(
        (each.on.isoformat(), each.component, each.reading, each.as_read, each.by or "-")
        for each in sorted(facts.record.readings, key=lambda each: (each.component, each.reading, each.on))
        if each.on <= facts.today
    )
    words = () if rows else ("No reading is recorded, so nothing can be held against the first day.",)
    head = ("Day", "Part", "Reading", "Read", "By")
    tables = (Table(head, rows, "Readings", (1, 1.2, 1.3, 1, 1.8)),) if rows else ()
    return Section("Tests against the first day", words, tuple(changed), tables)


def people(facts: HistoryFacts) -> Section:
    """Hold bedrooms and design flow against the household."""
    place, design = facts.record.property, design_flow(facts.record.property)
    words = [
        f"Bedrooms: {place.bedrooms if place.bedrooms is not None else 'not recorded'}. "
        + (
            "Design flow: not recorded."
            if design is None
            else f"Design flow: {design.gal_per_day:g} gal a day ({design.words})."
        )
    ]
    now = sum(row.people for row in facts.record.household if _lives(row.from_, row.to, facts.today))
    if now:
        use = now * USUAL_GAL_A_PERSON
        words.append(
            f"{now:g} people live there as recorded: about {use:,.0f} gal a day at {USUAL_GAL_A_PERSON:g} gal a person "
            "(US EPA 2002, mean indoor use, from memory)."
        )
    rows = tuple(
        (
            row.from_.isoformat(),
            "still" if row.to is None else row.to.isoformat(),
            f"{row.people:g}",
            f"{row.months_a_year:g}",
            "yes" if row.disposer else "no",
            row.building or "-",
        )
        for row in facts.record.household
    )
    head = ("From", "To", "People", "Months a year", "Disposer", "Building")
    return Section("Bedrooms, design flow and people", tuple(words), tables=(Table(head, rows),) if rows else ())


def _lives(begins: date, ends: date | None, day: date) -> bool:
    return begins <= day and (ends is None or ends > day)


def asked(facts: HistoryFacts) -> Section:
    """List what a transfer inspection asks for, and which entry answers it."""
    rows = tuple((each.asked, each.words or "NO ENTRY ANSWERS THIS", each.source) for each in facts.answers)
    words = (
        "What published rules ask for at a sale, in our own short words. Check the text in force where the house "
        "stands; the inspector and the authority decide.",
    )
    head = ("Asked for", "What the record says", "Source")
    return Section("What a transfer inspection asks for", words, tables=(Table(head, rows, widths=(1.6, 3, 1.2)),))


def noticed(facts: HistoryFacts) -> Section:
    """Give all that the reckoning noticed and that somebody should act on, and every change at the pump tanks."""
    told = [finding for finding in facts.findings if finding.severity.rank > 0]
    told += [finding for report in facts.pumps for finding in report.findings]
    items = dict.fromkeys(finding.sentence() for finding in told)
    words = () if items else ("Nothing that needs attention was noticed.",)
    return Section("What was noticed", words, tuple(items))


def _past(facts: HistoryFacts) -> list[ServiceEntry]:
    return [entry for entry in facts.record.service if entry.on <= facts.today]

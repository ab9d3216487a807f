"""The history report of one property as on a day: everything reckoned, put together, as HTML or PDF."""

from datetime import date
from pathlib import Path

from asbuilt.checks.clear_of import buried_by
from asbuilt.findings import worst_first
from asbuilt.jobs.backfill_check import check_before_backfill
from asbuilt.jobs.due import dues_of
from asbuilt.jobs.locate import Located
from asbuilt.jobs.pump import pump_reports
from asbuilt.output.report.blocks import Report
from asbuilt.output.report.facts import HistoryFacts
from asbuilt.output.report.history import history_report
from asbuilt.record.photos import thumbnails
from asbuilt.record.profiles import profile_of
from asbuilt.service.dosing import is_pump_tank
from asbuilt.service.kept import intervals_kept
from asbuilt.service.pumping import is_septic_tank, tank_history
from asbuilt.service.readings import readings_of
from asbuilt.service.transfer import asked_at_transfer
from asbuilt.shapes import Outlines

PHOTO_PX = 480
"""Longest side of a photo in the report: two stand beside each other on a phone."""


def report_of(located: Located, today: date, record_file: Path | None = None) -> Report:
    """Gather the history report.

    Parameters
    ----------
    record_file
        Where the photos lie beside; None = a report without photos.
    """
    record = located.record
    dues, noticed = dues_of(record, today)
    pumps = pump_reports(located, today)
    emptied = [each for each in record.components if is_septic_tank(each) or is_pump_tank(each)]
    tanks = [tank_history(record, each, today) for each in emptied if each.stands_on(today)]
    facts = HistoryFacts(
        record,
        located.solution,
        today,
        worst_first([*located.findings, *noticed]),
        check_before_backfill(located, today),
        dues,
        intervals_kept(record, today, profile_of(record)),
        pumps,
        {each.tank.name: readings_of(each.tank, each.entries)[0] for each in tanks if is_septic_tank(each.tank)},
        asked_at_transfer(record, today, pumps),
        _over_openings(located, today),
        {} if record_file is None else thumbnails(record_file, record.photos, PHOTO_PX),
        tanks,
        profile_of(record),
    )
    return history_report(facts)


def _over_openings(located: Located, today: date) -> tuple[str, ...]:
    """Say what was built over an opening, or perhaps over one."""
    record, outlines = located.record, Outlines(located.record, located.solution)
    standing = [each for each in record.components if each.stands_on(today)]
    profile, said = profile_of(record), []
    for structure in (each for each in standing if profile.closeness("structure", each.kind) is not None):
        area = outlines.of(structure.name)
        if area is not None and area.geom_type == "Polygon":
            for buried in buried_by(area, standing, located.solution.points, profile):
                how = "lies over" if buried.sure else "may lie over"
                said.append(f"{structure.name} {how} the opening {buried.point}: opening needed to service")
    return tuple(said)

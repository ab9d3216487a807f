"""What is due as files: a calendar, and a map of the properties by urgency."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from asbuilt.findings import Finding
from asbuilt.jobs.due import DueList, list_due
from asbuilt.output.files import OutputError, refuse_existing, write_all
from asbuilt.record.database import open_record
from asbuilt.record.places import read_places
from asbuilt.survey.coordinates import known_places


@dataclass(frozen=True, slots=True)
class DueFiles:
    """What was written, and what was noticed on the way."""

    said: tuple[str, ...]  #: a line for each file
    findings: tuple[Finding, ...]
    reckoned_anew: int  #: properties whose kept list did not hold


def write_due(
    record_file: Path,
    today: date,
    now: datetime,
    *,
    calendar: Path | None = None,
    map_file: Path | None = None,
    overwrite: bool = False,
    within: int | None = None,
    name: str | None = None,
    task: str | None = None,
) -> DueFiles:
    """Write what `list_due` lists as a calendar, as a map, or both.

    Parameters
    ----------
    now
        When it is written, with its time zone; stands in the calendar.

    Raises
    ------
    OutputError
        If a file cannot be written, is there already and `overwrite` is not set, or a calendar would be empty.
    UnknownNameError
        If there is no such property.
    """
    for path in (calendar, map_file):
        if path is not None:
            refuse_existing(path, overwrite=overwrite)
    found = list_due(record_file, today, within=within, name=name, task=task)
    said, texts = [], []
    if calendar is not None:
        text, words = _calendar(found, now)
        texts.append((calendar, text))
        said.append(f"{calendar}: {words}")
    if map_file is not None:
        text, words = _map(record_file, found, today)
        texts.append((map_file, text))
        said.append(f"{map_file}: {words}")
    write_all(dict(texts), overwrite=overwrite, private=True)  # whom to call, and where they live
    return DueFiles(tuple(said), found.findings, found.reckoned_anew)


def _calendar(found: DueList, now: datetime) -> tuple[str, str]:
    from asbuilt.output.icalendar_file import due_calendar

    text = due_calendar(found.listed, now)
    if text is None:
        raise OutputError("nothing that is due has a date, so there is no calendar to write")
    undated = sum(each.due.due_on is None for each in found.listed)
    count = len(found.listed) - undated
    words = f"{count} {'day' if count == 1 else 'days'} for a calendar program; read again, it moves them"
    return text, words + (f"; {undated} without a date left out" if undated else "")


def _map(record_file: Path, found: DueList, today: date) -> tuple[str, str]:
    from asbuilt.output.map.duemap import due_map

    names = list(dict.fromkeys(each.due.property for each in found.listed))
    places = places_of(record_file, names)
    without = len(names) - len(places)
    count = len(names)
    words = (
        f"the map of {count} {'property' if count == 1 else 'properties'}; open it in any browser, no network needed"
    )
    if without:
        words += f"; {without} without coordinates in its list only"
    return due_map(found.listed, places, today), words


def places_of(record_file: Path, names: Sequence[str]) -> dict[str, tuple[float, float]]:
    """Give longitude and latitude of properties by their first known coordinate; those without one are left out."""
    places = {}
    with open_record(record_file, read_only=True) as record:
        for known in read_places(record, names):
            found, _ = known_places(known)
            if found:
                places[known.property.name] = (found[0].longitude, found[0].latitude)
    return places

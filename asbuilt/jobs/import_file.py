"""Import an exported GeoJSON or GeoPackage: the field sheets in it are loaded as any field sheets are."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from asbuilt.errors import AsbuiltError
from asbuilt.findings import Finding, Severity, worst_first
from asbuilt.jobs.export import digest_of
from asbuilt.jobs.load import Loaded, load_sheets
from asbuilt.jobs.sheets_out import photo_files
from asbuilt.output.gis.readback import Carried, ReadBackError, read_carried
from asbuilt.record.database import open_record
from asbuilt.record.entries import property_id, read_property
from asbuilt.record.loading import LoadOutcome
from asbuilt.record.sheets.read import read_draft, read_sheets
from asbuilt.record.sheets.write import sheet_texts

PHOTOS = "photos.csv"

_NO_PICTURE = "photo-not-there"  # of `photo_findings`


@dataclass(frozen=True, slots=True)
class Imported:
    """What was taken into the record."""

    outcomes: tuple[LoadOutcome, ...]
    findings: tuple[Finding, ...]


def import_file(record_file: Path, path: Path, *, who: str, now: datetime, supersede: str | None = None) -> Imported:
    """Take every property of an exported file into the record, each whole or not at all.

    All field sheets are read, and compared with what was exported, before the first one is stored.

    Parameters
    ----------
    supersede
        The reason for storing sheets that differ from what is recorded under the same name.

    Raises
    ------
    ReadBackError
        If the file carries no field sheets.
    SheetError, ChangedSheetsError, RecordError
        As `load_sheets`, if no property could be stored; of a file of several, the others are stored all the same.
    """
    findings = [finding for each in read_carried(path) for finding in _compared(path, each)]
    outcomes: list[LoadOutcome] = []
    failed: list[AsbuiltError] = []
    for each in read_carried(path):
        with _as_folder(each) as folder:
            try:
                _lay_photos(record_file, each.property, folder)
                loaded = load_sheets(record_file, folder, who=who, now=now, supersede=supersede, draft=_is_draft(each))
            except AsbuiltError as error:
                failed.append(error)
                message = f"{each.property} was not taken in: {error}"
                findings.append(Finding("not-imported", each.property, message, Severity.ATTENTION))
                continue
        outcomes.append(loaded.outcome)
        findings += _told(loaded)
    if failed and not outcomes:
        raise failed[0]
    return Imported(tuple(outcomes), tuple(worst_first(findings)))


def _told(loaded: Loaded) -> Iterator[Finding]:
    """Give what loading noticed; that the pictures are missing is no news, and told once."""
    missing = 0
    for finding in loaded.located.findings:
        missing += finding.code == _NO_PICTURE
        if finding.code != _NO_PICTURE and finding.severity is not Severity.NOTE:
            yield finding
    if missing:
        plural = "" if missing == 1 else "s"
        message = f"{missing} photo{plural} that the sheets name are not in the record: an exported file has none."
        act = "Attach them with `asbuilt photo`, or take in a packet, which has them."
        yield Finding("photos-not-carried", loaded.outcome.property, message, Severity.NOTE, act)


def _is_draft(each: Carried) -> bool:
    return each.mark.startswith("draft ")


def _compared(path: Path, each: Carried) -> Iterator[Finding]:
    """Read the sheets, and say where they do not say what was exported."""
    with _as_folder(each) as folder:
        sheets = read_draft(folder)[0] if _is_draft(each) else read_sheets(folder)
    name = sheets.record.property.name
    if name != each.property:
        raise ReadBackError(f"{path}: the field sheets under {each.property} are those of {name}")
    if each.mark.partition(" ")[2] != digest_of(sheets.record):
        message = (
            f"The field sheets of {name} do not say what was recorded when they were exported: the file was changed "
            "since, or another version of the program wrote it."
        )
        yield Finding("changed-since-export", name, message, Severity.ATTENTION, "Compare them with the original.")


def _lay_photos(record_file: Path, name: str, folder: Path) -> None:
    """Lay the photos that the record has already beside the sheets: a file without photos takes none out."""
    if not record_file.exists():
        return
    with open_record(record_file, read_only=True) as record:
        known = read_property(record, name) if property_id(record, name) is not None else None
    if known is None or not known.photos:
        return
    (folder / PHOTOS).write_text(sheet_texts(known)[PHOTOS], encoding="utf-8", newline="")
    for place, content in photo_files(known, record_file):
        (folder / place).parent.mkdir(exist_ok=True)
        (folder / place).write_bytes(content)


@contextmanager
def _as_folder(each: Carried) -> Iterator[Path]:
    """Lay the sheets out as files; their names are checked to stay in the folder."""
    with tempfile.TemporaryDirectory(prefix="asbuilt.") as place:
        folder = Path(place)
        for name, text in each.sheets.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(text, encoding="utf-8", newline="")
        yield folder

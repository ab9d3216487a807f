"""Load field sheets: read, solve once to see that they can be taken, store."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from asbuilt.errors import Problem, SheetError
from asbuilt.findings import Severity
from asbuilt.jobs.locate import Located, locate
from asbuilt.record.database import open_record
from asbuilt.record.loading import LoadOutcome, store_sheets
from asbuilt.record.sheets import SheetSet, read_sheets


@dataclass(frozen=True, slots=True)
class Loaded:
    """What loading did, and what the sheets say."""

    outcome: LoadOutcome
    located: Located


def load_sheets(record_file: Path, folder: Path, *, who: str, now: datetime, supersede: str | None = None) -> Loaded:
    """Store the field sheets of one folder, all or nothing.

    Raises
    ------
    SheetError
        If anything in the sheets cannot be taken, every problem in one go.
    ChangedSheetsError
        If the property is recorded otherwise and no reason to supersede is given.
    RecordError
        If the record cannot be written.
    """
    sheets = read_sheets(folder)
    located = locate(sheets.record)
    _refuse(sheets, located)
    with open_record(record_file, create=True) as record:
        outcome = store_sheets(record, sheets.rows, who=who, now=now, supersede=supersede)
    return Loaded(outcome, located)


def _refuse(sheets: SheetSet, located: Located) -> None:
    """Refuse sheets of which the survey says that they cannot be."""
    refused = [finding for finding in located.findings if finding.severity is Severity.REFUSED]
    if refused:
        name = sheets.record.property.name
        raise SheetError([Problem(f"sheets of {name}", None, None, f.message, f.next_act or f.code) for f in refused])

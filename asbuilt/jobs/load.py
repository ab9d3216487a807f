"""Load field sheets: read, solve once to see that they can be taken, store."""

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from asbuilt.errors import Problem, SheetError
from asbuilt.findings import Finding, Severity, worst_first
from asbuilt.jobs.due import reckon
from asbuilt.jobs.locate import Located, locate
from asbuilt.jobs.photos import photo_findings
from asbuilt.model.measurements import KnownCoordinate
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_property
from asbuilt.record.loading import LoadOutcome, store_sheets
from asbuilt.record.photos import keep_bytes
from asbuilt.record.sheets.read import SheetSet, read_draft, read_sheets
from asbuilt.survey.coordinates import BAD_COORDINATE, GridError, known_place


@dataclass(frozen=True, slots=True)
class Loaded:
    """What loading did, and what the sheets say."""

    outcome: LoadOutcome
    located: Located  #: the property as it is now recorded
    left_out: tuple[Problem, ...] = ()  #: of a draft
    notes: tuple[Finding, ...] = ()  #: what was guessed when the sheets were read


def load_sheets(
    record_file: Path,
    folder: Path,
    *,
    who: str,
    now: datetime,
    supersede: str | None = None,
    seen: int | None = None,
    draft: bool = False,
) -> Loaded:
    """Store the field sheets of one folder or workbook, all or nothing; of a draft what can be taken.

    Parameters
    ----------
    seen
        The number of the last entry that whoever supersedes has seen.
    draft
        Store the good rows, keep a list of the rest beside them, and mark the property as a draft.

    Raises
    ------
    SheetError
        If anything in the sheets cannot be taken, every problem in one go; of a draft, if it has no name or units.
    ChangedSheetsError
        If the property is recorded otherwise and no reason to supersede is given.
    RecordError
        If the record cannot be written.
    """
    sheets, left_out = read_draft(folder) if draft else (read_sheets(folder), ())
    located = locate(sheets.record)
    if not draft:
        _refuse(sheets, located)

    def keep_photos() -> None:
        for each in sheets.photos:
            keep_bytes(record_file, each.content(), each.photo.form)

    with open_record(record_file, create=True) as record:
        outcome = store_sheets(
            record,
            sheets.rows,
            who=who,
            now=now,
            supersede=supersede,
            seen=seen,
            reckon=reckon,
            keep_photos=keep_photos,
        )
        known = read_property(record, outcome.property)
    # what was typed at the prompt is not in the sheets
    found = located if known == sheets.record else locate(known)
    findings = worst_first([*found.findings, *photo_findings(known)])
    return Loaded(outcome, replace(found, findings=tuple(findings)), left_out, sheets.notes)


def _refuse(sheets: SheetSet, located: Located) -> None:
    """Refuse sheets of which the survey says that they cannot be."""
    refused = [finding for finding in located.findings if finding.severity is Severity.REFUSED]
    if refused:
        name = sheets.record.property.name
        others = [finding for finding in refused if finding.code != BAD_COORDINATE]  # those know their row and column
        problems = [Problem(f"sheets of {name}", None, None, f.message, f.next_act or f.code) for f in others]
        raise SheetError([*problems, *coordinate_problems(sheets)])


def coordinate_problems(sheets: SheetSet) -> list[Problem]:
    """List the known coordinates that their projected system cannot place, each with its row and column."""
    problems = []
    for row in sheets.rows:
        if isinstance(row.value, KnownCoordinate):
            try:
                known_place(row.value)
            except GridError as error:
                problems.append(Problem(row.sheet, row.row, error.column, error.reason, error.accepted))
    return problems

"""The history of one property, taken out of the record file."""

from contextlib import AbstractContextManager
from datetime import date
from pathlib import Path

from asbuilt.record.database import open_record
from asbuilt.record.history import LogEntry, read_log
from asbuilt.record.past import as_of, end_of_day


def history_of(record_file: Path, name: str) -> list[LogEntry]:
    """Read every entry of one property; UnknownNameError where there is none of that name."""
    with open_record(record_file, read_only=True) as record:
        return read_log(record, name)


def as_known_on(day: date) -> AbstractContextManager[None]:
    """Let every record that is read in the block be seen as it was known at the end of a local day."""
    return as_of(end_of_day(day))

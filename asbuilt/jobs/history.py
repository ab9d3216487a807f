"""The history of one property, taken out of the record file."""

from pathlib import Path

from asbuilt.record.database import open_record
from asbuilt.record.history import LogEntry, read_log


def history_of(record_file: Path, name: str) -> list[LogEntry]:
    """Read every entry of one property; UnknownNameError where there is none of that name."""
    with open_record(record_file, read_only=True) as record:
        return read_log(record, name)

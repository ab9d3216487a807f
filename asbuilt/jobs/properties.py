"""Take one property, or all of them, out of the record file."""

from pathlib import Path

from asbuilt.jobs.locate import Located, locate
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_all, read_property


def recorded(record_file: Path, name: str) -> PropertyRecord:
    """Read one property; UnknownNameError where there is none of that name."""
    with open_record(record_file, read_only=True) as record:
        return read_property(record, name)


def recorded_all(record_file: Path) -> list[PropertyRecord]:
    """Read every property of a record file."""
    with open_record(record_file, read_only=True) as record:
        return list(read_all(record))


def located(record_file: Path, name: str) -> Located:
    """Read one property and solve it."""
    return locate(recorded(record_file, name))

"""Take one property out of the record file."""

from datetime import date
from pathlib import Path

from asbuilt.jobs.locate import Located, locate
from asbuilt.jobs.private_copy import public_record
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_property


def recorded(record_file: Path, name: str) -> PropertyRecord:
    """Read one property; UnknownNameError where there is none of that name."""
    with open_record(record_file, read_only=True) as record:
        return read_property(record, name)


def located(record_file: Path, name: str, *, public_on: date | None = None) -> Located:
    """Read one property and solve it; in a public copy of a day nothing personal is known from here on."""
    known = recorded(record_file, name)
    return locate(known if public_on is None else public_record(known, public_on))

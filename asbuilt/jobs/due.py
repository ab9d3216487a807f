"""What falls due, over all properties of a record."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from asbuilt.findings import Finding
from asbuilt.model.property_record import PropertyRecord
from asbuilt.service.schedule import Due, due_tasks


def due_list(records: Sequence[PropertyRecord], today: date) -> tuple[list[Due], list[Finding]]:
    """List what falls due, soonest first, and what was noticed on the way.

    Where there are several properties, each finding names its own.
    """
    dues: list[Due] = []
    findings: list[Finding] = []
    for record in records:
        some, more = due_tasks(record, today)
        dues += some
        if len(records) > 1:
            more = tuple(replace(one, message=f"{record.property.name}, {one.message}") for one in more)
        findings += more
    dues.sort(key=lambda due: (due.due_on or date.max, due.property, due.component))
    return dues, findings

"""What falls due as a table, the reason under each line."""

from collections.abc import Iterable

from asbuilt.service.schedule import Due


def due_table(dues: Iterable[Due]) -> str:
    """Write the list as text, soonest first as it came."""
    lines = []
    for due in dues:
        when = "no date" if due.due_on is None else due.due_on.isoformat()
        late = "  OVERDUE" if due.overdue else ""
        lines += [f"{when}{late}  {due.task}: {due.component}, {due.property}", f"            {due.reason}"]
        if due.earliest_on and due.latest_on:
            lines.append(f"            between {due.earliest_on} and {due.latest_on}, as use varies")
        lines.append(f"            {due.reference}")
    return "\n".join(lines) if lines else "Nothing is scheduled."

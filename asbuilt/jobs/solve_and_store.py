"""What is typed at the hole: solved before anybody has to wait, and stored only as it was solved."""

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

from asbuilt.jobs.due import reckon
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import Record
from asbuilt.record.due_state import keep_due
from asbuilt.record.entries import Action, read_property
from asbuilt.record.typed import add_typed

T = TypeVar("T")


def solve_and_store(
    record: Record,
    name: str,
    tried: Callable[[PropertyRecord], T],
    values: Callable[[T], Iterable[Any]],
    action: Action | None,
) -> T:
    """Try what was typed against what is known of a property, and store it in one transaction.

    Parameters
    ----------
    tried
        Solves the property with what was typed; raises where it cannot be taken.
    values
        What of that is stored.
    action
        Who stores it, and when; None = only try.
    """
    known = read_property(record, name)
    found = tried(known)
    if action is None:
        return found
    with record.write():
        # solved before anybody had to wait; what somebody else stored meanwhile counts all the same
        if (since := read_property(record, name)) != known:
            found = tried(since)
        add_typed(record, name, list(values(found)), action)
        keep_due(record, name, reckon)
    return found

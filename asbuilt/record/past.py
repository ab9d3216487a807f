"""The record as it was known at a moment: views of one connection that stand before the tables."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, date, datetime, time

_ASKED: ContextVar[datetime | None] = ContextVar("moment as of which records are read", default=None)


@contextmanager
def as_of(moment: datetime) -> Iterator[None]:
    """Let every record that is opened in the block be seen as it was known at a moment, and none be written.

    A state of the reading and no parameter of each reader: an answer is put together by several of them, and one that
    forgot the moment would mix the past with the present in silence.
    """
    before = _ASKED.set(moment)
    try:
        yield
    finally:
        _ASKED.reset(before)


def moment_asked() -> datetime | None:
    """Give the moment as of which records are read; None = as they are known now."""
    return _ASKED.get()


def end_of_day(day: date) -> datetime:
    """Give the last moment of a local day, with the local time zone of that day."""
    try:
        return datetime.combine(day, time.max).astimezone()
    except (OverflowError, ValueError, OSError):  # the first and the last days that there are
        return datetime.combine(day, time.max, UTC)


def utc_text(moment: datetime) -> str:
    """Write a moment so that text order is time order.

    Raises
    ------
    ValueError
        If the moment has no time zone: it could not be told what it means.
    """
    if moment.tzinfo is None or moment.utcoffset() is None:
        raise ValueError(f"{moment.isoformat()} has no time zone")
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def look_back(connection: sqlite3.Connection, at: datetime) -> None:
    """Let every later query of this connection see what was known at a moment, and nothing since.

    SQLite looks for a name among the temporary ones first, so views called as our tables hide these. Of each property
    all entries count up to the last one by then: a state that really was, also where a clock had been set back. The
    due list is kept for now only, so none is seen, and whoever asks reckons it anew.
    """
    connection.execute("PRAGMA temp_store = MEMORY")
    connection.execute("CREATE TEMP TABLE then_known (property_id INTEGER PRIMARY KEY, entries INTEGER NOT NULL)")
    connection.execute(
        "INSERT INTO then_known SELECT property_id, max(seq) FROM main.entry WHERE at_utc <= ? GROUP BY property_id",
        (utc_text(at),),
    )
    for statement in _VIEWS:
        connection.execute(statement)


_VIEWS = (
    """CREATE TEMP VIEW entry AS SELECT e.* FROM main.entry e
       JOIN temp.then_known k ON k.property_id = e.property_id AND e.seq <= k.entries""",
    """CREATE TEMP VIEW property AS SELECT p.id, p.name, k.entries, e.hash AS head FROM main.property p
       JOIN temp.then_known k ON k.property_id = p.id
       JOIN main.entry e ON e.property_id = p.id AND e.seq = k.entries""",
    "CREATE TEMP VIEW due_property AS SELECT * FROM main.due_property WHERE FALSE",
    "CREATE TEMP VIEW due_state AS SELECT * FROM main.due_state WHERE FALSE",
)

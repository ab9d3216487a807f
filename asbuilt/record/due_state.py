"""The due list kept in the record: written with the entries it hangs on, read by one query, never trusted blindly.

Each property carries the hash of the last entry that its list was reckoned from, a mark of the program and rules that
it was reckoned with, and the first day for which it holds. Where one of the three does not fit, the list is *stale*
and the caller reckons that property anew; so what is read is always what a fresh reckoning would say.
"""

import json
import sqlite3
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date
from typing import Any

from asbuilt.findings import Finding, Severity, needs_attention
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import Record
from asbuilt.record.entries import property_id, read_property, unknown_property

NEVER = "never"
"""Stands in the place of a day that does not come; sorts after every day."""


@dataclass(frozen=True, slots=True)
class DueRow:
    """One task of one property, as it is kept; the columns of the table."""

    component: str
    task: str
    due_on: date | None
    earliest_on: date | None
    latest_on: date | None
    reason: str
    method: str
    reference: str


@dataclass(frozen=True, slots=True)
class DueState:
    """Everything due at one property, whatever the day, from `valid_from` on."""

    rows: tuple[DueRow, ...]
    findings: tuple[Finding, ...]  #: without those that say what is overdue, which hang on the day
    valid_from: date
    reckoned_by: str


Reckon = Callable[[PropertyRecord], DueState]
"""How a property's list is reckoned; given by the jobs, because the record knows nothing of service."""


@dataclass(frozen=True, slots=True)
class KeptDue:
    """One task read from the table, with whom to call."""

    property: str
    row: DueRow
    address: str | None
    owner: str | None
    phone: str | None


def keep_due(record: Record, name: str, reckon: Reckon) -> None:
    """Reckon a property's list and keep it, inside `record.write()`, after its entries were added."""
    if not record.db.conn.in_transaction:
        raise RuntimeError("the due list is kept inside record.write()")
    keep_due_of(record, read_property(record, name), reckon)


def keep_due_of(record: Record, known: PropertyRecord, reckon: Reckon) -> None:
    """Reckon and keep the list of a property as it now stands in the record, inside `record.write()`."""
    number, whole, rows = _cells(record, known, reckon(known))
    connection = record.connection
    connection.execute("DELETE FROM due_state WHERE property_id = ?", (number,))
    connection.execute("DELETE FROM due_property WHERE property_id = ?", (number,))
    connection.execute("INSERT INTO due_property VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", whole)
    connection.executemany("INSERT INTO due_state VALUES (?, ?, ?, ?, ?)", rows)


def kept_differs(record: Record, known: PropertyRecord, reckon: Reckon) -> bool:
    """Tell whether a list that counts as good is not, cell by cell, what its property gives; a stale one never does."""
    state = reckon(known)
    number, whole, rows = _cells(record, known, state)
    kept = kept_state(record.connection, number)
    if kept is None or kept[1:3] != whole[1:3]:
        return False  # none, or stale: whoever reads it reckons it anew
    return kept != (*whole, *sorted(rows))


def _cells(
    record: Record, known: PropertyRecord, state: DueState
) -> tuple[int, tuple[Any, ...], list[tuple[Any, ...]]]:
    """Give a property's number, and the cells of its row and of its list."""
    name, place = known.property.name, known.property
    number = property_id(record, name)
    if number is None:
        raise unknown_property(record, name)
    head = record.connection.execute("SELECT head FROM property WHERE id = ?", (number,)).fetchone()[0]
    findings = json.dumps([_finding_cells(each) for each in state.findings], ensure_ascii=False)
    whole = (
        *(number, head, state.reckoned_by, state.valid_from.isoformat(), place.address, place.owner, place.phone),
        *(findings, int(needs_attention(list(state.findings)))),
    )
    rows = [(day_cell(row.due_on), number, row.component, row.task, row_text(name, row)) for row in state.rows]
    return number, whole, rows


def stale_properties(record: Record, today: date, reckoned_by: str, name: str | None = None) -> list[str]:
    """Names of the properties whose kept list does not hold on a day."""
    query = (
        "SELECT p.name FROM property p LEFT JOIN due_property d ON d.property_id = p.id "
        "WHERE (d.head IS NOT p.head OR d.reckoned_by <> ? OR d.valid_from > ?)"
    )
    values: list[Any] = [reckoned_by, today.isoformat()]
    if name is not None:
        query, values = f"{query} AND p.name = ?", [*values, name]
    with record.read() as connection:
        return [row[0] for row in connection.execute(f"{query} ORDER BY p.id", values)]


def read_due_texts(
    record: Record,
    *,
    until: date | None = None,
    name: str | None = None,
    task: str | None = None,
    without: Collection[str] = (),
) -> list[tuple[str, str, str, str, str]]:
    """Read the kept list as text, soonest first, never last; then by property, component and task.

    Parameters
    ----------
    record
        An open record.
    until
        Only what is due up to and on that day; None = everything.
    name
        Only this property.
    task
        Only this task.
    without
        Properties left out.

    Returns
    -------
    list of tuple
        Day or never, property, component, task, and the row as a JSON object without its end: what hangs on the day
        that is asked for is put there.
    """
    where, values = _where(until, name, task)
    with record.read() as connection:
        rows = connection.execute(
            "SELECT s.due_on, p.name, s.component, s.task, s.row FROM due_state s "  # noqa: S608 - our own words
            f"JOIN property p ON p.id = s.property_id WHERE {where} ORDER BY s.due_on",
            values,
        ).fetchall()
    if without:
        rows = [row for row in rows if row[1] not in without]
    return sorted(rows)


def read_due(
    record: Record,
    *,
    until: date | None = None,
    name: str | None = None,
    task: str | None = None,
    without: Collection[str] = (),
) -> list[KeptDue]:
    """Read the kept list with whom to call; chosen and in the order of `read_due_texts`."""
    texts = read_due_texts(record, until=until, name=name, task=task, without=without)
    with record.read() as connection:
        whom = {
            each: rest
            for each, *rest in connection.execute(
                "SELECT p.name, d.address, d.owner, d.phone FROM due_property d "
                "JOIN property p ON p.id = d.property_id WHERE p.name = ? OR ? IS NULL",
                (name, name),
            )
        }
    return [KeptDue(place, _row_of(text), *whom[place]) for _, place, _, _, text in texts]


def _where(until: date | None, name: str | None, task: str | None) -> tuple[str, list[str]]:
    where, values = ["TRUE"], list[str]()
    for condition, value in (
        ("s.due_on <= ?", None if until is None else until.isoformat()),
        ("p.name = ?", name),
        ("s.task = ?", task),
    ):
        if value is not None:
            where.append(condition)
            values.append(value)
    return " AND ".join(where), values


def task_names(record: Record) -> set[str]:
    """Names of all tasks in the kept list."""
    with record.read() as connection:
        return {row[0] for row in connection.execute("SELECT DISTINCT task FROM due_state")}


def read_findings(
    record: Record, name: str | None = None, *, attention: bool = False
) -> dict[str, tuple[Finding, ...]]:
    """Read the kept findings by property; those of properties without any are left out.

    Parameters
    ----------
    record
        An open record.
    name
        Only this property.
    attention
        Only properties one of whose findings needs attention.
    """
    query = (
        "SELECT p.name, d.findings FROM due_property d JOIN property p ON p.id = d.property_id WHERE d.findings <> '[]'"
    )
    values: list[Any] = []
    if attention:
        query += " AND d.attention = 1"
    if name is not None:
        query, values = f"{query} AND p.name = ?", [name]
    with record.read() as connection:
        return {
            each: tuple(map(_finding, json.loads(findings)))
            for each, findings in connection.execute(f"{query} ORDER BY p.id", values)
        }


def day_cell(day: date | None) -> str:
    """Write a day as the table has it."""
    return NEVER if day is None else day.isoformat()


def row_text(name: str, row: DueRow) -> str:
    """Write a row as a JSON object whose closing brace is still to come."""
    held = {"property": name, **{column: getattr(row, column) for column in DueRow.__slots__}}
    cells = {key: value.isoformat() if isinstance(value, date) else value for key, value in held.items()}
    return json.dumps(cells, ensure_ascii=False).removesuffix("}")


def _row_of(text: str) -> DueRow:
    """Undo `row_text`."""
    cells = json.loads(text + "}")
    del cells["property"]
    for column in ("due_on", "earliest_on", "latest_on"):
        cells[column] = None if cells[column] is None else date.fromisoformat(cells[column])
    return DueRow(**cells)


def _finding_cells(finding: Finding) -> list[str]:
    return [finding.code, finding.subject, finding.message, str(finding.severity), finding.next_act]


def _finding(cells: list[str]) -> Finding:
    code, subject, message, severity, next_act = cells
    return Finding(code, subject, message, Severity(severity), next_act)


def kept_state(connection: sqlite3.Connection, number: int) -> tuple[Any, ...] | None:
    """Give everything that is kept of one property, to compare it with a fresh reckoning; None = nothing."""
    head = connection.execute("SELECT * FROM due_property WHERE property_id = ?", (number,)).fetchone()
    if head is None:
        return None
    rows = connection.execute(
        "SELECT * FROM due_state WHERE property_id = ? ORDER BY due_on, component, task", (number,)
    ).fetchall()
    return (*head, *rows)

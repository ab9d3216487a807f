"""The chain of hashes: an untouched record agrees, and whatever is done behind the program's back is found."""

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from asbuilt.model.measurements import Tie
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from asbuilt.record.loading import store_sheets
from tests.record_samples import NOON, SAMPLE, feet, named, sheet_rows

NAME = SAMPLE.property.name
CORRECTED = replace(SAMPLE, ties=(*SAMPLE.ties[:3], Tie("A", "septic tank/outlet lid", feet(28))), service=())


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "r.db"
    with open_record(path, create=True) as record:
        store_sheets(record, sheet_rows(SAMPLE), who="tester", now=NOON)
        store_sheets(record, sheet_rows(named("other")), who="tester", now=NOON)
        later = NOON + timedelta(days=1)
        store_sheets(record, sheet_rows(CORRECTED), who="tester", now=later, supersede="taped again")
    return path


def faults(path: Path, name: str = NAME) -> list[str]:
    with open_record(path, read_only=True) as record:
        return verify_chain(record, name)


def rows_of(path: Path, query: str) -> Iterator[sqlite3.Row]:
    connection = sqlite3.connect(path)
    connection.row_factory = sqlite3.Row
    yield from connection.execute(query).fetchall()
    connection.close()


def tamper(path: Path, *statements: str) -> None:
    """Do what somebody with an SQLite shell could do: its foreign keys are off, and triggers can be dropped."""
    connection = sqlite3.connect(path)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        assert connection.execute(statement).rowcount != 0, statement
    connection.commit()
    connection.close()


def test_an_untouched_record_agrees(path: Path) -> None:
    assert faults(path) == faults(path, "other") == []
    assert faults(path, "nobody's") == ['the property "nobody\'s" is not in the record']


def test_the_chain_can_be_recomputed_from_its_description_alone(path: Path) -> None:
    """An independent reckoning over the tables: SHA-256 of sorted JSON, what is NULL left out."""
    tables = {"property": "property_facts", "service": "service_entry"}
    prev = ""
    seqs = {row["id"]: row["seq"] for row in rows_of(path, "SELECT id, seq FROM entry")}
    for row in rows_of(path, "SELECT * FROM entry WHERE property_id = 1 ORDER BY seq"):
        kept = ("seq", "kind", "position", "sheet", "row", "who", "at_utc", "at_local", "withdrawn", "reason")
        what: dict[str, Any] = {name: row[name] for name in kept if row[name] is not None}
        what["prev"] = prev
        if row["supersedes"] is not None:
            what["supersedes_seq"] = seqs[row["supersedes"]]
        table = tables.get(row["kind"], row["kind"])
        for body in rows_of(path, f"SELECT * FROM {table} WHERE entry_id = {row['id']}"):  # noqa: S608
            cells = dict(body)
            del cells["entry_id"]
            what["body"] = {name: cell for name, cell in cells.items() if cell is not None}
        text = json.dumps(what, sort_keys=True, separators=(",", ":"))
        prev = hashlib.sha256(text.encode()).hexdigest()
        assert (row["prev_hash"], row["hash"]) == (what["prev"], prev)
    (head,) = rows_of(path, "SELECT entries, head FROM property WHERE id = 1")
    assert (head["entries"], head["head"]) == (row["seq"], prev)


LAST = len(sheet_rows(SAMPLE)) + 2  # the rows of the sample, one correction, one withdrawal

TAMPERED = {
    "a reading altered": (
        ["UPDATE tie SET distance_m = 7.2 WHERE entry_id = 9"],
        ["entry 9 (tie, ties.csv row 2) does not agree with its hash: it was altered"],
    ),
    "a text altered by one letter": (
        ["UPDATE reference_point SET description = replace(description, 'west', 'east') WHERE entry_id = 2"],
        ["entry 2 (reference_point, reference_points.csv row 2) does not agree with its hash: it was altered"],
    ),
    "a blank filled in": (
        ["UPDATE household SET building = 'barn' WHERE entry_id = 18"],
        ["entry 18 (household, household.csv row 2) does not agree with its hash: it was altered"],
    ),
    "another author": (
        ["UPDATE entry SET who = 'somebody else' WHERE id = 5"],
        ["entry 5 (wall, walls.csv row 2) does not agree with its hash: it was altered"],
    ),
    "another day": (
        ["UPDATE entry SET at_utc = '2020-01-01T00:00:00.000000Z' WHERE id = 1"],
        ["entry 1 (property, property.toml) does not agree with its hash: it was altered"],
    ),
    "another reason": (
        [f"UPDATE entry SET reason = 'none' WHERE property_id = 1 AND seq = {LAST}"],  # noqa: S608
        [f"entry {LAST} (service, service.csv) does not agree with its hash: it was altered"],
    ),
    "another order of the walk": (
        ["UPDATE entry SET position = 9 WHERE id = 5"],
        ["entry 5 (wall, walls.csv row 2) does not agree with its hash: it was altered"],
    ),
    "an entry removed with its values": (
        ["DELETE FROM tie WHERE entry_id = 10", "DELETE FROM entry WHERE id = 10"],
        ["entry 10 is missing"],
    ),
    "three entries removed": (
        ["DELETE FROM entry WHERE id BETWEEN 9 AND 11", "DELETE FROM tie WHERE entry_id BETWEEN 9 AND 11"],
        ["entries 9 to 11 are missing"],
    ),
    "an entry removed and the others moved up": (
        [
            "DELETE FROM entry WHERE id = 10",
            "DELETE FROM tie WHERE entry_id = 10",
            "UPDATE entry SET seq = 10 WHERE id = 11",
        ],
        [
            "entry 10 (tie, ties.csv row 4) does not follow from the entry before it: one of the two was altered",
            "entry 10 (tie, ties.csv row 4) does not agree with its hash: it was altered",
            "entry 11 is missing",
        ],
    ),
    "the values of an entry removed": (
        ["DELETE FROM tie WHERE entry_id = 10"],
        ["entry 10 (tie, ties.csv row 3) has no row in the table tie: its values are missing"],
    ),
    "the last entry removed": (
        [f"DELETE FROM entry WHERE property_id = 1 AND seq = {LAST}"],  # noqa: S608
        [
            f"the last entry is {LAST - 1} and there were {LAST}: entries at the end are missing",
            "the property's last hash is not that of its last entry: one of the two was altered",
        ],
    ),
    "the superseded entry removed": (
        ["DELETE FROM entry WHERE id = 12", "DELETE FROM tie WHERE entry_id = 12"],
        [
            "entry 12 is missing",
            f"entry {LAST - 1} (tie, ties.csv row 5) supersedes an entry that is missing",
            f"entry {LAST - 1} (tie, ties.csv row 5) does not agree with its hash: it was altered",
        ],
    ),
    "the head altered": (
        ["UPDATE property SET head = 'ab' WHERE id = 1"],
        ["the property's last hash is not that of its last entry: one of the two was altered"],
    ),
    "the count altered": (
        ["UPDATE property SET entries = 3 WHERE id = 1"],
        [f"the last entry is {LAST} and the property counts 3: its count was altered"],
    ),
    "a withdrawal undone": (
        [f"UPDATE entry SET withdrawn = 0, position = 1 WHERE property_id = 1 AND seq = {LAST}"],  # noqa: S608
        [f"entry {LAST} (service, service.csv) has no row in the table service_entry: its values are missing"],
    ),
    "another entry superseded": (
        [f"UPDATE entry SET supersedes = 11 WHERE property_id = 1 AND seq = {LAST - 1}"],  # noqa: S608
        [f"entry {LAST - 1} (tie, ties.csv row 5) does not agree with its hash: it was altered"],
    ),
    "another kind": (
        ["UPDATE entry SET kind = 'wall' WHERE id = 9"],
        [
            "entry 9 (wall, ties.csv row 2) has a row in the table tie that does not belong to it",
            "entry 9 (wall, ties.csv row 2) has no row in the table wall: its values are missing",
        ],
    ),
    "a kind that there is not": (
        ["UPDATE entry SET kind = 'tape' WHERE id = 9"],
        ["entry 9 (tape, ties.csv row 2) is of an unknown kind"],
    ),
    "a table dropped": (["DROP TABLE household"], ["the table household is missing"]),
    "another property's name": (
        ["UPDATE property SET name = 'gone' WHERE id = 1", "UPDATE property SET name = 'Invented Lane 7' WHERE id = 2"],
        [f"the property is called '{NAME}' and its entries say 'other'"],
    ),
    "all entries removed": (
        ["DELETE FROM entry WHERE property_id = 1"],
        [
            f"the last entry is 0 and there were {LAST}: entries at the end are missing",
            "the property's last hash is not that of its last entry: one of the two was altered",
        ],
    ),
}


@pytest.mark.parametrize("how", TAMPERED)
def test_tampering_is_found_and_its_place_is_named(path: Path, how: str) -> None:
    statements, said = TAMPERED[how]
    tamper(path, *statements)
    assert faults(path) == said


def test_an_entry_hashed_anew_no_longer_carries_the_next_one(path: Path) -> None:
    from asbuilt.record import chain

    tamper(path, "UPDATE tie SET distance_m = 7.2 WHERE entry_id = 9")
    with open_record(path, read_only=True) as record:
        found = list(chain._found(record.connection, 1))
    forged = chain.entry_hash(found[8].links, found[8].bodies["tie"])
    tamper(path, "UPDATE entry SET hash = 'FORGED' WHERE id = 9".replace("FORGED", forged))
    assert faults(path) == [
        "entry 10 (tie, ties.csv row 3) does not follow from the entry before it: one of the two was altered"
    ]


def test_tampering_with_one_property_leaves_the_others_sound(path: Path) -> None:
    tamper(path, "UPDATE tie SET distance_m = 7.2 WHERE entry_id = 9")
    assert faults(path)
    assert faults(path, "other") == []

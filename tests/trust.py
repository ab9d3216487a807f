"""A small record with two properties, photos, services and a correction, and what one can do behind its back."""

import shutil
import sqlite3
from pathlib import Path

from tests.commands import SAMPLE, invoke, sheets_in, two_corners

ONE, OTHER = "Two Corners", "Other Corners"


def small_record(folder: Path) -> Path:
    """Make it in a folder, by the commands alone."""
    record = folder / "asbuilt.db"
    where = ("--record", record, "--who", "tester")
    components = [["name", "kind", "volume_gal"], ["septic tank", "septic tank", "1000"]]
    household = [["from", "people"], ["2018-01-01", "3"]]
    for name in (ONE, OTHER):
        facts = two_corners(name)
        toml = facts.pop("property") + 'owner = "Nobody Example"\nphone = "555-0100"\n'
        sheets = sheets_in(folder, "sheets", property=toml, components=components, household=household, **facts)
        assert invoke("load", sheets, *where).exit_code in (0, 1)
        service = ("--on", "2024-05-01", "--component", "septic tank", "--task", "pump-out", "--gallons", "1000")
        assert invoke("service", name, *service, *where).exit_code in (0, 1)
    for picture in ("inlet-lid.jpg", "panel.png"):
        done = invoke("photo", ONE, "lid", SAMPLE / "photos" / picture, *where)
        assert done.exit_code == 0, done.output
    correction = ("--from", "A", "--read", "25 1", "--reason", "read again")
    assert invoke("correct", ONE, "septic tank/lid", *correction, *where).exit_code in (0, 1)
    return record


def copied(record: Path, folder: Path) -> Path:
    """Copy a record and its photos into a folder."""
    photos = record.with_name(record.name + ".photos")
    shutil.copytree(photos, folder / photos.name)
    return Path(shutil.copy(record, folder / record.name))


def tamper(record: Path, *statements: str) -> None:
    """Do what somebody with an SQLite shell could do, and leave no other trace: the triggers come back."""
    connection = sqlite3.connect(record)
    triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        assert connection.execute(statement).rowcount != 0, statement
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    for _, text in triggers:
        if text.split(" ON ")[1].split()[0] in tables:
            connection.execute(text)
    connection.commit()
    connection.close()

"""How long the due list of a large office takes, as a whole process.

Run `python -m tests.benchmarks.due [--properties 100000] [--entries 10] [--keep FILE]`. Builds an invented record of
so many properties with so many service entries each by bulk SQL, reckons its due list by `asbuilt due --rebuild`, and
times `asbuilt due --within 90 --json` from start to end. Fails where the best of five takes two seconds or more.
"""

import argparse
import json
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.place import Property, ReferencePoint
from asbuilt.record.database import open_record
from asbuilt.record.nouns import NOUN_OF_KIND, noun_of
from asbuilt.record.rows import row_codec

MOST_S = 2.0
TODAY = "2026-06-01"

LAST = date.fromisoformat(TODAY)
BEGUN = date(2010, 1, 1)


def values(number: int, entries: int) -> list[object]:
    """Give everything that is recorded of one invented property, in the order of its entries.

    Each task was last done 0 to 399 days ago, and before that every 400 days: an office that keeps up, more or less.
    """
    volume = 1000.0 + 250 * (number % 3)
    installed = BEGUN + timedelta(days=number % 2000)
    known: list[object] = [
        Property(f"Invented Road {number}", "ft-in", address=f"{number} Invented Road (invented)", phone="555-0100"),
        ReferencePoint("A"),
        Component("septic tank", "septic tank", volume_gal=volume, installed_on=installed),
        Component("pump tank", "pump tank", volume_gal=500.0, installed_on=installed),
        Household(date(2010, 6, 1), 1.0 + number % 5),
    ]
    for k in range(entries):
        on = LAST - timedelta(days=(number * 7 + k % 5 * 80) % 400 + 400 * (k // 5))
        task = ("pump and alarm test", "pump-out", "filter", "inspection", "inspection")[k % 5]
        component = "septic tank" if k % 5 else "pump tank"
        known.append(ServiceEntry(on, component, task, gallons=volume if k % 5 == 1 else None, evidence="receipt"))
    return known


def build(path: Path, properties: int, entries: int) -> None:
    """Fill a new record by bulk SQL; its hashes are made up, which the due list does not mind."""
    open_record(path, create=True).close()
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA synchronous = OFF")
    db.execute("BEGIN")
    for begin in range(1, properties + 1, 5000):
        fill(db, range(begin, min(begin + 5000, properties + 1)), entries)
    db.execute("COMMIT")
    db.close()


def fill(db: sqlite3.Connection, numbers: range, entries: int) -> None:
    places, links, bodies = [], [], dict[str, list[tuple[object, ...]]]()
    for number in numbers:
        known = values(number, entries)
        places.append((number, f"Invented Road {number}", len(known), f"head {number}"))
        for seq, value in enumerate(known, start=1):
            noun = noun_of(value)
            entry_id = number * 1000 + seq
            moment = "2026-01-01T00:00:00"
            links.append(
                (entry_id, number, seq, noun.kind, float(seq), "bench", seq, "bench", f"{moment}.000000Z", moment)
            )
            bodies.setdefault(noun.kind, []).append((entry_id, *row_codec(noun.cls).cells(value)))
    db.executemany("INSERT INTO property VALUES (?, ?, ?, ?)", places)
    db.executemany(
        "INSERT INTO entry (id, property_id, seq, kind, position, sheet, row, who, at_utc, at_local, withdrawn, "
        "prev_hash, hash) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 0, '', '')",
        links,
    )
    for kind, rows in bodies.items():
        noun = NOUN_OF_KIND[kind]
        columns = ", ".join(f'"{name}"' for name in ("entry_id", *row_codec(noun.cls).names))
        marks = ", ".join("?" * len(rows[0]))
        db.executemany(f"INSERT INTO {noun.table} ({columns}) VALUES ({marks})", rows)  # noqa: S608 - our own columns


def wall_s(*words: str, out: Path | None = None) -> tuple[float, int]:
    """Time one whole process; gives its exit status too."""
    begun = time.perf_counter()
    with (out or Path(os.devnull)).open("wb") as stdout:
        done = subprocess.run([sys.executable, "-m", "asbuilt", *words], stdout=stdout, check=False)
    return time.perf_counter() - begun, done.returncode


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--properties", type=int, default=100_000)
    parser.add_argument("--entries", type=int, default=10)
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = asked.keep or Path(folder) / "big.db"
        if not path.exists():
            begun = time.perf_counter()
            build(path, asked.properties, asked.entries)
            print(f"built in {time.perf_counter() - begun:.0f} s, {path.stat().st_size / 1e6:,.0f} MB")
        took, status = wall_s("due", "--rebuild", "--record", str(path))
        assert status == 0
        print(f"due --rebuild: {took:.0f} s, {1e6 * took / asked.properties:.0f} us a property")
        listed = Path(folder) / "due.json"
        words = ("due", "--within", "90", "--json", "--on", TODAY, "--record", str(path))
        times = [wall_s(*words, out=listed)[0] for _ in range(5)]
        rows = json.loads(listed.read_text(encoding="utf-8"))
        assert rows
        print(
            f"due --within 90 --json: {len(rows):,} rows of {asked.properties:,} properties, "
            f"{asked.properties * asked.entries:,} entries: {', '.join(f'{each:.2f}' for each in times)} s"
        )
    return int(min(times) >= MOST_S)


if __name__ == "__main__":
    sys.exit(main())

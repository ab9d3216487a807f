"""Packets made otherwise than by the program: members replaced, records rebuilt, sums made to fit."""

import hashlib
import sqlite3
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path

from asbuilt.handover.packet import MANIFEST, RECORD


def members_of(path: Path) -> dict[str, bytes]:
    """Give every file of a packet but the list of sums."""
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist() if name != MANIFEST}


def manifest_of(members: Mapping[str, bytes]) -> bytes:
    return "".join(f"{hashlib.sha256(body).hexdigest()}  {name}\n" for name, body in members.items()).encode()


def packed(path: Path, members: Mapping[str, bytes], manifest: bytes | None = None) -> Path:
    """Write members as a packet whose sums fit."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in members.items():
            archive.writestr(zipfile.ZipInfo(name), body)
        archive.writestr(MANIFEST, manifest_of(members) if manifest is None else manifest)
    return path


def with_record(source: Path, target: Path, act: Callable[[sqlite3.Connection], object]) -> Path:
    """Change the record inside a packet and make all sums fit."""
    members = members_of(source)
    place = target.with_suffix(".changed.db")
    place.write_bytes(members[RECORD])
    connection = sqlite3.connect(place)
    try:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            if name.endswith(("_no_update", "_no_delete")):
                sql = connection.execute("SELECT sql FROM sqlite_master WHERE name = ?", (name,)).fetchone()[0]
                connection.execute(f"DROP TRIGGER {name}")
                connection.execute("CREATE TEMP TABLE IF NOT EXISTS kept (sql TEXT)")
                connection.execute("INSERT INTO kept VALUES (?)", (sql,))
        act(connection)
        for (sql,) in connection.execute("SELECT sql FROM kept").fetchall():
            table = sql.partition(" ON ")[2].split()[0]
            if connection.execute("SELECT 1 FROM sqlite_master WHERE name = ? AND type = 'table'", (table,)).fetchone():
                connection.execute(sql)
        connection.commit()
    finally:
        connection.close()
    members[RECORD] = place.read_bytes()
    place.unlink()
    return packed(target, members)

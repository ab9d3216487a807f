"""A record on a network share: no write-ahead log there, said once, and nothing lost."""

import logging
import sqlite3
from pathlib import Path

import pytest

from asbuilt.record import shares
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_property
from asbuilt.record.loading import store_sheets
from asbuilt.record.shares import share_kind
from tests.record_samples import NOON, SAMPLE, sheet_rows

NAME = SAMPLE.property.name


def mounts(folder: Path, monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    listed = folder / "mounts"
    listed.write_text("".join(f"{line}\n" for line in lines))
    monkeypatch.setattr(shares, "MOUNTS", listed)


def mode(path: Path) -> str:
    connection = sqlite3.connect(path)
    found: str = connection.execute("PRAGMA journal_mode").fetchone()[0]
    connection.close()
    return found


@pytest.mark.parametrize("kind", ["nfs4", "cifs", "fuse.sshfs", "9p"])
def test_the_deepest_mount_that_holds_the_file_tells_what_it_lies_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    share = tmp_path / "our share"
    (share / "local").mkdir(parents=True)
    escaped = str(share).replace(" ", "\\040")
    mounts(
        tmp_path,
        monkeypatch,
        "/dev/sda / ext4 rw 0 0",
        f"server:/x {escaped} {kind} rw 0 0",
        f"/dev/sdb {escaped}/local ext4 rw 0 0",
    )
    assert share_kind(share / "asbuilt.db") == kind
    assert share_kind(share / "local" / "asbuilt.db") is None
    assert share_kind(tmp_path / "our share 2" / "asbuilt.db") is None
    assert share_kind(tmp_path / "asbuilt.db") is None


def test_where_nobody_lists_the_mounts_no_share_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shares, "MOUNTS", tmp_path / "nothing")
    assert share_kind(tmp_path / "asbuilt.db") is None


def test_a_record_on_a_share_keeps_a_rollback_journal_and_says_so_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.WARNING)
    mounts(tmp_path, monkeypatch, f"server:/x {tmp_path} nfs rw 0 0")
    path = tmp_path / "r.db"
    said = (
        f"{path} lies on a network share (nfs), where write-ahead logging does not work; a rollback journal is used: "
        "as safe, but readers and writers wait for each other"
    )
    with open_record(path, create=True) as record:
        store_sheets(record, sheet_rows(SAMPLE), who="tester", now=NOON)
    assert caplog.messages == [said]
    assert mode(path) == "delete"
    with open_record(path) as record:
        assert read_property(record, NAME) == SAMPLE
        assert verify_chain(record, NAME) == []
    assert caplog.messages == [said]


def test_a_record_that_was_copied_to_a_share_leaves_its_write_ahead_log(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "r.db"
    with open_record(path, create=True) as record:
        store_sheets(record, sheet_rows(SAMPLE), who="tester", now=NOON)
    assert mode(path) == "wal"
    mounts(tmp_path, monkeypatch, f"server:/x {tmp_path} cifs rw 0 0")
    for times in (1, 1):
        with open_record(path) as record:
            assert read_property(record, NAME) == SAMPLE
        assert len(caplog.messages) == times
    assert mode(path) == "delete"
    assert sorted(file.name for file in tmp_path.iterdir()) == ["mounts", "r.db"]

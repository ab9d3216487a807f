"""Output files: whole or not at all, with the rights that their folder's owner means them to have."""

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from asbuilt.output import files
from asbuilt.output.files import OutputError, opened_whole, write_all, write_folder, write_whole
from tests.commands import files_below, invoke


@pytest.fixture
def umask() -> Iterator[None]:
    before = os.umask(0o027)
    yield
    os.umask(before)


def rights(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@pytest.mark.usefixtures("umask")
def test_a_new_file_gets_what_the_umask_leaves_and_a_replaced_one_keeps_its_rights(tmp_path: Path) -> None:
    new, private = tmp_path / "new.txt", tmp_path / "private.txt"
    write_whole(new, "one")
    assert rights(new) == 0o640
    private.write_text("old")
    private.chmod(0o600)
    write_whole(private, "two", overwrite=True)
    assert (rights(private), private.read_text()) == (0o600, "two")
    write_folder(tmp_path / "set", {"a.txt": "a"})
    assert (rights(tmp_path / "set"), rights(tmp_path / "set" / "a.txt")) == (0o750, 0o640)


@pytest.mark.usefixtures("umask")
def test_a_private_file_is_its_owners_alone_whatever_was_there_before(tmp_path: Path) -> None:
    old = tmp_path / "old.txt"
    old.write_text("old")
    old.chmod(0o644)
    write_whole(old, "owner and phone", overwrite=True, private=True)
    write_all({tmp_path / "new.txt": "owner"}, private=True)
    write_folder(tmp_path / "set", {"a.txt": "phone"}, private=True)
    private = (old, tmp_path / "new.txt", tmp_path / "set" / "a.txt")
    assert [rights(path) for path in private] == [0o600] * 3
    assert rights(tmp_path / "set") == 0o700


@pytest.mark.parametrize("ending", ["geojson", "gpkg"])
@pytest.mark.usefixtures("umask")
def test_exports_with_owner_and_phone_in_them_are_their_owners_alone(
    ending: str, sample_record: Path, tmp_path: Path
) -> None:
    """They were written for everybody, while the record is for its owner only."""
    for options in ((), ("--no-sheets",)):
        out = tmp_path / f"property{''.join(options)}.{ending}"
        result = invoke("export", "Fernbank Lane 14", *options, "--out", out, "--record", sample_record)
        assert result.exit_code in (0, 1), result.output
        assert rights(out) == (0o600 if not options else 0o640)


@pytest.mark.usefixtures("umask")
def test_sheets_written_out_again_are_their_owners_alone(sample_record: Path, tmp_path: Path) -> None:
    assert invoke("sheets", "Fernbank Lane 14", "--out", tmp_path / "out", "--record", sample_record).exit_code == 0
    written = [path for path in (tmp_path / "out").rglob("*") if path.is_file()]
    assert len(written) > 5
    assert {rights(path) for path in written} == {0o600}
    assert rights(tmp_path / "out") == 0o700


@pytest.mark.usefixtures("umask")
def test_a_calendar_and_a_map_that_say_whom_to_call_are_their_owners_alone(sample_record: Path, tmp_path: Path) -> None:
    made = (tmp_path / "due.ics", tmp_path / "due.html")
    invoke("due", "--ics", made[0], "--map", made[1], "--record", sample_record, "--on", "2026-06-01")
    assert [rights(path) for path in made] == [0o600, 0o600]


def test_a_link_stays_a_link_and_its_file_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    link, place = tmp_path / "link.txt", tmp_path / "far" / "file.txt"
    place.write_text("old")
    link.symlink_to(place)
    write_whole(link, "new", overwrite=True)
    assert link.is_symlink()
    assert place.read_text() == "new"
    assert sorted(files_below(tmp_path)) == ["far/file.txt", "link.txt"]


def test_a_file_whose_making_fails_leaves_the_old_one_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "file.txt"
    path.write_text("old")
    with pytest.raises(ZeroDivisionError), opened_whole(path, overwrite=True) as file:
        file.write(b"half")
        raise ZeroDivisionError
    assert files_below(tmp_path) == {"file.txt": b"old"}


def test_what_reaches_its_place_was_brought_to_the_disk_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    done: list[str] = []
    sync, replace = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda handle: (done.append("sync"), sync(handle))[1])
    monkeypatch.setattr(Path, "replace", lambda one, other: (done.append("move"), replace(one, other))[1])
    write_whole(tmp_path / "file.txt", "words")
    assert done == ["sync", "move", "sync"]


def test_a_new_folder_appears_with_all_its_files_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    contents = {"a.txt": "a", "b.txt": "b", "c.txt": "c"}
    place = files.put_in_place
    moved = []

    def fail_at_the_second(aside: Path, path: Path, *, private: bool = False) -> None:
        moved.append(path)
        if len(moved) == 2:
            raise OSError(28, "No space left on device")
        place(aside, path, private=private)

    monkeypatch.setattr(files, "put_in_place", fail_at_the_second)
    with pytest.raises(OutputError, match=r"set/b\.txt: not written: No space left on device"):
        write_folder(tmp_path / "set", contents)
    assert list(tmp_path.iterdir()) == []
    monkeypatch.undo()
    assert write_folder(tmp_path / "set", contents) == tuple(tmp_path / "set" / name for name in contents)
    assert {name: (tmp_path / "set" / name).read_text() for name in contents} == contents


def test_of_several_files_none_takes_its_place_before_all_are_written(tmp_path: Path) -> None:
    old = tmp_path / "a.txt"
    old.write_text("old")
    with pytest.raises(OutputError) as caught:
        write_all({old: "new", tmp_path / "missing" / "b.txt": "b"}, overwrite=True)
    assert str(caught.value) == (f"{tmp_path}/missing/b.txt: there is no folder {tmp_path}/missing; make it first")
    assert files_below(tmp_path) == {"a.txt": b"old"}
    with pytest.raises(OutputError, match="the file is there already; --overwrite replaces it"):
        write_all({tmp_path / "new.txt": "n", old: "new"})
    assert files_below(tmp_path) == {"a.txt": b"old"}

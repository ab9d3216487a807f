"""`asbuilt verify`: a sound record passes, and whatever was done behind the program's back is found."""

# ruff: noqa: S608 - what is done behind the program's back is SQL, put together here

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.commands import Run, files_below, invoke, parsed
from tests.trust import ONE, OTHER, copied, tamper


@pytest.fixture
def record(trusted: Path, folder: Path) -> Path:
    return copied(trusted, folder)


def photo_files(record: Path) -> list[Path]:
    found = sorted(record.with_name(record.name + ".photos").rglob("*.*"))
    assert len(found) == 2
    return found


def alter_photo(record: Path) -> None:
    first = photo_files(record)[0]
    content = bytearray(first.read_bytes())
    content[len(content) // 2] ^= 1
    first.write_bytes(content)


def swap_photos(record: Path) -> None:
    one, other = photo_files(record)
    first, second = one.read_bytes(), other.read_bytes()
    one.write_bytes(second)
    other.write_bytes(first)


def damage_page(record: Path) -> None:
    """Write over the middle of a page of rows, as a failing disk does."""
    connection = sqlite3.connect(record)
    connection.execute("PRAGMA journal_mode = DELETE")
    page = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'tie'").fetchone()[0]
    size = connection.execute("PRAGMA page_size").fetchone()[0]
    connection.close()
    content = bytearray(record.read_bytes())
    content[(page - 1) * size : (page - 1) * size + 64] = b"\xff" * 64
    record.write_bytes(content)


def sql(*statements: str) -> Callable[[Path], None]:
    return lambda record: tamper(record, *statements)


def without_trigger(record: Path) -> None:
    connection = sqlite3.connect(record)
    connection.execute("DROP TRIGGER tie_no_update")
    connection.commit()
    connection.close()


TIE = "(SELECT min(entry_id) FROM tie)"
NEXT_TIE = "(SELECT min(entry_id) FROM tie WHERE entry_id > (SELECT min(entry_id) FROM tie))"
LAST = "(SELECT max(id) FROM entry WHERE property_id = 1)"

TAMPERED: dict[str, tuple[Callable[[Path], None], str]] = {
    "a reading changed": (sql(f"UPDATE tie SET distance_m = 7.2 WHERE entry_id = {TIE}"), "it was altered"),
    "a row removed": (
        sql(f"DELETE FROM entry WHERE id = {TIE}", "DELETE FROM tie WHERE entry_id NOT IN (SELECT id FROM entry)"),
        "is missing",
    ),
    "the values of a row removed": (sql(f"DELETE FROM tie WHERE entry_id = {TIE}"), "its values are missing"),
    "a row inserted": (
        sql(
            "INSERT INTO entry SELECT id + 100, property_id, seq + 1, kind, position, sheet, row, who, at_utc, "
            f"at_local, NULL, withdrawn, reason, hash, 'ab' FROM entry WHERE id = {LAST}",
            f'INSERT INTO tie SELECT {LAST}, from_, "to", distance_as_read, 9.9, distance_step_m, side_word, side_a, '
            f'side_b, held, drop_as_read, drop_m, drop_step_m, note, "on" FROM tie WHERE entry_id = {TIE}',
        ),
        "its count was altered",
    ),
    "two rows swapped": (
        sql(
            f"UPDATE tie SET entry_id = -1 WHERE entry_id = {TIE}",
            "UPDATE tie SET entry_id = (SELECT min(id) FROM entry WHERE kind = 'tie') WHERE entry_id = "
            "(SELECT min(entry_id) FROM tie WHERE entry_id > 0)",
            "UPDATE tie SET entry_id = (SELECT min(id) + 1 FROM entry WHERE kind = 'tie') WHERE entry_id = -1",
        ),
        "it was altered",
    ),
    "two entries swapped": (
        sql(
            f"UPDATE entry SET seq = 1000 WHERE id = {TIE}",
            f"UPDATE entry SET seq = seq - 1 WHERE id = {NEXT_TIE}",
            "UPDATE entry SET seq = (SELECT max(seq) + 1 FROM entry WHERE property_id = 1 AND kind = 'tie' "
            "AND seq < 1000 AND sheet <> 'prompt') WHERE seq = 1000",
        ),
        "does not follow from the entry before it",
    ),
    "a photo altered by one bit": (alter_photo, "was altered"),
    "a photo removed": (lambda record: photo_files(record)[0].unlink(), "is missing"),
    "two photos swapped": (swap_photos, "was altered"),
    "another photo named": (
        sql("UPDATE photo SET sha256 = replace(sha256, substr(sha256, 1, 8), '00000000') WHERE rowid = 1 OR TRUE"),
        "it was altered",
    ),
    "a table dropped": (sql("DROP TABLE site_reading"), "the table site_reading is missing"),
    "the table of entries dropped": (sql("DROP TABLE entry"), "the table entry is missing"),
    "a trigger dropped": (without_trigger, "the trigger tie_no_update is missing"),
    "an index dropped": (sql("DROP INDEX entry_by_kind"), "the index entry_by_kind is missing"),
    "a column added": (
        sql("ALTER TABLE tie ADD COLUMN mood TEXT"),
        "the table tie is not as this version makes it",
    ),
    "a table added": (sql("CREATE TABLE notes (words TEXT)"), "the table notes is none of ours"),
    "the head changed": (
        sql("UPDATE property SET head = 'ab' WHERE id = 1"),
        "the property's last hash is not that of its last entry",
    ),
    "the time of an entry changed": (
        sql("UPDATE entry SET at_utc = '2020-01-01T00:00:00.000000Z' WHERE id = 2"),
        "it was altered",
    ),
    "the local time of an entry changed": (
        sql("UPDATE entry SET at_local = '2020-01-01T00:00:00+00:00' WHERE id = 2"),
        "it was altered",
    ),
    "the hash before an entry changed": (
        sql("UPDATE entry SET prev_hash = 'ab' WHERE id = 2"),
        "does not follow from the entry before it",
    ),
    "another author": (sql("UPDATE entry SET who = 'somebody' WHERE id = 2"), "it was altered"),
    "another reason": (sql(f"UPDATE entry SET reason = 'none' WHERE id = {LAST}"), "it was altered"),
    "a correction taken for no correction": (
        sql("UPDATE entry SET supersedes = NULL WHERE supersedes IS NOT NULL"),
        "it was altered",
    ),
    "a property renamed": (
        sql("UPDATE property SET name = 'Elsewhere' WHERE id = 2"),
        "the property is called 'Elsewhere'",
    ),
    "a property removed with all that is in it": (
        sql(
            "DELETE FROM tie WHERE entry_id IN (SELECT id FROM entry WHERE property_id = 1)",
            *(
                f"DELETE FROM {table} WHERE entry_id IN (SELECT id FROM entry WHERE property_id = 1)"
                for table in ("property_facts", "reference_point", "wall", "point", "component", "household")
            ),
            "DELETE FROM service_entry WHERE entry_id IN (SELECT id FROM entry WHERE property_id = 1)",
            "DELETE FROM photo",
            "DELETE FROM due_state WHERE property_id = 1",
            "DELETE FROM due_property WHERE property_id = 1",
            "DELETE FROM entry WHERE property_id = 1",
            "DELETE FROM property WHERE id = 1",
        ),
        "the file has no property with the number 1",
    ),
    "a property added": (
        sql("INSERT INTO property VALUES (3, 'Nowhere', 0, '')"),
        "the property 'Nowhere' has no entry at all",
    ),
    "an entry moved to the other property": (
        sql("UPDATE entry SET property_id = 2, seq = 500 WHERE id = 3"),
        "is missing",
    ),
    "the last entry taken off, and count and head with it": (
        sql(
            f"DELETE FROM tie WHERE entry_id = {LAST}",
            "DELETE FROM entry WHERE id = (SELECT max(id) FROM entry)",
            "UPDATE property SET entries = entries - 1, head = (SELECT hash FROM entry WHERE property_id = 1 "
            "ORDER BY seq DESC LIMIT 1) WHERE id = 1",
            "UPDATE due_property SET head = (SELECT head FROM property WHERE id = 1) WHERE property_id = 1",
            "DELETE FROM due_state WHERE property_id = 1",
        ),
        "the kept due list is not what its entries give",
    ),
    "a due date put off": (
        sql("UPDATE due_state SET due_on = '2099-01-01' WHERE due_on < '2099-01-01'"),
        "the kept due list is not what its entries give",
    ),
    "another telephone to call": (
        sql("UPDATE due_property SET phone = '555-0199' WHERE property_id = 2"),
        "the kept due list is not what its entries give",
    ),
    "a page of the file damaged": (damage_page, "the file is damaged"),
}


def test_a_sound_record_passes_and_its_hashes_are_printed(run: Run, record: Path, folder: Path) -> None:
    before = files_below(folder)
    result = run("verify")
    assert (result.exit_code, result.stderr) == (0, "")
    lines = result.stdout.splitlines()
    assert lines[:2] == [
        "asbuilt.db: 2 properties, 23 entries, 2 photos: no fault",
        "6 places of 2 properties reckoned from the record and again from its field sheets, written out and read",
    ]
    found = parsed(run("verify", "--json"))
    assert found["sound"] is True
    assert found["faults"] == []
    assert [(each["name"], each["entries"]) for each in found["properties"]] == [(OTHER, 10), (ONE, 13)]
    assert lines[2] == f"mark of the whole record: {found['mark']}"
    quick = run("verify", "--quick").stdout
    assert quick.startswith("asbuilt.db: 2 properties, 23 entries, 2 photos: no fault\nmark of ")
    assert files_below(folder) == before


def test_a_place_that_does_not_come_out_of_the_sheets_again_is_a_fault(
    run: Run, record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Verify once solved the same rows twice in one process, which could not fail."""
    from asbuilt.record.sheets import again
    from asbuilt.record.sheets.write import sheet_texts as honest

    def careless(known: Any, **words: bool) -> dict[str, str]:
        texts: dict[str, str] = honest(known, **words)
        return texts | {"points.csv": texts["points.csv"].replace('25\' 0""', '25\' 1""')}

    monkeypatch.setattr(again, "sheet_texts", careless)
    result = run("verify")
    assert result.exit_code == 1
    assert f"fault: {OTHER}: septic tank/lid: it comes out 0." in result.stderr
    assert " m away when its field sheets are written out and read again" in result.stderr


def test_sheets_that_cannot_be_read_again_are_named_and_are_no_fault(
    run: Run, record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from asbuilt.errors import Problem, SheetError
    from asbuilt.jobs import verify
    from asbuilt.record.sheets.again import read_again as honest

    def half_filled(known: Any) -> Any:
        if known.property.name == ONE:
            raise SheetError([Problem("walls.csv", 2, "to", "is empty", "it is needed in every row")])
        return honest(known)

    monkeypatch.setattr(verify, "read_again", half_filled)
    result = run("verify")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines()[1:3] == [
        "3 places of 1 of 2 properties reckoned from the record and again from its field sheets, written out and read",
        f"not among them, for its sheets cannot be read again: {ONE}: walls.csv row 2, column to: is empty; it is "
        "needed in every row",
    ]


def test_of_a_large_office_some_properties_are_reckoned_and_it_is_said_how_many(
    run: Run, record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from asbuilt.jobs import verify

    monkeypatch.setattr(verify, "MOST_SOLVED", 1)
    assert run("verify").stdout.splitlines()[1].startswith("3 places of 1 of 2 properties reckoned ")
    assert run("verify", "--every").stdout.splitlines()[1].startswith("6 places of 2 properties reckoned ")


@pytest.mark.parametrize("how", TAMPERED)
def test_tampering_is_found_and_named(run: Run, record: Path, how: str) -> None:
    act, said = TAMPERED[how]
    act(record)
    result = run("verify")
    assert (result.exit_code, said in result.stderr) == (1, True), result.stderr
    faults = parsed(run("verify", "--json"))["faults"]
    assert [line.removeprefix("fault: ") for line in result.stderr.splitlines()] == [
        f"{each['where']}: {each['message']}" for each in faults
    ]


def test_there_are_more_than_twenty_ways_of_tampering() -> None:
    assert len(TAMPERED) >= 20


def test_the_quick_look_finds_what_was_done_to_the_entries(run: Run, record: Path) -> None:
    tamper(record, f"UPDATE tie SET distance_m = 7.2 WHERE entry_id = {TIE}")
    photo_files(record)[0].unlink()
    result = run("verify", "--quick")
    assert result.exit_code == 1
    assert [line.split(":")[1].strip() for line in result.stderr.splitlines()] == [ONE, "record"]


def made_anew(record: Path) -> None:
    """Change a reading and hash the whole chain anew, as somebody could who has the program."""
    from asbuilt.record import chain
    from asbuilt.record.database import open_record

    tamper(record, f"UPDATE tie SET distance_m = 7.2 WHERE entry_id = {TIE}")
    with open_record(record, read_only=True) as opened:
        found = list(chain._found(opened.connection, 1))
    prev, statements = chain.BEGINNING, []
    for entry in found:
        links = {**entry.links, "prev": prev}
        own = chain.entry_hash(links, entry.bodies.get(entry.links["kind"]))
        where = f"property_id = 1 AND seq = {entry.links['seq']}"
        statements.append(f"UPDATE entry SET prev_hash = '{prev}', hash = '{own}' WHERE {where}")
        prev = own
    tamper(record, *statements, f"UPDATE property SET head = '{prev}' WHERE id = 1")
    assert invoke("due", "--rebuild", "--record", record).exit_code == 0


def test_a_chain_made_anew_is_seen_only_by_a_witness_from_outside(run: Run, record: Path, trusted: Path) -> None:
    noted = next(each["head"] for each in parsed(run("verify", "--json"))["properties"] if each["name"] == ONE)
    assert run("verify", "--head", noted, "--head", noted[:16].upper(), "--against", trusted).exit_code == 0
    made_anew(record)
    assert run("verify").exit_code == 0  # nothing in the file itself can tell
    result = run("verify", "--head", noted, "--against", trusted)
    assert result.exit_code == 1
    assert result.stderr.splitlines() == [
        f"fault: record: no entry has the hash {noted}: what was noted is no longer in the record",
        f"fault: {ONE}: from entry 6 on the record says otherwise than {trusted}",
    ]


def test_what_was_noted_still_stands_after_more_was_recorded(run: Run, record: Path, trusted: Path) -> None:
    noted = next(each["head"] for each in parsed(run("verify", "--json"))["properties"] if each["name"] == ONE)
    run("withdraw", ONE, "septic tank/lid", "--from", "A", "--reason", "nail gone")
    result = run("verify", "--head", noted, "--against", trusted)
    assert (result.exit_code, result.stderr) == (0, "")
    said = result.stdout.splitlines()[-2:]
    assert said[0].startswith(f"{noted}: entry 13 of {ONE}, made ")
    assert said[1] == f"{trusted}: all of its 23 entries are in the record as they were"


def test_a_record_that_lacks_what_the_other_copy_has_is_told_so(run: Run, record: Path) -> None:
    copy = record.with_name("copy.db")
    copy.write_bytes(record.read_bytes())
    run("withdraw", ONE, "septic tank/lid", "--from", "A", "--reason", "nail gone", "--record", copy)
    result = run("verify", "--against", copy)
    assert result.exit_code == 1
    assert result.stderr == f"fault: {ONE}: entry 14 of {copy}: not in the record\n"


@pytest.mark.parametrize("words", ["abc", "g" * 16, "a" * 65])
def test_what_is_no_hash_is_refused(run: Run, record: Path, words: str) -> None:
    result = run("verify", "--head", words)
    assert result.exit_code == 2
    assert result.stderr == f"asbuilt: --head {words}: this is no hash; accepted: 16 to 64 digits 0-9 and a-f\n"


def test_a_version_that_the_tables_do_not_have_is_refused(run: Run, record: Path) -> None:
    tamper(record, "PRAGMA user_version = 1")
    result = run("verify")
    assert result.exit_code == 2
    assert result.stderr.startswith("asbuilt: asbuilt.db: it says that it is of version 1, and its tables are not: ")

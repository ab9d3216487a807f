"""The record: what goes in comes out, corrections supersede, and nothing is lost or overwritten."""

import multiprocessing
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any, get_type_hints

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt.errors import ChangedSheetsError, Problem, RecordError, UnknownNameError
from asbuilt.model.components import Component
from asbuilt.model.measurements import Side, Tie, Wall
from asbuilt.model.place import ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record import connections, schema
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import Record, open_record
from asbuilt.record.entries import property_names, read_all, read_property
from asbuilt.record.loading import LoadOutcome, store_sheets
from asbuilt.record.nouns import NOUNS, noun_of
from asbuilt.record.rows import row_codec, to_row
from asbuilt.units import Length
from tests.record_samples import NOON, SAMPLE, Row, feet, named, sheet_rows

NAME = SAMPLE.property.name
ROWS = len(sheet_rows(SAMPLE))


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    with open_record(tmp_path / "asbuilt.db", create=True) as opened:
        yield opened


@pytest.fixture
def loaded(record: Record) -> Record:
    load(record, SAMPLE)
    return record


def load(
    record: Record, known: PropertyRecord, reason: str | None = None, after_h: float = 0, seen: int | None = None
) -> LoadOutcome:
    now = NOON + timedelta(hours=after_h)
    return store_sheets(record, sheet_rows(known), who="tester", now=now, supersede=reason, seen=seen)


def count(record: Record, table: str = "entry") -> int:
    return record.db.table(table).count


def refusal(what: Any, error: type[Exception] = RecordError) -> str:
    with pytest.raises(error) as caught:
        what()
    return str(caught.value)


# ---------------------------------------------------------------- in and out


def values_of(hint: Any) -> st.SearchStrategy[Any]:
    """Any value that a field with this type hint may hold."""
    plain = {
        str: st.text(max_size=20),
        float: st.floats(allow_nan=False, allow_infinity=False),
        int: st.integers(-(2**63), 2**63 - 1),
        bool: st.booleans(),
        date: st.dates(),
        type(None): st.none(),
    }
    if hint in plain:
        return plain[hint]
    if is_dataclass(hint):
        hints = get_type_hints(hint)
        return st.builds(hint, **{field.name: values_of(hints[field.name]) for field in fields(hint)})
    return st.one_of([values_of(each) for each in hint.__args__])


@pytest.mark.parametrize("noun", NOUNS, ids=lambda noun: noun.kind)
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_any_value_of_the_model_comes_back_from_its_row(noun: Any, data: st.DataObject) -> None:
    value = data.draw(values_of(noun.cls))
    codec, row = row_codec(noun.cls), to_row(value)
    assert codec.value([row[name] for name in codec.names]) == value


@given(data=st.data())
@settings(max_examples=25, deadline=None)
def test_any_property_comes_back_from_the_file_and_its_chain_agrees(data: st.DataObject) -> None:
    known = PropertyRecord(
        property=data.draw(values_of(NOUNS[0].cls)),
        **{
            noun.field: tuple(
                data.draw(
                    st.lists(
                        values_of(noun.cls),
                        max_size=3,
                        unique_by=(lambda it: it.name) if noun.kind == "component" else None,
                    )
                )
            )
            for noun in NOUNS[1:]
        },
    )
    with tempfile.TemporaryDirectory() as folder:
        with open_record(Path(folder) / "r.db", create=True) as record:
            load(record, known)
            before = count(record)
            load(record, known)
            assert count(record) == before
        with open_record(Path(folder) / "r.db", read_only=True) as record:
            name = known.property.name
            assert read_property(record, name) == known
            assert list(read_all(record)) == [known]
            assert verify_chain(record, name) == []


def test_a_full_property_comes_back_row_by_row_in_the_order_of_the_sheets(loaded: Record) -> None:
    assert read_property(loaded, NAME) == SAMPLE
    for field in fields(SAMPLE):
        full = getattr(SAMPLE, field.name) or field.name == "left_out"  # only drafts have that: the next test
        assert full, f"the sample has no {field.name}, so this test says nothing of it"


def test_a_draft_comes_back_with_what_was_left_out_of_it(record: Record) -> None:
    bad = Problem("points.csv", 9, "tape2", "“23.5” could be tenths of a foot or inches", "write 23.5'")
    draft = replace(SAMPLE, property=replace(SAMPLE.property, draft=True), left_out=(bad,))
    store_sheets(record, sheet_rows(draft), who="tester", now=NOON)
    assert read_property(record, NAME) == draft
    assert verify_chain(record, NAME) == []


def test_what_was_read_stands_in_the_file_beside_the_metres(loaded: Record) -> None:
    row = loaded.connection.execute("SELECT distance_as_read, distance_m, side_word, side_a FROM tie").fetchone()
    assert row == ("23.4 ft", pytest.approx(7.13232, abs=1e-12), "right", "A")


def test_a_side_keeps_its_names_also_where_its_text_would_be_ambiguous(record: Record) -> None:
    sides = [Side("left", "A > B", "C"), Side("left", "A", "B > C"), Side("out", "A", "B"), Side("out")]
    known = replace(SAMPLE, ties=tuple(Tie("A", f"p{n}", feet(9), side) for n, side in enumerate(sides)))
    load(record, known)
    assert [tie.side for tie in read_property(record, NAME).ties] == sides


@pytest.mark.parametrize(
    ("tie", "said"),
    [
        (
            Tie("A", "lid", Length("?", float("nan"), 0.1)),
            "Length, metres: nan cannot be recorded; accepted: a finite number",
        ),
        (
            Tie("A", "lid", Length("?", float("inf"), 0.1)),
            "Length, metres: inf cannot be recorded; accepted: a finite number",
        ),
        (
            Tie("A", "\ud800", feet(1)),
            r"Tie, to: '\ud800' cannot be recorded; accepted: text of whole characters "
            "(this one has half a character in it)",
        ),
    ],
)
def test_a_value_that_the_record_cannot_keep_exactly_is_refused(record: Record, tie: Tie, said: str) -> None:
    assert refusal(lambda: load(record, replace(SAMPLE, ties=(tie,)))) == said
    assert property_names(record) == []


def test_a_clock_time_is_no_day_true_is_no_number_and_none_is_no_name() -> None:
    component = Component("tank", "tank", installed_on=datetime(2026, 1, 1, 8, 0))
    assert "accepted: a day without a clock time" in refusal(lambda: to_row(component))
    assert "accepted: a finite number" in refusal(lambda: to_row(Component("tank", "tank", volume_gal=True)))
    nameless = Component(None, "tank")  # type: ignore[arg-type]
    assert refusal(lambda: to_row(nameless)) == "Component, name: None cannot be recorded; accepted: text"


def test_many_properties_come_one_after_the_other_each_with_its_own_rows(record: Record) -> None:
    known = [
        named("one"),
        replace(named("two"), ties=(), walls=()),
        named("three"),
        replace(named("four"), service=(), household=(), ties=SAMPLE.ties[:1]),
    ]
    for each in known:
        load(record, each)
    load(record, replace(known[0], ties=SAMPLE.ties[1:]), "a tape less", after_h=1)
    known[0] = replace(known[0], ties=SAMPLE.ties[1:])
    assert list(read_all(record)) == known
    assert property_names(record) == ["four", "one", "three", "two"]


def test_a_list_left_half_read_does_no_harm(record: Record) -> None:
    for name in ("one", "two"):
        load(record, named(name))
    half = read_all(record)
    assert next(half).property.name == "one"
    with pytest.raises(RuntimeError, match="still being read"), record.write():
        pass
    half.close()
    load(record, named("three"))
    another = read_all(record)
    next(another)
    record.close()
    another.close()


def test_an_unknown_name_brings_a_guess_and_a_few_names(record: Record) -> None:
    path = record.path
    assert refusal(lambda: read_property(record, "x"), UnknownNameError) == (
        f"no property 'x': {path} holds none yet; `asbuilt load` adds one"
    )
    for number in range(7):
        load(record, named(f"Invented Lane {number}"))
    assert refusal(lambda: read_property(record, "invented lane 3"), UnknownNameError) == (
        f"no property 'invented lane 3' in {path}; did you mean 'Invented Lane 3'? It holds 'Invented Lane 0', "
        "'Invented Lane 1', 'Invented Lane 2', 'Invented Lane 3', 'Invented Lane 4' and 2 more"
    )
    assert refusal(lambda: read_property(record, "qqq"), UnknownNameError).startswith(
        f"no property 'qqq' in {path}. It holds 'Invented Lane 0', "
    )


def test_a_reading_whose_values_are_gone_is_an_error_and_not_left_out(loaded: Record) -> None:
    tamper(loaded.path, "DELETE FROM tie WHERE distance_as_read = '27 ft'")
    with open_record(loaded.path, read_only=True) as again:
        said = refusal(lambda: read_property(again, NAME))
        assert said == f"{loaded.path}: the values of entry 12 (tie, ties.csv) are missing"
        assert refusal(lambda: list(read_all(again))) == said


def tamper(path: Path, *statements: str) -> None:
    """Do what somebody with an SQLite shell could do."""
    connection = sqlite3.connect(path)
    names = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for (name,) in names:
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()


# ------------------------------------------------------- again, and corrected


def test_first_load_counts_its_rows_and_says_who_when_and_whence(record: Record) -> None:
    local = NOON.astimezone(timezone(timedelta(hours=-5)))
    outcome = store_sheets(record, sheet_rows(SAMPLE), who="me", now=local)
    assert outcome == LoadOutcome(NAME, added=ROWS)
    assert outcome.wrote()
    rows = record.connection.execute("SELECT DISTINCT who, at_utc, at_local, reason FROM entry").fetchall()
    assert rows == [("me", "2026-05-04T12:00:00.000000Z", "2026-05-04T07:00:00-05:00", None)]
    last = record.connection.execute("SELECT kind, sheet, row FROM entry ORDER BY seq DESC").fetchone()
    row = sheet_rows(SAMPLE)[-1]
    assert last == (noun_of(row.value).kind, row.sheet, row.row)


def test_identical_sheets_write_nothing(loaded: Record) -> None:
    loaded.close()
    before = loaded.path.read_bytes(), loaded.path.stat().st_mtime_ns
    with open_record(loaded.path, create=True) as again:
        moved = [Row(row.sheet, 99, row.value) for row in reversed(sheet_rows(SAMPLE, but=["walls"]))]
        walls = [row for row in sheet_rows(SAMPLE) if isinstance(row.value, Wall)]
        outcome = store_sheets(again, moved + walls, who="other", now=NOON, supersede="no need")
        assert again.connection.total_changes == 0
        wal = loaded.path.with_name("asbuilt.db-wal")
        assert not wal.exists() or wal.stat().st_size == 0
    assert outcome == LoadOutcome(NAME, unchanged=ROWS)
    assert not outcome.wrote()
    assert (loaded.path.read_bytes(), loaded.path.stat().st_mtime_ns) == before


CHANGED = replace(
    SAMPLE,
    ties=(
        SAMPLE.ties[0],
        # The same pair, named the other way round: a tape has no direction.
        Tie("septic tank/inlet lid", "B", feet(19.1), drop=feet(2)),
        SAMPLE.ties[2],
        Tie("pin", "septic tank/outlet lid", feet(31), held="slope"),
    ),
    service=(),
)


def test_changed_sheets_are_refused_with_the_difference_shown(loaded: Record) -> None:
    assert refusal(lambda: load(loaded, CHANGED), ChangedSheetsError).splitlines() == [
        "Invented Lane 7: the sheets (+) differ from what is recorded (-); nothing was stored",
        "- tie B to septic tank/inlet lid (ties.csv row 3): "
        "from B, to septic tank/inlet lid, distance 18.1 ft, side out",
        "+ tie septic tank/inlet lid to B (ties.csv row 3): "
        "from septic tank/inlet lid, to B, distance 19.1 ft, side blank",
        "+ tie pin to septic tank/outlet lid (ties.csv row 5): "
        "from pin, to septic tank/outlet lid, distance 31 ft, held slope",
        "- tie A to septic tank/outlet lid (ties.csv row 5)",
        "- pump-out of septic tank on 2023-07-01 (service.csv row 2)",
        "to store them as a correction, give the reason: --supersede REASON",
    ]
    assert count(loaded) == ROWS
    assert read_property(loaded, NAME) == SAMPLE


def test_a_long_difference_is_cut_and_says_how_much_more_there_is(loaded: Record) -> None:
    more = tuple(ReferencePoint(f"stake {number}") for number in range(30))
    known = replace(SAMPLE, reference_points=SAMPLE.reference_points + more)
    lines = refusal(lambda: load(loaded, known), ChangedSheetsError).splitlines()
    assert len(lines) == 23
    assert lines[1] == "+ reference point stake 0 (reference_points.csv row 5): name stake 0"
    assert lines[21] == "... and 10 more lines"


def test_with_a_reason_changed_sheets_supersede_and_the_old_ones_stay_readable(loaded: Record) -> None:
    assert load(loaded, CHANGED, "taped again", after_h=2) == LoadOutcome(NAME, 1, 1, 2, ROWS - 3)
    assert read_property(loaded, NAME) == CHANGED
    assert read_property(loaded, NAME, at=NOON + timedelta(hours=1)) == SAMPLE
    assert read_property(loaded, NAME, at=NOON + timedelta(hours=2)) == CHANGED
    assert count(loaded) == ROWS + 4
    assert count(loaded, "tie") == 6
    new = loaded.connection.execute(
        """SELECT e.kind, e.withdrawn, e.reason, old.kind, old.seq < e.seq FROM entry e
           LEFT JOIN entry old ON old.id = e.supersedes WHERE e.seq > ? ORDER BY e.seq""",
        (ROWS,),
    ).fetchall()
    assert new == [
        ("tie", 0, "taped again", "tie", 1),
        ("tie", 0, "taped again", None, None),
        ("tie", 1, "taped again", "tie", 1),
        ("service", 1, "taped again", "service", 1),
    ]
    assert verify_chain(loaded, NAME) == []


def test_what_was_withdrawn_can_come_again_and_every_state_can_be_read(loaded: Record) -> None:
    states = [SAMPLE, CHANGED, SAMPLE, replace(SAMPLE, ties=()), CHANGED]
    for hours, known in enumerate(states[1:], start=1):
        load(loaded, known, "back and forth", after_h=hours, seen=count(loaded))
    for hours, known in enumerate(states):
        assert read_property(loaded, NAME, at=NOON + timedelta(hours=hours, minutes=30)) == known
    assert verify_chain(loaded, NAME) == []


def test_before_the_first_entry_nothing_was_known(loaded: Record) -> None:
    at = NOON - timedelta(minutes=1)
    assert refusal(lambda: read_property(loaded, NAME, at), UnknownNameError) == (
        "'Invented Lane 7' was not yet in the record on 2026-05-04 11:59+00:00"
    )
    with pytest.raises(ValueError, match="has no time zone"):
        read_property(loaded, NAME, datetime(2026, 1, 1))


def test_a_clock_set_back_never_mixes_two_states(loaded: Record) -> None:
    load(loaded, CHANGED, "the clock was three hours fast before", after_h=-3)
    assert read_property(loaded, NAME) == CHANGED
    assert read_property(loaded, NAME, at=NOON - timedelta(hours=2)) == CHANGED
    assert verify_chain(loaded, NAME) == []


def test_a_wall_put_into_the_walk_stands_at_its_place_and_disturbs_no_other(loaded: Record) -> None:
    first, second = SAMPLE.walls
    longer = replace(SAMPLE, walls=(first, Wall("B", "B2", feet(5), "0", 0.0), second))
    assert load(loaded, longer, "forgot one") == LoadOutcome(NAME, added=1, unchanged=ROWS)
    before = Wall("Z", "A", feet(3), "R", -90.0)
    longest = replace(longer, walls=(before, *longer.walls, Wall("C", "D", feet(3), "R", -90.0)))
    assert load(loaded, longest, "two more") == LoadOutcome(NAME, added=2, unchanged=ROWS + 1)
    assert read_property(loaded, NAME) == longest


def test_walls_in_another_order_are_another_walk(loaded: Record) -> None:
    turned = replace(SAMPLE, walls=SAMPLE.walls[::-1])
    assert "its place in the order" in refusal(lambda: load(loaded, turned), ChangedSheetsError)
    assert load(loaded, turned, "walked the other way").superseded == 1
    assert read_property(loaded, NAME) == turned


def test_reference_points_in_another_order_matter_only_where_the_first_is_the_origin(record: Record) -> None:
    bare = replace(SAMPLE, walls=(), property=replace(SAMPLE.property, earth=None))
    load(record, bare)
    other = replace(bare, reference_points=bare.reference_points[::-1])
    assert "its place in the order" in refusal(lambda: load(record, other), ChangedSheetsError)
    load(record, other, "measured from the pin")
    assert read_property(record, NAME) == other


def test_a_hundred_walls_put_in_at_one_place_still_stand_in_order(record: Record) -> None:
    known = replace(SAMPLE, walls=(Wall("0", "1", feet(1), "L", 90.0), Wall("z", "0", feet(1), "L", 90.0)))
    load(record, known)
    for number in range(1, 101):
        new = Wall(str(number), str(number + 1), feet(1), "L", 90.0)
        known = replace(known, walls=(*known.walls[:-1], new, known.walls[-1]))
        load(record, known, "one more")
        assert read_property(record, NAME).walls == known.walls
    assert verify_chain(record, NAME) == []


def test_a_reason_must_be_words_and_must_have_something_to_supersede(loaded: Record) -> None:
    assert "reason for superseding is blank" in refusal(lambda: load(loaded, CHANGED, "  "))
    said = refusal(lambda: load(loaded, named("Invented Lane 8"), "a slip"), UnknownNameError)
    assert "did you mean 'Invented Lane 7'?" in said
    assert property_names(loaded) == [NAME]


def test_sheets_must_describe_one_property(record: Record) -> None:
    rows = sheet_rows(SAMPLE)
    for wrong, number in ((rows[1:], 0), ([*rows, rows[0]], 2)):
        assert refusal(lambda wrong=wrong: store_sheets(record, wrong, who="me", now=NOON)) == (
            f"the sheets describe {number} properties; accepted: one, in property.toml"
        )
    stray = [*rows, Row("x.csv", 2, feet(1))]
    said = refusal(lambda: store_sheets(record, stray, who="me", now=NOON))
    assert said == "the record has no table for a Length"


def test_two_components_of_one_name_at_one_time_are_refused_and_nothing_is_stored(loaded: Record) -> None:
    old, new, other = SAMPLE.components
    standing = replace(SAMPLE, components=(replace(old, removed_on=None), new, other))
    assert refusal(lambda: load(loaded, standing, "still there")) == (
        "Invented Lane 7: two components are called 'septic tank' at one time (from the beginning to now; "
        "from 2020-06-01 to now); give the older one removed_on, or one of them another name"
    )
    assert read_property(loaded, NAME) == SAMPLE
    assert count(loaded) == ROWS
    assert verify_chain(loaded, NAME) == []


def test_the_moment_needs_its_time_zone(record: Record) -> None:
    with pytest.raises(ValueError, match="has no time zone"):
        store_sheets(record, sheet_rows(SAMPLE), who="me", now=datetime(2026, 1, 1))
    assert property_names(record) == []


# ------------------------------------------------------------------ the file


def test_only_who_asks_for_it_makes_a_record(tmp_path: Path) -> None:
    path = tmp_path / "mistyped.db"
    for read_only in (False, True):
        said = refusal(lambda read_only=read_only: open_record(path, read_only=read_only))
        assert said == f"{path}: no record there; `asbuilt load` makes one (looked for {path})"
    path.touch()
    assert "no record there" in refusal(lambda: open_record(path))
    assert list(tmp_path.iterdir()) == [path]
    assert path.read_bytes() == b""
    with pytest.raises(ValueError, match="a command that writes"):
        open_record(path, create=True, read_only=True)


def test_a_new_record_is_for_its_owner_only(tmp_path: Path) -> None:
    mask = os.umask(0)
    try:
        with open_record(tmp_path / "r.db", create=True) as record:
            load(record, SAMPLE)
            modes = {path.name: path.stat().st_mode & 0o777 for path in tmp_path.iterdir()}
    finally:
        os.umask(mask)
    assert set(modes) >= {"r.db", "r.db-wal"}
    assert set(modes.values()) == {0o600}


def test_a_record_cannot_be_made_where_there_is_no_folder(tmp_path: Path) -> None:
    path = tmp_path / "none" / "r.db"
    said = refusal(lambda: open_record(path, create=True))
    assert said == f"{path}: no record could be made there (there is no folder {path.parent})"


def test_odd_names_of_files_are_only_names(tmp_path: Path) -> None:
    path = tmp_path / "what? 100% #1;&mode=memory.db"
    with open_record(path, create=True) as record:
        load(record, SAMPLE)
    assert [each.name for each in tmp_path.iterdir()] == [path.name]
    with open_record(path, read_only=True) as record:
        assert read_property(record, NAME) == SAMPLE


def other_database(path: Path, *statements: str) -> None:
    connection = sqlite3.connect(path)
    for statement in ("CREATE TABLE t (x)", *statements):
        connection.execute(statement)
    connection.commit()
    connection.close()


@pytest.mark.parametrize("how", [{}, {"create": True}, {"read_only": True}])
@pytest.mark.parametrize("kind", ["text", "short", "sqlite", "sqlite in WAL", "newer", "folder"])
def test_what_is_no_record_of_ours_is_refused_and_left_as_it_is(tmp_path: Path, kind: str, how: Any) -> None:
    path = tmp_path / "other"
    said = "this is not an SQLite file, so it is no record; it was left as it is"
    if kind == "text":
        path.write_text("component,point\n" * 100)
    elif kind == "short":
        path.write_text("x")
    elif kind.startswith("sqlite"):
        other_database(path, *(["PRAGMA journal_mode = WAL"] if "WAL" in kind else []))
        said = "this SQLite file belongs to another program; it was left as it is"
    elif kind == "newer":
        with open_record(path, create=True) as record:
            load(record, SAMPLE)
        other_database(path, "PRAGMA user_version = 99")
        said = (
            f"this record is of version 99 and this program knows versions up to {schema.VERSION}; "
            "use a newer asbuilt (the record was left as it is)"
        )
    else:
        path.mkdir()
        said = "this is a folder; a record is one SQLite file"
    before = path.read_bytes() if path.is_file() else None
    assert refusal(lambda: open_record(path, **how)) == f"{path}: {said}"
    assert (path.read_bytes() if path.is_file() else None) == before
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("sound_pages", [1, 15])
def test_a_damaged_file_is_said_to_be_damaged(loaded: Record, sound_pages: int) -> None:
    loaded.close()
    whole = loaded.path.read_bytes()
    loaded.path.write_bytes(whole[: sound_pages * 4096].ljust(len(whole), b"\xff"))

    def read() -> None:
        with open_record(loaded.path, read_only=True) as record:
            read_property(record, NAME)

    assert "the file is damaged" in refusal(read)


def test_every_table_is_strict_and_foreign_keys_are_on(loaded: Record) -> None:
    tables = loaded.connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'").fetchall()
    assert {name for name, _ in tables} == {
        "property",
        "entry",
        "_sqlite_migrations",
        "due_property",
        "due_state",
        *(noun.table for noun in NOUNS),
    }
    assert [name for name, sql in tables if not sql.upper().endswith("STRICT")] == []
    assert loaded.connection.execute("PRAGMA foreign_keys").fetchone() == (1,)
    assert loaded.connection.execute("PRAGMA foreign_key_check").fetchall() == []
    said = refusal(
        lambda: write(loaded, lambda db: db.table("wall").insert({"entry_id": 999, **to_row(SAMPLE.walls[0])}))
    )
    assert said == (
        f"{loaded.path}: the record's own rules forbid this (FOREIGN KEY constraint failed); nothing was stored"
    )


@pytest.mark.parametrize("noun", NOUNS, ids=lambda noun: noun.kind)
def test_the_tables_have_the_fields_of_the_model(record: Record, noun: Any) -> None:
    """If this fails the model has grown: once released, add a step to schema.py, do not change an old one."""
    rows = record.connection.execute(f"PRAGMA table_info({noun.table})").fetchall()
    there = [(name, kind, bool(required)) for _, name, kind, required, _, _ in rows]
    wanted = [(column.name, column.sql_type, column.required) for column in row_codec(noun.cls).columns]
    assert there[0][:2] == ("entry_id", "INTEGER")
    assert sorted(there[1:]) == sorted(wanted)  # columns of later steps stand at the end of their table


def write(record: Record, act: Any) -> None:
    with record.write() as db:
        act(db)


@pytest.mark.parametrize("statement", ["UPDATE tie SET distance_m = 1", "DELETE FROM entry", "DELETE FROM wall"])
def test_no_statement_of_ours_can_change_or_remove_an_entry(loaded: Record, statement: str) -> None:
    assert "entries are only added" in refusal(lambda: write(loaded, lambda db: db.execute(statement)))
    assert read_property(loaded, NAME) == SAMPLE


def test_an_entry_is_superseded_once_only(loaded: Record) -> None:
    load(loaded, CHANGED, "first")
    double = "INSERT INTO entry SELECT id + 1000, property_id, seq + 1000, kind, position, sheet, row, who, at_utc, "
    double += "at_local, supersedes, withdrawn, reason, prev_hash, hash FROM entry WHERE supersedes IS NOT NULL"
    assert "UNIQUE constraint failed: entry.supersedes" in refusal(lambda: write(loaded, lambda db: db.execute(double)))


def test_reading_one_property_and_all_uses_the_indexes(loaded: Record) -> None:
    asked: list[str] = []
    loaded.connection.set_trace_callback(asked.append)
    read_property(loaded, NAME)
    list(read_all(loaded))
    loaded.connection.set_trace_callback(None)
    queries = [text for text in asked if text.startswith("SELECT") and " FROM entry e" in text]
    assert len(queries) == 2 * len(NOUNS)
    for query in queries:
        plan = [row[3] for row in loaded.connection.execute(f"EXPLAIN QUERY PLAN {query}")]
        assert any(step.startswith("SEARCH e USING INDEX entry_by_kind") for step in plan), plan
        assert not any(step.startswith("SCAN") or "TEMP B-TREE" in step for step in plan), plan


# -------------------------------------------------------------- transactions


def test_a_write_that_fails_leaves_nothing(loaded: Record) -> None:
    class StopError(Exception):
        pass

    def fails(db: Any) -> None:
        db.table("property").insert({"name": "half", "entries": 0, "head": ""})
        assert count(loaded, "property") == 2
        raise StopError

    with pytest.raises(StopError):
        write(loaded, fails)
    assert property_names(loaded) == [NAME]
    assert load(loaded, named("whole")).added == ROWS


def test_a_full_disk_is_said_and_nothing_is_stored(loaded: Record) -> None:
    pages = loaded.connection.execute("PRAGMA page_count").fetchone()[0]
    loaded.connection.execute(f"PRAGMA max_page_count = {pages}")
    many = replace(named("large"), ties=tuple(Tie("A", f"p{n}", feet(n + 1)) for n in range(500)))
    said = refusal(lambda: load(loaded, many))
    assert said == f"{loaded.path}: the disk is full; make room and try again; nothing was stored"
    assert property_names(loaded) == [NAME]
    assert verify_chain(loaded, NAME) == []


def test_a_busy_record_is_waited_for_and_then_refused_clearly(loaded: Record) -> None:
    with open_record(loaded.path, wait_s=0.2) as second, loaded.write():
        said = refusal(lambda: load(second, named("late")))
        assert said == (
            f"{loaded.path}: another program is using it and did not finish within 0.2 s; "
            "try again in a moment; nothing was stored"
        )
        # Readers do not wait for the writer.
        assert read_property(second, NAME) == SAMPLE
        with open_record(loaded.path, read_only=True, wait_s=0) as reader:
            assert read_property(reader, NAME) == SAMPLE


def test_a_reader_sees_one_state_although_somebody_writes_meanwhile(loaded: Record) -> None:
    with open_record(loaded.path, read_only=True) as reader:
        with reader.read():
            assert read_property(reader, NAME) == SAMPLE
            load(loaded, CHANGED, "meanwhile")
            assert read_property(reader, NAME) == SAMPLE
        assert read_property(reader, NAME) == CHANGED


def test_a_change_made_between_looking_and_writing_is_seen(loaded: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other writer comes in just after the first comparison."""
    from asbuilt.record import loading

    compare_once, other = loading._changes, open_record(loaded.path)
    calls = []

    def late(record: Record, *args: Any, **kwargs: Any) -> Any:
        changes = compare_once(record, *args, **kwargs)
        if not calls:
            calls.append(1)
            load(other, named("new"))
        return changes

    monkeypatch.setattr(loading, "_changes", late)
    changed = replace(named("new"), ties=())
    with other:
        assert "differ from what is recorded" in refusal(lambda: load(loaded, changed), ChangedSheetsError)
        assert read_property(loaded, "new") == named("new")


def load_in_a_process(path: Path, who: int, loads: int) -> None:
    with open_record(path, create=True, wait_s=60) as record:
        for number in range(loads):
            load(record, named(f"{who}/{number}"))


def test_processes_that_create_and_write_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "r.db"
    context = multiprocessing.get_context("spawn")
    workers = [context.Process(target=load_in_a_process, args=(path, who, 8)) for who in range(2)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
    assert [worker.exitcode for worker in workers] == [0, 0]
    with open_record(path, read_only=True) as record:
        names = {f"{who}/{number}" for who in range(2) for number in range(8)}
        assert set(property_names(record)) == names
        assert count(record) == len(names) * ROWS
        assert [fault for name in names for fault in verify_chain(record, name)] == []


# ------------------------------------------------------------------- reading


def test_reading_changes_no_byte_and_leaves_no_file(loaded: Record) -> None:
    loaded.close()
    before = loaded.path.read_bytes(), loaded.path.stat().st_mtime_ns
    with open_record(loaded.path, read_only=True) as reader:
        read_property(reader, NAME)
        list(read_all(reader))
        verify_chain(reader, NAME)
        assert refusal(lambda: load(reader, CHANGED, "no")) == (
            f"{loaded.path}: opened for reading only; nothing was stored"
        )
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            reader.connection.execute("DELETE FROM property")
    assert (loaded.path.read_bytes(), loaded.path.stat().st_mtime_ns) == before
    assert list(loaded.path.parent.iterdir()) == [loaded.path]


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """Give a folder that another user can reach, unlike pytest's own."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def as_somebody_without_rights(act: Any) -> str:
    """Run it in a child process that is not root (root may write everywhere) and give what it says."""
    end, start = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            if os.geteuid() == 0:
                os.setuid(65534)
            said = act()
        except BaseException as error:
            said = f"{type(error).__name__}: {error}"
        os.write(start, said.encode())
        os._exit(0)
    os.close(start)
    os.waitpid(child, 0)
    with os.fdopen(end, "rb") as pipe:
        return pipe.read().decode()


def test_a_record_in_a_folder_that_cannot_be_written_can_be_read_but_not_written(open_folder: Path) -> None:
    path = open_folder / "r.db"
    with open_record(path, create=True) as record:
        load(record, SAMPLE)
    path.chmod(0o444)
    open_folder.chmod(0o555)

    def reads() -> str:
        with open_record(path, read_only=True) as reader:
            same = read_property(reader, NAME) == SAMPLE and list(read_all(reader)) == [SAMPLE]
            return f"{same} {verify_chain(reader, NAME)}"

    assert as_somebody_without_rights(reads) == "True []"
    said = as_somebody_without_rights(lambda: str(open_record(path)))
    assert said == f"RecordError: {path}: it, or the folder it lies in, cannot be written by you"
    assert list(open_folder.iterdir()) == [path]


def test_changes_that_stand_beside_a_record_that_cannot_be_written_are_not_overlooked(open_folder: Path) -> None:
    written = open_folder / "written.db"
    path = open_folder / "copied" / "r.db"
    path.parent.mkdir()
    with open_record(written, create=True) as record:
        load(record, SAMPLE)
        for ending in ("", "-wal"):
            shutil.copy(f"{written}{ending}", f"{path}{ending}")
            Path(f"{path}{ending}").chmod(0o444)
    path.parent.chmod(0o555)
    said = as_somebody_without_rights(lambda: str(open_record(path, read_only=True)))
    path.parent.chmod(0o755)
    assert said == (
        f"RecordError: {path}: its last changes stand in r.db-wal beside it and cannot be taken in here; "
        "copy both files to a folder that you can write in and read them there"
    )
    with open_record(path, read_only=True) as reader:
        assert read_property(reader, NAME) == SAMPLE


def test_a_record_that_may_not_be_read_is_refused(open_folder: Path) -> None:
    path = open_folder / "r.db"
    open_record(path, create=True).close()
    path.chmod(0)
    said = as_somebody_without_rights(lambda: str(open_record(path, read_only=True)))
    assert said == f"RecordError: {path}: cannot be read (Permission denied)"


def test_where_write_ahead_logging_cannot_be_had_the_rollback_journal_serves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite's dot-file locking has no shared memory, as some network folders have none."""
    plain = connections._uri
    monkeypatch.setattr(connections, "_uri", lambda path, query: f"{plain(path, query)}&vfs=unix-dotfile")
    path = tmp_path / "r.db"
    with open_record(path, create=True) as record:
        assert record.connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        load(record, SAMPLE)
    with open_record(path, read_only=True) as reader:
        assert read_property(reader, NAME) == SAMPLE
    monkeypatch.undo()
    with open_record(path) as record:
        assert record.connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert read_property(record, NAME) == SAMPLE


# ---------------------------------------------------------------- older ones


@pytest.fixture
def next_version(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Pretend to be the next version of the program, with one more step."""

    def become(*statements: str) -> None:
        monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, ("9999 next", statements)))
        monkeypatch.setattr(schema, "VERSION", len(schema.STEPS))
        schema.migrations.cache_clear()

    yield become
    schema.migrations.cache_clear()


def test_an_older_record_is_read_as_it_is_and_brought_up_to_date_by_a_writer_only(
    loaded: Record, next_version: Any
) -> None:
    loaded.close()
    next_version("ALTER TABLE tie ADD COLUMN weather TEXT")
    before = loaded.path.read_bytes()
    with open_record(loaded.path, read_only=True) as reader:
        assert read_property(reader, NAME) == SAMPLE
        assert reader.connection.execute("SELECT count(weather) FROM tie").fetchone() == (0,)
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            reader.connection.execute("DELETE FROM property")
    assert list(loaded.path.parent.iterdir()) == [loaded.path]
    assert loaded.path.read_bytes() == before
    open_record(loaded.path).close()
    with open_record(loaded.path, read_only=True) as reader:
        assert reader.connection.execute("PRAGMA user_version").fetchone() == (schema.VERSION,)
        assert read_property(reader, NAME) == SAMPLE
        # A column that came later leaves the old hashes as they were.
        assert verify_chain(reader, NAME) == []


def test_a_step_that_fails_leaves_the_record_as_it_was(loaded: Record, next_version: Any) -> None:
    loaded.close()
    before = loaded.path.read_bytes()
    next_version("ALTER TABLE tie ADD COLUMN weather TEXT", "ALTER TABLE nowhere ADD COLUMN x TEXT")
    said = refusal(lambda: open_record(loaded.path))
    assert said == f"{loaded.path}: SQLite says: no such table: nowhere; nothing was stored"
    assert loaded.path.read_bytes() == before
    kept = loaded.path.with_name(f"{loaded.path.name}.before-v{schema.VERSION}")
    assert refusal(lambda: open_record(loaded.path)) == said  # and the copy that is kept serves again
    assert sorted(loaded.path.parent.iterdir()) == [loaded.path, kept]


# ------------------------------------------------------------ heavy libraries


IMPORTS = """
import sys
from pathlib import Path
{first}
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_property
with open_record(Path(sys.argv[1]), read_only=True) as record:
    read_property(record, sys.argv[2])
assert "sqlite_utils" not in sys.modules
with open_record(Path(sys.argv[1])) as record, record.write() as db:
    assert type(db).__module__ == "sqlite_utils.db"
{then}
"""


@pytest.mark.parametrize(
    ("first", "then"),
    [
        ("", "assert not {'numpy', 'pandas'} & set(sys.modules)\nimport numpy; numpy.zeros(2)"),
        ("import numpy; kept = numpy", "import numpy; assert numpy is kept is sys.modules['numpy']"),
        ("sys.modules['pandas'] = None", "assert sys.modules['pandas'] is None and 'numpy' not in sys.modules"),
    ],
)
def test_reading_needs_no_sqlite_utils_and_writing_loads_no_numpy(loaded: Record, first: str, then: str) -> None:
    code = IMPORTS.format(first=first, then=then)
    done = subprocess.run(
        [sys.executable, "-c", code, str(loaded.path), NAME], capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert done.returncode == 0

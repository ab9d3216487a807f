"""An office's cards: what the map makes of them, what is refused, and what is stored when something goes wrong."""

import csv
import io
import signal
import subprocess
import sys
import tomllib
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from asbuilt.errors import Problem
from asbuilt.jobs import load_cards as job
from asbuilt.jobs.load_cards import CardsLoaded, load_cards
from asbuilt.model.measurements import Side
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.files import OutputError
from asbuilt.record.cards.file import WHY
from asbuilt.record.cards.mapping import CardsError, card_map
from asbuilt.record.cards.reading import BadCard
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from asbuilt.record.entries import property_names, read_property
from asbuilt.record.sheets.files import table_of
from asbuilt.survey.batch_cards import is_simple, look_at_many
from asbuilt.survey.joint import solve_together
from tests.benchmarks.cards import HEADINGS, card, write_cards
from tests.commands import ROOT, SAMPLE, Run, files_below, parsed

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)
CARDS, MAP = SAMPLE / "cards" / "cards.csv", SAMPLE / "cards" / "map.toml"

SMALL_MAP = """
[property]
name = "{Place}"
units = "ft"

[[reference_points]]
name = "A"

[[reference_points]]
name = "B"

[[walls]]
from = "A"
to = "B"
length = "{Wall}"
turn = ""

[[points]]
each = ["1", "2"]
component = "tank"
point = "lid #"
from1 = "A"
tape1 = "{Lid # A}"
from2 = "B"
tape2 = "{Lid # B}"
side = "{Side}"
"""
SMALL_HEADINGS = "Place,Wall,Lid 1 A,Lid 1 B,Lid 2 A,Lid 2 B,Side"


def load(
    folder: Path, rows: str, card_words: str = SMALL_MAP, head: str = SMALL_HEADINGS, **options: Any
) -> CardsLoaded:
    (folder / "cards.csv").write_text(f"{head}\n{rows}", encoding="utf-8")
    (folder / "map.toml").write_text(card_words, encoding="utf-8")
    given = {"who": "a test", "now": NOW} | options
    return load_cards(folder / "asbuilt.db", folder / "cards.csv", folder / "map.toml", **given)


def recorded(folder: Path, name: str) -> PropertyRecord:
    with open_record(folder / "asbuilt.db", read_only=True) as record:
        return read_property(record, name)


def names(folder: Path) -> list[str]:
    with open_record(folder / "asbuilt.db", read_only=True) as record:
        return property_names(record)


def told(found: CardsLoaded) -> list[str]:
    return [str(problem) for bad in found.set_aside for problem in bad.problems]


# ------------------------------------------------------------ what the map makes


def test_the_sample_cards_become_properties_with_their_readings(tmp_path: Path) -> None:
    found = load_cards(tmp_path / "asbuilt.db", CARDS, MAP, who="a test", now=NOW)
    assert (found.cards, found.stored, found.set_aside, found.notes) == (6, 6, [], [])
    with CARDS.open(encoding="utf-8", newline="") as stream:
        cards = list(csv.DictReader(stream))
    for cells in cards:
        known = recorded(tmp_path, f"{cells['Road']} {cells['No']}")
        assert known.property.permit == cells["Card"]
        assert known.property.measured.care == "rough"
        month, day, year = map(int, cells["Drawn on"].split("/"))
        assert known.property.measured.on == date(year, month, day)
        read = {(tie.from_, tie.to): tie.distance.as_read for tie in known.ties}
        lids = [k for k in "123" if cells[f"Lid {k} from A"]]
        assert {(each, f"septic tank/lid {k}") for k in lids for each in "AB"} <= set(read)
        for k in lids:
            assert read["A", f"septic tank/lid {k}"] == cells[f"Lid {k} from A"]
        assert len(known.points) == len(lids)
        assert (len(known.reference_points) == 3) == bool(cells["A to C"])
        assert known.components[0].material == {"C": "concrete", "F": "fibreglass", "P": "plastic"}[cells["Tank"]]


def test_rows_with_the_same_key_are_one_property(tmp_path: Path) -> None:
    words = 'key = "No"\n' + SMALL_MAP.replace('each = ["1", "2"]', "").replace("lid #", "{Lid}").replace("Lid # ", "")
    rows = (
        "7,Elm 1,30,inlet,25,25,left of A > B\n8,Elm 2,30,cap,25,25,left of A > B\n7,,30,outlet,26,24,left of A > B\n"
    )
    found = load(tmp_path, rows, words, "No,Place,Wall,Lid,A,B,Side")
    assert (found.cards, found.stored, told(found)) == (2, 2, [])
    assert [point.point for point in recorded(tmp_path, "Elm 1").points] == ["inlet", "outlet"]
    assert len(recorded(tmp_path, "Elm 1").walls) == 1
    with open_record(tmp_path / "asbuilt.db", read_only=True) as record:
        places = record.connection.execute("SELECT DISTINCT sheet, row FROM entry ORDER BY row").fetchall()
    assert places == [("cards.csv", 2), ("cards.csv", 3), ("cards.csv", 4)]


def test_rows_of_one_property_that_say_different_things_are_set_aside(tmp_path: Path) -> None:
    words = 'key = "No"\n' + SMALL_MAP.replace("[property]", '[property]\nowner = "{Owner}"')
    head = f"No,Owner,{SMALL_HEADINGS}"
    rows = "7,Ann,Elm 1,30,25,25,,,left of A > B\n7,Bob,Elm 1,30,26,25,,,left of A > B\n,Cy,Elm 3,30,25,25,,,\n"
    found = load(tmp_path, rows, words, head)
    assert told(found) == [
        "cards.csv row 2, column Owner: “Bob” differs from “Ann”; all rows of one property say the same "
        "of it, or nothing",
        "cards.csv row 4, column No: is empty; the map calls it the key that every row needs",
    ]
    assert found.stored == 0


def test_a_column_may_have_a_unit_of_its_own_and_words_of_the_office_are_put_into_ours(tmp_path: Path) -> None:
    words = SMALL_MAP.replace('tape1 = "', '"tape1 [m]" = "') + '\n[words.Side]\nR = "right of A > B"\n'
    found = load(tmp_path, "Elm 1,30,7.62,25,,,R\n", words)
    assert told(found) == []
    tie = recorded(tmp_path, "Elm 1").ties[0]
    assert tie.distance.metres == 7.62
    assert tie.side == Side("right", "A", "B")


@pytest.mark.parametrize(
    ("order", "read"), [("month/day/year", date(2025, 3, 4)), ("day/month/year", date(2025, 4, 3))]
)
def test_a_date_in_figures_is_read_in_the_order_that_the_map_tells(tmp_path: Path, order: str, read: date) -> None:
    words = f'dates = "{order}"\n' + SMALL_MAP + '\n[[household]]\nfrom = "{Since}"\npeople = "2"\n'
    found = load(tmp_path, "Elm 1,30,25,25,,,left of A > B,03/04/2025\n", words, f"{SMALL_HEADINGS},Since")
    assert told(found) == []
    assert recorded(tmp_path, "Elm 1").household[0].from_ == read


def test_without_an_order_a_date_in_figures_is_set_aside_with_both_readings(tmp_path: Path) -> None:
    words = SMALL_MAP + '\n[[household]]\nfrom = "{Since}"\npeople = "2"\n'
    found = load(tmp_path, "Elm 1,30,25,25,,,left of A > B,03/04/2025\n", words, f"{SMALL_HEADINGS},Since")
    assert told(found) == [
        "cards.csv row 2, column Since: “03/04/2025” can be read as 2025-03-04 or 2025-04-03; write year-month-day"
    ]


def test_a_tab_of_a_workbook_serves_as_well(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text('tab = "points"\n' + MAP_OF_A_TAB, encoding="utf-8")
    book = ROOT / "tests" / "inputs" / "loads" / "metres--openpyxl.xlsx"
    found = load_cards(tmp_path / "asbuilt.db", book, tmp_path / "map.toml", who="a test", now=NOW)
    assert (found.cards, found.stored, told(found)) == (4, 4, [])
    assert recorded(tmp_path, "well casing").ties[0].distance.metres == 10.35


def test_a_photo_that_a_card_names_is_kept_beside_the_record(tmp_path: Path) -> None:
    photo = next(each for each in sorted(SAMPLE.rglob("*.jpg")))
    (tmp_path / photo.name).write_bytes(photo.read_bytes())
    words = SMALL_MAP.replace('point = "lid #"', 'point = "lid #"\nphoto = "{Photo}"')
    found = load(tmp_path, f"Elm 1,30,25,25,,,left of A > B,{photo.name}\n", words, f"{SMALL_HEADINGS},Photo")
    assert told(found) == []
    (kept,) = recorded(tmp_path, "Elm 1").photos
    assert [path.stem for path in tmp_path.rglob(f"*{kept.sha256}*")] == [kept.sha256]


MAP_OF_A_TAB = """
[property]
name = "{component} {point}"
units = "m"

[[reference_points]]
name = "{from1}"

[[reference_points]]
name = "{from2}"

[[walls]]
from = "{from1}"
to = "{from2}"
length = "8"
turn = ""

[[points]]
component = "{component}"
point = "{point}"
from1 = "{from1}"
tape1 = "{tape1}"
"""


# ------------------------------------------------------------ what is refused


def test_bad_cards_are_set_aside_in_their_own_words_and_the_others_are_stored(tmp_path: Path) -> None:
    rows = (
        "Elm 1,30,25,25,,,left of A > B\n"
        "Elm 2,30,25,x,,,left of A > B\n"
        ",30,25,25,,,left of A > B\n"
        "Elm 4,30,25,25,25,,left of A > B\n"
        "Elm 1,30,26,26,,,left of A > B\n"
        'Elm 6,30,"25,25,,,left of A > B\n'
        "Elm 7,30,25,25,,,left of A > C\n"
        "Elm 8,,25,25,,,left of A > B\n"
        "Elm 9,30,25,25,,,left of A > B\n"
    )
    found = load(tmp_path, rows)
    assert (found.cards, found.stored) == (9, 2)
    assert names(tmp_path) == ["Elm 1", "Elm 9"]
    assert [bad.card.row for bad in found.set_aside] == [3, 4, 5, 6, 7, 8, 9]
    for line in told(found):
        assert line.startswith("cards.csv row "), line
        assert ".csv row" not in line.removeprefix("cards.csv row"), line
    assert told(found)[0] == (
        "cards.csv row 3, column Lid 1 B: “x” cannot be read as a length; accepted are 23' 4 1/2\", 23 "
        "ft 4.5 in, 23.4', "
        '6", 7.12 m and 712 cm'
    )
    assert told(found)[1] == "cards.csv row 4, column Place: is empty; it is needed"
    assert (
        "cards.csv row 6: makes 'Elm 1' as row 2 does; give each card its own name, or tell the map the key of rows "
        "that belong together" in told(found)
    )


@pytest.mark.parametrize(
    ("change", "lines"),
    [
        (("{Place}", "{Plaace}"), [
            "map.toml, [property] name: “Plaace” is no heading of cards.csv; did you mean “Place”?"
        ]),
        (("{Place}", "{Place"), [
            "map.toml, [property] name: “{Place”: a brace stands alone; write a heading in braces: \"{Heading}\""
        ]),
        (('units = "ft"', ""), ["map.toml, [property] units: is missing; accepted: ft-in, ft, m"]),
        (("[property]", "[proprty]"), [
            "map.toml, proprty: “proprty” is nothing that a map has; accepted: key, dates, tab, words, property, "
            "[[reference_points]], [[walls]], [[points]], [[ties]], [[offsets]], [[known_coordinates]], "
            "[[components]], "
            "[[household]], [[service]], [[levels]], [[tasks]], [[readings]], [[sightings]]",
            "map.toml, [property]: is missing; write name = \"{Heading}\" under [property]",
        ]),
        (("tape1 =", "tapes1 ="), [
            "map.toml, [[points]] 1 tapes1: “tapes1” is no column there; did you mean “tape1”?"
        ]),
        (("tape1 =", '"side [m]" ='), [
            "map.toml, [[points]] 1 side [m]: names the unit “m”; write side: it holds no lengths"
        ]),
        (('each = ["1", "2"]', "each = 3"), [
            'map.toml, [[points]] 1 each: is no list of words; write such as each = ["1", "2", "3"]'
        ]),
        (('length = "{Wall}"', ""), ['map.toml, [[walls]] 1 length: is missing; write length = "..."']),
        (("[property]", 'dates = "y/m/d"\n[property]'), [
            "map.toml, dates: “y/m/d” is no order of figures; accepted: month/day/year or day/month/year"
        ]),
        (("[property]", 'key = "Nr"\n[property]'), [
            "map.toml, key: “Nr” is no heading of cards.csv; accepted: Place, Wall, Lid 1 A, Lid 1 B, Lid 2 "
            "A, Lid 2 B, Side"
        ]),
        (("[property]", "[words]\nSide = 3\n[property]"), [
            'map.toml, [words.Side]: is no table of words; write lines such as "conc." = "concrete"'
        ]),
        (("[property]", "= 3\n[property]"), [
            "map.toml: is not TOML: Invalid statement (at line 2, column 1); accepted: lines such as name = "
            "\"Mill Lane 4\""
        ]),
    ],
    ids=lambda value: value[1] if isinstance(value, tuple) else "",
)  # fmt: skip
def test_a_map_that_is_wrong_stores_nothing(tmp_path: Path, change: tuple[str, str], lines: list[str]) -> None:
    with pytest.raises(CardsError) as refused:
        load(tmp_path, "Elm 1,30,25,25,,,left of A > B\n", SMALL_MAP.replace(*change))
    assert [str(problem) for problem in refused.value.problems] == lines
    assert not (tmp_path / "asbuilt.db").exists()


def test_two_columns_of_one_heading_are_refused_where_the_map_needs_it(tmp_path: Path) -> None:
    with pytest.raises(CardsError) as refused:
        load(tmp_path, "Elm 1,30,25,25,,,x\n", head="Place,Wall,Lid 1 A,Lid 1 B,Lid 2 A,Lid 2 B,Side,WALL")
    assert [str(problem) for problem in refused.value.problems] == [
        "map.toml, [[walls]] 1 length: “Wall” is the heading of two columns of cards.csv; rename one of them"
    ]


def test_a_file_of_headings_alone_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CardsError, match=r"cards\.csv: has headings and no cards; write a row for each card"):
        load(tmp_path, "")


# ------------------------------------------------------------ doubts


def test_tapes_that_do_not_meet_or_fit_two_places_are_stored_and_noted(tmp_path: Path) -> None:
    rows = "Elm 1,30,10,12,,,left of A > B\nElm 2,30,25,25,,,\nElm 3,30,25,25,,,left of A > B\n"
    found = load(tmp_path, rows)
    assert found.stored == 3
    assert [note.sentence() for note in found.notes] == [
        "cards.csv row 2, Elm 1: the tapes to tank/lid 1 do not meet.",
        "cards.csv row 3, Elm 2: tank/lid 1 fits two places; note on which side of the wall it lies.",
    ]


def test_the_quick_look_says_what_the_whole_solution_says() -> None:
    """Against `solve_together`, the exact solution of each property, on drawn cards with and without slips."""
    import random

    draw = random.Random(11)  # noqa: S311
    content = tomllib.loads(MAP.read_text(encoding="utf-8"))
    rows = []
    for number in range(1, 121):
        cells = card(number, draw, slips=False)
        if number % 3 == 0:
            cells["Lid 1 side"] = ""
        if number % 7 == 0:
            cells["Lid 1 from A"], cells["Lid 1 from B"] = "3' 0\"", "4' 0\""
        rows.append(",".join('"' + cells[heading].replace('"', '""') + '"' for heading in HEADINGS))
    problems: list[Problem] = []
    table = table_of("cards.csv", "\n".join([",".join(HEADINGS), *rows]), problems)
    assert table is not None
    reader = job.CardReader("cards.csv", table, card_map("map.toml", content, table, "cards.csv"), MAP.parent)
    records = []
    for each in job.cards_of(table, reader.mapped):
        read = reader.read(each)
        assert not isinstance(read, BadCard)
        records.append(read.record)
    assert all(map(is_simple, records))
    seen = 0
    for record, look in zip(records, look_at_many(records), strict=True):
        joint = solve_together(record)
        doubts = {joint.observations.names[node]: doubt.code for node, doubt in joint.network.doubts.items()}
        quick = {each.point: each.code for each in look if each.code in ("tapes-do-not-meet", "open-mirror")}
        assert quick == {name: code for name, code in doubts.items() if code in quick.values() or name in quick}
        assert set(quick) == {name for name, code in doubts.items() if code in ("tapes-do-not-meet", "open-mirror")}
        seen += len(quick)
    assert seen > 20


# ------------------------------------------------------------ rejects, resumed, killed


def test_the_cards_set_aside_can_be_mended_and_loaded_with_the_same_map(tmp_path: Path) -> None:
    rows = "Elm 1,30,25,x,,,left of A > B\n=Elm 2,30,25,25,,,left of A > B\nElm 3,30,y,25,,,left of A > B\n"
    found = load(tmp_path, rows, rejects=tmp_path / "bad.csv")
    assert found.stored == 1
    bad = (tmp_path / "bad.csv").read_text(encoding="utf-8")
    lines = list(csv.DictReader(io.StringIO(bad)))
    assert [line["Place"] for line in lines] == ["Elm 1", "Elm 3"]
    assert lines[0][WHY].startswith("row 2, Lid 1 B: “x” cannot be read as a length; accepted are 23' 4 1/2\"")
    mended = bad.replace("x,", "25,", 1).replace("y,", "25,", 1)
    (tmp_path / "mended.csv").write_text(mended, encoding="utf-8")
    again = load_cards(tmp_path / "asbuilt.db", tmp_path / "mended.csv", tmp_path / "map.toml", who="a test", now=NOW)
    assert (again.stored, told(again)) == (2, [])


def test_formulas_in_the_sheet_of_rejects_are_texts(tmp_path: Path) -> None:
    load(tmp_path, '"=HYPERLINK(1)",30,x,25,,,left of A > B\n', rejects=tmp_path / "bad.csv")
    assert "\n'=HYPERLINK(1),30" in (tmp_path / "bad.csv").read_text(encoding="utf-8")


def test_a_file_of_rejects_is_not_written_over_unasked(tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="the file is there already"):
        load(tmp_path, "Elm 1,30,25,x,,,\n", rejects=tmp_path / "bad.csv")
    assert not (tmp_path / "asbuilt.db").exists()


def test_a_second_run_passes_over_what_is_recorded_and_says_the_same(tmp_path: Path) -> None:
    rows = "Elm 1,30,25,25,,,left of A > B\nElm 2,30,25,25,,,left of A > B\n"
    load(tmp_path, rows)
    again = load(tmp_path, rows)
    assert (again.stored, again.already) == (0, 0)
    assert told(again)[0] == (
        "cards.csv row 2: 'Elm 1' is in the record already; --resume passes over cards that are "
        "recorded and say the same"
    )
    changed = rows.replace("Elm 2,30", "Elm 2,31") + "Elm 3,30,25,25,,,left of A > B\n"
    resumed = load(tmp_path, changed, resume=True)
    assert (resumed.stored, resumed.already) == (1, 1)
    assert told(resumed) == [
        "cards.csv row 3: 'Elm 2' is recorded otherwise; mend the record with `asbuilt correct`, or "
        "load sheets of it with "
        "--supersede REASON"
    ]


def test_killed_in_the_middle_whole_batches_are_kept_and_resuming_does_the_rest(tmp_path: Path) -> None:
    """Killed by the system at a batch's end and between two batches; nothing half, nothing twice."""
    count = 3 * job.BATCH + 50
    write_cards(tmp_path / "cards.csv", count, slips=False)
    program = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom datetime import UTC, datetime\n"
        "from asbuilt.jobs import load_cards as job\n"
        "real, calls = job.store_new, []\n"
        "def store(record, many, action):\n"
        "    real(record, many[: len(many) // 2], action)\n"
        "    calls.append(1)\n"
        "    if len(calls) == 2: os.kill(os.getpid(), signal.SIGKILL)\n"
        "    real(record, many[len(many) // 2 :], action)\n"
        "job.store_new = store\n"
        "job.load_cards(Path('asbuilt.db'), Path('cards.csv'), Path(sys.argv[1]), who='x', now=datetime.now(UTC))\n"
    )
    done = subprocess.run([sys.executable, "-c", program, str(MAP)], cwd=tmp_path, env={"PYTHONPATH": str(ROOT)})
    assert done.returncode == -signal.SIGKILL
    kept = names(tmp_path)
    assert len(kept) == job.BATCH
    found = load_cards(tmp_path / "asbuilt.db", tmp_path / "cards.csv", MAP, who="a test", now=NOW, resume=True)
    assert (found.already, found.stored, told(found)) == (job.BATCH, count - job.BATCH, [])
    with open_record(tmp_path / "asbuilt.db", read_only=True) as record:
        assert len(property_names(record)) == count
        assert [verify_chain(record, name) for name in property_names(record)[::50]] == [[]] * len(range(0, count, 50))


def test_the_due_list_of_stored_cards_is_kept_and_is_what_reckoning_gives(tmp_path: Path) -> None:
    from asbuilt.jobs.due import list_due, reckon
    from asbuilt.record.due_state import kept_differs

    load_cards(tmp_path / "asbuilt.db", CARDS, MAP, who="a test", now=NOW)
    found = list_due(tmp_path / "asbuilt.db", date(2026, 5, 1))
    assert found.reckoned_anew == 0
    assert len(found.listed) >= 6
    with open_record(tmp_path / "asbuilt.db", read_only=True) as record:
        assert not any(kept_differs(record, read_property(record, name), reckon) for name in property_names(record))


# ------------------------------------------------------------ the command


def test_the_command_says_what_it_did_and_ends_with_one_where_a_card_was_set_aside(run: Run, folder: Path) -> None:
    (folder / "cards.csv").write_text(f"{SMALL_HEADINGS}\nElm 1,30,25,25,,,left of A > B\nElm 2,30,25,x,,,\n", "utf-8")
    (folder / "map.toml").write_text(SMALL_MAP, "utf-8")
    result = run("load-cards", "cards.csv", "--map", "map.toml", "--rejects", "bad.csv")
    assert result.exit_code == 1
    assert result.stdout == "2 cards for asbuilt.db: 1 stored, 1 set aside\n"
    assert result.stderr == (
        "set aside: cards.csv row 3, column Lid 1 B: “x” cannot be read as a length; accepted are 23' 4 "
        '1/2", 23 ft 4.5 '
        "in, 23.4', 6\", 7.12 m and 712 cm\n"
        "all cards set aside, with their reasons: bad.csv\n"
    )


def test_the_json_has_exactly_its_keys(run: Run, folder: Path) -> None:
    (folder / "cards.csv").write_text(f"{SMALL_HEADINGS}\nElm 1,30,25,25,,,\nElm 2,30,25,x,,,\n", "utf-8")
    (folder / "map.toml").write_text(SMALL_MAP, "utf-8")
    said = parsed(run("load-cards", "cards.csv", "--map", "map.toml", "--json"))
    keys = ["record", "cards", "stored", "recorded_already", "set_aside", "rejects", "findings"]
    assert list(said) == keys
    assert [list(each) for each in said["set_aside"]] == [["row", "property", "problems"]]
    assert [each["code"] for each in said["findings"]] == ["open-mirror"]


def test_a_wrong_map_is_refused_with_status_two_and_nothing_is_written(run: Run, folder: Path) -> None:
    (folder / "cards.csv").write_text("Place\nElm\n", "utf-8")
    (folder / "map.toml").write_text("", "utf-8")
    before = files_below(folder)
    result = run("load-cards", "cards.csv", "--map", "map.toml")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "asbuilt: 1 problem in the map or the file of cards; nothing was stored\n"
        'map.toml, [property]: is missing; write name = "{Heading}" under [property]\n'
    )
    assert files_below(folder) == before


def test_no_bar_is_drawn_where_nobody_watches(run: Run, folder: Path) -> None:
    result = run("load-cards", CARDS, "--map", MAP)
    assert (result.exit_code, result.stderr) == (0, "")


def test_places_of_cards_are_reckoned_as_arrays_of_any_length() -> None:
    assert look_at_many([]) == []
    assert np.isfinite(job.BATCH)

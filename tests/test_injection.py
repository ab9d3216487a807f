"""Hostile words in every text field of the model, through every output, read by somebody else's readers.

The shape of each output is that of harmless words, nothing in it would run, and the words come back. `tests/hostile.py`
holds the words, `tests/poisoned.py` finds the fields by reflection, `tests/output_readers.py` reads.
"""

import json
import re
from dataclasses import fields, replace
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any
from unittest.mock import patch

import pytest

from asbuilt.errors import AsbuiltError
from asbuilt.model.rule_files import RuleFile
from asbuilt.record.sheets.accept import strange_cells
from tests.hostile import BROKEN, HOSTILE, WORDS
from tests.injection import NAMED, OUTPUTS, Made, Output, make, words_lost
from tests.output_readers import said_by
from tests.poisoned import (
    KINDS_KEPT,
    NAMES,
    READ,
    TASKS_KEPT,
    Harmless,
    Poison,
    accepted_names,
    free_fields,
    poisoned,
    sample,
    text_fields,
    texts_of,
)

SHOWN = tuple(words for words in WORDS if words.strip())
"""Texts that one can see; where a text is blank an output says something else, and rightly so."""

BLANK = tuple(words for words in WORDS if not words.strip())

EVERY = len(SHOWN)
"""Turns after which each text has stood in each field."""


def turns(count: int) -> list[Any]:
    """Give the turns: the first one daily, every twentieth in CI, the whole product with `-m exhaustive`.

    With each row of a table one text further, most texts pass most fields even so.
    """
    marks = [[]] + [[pytest.mark.slow if turn % 20 == 0 else pytest.mark.exhaustive] for turn in range(1, count)]
    return [pytest.param(turn, marks=marks[turn]) for turn in range(count)]


FEWEST = 60
"""Texts that the corpus holds at least, and names that the sheets themselves take."""


@cache
def harmless() -> Made:
    """Make all outputs of harmless words, once."""
    return make(Path(mkdtemp(prefix="asbuilt-harmless-")), Harmless(0), OUTPUTS | NAMED)


def test_the_corpus_holds_enough_texts_and_the_model_enough_fields() -> None:
    assert len(set(HOSTILE)) == len(HOSTILE) >= FEWEST
    assert len(accepted_names()) >= 25
    assert len(free_fields()) >= 75
    assert set(text_fields()) >= NAMES | set(READ)


def test_every_field_of_every_table_is_poisoned() -> None:
    before, after = texts_of(sample()), texts_of(poisoned(Poison(0, ("poison",), ("poison",))))
    clean = {place for place in before if "poison" not in after[place]}
    assert {before[place] for place in clean} <= KINDS_KEPT | TASKS_KEPT
    assert len({place[::2] for place in after}) >= 120  # table and field


def test_over_all_turns_every_text_stands_in_every_field() -> None:
    for field in free_fields():
        assert {Poison(turn, SHOWN).free(field, 0) for turn in range(EVERY)} == set(SHOWN)


def test_harmless_words_give_every_output() -> None:
    refused = {key: made.stderr for key, made in harmless().results.items() if made.exit_code == 2}
    assert refused == {}
    assert all(harmless().read(key) for key in OUTPUTS | NAMED)


@pytest.mark.parametrize("turn", turns(EVERY))
def test_hostile_words_are_words_in_every_output(turn: int, tmp_path: Path) -> None:
    # a packet holds what the other outputs are, once more
    outputs = OUTPUTS if turn % 10 == 0 else {key: each for key, each in OUTPUTS.items() if key != "packet"}
    hold(make(tmp_path, Poison(turn, SHOWN, SHOWN), outputs), outputs)


@pytest.mark.parametrize("turn", turns(len(accepted_names())))
def test_hostile_names_that_the_sheets_take_are_words_in_every_output_that_asks_for_a_name(
    turn: int, tmp_path: Path
) -> None:
    made = make(tmp_path, Poison(turn, SHOWN, accepted_names()), NAMED)
    assert {key: each.stderr for key, each in made.results.items() if each.exit_code == 2} == {}
    hold(made, NAMED)


RULES = """[profile]
name = "own"
title = {title}
local_code = {local_code}
extends = "common"
[[limit]]
key = "inspection_interval"
value = 24
unit = "months"
comparison = "at most"
applies_to = "septic tank"
reference = {{ code = {code}, section = {section}, address = {address} }}
standing = "seen"
note = {note}
[[task]]
name = {task}
kinds = ["septic tank"]
key = "inspection_interval"
done_by = [{done_by}]
"""
"""A rule profile of a user's own, with a place for each of its texts."""

TEXTS_OF_RULES = tuple(re.findall(r"(?<!\{)\{(\w+)\}", RULES))
IN_RULES = tuple(words for words in SHOWN if words.isprintable() and "\\" not in words and len(words) < 200)
"""Texts that a profile takes: one line that prints. A backslash would read as two in TOML."""

BY_RULES = ("due", "due csv", "due json", "due files", "checklist", "checklist json", "report", "report pdf", "map")


@pytest.mark.parametrize("turn", turns(len(IN_RULES)))
def test_hostile_words_of_a_rule_profile_are_words_in_every_output(turn: int, tmp_path: Path) -> None:
    outputs = {key: OUTPUTS[key] for key in BY_RULES}
    plain = {key: f"plain rule {key.replace('_', '')}" for key in TEXTS_OF_RULES}
    hostile = {key: IN_RULES[(turn + place) % len(IN_RULES)] for place, key in enumerate(TEXTS_OF_RULES)}
    made = []
    for name, texts in (("plain", plain), ("hostile", hostile)):
        (tmp_path / name).mkdir()
        rules = RULES.format(**{key: json.dumps(words, ensure_ascii=False) for key, words in texts.items()})
        made.append(make(tmp_path / name, Harmless(0), outputs, rules=rules))
    shown = set()
    for key in outputs:
        before, after = made[0].read(key), made[1].read(key)
        assert "refused" not in {**before, **after}, made[1].results[key].stderr
        for where, read in before.items():
            assert not set(after[where].shape) - set(read.shape), key
            for field, words in plain.items():
                if said_by(words) in said_by(read.words):
                    shown.add(field)
                    assert said_by(hostile[field])[:12] in said_by(after[where].words), (key, where, hostile[field])
    assert shown >= {"code", "section", "task"}


def test_blank_words_break_no_output(tmp_path: Path) -> None:
    hold(make(tmp_path, Poison(0, BLANK, BLANK), OUTPUTS), OUTPUTS, words=False)


def test_halves_of_characters_give_an_output_or_one_clear_message(tmp_path: Path) -> None:
    poison = Poison(0, BROKEN, BROKEN)
    shown = poisoned(poison)
    with patch("asbuilt.record.entries._assembled", lambda values, name: shown):
        made = make(tmp_path, poison, OUTPUTS, shown)
        hold(made, OUTPUTS, words=False)


def hold(made: Made, outputs: dict[str, Output], *, words: bool = True) -> None:
    """Hold every output against that of harmless words."""
    faults = []
    for key in outputs:
        plain, hostile = harmless().read(key), made.read(key)
        if "refused" in hostile:
            assert hostile["refused"].words.startswith("asbuilt: "), key
            faults += [f"{key} is refused: {hostile['refused'].words[:300]}"] if words else []
            continue
        for where, read in hostile.items():
            strange = read.shape - plain[where].shape if read.exact else set(read.shape) - set(plain[where].shape)
            faults += [f"{key} {where}: {each!r:.200}" for each in strange]
        faults += words_lost(made, harmless(), key) if words else []
    assert not faults, f"{len(faults)} faults\n" + "\n".join(faults[:60])


def test_a_refusal_is_one_of_our_own() -> None:
    from asbuilt.record.rows import to_row

    with pytest.raises(AsbuiltError, match="half a character"):
        to_row(poisoned(Poison(0, BROKEN, BROKEN)).property)


IN_TABLES = {"Measured", "Earth", "Inspection", "Benchmark", "Access"}
"""Tables of property.toml, by their class."""

WIDE = {
    "Component.compartments": "names with gallons are free words, and checked where they are reckoned with",
    "ServiceEntry.tanks": "names with commas",
    "Property.rules": "checked where it is looked up among the record's own rule files",
    "RuleFile.name": "tests/test_file_names.py",
    "RuleFile.text": "a whole file, read by the reader of rule profiles",
}
"""Fields whose words are checked elsewhere."""


@pytest.mark.parametrize("field", [field for field in [*READ, *sorted(NAMES)] if field not in WIDE])
def test_what_is_read_or_repeated_takes_no_hostile_words_from_somewhere_else(field: str) -> None:
    """A record that comes in otherwise than by sheets is held against their contract."""
    closed = field in READ
    for words in WORDS:
        if "\x00" in words or "\n" in words or (closed and any(sign in words for sign in "<{=;")):
            assert strange_cells(_with(*field.split("."), words), "ft-in"), words


def _with(name: str, key: str, words: str) -> Any:
    """Give a row of the sample whose field holds these words."""
    known = sample()
    if name in IN_TABLES:
        table = name.lower()
        return replace(known.property, **{table: replace(getattr(known.property, table), **{key: words})})
    if name == "RuleFile":
        return replace(RuleFile("own.toml", ""), **{key: words})
    if name == "Side":
        tie = next(tie for tie in known.ties if tie.side is not None and tie.side.a)
        return replace(tie, side=replace(tie.side, **{key: words}))
    rows = (known.property, *(row for field in fields(known)[1:] for row in getattr(known, field.name)))
    return replace(next(row for row in rows if type(row).__name__ == name), **{key: words})

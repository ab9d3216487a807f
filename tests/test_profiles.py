"""Rule profiles: what ours hold, how one extends another, and every way in which one can be wrong."""

import pytest

from asbuilt.errors import ProfileError
from asbuilt.record.profiles import built_in, built_in_names, read_profile
from asbuilt.rules.keys import STANDINGS
from asbuilt.rules.profile import Profile

HEAD = '[profile]\nname = "own"\ntitle = "Own"\nlocal_code = "Local code decides."\n'
LIMIT = (
    '[[limit]]\nkey = "inspection_interval"\nvalue = 24\nunit = "months"\ncomparison = "at most"\n'
    'applies_to = "septic tank"\nreference = { code = "Code" }\nstanding = "seen"\n'
)
TASK = '[[task]]\nname = "Well test"\nkinds = ["well"]\nkey = "inspection_interval"\ndone_by = ["well test"]\n'


def refusal(text: str) -> list[str]:
    with pytest.raises(ProfileError) as caught:
        read_profile("own.toml", {"own.toml": text})
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize("name", built_in_names())
def test_every_profile_of_ours_says_where_each_rule_stands_and_leaves_it_to_local_code(name: str) -> None:
    profile = built_in(name)
    assert profile.limits
    assert "decide" in profile.local_code
    for rule in (*profile.limits, *profile.priors, *profile.record_items, *profile.required, *profile.facts):
        assert rule.reference.code
        assert rule.standing in STANDINGS


def test_a_profile_that_extends_another_keeps_its_own_where_both_speak() -> None:
    own = read_profile("own.toml", {"own.toml": HEAD.replace("local_code", 'extends = "epa"\nlocal_code') + LIMIT})
    intervals = {limit.applies_to: limit.value for limit in own.limits if limit.key == "inspection_interval"}
    assert intervals == {"septic tank": 24, "system with mechanical parts": 12}
    assert [task.name for task in own.tasks] == ["inspection"]


def test_one_of_ones_own_may_extend_another_of_ones_own() -> None:
    county = HEAD.replace("local_code", 'extends = "state.toml"\nlocal_code') + LIMIT
    state = HEAD.replace('"own"', '"state"').replace("local_code", 'extends = "common"\nlocal_code')
    state += LIMIT.replace("inspection_interval", "pump_out_interval")
    read = read_profile("county.toml", {"county.toml": county, "state.toml": state})
    assert {limit.key for limit in read.limits} >= {"inspection_interval", "pump_out_interval", "filter_interval"}


def test_rules_of_the_parent_may_be_left_out_by_their_key() -> None:
    assert "solids_share" not in {limit.key for limit in built_in("massachusetts").limits}
    assert "solids_share" in {limit.key for limit in built_in("common").limits}


def test_a_limit_applies_to_a_kind_that_holds_its_words() -> None:
    profile = built_in("common")
    assert len(profile.limits_of("inspection_interval", ["Two-compartment  Septic Tank"])) == 1
    assert profile.limits_of("inspection_interval", ["tank"]) == ()


SETBACK = (
    '[[limit]]\nkey = "setback"\nvalue = 75\nunit = "ft"\ncomparison = "at least"\napplies_to = "tank"\nto = "well"\n'
    'reference = { code = "Code" }\nstanding = "seen"\n'
)
SLOPE = (
    '[[limit]]\nkey = "pipe_slope"\nvalue = 1\nunit = "%"\ncomparison = "at least"\napplies_to = "sewer"\n'
    'from_size = 3\nto_size = 6\nreference = { code = "Code" }\nstanding = "seen"\n'
)
REQUIRED = (
    '[[required]]\nkinds = ["tank"]\nwhat = "lids"\ncount = 3\nwords = ["lid"]\n'
    'reference = { code = "Code" }\nstanding = "seen"\n'
)
FACT = (
    '[[required_fact]]\nkinds = ["well"]\nwhat = "depth"\ncolumns = ["note"]\n'
    'reference = { code = "Code" }\nstanding = "seen"\n'
)
EXTENDS = HEAD.replace("local_code", 'extends = "common"\nlocal_code')


def own_profile(text: str) -> Profile:
    return read_profile("own.toml", {"own.toml": text})


def test_a_setback_of_ones_own_goes_before_the_same_of_the_parent() -> None:
    own = own_profile(EXTENDS + SETBACK)
    assert [limit.value for limit in own.limits_for("setback", "septic tank", to="well")] == [75]
    assert [limit.value for limit in own.limits_for("setback", "lateral", to="well")] == [100]


def test_of_several_limits_the_closest_in_words_holds() -> None:
    closer = SETBACK.replace('"tank"', '"pump tank"').replace("75", "60")
    deep = SETBACK.replace('"well"', '"deep well"').replace("75", "25")
    own = own_profile(EXTENDS + SETBACK + closer + deep)
    found = {
        (kind, to): own.limits_for("setback", kind, to=to)[0].value
        for kind in ("septic tank", "pump tank")
        for to in ("well", "deep well")
    }
    assert found[("septic tank", "well")] == 75
    assert found[("pump tank", "well")] == 60
    assert found[("septic tank", "deep well")] == 25


def test_a_limit_from_below_and_one_from_above_both_hold() -> None:
    deep = LIMIT.replace("inspection_interval", "trench_depth").replace("months", "in").replace("septic tank", "trench")
    own = own_profile(EXTENDS + deep + deep.replace("at most", "at least").replace("24", "18"))
    assert sorted(limit.shown() for limit in own.limits_for("trench_depth", "trench")) == [
        "at least 18 in",
        "at most 24 in",
    ]


def test_what_is_required_of_a_kind_is_overridden_by_kinds_and_words() -> None:
    text = REQUIRED.replace('["tank"]', '["septic tank"]').replace('"lids"', '"inlet and outlet opening"')
    assert [each.count for each in own_profile(EXTENDS + text).required_points("septic tank")] == [3]
    none = own_profile(EXTENDS + text.replace("count = 3", "count = 0"))
    assert [each.count for each in none.required_points("septic tank")] == [0]


def test_names_and_groups_of_ones_own_go_before_those_of_the_parent() -> None:
    own = own_profile(EXTENDS + '[names]\nrecord_drawing = "As-built card"\n[groups]\nwell = ["borehole"]\n')
    assert own.names["record_drawing"] == "As-built card"
    assert own.limits_for("setback", "septic tank", to="borehole")
    assert not own.limits_for("setback", "septic tank", to="well")
    assert built_in("minnesota").names["record_drawing"] == "As-built drawing"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (HEAD + SETBACK.replace('to = "well"\n', ""), "own.toml, [[limit]] 1 to: is missing; write to = ... "),
        (
            HEAD + LIMIT.replace("standing", 'to = "well"\nstanding'),
            "own.toml, [[limit]] 1 to: “inspection_interval” is not measured to anything; accepted: to only beside",
        ),
        (HEAD + SETBACK.replace("75", "-1"), "own.toml, [[limit]] 1 value: “-1” is below 0; accepted: a number of 0"),
        (
            HEAD + SETBACK.replace('"ft"', '"yards"'),
            "own.toml, [[limit]] 1 unit: “yards” is not accepted here; accepted: in, ft, m, cm",
        ),
        (
            HEAD + SETBACK + SETBACK,
            "own.toml, [[limit]] 2: “setback” for “tank” to “well” stands there twice; keep one of the two",
        ),
        (
            HEAD + SLOPE + SLOPE,
            "own.toml, [[limit]] 2: “pipe_slope” for “sewer” from 3 in to 6 in stands there twice; ",
        ),
        (
            HEAD + SLOPE.replace("from_size = 3", "from_size = 8"),
            "own.toml, [[limit]] 1 from_size: 8 is above to_size = 6; write the smaller size first",
        ),
        (
            HEAD + SETBACK.replace("standing", "from_size = 3\nstanding"),
            "own.toml, [[limit]] 1 from_size: “setback” is the same for every size; accepted: beside pipe_slope, ",
        ),
        (
            HEAD + REQUIRED.replace("count = 3", "count = 1.5"),
            "own.toml, [[required]] 1 count: “1.5” is not accepted here; accepted: a whole number, 0 or more",
        ),
        (
            HEAD + REQUIRED.replace('["tank"]', '"tank"'),
            "own.toml, [[required]] 1 kinds: “tank” is not accepted here; ",
        ),
        (
            HEAD + FACT.replace('"note"', '"notes"'),
            "own.toml, [[required_fact]] 1 columns: “notes” is no column of components.csv; did you mean “note”?",
        ),
        (
            HEAD + FACT.replace('["well"]', '["the property"]').replace('"note"', '"panel.braker"'),
            "own.toml, [[required_fact]] 1 columns: “panel.braker” is no key of property.toml; did you mean ",
        ),
        (
            HEAD + FACT.replace('columns = ["note"]', 'readings = ["squirt"]'),
            "own.toml, [[required_fact]] 1 readings: “squirt” is no reading of readings.csv; ",
        ),
        (
            HEAD + FACT.replace("columns", "outline = true\ncolumns"),
            "own.toml, [[required_fact]] 1: must ask for one thing; accepted: columns = [...]; ",
        ),
        (
            HEAD + FACT.replace('["well"]', '["well", "the property"]'),
            "own.toml, [[required_fact]] 1 kinds: “the property” stands beside a kind of component; ",
        ),
        (HEAD + '[names]\ntitle = "x"\n', "own.toml, [names] title: “title” is no key here; accepted: record_drawing"),
        (
            HEAD + '[groups]\nwell = "bore"\n',
            "own.toml, [groups] well: “bore” is not accepted here; accepted: a list of",
        ),
        (HEAD + "[[groups]]\n", "own.toml, [groups]: a list or table is no table; write [groups] on a line of its own"),
        (
            HEAD + LIMIT.replace("inspection_interval", "inspektion_interval"),
            "own.toml, [[limit]] 1 key: “inspektion_interval” is not accepted here; accepted: sludge_to_outlet, ",
        ),
        (
            HEAD + LIMIT + LIMIT.replace("24", '"24"').replace("septic tank", "pump tank"),
            "own.toml, [[limit]] 2 value: “24” is not accepted here; accepted: a number",
        ),
        (
            HEAD + LIMIT.replace("24", "0"),
            "own.toml, [[limit]] 1 value: “0” is no interval; accepted: a number above 0",
        ),
        (
            HEAD + LIMIT.replace("months", "days"),
            "own.toml, [[limit]] 1 unit: “days” is not accepted here; accepted: months, years",
        ),
        (
            HEAD + LIMIT.replace('reference = { code = "Code" }\n', ""),
            'own.toml, [[limit]] 1 reference: is missing; write reference = { code = "...", section = "..." }',
        ),
        (
            HEAD + LIMIT.replace("{ code", "{ kode"),
            "own.toml, [[limit]] 1 reference code: is missing; write code = ... (a text in quotation marks)",
        ),
        (
            HEAD + LIMIT.replace('{ code = "Code" }', '"County Code"'),
            "own.toml, [[limit]] 1 reference: “County Code” is a text; "
            'write reference = { code = "...", section = "..." }',
        ),
        (
            HEAD + LIMIT.replace("at most", "at least"),
            "own.toml, [[limit]] 1 comparison: “at least” makes no interval: it would let a task wait for ever; "
            "accepted: at most, less than",
        ),
        (
            HEAD + LIMIT.replace("septic tank", "system with a pmup"),
            "own.toml, [[limit]] 1 applies_to: “system with a pmup” is no condition; did you mean “system with a pump”",
        ),
        (
            HEAD + LIMIT.replace("septic tank", "household of monks"),
            "own.toml, [[limit]] 1 applies_to: “household of monks” is no condition; accepted: a kind of component, ",
        ),
        (HEAD + LIMIT + "colour = 1\n", "own.toml, [[limit]] 1 colour: “colour” is no key here; accepted: "),
        (HEAD + LIMIT + LIMIT, "own.toml, [[limit]] 2: “inspection_interval” for “septic tank” stands there twice; "),
        (HEAD + 2 * TASK, "own.toml, [[task]] 2: “well test” stands there twice; keep one of the two"),
        (HEAD + "[[limits]]\n", "own.toml, [[limits]]: is no table of a rule profile; did you mean “limit”?"),
        (HEAD + "[limit]\n", "own.toml, [[limit]]: is no list of tables; write [[limit]] above each"),
        (HEAD.replace("title", "titel"), "own.toml, [profile] title: is missing; write title = ... "),
        ("", "own.toml, [profile] name: is missing; write name = ... (a text in quotation marks)"),
        ("[profile\n", "own.toml: is not TOML: "),
        (
            HEAD.replace("local_code", 'extends = "own.toml"\nlocal_code'),
            "own.toml, [profile] extends: “own.toml” extends itself by way of own.toml; extend another profile",
        ),
        (
            HEAD.replace("local_code", 'extends = "comon"\nlocal_code'),
            "own.toml, [profile] extends: “comon” is no rule profile; did you mean “common”?",
        ),
        (
            HEAD.replace("local_code", 'extends = "epa"\nwithout = ["shares"]\nlocal_code'),
            "own.toml, [profile] without: “shares” is no key of a limit; ",
        ),
        (
            HEAD + '[[record_item]]\nitem = "x"\ntask = "pump-out"\nfields = ["galons"]\n'
            'reference = { code = "C" }\nstanding = "seen"\n',
            "own.toml, [[record_item]] 1 fields: “galons” is no column of service.csv; did you mean “gallons”?",
        ),
    ],
)
def test_what_is_wrong_is_said_with_file_table_and_key(text: str, line: str) -> None:
    assert any(problem.startswith(line) for problem in refusal(text)), refusal(text)


def test_all_problems_are_told_at_once() -> None:
    text = HEAD + LIMIT.replace("24", "true").replace("at most", "below") + LIMIT.replace("months", "weeks")
    assert len(refusal(text)) == 3


def test_a_profile_that_does_not_exist_is_refused_with_those_that_do() -> None:
    with pytest.raises(ProfileError) as caught:
        built_in("oregon")
    assert ", ".join(built_in_names()) in str(caught.value)

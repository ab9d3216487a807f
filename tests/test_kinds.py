"""Which words name a kind: whole words, the last known ones, and what looks like another thing is none."""

import pytest

from asbuilt.model.components import Component
from asbuilt.record.profiles import built_in, built_in_names, read_profile
from asbuilt.rules.kinds import holds
from asbuilt.service.pumping import is_septic_tank
from asbuilt.service.tasks import is_of_kind

COMMON = built_in("common")


def groups_of(kind: str) -> set[str]:
    return {word for word in COMMON.groups if COMMON.closeness(word, kind) is not None}


def asked(kind: str) -> list[tuple[str, int]]:
    return [(each.what, each.count) for each in COMMON.required_points(kind)]


@pytest.mark.parametrize(
    ("kind", "no"),
    [
        ("dwelling", "well"),
        ("window well", "well"),
        ("dry well", "well"),
        ("observation well", "well"),
        ("cesspool", "foundation"),
        ("street", "planting"),
        ("flower bed", "dispersal"),
        ("carport", "part of the system"),
        ("car port", "part of the system"),
        ("valve box", "distribution box"),
        ("sewer cleanout", "gravity line"),
        ("sewer lateral", "dispersal"),
        ("propane tank", "tank"),
        ("house sewer", "building"),
        ("waste water line", "water line"),
        ("septic tank riser", "tank"),
        ("cleanout on the building sewer", "gravity line"),
    ],
)
def test_a_kind_is_not_what_only_stands_in_its_letters_or_beside_it(kind: str, no: str) -> None:
    assert no not in groups_of(kind)


@pytest.mark.parametrize(
    ("kind", "group"),
    [
        ("two-compartment septic tank", "tank"),
        ("septic tanks", "tank"),
        ("lateral 1", "lateral"),
        ("house sewer", "building sewer"),
        ("plain sewer", "building sewer"),
        ("sewer line", "building sewer"),
        ("sewer lateral", "building sewer"),
        ("dose tank", "pump tank"),
        ("two-chamber tank", "tank"),
        ("seepage pit", "dispersal"),
        ("drain field", "field"),
        ("D box", "distribution box"),
        ("leach-field", "dispersal"),
        ("suction line", "well"),
        ("swimming pool", "foundation"),
        ("gravel driveway", "traffic"),
        ("sunroom", "building"),
        ("reserve drainfield", "reserve area"),
    ],
)
def test_a_kind_is_known_by_the_last_words_that_are(kind: str, group: str) -> None:
    assert group in groups_of(kind)


@pytest.mark.parametrize(
    ("kind", "points"),
    [
        ("sewer cleanout", [("opening", 1)]),
        ("valve box", [("opening", 1)]),
        ("two-compartment septic tank", [("inlet and outlet opening", 2)]),
        ("two-chamber tank", [("opening", 1)]),
        ("drainfield trench", [("both ends", 2)]),
        ("lateral 1", [("both ends", 2), ("flushing turn-up", 0)]),
        ("decommissioned well", [("place", 1)]),
        ("window well", []),
    ],
)
def test_of_what_must_be_there_only_what_belongs_to_the_kind_is_asked(kind: str, points: list[tuple[str, int]]) -> None:
    assert asked(kind) == points


def test_a_valve_box_has_no_outlets_to_be_level() -> None:
    assert COMMON.facts_of("valve box") == ()
    assert len(COMMON.facts_of("d-box")) == 1


def test_of_two_that_ask_for_the_same_the_closer_in_words_holds() -> None:
    text = (
        '[profile]\nname = "own"\ntitle = "Own"\nextends = "common"\n[[required]]\nkinds = ["observation port"]\n'
        'what = "opening"\ncount = 2\nreference = { code = "Code" }\nstanding = "seen"\n'
    )
    own = read_profile("own.toml", {"own.toml": text})
    assert [each.count for each in own.required_points("observation port")] == [2]
    assert [each.count for each in own.required_points("cleanout")] == [1]


def test_words_that_hide_another_are_data_of_ones_own_too() -> None:
    text = '[profile]\nname = "own"\ntitle = "Own"\nextends = "common"\n[but_not]\nplanting = ["shoe tree"]\n'
    own = read_profile("own.toml", {"own.toml": text})
    assert own.closeness("planting", "shoe tree") is None
    assert own.closeness("planting", "old tree") is not None
    assert own.closeness("well", "window well") is None


@pytest.mark.parametrize("name", built_in_names())
def test_every_phrase_of_a_group_names_that_group(name: str) -> None:
    """A phrase that another one hides would be dead: `but_not` and the last words must leave each its group."""
    profile = built_in(name)
    dead = [
        (word, phrase)
        for word, phrases in profile.groups.items()
        for phrase in phrases
        if phrase not in profile.groups and profile.closeness(word, phrase) is None
    ]
    assert dead == []


def test_a_profile_that_extends_nothing_knows_a_shed_all_the_same() -> None:
    """Else a corner inside a shed would be measured from, and a deck over a lid not be said."""
    text = '[profile]\nname = "own"\ntitle = "Own"\nlocal_code = "Local code decides."\n[groups]\nwell = ["borehole"]\n'
    own = read_profile("own.toml", {"own.toml": text})
    for profile in (own, built_in("epa")):
        assert profile.closeness("building", "garden shed") is not None
        assert profile.closeness("well", "window well") is None
    assert own.groups["well"] == ("borehole",)


def test_tasks_go_by_whole_words_too() -> None:
    assert is_of_kind(Component("a", "Pressure-lateral"), ("lateral",))
    assert not is_of_kind(Component("a", "bilateral thing"), ("lateral",))
    assert is_septic_tank(Component("a", "two-compartment septic-tank"))
    assert not holds("well", "dwelling")


# ------------------------------------------------------------ the setback table of Washington in its own words

TABLE = {
    "nonpublic well": (100, 50, 50),
    "non-public well": (100, 50, 50),
    "suction line": (100, 50, 50),
    "public drinking-water well": (100, 100, 100),
    "public drinking water well": (100, 100, 100),
    "public well": (100, 100, 100),
    "public drinking-water spring": (200, 200, 100),
    "public drinking water spring": (200, 200, 100),
    "public spring": (200, 200, 100),
    "non-public spring": (100, 50, 50),
    "spring": (100, 50, 50),
    "spring used for drinking": (100, 50, 50),
    "surface water used for drinking": (100, 50, 50),
    "spring/surface water used for drinking": (100, 50, 50),
    "pressurized water supply line": (10, 10, 10),
    "decommissioned well": (10, 0, 0),
    "surface water": (100, 50, 10),
    "surface water, marine or fresh": (100, 50, 10),
    "building foundation": (10, 5, None),
    "in-ground pool": (10, 5, None),
    "property line": (5, 5, None),
    "easement line": (5, 5, None),
    "down-gradient curtain drain": (30, 5, None),
    "downgradient curtain drain": (30, 5, None),
    "up-gradient curtain drain": (10, None, None),
    "down-gradient cut": (50, None, None),
    "down-gradient bank in deep soil": (25, None, None),
}
"""Clark County Code 24.17.120, the form of WAC 246-272A-0210 Table IV: feet from soil dispersal, sewage tank, building
sewer. The table's 2 ft from a sewer to a foundation is not held against the building sewer, which leaves it."""


@pytest.mark.parametrize("to", TABLE)
def test_the_names_of_the_code_get_the_limits_of_the_code(to: str) -> None:
    profile = built_in("washington")
    found = [profile.limits_for("setback", kind, to=to) for kind in ("lateral", "septic tank", "building sewer")]
    assert tuple(each[0].value if each else None for each in found) == TABLE[to]


@pytest.mark.parametrize("name", ["common", "minnesota"])
def test_no_setback_to_a_decommissioned_well_is_cited_there(name: str) -> None:
    for kind in ("lateral", "septic tank", "building sewer"):
        assert built_in(name).limits_for("setback", kind, to="decommissioned well") == ()
        assert built_in(name).limits_for("setback", kind, to="well")


def test_where_nobody_cites_the_code_the_source_is_not_washington() -> None:
    sources = {
        name: next(it.source() for it in built_in(name).facts_of("the property") if "inspection.state" in it.columns)
        for name in ("common", "massachusetts", "minnesota", "washington")
    }
    assert sources.pop("washington") == "WAC 246-272A-0260(1)"
    assert set(sources.values()) == {"trade practice: somebody inspects before cover (common practice)"}

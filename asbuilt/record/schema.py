"""The schema of the record: a list of steps that is only added to once released."""

from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sqlite_utils import Database, Migrations

APPLICATION_ID = 0x41734274
"""Marks an SQLite file as a record of this program ("AsBt"), in its header at byte 68."""

# The statements are written out, not made from the model: a record of today must come out of step 1 in the
# same form after the model has grown. A test compares the tables with the model's fields. A column is never
# renamed and a new one may be NULL, because the hashes of old entries are taken over names and cells that
# are not NULL (chain.py).
_FIRST = (
    # `entries` and `head` are the number of entries and the hash of the last one.
    """CREATE TABLE property (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE,
        entries INTEGER NOT NULL,
        head TEXT NOT NULL
    ) STRICT""",
    # One row an entry: a reading as it came in, or the withdrawal of one (then without a typed row).
    # `position` keeps the order of the sheet; a row put between two others gets a number between theirs.
    """CREATE TABLE entry (
        id INTEGER PRIMARY KEY,
        property_id INTEGER NOT NULL REFERENCES property(id),
        seq INTEGER NOT NULL,
        kind TEXT NOT NULL,
        position REAL,
        sheet TEXT NOT NULL,
        row INTEGER,
        who TEXT NOT NULL,
        at_utc TEXT NOT NULL,
        at_local TEXT NOT NULL,
        supersedes INTEGER UNIQUE REFERENCES entry(id),
        withdrawn INTEGER NOT NULL CHECK (withdrawn IN (0, 1)),
        reason TEXT,
        prev_hash TEXT NOT NULL,
        hash TEXT NOT NULL,
        UNIQUE (property_id, seq),
        CHECK (withdrawn = 0 OR supersedes IS NOT NULL),
        CHECK ((withdrawn = 1) = (position IS NULL))
    ) STRICT""",
    # One kind of one property, and one kind of all properties in turn (the due list), both without sorting.
    "CREATE INDEX entry_by_kind ON entry (kind, property_id, position, seq)",
    """CREATE TABLE property_facts (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "name" TEXT NOT NULL,
        "units" TEXT NOT NULL,
        "address" TEXT,
        "parcel" TEXT,
        "permit" TEXT,
        "authority" TEXT,
        "bedrooms" INTEGER,
        "design_gpd" REAL,
        "owner" TEXT,
        "phone" TEXT,
        "rules" TEXT,
        "measured_by" TEXT,
        "measured_on" TEXT,
        "measured_care" TEXT NOT NULL,
        "measured_tape_sigma_as_read" TEXT,
        "measured_tape_sigma_m" REAL,
        "measured_tape_sigma_step_m" REAL,
        "measured_wall_sigma_as_read" TEXT,
        "measured_wall_sigma_m" REAL,
        "measured_wall_sigma_step_m" REAL,
        "measured_square_sigma_deg" REAL NOT NULL,
        "measured_unknown_drop_as_read" TEXT,
        "measured_unknown_drop_m" REAL,
        "measured_unknown_drop_step_m" REAL,
        "measured_square_by_eye_deg" REAL NOT NULL,
        "measured_rod_sigma_as_read" TEXT,
        "measured_rod_sigma_m" REAL,
        "measured_rod_sigma_step_m" REAL,
        "earth_reference" TEXT,
        "earth_latitude" REAL,
        "earth_longitude" REAL,
        "earth_accuracy_m" REAL,
        "earth_wall_from" TEXT,
        "earth_wall_to" TEXT,
        "earth_azimuth_deg" REAL,
        "earth_north" TEXT,
        "earth_azimuth_sigma_deg" REAL,
        "benchmark_on" TEXT,
        "benchmark_elevation_as_read" TEXT,
        "benchmark_elevation_m" REAL,
        "benchmark_elevation_step_m" REAL,
        "benchmark_datum" TEXT,
        "draft" INTEGER NOT NULL,
        "access_truck" TEXT,
        "access_truck_above_as_read" TEXT,
        "access_truck_above_m" REAL,
        "access_truck_above_step_m" REAL,
        "access_gate" TEXT,
        "access_dog" TEXT,
        "access_bridge" TEXT,
        "access_wires" TEXT,
        "access_notes" TEXT,
        "panel_place" TEXT,
        "panel_breaker" TEXT,
        "panel_alarm_breaker" TEXT,
        "panel_silence" TEXT,
        "panel_call" TEXT,
        "panel_phone" TEXT,
        "panel_notes" TEXT
    ) STRICT""",
    """CREATE TABLE reference_point (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "name" TEXT NOT NULL,
        "description" TEXT,
        "kind" TEXT,
        "gone_on" TEXT,
        "sigma_as_read" TEXT,
        "sigma_m" REAL,
        "sigma_step_m" REAL
    ) STRICT""",
    """CREATE TABLE wall (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "from_" TEXT NOT NULL,
        "to" TEXT NOT NULL,
        "length_as_read" TEXT NOT NULL,
        "length_m" REAL NOT NULL,
        "length_step_m" REAL NOT NULL,
        "turn" TEXT NOT NULL,
        "turn_deg" REAL
    ) STRICT""",
    """CREATE TABLE point (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "component" TEXT NOT NULL,
        "point" TEXT NOT NULL,
        "order" REAL,
        "mark" TEXT,
        "size" TEXT,
        "depth_as_read" TEXT,
        "depth_m" REAL,
        "depth_step_m" REAL,
        "depth_to" TEXT,
        "description" TEXT,
        "photo" TEXT
    ) STRICT""",
    """CREATE TABLE tie (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "from_" TEXT NOT NULL,
        "to" TEXT NOT NULL,
        "distance_as_read" TEXT NOT NULL,
        "distance_m" REAL NOT NULL,
        "distance_step_m" REAL NOT NULL,
        "side_word" TEXT,
        "side_a" TEXT,
        "side_b" TEXT,
        "held" TEXT,
        "drop_as_read" TEXT,
        "drop_m" REAL,
        "drop_step_m" REAL,
        "note" TEXT
    ) STRICT""",
    """CREATE TABLE offset (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "wall_from" TEXT NOT NULL,
        "wall_to" TEXT NOT NULL,
        "point" TEXT NOT NULL,
        "along_as_read" TEXT NOT NULL,
        "along_m" REAL NOT NULL,
        "along_step_m" REAL NOT NULL,
        "out_as_read" TEXT NOT NULL,
        "out_m" REAL NOT NULL,
        "out_step_m" REAL NOT NULL,
        "hand" TEXT
    ) STRICT""",
    """CREATE TABLE known_coordinate (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "point" TEXT NOT NULL,
        "latitude" REAL,
        "longitude" REAL,
        "accuracy_m" REAL NOT NULL,
        "source" TEXT,
        "on" TEXT,
        "epsg" INTEGER,
        "easting" REAL,
        "northing" REAL,
        "height_as_read" TEXT,
        "height_m" REAL,
        "height_step_m" REAL
    ) STRICT""",
    """CREATE TABLE component (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "name" TEXT NOT NULL,
        "kind" TEXT NOT NULL,
        "shape" TEXT,
        "length_as_read" TEXT,
        "length_m" REAL,
        "length_step_m" REAL,
        "width_as_read" TEXT,
        "width_m" REAL,
        "width_step_m" REAL,
        "height_as_read" TEXT,
        "height_m" REAL,
        "height_step_m" REAL,
        "volume_gal" REAL,
        "liquid_depth_as_read" TEXT,
        "liquid_depth_m" REAL,
        "liquid_depth_step_m" REAL,
        "material" TEXT,
        "installed_on" TEXT,
        "removed_on" TEXT,
        "replaces" TEXT,
        "status" TEXT,
        "note" TEXT,
        "outlet_depth_as_read" TEXT,
        "outlet_depth_m" REAL,
        "outlet_depth_step_m" REAL,
        "compartments" TEXT,
        "follows" TEXT,
        "form" TEXT,
        "wall_as_read" TEXT,
        "wall_m" REAL,
        "wall_step_m" REAL,
        "weight_lb" REAL,
        "cover_as_read" TEXT,
        "cover_m" REAL,
        "cover_step_m" REAL,
        "groundwater_as_read" TEXT,
        "groundwater_m" REAL,
        "groundwater_step_m" REAL,
        "gal_per_in" REAL,
        "pipe" TEXT,
        "drains_back" INTEGER
    ) STRICT""",
    """CREATE TABLE household (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "from_" TEXT NOT NULL,
        "people" REAL NOT NULL,
        "to" TEXT,
        "months_a_year" REAL NOT NULL,
        "disposer" INTEGER NOT NULL,
        "building" TEXT
    ) STRICT""",
    """CREATE TABLE service_entry (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "on" TEXT NOT NULL,
        "component" TEXT NOT NULL,
        "task" TEXT NOT NULL,
        "compartment" TEXT,
        "by" TEXT,
        "gallons" REAL,
        "sludge_as_read" TEXT,
        "sludge_m" REAL,
        "sludge_step_m" REAL,
        "scum_as_read" TEXT,
        "scum_m" REAL,
        "scum_step_m" REAL,
        "level_before" TEXT,
        "evidence" TEXT,
        "note" TEXT,
        "tanks" TEXT,
        "opening" TEXT,
        "sludge_top_as_read" TEXT,
        "sludge_top_m" REAL,
        "sludge_top_step_m" REAL,
        "scum_bottom_as_read" TEXT,
        "scum_bottom_m" REAL,
        "scum_bottom_step_m" REAL,
        "runback" INTEGER,
        "baffles" TEXT,
        "filter" TEXT,
        "lid" TEXT,
        "secured" INTEGER,
        "reason" TEXT,
        "findings" TEXT,
        "actions" TEXT,
        "disposal" TEXT,
        "ticket" TEXT,
        "advice" TEXT,
        "scan" TEXT
    ) STRICT""",
    """CREATE TABLE own_task (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "component" TEXT NOT NULL,
        "task" TEXT NOT NULL,
        "every_months" REAL,
        "source" TEXT,
        "preferred_months" TEXT,
        "note" TEXT
    ) STRICT""",
    """CREATE TABLE rule_file (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "name" TEXT NOT NULL,
        "text" TEXT NOT NULL
    ) STRICT""",
    # The due list, reckoned from the entries of a property in the transaction that adds them. It can be thrown
    # away and made anew: `head` is the property's last hash it was reckoned from, `reckoned_by` the program and
    # the rules that it was reckoned with, and from the day `valid_from` on it no longer hangs on the day.
    """CREATE TABLE due_property (
        property_id INTEGER PRIMARY KEY REFERENCES property(id),
        head TEXT NOT NULL,
        reckoned_by TEXT NOT NULL,
        valid_from TEXT NOT NULL,
        address TEXT,
        owner TEXT,
        phone TEXT,
        findings TEXT NOT NULL,
        attention INTEGER NOT NULL
    ) STRICT""",
    # Kept in the order in which it is read: the rows of 90 days over a whole office lie side by side. `due_on` is a
    # day, or never, which sorts last; `row` is the JSON that `due --json` prints, without its end.
    """CREATE TABLE due_state (
        due_on TEXT NOT NULL,
        property_id INTEGER NOT NULL REFERENCES due_property(property_id),
        component TEXT NOT NULL,
        task TEXT NOT NULL,
        row TEXT NOT NULL,
        PRIMARY KEY (due_on, property_id, component, task)
    ) WITHOUT ROWID, STRICT""",
    "CREATE INDEX due_state_by_property ON due_state (property_id)",
    "CREATE INDEX due_property_attention ON due_property (attention) WHERE attention = 1",
    # What the sheets of a draft held and could not be taken, as it was said when they were loaded.
    """CREATE TABLE left_out (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "file" TEXT NOT NULL,
        "row" INTEGER,
        "column" TEXT,
        "reason" TEXT NOT NULL,
        "accepted" TEXT NOT NULL
    ) STRICT""",
    # `number` is in `unit`, the unit of the reading's kind.
    """CREATE TABLE site_reading (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "on" TEXT NOT NULL,
        "component" TEXT NOT NULL,
        "reading" TEXT NOT NULL,
        "as_read" TEXT NOT NULL,
        "number" REAL NOT NULL,
        "unit" TEXT NOT NULL,
        "by" TEXT,
        "note" TEXT
    ) STRICT""",
    # The length of a reading is negative where the rod was held upside down.
    """CREATE TABLE level_shot (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "setup" TEXT NOT NULL,
        "on" TEXT NOT NULL,
        "to" TEXT NOT NULL,
        "backsight_as_read" TEXT,
        "backsight_m" REAL,
        "backsight_step_m" REAL,
        "foresight_as_read" TEXT,
        "foresight_m" REAL,
        "foresight_step_m" REAL,
        "distance_as_read" TEXT,
        "distance_m" REAL,
        "distance_step_m" REAL,
        "day" TEXT,
        "note" TEXT
    ) STRICT""",
)


_FIRST_TABLES = (
    *("entry", "property_facts", "reference_point", "wall", "point", "tie", "offset", "known_coordinate", "component"),
    *("household", "service_entry", "level_shot", "own_task", "rule_file", "site_reading", "left_out"),
)
"""The tables of step 1 to which rows are only added."""

_LENGTH = {"as_read": "TEXT", "m": "REAL", "step_m": "REAL"}


def _columns(table: str, **kinds: str) -> tuple[str, ...]:
    """Add columns that may be NULL; a LENGTH is three of them."""
    return tuple(
        f'ALTER TABLE {table} ADD COLUMN "{column}" {sql_type}'
        for name, kind in kinds.items()
        for column, sql_type in (
            [(f"{name}_{end}", end_type) for end, end_type in _LENGTH.items()] if kind == "LENGTH" else [(name, kind)]
        )
    )


# The record drawing, the inspection before cover, photos, and what is found again years later.
_SECOND = (
    *_columns(
        "property_facts",
        measured_level_tolerance="LENGTH",
        inspection_state="TEXT",
        inspection_called_on="TEXT",
        inspection_came_on="TEXT",
        inspection_released_on="TEXT",
        inspection_by="TEXT",
        inspection_note="TEXT",
        drawing_installer="TEXT",
        drawing_designer="TEXT",
        drawing_design="TEXT",
        drawing_as_designed="INTEGER",
        drawing_deviations="TEXT",
        drawing_notes="TEXT",
    ),
    *_columns("point", known_by="TEXT", color="TEXT", material="TEXT", landmark="TEXT", pin="TEXT"),
    *_columns("tie", on="TEXT"),
    *_columns("component", marker="TEXT", marker_end="TEXT", closed_how="TEXT", shown_by="TEXT"),
    *_columns("component", orifice="LENGTH", orifices="INTEGER", spacing="LENGTH"),
    *_columns("component", end_to_lid="LENGTH", side_to_lid="LENGTH"),
    """CREATE TABLE photo (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "of" TEXT NOT NULL,
        "file" TEXT NOT NULL,
        "sha256" TEXT NOT NULL,
        "form" TEXT NOT NULL,
        "width" INTEGER NOT NULL,
        "height" INTEGER NOT NULL,
        "taken_at" TEXT,
        "latitude" REAL,
        "longitude" REAL,
        "caption" TEXT,
        "gps_removed" INTEGER NOT NULL
    ) STRICT""",
    """CREATE TABLE sighting (
        entry_id INTEGER PRIMARY KEY REFERENCES entry(id),
        "on" TEXT NOT NULL,
        "point" TEXT NOT NULL,
        "from1" TEXT,
        "tape1_as_read" TEXT,
        "tape1_m" REAL,
        "tape1_step_m" REAL,
        "from2" TEXT,
        "tape2_as_read" TEXT,
        "tape2_m" REAL,
        "tape2_step_m" REAL,
        "off_as_read" TEXT,
        "off_m" REAL,
        "off_step_m" REAL,
        "toward" TEXT,
        "depth_as_read" TEXT,
        "depth_m" REAL,
        "depth_step_m" REAL,
        "by" TEXT,
        "note" TEXT,
        "landmark" TEXT
    ) STRICT""",
)


def _only_added_to(table: str) -> tuple[str, ...]:
    # No command changes or deletes a reading; this stops our own mistakes. The hashes show everybody else's.
    return tuple(
        f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, 'entries are only added'); END"
        for act in ("UPDATE", "DELETE")
    )


STEPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "0001 entries of one property chained by hash",
        (
            *_FIRST,
            *(line for table in _FIRST_TABLES for line in _only_added_to(table)),
            f"PRAGMA application_id = {APPLICATION_ID}",
        ),
    ),
    (
        "0002 record drawing, inspection, photos and sightings",
        (*_SECOND, *(line for table in ("photo", "sighting") for line in _only_added_to(table))),
    ),
)
"""Name and statements of each step; the version of a record is the number of steps that it has seen."""

VERSION = len(STEPS)
"""The version of the schema that this program writes; stands in the header of the file (`user_version`)."""


@cache
def migrations(library: Any) -> "Migrations":
    """Make the steps known to sqlite-utils, whose module is given because it is imported late."""
    known: Migrations = library.Migrations("asbuilt")
    for number, (name, statements) in enumerate(STEPS, start=1):
        known(name=name)(_step((*statements, f"PRAGMA user_version = {number}")))
    return known


def _step(statements: tuple[str, ...]) -> Any:
    def step(db: "Database") -> None:
        for statement in statements:
            db.execute(statement)

    return step

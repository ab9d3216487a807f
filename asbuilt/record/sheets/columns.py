"""The contract of the field sheets as data: every sheet, its columns, and how each cell is read.

A new column is one line here and a field of the same name in the model.
"""

from asbuilt.model.components import FORMS, KNOWN_BY, PINS, SHAPES
from asbuilt.model.entries import EVIDENCE, LID
from asbuilt.model.handover import INSPECTION_STATES
from asbuilt.model.levels import STOOD_ON
from asbuilt.model.measurements import HELD
from asbuilt.model.place import CARES
from asbuilt.model.site_readings import READINGS
from asbuilt.model.tasks import SOURCES
from asbuilt.record.sheets.cells import (
    LONGEST_NAME,
    choice,
    compartments,
    epsg,
    length,
    months,
    name,
    number,
    pipe,
    side,
    signed_length,
    task,
    text,
    turn,
    yes_no,
)
from asbuilt.record.sheets.days import iso_date
from asbuilt.record.sheets.rows import Column

PROPERTY = "property.toml"
TAPES = ("1", "2", "3", "4")
"""Numbers of the tapes in a row of `points.csv`."""

_PLAIN = name()
_POINT = name(slash=True)
_FULL = name(slash=True, limit=2 * LONGEST_NAME + 1)
_SIZE = length(zero=False)
_DEPTH = length()
_READING = signed_length(longest_m=10)  # no rod is longer, so more is a slip of unit or point
_ELEVATION = signed_length(longest_m=9000)
_LATITUDE = number(-90, 90)
_LONGITUDE = number(-180, 180)
_ABOVE_ZERO = number(above=0)

PROPERTY_KEYS: dict[str, tuple[Column, ...]] = {
    "": (
        # units first: the lengths of the other tables are read in them
        Column("units", choice("ft-in", "ft", "m"), needed=True),
        Column("name", name(slash=True, limit=120), needed=True),
        Column("address", text),
        Column("parcel", text),
        Column("permit", text),
        Column("authority", text),
        Column("bedrooms", number(0, 1000, whole=True), kind="number"),
        Column("design_gpd", _ABOVE_ZERO, kind="number"),
        Column("owner", text),
        Column("phone", text),
        Column("rules", text),
    ),
    "measured": (
        Column("by", text),
        Column("on", iso_date, kind="date"),
        Column("care", choice(*CARES)),
        Column("tape_sigma", _SIZE, unit=True),
        Column("wall_sigma", _SIZE, unit=True),
        Column("square_sigma_deg", number(0, 45), kind="number"),
        Column("unknown_drop", _DEPTH, unit=True),
        Column("square_by_eye_deg", number(0, 45), kind="number"),
        Column("rod_sigma", _SIZE, unit=True),
        Column("level_tolerance", _SIZE, unit=True),
    ),
    "earth": (
        Column("reference", _PLAIN),
        Column("latitude", _LATITUDE, kind="number"),
        Column("longitude", _LONGITUDE, kind="number"),
        Column("accuracy_m", _ABOVE_ZERO, kind="number"),
        Column("wall_from", _PLAIN),
        Column("wall_to", _PLAIN),
        Column("azimuth_deg", number(0, 360), kind="number"),
        Column("north", choice("true", "magnetic")),
        Column("azimuth_sigma_deg", number(above=0, high=180), kind="number"),
    ),
    "benchmark": (
        Column("on", _FULL, needed=True),
        Column("elevation", _ELEVATION, unit=True),
        Column("datum", text),
    ),
    "access": (
        Column("truck", _FULL),
        Column("truck_above", signed_length(longest_m=100), unit=True),
        *(Column(key, text) for key in ("gate", "dog", "bridge", "wires", "notes")),
    ),
    "panel": tuple(
        Column(key, text) for key in ("place", "breaker", "alarm_breaker", "silence", "call", "phone", "notes")
    ),
    "inspection": (
        Column("state", choice(*INSPECTION_STATES)),
        *(Column(key, iso_date, kind="date") for key in ("called_on", "came_on", "released_on")),
        *(Column(key, text) for key in ("by", "note")),
    ),
    "drawing": (
        *(Column(key, text) for key in ("installer", "designer", "design")),
        Column("as_designed", yes_no, kind="flag"),
        *(Column(key, text) for key in ("deviations", "notes")),
    ),
}
"""Keys of `property.toml` by table; "" = the top of the file."""

SHEETS: dict[str, tuple[Column, ...]] = {
    "reference_points.csv": (
        Column("name", _PLAIN, needed=True),
        Column("description", text),
        Column("kind", text),
        Column("gone_on", iso_date),
        Column("sigma", _SIZE, unit=True),
    ),
    "walls.csv": (
        Column("from", _FULL, needed=True),
        Column("to", _FULL, needed=True),
        Column("length", _SIZE, needed=True, unit=True),
        Column("turn", turn, needed=True, blank=True),
    ),
    "points.csv": (
        Column("component", _PLAIN, needed=True),
        Column("point", _POINT, needed=True),
        Column("order", number()),
        Column("mark", text),
        *(
            column
            for tape in TAPES
            for column in (Column(f"from{tape}", _FULL), Column(f"tape{tape}", _SIZE, unit=True))
        ),
        Column("side", side),
        Column("held", choice(*HELD)),
        Column("drop", _DEPTH, unit=True),
        Column("size", text),
        Column("depth", _DEPTH, unit=True),
        Column("depth_to", choice("top", "invert")),
        Column("description", text),
        Column("photo", text),
        Column("known_by", choice(*KNOWN_BY)),
        *(Column(key, text) for key in ("color", "material", "landmark")),
        Column("pin", choice(*PINS)),
    ),
    "ties.csv": (
        Column("from", _FULL, needed=True),
        Column("to", _FULL, needed=True),
        Column("distance", _SIZE, needed=True, unit=True),
        Column("side", side),
        Column("held", choice(*HELD)),
        Column("drop", _DEPTH, unit=True),
        Column("note", text),
        Column("on", iso_date),
    ),
    "offsets.csv": (
        Column("wall_from", _FULL, needed=True),
        Column("wall_to", _FULL, needed=True),
        Column("point", _FULL, needed=True),
        Column("along", _DEPTH, needed=True, unit=True),
        Column("out", _DEPTH, needed=True, unit=True),
        Column("hand", choice("left", "right")),
    ),
    "known_coordinates.csv": (
        Column("point", _FULL, needed=True),
        Column("latitude", _LATITUDE),
        Column("longitude", _LONGITUDE),
        Column("epsg", epsg),
        Column("easting", number(), unit_from="the system in epsg"),
        Column("northing", number(), unit_from="the system in epsg"),
        Column("height", _ELEVATION, unit=True),
        Column("accuracy_m", _ABOVE_ZERO, needed=True),
        Column("source", text),
        Column("on", iso_date),
    ),
    "components.csv": (
        Column("name", _PLAIN, needed=True),
        Column("kind", text, needed=True),
        Column("shape", choice(*SHAPES)),
        Column("length", _SIZE, unit=True),
        Column("width", _SIZE, unit=True),
        Column("height", _SIZE, unit=True),
        Column("volume_gal", _ABOVE_ZERO),
        Column("liquid_depth", _SIZE, unit=True),
        Column("material", text),
        Column("installed_on", iso_date),
        Column("removed_on", iso_date),
        Column("replaces", _PLAIN),
        Column("status", text),
        Column("note", text),
        Column("outlet_depth", _SIZE, unit=True),
        Column("compartments", compartments),
        Column("follows", _PLAIN),
        Column("form", choice(*FORMS)),
        Column("wall", _DEPTH, unit=True),
        Column("weight_lb", _ABOVE_ZERO),
        Column("cover", _DEPTH, unit=True),
        Column("groundwater", _DEPTH, unit=True),
        Column("gal_per_in", _ABOVE_ZERO),
        Column("pipe", pipe),
        Column("drains_back", yes_no),
        *(Column(key, text) for key in ("marker", "marker_end", "closed_how", "shown_by")),
        Column("orifice", _SIZE, unit=True),
        Column("orifices", number(1, 10_000, whole=True)),
        Column("spacing", _SIZE, unit=True),
        Column("end_to_lid", _DEPTH, unit=True),
        Column("side_to_lid", _DEPTH, unit=True),
    ),
    "household.csv": (
        Column("from", iso_date, needed=True),
        Column("to", iso_date),
        Column("people", number(0), needed=True),
        Column("months_a_year", number(0, 12)),
        Column("disposer", yes_no),
        Column("building", text),
    ),
    "service.csv": (
        Column("on", iso_date, needed=True),
        Column("component", _PLAIN, needed=True),
        Column("task", task, needed=True),
        Column("compartment", text),
        Column("by", text),
        Column("gallons", number(0)),
        Column("sludge", _DEPTH, unit=True),
        Column("scum", _DEPTH, unit=True),
        Column("level_before", text),
        Column("evidence", choice(*EVIDENCE)),
        Column("note", text),
        Column("tanks", text),
        Column("opening", text),
        Column("sludge_top", _DEPTH, unit=True),
        Column("scum_bottom", _DEPTH, unit=True),
        Column("runback", yes_no),
        Column("baffles", text),
        Column("filter", text),
        Column("lid", choice(*LID)),
        Column("secured", yes_no),
        Column("reason", text),
        Column("findings", text),
        Column("actions", text),
        Column("disposal", text),
        Column("ticket", text),
        Column("advice", text),
        Column("scan", text),
    ),
    "levels.csv": (
        Column("setup", _PLAIN, needed=True),
        Column("on", _FULL, needed=True),
        Column("to", choice(*STOOD_ON)),
        Column("backsight", _READING, unit=True),
        Column("foresight", _READING, unit=True),
        Column("distance", _SIZE, unit=True),
        Column("day", iso_date),
        Column("note", text),
    ),
    "tasks.csv": (
        Column("component", _PLAIN, needed=True),
        Column("task", task, needed=True),
        Column("every_months", _ABOVE_ZERO),
        Column("source", choice(*SOURCES)),
        Column("preferred_months", months),
        Column("note", text),
    ),
    "readings.csv": (
        Column("on", iso_date, needed=True),
        Column("component", _PLAIN, needed=True),
        Column("reading", choice(*READINGS), needed=True),
        Column("value", text, needed=True),
        Column("unit", text),
        Column("by", text),
        Column("note", text),
    ),
    "photos.csv": (
        Column("of", _FULL, needed=True),
        Column("file", text, needed=True),
        Column("caption", text),
        Column("remove_gps", yes_no),
    ),
    "sightings.csv": (
        Column("on", iso_date, needed=True),
        Column("point", _FULL, needed=True),
        *(c for k in "12" for c in (Column(f"from{k}", _FULL), Column(f"tape{k}", _SIZE, unit=True))),
        Column("off", _DEPTH, unit=True),
        Column("toward", text),
        Column("depth", _DEPTH, unit=True),
        Column("by", text),
        Column("note", text),
        Column("landmark", text),
    ),
}
"""Columns of every CSV sheet, in the order in which problems are told."""

SHEET_NAMES = (PROPERTY, *SHEETS)

"""An invented property for the tests of the record, and rows as a sheet reader gives them."""

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from datetime import UTC, date, datetime
from typing import Any

from asbuilt.model.components import Component, Point
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.levels import Benchmark, LevelShot
from asbuilt.model.measurements import KnownCoordinate, Offset, Side, Tie, Wall
from asbuilt.model.photos import Photo
from asbuilt.model.place import Earth, Measured, Property, ReferencePoint
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.rule_files import RuleFile
from asbuilt.model.sightings import Sighting
from asbuilt.model.site_readings import SiteReading
from asbuilt.model.tasks import OwnTask
from asbuilt.units import FOOT_M, Length

NOON = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Row:
    """One row of a sheet, as the sheet reader gives it."""

    sheet: str
    row: int | None
    value: Any


def feet(number: float) -> Length:
    return Length(f"{number:g} ft", number * FOOT_M, 0.1 * FOOT_M)


SAMPLE = PropertyRecord(
    property=Property(
        "Invented Lane 7",
        "ft",
        bedrooms=3,
        design_gpd=450.0,
        owner="Nobody O'Example; DROP TABLE entry",
        measured=Measured(by="tester", on=date(2026, 4, 30), care="careful", tape_sigma=Length("2 cm", 0.02, 0.01)),
        earth=Earth(reference="A", latitude=10.5, longitude=-20.25, accuracy_m=3.0, azimuth_deg=12.5),
        benchmark=Benchmark("A", Length("-2.5 m", -2.5, 0.1), "NAVD 88"),
    ),
    reference_points=(
        ReferencePoint("A", "south-west corner, outside face of siding", "corner"),
        ReferencePoint("B", kind="corner", sigma=feet(0.05)),
        ReferencePoint("pin", kind="pin", gone_on=date(2025, 1, 2)),
    ),
    walls=(Wall("A", "B", feet(30), "L", 90.0), Wall("B", "C", feet(20), "?", None)),
    points=(
        Point("septic tank", "inlet lid", 1.0, mark="1", depth=feet(1.5), depth_to="top"),
        Point("septic tank", "outlet lid", 2.0, photo="lid.jpg"),
    ),
    ties=(
        Tie("A", "septic tank/inlet lid", feet(23.4), Side("right", "A", "B"), "level"),
        Tie("B", "septic tank/inlet lid", feet(18.1), Side("out"), drop=feet(2)),
        Tie("B", "septic tank/inlet lid", feet(18.2), note="second tape"),
        Tie("A", "septic tank/outlet lid", feet(27.0)),
    ),
    offsets=(Offset("A", "B", "cleanout", feet(4), feet(2.5), "left"),),
    known_coordinates=(KnownCoordinate("B", 10.50001, -20.24999, 3.0, "phone", date(2026, 4, 30)),),
    components=(
        Component("septic tank", "septic tank", volume_gal=750.0, removed_on=date(2020, 6, 1)),
        Component(
            "septic tank", "septic tank", "box", feet(8), feet(5), volume_gal=1000.0, installed_on=date(2020, 6, 1)
        ),
        Component("cleanout", "cleanout", "point"),
    ),
    household=(Household(date(2018, 1, 1), 2.0, date(2021, 1, 1)), Household(date(2021, 1, 1), 4.5, disposer=True)),
    service=(ServiceEntry(date(2023, 7, 1), "septic tank", "pump-out", gallons=950.0, evidence="receipt"),),
    tasks=(OwnTask("septic tank", "inspection", 24.0, "owner", "4-6"),),
    rule_files=(RuleFile("county.toml", '[profile]\nname = "county"\ntitle = "Invented"\nextends = "common"\n'),),
    levels=(
        LevelShot("1", "A", backsight=feet(4.2), distance=feet(30)),
        LevelShot("1", "septic tank/inlet lid", "grade", foresight=feet(-1.1), day=date(2026, 4, 30), note="inverted"),
    ),
    readings=(SiteReading(date(2024, 5, 1), "septic tank", "groundwater", "4.5 ft", 4.5 * FOOT_M, "m", "tester"),),
    photos=(
        Photo(
            "septic tank/inlet lid", "lid.jpg", "0" * 64, "jpeg", 640, 480, "2026-04-30 10:31:07", 10.5, -20.25, "lid"
        ),
        Photo("cleanout", "cap.png", "1" * 64, "png", 10, 20, gps_removed=True),
    ),
    sightings=(
        Sighting(date(2031, 5, 1), "cleanout", "A", feet(12), "B", feet(20), feet(0.5), "toward A", feet(1), "tester"),
    ),
)


def sheet_rows(known: PropertyRecord, but: Iterable[str] = ()) -> list[Row]:
    """Give the rows of the sheets that say what is known, without the fields named."""
    rows = [Row("property.toml", None, known.property)]
    for field in fields(known):
        if field.name not in {"property", *but}:
            values = getattr(known, field.name)
            rows += [Row(f"{field.name}.csv", number, value) for number, value in enumerate(values, start=2)]
    return rows


def named(name: str, known: PropertyRecord = SAMPLE) -> PropertyRecord:
    return replace(known, property=replace(known.property, name=name))

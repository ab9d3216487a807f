"""Invented properties over an invented district, for the tests of routes and of the map of what is due."""

import random
from datetime import date, timedelta
from pathlib import Path

from tests.commands import WriteSheets, invoke, two_corners

YARD = (42.53, -118.45)
"""Latitude and longitude of the yard: open, empty ground where no house stands."""

FIRST_DAY = date(2027, 5, 3)


def sheets_of(
    name: str, place: tuple[float, float] | None, installed_on: date, volume_gal: int | None = 1000, more: str = ""
) -> dict[str, object]:
    """Give the sheets of one property with a tank that four people use since it was put in.

    Parameters
    ----------
    place
        Latitude and longitude; None = no coordinates.
    more
        Lines of property.toml before its tables.
    """
    sheets = two_corners(name)
    head, _, rest = more.partition("[")
    text = sheets["property"] + head
    if place is not None:
        text += f'[earth]\nreference = "A"\nlatitude = {place[0]}\nlongitude = {place[1]}\naccuracy_m = 3.0\n'
        text += 'wall_from = "A"\nwall_to = "B"\nazimuth_deg = 90.0\nnorth = "true"\n'
    sheets["property"] = text + (f"[{rest}" if rest else "")
    volume = "" if volume_gal is None else volume_gal
    head_row = ["name", "kind", "volume_gal", "installed_on"]
    sheets["components"] = [head_row, ["septic tank", "septic tank", volume, installed_on]]
    sheets["household"] = [["from", "people"], [installed_on, 4]]
    return sheets


def load_district(write_sheets: WriteSheets, count: int, seed: int = 1) -> Path:
    """Load so many invented properties within some 15 km into `asbuilt.db` of the folder one stands in."""
    draw = random.Random(seed)  # noqa: S311 - not a secret
    for number in range(1, count + 1):
        place = (round(YARD[0] + draw.uniform(-0.12, 0.12), 6), round(YARD[1] + draw.uniform(-0.16, 0.16), 6))
        installed = date(2023, 1, 1) + timedelta(days=draw.randrange(700))
        volume = draw.choice([750, 1000, 1000, 1250, 1500])
        address = f'address = "{number} Example Road (invented)"\n'
        more = f'{address}owner = "Owner {number} (invented)"\nphone = "555-01{number:02}"\n'
        folder = write_sheets(f"p{number}", **sheets_of(f"Example Road {number}", place, installed, volume, more))
        assert invoke("load", folder, "--who", "tester").exit_code == 0
    return Path("asbuilt.db")

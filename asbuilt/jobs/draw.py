"""Draw one property: the map and the GeoJSON of what is recorded, with what is due."""

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from asbuilt.errors import PlaceError
from asbuilt.findings import Finding, worst_first
from asbuilt.jobs.due import dues_of
from asbuilt.jobs.locate import Located
from asbuilt.output.cautions import CAUTIONS
from asbuilt.output.features import Feature, build_features
from asbuilt.output.map.symbols import symbol_of
from asbuilt.output.text.positions import DRAFT_WORDS
from asbuilt.service.schedule import Due

if TYPE_CHECKING:
    from asbuilt.output.map.webmap import MapPhoto

PHOTO_PX = 480
"""Longest side of a photo on the map: the width of a phone; about 30 kB each."""


@dataclass(frozen=True, slots=True)
class Shown:
    """One solved property as on a day: what its map and its files are made from."""

    located: Located
    today: date
    features: tuple[Feature, ...]
    dues: tuple[Due, ...]
    findings: tuple[Finding, ...]  #: of the survey and of what is due, worst first


def show_property(located: Located, today: date) -> Shown:
    """Gather what is shown of one solved property as on a day."""
    dues, noticed = dues_of(located.record, today)
    features = build_features(located.record, located.solution, located.placement, dues)
    return Shown(located, today, features, tuple(dues), tuple(worst_first([*located.findings, *noticed])))


def map_of(shown: Shown, record_file: Path | None = None, proposed: Sequence[Feature] = ()) -> str:
    """Draw the map of one property: one HTML document.

    Parameters
    ----------
    record_file
        Where the photos lie beside; None = a map without photos. One that is missing or altered is left out.
    proposed
        What somebody would build, as features of the role `proposed`.
    """
    from asbuilt.output.map.points import found_points
    from asbuilt.output.map.webmap import MapSheet, render_map

    located, place = shown.located, shown.located.record.property
    return render_map(
        MapSheet(
            title=place.name,
            subtitle=tuple(line for line in (DRAFT_WORDS if place.draft else None, place.address) if line),
            units=place.units,
            features=(*shown.features, *proposed),
            placed=located.placement is not None,
            as_of=shown.today.isoformat(),
            findings=tuple(finding.as_json() for finding in shown.findings),
            due=tuple(due.as_json() for due in shown.dues),
            cautions=CAUTIONS,
            north_up=located.solution.azimuth_deg is not None or located.placement is not None,
            found=found_points(located.record, located.solution, located.placement),
            photos=() if record_file is None else _photos(shown, record_file),
        )
    )


def _photos(shown: Shown, record_file: Path) -> "tuple[MapPhoto, ...]":
    """Make the photos small, those of lids first."""
    from asbuilt.output.map.webmap import MapPhoto

    photos = shown.located.record.photos
    if not photos:
        return ()
    from asbuilt.record.photos import thumbnails

    small = thumbnails(record_file, photos, PHOTO_PX)
    lids = {feature.name for feature in shown.features if feature.role == "point" and symbol_of(feature) == "lid"}
    return tuple(
        MapPhoto(photo.of, photo.caption or "", f"data:image/jpeg;base64,{b64encode(small[photo.sha256]).decode()}")
        for photo in sorted(photos, key=lambda photo: photo.of not in lids)
        if photo.sha256 in small
    )


def geojson_of(shown: Shown, *, points: bool = False, house: bool = False, elevation: bool = False) -> str:
    """Write one property as GeoJSON text; a draft says so in every feature.

    Parameters
    ----------
    points
        Also every measured point as a feature of its own.
    house
        Also the house outline and the reference points.
    elevation
        Also the third coordinate where it is known; see `write_geojson`.

    Raises
    ------
    PlaceError
        If nothing places the property on the earth: GeoJSON knows longitude and latitude only.
    """
    from asbuilt.output.gis.geojson import write_geojson

    place = shown.located.record.property
    if shown.located.placement is None:
        raise PlaceError(
            f"{place.name} has no place on the earth, and GeoJSON has longitude and latitude only; "
            "give [earth] in property.toml a reference point with coordinates and a wall's azimuth (lines such as "
            'reference = "A", latitude = 42.52829, longitude = -118.45520, accuracy_m = 4, wall_from = "A", '
            'wall_to = "B", azimuth_deg = 352), or two known coordinates in known_coordinates.csv'
        )
    roles = {"component"} | ({"point"} if points else set()) | ({"building", "reference"} if house else set())
    chosen = [feature for feature in shown.features if feature.role in roles]
    if place.draft:
        chosen = [replace(feature, attributes={**feature.attributes, "draft": True}) for feature in chosen]
    return write_geojson(chosen, elevation=elevation)

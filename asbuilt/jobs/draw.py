"""Draw one property: the map and the GeoJSON of what is recorded, with what is due."""

from dataclasses import replace
from datetime import date

from asbuilt.errors import PlaceError
from asbuilt.findings import Finding, worst_first
from asbuilt.jobs.due import dues_of
from asbuilt.jobs.locate import Located
from asbuilt.output.cautions import CAUTIONS
from asbuilt.output.features import Feature, build_features
from asbuilt.output.positions import DRAFT_WORDS


def features_of(located: Located, today: date) -> tuple[Feature, ...]:
    """Make the features of one solved property as on a day."""
    dues, _ = dues_of(located.record, today)
    features = build_features(located.record, located.solution, located.placement, dues)
    if not located.record.property.draft:
        return features
    return tuple(replace(feature, attributes={**feature.attributes, "draft": True}) for feature in features)


def findings_of(located: Located, today: date) -> tuple[Finding, ...]:
    """Give what is said of one property on its map and in its files: of the survey and of what is due, worst first."""
    _, findings = dues_of(located.record, today)
    return tuple(worst_first([*located.findings, *findings]))


def map_of(located: Located, today: date) -> str:
    """Draw the map of one solved property as on a day: one HTML document."""
    from asbuilt.output.webmap import MapSheet, render_map

    place = located.record.property
    dues, _ = dues_of(located.record, today)
    return render_map(
        MapSheet(
            title=place.name,
            subtitle=tuple(line for line in (DRAFT_WORDS if place.draft else None, place.address) if line),
            units=place.units,
            features=build_features(located.record, located.solution, located.placement, dues),
            placed=located.placement is not None,
            as_of=today.isoformat(),
            findings=tuple(finding.as_json() for finding in findings_of(located, today)),
            due=tuple(due.as_json() for due in dues),
            cautions=CAUTIONS,
            north_up=located.solution.azimuth_deg is not None or located.placement is not None,
        )
    )


def geojson_of(
    located: Located, today: date, *, points: bool = False, house: bool = False, elevation: bool = False
) -> str:
    """Write one solved property as GeoJSON text.

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
    from asbuilt.output.geojson import write_geojson

    if located.placement is None:
        raise PlaceError(
            f"{located.record.property.name} has no place on the earth, and GeoJSON has longitude and latitude only; "
            "give [earth] a reference point with coordinates and a wall's azimuth, or two known coordinates"
        )
    roles = {"component"} | ({"point"} if points else set()) | ({"building", "reference"} if house else set())
    chosen = (feature for feature in features_of(located, today) if feature.role in roles)
    return write_geojson(chosen, elevation=elevation)

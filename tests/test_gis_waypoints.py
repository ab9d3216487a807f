"""GPX waypoints, read by gpxpy and GDAL, with hostile words."""

from pathlib import Path

import gpxpy
from shapely.geometry import LineString, Point

from asbuilt.output.features import Feature
from asbuilt.output.gis.formats import Sheaf
from asbuilt.output.gis.waypoints import gpx_text, write_waypoints
from tests.export_samples import feature_counts, kept, ogrinfo
from tests.hostile import HOSTILE


def hostile_points() -> Sheaf:
    features = tuple(
        Feature("point", text, text, Point(-118 + k * 1e-4, 42), {"accuracy_text": text, "description": text})
        for k, text in enumerate(HOSTILE)
    )
    return Sheaf("]]><x>&\x00", features)


def one_line(text: str) -> str:
    return " ".join(kept(text).split())


def test_every_hostile_word_comes_back() -> None:
    text, count = write_waypoints([hostile_points()])
    found = gpxpy.parse(text).waypoints
    assert len(found) == count == len(HOSTILE)
    for k, (point, word) in enumerate(zip(found, HOSTILE, strict=True)):
        assert (point.name or "") == cut(one_line(word), 120)
        assert (point.type or "") == cut(one_line(word), 120)
        assert (point.description or "").split() == cut(f"{kept(word)}\n{kept(word)}", 1_000).split()
        assert (point.longitude, point.latitude) == (round(-118 + k * 1e-4, 8), 42.0)


def cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 3] + "..."


def test_gdal_reads_every_waypoint(tmp_path: Path) -> None:
    (tmp_path / "a.gpx").write_text(write_waypoints([hostile_points()])[0], encoding="utf-8", newline="\n")
    assert feature_counts(ogrinfo(tmp_path / "a.gpx"))[0] == len(HOSTILE)


def test_single_places_are_waypoints_and_nothing_twice() -> None:
    features = (
        Feature("component", "well", "well", Point(1, 2), {"points": 1}),  # the point below again
        Feature("point", "well", "well", Point(1, 2)),
        Feature("component", "sewer", "building sewer", LineString([(1, 2), (3, 4)]), {"points": 2}),
        Feature("point", "lost", "valve", None),
        Feature("reference", "NE corner", "corner", Point(5, 6)),
    )
    text, count = write_waypoints([Sheaf("lot", features)])
    assert [point.name for point in gpxpy.parse(text).waypoints] == ["well", "NE corner"]
    assert count == 2


def test_heights_are_elevations() -> None:
    text, _ = write_waypoints([Sheaf("lot", (Feature("point", "a", "valve", Point(1, 2, 30.25)),))])
    assert gpxpy.parse(text).waypoints[0].elevation == 30.25


def test_the_escaping_function_leaves_nothing_that_begins_markup() -> None:
    for text in HOSTILE:
        assert not set(gpx_text(text)) & set("<>")

"""`asbuilt export`: every format read by other people's programs, what is refused, and one property at a time."""

import csv
import io
import json
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any

import ezdxf
import geopandas
import gpxpy
import numpy as np
import pytest
import shapely
from lxml import etree

from asbuilt.jobs import export as job
from asbuilt.jobs.properties import located
from asbuilt.output.gis.formats import FORMATS, Format
from asbuilt.record.database import open_record
from asbuilt.record.entries import read_all
from asbuilt.units import FOOT_M
from tests.commands import SAMPLE_NAME, Run, WriteSheets, files_below, parsed, two_corners
from tests.export_samples import DAY, feature_counts, ogrinfo

THINGS = 69  # 19 components, 42 points, 7 marks and the house
POINTS = 49
EARTH = "[earth]\nreference = 'A'\nlatitude = 10.5\nlongitude = -30.25\naccuracy_m = 3.0\n"
EARTH += "wall_from = 'A'\nwall_to = 'B'\nazimuth_deg = 90.0\n"


def export(run: Run, out: str, *words: str) -> None:
    result = run("export", SAMPLE_NAME, "--out", out, *DAY, *words)
    assert result.exit_code == 0, result.stderr


_SOLVED: dict[str, Any] = {}


@pytest.fixture(autouse=True)
def _solved_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Solve the sample once for all tests of this file: what is tested here is the writing."""

    def once(record_file: Path, name: str) -> Any:
        if name != SAMPLE_NAME:
            return located(record_file, name)
        if name not in _SOLVED:
            _SOLVED[name] = located(record_file, name)
        return _SOLVED[name]

    monkeypatch.setattr(job, "located", once)


@pytest.fixture
def office(run: Run, write_sheets: WriteSheets, loaded: Path) -> Path:
    """Give a record of three properties, the last of which has no place on the earth."""
    for name, more in (("Invented Lane 1", EARTH), ("Invented Lane 2", "")):
        sheets = two_corners(name)
        sheets["property"] += more
        run("load", write_sheets("sheets", **sheets))
    return loaded


# ------------------------------------------------------------ each format, read by others


def test_gdal_reads_everything_of_every_format_that_it_knows(run: Run, loaded: Path) -> None:
    """Debian's GDAL has no Parquet, which pyarrow reads below."""
    counts = {"geojson": [THINGS], "kml": [THINGS], "kmz": [THINGS], "fgb": [THINGS], "csv": [POINTS]}
    counts |= {"gpx": [POINTS, 0, 0, 0, 0], "gpkg": [3, 11, 5, 42, 7, 1]}
    for kind, expected in counts.items():
        export(run, f"p.{kind}")
        found = feature_counts(ogrinfo(Path(f"p.{kind}")))
        assert found[: len(expected)] == expected, kind
    export(run, "p.dxf")
    drawn = len(list(ezdxf.readfile("p.dxf").modelspace()))
    assert ogrinfo(Path("p.dxf")).count("OGRFeature(") == drawn > THINGS


def test_geopandas_reads_the_same_things_of_four_formats(run: Run, loaded: Path) -> None:
    for kind in ("geojson", "fgb", "parquet"):
        export(run, f"p.{kind}")
    frames = {
        "geojson": geopandas.read_file("p.geojson"),
        "fgb": geopandas.read_file("p.fgb"),
        "parquet": geopandas.read_parquet("p.parquet"),
    }
    export(run, "p.gpkg")
    layers = (
        "component_areas",
        "component_lines",
        "component_points",
        "measured_points",
        "reference_points",
        "buildings",
    )
    parts = {name: geopandas.read_file("p.gpkg", layer=name) for name in (*layers, "buildings")}
    names = {kind: sorted(zip(frame.role, frame.name, strict=True)) for kind, frame in frames.items()}
    together = sorted(pair for part in parts.values() for pair in zip(part.role, part.name, strict=True))
    assert names["geojson"] == names["fgb"] == names["parquet"] == together
    lids = [
        frame[(frame.name == "septic tank/inlet lid")].geometry.iloc[0]
        for frame in (*frames.values(), parts["measured_points"])
    ]
    for lid in lids:
        assert lid.distance(lids[0]) < 1e-8  # a millimetre


def test_the_numbers_are_those_of_the_positions(run: Run, loaded: Path) -> None:
    said = parsed(run("positions", SAMPLE_NAME, "--json"))
    export(run, "p.gpkg")
    frame = geopandas.read_file("p.gpkg", layer="measured_points").set_index("name")
    for point in said["points"]:
        row = frame.loc[point["name"]]
        assert row.r95_m == pytest.approx(point["r95_m"], abs=1e-4)
        assert row.checked == point["checked"]
    lid = frame.loc["septic tank/inlet lid"]
    assert lid.ties.startswith("25' 11.5\" from NE corner; 41' 8\" from inside corner; ")
    assert lid.depth_text == '3" below grade to top'


def test_the_csv_in_the_plane_of_the_house_has_the_places_of_the_positions(run: Run, loaded: Path) -> None:
    said = parsed(run("positions", SAMPLE_NAME, "--json"))
    export(run, "p.csv", "--crs", "local")
    text = Path("p.csv").read_text(encoding="utf-8-sig")
    found = {row["name"]: row for row in csv.DictReader(io.StringIO(text, newline=""))}
    for point in said["points"]:
        row = found[point["name"]]
        assert (float(row["east_m"]), float(row["north_m"])) == pytest.approx(
            (point["east_m"], point["north_m"]), abs=1e-4
        )
    assert Path("p.csv").read_bytes().startswith(b"\xef\xbb\xbf")  # by which spreadsheets know UTF-8


def test_a_wall_of_the_drawing_is_as_long_as_the_tape_says(run: Run, loaded: Path) -> None:
    """In feet, which the drawing says; the walls of the house as `positions` has them."""
    export(run, "p.dxf")
    document = ezdxf.readfile("p.dxf")
    assert document.header["$INSUNITS"] == 2
    (house,) = [e for e in document.modelspace() if e.dxf.layer == "BUILDING" and e.dxftype() == "POLYLINE"]
    corners = [vertex.dxf.location for vertex in house.vertices]
    export(run, "p.csv", "--crs", "local")
    text = Path("p.csv").read_text(encoding="utf-8-sig")
    marks = [row for row in csv.DictReader(io.StringIO(text, newline="")) if row["role"] == "reference"]
    places = [(float(row["east_m"]), float(row["north_m"])) for row in marks]
    drawn = sorted(a.distance(b) for a, b in pairwise([*corners, corners[0]]))
    reached = [np.array([corner.x, corner.y]) * FOOT_M for corner in corners]
    for place in reached:
        assert min(np.hypot(*(place - np.array(other))) for other in places) < 1e-4
    assert drawn[-1] == pytest.approx(48.25, abs=0.2)  # the longest wall was taped at 48' 3"


def test_a_grid_in_feet_is_a_drawing_in_feet(run: Run, loaded: Path) -> None:
    """EPSG 2270, NAD83 / Oregon South (ft): the international foot."""
    result = run("export", SAMPLE_NAME, "--out", "p.dxf", "--crs", "EPSG:2270", *DAY)
    assert result.exit_code == 0
    assert "100 ft of tape are " in result.stdout
    document = ezdxf.readfile("p.dxf")
    (house,) = [e for e in document.modelspace() if e.dxf.layer == "BUILDING" and e.dxftype() == "POLYLINE"]
    corners = [vertex.dxf.location for vertex in house.vertices]
    longest = max(a.distance(b) for a, b in pairwise([*corners, corners[0]]))
    assert longest == pytest.approx(48.25, abs=0.2)
    assert corners[0].x > 1_000_000


def test_gpx_and_kmz_hold_what_they_say(run: Run, loaded: Path) -> None:
    export(run, "p.gpx", "--elevation")
    points = {point.name: point for point in gpxpy.parse(Path("p.gpx").read_text(encoding="utf-8")).waypoints}
    lid = points["septic tank/inlet lid"]
    assert lid.elevation == pytest.approx(98.17 * FOOT_M, abs=0.01)
    assert points["NE corner"].elevation == pytest.approx(100.0 * FOOT_M, abs=0.001)
    export(run, "p.kmz")
    with zipfile.ZipFile("p.kmz") as archive:
        etree.fromstring(archive.read("doc.kml"))


@pytest.mark.parametrize("kind", ["geojson", "gpkg", "parquet", "kml"])
def test_elevation_gives_the_third_coordinate_where_levels_do(run: Run, loaded: Path, kind: str) -> None:
    export(run, f"p.{kind}", "--elevation")
    read = geopandas.read_parquet if kind == "parquet" else geopandas.read_file
    frame = read(f"p.{kind}", **({"layer": "measured_points"} if kind == "gpkg" else {}))
    name = "Name" if kind == "kml" else "name"
    high = frame[frame.geometry.has_z]
    lid = high[high[name] == "septic tank/inlet lid"].geometry.iloc[0]
    assert lid.z == pytest.approx(29.92, abs=0.01)
    assert len(frame) > len(high) > 0


def test_the_same_record_gives_the_same_bytes(run: Run, folder: Path, loaded: Path) -> None:
    for each in FORMATS:
        for name in ("one", "two"):
            export(run, f"{name}{each.ending}")
        one, two = ((folder / f"{name}{each.ending}").read_bytes() for name in ("one", "two"))
        assert one == two, each.key


def test_the_json_says_what_was_written(run: Run, loaded: Path) -> None:
    said = parsed(run("export", SAMPLE_NAME, "--out", "p.fgb", "--crs", "EPSG:26911", "--json", *DAY))
    assert {key: value for key, value in said.items() if key != "findings"} == {
        "property": SAMPLE_NAME,
        "written": "p.fgb",
        "format": "fgb",
        "crs": "EPSG:26911",
        "properties": 1,
        "features": THINGS,
        "left_out": [],
    }
    assert "grid-not-ground" in [finding["code"] for finding in said["findings"]]


def test_the_format_may_be_named_where_the_ending_does_not_say_it(run: Run, folder: Path, loaded: Path) -> None:
    export(run, "p.txt", "--format", "csv")
    assert (folder / "p.txt").read_text(encoding="utf-8-sig").startswith("property,name,role,")


def test_every_attribute_of_a_feature_has_a_column(run: Run, loaded: Path) -> None:
    """Nothing of the sample goes into the column for what nobody thought of."""
    export(run, "p.parquet")
    frame = geopandas.read_parquet("p.parquet")
    assert frame.more.dropna().tolist() == []


def test_the_sheets_may_stay_at_home(run: Run, folder: Path, loaded: Path) -> None:
    export(run, "p.geojson", "--no-sheets")
    assert list(json.loads((folder / "p.geojson").read_text(encoding="utf-8"))) == ["type", "features"]
    export(run, "p.gpkg", "--no-sheets")
    with closing(sqlite3.connect(folder / "p.gpkg")) as db:
        assert not db.execute("SELECT 1 FROM sqlite_master WHERE name = 'asbuilt_sheets'").fetchone()


def test_a_draft_says_so_in_every_thing(run: Run, folder: Path, write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["property"] += EARTH
    sheets["points"][1][3] = "25 foo"
    run("load", write_sheets("sheets", **sheets), "--draft")
    assert run("export", "Two Corners", "--out", "p.geojson").exit_code in (0, 1)
    content = json.loads((folder / "p.geojson").read_text(encoding="utf-8"))
    assert {feature["properties"]["draft"] for feature in content["features"]} == {True}


def test_owner_and_phone_in_the_sheets_are_told(run: Run, write_sheets: WriteSheets) -> None:
    sheets = two_corners()
    sheets["property"] += 'owner = "Nobody (invented)"\n' + EARTH
    run("load", write_sheets("sheets", **sheets))
    told = "The file carries the field sheets, with what they say of owner, phone and household. --no-sheets leaves"
    assert told in run("export", "Two Corners", "--out", "a.gpkg").stdout
    assert told not in run("export", "Two Corners", "--out", "b.gpkg", "--no-sheets").stdout


# ------------------------------------------------------------ all properties


def test_an_office_is_one_file_and_what_has_no_place_is_named(run: Run, folder: Path, office: Path) -> None:
    result = run("export", "--all", "--out", "all.gpkg", *DAY)
    assert result.exit_code == 1
    assert result.stdout.startswith("all.gpkg: 2 properties as GeoPackage, 74 things, in WGS 84\n")
    assert "1 left out of the file: Invented Lane 2 (no place on the earth)." in result.stderr.replace("\n  ", " ")
    frame = geopandas.read_file("all.gpkg", layer="measured_points")
    assert set(frame.property) == {SAMPLE_NAME, "Invented Lane 1"}
    said = parsed(run("export", "--all", "--out", "all.csv", "--crs", "local", "--json", *DAY))
    assert (said["properties"], said["left_out"]) == (3, [])


@pytest.mark.parametrize("kind", ["geojson", "fgb", "parquet", "csv", "kml", "gpx"])
def test_every_format_takes_an_office(run: Run, office: Path, kind: str) -> None:
    said = parsed(run("export", "--all", "--out", f"all.{kind}", "--json", *DAY))
    assert (said["properties"], said["left_out"]) == (2, ["Invented Lane 2"])
    assert said["features"] > THINGS - 20


def test_one_property_is_read_when_the_one_before_is_written(
    run: Run, office: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The job streams: reading, solving and writing take turns, property by property."""
    seen: list[str] = []

    def reading(record: Any) -> Iterator[Any]:
        for known in read_all(record):
            seen.append(f"read {known.property.name}")
            yield known

    def writing(sheaves: Any, system: Any) -> Iterator[str]:
        for sheaf in sheaves:
            seen.append(f"write {sheaf.property}")
            yield "line\r\n"

    monkeypatch.setattr(job, "read_all", reading)
    monkeypatch.setattr(job, "csv_lines", writing)
    run("export", "--all", "--out", "all.csv", "--crs", "local")
    names = (SAMPLE_NAME, "Invented Lane 1", "Invented Lane 2")
    assert seen == [f"{what} {name}" for name in names for what in ("read", "write")]


@pytest.mark.slow
def test_six_times_the_properties_take_no_more_memory(tmp_path: Path, run: Run, office: Path) -> None:
    import tracemalloc

    with open_record(office, read_only=True) as record:
        known = list(read_all(record))
    peaks = []
    for times in (2, 12):
        original = job.read_all
        job.read_all = lambda record, times=times: iter(known * times)  # type: ignore[attr-defined]
        try:
            tracemalloc.start()
            run("export", "--all", "--out", f"{times}.csv", "--crs", "local")
            peaks.append(tracemalloc.get_traced_memory()[1])
        finally:
            tracemalloc.stop()
            job.read_all = original  # type: ignore[attr-defined]
    assert peaks[1] < 1.2 * peaks[0] + 1_000_000


@pytest.mark.parametrize("kind", ["kml", "kmz", "gpx", "dxf"])
def test_too_large_a_file_is_refused_and_nothing_is_written(
    run: Run, folder: Path, office: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    small = next(each for each in FORMATS if each.key == kind)
    few = Format(small.key, small.title, small.ending, small.systems, most=70)
    monkeypatch.setattr(job, "format_of", lambda path, key: few)
    before = files_below(folder)
    system = ("--crs", "EPSG:32625") if kind == "dxf" else ()
    result = run("export", "--all", "--out", f"all.{kind}", *system, *DAY)
    if kind == "dxf":  # the sample lies far outside that zone and is left out
        assert result.exit_code == 1
        return
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"asbuilt: more than 70 things are too many for one {small.title} file; nothing was written; export single "
        "properties, or all of them as .gpkg, .fgb, .parquet, .geojson or .csv\n"
    )
    assert files_below(folder) == before


# ------------------------------------------------------------ what is refused


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ("--out", "p.geojson", "--crs", "EPSG:26911"),
            "asbuilt: GeoJSON cannot be in EPSG:26911; accepted: --crs wgs84\n",
        ),
        (("--out", "p.dxf", "--crs", "wgs84"), "asbuilt: DXF cannot be in wgs84; accepted: --crs local or EPSG:n\n"),
        (
            ("--out", "p.fgb", "--elevation"),
            "asbuilt: FlatGeobuf takes no third coordinate here; the column elevation_m has the elevation without "
            "--elevation\n",
        ),
        (
            ("--out", "p.xyz"),
            "asbuilt: p.xyz: the ending does not say which kind of file; accepted: .geojson, .gpkg, .kml, .kmz, .gpx, "
            ".dxf, .fgb, .parquet, .csv, or give --format\n",
        ),
        (("--out", "there.kml"), "asbuilt: there.kml: the file is there already; --overwrite replaces it\n"),
        (("--out", "no/p.kml"), "asbuilt: no/p.kml: there is no folder no; make it first\n"),
        (
            ("--out", "p.gpkg", "--crs", "EPSG:2277"),
            "asbuilt: Fernbank Lane 14, at latitude 42.5283, longitude -118.4552, cannot be drawn in EPSG 2277 "
            "(NAD83 / Texas Central (ftUS)): it lies far outside its area; give the system of that place, or wgs84\n",
        ),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(
    run: Run, folder: Path, loaded: Path, words: tuple[str, ...], message: str
) -> None:
    (folder / "there.kml").write_text("mine", encoding="utf-8")
    before = files_below(folder)
    result = run("export", SAMPLE_NAME, *words)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", message)
    assert files_below(folder) == before


def test_one_property_or_all_of_them(run: Run, loaded: Path) -> None:
    for words, message in (
        ((), "give a PROPERTY or --all\n"),
        ((SAMPLE_NAME, "--all"), "give a PROPERTY or --all, not both\n"),
    ):
        result = run("export", *words, "--out", "p.kml")
        assert result.exit_code == 2
        assert result.stderr.endswith(f"Error: {message}")


def test_a_property_without_a_place_goes_into_the_plane_of_the_house_only(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    run("load", write_sheets("sheets", **two_corners()))
    before = files_below(folder)
    result = run("export", "Two Corners", "--out", "p.gpkg")
    assert result.exit_code == 2
    assert result.stderr == (
        "asbuilt: Two Corners has no place on the earth, which GeoPackage in WGS 84 needs; give [earth] in "
        "property.toml a reference point with coordinates and a wall's azimuth, or two known coordinates in "
        "known_coordinates.csv; or --crs local\n"
    )
    assert files_below(folder) == before
    assert run("export", "Two Corners", "--out", "p.gpkg", "--crs", "local").exit_code in (0, 1)
    lid = geopandas.read_file("p.gpkg", layer="measured_points").geometry.iloc[0]
    assert shapely.get_coordinates(lid)[0] == pytest.approx((15 * FOOT_M, 20 * FOOT_M), abs=1e-3)


def test_planes_of_several_properties_do_not_go_into_one_drawing(run: Run, office: Path) -> None:
    result = run("export", "--all", "--out", "all.dxf")
    assert (result.exit_code, result.stderr) == (
        2,
        "asbuilt: each property has a plane of its own; for all of them in one file give --crs EPSG:n\n",
    )


def test_an_office_of_which_nothing_can_be_written_is_refused(
    run: Run, folder: Path, write_sheets: WriteSheets
) -> None:
    run("load", write_sheets("sheets", **two_corners()))
    before = files_below(folder)
    result = run("export", "--all", "--out", "all.gpkg")
    assert (result.exit_code, result.stderr) == (
        2,
        "asbuilt: there is nothing to write: no property of asbuilt.db can go into the file; Two Corners: no place on "
        "the earth\n",
    )
    assert files_below(folder) == before


def test_an_unknown_property_is_refused(run: Run, loaded: Path) -> None:
    assert run("export", "Fernbank Lane 15", "--out", "p.kml").stderr.startswith(
        "asbuilt: no property 'Fernbank Lane 15'"
    )


def test_overwrite_replaces_the_file(run: Run, folder: Path, loaded: Path) -> None:
    for each in FORMATS:
        (folder / f"p{each.ending}").write_text("old", encoding="utf-8")
        export(run, f"p{each.ending}", "--overwrite")
        assert (folder / f"p{each.ending}").read_bytes() != b"old"
    assert [path for path in folder.iterdir() if path.name.startswith(".asbuilt")] == []

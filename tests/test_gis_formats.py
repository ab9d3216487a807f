"""FlatGeobuf, GeoParquet and the GeoJSON file: hostile words, batches, and readers that are not ours."""

import io
import json
from datetime import date
from pathlib import Path
from typing import Any

import geopandas
import jsonschema  # type: ignore[import-untyped]
import pyogrio
import pytest
from geojson_pydantic import FeatureCollection
from pyarrow import parquet
from pyproj import CRS
from shapely.geometry import LineString, Point

from asbuilt.output.features import Feature
from asbuilt.output.gis.columns import COLUMNS, columns_of
from asbuilt.output.gis.flatgeobuf import write_flatgeobuf
from asbuilt.output.gis.formats import FORMATS, ExportError, Format, Sheaf, counted, format_of
from asbuilt.output.gis.geojson import geojson_lines, stream_geojson, with_ids
from asbuilt.output.gis.geoparquet import require_parquet, write_geoparquet
from asbuilt.output.gis.office_geojson import write_geojson_file
from asbuilt.output.gis.system import LOCAL, WGS84, parse_system
from tests.commands import ROOT
from tests.export_samples import feature_counts, hostile_features, hostile_sheaf, kept, ogrinfo
from tests.hostile import HOSTILE

SCHEMA = json.loads((ROOT / "tests" / "published" / "geojson_schema.json").read_text(encoding="utf-8"))


def number_of(geometry: Any) -> int:
    """Tell which hostile text a feature is made of, by its place."""
    return round((geometry.bounds[0] + 118) * 1000)


# ------------------------------------------------------------ FlatGeobuf


def test_flatgeobuf_gives_every_hostile_word_back(tmp_path: Path) -> None:
    path = tmp_path / "a.fgb"
    assert write_flatgeobuf(path, [hostile_sheaf()], WGS84) == len(HOSTILE)
    assert path.read_bytes()[:3] == b"fgb"  # the magic bytes of its specification, version 3
    frame = pyogrio.read_dataframe(path)
    assert len(frame) == len(HOSTILE)
    for row in frame.to_dict("records"):
        text = kept(HOSTILE[number_of(row["geometry"])])
        # an empty text is no text in this format
        assert {(row[key] or "") for key in ("name", "kind", "property", "accuracy_text")} == {text}
    assert feature_counts(ogrinfo(path)) == [len(HOSTILE)]
    assert list(tmp_path.iterdir()) == [path]  # what stood between is gone


def test_flatgeobuf_has_a_spatial_index(tmp_path: Path) -> None:
    write_flatgeobuf(tmp_path / "a.fgb", [hostile_sheaf()], WGS84)
    assert pyogrio.read_info(tmp_path / "a.fgb")["capabilities"]["fast_spatial_filter"]
    found = pyogrio.read_dataframe(tmp_path / "a.fgb", bbox=(-118.0001, 41.9999, -117.9999, 42.0001))
    assert len(found) == 1


def test_flatgeobuf_leaves_out_what_has_no_place(tmp_path: Path) -> None:
    features = (Feature("component", "lost", "valve", None), Feature("point", "a", "valve", Point(1, 2)))
    assert write_flatgeobuf(tmp_path / "a.fgb", [Sheaf("x", features)], parse_system("EPSG:2277")) == 1
    assert "NAD83 / Texas Central (ftUS)" in ogrinfo(tmp_path / "a.fgb")
    with pytest.raises(ExportError, match="nothing has a place"):
        write_flatgeobuf(tmp_path / "b.fgb", [Sheaf("x", features[:1])], WGS84)


# ------------------------------------------------------------ GeoParquet


def test_geoparquet_gives_every_hostile_word_back(tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    assert write_geoparquet(path, [hostile_sheaf()], WGS84) == len(HOSTILE)
    frame = geopandas.read_parquet(path)
    for k, row in enumerate(frame.to_dict("records")):
        assert number_of(row["geometry"]) == k
        text = kept(HOSTILE[k])
        assert {row[key] for key in ("name", "kind", "property", "accuracy_text")} == {text}
        if row["role"] == "component":
            assert row["installed_on"] == date(2025, 4, 3)
            assert json.loads(row["more"]) == {"strange": {HOSTILE[k]: [HOSTILE[k]]}}


def test_geoparquet_says_what_its_specification_asks_for(tmp_path: Path) -> None:
    """GeoParquet 1.1.0, https://geoparquet.org/releases/v1.1.0/ (from memory): the metadata `geo` of the file."""
    features = (
        Feature("point", "a", "valve", Point(-118, 42, 30.5)),
        Feature("component", "b", "sewer", LineString([(-118, 42), (-117, 43)])),
        Feature("component", "c", "valve", None),
    )
    write_geoparquet(tmp_path / "a.parquet", [Sheaf("x", features)], WGS84)
    geo = json.loads(parquet.read_metadata(tmp_path / "a.parquet").metadata[b"geo"])
    assert (geo["version"], geo["primary_column"]) == ("1.1.0", "geometry")
    column = geo["columns"]["geometry"]
    assert column == {
        "encoding": "WKB",
        "geometry_types": ["LineString", "Point Z"],
        "bbox": [-118.0, 42.0, -117.0, 43.0],
    }
    frame = geopandas.read_parquet(tmp_path / "a.parquet")
    assert frame.crs == CRS.from_user_input("OGC:CRS84")
    assert frame.geometry[0].z == 30.5
    assert frame.geometry[2] is None


@pytest.mark.parametrize(
    ("system", "name"),
    [(parse_system("EPSG:2277"), "NAD83 / Texas Central (ftUS)"), (LOCAL, "plane of the house, true ground distance")],
)
def test_geoparquet_names_its_system(tmp_path: Path, system: Any, name: str) -> None:
    write_geoparquet(tmp_path / "a.parquet", [hostile_sheaf(("a",))], system)
    assert geopandas.read_parquet(tmp_path / "a.parquet").crs.name == name


def test_geoparquet_is_written_group_by_group(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("asbuilt.output.gis.table.BATCH", 7)
    monkeypatch.setattr("asbuilt.output.gis.table.batches.__defaults__", (7,))
    write_geoparquet(tmp_path / "a.parquet", [hostile_sheaf()], WGS84)
    assert parquet.read_metadata(tmp_path / "a.parquet").num_row_groups == -(-len(HOSTILE) // 7)
    assert len(geopandas.read_parquet(tmp_path / "a.parquet")) == len(HOSTILE)


def test_without_the_extra_the_way_out_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("asbuilt.output.gis.geoparquet.find_spec", lambda name: None)
    with pytest.raises(ExportError, match=r"pip install pyarrow; or export as \.fgb or \.gpkg"):
        require_parquet()


# ------------------------------------------------------------ GeoJSON as a file


def test_the_geojson_file_gives_every_hostile_word_back(tmp_path: Path) -> None:
    path = tmp_path / "a.geojson"
    sheaf = hostile_sheaf()
    assert write_geojson_file(path, [sheaf], elevation=False, sheets=True) == len(HOSTILE)
    content = json.loads(path.read_text(encoding="utf-8"))
    jsonschema.validate(content, SCHEMA)
    FeatureCollection.model_validate(content)
    for feature, text in zip(content["features"], HOSTILE, strict=True):
        whole = "".join("\ufffd" if 0xD800 <= ord(sign) <= 0xDFFF else sign for sign in text)  # UTF-8 has no halves
        assert feature["properties"]["name"] == feature["properties"]["kind"] == whole
        assert feature["id"].endswith(f"/{whole}")
    assert content["asbuilt_sheets"] == {sheaf.property: {"mark": "complete x", "sheets": dict(sheaf.sheets)}}
    assert feature_counts(ogrinfo(path)) == [len(HOSTILE)]


def test_properties_of_one_file_have_ids_of_their_own(tmp_path: Path) -> None:
    sheaves = [Sheaf(name, hostile_features(("a", "b"))) for name in ("lot 1", "lot 2")]
    write_geojson_file(tmp_path / "a.geojson", sheaves, elevation=False, sheets=False)
    content = json.loads((tmp_path / "a.geojson").read_text(encoding="utf-8"))
    ids = [feature["id"] for feature in content["features"]]
    assert ids == ["lot 1/point/a", "lot 1/component/b", "lot 2/point/a", "lot 2/component/b"]
    assert list(content) == ["type", "features"]


@pytest.mark.parametrize("count", [0, 1, 3])
def test_a_stream_is_one_document(count: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("asbuilt.output.gis.geojson.LINES", 2)
    monkeypatch.setattr("asbuilt.output.gis.geojson.BATCH", 2)
    features = hostile_features(("a", "b", "c"))[:count]
    file = io.BytesIO()
    assert stream_geojson(file, geojson_lines(with_ids(features)), [("x", {}), ("y", {"z": "é"})]) == count
    content = json.loads(file.getvalue())
    assert len(content["features"]) == count
    assert content["asbuilt_sheets"] == {"x": {}, "y": {"z": "é"}}
    lines = file.getvalue().decode().splitlines()
    assert all(json.loads(line.rstrip(","))["type"] == "Feature" for line in lines[1 : count + 1])


# ------------------------------------------------------------ formats and columns as data


def test_the_ending_says_the_format() -> None:
    for each in FORMATS:
        assert format_of(Path(f"a{each.ending}")) is format_of(Path(f"A{each.ending.upper()}")) is each
        assert format_of(Path("x.dat"), each.key) is each
    with pytest.raises(ExportError) as refused:
        format_of(Path("a.txt"))
    assert str(refused.value) == (
        "a.txt: the ending does not say which kind of file; accepted: .geojson, .gpkg, .kml, .kmz, .gpx, .dxf, .fgb, "
        ".parquet, .csv, or give --format"
    )


def test_too_many_things_are_refused_as_soon_as_they_are_too_many() -> None:
    small = Format("kml", "KML", ".kml", ("wgs84",), most=3)
    seen = []

    def office() -> Any:
        for k in range(10):
            seen.append(k)
            yield Sheaf(f"lot {k}", hostile_features(("a", "b")))

    with pytest.raises(ExportError, match="more than 3 things are too many for one KML file; nothing was written"):
        list(counted(office(), small))
    assert seen == [0, 1]


def test_only_kml_gpx_and_dxf_have_a_limit() -> None:
    assert {each.key: each.most for each in FORMATS if each.most is not None} == {
        "kml": 20_000,
        "kmz": 20_000,
        "gpx": 10_000,
        "dxf": 50_000,
    }


def test_names_of_columns_are_short_plain_words() -> None:
    names = [column.name for column in columns_of()]
    assert len(set(names)) == len(names) == len(COLUMNS) + 1
    assert all(name.isidentifier() and name == name.lower() and len(name) <= 30 for name in names)

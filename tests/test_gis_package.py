"""GeoPackage: what the standard asks for table by table, titles, styles, and words that stay words."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import pyogrio
import pytest
import shapely
from lxml import etree
from pyogrio.raw import open_arrow
from shapely.geometry import MultiPolygon, Point

from asbuilt.output.features import Feature
from asbuilt.output.gis.columns import columns_of, titles
from asbuilt.output.gis.formats import ExportError, Sheaf
from asbuilt.output.gis.geopackage import LAYERS, layer_of, write_geopackage
from asbuilt.output.gis.styles import layer_styles
from asbuilt.output.gis.system import LOCAL, WGS84, System, parse_system
from asbuilt.output.map.symbols import GROUPS, group_of
from tests.export_samples import feature_counts, hostile_features, hostile_sheaf, kept, ogrinfo
from tests.hostile import HOSTILE

DAY = date(2026, 6, 1)


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a package with every layer and hostile words."""
    path = tmp_path_factory.mktemp("package") / "hostile.gpkg"
    more = (
        Feature("reference", "NE corner", "corner", Point(-118, 42), {"property": "x"}),
        Feature("building", "house", "building", shapely.box(-118, 42, -117.9, 42.1), {"property": "x"}),
        Feature("building", "shed", "building", shapely.LineString([(-118, 42), (-117.9, 42)]), {"property": "x"}),
        Feature("component", "lost", "valve", None, {"property": "x"}),
        Feature("component", "found", "valve", Point(-118, 42), {"property": "x"}),
    )
    assert write_geopackage(path, [hostile_sheaf(), Sheaf("x", more)], WGS84, dated=DAY) == len(HOSTILE) + 5
    return path


@pytest.fixture
def db(package: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(f"{package.as_uri()}?mode=ro", uri=True)) as opened:
        opened.row_factory = sqlite3.Row
        yield opened


def rows(db: sqlite3.Connection, query: str, *values: object) -> list[sqlite3.Row]:
    return db.execute(query, values).fetchall()


# ------------------------------------------------------------ OGC 12-128, GeoPackage Encoding Standard (from memory)


def test_the_file_says_that_it_is_a_geopackage(db: sqlite3.Connection, package: Path) -> None:
    """Requirements 1 to 3: SQLite 3, application id "GPKG", the version in user_version, the ending .gpkg."""
    assert package.read_bytes()[:16] == b"SQLite format 3\0"
    assert db.execute("PRAGMA application_id").fetchone()[0] == int.from_bytes(b"GPKG", "big")
    assert 10200 <= db.execute("PRAGMA user_version").fetchone()[0] < 20000
    assert package.suffix == ".gpkg"


def test_the_database_is_whole(db: sqlite3.Connection) -> None:
    """Requirements 6 and 7: integrity_check says ok, foreign_key_check nothing."""
    assert [row[0] for row in rows(db, "PRAGMA integrity_check")] == ["ok"]
    assert rows(db, "PRAGMA foreign_key_check") == []


def test_the_required_tables_have_the_columns_of_the_standard(db: sqlite3.Connection) -> None:
    """Requirements 10, 13, 21: gpkg_spatial_ref_sys, gpkg_contents, gpkg_geometry_columns."""
    wanted = {
        "gpkg_spatial_ref_sys": "srs_name srs_id organization organization_coordsys_id definition description",
        "gpkg_contents": "table_name data_type identifier description last_change min_x min_y max_x max_y srs_id",
        "gpkg_geometry_columns": "table_name column_name geometry_type_name srs_id z m",
        "gpkg_extensions": "table_name column_name extension_name definition scope",
        "gpkg_data_columns": "table_name column_name name title description mime_type constraint_name",
        "gpkg_data_column_constraints": "constraint_name constraint_type value min min_is_inclusive max "
        "max_is_inclusive description",
    }
    for table, columns in wanted.items():
        assert [row["name"] for row in rows(db, f"PRAGMA table_info({table})")] == columns.split(), table


def test_the_systems_that_the_standard_requires_are_there(db: sqlite3.Connection) -> None:
    """Requirement 11: WGS 84, undefined Cartesian (-1) and undefined geographic (0)."""
    found = {row["srs_id"]: row for row in rows(db, "SELECT * FROM gpkg_spatial_ref_sys")}
    assert {-1, 0, 4326} <= set(found)
    assert (found[4326]["organization"].lower(), found[4326]["organization_coordsys_id"]) == ("epsg", 4326)
    assert (found[-1]["organization"], found[-1]["definition"]) == ("NONE", "undefined")


def test_every_table_of_the_contents_is_there_and_of_its_kind(db: sqlite3.Connection) -> None:
    """Requirements 12 to 16: names of tables, data types, moments in UTC, systems that are listed."""
    contents = rows(db, "SELECT * FROM gpkg_contents")
    kinds = {row["table_name"]: row["data_type"] for row in contents}
    assert kinds == {layer.name: "features" for layer in LAYERS} | {
        "asbuilt_sheets": "attributes",
        "layer_styles": "attributes",
    }
    there = {row["name"] for row in rows(db, "SELECT name FROM sqlite_master WHERE type = 'table'")}
    known = {row["srs_id"] for row in rows(db, "SELECT srs_id FROM gpkg_spatial_ref_sys")}
    for row in contents:
        assert row["table_name"] in there
        assert row["last_change"] == "2026-06-01T00:00:00.000Z"
        assert row["srs_id"] is None or row["srs_id"] in known
    assert len({row["identifier"] for row in contents}) == len(contents)


def test_every_layer_has_its_geometry_column_and_a_whole_number_as_key(db: sqlite3.Connection) -> None:
    """Requirements 22 to 31: one row a layer, the type in capitals, z and m of 0, 1 or 2, an integer primary key."""
    columns = {row["table_name"]: row for row in rows(db, "SELECT * FROM gpkg_geometry_columns")}
    assert set(columns) == {layer.name for layer in LAYERS}
    for layer in LAYERS:
        row = columns[layer.name]
        assert row["geometry_type_name"] == layer.geometry_type.upper()
        assert (row["srs_id"], row["m"]) == (4326, 0)
        assert row["z"] in (0, 1, 2)
        info = rows(db, f"PRAGMA table_info({layer.name})")
        assert [(each["name"], each["type"]) for each in info if each["pk"]] == [("fid", "INTEGER")]
        named = {each["name"]: each["type"] for each in info}
        assert named[row["column_name"]] in (layer.geometry_type.upper(), "GEOMETRY")


def test_columns_have_types_of_the_standard(db: sqlite3.Connection) -> None:
    """Table 1 of the standard."""
    types = {"text": "TEXT", "real": "REAL", "whole": "INTEGER", "flag": "BOOLEAN", "day": "DATE"}
    for layer in LAYERS:
        info = {each["name"]: each["type"] for each in rows(db, f"PRAGMA table_info({layer.name})")}
        assert {column.name: info[column.name] for column in layer.columns} == {
            column.name: types[column.type] for column in layer.columns
        }


def test_every_geometry_is_in_the_standard_binary_form(db: sqlite3.Connection) -> None:
    """Requirement 19: "GP", version 0, flags, system; then ISO well-known binary that an independent reader takes."""
    sizes = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
    seen = 0
    for layer in LAYERS:
        for (blob,) in rows(db, f"SELECT geom FROM {layer.name}"):  # noqa: S608 - our own names
            if blob is None:
                continue
            assert (blob[:2], blob[2]) == (b"GP", 0)
            flags = blob[3]
            assert int.from_bytes(blob[4:8], "little" if flags & 1 else "big", signed=True) == 4326
            geometry = shapely.from_wkb(blob[8 + sizes[flags >> 1 & 7] :])
            assert geometry.geom_type == layer.geometry_type
            seen += 1
    assert seen == len(HOSTILE) + 4


def test_extensions_are_registered(db: sqlite3.Connection) -> None:
    """Requirements 58 to 64 and annexes F.3, F.9: the spatial index of every layer, and the schema extension."""
    found = {(row["extension_name"], row["table_name"]) for row in rows(db, "SELECT * FROM gpkg_extensions")}
    assert {("gpkg_rtree_index", layer.name) for layer in LAYERS} <= found
    assert {("gpkg_schema", "gpkg_data_columns"), ("gpkg_schema", "gpkg_data_column_constraints")} <= found
    there = {row["name"] for row in rows(db, "SELECT name FROM sqlite_master")}
    for layer in LAYERS:
        assert f"rtree_{layer.name}_geom" in there
    assert {row["scope"] for row in rows(db, "SELECT scope FROM gpkg_extensions")} <= {"read-write", "write-only"}


def test_the_spatial_index_holds_every_geometry(db: sqlite3.Connection) -> None:
    for layer in LAYERS:
        (indexed,) = rows(db, f"SELECT count(*) FROM rtree_{layer.name}_geom")[0]  # noqa: S608
        (placed,) = rows(db, f"SELECT count(*) FROM {layer.name} WHERE geom IS NOT NULL")[0]  # noqa: S608
        assert indexed == placed > 0, layer.name


# ------------------------------------------------------------ titles and styles


def test_every_column_has_a_title_for_people(db: sqlite3.Connection) -> None:
    found = {(row["table_name"], row["column_name"]): row for row in rows(db, "SELECT * FROM gpkg_data_columns")}
    assert set(found) == {(layer.name, column.name) for layer in LAYERS for column in layer.columns}
    assert found["measured_points", "r95_m"]["title"] == "Radius that holds 95 %, against the house, m"
    assert len(set(titles().values())) == len(titles())


def test_an_independent_reader_knows_the_titles(package: Path) -> None:
    """GDAL gives the name of `gpkg_data_columns` as the alternative name of a column."""
    with open_arrow(package, layer="measured_points", use_pyarrow=True) as (_, reader):
        alternative = (reader.schema.field("r95_m").metadata or {}).get(b"GDAL:OGR:alternative_name")
    assert alternative == b"Radius that holds 95 %, against the house, m"


def test_every_layer_has_a_style_that_is_used_by_default(db: sqlite3.Connection) -> None:
    for layer in LAYERS:
        (row,) = rows(db, "SELECT * FROM layer_styles WHERE f_table_name = ?", layer.name)
        assert (row["f_geometry_column"], row["useAsDefault"]) == ("geom", 1)
        sld = etree.fromstring(row["styleSLD"].encode())
        assert sld.tag == "{http://www.opengis.net/sld}StyledLayerDescriptor"
        qml = etree.fromstring(row["styleQML"].encode())
        rules = qml.findall(".//rule")
        assert len(rules) == len(sld.findall(".//{http://www.opengis.net/se}Rule")) >= 1
        assert {rule.get("symbol") for rule in rules} == {symbol.get("name") for symbol in qml.iter("symbol")}


KINDS = ("septic tank", "electrical cable", "alarm cable", "well", "water line", "property line", "reserve area")
KINDS += ("gas line", "irrigation line", "lateral", "distribution box", "D-box", "clean-out", "storm water drain")
KINDS += ("flagpole", "Building Sewer", "control panel", "force main")


def chosen_groups(sld: str, kind: str) -> list[str]:
    """Tell which rules of a style draw a kind, by reading its filters as OGC 04-095 says them."""
    ogc, se = "{http://www.opengis.net/ogc}", "{http://www.opengis.net/se}"

    def holds(node: Any) -> bool:
        if node.tag == f"{ogc}Or":
            return any(map(holds, node))
        if node.tag == f"{ogc}And":
            return all(map(holds, node))
        if node.tag == f"{ogc}Not":
            return not holds(node[0])
        assert node.tag == f"{ogc}PropertyIsLike"
        literal = node.findtext(f"{ogc}Literal") or ""
        assert literal[0] == literal[-1] == node.get("wildCard") == "*"
        return literal.strip("*").lower() in kind.lower()

    found = []
    for rule in etree.fromstring(sld.encode()).iter(f"{se}Rule"):
        condition = rule.find(f"{ogc}Filter")
        if condition is None or holds(condition[0]):
            found.append(rule.findtext(f"{se}Name") or "")
    return found


@pytest.mark.parametrize("kind", KINDS)
def test_a_style_draws_each_kind_once_and_in_the_colour_of_the_map(kind: str) -> None:
    _, sld = layer_styles("component_lines", "Lines", "LineString")
    assert chosen_groups(sld, kind) == [group_of(Feature("component", "x", kind, None))]


def test_the_colours_are_those_of_the_map() -> None:
    qml, sld = layer_styles("component_areas", "Areas", "Polygon")
    for group in GROUPS:
        if group.key in ("sewer", "water", "electric", "gas", "reserve"):
            assert group.colour in sld
            red, green, blue = (int(group.colour[k : k + 2], 16) for k in (1, 3, 5))
            assert f"{red},{green},{blue},255" in qml


# ------------------------------------------------------------ words stay words


def test_every_hostile_word_comes_back_from_every_column(package: Path) -> None:
    seen = 0
    for name in ("measured_points", "component_lines", "component_areas"):
        frame = pyogrio.read_dataframe(package, layer=name)
        for row in frame.to_dict("records"):
            text = kept(HOSTILE[round((row["geometry"].bounds[0] + 118) * 1000)])
            keys = ("name", "kind", "property", "accuracy_text")
            keys += (
                ("description", "photo", "point", "component") if name == "measured_points" else ("note", "material")
            )
            assert {key: row[key] for key in keys} == dict.fromkeys(keys, text)
            if name == "measured_points":
                assert row["ties"] == f"{text} from {text}"
            else:
                assert row["next_due"] == text
                assert row["due"] == f"2027-01-02 {text}"
                assert row["installed_on"].date() == date(2025, 4, 3)
            seen += 1
    assert seen == len(HOSTILE)


def test_what_has_no_column_of_its_own_is_not_lost(package: Path) -> None:
    frame = pyogrio.read_dataframe(package, layer="component_lines")
    texts = [text for k, text in enumerate(HOSTILE) if k % 3 == 1]
    assert [json.loads(more) for more in frame.more] == [{"strange": {text: [text]}} for text in texts]


def test_gdal_reads_every_feature_of_hostile_words(package: Path) -> None:
    said = ogrinfo(package)
    sheets, styles = 2, len(LAYERS)
    assert sum(feature_counts(said)) == len(HOSTILE) + 5 + sheets + styles


def test_the_field_sheets_stand_in_it_letter_for_letter(db: sqlite3.Connection) -> None:
    found = rows(db, "SELECT sheet, text FROM asbuilt_sheets ORDER BY id")
    assert [tuple(row) for row in found] == [("", "complete x"), ("points.csv", "\n".join(map(kept, HOSTILE)))]


# ------------------------------------------------------------ the rest


def test_two_batches_give_one_layer_and_the_same_record_the_same_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("asbuilt.output.gis.geopackage.BATCH", 5)
    features = hostile_features(("a", "b", "c", "d", "e", "f"))
    sheaves = [Sheaf(f"lot {k}", features, {"points.csv": f"{k}"}, "complete x") for k in range(3)]
    for name in ("one", "two"):
        assert write_geopackage(tmp_path / f"{name}.gpkg", sheaves, WGS84, dated=DAY) == 18
    assert feature_counts(ogrinfo(tmp_path / "one.gpkg", "-so"))[:3] == [6, 6, 6]
    assert (tmp_path / "one.gpkg").read_bytes() == (tmp_path / "two.gpkg").read_bytes()


@pytest.mark.parametrize(
    ("system", "told"),
    [(LOCAL, "plane of the house"), (parse_system("EPSG:2277"), "NAD83 / Texas Central (ftUS)")],
    ids=["local", "grid"],
)
def test_any_system_is_named_in_the_file(tmp_path: Path, system: System, told: str) -> None:
    write_geopackage(tmp_path / "a.gpkg", [Sheaf("x", hostile_features(("a",)))], system, dated=DAY)
    assert told in ogrinfo(tmp_path / "a.gpkg", "-so")


def test_heights_are_kept_beside_things_without(tmp_path: Path) -> None:
    features = (
        Feature("point", "a", "valve", Point(-118, 42, 30.25)),
        Feature("point", "b", "valve", Point(-118, 42)),
    )
    write_geopackage(tmp_path / "a.gpkg", [Sheaf("x", features)], WGS84, dated=DAY)
    said = ogrinfo(tmp_path / "a.gpkg")
    assert "POINT Z (-118 42 30.25)" in said
    assert "POINT (-118 42)" in said
    with closing(sqlite3.connect(tmp_path / "a.gpkg")) as db:
        assert db.execute("SELECT z FROM gpkg_geometry_columns").fetchone() == (2,)  # optional


def test_each_thing_goes_into_the_layer_of_its_shape() -> None:
    parted = MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 2, 3, 3)])
    assert layer_of(Feature("component", "x", "y", parted)).name == "component_areas"
    assert layer_of(Feature("component", "x", "y", None)).name == "component_points"
    assert layer_of(Feature("point", "x", "y", Point(0, 0))).name == "measured_points"
    assert layer_of(Feature("reference", "x", "y", None)).name == "reference_points"


def test_nothing_to_write_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match="there is nothing to write"):
        write_geopackage(tmp_path / "a.gpkg", [Sheaf("x", ())], WGS84, dated=DAY)
    assert list(tmp_path.iterdir()) == []


def test_every_role_has_columns() -> None:
    assert {column.name for column in columns_of(["building"])} >= {"property", "name", "kind"}

"""How fast GeoJSON is written, and how much memory an office of a million things takes in the formats that stream.

Run `python -m tests.benchmarks.export [--features 1000000] [--speed 100000]`. The features are made by a generator:
solving so many properties would take hours, and what is measured is the writing. Fails where GeoJSON is less than
twice as fast as the default writer of geopandas, or no faster than its Arrow path, with the same attributes and
decimals, each the best of some rounds of one run; or where writing takes more than 2,000 MB at its peak, measured as
the largest resident size of a process of its own.
"""

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import date
from itertools import islice
from pathlib import Path

from shapely import Point, box

from asbuilt.output.features import Feature
from asbuilt.output.gis.flatgeobuf import write_flatgeobuf
from asbuilt.output.gis.formats import Sheaf
from asbuilt.output.gis.geojson import DECIMALS
from asbuilt.output.gis.geopackage import write_geopackage
from asbuilt.output.gis.geoparquet import write_geoparquet
from asbuilt.output.gis.office_geojson import write_geojson_file
from asbuilt.output.gis.points_csv import csv_lines
from asbuilt.output.gis.system import WGS84

MOST_MB = 2_000
LEAST_OVER_DEFAULT, LEAST_OVER_ARROW = 2.0, 1.0
A_PROPERTY = 10  #: features of one invented property
ROUNDS = 5


def features_of(number: int) -> Iterator[Feature]:
    """Give the things of one invented property: a tank, and the points on it and round it."""
    west, south = -118.0 + number % 1000 * 1e-3, 42.0 + number // 1000 * 1e-3
    name = f"Invented Road {number}"
    accuracy = {
        "r95_m": round(0.04 + number % 97 * 1e-4, 4),
        "r95_earth_m": round(4.0 + number % 89 * 1e-4, 4),
        "accuracy_text": "within 2 in, 19 times in 20",
        "checked": number % 3 > 0,
        "unchecked_because": None if number % 3 else "two tapes only",
    }
    tank = {"shape": "box", "material": "concrete", "volume_gal": 1000.0, "installed_on": "2025-06-01", "points": 9}
    tank |= {"removed_on": None, "note": None, "points_located": 9}
    outline = box(west, south, west + 3e-5, south + 2e-5)
    yield Feature("component", "septic tank", "septic tank", outline, {"property": name, **tank, **accuracy})
    for k in range(1, A_PROPERTY):
        own = {"component": "septic tank", "point": f"place {k}", "mark": None, "size": "20 in round"}
        own |= {"depth_text": "2' 4\" below grade to top", "depth_m": 0.7112, "depth_to": "top", "description": None}
        own |= {"elevation_m": None, "elevation_sigma_m": None, "elevation_to": None, "elevation_text": None}
        place = Point(west + k * 1.234567e-6, south + k * 2.345678e-6)
        yield Feature("point", f"septic tank/place {k}", "septic tank", place, {"property": name, **own, **accuracy})


def sheaves(features: int) -> Iterator[Sheaf]:
    """Give an invented office, property by property, each with field sheets of 2 kB."""
    for number in range(features // A_PROPERTY):
        sheets = {"points.csv": f"component,point\r\nseptic tank,place {number}\r\n" * 50}
        yield Sheaf(f"Invented Road {number}", tuple(features_of(number)), sheets, "complete 0")


def _csv(path: Path, office: Iterator[Sheaf]) -> int:
    with path.open("w", encoding="utf-8", newline="") as file:
        return sum(file.write(line) > 0 for line in csv_lines(office, WGS84))


WRITERS: dict[str, Callable[[Path, Iterator[Sheaf]], int]] = {
    "geojson": lambda path, office: write_geojson_file(path, office, elevation=False, sheets=True),
    "gpkg": lambda path, office: write_geopackage(path, office, WGS84, dated=date(2026, 6, 1)),
    "fgb": lambda path, office: write_flatgeobuf(path, office, WGS84),
    "parquet": lambda path, office: write_geoparquet(path, office, WGS84),
    "csv": _csv,
}


def write_one(kind: str, features: int, path: Path) -> None:
    """Write one format in this process, and print how it went."""
    begun = time.perf_counter()
    count = WRITERS[kind](path, sheaves(features))
    took = time.perf_counter() - begun
    # of this process alone: what getrusage tells begins with the peak of the one that started it
    peak = int(re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text(encoding="ascii"))[1]) / 1024
    print(json.dumps({"count": count, "seconds": took, "peak_mb": peak, "file_mb": path.stat().st_size / 1e6}))


def peak_mb(kind: str, features: int, folder: Path) -> float:
    """Write one format in a process of its own; gives its peak memory."""
    path = folder / f"office.{kind}"
    words = ["-m", "tests.benchmarks.export", "--write", kind, "--features", str(features), "--out", str(path)]
    done = subprocess.run([sys.executable, *words], check=True, capture_output=True, text=True)
    said = json.loads(done.stdout)
    print(
        f"{kind}: {said['count']:,} things in {said['seconds']:.0f} s, {said['file_mb']:,.0f} MB, "
        f"peak {said['peak_mb']:,.0f} MB of memory"
    )
    path.unlink()
    return float(said["peak_mb"])


def best_s(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def speed(features: int, folder: Path) -> tuple[float, float]:
    """Compare the writers of GeoJSON; gives how many times faster ours is than geopandas' default and Arrow paths.

    Theirs begin with a frame that is there already, ours with the features.
    """
    import geopandas

    office = [Sheaf(each.property, each.features) for each in sheaves(features)]
    known = [feature for sheaf in office for feature in sheaf.features]
    frame = geopandas.GeoDataFrame(
        [{"id": f"{f.role}/{f.name}", "name": f.name, "role": f.role, "kind": f.kind, **f.attributes} for f in known],
        geometry=[f.geometry for f in known],
        crs=4326,
    )
    ours, default, arrow = [], [], []
    options = {"driver": "GeoJSON", "COORDINATE_PRECISION": DECIMALS}
    for _ in range(ROUNDS):
        ours.append(
            best_s(lambda: write_geojson_file(folder / "a.geojson", iter(office), elevation=False, sheets=False))
        )
        default.append(best_s(lambda: frame.to_file(folder / "b.geojson", **options)))
        arrow.append(best_s(lambda: frame.to_file(folder / "c.geojson", use_arrow=True, **options)))
    ratios = min(default) / min(ours), min(arrow) / min(ours)
    print(
        f"GeoJSON of {len(known):,} things: {min(ours):.2f} s; geopandas {min(default):.2f} s, {ratios[0]:.2f} times; "
        f"its Arrow path {min(arrow):.2f} s, {ratios[1]:.2f} times"
    )
    assert_same(folder / "a.geojson", folder / "b.geojson")
    return ratios


def assert_same(ours: Path, theirs: Path) -> None:
    """See that both files say the same: as many things, with the same attributes and coordinates."""
    a, b = (json.loads(path.read_text(encoding="utf-8"))["features"] for path in (ours, theirs))
    assert len(a) == len(b)
    for one, other in islice(zip(a, b, strict=True), 0, None, 997):
        other["properties"].pop("id")
        there = {key: value for key, value in other["properties"].items() if value is not None}
        assert {key: value for key, value in one["properties"].items() if value is not None} == there
        if one["geometry"]["type"] == "Point":
            assert one["geometry"] == other["geometry"]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--features", type=int, default=1_000_000)
    parser.add_argument("--speed", type=int, default=100_000)
    parser.add_argument("--write", choices=list(WRITERS))
    parser.add_argument("--out", type=Path, default=Path(os.devnull))
    asked = parser.parse_args()
    if asked.write is not None:
        write_one(asked.write, asked.features, asked.out)
        return 0
    with tempfile.TemporaryDirectory() as folder:
        ratios = speed(asked.speed, Path(folder))
        peaks = [peak_mb(kind, asked.features, Path(folder)) for kind in WRITERS]
    slow = ratios[0] < LEAST_OVER_DEFAULT or ratios[1] <= LEAST_OVER_ARROW
    return int(slow or max(peaks) > MOST_MB)


if __name__ == "__main__":
    sys.exit(main())

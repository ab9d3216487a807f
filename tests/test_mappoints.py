"""What the map draws of each point: the tapes that find it, and its ellipse as it lies on the earth."""

import math
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod

from asbuilt.jobs.draw import map_of, show_property
from asbuilt.jobs.load import load_sheets
from asbuilt.jobs.locate import Located
from asbuilt.jobs.properties import located
from asbuilt.output.map.points import found_points
from asbuilt.output.text.positions import Ways
from asbuilt.units import parse_length
from tests.commands import SAMPLE, SAMPLE_NAME
from tests.test_webmap import block_of

GEOD = Geod(ellps="WGS84")


@pytest.fixture(scope="module")
def record_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("record") / "asbuilt.db"
    load_sheets(path, SAMPLE, who="a test", now=datetime(2026, 6, 1, tzinfo=UTC))
    return path


@pytest.fixture(scope="module")
def sample(record_file: Path) -> Located:
    return located(record_file, SAMPLE_NAME)


def test_words_and_lines_name_the_same_marks_and_the_words_are_those_of_the_table(sample: Located) -> None:
    found = found_points(sample.record, sample.solution, sample.placement)
    ways = Ways(sample.record, sample.solution)
    assert set(found) == {position.name for position in sample.solution.points if position.place is not None}
    for position in sample.solution.points:
        if position.place is None:
            continue
        point = found[position.name]
        assert point.ways == ways.to(position)
        assert point.check == ways.check(position)
        for line in point.lines:
            assert any(line.mark in way and line.words.split(" along")[0].split(" out")[0] in way for way in point.ways)


def test_a_drawn_tape_is_as_long_as_its_words_say(sample: Located) -> None:
    """The distance between its ends by pyproj against the reading; level tapes within what the fit leaves."""
    compared = 0
    for point in found_points(sample.record, sample.solution, sample.placement).values():
        for line in point.lines:
            if "slope" in line.words:
                continue
            read = parse_length(line.words.split(" along")[0].split(" out")[0]).metres
            assert GEOD.inv(*line.at[0], *line.at[1])[2] == pytest.approx(read, abs=0.1), line
            compared += 1
    assert compared > 30


def test_an_offset_goes_along_its_wall_and_then_square_out(sample: Located) -> None:
    along, out = found_points(sample.record, sample.solution, sample.placement)["building sewer/house exit"].lines[:2]
    assert (along.along, out.along) == (True, False)
    assert (along.words, out.words) == ("13' 1 1/2\" along", "0' 5 1/2\" out")
    assert along.at[1] == out.at[0]
    turn = GEOD.inv(*along.at[0], *along.at[1])[0] - GEOD.inv(*out.at[0], *out.at[1])[0]
    assert abs(math.cos(math.radians(turn))) < 0.01


def test_the_ellipse_turns_with_the_property_when_it_is_laid_on_the_earth(sample: Located) -> None:
    """The major axis as two places of the plane, laid on the earth by the placing; its azimuth is pyproj's."""
    assert sample.placement is not None
    found = found_points(sample.record, sample.solution, sample.placement)
    compared = 0
    for position in sample.solution.points:
        ellipse = position.ellipse
        if position.place is None or ellipse is None or ellipse.major_m < 1.2 * ellipse.minor_m:
            continue
        turn = math.radians(ellipse.azimuth_deg)
        ends = [position.place + sign * 10 * np.array([math.sin(turn), math.cos(turn)]) for sign in (-1, 1)]
        a, b = (sample.placement.to_earth(end) for end in ends)
        drawn = found[position.name].ellipse
        assert drawn is not None
        assert drawn[:2] == (pytest.approx(ellipse.major_m, abs=1e-4), pytest.approx(ellipse.minor_m, abs=1e-4))
        difference = (GEOD.inv(*a, *b)[0] - drawn[2]) % 180
        assert min(difference, 180 - difference) < 0.02
        compared += 1
    assert compared > 10
    unplaced = found_points(sample.record, sample.solution, None)
    for position in sample.solution.points:
        if position.ellipse is not None:
            drawn = unplaced[position.name].ellipse
            assert drawn is not None
            assert drawn[2] == pytest.approx(position.ellipse.azimuth_deg, abs=0.01)


def test_the_map_of_the_sample_carries_the_tapes_of_every_located_point(sample: Located, record_file: Path) -> None:
    plan = block_of(map_of(show_property(sample, date(2026, 6, 1)), record_file))
    located_points = {f["name"] for f in plan["features"] if f["role"] == "point" and f["parts"]}
    assert set(plan["found"]) == located_points
    assert [photo["of"] for photo in plan["photos"]] == [
        photo.of
        for photo in sorted(sample.record.photos, key=lambda photo: "lid" not in photo.of)
        if photo.of in {f["name"] for f in plan["features"]}
    ]


def test_a_map_without_the_record_beside_it_has_no_photos(sample: Located) -> None:
    assert block_of(map_of(show_property(sample, date(2026, 6, 1))))["photos"] == []

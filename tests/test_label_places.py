"""Places for labels: none overlaps another, none covers a symbol or leaves the frame, the same each time."""

from itertools import combinations

import numpy as np
import pytest
from shapely.geometry import LineString, box

from asbuilt.output.drawing.labels import Ground, Label, Placed, Text, place_labels

FRAME = (10.0, 10.0, 200.0, 150.0)


def crowd(seed: int, count: int, spread: float) -> tuple[list[Label], Ground]:
    """Draw points round the middle of the frame, each with a symbol, a long and a short text."""
    rng = np.random.default_rng(seed)
    places = rng.normal((105.0, 80.0), spread, (count, 2)).clip((15, 15), (195, 145))
    ground = Ground(FRAME, [(x - 1, y - 1, x + 1, y + 1) for x, y in places])
    ground.lines = [(f"line {k}", (*places[k], *places[k + 1])) for k in range(count - 1)]
    labels = [
        Label(str(k), (Text(f"{k} a long name", float(rng.uniform(8, 30)), 2.7), Text(str(k), 3.0, 2.7)), (x, y), 1.0)
        for k, (x, y) in enumerate(places)
    ]
    return labels, ground


def faults(placed: dict[str, Placed], ground: Ground) -> list[str]:
    """Look with shapely for what must not be."""
    found = []
    boxes = {key: box(*each.box) for key, each in placed.items()}
    for a, b in combinations(boxes, 2):
        if boxes[a].intersection(boxes[b]).area > 0:
            found.append(f"{a} over {b}")
    for key, each in placed.items():
        if not box(*ground.frame).contains(boxes[key]):
            found.append(f"{key} beyond the frame")
        if any(boxes[key].intersection(box(*symbol)).area > 1e-9 for symbol in ground.symbols):
            found.append(f"{key} over a symbol")
        if each.leader is not None:
            way = LineString([each.leader[:2], each.leader[2:]])
            found += [f"leader of {key} through {o}" for o in boxes if o != key and way.intersects(boxes[o])]
    return found


CROWDS = [(20, 30.0), (60, 30.0), (60, 12.0), pytest.param(120, 25.0, marks=pytest.mark.slow)]


@pytest.mark.parametrize(("count", "spread"), CROWDS)
@pytest.mark.parametrize("seed", [1, 2])
def test_no_label_overlaps_another_one_a_symbol_a_leader_or_the_frame(seed: int, count: int, spread: float) -> None:
    labels, ground = crowd(seed, count, spread)
    placed = place_labels(labels, ground)
    assert faults(placed, ground) == []
    assert len(placed) == count  # there is room for every number


def test_the_same_labels_get_the_same_places() -> None:
    assert place_labels(*crowd(5, 40, 20.0)) == place_labels(*crowd(5, 40, 20.0))


def test_a_lonely_label_stands_beside_its_symbol_with_its_long_text() -> None:
    label = Label("a", (Text("septic tank", 20.0, 2.7), Text("C1", 4.0, 2.7)), (100.0, 80.0), 1.5)
    (placed,) = place_labels([label], Ground(FRAME, [(98.5, 78.5, 101.5, 81.5)])).values()
    assert not placed.short
    assert placed.leader is None
    assert placed.box[0] == pytest.approx(101.5 + 0.95)
    assert (placed.box[1] + placed.box[3]) / 2 == pytest.approx(80.0)


def test_where_all_near_places_are_taken_a_leader_joins_the_label_to_its_symbol() -> None:
    wall = [(90.0 + x, 70.0 + y, 91.0 + x, 71.0 + y) for x in range(0, 20, 2) for y in range(0, 20, 2)]
    label = Label("a", (Text("12", 4.0, 2.7),), (100.0, 80.0), 1.0)
    (placed,) = place_labels([label], Ground(FRAME, wall)).values()
    assert placed.leader is not None
    assert np.hypot(placed.leader[0] - 100, placed.leader[1] - 80) == pytest.approx(1.0)  # from the rim of the symbol
    assert box(*placed.box).distance(LineString([placed.leader[2:], placed.leader[:2]])) == pytest.approx(0.0)


def test_a_long_text_gives_way_to_the_short_one_where_it_is_crowded() -> None:
    labels, ground = crowd(4, 60, 25.0)
    placed = place_labels(labels, ground)
    assert any(each.short for each in placed.values())
    assert any(not each.short for each in placed.values())


def test_a_label_without_room_is_left_out_and_the_others_stay() -> None:
    tight = Ground((0.0, 0.0, 10.0, 6.0))
    labels = [Label(key, (Text("wide", 8.0, 4.0),), spots=((5.0, 3.0),)) for key in ("first", "second")]
    assert list(place_labels(labels, tight)) == ["first"]


def test_a_text_on_its_own_line_is_not_kept_off_it_and_a_foreign_one_is() -> None:
    way = ("dimension", (50.0, 80.0, 150.0, 80.0))
    on, off = (100.0, 80.0), (100.0, 90.0)
    for own, expected in ((frozenset({"dimension"}), on), (frozenset(), off)):
        label = Label("a", (Text("48' 3\"", 9.0, 2.3),), spots=(on, off), around=False, own=own)
        (placed,) = place_labels([label], Ground(FRAME, lines=[way])).values()
        assert ((placed.box[0] + placed.box[2]) / 2, (placed.box[1] + placed.box[3]) / 2) == pytest.approx(expected)

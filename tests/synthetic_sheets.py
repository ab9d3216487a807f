"""A `PropertyRecord` written out as field sheets, for the tests of the command line."""

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path

from asbuilt.model.measurements import Tie
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.units import Length

MOST_ON_A_CARD = 4


def write_sheets(record: PropertyRecord, folder: Path, *, as_cards: bool = False) -> Path:
    """Write `property.toml` and the CSV sheets of a record into a folder.

    Parameters
    ----------
    record
        What to write: the sheets that `tests.synthetic` can fill.
    folder
        Made if it is not there.
    as_cards
        Write the ties of a point into its row of `points.csv` where they fit; else all go to `ties.csv`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "property.toml").write_text(_property(record.property), encoding="utf-8")
    _write(
        folder / "reference_points.csv",
        ["name", "description", "kind"],
        ([r.name, r.description, r.kind] for r in record.reference_points),
    )
    _write(
        folder / "walls.csv",
        ["from", "to", "length", "turn"],
        ([w.from_, w.to, w.length, w.turn] for w in record.walls),
    )
    cards = _cards(record) if as_cards else {}
    head = ["component", "point", "order"]
    if as_cards:
        head += [f"{word}{k}" for k in range(1, MOST_ON_A_CARD + 1) for word in ("from", "tape")]
        head += ["side", "held", "drop"]
    _write(
        folder / "points.csv",
        head,
        ([p.component, p.point, _number(p.order), *_card(cards.get(p.name, ()))][: len(head)] for p in record.points),
    )
    on_cards = {id(tie) for ties in cards.values() for tie in ties}
    _write(
        folder / "ties.csv",
        ["from", "to", "distance", "side", "held", "drop", "note"],
        ([t.from_, t.to, t.distance, t.side, t.held, t.drop, t.note] for t in record.ties if id(t) not in on_cards),
    )
    _write(
        folder / "offsets.csv",
        ["wall_from", "wall_to", "point", "along", "out", "hand"],
        ([o.wall_from, o.wall_to, o.point, o.along, o.out, o.hand] for o in record.offsets),
    )
    _write(folder / "components.csv", ["name", "kind"], ([c.name, c.kind] for c in record.components))
    return folder


def _write(path: Path, head: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write one sheet, unless it has no rows."""
    lines = [[_cell(value) for value in row] for row in rows]
    if lines:
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([list(head), *lines])


def _cell(value: object) -> str:
    if value is None:
        return ""
    return value.as_read if isinstance(value, Length) else str(value)


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _property(place: Property) -> str:
    return (
        f'name = "{place.name}"\n'
        f'units = "{place.units}"\n'
        "\n[measured]\n"
        f'care = "{place.measured.care}"\n'
        f"square_sigma_deg = {place.measured.square_sigma_deg!r}\n"
    )


def _cards(record: PropertyRecord) -> dict[str, tuple[Tie, ...]]:
    """Give the ties of each point that fit on one row: at most four, all held alike, one side at most."""
    cards: dict[str, tuple[Tie, ...]] = {}
    for point in record.points:
        ties = tuple(tie for tie in record.ties if tie.to == point.name)
        alike = len({(tie.held, tie.drop) for tie in ties}) == 1
        pairs = len({tie.from_ for tie in ties}) == len(ties)
        one_side = sum(tie.side is not None for tie in ties) <= 1
        if len(ties) <= MOST_ON_A_CARD and alike and pairs and one_side:
            cards[point.name] = ties
    return cards


def _card(ties: Sequence[Tie]) -> list[object]:
    cells: list[object] = []
    for k in range(MOST_ON_A_CARD):
        cells += [ties[k].from_, ties[k].distance] if k < len(ties) else [None, None]
    side = next((tie.side for tie in ties if tie.side is not None), None)
    return [*cells, side, *((ties[0].held, ties[0].drop) if ties else (None, None))]

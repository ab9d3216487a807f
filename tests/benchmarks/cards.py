"""How fast an office's cards go into the record: `python -m tests.benchmarks.cards 20000`.

Cards are drawn, not copied: houses of 24 to 60 ft, one to three lids, two or three tapes, one card in fifty with a
slip that sets it aside.
"""

import csv
import math
import random
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

MAP = Path(__file__).parents[2] / "sample_property" / "cards" / "map.toml"

HEADINGS = (
    *("Card", "Road", "No", "Owner", "Drawn by", "Drawn on", "Corner A", "Corner B", "Corner C"),
    *("A to B", "A to C", "B to C", "Side of C"),
    *(f"Lid {k} {what}" for k in "123" for what in ("from A", "from B", "from C", "side")),
    *("Tank", "Gallons", "Installed", "People", "Last pumped"),
)


def feet(metres_ft: float) -> str:
    """Write feet to the half inch."""
    halves = round(metres_ft * 24)
    whole, rest = divmod(halves, 24)
    inches = f"{rest // 2}" + (" 1/2" if rest % 2 else "")
    return f"{whole}' {inches}\""


def card(number: int, draw: random.Random, *, slips: bool = True) -> dict[str, str]:
    """Draw one card: corner A at the origin, B along the front wall, C square off B."""
    wall, deep = draw.uniform(24, 60), draw.uniform(20, 40)
    c = (wall, deep)
    cells = dict.fromkeys(HEADINGS, "")
    cells |= {
        "Card": f"{number:06}",
        "Road": f"{draw.choice(('Alder', 'Birch', 'Cedar', 'Dogwood'))} Lane",
        "No": str(number),
        "Owner": f"Owner {number} (invented)",
        "Drawn by": "T. Sample (invented)",
        "Drawn on": f"{draw.randint(1, 12)}/{draw.randint(1, 28)}/{draw.randint(1985, 2015)}",
        "Corner A": "front left, outside face",
        "Corner B": "front right, outside face",
        "A to B": feet(wall),
        "Tank": draw.choice("CFP"),
        "Gallons": str(draw.choice((1000, 1250, 1500))),
        "Installed": f"{draw.randint(1, 12)}/{draw.randint(1, 28)}/{draw.randint(1980, 1984)}",
        "People": str(draw.randint(1, 6)),
        "Last pumped": f"{draw.randint(1, 12)}/{draw.randint(1, 28)}/{draw.randint(2016, 2024)}",
    }
    third = draw.random() < 0.5
    if third:
        cells |= {"Corner C": "back right", "B to C": feet(deep), "A to C": feet(math.hypot(wall, deep))}
        cells["Side of C"] = "left of A > B"
    for lid in range(1, draw.randint(1, 3) + 1):
        at = (draw.uniform(-20, wall + 20), -draw.uniform(10, 40))
        cells[f"Lid {lid} from A"] = feet(math.hypot(*at) + draw.gauss(0, 0.05))
        cells[f"Lid {lid} from B"] = feet(math.hypot(at[0] - wall, at[1]) + draw.gauss(0, 0.05))
        cells[f"Lid {lid} side"] = "right of A > B"
        if third:
            cells[f"Lid {lid} from C"] = feet(math.hypot(at[0] - c[0], at[1] - c[1]) + draw.gauss(0, 0.05))
    if slips and number % 50 == 0:
        cells["Lid 1 from A"] = draw.choice(("23", "24' 14\"", "x", "4/12/2025"))
    return cells


def write_cards(path: Path, count: int, *, seed: int = 7, slips: bool = True) -> None:
    """Write a file of cards."""
    draw = random.Random(seed)  # noqa: S311
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, HEADINGS)
        writer.writeheader()
        writer.writerows(card(number, draw, slips=slips) for number in range(1, count + 1))


def main(count: int) -> None:
    """Load so many cards, and load them again."""
    from asbuilt.jobs.load_cards import load_cards

    with tempfile.TemporaryDirectory() as folder:
        cards, record = Path(folder, "cards.csv"), Path(folder, "asbuilt.db")
        write_cards(cards, count)
        for what, resume in (("first run", False), ("again, all there", True)):
            begin, busy = time.perf_counter(), time.process_time()
            found = load_cards(record, cards, MAP, who="benchmark", now=datetime(2026, 1, 1, tzinfo=UTC), resume=resume)
            took, worked = time.perf_counter() - begin, time.process_time() - busy
            print(
                f"{what}: {count / took:,.0f} cards a second, {took:.1f} s ({worked:.1f} s of one core); "
                f"{found.stored} stored, "
                f"{found.already} there, {len(found.set_aside)} set aside, {len(found.notes)} noted; "
                f"record {record.stat().st_size / count / 1000:.1f} kB a card"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5_000)

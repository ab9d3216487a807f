"""Make every output of a poisoned property, by the commands alone, and hold it against that of a harmless one."""

import os
import shutil
from collections.abc import Callable
from contextlib import chdir
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from traceback import format_exception
from unittest.mock import patch

from click.testing import Result

from asbuilt.jobs import locate as locating
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.rule_files import RuleFile
from tests.commands import SAMPLE, invoke
from tests.output_readers import Read, read_file, read_printed_json, read_terminal, said_by
from tests.poisoned import Harmless, Poison, poisoned, sample, store, texts_of

DAY = ("--on", "2026-06-01")
YARD = ("--date", "2026-06-01", "--from", "42.5,-118.4", "--dump", "42.6,-118.4", "--truck-gal", "2500")
OFFICE = ("geojson", "csv")
FORMATS = ("geojson", "gpkg", "kml", "kmz", "gpx", "dxf", "fgb", "parquet", "csv")

WORTH_A_LOOK = 12
"""Letters and digits of a text that must come back: what is longer may be cut to the room that there is."""

Words = tuple[str, ...]


@dataclass(frozen=True)
class Names:
    """What the commands are told by name."""

    place: str
    lid: str
    corner: str
    wall: str


@dataclass(frozen=True)
class Output:
    """One command and what it makes."""

    words: Callable[[Names], Words]
    files: Words = ()
    prints: str = "text"  #: text, json or csv


def _on(command: str, *words: str) -> Callable[[Names], Words]:
    return lambda names: (command, *words, *DAY, "--", names.place)


def _of(command: str, *words: str) -> Callable[[Names], Words]:
    return lambda names: (command, *words, "--", names.place)


def _planned(names: Names) -> Words:
    return ("clear-of", "--wall", names.wall, "--along", "20 ft", "--out", "30 ft", "--radius", "5 ft", *DAY)


OUTPUTS: dict[str, Output] = {
    "positions": Output(_of("positions", "--full")),
    "positions json": Output(_of("positions", "--json"), prints="json"),
    "levels": Output(_of("levels")),
    "levels json": Output(_of("levels", "--json"), prints="json"),
    "ready": Output(_of("ready")),
    "ready json": Output(_of("ready", "--json"), prints="json"),
    "log": Output(_of("log")),
    "log json": Output(_of("log", "--json"), prints="json"),
    "photos": Output(_of("photos")),
    "photos json": Output(_of("photos", "--json"), prints="json"),
    "checklist": Output(_on("backfill-check", "--all")),
    "checklist json": Output(_on("backfill-check", "--json"), prints="json"),
    "drawing": Output(_on("drawing", "--out", "drawing.pdf", "--svg", "drawing.svg"), ("drawing.pdf", "drawing.svg")),
    "blank sheet": Output(
        lambda n: ("print", "blank", "--property", n.place, "--out", "blank.pdf", *DAY), ("blank.pdf",)
    ),
    "map": Output(_on("map", "--out", "map.html"), ("map.html",)),
    "public map": Output(_on("map", "--public", "--out", "public.html"), ("public.html",)),
    "geojson": Output(_on("geojson", "--points", "--house"), prints="json"),
    "find": Output(_on("find")),
    "find es": Output(_on("find", "--lang", "es")),
    "find json": Output(_on("find", "--json"), prints="json"),
    "find sheet": Output(_on("find", "--pdf", "find.pdf"), ("find.pdf",)),
    "find sheet es": Output(_on("find", "--pdf", "find-es.pdf", "--lang", "es", "--one-page-each"), ("find-es.pdf",)),
    "service list": Output(_of("service", "--list")),
    "due": Output(lambda _: ("due", *DAY)),
    "due csv": Output(lambda _: ("due", "--csv", *DAY), prints="csv"),
    "due json": Output(lambda _: ("due", "--json", *DAY), prints="json"),
    "due files": Output(lambda _: ("due", "--ics", "due.ics", "--map", "due.html", *DAY), ("due.ics", "due.html")),
    "route": Output(lambda _: ("route", *YARD, "--within", "3000", "--out", "route"), ("route",)),
    "route json": Output(lambda _: ("route", *YARD, "--within", "3000", "--json"), prints="json"),
    "pump": Output(_on("pump")),
    "pump json": Output(_on("pump", "--json"), prints="json"),
    "service sheet": Output(_on("service-sheet", "--out", "service.pdf"), ("service.pdf",)),
    "alarm sheet": Output(_on("alarm-sheet", "--out", "alarm.pdf"), ("alarm.pdf",)),
    "report": Output(_on("report", "--out", "report.html"), ("report.html",)),
    "report pdf": Output(_on("report", "--out", "report.pdf"), ("report.pdf",)),
    "sheets": Output(_of("sheets", "--out", "sheets"), ("sheets",)),
    "packet": Output(_on("packet", "--out", "packet.zip"), ("packet.zip",)),
    "verify": Output(lambda _: ("verify",)),
    **{f"export {each}": Output(_on("export", "--out", f"one.{each}"), (f"one.{each}",)) for each in FORMATS},
    **{
        f"office {each}": Output(
            lambda _, each=each: ("export", "--all", "--out", f"all.{each}", *DAY), (f"all.{each}",)
        )  # type: ignore[misc]
        for each in OFFICE
    },
}
"""Outputs that any words can stand in."""

NAMED: dict[str, Output] = {
    "next-tape": Output(lambda n: ("next-tape", "--", n.place, n.lid)),
    "next-tape json": Output(lambda n: ("next-tape", "--json", "--", n.place, n.lid), prints="json"),
    "first tapes": Output(
        lambda n: ("next-tape", "--wall", n.wall, "--along", "10 ft", "--out", "20 ft", "--json", "--", n.place),
        prints="json",
    ),
    "tape": Output(lambda n: ("tape", "--dry-run", "--", n.place, n.lid, n.corner, "26 ft")),
    "label": Output(_on("label", "--out", "label.pdf"), ("label.pdf",)),
    "uncovered": Output(
        lambda n: (
            *("uncovered", "--off", '2"', "--toward", f"away from {n.corner}", "--dry-run", *DAY),
            *("--", n.place, n.lid),
        )
    ),
    "clear-of": Output(lambda n: (*_planned(n), "--map", "clear.html", "--", n.place, "tree"), ("clear.html",)),
    "clear-of json": Output(lambda n: (*_planned(n), "--json", "--", n.place, "tree"), prints="json"),
}
"""Outputs that need a name which the command line takes."""


@dataclass(frozen=True)
class Made:
    """All outputs of one property."""

    folder: Path
    known: PropertyRecord
    results: dict[str, Result]
    texts: dict[tuple[str, int, str], str]  #: letters and digits of every text of the record
    known_reads: dict[str, dict[str, Read]] = field(default_factory=dict)

    def read(self, key: str) -> dict[str, Read]:
        """Read what a command printed and the files that it wrote, once."""
        if key not in self.known_reads:
            self.known_reads[key] = self._read(key)
        return self.known_reads[key]

    def _read(self, key: str) -> dict[str, Read]:
        output, result = (OUTPUTS | NAMED)[key], self.results[key]
        if result.exit_code == 2:
            return {"refused": read_terminal(result.stderr)}
        read_terminal(result.stderr)
        reader = {"text": read_terminal, "json": read_printed_json, "csv": _read_csv}[output.prints]
        read = {"printed": reader(result.stdout)}
        for name in output.files:
            read[name] = read_file(self.folder / name)
        return read


def _read_csv(text: str) -> Read:
    from tests.output_readers import read_csv

    return read_csv(text.encode())


def photos_of_sample() -> Path:
    """Give the folder with the sample's photos, made once."""
    return _photos()


@cache
def _photos() -> Path:
    folder = Path(mkdtemp(prefix="asbuilt-photos-"))
    done = invoke("load", SAMPLE, "--record", folder / "asbuilt.db", "--who", "tester")
    assert done.exit_code in (0, 1), done.output
    return folder / "asbuilt.db.photos"


def make(
    folder: Path,
    poison: Poison,
    outputs: dict[str, Output],
    shown: PropertyRecord | None = None,
    rules: str | None = None,
) -> Made:
    """Put a poisoned property into a record and make all outputs of it.

    Each property is solved once, and not anew by each command: what is tested here is what comes after that.

    Parameters
    ----------
    shown
        Show this to the commands in place of what the record holds; for words that SQLite cannot hold.
    rules
        The property goes by this rule profile (TOML).
    """
    known = poisoned(poison)
    if rules is not None:
        own = replace(known.property, rules="own.toml")
        known = replace(known, property=own, rule_files=(RuleFile("own.toml", rules),))
    stored = poisoned(Harmless(0)) if shown is not None else known
    store(folder / "asbuilt.db", stored, "tester" if shown is not None else poison.free("Property.owner", 3))
    shutil.copytree(photos_of_sample(), folder / "asbuilt.db.photos")
    lid = sample().points.index(next(each for each in sample().points if each.name == "septic tank/inlet lid"))
    wall = stored.walls[0]
    names = Names(stored.property.name, stored.points[lid].name, wall.from_, f"{wall.from_} > {wall.to}")
    results: dict[str, Result] = {}
    crashes: dict[str, str] = {}
    with chdir(folder), patch("asbuilt.jobs.properties.locate", cache(locating.locate)):
        os.environ.pop("ASBUILT_RECORD", None)
        for key, output in outputs.items():
            try:
                results[key] = invoke(*output.words(names))
            except Exception as error:  # gathered, so that one run names all of them
                crashes[key] = f"{key}: {''.join(format_exception(error)[-2:])}"
    assert not crashes, "\n".join(crashes.values())
    return Made(folder, known, results, {place: said_by(text) for place, text in texts_of(known).items()})


def words_lost(hostile: Made, harmless: Made, key: str) -> list[str]:
    """Give the texts that a harmless property shows in an output and the hostile one does not."""
    lost = []
    before, after = harmless.texts, hostile.texts
    plain, poisoned_ = harmless.read(key), hostile.read(key)
    for where, read in plain.items():
        said, found = said_by(read.words), said_by(poisoned_[where].words)
        for place, text in before.items():
            if (where.endswith((".gpx", ".svg")) or key == "verify") and place != ("property", 0, "name"):
                continue  # cut to its room, wherever that ends; verify shows the first of many faults only
            if text in said and after[place][:WORTH_A_LOOK] not in found:
                lost.append(f"{key} {where} {place}: {after[place]!r:.90}")
    return lost

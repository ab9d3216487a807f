"""The README of a packet: what it is, what each file is for, and how to check it, in words for a stranger."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from asbuilt.handover.packet import MANIFEST, OLD_PHOTOS, RECORD, SHEETS
from asbuilt.output.words import clean

WIDE = 78


@dataclass(frozen=True, slots=True)
class Told:
    """What a README tells of one packet."""

    property: str
    address: str | None
    day: date
    draft: bool
    files: Sequence[tuple[str, str]]  #: name and what it is, in the order of the packet
    absent: Sequence[tuple[str, str]]  #: what could not be made, and why
    public: bool = False
    building: str | None = None
    cautions: Sequence[str] = ()


def readme_text(told: Told) -> str:
    """Write the README."""
    where = f"{told.property}{f', {told.address}' if told.address else ''}"
    head = f"What is buried at {' '.join(where.split())}"
    parts = [
        *textwrap.wrap(head, WIDE),
        "=" * min(WIDE, len(head)),
        "",
        *_wrapped(
            f"Everything that was recorded of the wastewater system of this property up to {told.day.isoformat()}: "
            "what was measured, where everything is and how well that is known, what was done and when it is next "
            "due. You need no account, no network and no special program to read it."
        ),
        *(["", "THIS IS A DRAFT: the sheets were not complete when they were stored."] if told.draft else []),
        *_left_out(told),
        "",
        *_headed("Before you dig or open anything"),
        *[line for caution in told.cautions for line in _bullet(caution)],
        "",
        *_headed("Begin with"),
        *[line for name, what in told.files for line in _file(name, what)],
        *_photos(told),
        *[line for name, why in told.absent for line in _file(name, f"NOT IN HERE: {why}")],
        "",
        *_headed("How it hangs together"),
        *_wrapped(
            f"The readings are the record; places are reckoned from them. They stand in {RECORD} (one SQLite file, "
            f"with who stored each and when) and once more in plain text in the folder {SHEETS} (comma-separated "
            "tables, UTF-8). Lengths stand as they were read off the tape; ft-in means feet and inches. In a text, an "
            "apostrophe before = + - or @ keeps a spreadsheet from taking it for a formula and is no part of it."
        ),
        "",
        *_headed("Is it whole?"),
        *_wrapped(
            f"{MANIFEST} lists the SHA-256 sum of every file. On Linux: sha256sum -c {MANIFEST}; on a Mac: "
            f"shasum -a 256 -c {MANIFEST}; on Windows: certutil -hashfile FILE SHA256, and compare."
        ),
        "",
        *_headed("With the program asbuilt"),
        *_wrapped(
            "asbuilt import-packet takes the ZIP file itself, checks every sum and every entry, and puts the property "
            f"into a record. asbuilt load takes the folder {SHEETS}."
        ),
    ]
    return clean("\n".join(parts) + "\n")


def _left_out(told: Told) -> list[str]:
    if told.public:
        words = (
            "This is a PUBLIC COPY. Left out are names, phone numbers, who lives there, how to get in, notes about "
            "visits and readings, and the places where photos were taken. Intervals that hang on who lives there are "
            "rounded down, so a date may be earlier than in the record, never later. Its entries were made anew for "
            "this copy: the record's own history, which names who stored what, is not in it."
        )
        return ["", *_wrapped(words)]
    if told.building is not None:
        words = (
            f"This packet is for one building of several on the same system: {told.building}. Who lives in the others "
            "is not in it; due dates count everybody all the same. Because a reckoning with one household of several "
            "would give wrong dates, the record in here holds no household, and each date that hangs on them stands "
            "in it as an interval of its own. Its entries were made anew for this copy."
        )
        return ["", *_wrapped(words)]
    return []


def _headed(title: str) -> list[str]:
    return [title, "-" * len(title)]


def _wrapped(words: str) -> list[str]:
    return textwrap.wrap(words, WIDE)


def _bullet(words: str) -> list[str]:
    return textwrap.wrap(words, WIDE, initial_indent="- ", subsequent_indent="  ")


def _photos(told: Told) -> list[str]:
    """Say how many photos there are, and where."""
    lines = []
    for folder, what in ((f"{SHEETS}/photos/", "photos"), (f"{OLD_PHOTOS}/", "photos that others took the place of")):
        count = sum(name.startswith(folder) for name, _ in told.files)
        lines += _file(folder.removesuffix("/"), f"{what}: {count}") if count else []
    return lines


def _file(name: str, what: str) -> list[str]:
    if name.startswith((f"{SHEETS}/photos/", f"{OLD_PHOTOS}/")):
        return []
    indent = " " * 24
    first = f"{name:<23} " if len(name) < 24 else f"{name}\n{indent}"
    lines = textwrap.wrap(what, WIDE, initial_indent=indent, subsequent_indent=indent)
    return (first + "\n".join(lines).lstrip()).splitlines()

"""The packet of one property: its record, sheets, photos and everything that is made from them, in one ZIP file."""

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from pathlib import Path

from asbuilt.errors import AsbuiltError
from asbuilt.file_names import file_stem
from asbuilt.findings import Finding
from asbuilt.handover.packet import OLD_PHOTOS, README, RECORD, SHEETS, Part, write_packet
from asbuilt.handover.readme import Told, readme_text
from asbuilt.jobs.draw import show_property
from asbuilt.jobs.locate import locate
from asbuilt.jobs.packet_parts import PARTS, SHEET_WORDS, Bench
from asbuilt.jobs.private_copy import building_record, check_building, public_record
from asbuilt.jobs.sheets_out import photo_files, sheet_files
from asbuilt.model.photos import Photo
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.cautions import CAUTIONS
from asbuilt.output.files import opened_whole, refuse_existing
from asbuilt.record.database import open_record
from asbuilt.record.entries import Action, Draft, add_entries, read_property
from asbuilt.record.nouns import NOUNS
from asbuilt.record.photos import keep_bytes, photo_file, read_photo
from asbuilt.record.pictures import bare
from asbuilt.record.sheets.photos import photo_hash
from asbuilt.record.transfer import Chain, read_chain, settled_bytes, write_chain

MADE_BY = "asbuilt packet"
"""Stands in the place of who stored the entries that are made anew for a copy."""


@dataclass(frozen=True, slots=True)
class Packed:
    """A packet that was written."""

    path: Path
    files: tuple[str, ...]
    absent: tuple[tuple[str, str], ...]  #: parts that could not be made, and why
    findings: tuple[Finding, ...]


def make_packet(
    record_file: Path,
    name: str,
    out: Path,
    today: date,
    *,
    building: str | None = None,
    public: bool = False,
    overwrite: bool = False,
) -> Packed:
    """Write the packet of one property; the same record and day give the same bytes.

    Parameters
    ----------
    building
        The packet is for the people of this building: those of the others on the system are left out.
    public
        Leave out everything personal; see `asbuilt.model.private`.

    Raises
    ------
    UnknownNameError
        If there is no such property or building.
    PhotoError
        If a photo is missing or altered.
    OutputError, PacketError
        If the file is there already, cannot be written, or would be too large. Nothing is left of it.
    """
    refuse_existing(out, overwrite=overwrite)
    with open_record(record_file, read_only=True) as record, record.read():
        known, chain = read_property(record, name), read_chain(record, name)
    with tempfile.TemporaryDirectory(prefix="asbuilt.") as place:
        copy = Path(place) / RECORD
        shown, anew = known, dict[str, bytes]()
        if building is not None:
            check_building(known, building)
        if public:
            shown, anew = _public(known, record_file, today)
        elif building is not None:
            shown = building_record(known, building, today)
        _keep_photos(shown, record_file, copy, anew)
        if shown is known:
            _begin_with(copy, chain)
        else:
            _begin_anew(copy, shown, today)
        bench = Bench(copy, locate(shown), today)
        made, absent = _made(bench)
        if building is not None and shown is not known and not public:
            made.append(_household_part(known, building))
        parts = [*made, *_data(bench, chain if shown is known else None, record_file)]
        told = _told(bench, parts, absent, public=public, building=building)
        parts.insert(0, Part(README, "this text", lambda: told.encode()))
        with opened_whole(out, overwrite=overwrite, private=not public) as stream:
            write_packet(stream, parts, today)
        findings = show_property(bench.located, today).findings
    return Packed(out, tuple(part.name for part in parts), tuple(absent), findings)


# The copy of the record


def _begin_with(copy: Path, chain: Chain) -> None:
    """Make a record that holds the entries of one property as they stand, with their chain."""
    with open_record(copy, create=True) as record, record.write():
        write_chain(record, chain)


def _begin_anew(copy: Path, known: PropertyRecord, today: date) -> None:
    """Make a record whose entries say what is known, stored by nobody at the beginning of the day."""
    drafts = []
    for noun in NOUNS:
        held = getattr(known, noun.field)
        for number, value in enumerate(held if isinstance(held, tuple) else (held,), start=1):
            drafts.append(Draft(noun, value, float(number), MADE_BY, None))
    moment = datetime.combine(today, time(), UTC)
    with open_record(copy, create=True) as record, record.write():
        add_entries(record, known.property.name, drafts, Action(MADE_BY, moment))


def _keep_photos(known: PropertyRecord, record_file: Path, copy: Path, anew: dict[str, bytes]) -> None:
    """Put the photos beside the copy; those that were made anew are given by their hash."""
    for photo in known.photos:
        content = anew.get(photo.sha256)
        keep_bytes(copy, read_photo(record_file, photo) if content is None else content, photo.form)


def _public(known: PropertyRecord, record_file: Path, today: date) -> tuple[PropertyRecord, dict[str, bytes]]:
    """Leave out what is personal, also what photos say of themselves; gives the new photos by their hash."""
    hashes, anew = {}, {}
    for photo in known.photos:
        content = bare(read_photo(record_file, photo), photo.form)
        hashes[photo.sha256] = photo_hash(content)
        anew[hashes[photo.sha256]] = content
    shown, photos = public_record(known, today), dict[tuple[str, str], Photo]()
    for photo in shown.photos:
        photos.setdefault((photo.of, hashes[photo.sha256]), replace(photo, sha256=hashes[photo.sha256]))
    return replace(shown, photos=tuple(photos.values())), anew


# The files


def _made(bench: Bench) -> tuple[list[Part], list[tuple[str, str]]]:
    """Make what is made from the record; what says why it cannot be is told instead."""
    made, absent = [], []
    for name, what, maker in PARTS:
        try:
            content = maker(bench)
        except AsbuiltError as error:
            absent.append((name, " ".join(str(error).split())[:300]))
        else:
            made.append(Part(name, what, lambda content=content: content))  # type: ignore[misc]
    return made, absent


def _data(bench: Bench, chain: Chain | None, record_file: Path) -> Iterator[Part]:
    """Give the record, the sheets and the photos; of a whole record also photos that were superseded."""
    known = bench.located.record
    settled = settled_bytes(bench.record_file, bench.record_file.with_name("settled.db"), bench.today.isoformat())
    yield Part(RECORD, "the record itself: every entry, who stored it and when (SQLite)", lambda: settled)
    for name, content in sheet_files(known).items():
        what = SHEET_WORDS.get(name, "a rule profile of the user's own")
        yield Part(f"{SHEETS}/{name}", what, lambda content=content: content)  # type: ignore[misc]
    for name, content in photo_files(known, bench.record_file):
        yield Part(f"{SHEETS}/{name}", "a photo", lambda content=content: content)  # type: ignore[misc]
    standing = {photo.sha256 for photo in known.photos}
    for photo in _all_photos(chain):
        if photo.sha256 not in standing:
            standing.add(photo.sha256)
            name = photo_file(record_file, photo).name
            yield Part(f"{OLD_PHOTOS}/{name}", "a photo", lambda photo=photo: read_photo(record_file, photo))  # type: ignore[misc]


def _all_photos(chain: Chain | None) -> Iterator[Photo]:
    for entry in () if chain is None else chain.entries:
        if entry.links["kind"] == "photo" and isinstance(photo := entry.value, Photo):
            yield photo


def _told(bench: Bench, parts: list[Part], absent: list[tuple[str, str]], *, public: bool, building: str | None) -> str:
    place = bench.located.record.property
    files = [(part.name, part.what) for part in parts]
    told = Told(place.name, place.address, bench.today, place.draft, files, absent, public, building, CAUTIONS)
    return readme_text(told)


def _household_part(known: PropertyRecord, building: str) -> Part:
    """Give the sheet of the people of one building, outside the sheets: a reckoning with them alone would be wrong."""
    rows = tuple(row for row in known.household if row.building == building)
    content = sheet_files(replace(known, household=rows))["household.csv"]
    return Part("household.csv", f"who lives in this building ({building})", lambda: content)


def default_name(name: str) -> str:
    """Make the name of a packet's file of the property's name."""
    return f"{file_stem(name)}-packet.zip"

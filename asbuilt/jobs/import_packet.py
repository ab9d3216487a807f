"""Take a packet in: verify all of it first, then put its entries and photos into a record as they stand."""

import tempfile
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import AsbuiltError, RecordError
from asbuilt.findings import Severity
from asbuilt.handover.packet import RECORD, Packet, PacketError, open_packet
from asbuilt.jobs.due import reckon
from asbuilt.jobs.locate import locate
from asbuilt.model.photos import Photo
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.chain import verify_chain
from asbuilt.record.database import open_record
from asbuilt.record.due_state import keep_due
from asbuilt.record.entries import property_id, read_property
from asbuilt.record.foreign import read_foreign
from asbuilt.record.photos import keep_bytes
from asbuilt.record.pictures import ENDINGS, Picture, look_at
from asbuilt.record.sheets.accept import strange_entries
from asbuilt.record.transfer import Chain, read_chain, write_chain


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What taking a packet in did."""

    property: str
    entries: int  #: that were stored; 0 = the record had them already
    photos: int  #: in the packet
    ahead: int = 0  #: entries that the record has more than the packet


@dataclass(frozen=True, slots=True)
class _Verified:
    """What a packet says, as far as it can be proved."""

    chain: Chain
    known: PropertyRecord
    photos: tuple[Photo, ...]  #: of all entries, superseded ones too


def import_packet(packet_file: Path, record_file: Path) -> TakenIn:
    """Verify a packet and take it into a record, which is made if there is none.

    Its entries are stored as they are in the packet: who stored them and when stays, and so does their chain.

    Raises
    ------
    PacketError
        If anything in the packet is not as it should be: names, sizes, sums, entries, their chain, photos.
    RecordError
        If the record holds a property of that name with other content, or cannot be written.
    """
    with open_packet(packet_file) as packet, tempfile.TemporaryDirectory(prefix="asbuilt.") as place:
        found = _verified(packet, Path(place))
        if record_file.exists():
            known = _already_there(record_file, found)
            if known is not None:
                _keep_photos(packet, found, record_file)
                return known
        with open_record(record_file, create=True) as record:
            _keep_photos(packet, found, record_file)
            with record.write():
                write_chain(record, found.chain)
                keep_due(record, found.chain.name, reckon)
    return TakenIn(found.chain.name, len(found.chain.entries), len(found.photos))


def _verified(packet: Packet, place: Path) -> _Verified:
    """Read the entries out of the packet's record, put them into one of our own making, and look at all of it."""
    foreign = place / "foreign.db"
    foreign.write_bytes(packet.read(RECORD))
    foreign.chmod(0o600)
    try:
        chain = read_foreign(foreign, RECORD)
        strange = strange_entries(chain.entries)
        if strange:
            raise RecordError(f"{RECORD}: {strange[0]}")
        known = _rebuilt(chain, place / RECORD)
    except PacketError:
        raise
    except (AsbuiltError, KeyError) as error:
        raise PacketError(f"{packet.path}: {_without_place(error)}; nothing was stored") from error
    photos = _photos(chain)
    for photo in photos:
        _check_photo(packet, photo)
    return _Verified(chain, known, photos)


def _without_place(error: Exception) -> str:
    return " ".join(str(error).removesuffix("; nothing was stored").splitlines())


def _rebuilt(chain: Chain, own: Path) -> PropertyRecord:
    """Store the entries in a record of our own making, whose tables and hashes judge them, and solve the property."""
    with open_record(own, create=True) as record:
        with record.write():
            write_chain(record, chain)
        faults = verify_chain(record, chain.name)
        if faults:
            raise RecordError(f"{RECORD}: {faults[0]}")
        known = read_property(record, chain.name)
    refused = [finding for finding in locate(known).findings if finding.severity is Severity.REFUSED]
    if refused and not known.property.draft:
        raise RecordError(f"{RECORD}: {refused[0].message}")
    reckon(known)
    return known


def _photos(chain: Chain) -> tuple[Photo, ...]:
    values = (entry.value for entry in chain.entries if entry.links["kind"] == "photo")
    return tuple({photo.sha256: photo for photo in values if isinstance(photo, Photo)}.values())


def _content(packet: Packet, photo: Photo) -> bytes:
    name = packet.with_sum(photo.sha256)
    if name is None:
        raise PacketError(f"{packet.path}: photo {photo.file} of {photo.of} is missing; nothing was stored")
    return packet.read(name)


def _check_photo(packet: Packet, photo: Photo) -> None:
    """Look at a photo of the packet as at any that is given to us."""
    content = _content(packet, photo)
    picture: Picture = look_at(content, f"photo{ENDINGS[photo.form]}")
    if (picture.width, picture.height, picture.content) != (photo.width, photo.height, content):
        raise PacketError(f"{packet.path}: photo {photo.file} of {photo.of} is not what its entry says; nothing stored")


def _keep_photos(packet: Packet, found: _Verified, record_file: Path) -> None:
    for photo in found.photos:
        keep_bytes(record_file, _content(packet, photo), photo.form)


def _already_there(record_file: Path, found: _Verified) -> TakenIn | None:
    """Say that the record has all of it; None where it does not know the property.

    Raises
    ------
    RecordError
        If it has something else under that name.
    """
    name = found.chain.name
    with open_record(record_file, read_only=True) as record, record.read():
        if property_id(record, name) is None:
            return None
        own, known = read_chain(record, name), read_property(record, name)
    hashes = [entry.links["hash"] for entry in own.entries]
    if found.chain.head in hashes:
        ahead = len(hashes) - hashes.index(found.chain.head) - 1
        return TakenIn(name, 0, len(found.photos), ahead)
    if known == found.known:
        return TakenIn(name, 0, len(found.photos))
    raise RecordError(
        f"{record_file}: it holds other readings of {name!r} than the packet ({len(hashes)} entries and "
        f"{len(found.chain.entries)}); nothing was stored. Take the packet into another record: --record FILE"
    )

"""The packet: one ZIP with everything of one property, each file with its SHA-256 sum; written, and verified when read.

What is read is somebody else's file. Nothing of it is unpacked to the disk under a name of its own: names, sizes,
kinds and sums of all members are checked first, then members are read one by one.
"""

import hashlib
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path, PurePosixPath
from types import TracebackType
from typing import IO, Self

from asbuilt.errors import AsbuiltError

MANIFEST = "MANIFEST.sha256"
"""The list of sums, in the form that `sha256sum -c` reads."""

README = "README.txt"
RECORD = "record.db"
SHEETS = "sheets"
OLD_PHOTOS = "superseded-photos"

MOST_FILES = 5_000
"""Files in a packet; a property has some dozens, and a photo each."""

MOST_BYTES = 2_000_000_000
"""Bytes of all files unpacked, and of the packet itself."""

MOST_RATIO = 200
"""How many times its packed size a large file may be; text packs 10 to 50 times, a bomb a thousand times."""

MOST_AT_ONCE = 300_000_000
"""Bytes of one file that is read into memory; the record of a large property has some millions."""

SMALL_BYTES = 10_000_000
"""Up to this size the ratio does not matter."""

_LONGEST_NAME = 250
_LINE = re.compile(r"([0-9a-f]{64})  (.+)")
_END = struct.Struct("<4s4H2LH")  # APPNOTE 6.3 section 4.3.16, from memory: the end of the central directory
_DIRECTORY_BYTES = 5_000_000
_PACKED = (".jpg", ".png", ".webp", ".pdf")
_CHUNK = 1 << 20


class PacketError(AsbuiltError, ValueError):
    """A packet that is not taken in, or cannot be written."""


@dataclass(frozen=True, slots=True)
class Part:
    """One file of a packet."""

    name: str  #: with / between folders
    what: str  #: what it is, for the README
    content: Callable[[], bytes]  #: asked for once, when it is written


def write_packet(stream: IO[bytes], parts: Iterable[Part], day: date) -> None:
    """Write a packet: the parts in their order, then the list of sums; the same parts give the same bytes.

    Parameters
    ----------
    day
        Stands as the date of every file.

    Raises
    ------
    PacketError
        If it would be larger than what `open_packet` takes in.
    """
    stamp = (min(max(day.year, 1980), 2107), day.month, day.day, 0, 0, 0)  # the years that ZIP has
    sums: list[str] = []
    total = 0
    try:
        with zipfile.ZipFile(stream, "w", allowZip64=False) as archive:
            for part in parts:
                content = part.content()
                total += len(content)
                if total > MOST_BYTES or len(sums) + 2 > MOST_FILES:
                    raise zipfile.LargeZipFile
                _add(archive, part.name, content, stamp)
                sums.append(f"{hashlib.sha256(content).hexdigest()}  {part.name}\n")
            _add(archive, MANIFEST, "".join(sums).encode(), stamp)
    except zipfile.LargeZipFile:
        limits = f"at most {MOST_FILES:,} files and {MOST_BYTES:,} bytes"
        raise PacketError(f"the packet would be too large; {limits}; nothing was written") from None


def _add(archive: zipfile.ZipFile, name: str, content: bytes, stamp: tuple[int, int, int, int, int, int]) -> None:
    member = zipfile.ZipInfo(name, stamp)
    member.create_system = 3  # Unix, on every machine
    member.external_attr = 0o100644 << 16
    member.compress_type = zipfile.ZIP_STORED if name.endswith(_PACKED) else zipfile.ZIP_DEFLATED
    archive.writestr(member, content, compresslevel=6)


class Packet:
    """A packet whose files are all there and agree with their sums; `open_packet` makes it."""

    def __init__(self, path: Path, archive: zipfile.ZipFile, sums: dict[str, str]) -> None:
        self.path = path
        self.sums = sums  #: SHA-256 of each file by its name
        self._archive = archive

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._archive.close()

    def read(self, name: str) -> bytes:
        """Read one file.

        Raises
        ------
        PacketError
            If it is not in the packet, or was changed since the packet was opened.
        """
        if name not in self.sums:
            raise _refused(self.path, f"{name} is missing")
        if self._archive.getinfo(name).file_size > MOST_AT_ONCE:
            raise _refused(self.path, f"{_shown(name)} is larger than {MOST_AT_ONCE:,} bytes")
        content = b"".join(_chunks(self._archive, self._archive.getinfo(name), self.path))
        if hashlib.sha256(content).hexdigest() != self.sums[name]:
            raise _refused(self.path, f"{_shown(name)} was changed while it was read")
        return content

    def with_sum(self, sha256: str) -> str | None:
        """Give the name of a file with that sum; None = there is none."""
        return next((name for name, each in self.sums.items() if each == sha256), None)


def open_packet(path: Path) -> Packet:
    """Open a packet and verify it: names, kinds, sizes and sums of all its files.

    Raises
    ------
    PacketError
        If anything in it is not as `write_packet` makes it. Nothing was written anywhere.
    """
    try:
        if not path.is_file():
            raise PacketError(f"{path}: there is no such file" if not path.exists() else f"{path}: this is no file")
        _check_end(path)
        archive = zipfile.ZipFile(path)
    except OSError as error:
        raise PacketError(f"{path}: cannot be read ({error.strerror or error})") from error
    except (zipfile.BadZipFile, struct.error, ValueError, NotImplementedError) as error:
        if isinstance(error, PacketError):
            raise
        raise _refused(path, f"it is no sound ZIP file ({error})") from error
    try:
        members = _checked_members(archive, path)
        sums = _listed(archive, members, path)
        _check_sums(archive, members, sums, path)
    except BaseException:
        archive.close()
        raise
    return Packet(path, archive, sums)


def _refused(path: Path, reason: str) -> PacketError:
    return PacketError(f"{path}: {reason}; nothing was stored")


def _shown(name: str) -> str:
    return repr(name[:80])


def _check_end(path: Path) -> None:
    """Look at the end of the file alone: a list of millions of members would fill the memory when it is read."""
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise _refused(path, f"it has {size:,} bytes; accepted: at most {MOST_BYTES:,}")
    with path.open("rb") as file:
        file.seek(max(0, size - _END.size))
        end = file.read()
    if len(end) < _END.size or not end.startswith(b"PK\x05\x06"):
        raise _refused(path, "it does not end as a ZIP file of this program does")
    _, _, _, _, count, directory, _, _ = _END.unpack(end)
    if count > MOST_FILES or directory > _DIRECTORY_BYTES:
        raise _refused(path, f"it holds {count:,} files; accepted: at most {MOST_FILES:,}")


def _checked_members(archive: zipfile.ZipFile, path: Path) -> dict[str, zipfile.ZipInfo]:
    """Check names, kinds and sizes as the list of the archive states them."""
    members: dict[str, zipfile.ZipInfo] = {}
    folded: set[str] = set()
    for member in archive.infolist():
        fault = _fault_of(member)
        if fault is None and member.filename.casefold() in folded:
            fault = "is in it twice"
        if fault is not None:
            raise _refused(path, f"{_shown(member.filename)} {fault}")
        folded.add(member.filename.casefold())
        members[member.filename] = member
    total = sum(member.file_size for member in members.values())
    packed = sum(member.compress_size for member in members.values())
    if total > MOST_BYTES:
        raise _refused(path, f"unpacked it would have {total:,} bytes; accepted: at most {MOST_BYTES:,}")
    if packed > path.stat().st_size:
        raise _refused(path, "its files lie one over another")
    return members


def _fault_of(member: zipfile.ZipInfo) -> str | None:
    """Say what is wrong with a member; None where nothing is."""
    name, mode = member.filename, member.external_attr >> 16
    original = getattr(member, "orig_filename", name)
    parts = PurePosixPath(name).parts
    strays = name.startswith("/") or "\\" in name or ":" in name or any(part in ("..", ".") for part in parts)
    if strays:
        return "leads out of the folder"
    if original != name or not name.isprintable() or len(name.encode()) > _LONGEST_NAME or name != "/".join(parts):
        return "is no name of a file"
    if mode and mode & 0o170000 not in (0, 0o100000):  # stat.S_IFMT: only plain files
        return "is a link or no plain file"
    if member.flag_bits & 0x1:
        return "is encrypted"
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return "is packed in a way that is not accepted (accepted: stored, deflated)"
    if member.file_size > SMALL_BYTES and member.file_size > MOST_RATIO * max(1, member.compress_size):
        return f"is packed to less than a {MOST_RATIO}th of its size"
    return None


def _listed(archive: zipfile.ZipFile, members: dict[str, zipfile.ZipInfo], path: Path) -> dict[str, str]:
    """Read the list of sums, which must name just the files that are there."""
    if MANIFEST not in members:
        raise _refused(path, f"it has no {MANIFEST}, so it is no packet of this program")
    if members[MANIFEST].file_size > _DIRECTORY_BYTES:
        raise _refused(path, f"{MANIFEST} is too long")
    content = b"".join(_chunks(archive, members[MANIFEST], path))
    sums: dict[str, str] = {}
    for number, line in enumerate(content.decode("utf-8", "replace").splitlines(), start=1):
        match = _LINE.fullmatch(line)
        if match is None or match[2] in sums or match[2] == MANIFEST:
            raise _refused(path, f"{MANIFEST} line {number} is no line of it")
        sums[match[2]] = match[1]
    there = members.keys() - {MANIFEST}
    for names, fault in ((sums.keys() - there, "is missing"), (there - sums.keys(), f"is not in {MANIFEST}")):
        if names:
            raise _refused(path, f"{_shown(sorted(names)[0])} {fault}")
    return sums


def _check_sums(
    archive: zipfile.ZipFile, members: dict[str, zipfile.ZipInfo], sums: dict[str, str], path: Path
) -> None:
    for name, sha256 in sums.items():
        found = hashlib.sha256()
        for chunk in _chunks(archive, members[name], path):
            found.update(chunk)
        if found.hexdigest() != sha256:
            raise _refused(path, f"{_shown(name)} does not agree with its sum: it was altered or is damaged")


def _chunks(archive: zipfile.ZipFile, member: zipfile.ZipInfo, path: Path) -> Iterable[bytes]:
    """Unpack a member, never more of it than its stated size."""
    left = member.file_size
    try:
        with archive.open(member) as stream:
            while chunk := stream.read(min(_CHUNK, left + 1)):
                left -= len(chunk)
                if left < 0:
                    raise _refused(path, f"{_shown(member.filename)} is larger than it says")
                yield chunk
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, ValueError) as error:
        if isinstance(error, PacketError):
            raise
        raise _refused(path, f"{_shown(member.filename)} cannot be unpacked ({error})") from error
    if left:
        raise _refused(path, f"{_shown(member.filename)} is smaller than it says")

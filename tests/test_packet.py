"""The packet as a ZIP file: the same bytes each time, and every other ZIP file refused with nothing written."""

import io
import struct
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt.handover import packet
from asbuilt.handover.packet import MANIFEST, PacketError, Part, open_packet, write_packet
from tests.packet_samples import manifest_of, packed

DAY = date(2026, 6, 1)
PARTS = {
    "README.txt": b"read me\n",
    "record.db": b"\0" * 3000,
    "sheets/points.csv": b"a,b\n1,2\n",
    "a.jpg": b"\xff\xd8",
}


def bytes_of(parts: dict[str, bytes], day: date = DAY) -> bytes:
    out = io.BytesIO()
    write_packet(out, [Part(name, "", lambda body=body: body) for name, body in parts.items()], day)
    return out.getvalue()


def refusal(path: Path) -> str:
    with pytest.raises(PacketError) as caught:
        open_packet(path)
    return str(caught.value).replace(str(path), "x.zip")


def zipped(path: Path, write: Callable[[zipfile.ZipFile], object]) -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        write(archive)
    return path


def test_the_same_parts_give_the_same_bytes_and_come_back() -> None:
    assert bytes_of(PARTS) == bytes_of(PARTS)
    assert bytes_of(PARTS) != bytes_of(PARTS, date(2026, 6, 2))


def test_what_was_written_is_read(tmp_path: Path) -> None:
    path = tmp_path / "p.zip"
    path.write_bytes(bytes_of(PARTS))
    with open_packet(path) as found:
        assert {name: found.read(name) for name in found.sums} == PARTS
        with pytest.raises(PacketError, match=r"map\.html is missing"):
            found.read("map.html")


def test_the_list_of_sums_is_one_that_sha256sum_reads(tmp_path: Path) -> None:
    """GNU coreutils: `sha256sum -c`."""
    import subprocess

    with zipfile.ZipFile(io.BytesIO(bytes_of(PARTS))) as archive:
        archive.extractall(tmp_path)
    done = subprocess.run(["sha256sum", "-c", "--strict", MANIFEST], cwd=tmp_path, capture_output=True, text=True)
    assert (done.returncode, done.stdout.count(": OK")) == (0, len(PARTS))


def test_any_day_can_stand_in_a_zip_file() -> None:
    for day in (date(1970, 1, 1), date(2500, 12, 31)):
        assert bytes_of(PARTS, day)


@pytest.mark.parametrize("limit", ["MOST_BYTES", "MOST_FILES"])
def test_a_packet_that_nobody_could_take_in_is_not_written(limit: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packet, limit, 3)
    with pytest.raises(PacketError, match="the packet would be too large"):
        bytes_of(PARTS)


NAMES = [
    ("../evil.txt", "leads out of the folder"),
    ("sheets/../../evil.txt", "leads out of the folder"),
    ("/etc/evil", "leads out of the folder"),
    ("sheets\\evil.txt", "leads out of the folder"),
    ("C:evil.txt", "leads out of the folder"),
    ("sheets//evil.txt", "is no name of a file"),
    ("./evil.txt", "is no name of a file"),
    ("sheets/", "is no name of a file"),
    ("evil\n.txt", "is no name of a file"),
    ("evil\u202etxt.exe", "is no name of a file"),
    ("e" * 300, "is no name of a file"),
]


@pytest.mark.parametrize(("name", "fault"), NAMES)
def test_a_name_that_leads_anywhere_is_refused(name: str, fault: str, tmp_path: Path) -> None:
    path = packed(tmp_path / "x.zip", {**PARTS, name: b"evil"})
    assert refusal(path) == f"x.zip: {name[:80]!r} {fault}; nothing was stored"


def _twice(archive: zipfile.ZipFile) -> None:
    archive.writestr("README.txt", b"one")
    with pytest.warns(UserWarning, match="Duplicate name"):
        archive.writestr("README.txt", b"two")
    archive.writestr(MANIFEST, manifest_of({"README.txt": b"two"}))


def _twice_but_for_case(archive: zipfile.ZipFile) -> None:
    parts = {"README.txt": b"one", "readme.TXT": b"two"}
    for name, body in parts.items():
        archive.writestr(name, body)
    archive.writestr(MANIFEST, manifest_of(parts))


def _link(archive: zipfile.ZipFile) -> None:
    member = zipfile.ZipInfo("README.txt")
    member.create_system = 3
    member.external_attr = 0o120777 << 16
    archive.writestr(member, b"/etc/passwd")
    archive.writestr(MANIFEST, manifest_of({"README.txt": b"/etc/passwd"}))


def _device(archive: zipfile.ZipFile) -> None:
    member = zipfile.ZipInfo("README.txt")
    member.create_system = 3
    member.external_attr = 0o020666 << 16
    archive.writestr(member, b"")
    archive.writestr(MANIFEST, manifest_of({"README.txt": b""}))


def _packed_strangely(archive: zipfile.ZipFile) -> None:
    archive.writestr("README.txt", b"a" * 1000, zipfile.ZIP_BZIP2)
    archive.writestr(MANIFEST, manifest_of({"README.txt": b"a" * 1000}))


def _bomb(archive: zipfile.ZipFile) -> None:
    body = b"\0" * 20_000_000
    archive.writestr("README.txt", body, zipfile.ZIP_DEFLATED)
    archive.writestr(MANIFEST, manifest_of({"README.txt": body}))


def _many(archive: zipfile.ZipFile) -> None:
    for number in range(5_001):
        archive.writestr(str(number), b"")


def _no_sums(archive: zipfile.ZipFile) -> None:
    archive.writestr("README.txt", b"one")


def _not_listed(archive: zipfile.ZipFile) -> None:
    archive.writestr("README.txt", b"one")
    archive.writestr("more.txt", b"two")
    archive.writestr(MANIFEST, manifest_of({"README.txt": b"one"}))


def _missing(archive: zipfile.ZipFile) -> None:
    archive.writestr("README.txt", b"one")
    archive.writestr(MANIFEST, manifest_of({"README.txt": b"one", "record.db": b"x"}))


def _wrong_sum(archive: zipfile.ZipFile) -> None:
    archive.writestr("README.txt", b"one")
    archive.writestr(MANIFEST, manifest_of({"README.txt": b"two"}))


def _listed_twice(archive: zipfile.ZipFile) -> None:
    archive.writestr("README.txt", b"one")
    archive.writestr(MANIFEST, manifest_of({"README.txt": b"one"}) * 2)


def _no_list(archive: zipfile.ZipFile) -> None:
    archive.writestr("README.txt", b"one")
    archive.writestr(MANIFEST, b"\xff\xfe hello\n")


def _comment(archive: zipfile.ZipFile) -> None:
    _missing(archive)
    archive.comment = b"PK\x05\x06 and more behind the end"


HOSTILE = [
    (_twice, "'README.txt' is in it twice"),
    (_twice_but_for_case, "'readme.TXT' is in it twice"),
    (_link, "'README.txt' is a link or no plain file"),
    (_device, "'README.txt' is a link or no plain file"),
    (_packed_strangely, "'README.txt' is packed in a way that is not accepted (accepted: stored, deflated)"),
    (_bomb, "'README.txt' is packed to less than a 200th of its size"),
    (_many, "it holds 5,001 files; accepted: at most 5,000"),
    (_no_sums, f"it has no {MANIFEST}, so it is no packet of this program"),
    (_not_listed, f"'more.txt' is not in {MANIFEST}"),
    (_missing, "'record.db' is missing"),
    (_wrong_sum, "'README.txt' does not agree with its sum: it was altered or is damaged"),
    (_listed_twice, f"{MANIFEST} line 2 is no line of it"),
    (_no_list, f"{MANIFEST} line 1 is no line of it"),
    (_comment, "it does not end as a ZIP file of this program does"),
]


@pytest.mark.parametrize(("write", "fault"), HOSTILE, ids=lambda each: getattr(each, "__name__", ""))
def test_a_hostile_archive_is_refused_in_one_line(
    write: Callable[[zipfile.ZipFile], object], fault: str, tmp_path: Path
) -> None:
    path = zipped(tmp_path / "x.zip", write)
    assert refusal(path) == f"x.zip: {fault}; nothing was stored"
    assert [each.name for each in tmp_path.iterdir()] == ["x.zip"]


def test_an_encrypted_member_is_refused(tmp_path: Path) -> None:
    content = bytearray(bytes_of({"README.txt": b"one"}))
    for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):  # the flag's place in the two headers of a member
        content[content.index(mark) + place] |= 1
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    assert refusal(path) == "x.zip: 'README.txt' is encrypted; nothing was stored"


def test_a_member_that_is_larger_than_it_says_is_given_up_at_its_size(tmp_path: Path) -> None:
    """The list says 3 bytes, the member unpacks to 100,000."""
    body = b"a" * 100_000
    content = bytearray(bytes_of({"README.txt": body}))
    for mark, place in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        struct.pack_into("<I", content, content.index(mark) + place, 3)
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    assert "'README.txt'" in refusal(path)


def test_members_that_lie_one_over_another_are_refused(tmp_path: Path) -> None:
    """A thousand entries of the list name one and the same data: a bomb without any ratio."""
    source = io.BytesIO()
    body = bytes(range(256)) * 40
    with zipfile.ZipFile(source, "w") as archive:
        archive.writestr("0", body)
        first = archive.filelist[0]
        for number in range(1, 100):
            other = zipfile.ZipInfo(str(number))
            for name in ("header_offset", "compress_size", "file_size", "CRC", "compress_type", "flag_bits"):
                setattr(other, name, getattr(first, name))
            archive.filelist.append(other)
            archive.NameToInfo[other.filename] = other
    path = tmp_path / "x.zip"
    path.write_bytes(source.getvalue())
    assert refusal(path) == "x.zip: its files lie one over another; nothing was stored"


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        (b"", "it does not end as a ZIP file of this program does"),
        (b"\x89PNG\r\n\x1a\n" * 40, "it does not end as a ZIP file of this program does"),
        (b"PK\x05\x06" + b"\0" * 18, f"it has no {MANIFEST}, so it is no packet of this program"),
    ],
)
def test_what_is_no_packet_is_refused(content: bytes, fault: str, tmp_path: Path) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    assert refusal(path) == f"x.zip: {fault}; nothing was stored"


def test_a_list_of_millions_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "x.zip"
    end = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 60_000, 60_000, 100_000_000, 0, 0)
    path.write_bytes(b"\0" * 1000 + end)
    assert refusal(path) == "x.zip: it holds 60,000 files; accepted: at most 5,000; nothing was stored"


def test_a_packet_that_is_not_there_or_no_file_is_refused(tmp_path: Path) -> None:
    assert refusal(tmp_path / "x.zip") == "x.zip: there is no such file"
    (tmp_path / "x.zip").mkdir()
    assert refusal(tmp_path / "x.zip") == "x.zip: this is no file"


def test_a_packet_larger_than_the_limit_is_not_even_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packet, "MOST_BYTES", 100)
    path = tmp_path / "x.zip"
    path.write_bytes(b"\0" * 101)
    assert refusal(path) == "x.zip: it has 101 bytes; accepted: at most 100; nothing was stored"


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 10_000), st.integers(0, 255)), min_size=1, max_size=6), st.integers(0, 60))
def test_a_packet_with_any_bytes_wrong_is_read_as_it_was_or_refused(
    tmp_path_factory: pytest.TempPathFactory, wrong: list[tuple[int, int]], cut: int
) -> None:
    content = bytearray(bytes_of(PARTS))
    for place, value in wrong:
        content[place % len(content)] = value
    path = tmp_path_factory.mktemp("fuzz") / "x.zip"
    path.write_bytes(bytes(content[: len(content) - cut] if cut > 50 else content))
    try:
        with open_packet(path) as found:
            assert {name: found.read(name) for name in found.sums}.items() <= PARTS.items()
    except PacketError:
        return

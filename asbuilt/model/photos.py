"""A photo of a point or a component, kept beside the record by the hash of its bytes."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Photo:
    """One photo that was taken into the record's own folder; the file is known by its hash."""

    of: str  #: a component or the full name of a point
    file: str  #: its name as it came in
    sha256: str  #: of the bytes as they are kept
    form: str  #: jpeg, png or webp
    width: int  #: pixels, the right way up
    height: int
    taken_at: str | None = None  #: local time by its own data: 2026-05-02 10:31:07
    latitude: float | None = None  #: degrees WGS 84 by its own data
    longitude: float | None = None
    caption: str | None = None
    gps_removed: bool = False  #: its place was taken out of the kept file

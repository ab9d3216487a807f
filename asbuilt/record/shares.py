"""Tell whether a file lies on a network share, where write-ahead logging does not work."""

import re
from pathlib import Path

MOUNTS = Path("/proc/mounts")
"""Where Linux lists what is mounted where, proc(5); other systems have no such file."""

SHARED = frozenset(
    {
        *("9p", "afs", "ceph", "cifs", "coda", "davfs", "drvfs", "lustre", "ncpfs", "nfs", "nfs4", "smb3", "smbfs"),
        *("fuse.davfs2", "fuse.gcsfuse", "fuse.glusterfs", "fuse.rclone", "fuse.s3fs", "fuse.sshfs", "vboxsf"),
    }
)
"""Kinds of file systems whose other users share no memory with us: https://www.sqlite.org/wal.html, section 1."""


def share_kind(path: Path) -> str | None:
    """Give the kind of network share that a file lies on; None = on none, or nobody can tell.

    Parameters
    ----------
    path
        A file that is there, or is to be made.
    """
    place = path.resolve()
    if str(place).startswith("\\\\"):
        return "a Windows share"
    try:
        lines = MOUNTS.read_text(encoding="utf-8", errors="surrogateescape").splitlines()
    except OSError:
        return None
    kind, longest = "", -1
    for line in lines:
        _, where, found, *_ = line.split(" ")
        mounted = Path(re.sub(r"\\([0-7]{3})", lambda match: chr(int(match[1], 8)), where))
        # what is mounted later over the same place hides what was there
        if (mounted == place or mounted in place.parents) and len(mounted.parts) >= longest:
            kind, longest = found, len(mounted.parts)
    return kind if kind in SHARED else None

"""On what disk a book stands: on a network share two machines that both think they hold its lock damage it; a full one takes nothing."""

import re
import shutil
from pathlib import Path, PurePosixPath
from typing import Final

from fettlebook.errors import Finding

MOUNTS: Final = Path("/proc/self/mounts")
_SHARED: Final = frozenset(
    {
        "nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "ncpfs", "ceph", "gfs2", "ocfs2", "lustre", "beegfs", "davfs",
        "fuse.sshfs", "fuse.davfs2", "fuse.glusterfs", "fuse.s3fs", "fuse.rclone", "fuse.ceph", "fuse.curlftpfs", "fuse.gvfsd-fuse",
    }
)  # fmt: skip
LOW_BYTES: Final = 1_000_000_000
LOW_MOST_BYTES: Final = 5_000_000_000
_OCTAL: Final = re.compile(r"\\([0-7]{3})")


def share_under(path: Path) -> str | None:
    """Return the kind of network share that `path` stands on; None where it is none, or this system doesn't tell.

    Linux tells by its table of mounts; a Windows path that begins with two backslashes is a share too.
    """
    if str(path).startswith("\\\\"):
        return "a Windows share"
    try:
        table = MOUNTS.read_text("utf-8", errors="surrogateescape")
        where = path.resolve()
    except OSError:
        return None
    return share_in(table, PurePosixPath(where))


def low_on_space(book: Path) -> Finding | None:
    """Return what to say where the disk under a book gets full; None where there is room, or this system doesn't tell."""
    try:
        room = shutil.disk_usage(book.parent)
    except OSError:
        return None
    return low_in(room.total, room.free, str(book.parent))


def low_in(total_bytes: int, free_bytes: int, where: str) -> Finding | None:
    """Return what to say of a disk of this size with so much free: below 1 GB, or 5 % of it up to 5 GB (common practice)."""
    if free_bytes >= max(LOW_BYTES, min(total_bytes // 20, LOW_MOST_BYTES)):
        return None
    what = f"this disk has {free_bytes / 1e6:,.0f} MB left of {total_bytes / 1e6:,.0f}"
    return Finding(
        what, where, "Free space on it soon. When it is full, entries stay on the tablets and nothing that was acknowledged is lost."
    )


def share_in(mounts: str, where: PurePosixPath) -> str | None:
    """Return the kind of network share that `where` stands on by this table of mounts, None where it is none."""
    best, kind = -1, ""
    for line in mounts.splitlines():
        parts = line.split(" ")
        if len(parts) < 3:
            continue
        point = PurePosixPath(_OCTAL.sub(lambda m: chr(int(m[1], 8)), parts[1]))  # spaces are written as \040
        if where.is_relative_to(point) and len(point.parts) >= best:  # of two on one place the later one covers the earlier
            best, kind = len(point.parts), parts[2]
    return kind if kind in _SHARED else None

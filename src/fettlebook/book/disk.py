"""On what sort of disk a file stands: a book on a network share can be damaged by two machines that both think they hold its lock."""

import re
from pathlib import Path, PurePosixPath
from typing import Final

MOUNTS: Final = Path("/proc/self/mounts")
_SHARED: Final = frozenset(
    {
        "nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "ncpfs", "ceph", "gfs2", "ocfs2", "lustre", "beegfs", "davfs",
        "fuse.sshfs", "fuse.davfs2", "fuse.glusterfs", "fuse.s3fs", "fuse.rclone", "fuse.ceph", "fuse.curlftpfs", "fuse.gvfsd-fuse",
    }
)  # fmt: skip
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

"""Whether a path lies on a network share, where SQLite's locks and shared memory do not hold between computers.

The database could be damaged there without a word, so it is refused. Source: "How To Corrupt An SQLite Database File",
2.1, and "Write-Ahead Logging", sqlite.org: all processes must be on the same host. What kind of file system a path is
on is known on Linux from its mounts, and on Windows from a path that begins with two backslashes; elsewhere it is not
known, and the path is taken.
"""

import re
from pathlib import Path
from typing import Final

SHARES: Final = frozenset(
    {"9p", "afs", "beegfs", "ceph", "cifs", "coda", "davfs", "drvfs", "gfs2", "glusterfs", "lustre", "ncpfs", "nfs",
     "nfs4", "ocfs2", "orangefs", "smb2", "smb3", "smbfs"}
)  # fmt: skip
"""File systems that several computers can have mounted at once, as Linux names them; 9p also stands for a host's."""
SHARES_IN_USER_SPACE: Final = frozenset({"sshfs", "glusterfs", "rclone", "s3fs", "davfs2", "curlftpfs", "cephfs"})
MOUNTS: Final = Path("/proc/self/mountinfo")


def share(path: Path, mounts: Path | None = None) -> str:
    """Return what kind of network share `path` lies on; empty when it lies on none, or when that is not known."""
    if str(path).startswith(("\\\\", "//")):
        return "network path"
    try:
        table = (mounts or MOUNTS).read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return ""
    kind = _file_system(path.resolve(), table)
    family, _, name = kind.partition(".")
    return kind if kind in SHARES or (family == "fuse" and name in SHARES_IN_USER_SPACE) else ""


def _file_system(path: Path, table: str) -> str:
    """Return the type of the file system that is mounted nearest above `path`; proc(5) tells the table's columns."""
    nearest, kind = -1, ""
    for line in table.splitlines():
        before, dash, after = line.partition(" - ")
        if not dash:
            continue
        mounted = Path(_unescaped(before.split()[4]))
        depth = len(mounted.parts)
        if depth >= nearest and path.is_relative_to(mounted):  # of two at one place the later one is on top
            nearest, kind = depth, after.split()[0]
    return kind


def _unescaped(text: str) -> str:
    return re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), text)

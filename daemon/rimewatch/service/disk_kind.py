"""On what kind of disk the journal lies: whether it may be kept there, and under one name.

Told, and not refused: a shop that is watched from a disk in the network is watched all the same.

References:
    [1] SQLite, "Write-Ahead Logging", section 1: all processes must be on one machine, and it "does
        not work over a network filesystem".
    [2] SQLite, "How To Corrupt An SQLite Database File", sections 2.1 (locks of network
        filesystems) and 2.5 (several links to one file).
    [3] proc(5), /proc/pid/mountinfo: field 5 is the mount point, with octal escapes; the type
        stands behind the separator "-".
"""

import re
from pathlib import Path
from stat import S_ISREG
from typing import Final

MOUNTS: Final = Path("/proc/self/mountinfo")

NETWORK_KINDS: Final = frozenset(
    {
        *(
            "nfs",
            "nfs4",
            "cifs",
            "smb3",
            "smbfs",
            "ncpfs",
            "afs",
            "coda",
            "9p",
            "ceph",
            "glusterfs",
        ),
        *("lustre", "gfs2", "ocfs2", "davfs", "sshfs", "gvfsd-fuse", "rclone", "s3fs"),
    }
)
"""Filesystems that lie on another machine, by the names that Linux gives them (from memory). One
in user space is ``fuse.`` and its name."""

_SEPARATOR: Final = " - "
_MOUNT_POINT: Final = 4


def disk_kind(path: Path, mounts: str) -> str:
    """Return the type of the filesystem that a path is on; empty: it is not known.

    Args:
        path: Absolute, without links.
        mounts: The text of [3].
    """
    found, longest = "", -1
    for line in mounts.splitlines():
        before, separator, behind = line.partition(_SEPARATOR)
        fields = before.split(" ")
        if not separator or len(fields) <= _MOUNT_POINT:
            continue
        point = Path(re.sub(r"\\([0-7]{3})", lambda code: chr(int(code[1], 8)), fields[4]))
        # The last of those at one place lies on top of the others.
        if path.is_relative_to(point) and len(point.parts) >= longest:
            found, longest = behind.split(" ")[0], len(point.parts)
    return found


def disk_trouble(journal: Path, mounts_file: Path = MOUNTS) -> list[str]:
    """Return what is wrong with where a journal is kept, a sentence each with its cure.

    Args:
        journal: The journal's file, whether or not it is there yet.
        mounts_file: Where the system lists what is mounted.
    """
    found = []
    path = journal.resolve()
    try:
        kind = disk_kind(path, mounts_file.read_text(encoding="utf-8", errors="replace"))
    except OSError:
        kind = ""  # another system: there it is for the book alone to say
    if kind.removeprefix("fuse.") in NETWORK_KINDS:
        found.append(
            f"The journal {journal} is on a disk in the network ({kind}): it may be damaged there, "
            "and what is acknowledged may be lost. Keep it on a disk of this machine, and back it "
            "up to the network."
        )
    try:
        file = path.stat()
        names = file.st_nlink if S_ISREG(file.st_mode) else 1
    except OSError:
        names = 1
    if names > 1:
        found.append(
            f"The journal {journal} has {names} names (hard links): written to under another of "
            "them, it is damaged. Leave it this one; make copies with rimewatch backup."
        )
    return found

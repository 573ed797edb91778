"""Whether packages of the system are being changed: dpkg and apt hold a lock meanwhile.

The files of these locks may only be opened by root. Linux lists all locks that are held in /proc/locks, which anybody
may read (proc_locks(5)), so it is enough to know the files' inodes.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

FILES = (
    Path("/var/lib/dpkg/lock-frontend"),
    Path("/var/lib/dpkg/lock"),
    Path("/var/lib/apt/lists/lock"),
    Path("/var/cache/apt/archives/lock"),
    Path("/run/underdash-install.lock"),
)
LOCKS = Path("/proc/locks")


def update_running(files: Iterable[Path] = FILES, locks: Path = LOCKS) -> bool:
    """Say whether one of the files is locked by anybody, by either kind of lock.

    Args:
        files: lock files; one that is not there is not locked.
        locks: what Linux lists.
    """
    inodes = {inode for path in files if (inode := _inode(path)) is not None}
    try:
        lines = locks.read_text().splitlines()
    except OSError:
        return False
    return any(_held(line) in inodes for line in lines)


def _held(line: str) -> int | None:
    """Return the inode of a lock that is held: ``1: POSIX ADVISORY WRITE 812 b3:02:1301 0 EOF``.

    Waiting ones have an arrow. The device is left alone: on overlay and btrfs it is not the one that stat tells.
    """
    words = line.split()
    if len(words) < 6 or words[1] == "->":
        return None
    inode = words[5].rpartition(":")[2]
    return int(inode) if inode.isdigit() else None


def _inode(path: Path) -> int | None:
    try:
        return os.stat(path).st_ino
    except OSError:
        return None

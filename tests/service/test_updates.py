"""Locks of packages are seen without the right to open them."""

from __future__ import annotations

import fcntl
from pathlib import Path

import pytest

from underdash.service.updates import update_running


@pytest.mark.parametrize("lock", [fcntl.flock, fcntl.lockf])
def test_a_lock_of_either_kind_is_seen_while_it_is_held(tmp_path: Path, lock: object) -> None:
    path = tmp_path / "lock-frontend"
    path.touch()
    assert not update_running([path])
    with path.open("w") as file:
        assert callable(lock)
        lock(file, fcntl.LOCK_EX)
        assert update_running([tmp_path / "not there", path])
        assert not update_running([tmp_path / "not there"])
    assert not update_running([path])


def test_one_that_waits_holds_nothing_and_odd_lines_are_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "lock"
    path.touch()
    inode, locks = path.stat().st_ino, tmp_path / "locks"
    locks.write_text(
        f"1: -> POSIX ADVISORY WRITE 812 b3:02:{inode} 0 EOF\nnonsense\n2: POSIX ADVISORY WRITE 1 x:y:z 0\n"
    )
    assert not update_running([path], locks)
    locks.write_text(f"1: POSIX ADVISORY WRITE 812 00:00:{inode} 0 EOF\n")
    assert update_running([path], locks)
    assert not update_running([path], tmp_path / "no proc")

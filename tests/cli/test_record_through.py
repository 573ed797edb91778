"""Recording through the daemon, with one that a test makes up."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, cast

import pytest

from underdash.cli.record_through import record_through
from underdash.service.client import Client, DaemonError

WRITTEN = b"# underdash trace 1\n(1.0) drive 123#01\n(2.0) drive 123#02\n# mark (2.5) menu\n(3.0) drive 12"


class Dying:
    """A daemon that wrote for a while, then is gone before it told how much."""

    def __init__(self, written: bytes) -> None:
        self._written = written

    def begin(self, request: str, given: Any = None, files: Sequence[int] = ()) -> None:
        os.write(files[0], self._written)

    def next(self, wait_s: float) -> None:
        raise DaemonError("the daemon has ended")


def test_what_a_daemon_wrote_before_it_was_gone_is_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", None)
    outcome = record_through(cast("Client", Dying(WRITTEN)), tmp_path / "a.log", None)
    assert (outcome.frames, outcome.failure, outcome.stopped) == (2, "the daemon has ended", False)
    assert (tmp_path / "a.log").read_bytes() == WRITTEN


def test_nobody_is_told_to_set_marks_where_none_are_wanted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []
    monkeypatch.setattr("underdash.cli.record_through.marking", asked.append)
    record_through(cast("Client", Dying(b"")), tmp_path / "a.log", 1.0, marks=False)
    assert asked == []

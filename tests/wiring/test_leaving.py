"""The machine goes off once the disk has everything, or a bounded time later; nobody waits in between."""

from __future__ import annotations

import threading

import pytest

from underdash.wiring.leaving import FLUSH_S, Leaving


class Parts:
    def __init__(self) -> None:
        self.done = threading.Event()
        self.off: list[bool] = []
        self.leaving = Leaving(lambda: self.done, self.off.append)


@pytest.mark.parametrize("reboot", [False, True])
def test_it_waits_for_the_disk_without_holding_anything_up(reboot: bool) -> None:
    parts = Parts()
    parts.leaving.flush(10.0)
    parts.leaving.power_off(reboot, 10.0)
    parts.leaving.tick(10.0 + FLUSH_S / 2)
    assert parts.off == []
    parts.done.set()
    parts.leaving.tick(12.0)
    parts.leaving.tick(99.0)
    assert parts.off == [reboot]


def test_a_disk_that_never_comes_back_does_not_keep_it_on() -> None:
    parts = Parts()
    parts.leaving.flush(10.0)
    parts.leaving.power_off(False, 10.0)
    parts.leaving.tick(10.0 + FLUSH_S)
    assert parts.off == [False]


def test_a_key_that_returns_meanwhile_makes_it_a_restart() -> None:
    parts = Parts()
    parts.leaving.flush(10.0)
    parts.leaving.power_off(False, 10.0)
    parts.leaving.power_off(True, 10.5)
    parts.done.set()
    parts.leaving.tick(11.0)
    assert parts.off == [True]


def test_without_a_flush_or_a_recorder_nothing_is_waited_for() -> None:
    parts = Parts()
    parts.leaving.power_off(False, 1.0)
    assert parts.off == [False]
    off: list[bool] = []
    bare = Leaving(lambda: None, off.append)
    bare.flush(1.0)
    bare.power_off(False, 1.0)
    assert off == [False]

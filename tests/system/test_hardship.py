"""What a car's Pi meets in its winters, on a real Linux: the daemon drives on through all of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def seen(in_guest: Callable[[str], dict[str, Any]]) -> dict[str, Any]:
    """What the program in the guest saw; the guest is booted once."""
    return in_guest("hardship.py")


def test_it_drives(seen: dict[str, Any]) -> None:
    assert seen["started"]
    assert seen["driving"]


def test_a_clock_that_jumps_by_years_changes_nothing(seen: dict[str, Any]) -> None:
    assert seen["after the clock jumped"]


def test_a_full_disk_ends_the_recording_and_nothing_else(seen: dict[str, Any]) -> None:
    assert seen["disk full"] == {"told": True, "goes on": True}


def test_a_disk_that_cannot_be_written_any_more_ends_nothing(seen: dict[str, Any]) -> None:
    assert seen["read only"]
    assert seen["ended"] == 0

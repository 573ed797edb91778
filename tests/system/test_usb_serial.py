"""A CAN adapter on a USB serial line is pulled out and plugged in again, by the kernel's own USB loop."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def seen(in_guest: Callable[[str], dict[str, Any]]) -> dict[str, Any]:
    """What the program in the guest saw; the guest is booted once."""
    return in_guest("usb_serial.py")


def test_an_adapter_is_heard_and_opened_listening_only(seen: dict[str, Any]) -> None:
    assert seen["there"]
    assert seen["heard"]
    # S6 is 500 kbit/s and L opens listening only, in the commands such adapters share (common practice)
    assert "S6" in seen["opened with"]
    assert "L" in seen["opened with"]


def test_an_adapter_that_is_pulled_out_is_told(seen: dict[str, Any]) -> None:
    assert seen["gone"]
    assert seen["absent"]
    assert "/dev/ttyACM0" in seen["sentence"]


def test_an_adapter_that_is_plugged_in_again_is_heard_again(seen: dict[str, Any]) -> None:
    assert seen["back"]
    assert seen["heard again"]
    assert seen["in order"]

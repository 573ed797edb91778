from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def seen(in_guest: Callable[[str], dict[str, Any]]) -> dict[str, Any]:
    """What the program in the guest saw; the guest is booted once."""
    return in_guest("buses.py")


def test_frames_go_both_ways_and_own_ones_come_back(seen: dict[str, Any]) -> None:
    part = seen["both_ways"]
    assert part["heard"]
    assert part["sent"]
    assert part["returned"]
    assert part["got"] == [[0x7E8, "410c"], [0x98DB33F1, "00" * 8], [0x7DF, "02010c"]]
    assert part["other saw"] == [0x7DF]
    assert part["state"] == "sending"
    assert part["virtual"]


def test_remote_frames_are_counted_and_an_error_frame_makes_a_state(seen: dict[str, Any]) -> None:
    assert seen["both_ways"]["foreign"] == 1
    assert seen["both_ways"]["bus off"] == "bus_off"


def test_recorded_frames_carry_the_kernels_own_times(seen: dict[str, Any]) -> None:
    assert seen["recorded"] == {"frames": 21, "errors": 1, "within": True, "spread": True, "ordered": True}


def test_a_flood_arrives_whole_and_in_order(seen: dict[str, Any]) -> None:
    assert seen["flood"] == {"received": 3000, "lost": 0, "in order": True}


def test_what_the_socket_could_not_hold_is_counted(seen: dict[str, Any]) -> None:
    assert seen["overflow"]["lost"] > 0
    assert seen["overflow"]["lost"] + seen["overflow"]["read"] <= 20_001


def test_the_kernel_keeps_out_what_nobody_wants(seen: dict[str, Any]) -> None:
    assert seen["filtered"] == {"got": [[0x123, ""]], "frames": 1}


def test_an_interface_switched_off_is_told_and_used_again_when_it_is_on(seen: dict[str, Any]) -> None:
    part = seen["down_and_up"]
    assert part["absent"]
    assert "ip link set vcan0 up" in part["sentence"]
    assert "ip link set vcan0 up" in part["still"]
    assert part["after"]


def test_an_interface_that_vanishes_is_told_and_used_again_when_it_is_back(seen: dict[str, Any]) -> None:
    part = seen["deleted_and_back"]
    assert part["absent"]
    assert "vcan0 is not there" in part["sentence"]
    assert part["after"]

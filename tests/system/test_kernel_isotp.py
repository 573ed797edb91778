"""The other end is the Linux kernel's CAN_ISOTP socket, in the guest."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.slow

VIN = "62f190" + bytes(range(0x41, 0x52)).hex()
LENGTHS = [1, 6, 7, 8, 20, 111, 4095, 6000]


@pytest.fixture(scope="module")
def seen(in_guest: Callable[[str], dict[str, Any]]) -> dict[str, Any]:
    """What the program in the guest saw; the guest is booted once."""
    return in_guest("kernel_isotp.py")


def test_messages_of_any_length_go_both_ways_in_every_addressing_format(seen: dict[str, Any]) -> None:
    assert len(seen["both_ways"]) == 5
    assert all(found == {"sent": LENGTHS, "received": LENGTHS} for found in seen["both_ways"].values())


def test_we_keep_the_kernels_block_size_and_separation_time(seen: dict[str, Any]) -> None:
    sent = seen["terms"]["sent"]
    assert sent["same"]
    assert sent["flows"] == 4  # 15 frames in blocks of 4
    assert sent["took_s"] >= (3 + 3 + 3 + 2) * 0.020


def test_the_kernel_keeps_ours(seen: dict[str, Any]) -> None:
    assert seen["terms"]["received"]
    assert seen["terms"]["shortest_gap_s"] >= 0.015  # as they are read, 20 ms as they are sent


def test_the_kernel_too_takes_a_reserved_separation_time_for_127_ms(seen: dict[str, Any]) -> None:
    assert seen["reserved time"]["later"] == 4
    assert 0.120 <= seen["reserved time"]["shortest_gap_s"] <= 0.140


def test_the_kernel_too_gives_up_on_overflow_and_on_a_reserved_status(seen: dict[str, Any]) -> None:
    assert (seen["overflow"]["later"], seen["overflow"]["error"]) == (0, "EMSGSIZE")
    assert (seen["reserved status"]["later"], seen["reserved status"]["error"]) == (0, "EBADMSG")


def test_the_kernel_too_waits_when_it_is_asked_to(seen: dict[str, Any]) -> None:
    assert seen["wait"]["later"] == 4


def test_the_kernel_too_keeps_to_the_terms_of_the_first_flow_control(seen: dict[str, Any]) -> None:
    assert seen["new terms"]["later"] == 1 + 1


@pytest.mark.parametrize(
    ("traffic", "faults", "messages"),
    [
        ("wrong number", ["sequence"], [VIN]),
        ("begun anew", ["interrupted"], [VIN]),
        ("a single frame inside", ["interrupted"], ["410d32", VIN]),
        ("of nought bytes", ["length"], [VIN]),
    ],
)
def test_both_read_the_same_out_of_broken_traffic(
    traffic: str, faults: list[str], messages: list[str], seen: dict[str, Any]
) -> None:
    found = seen[traffic]
    assert found["faults"] == faults
    assert found["messages"] == found["theirs"] == messages
    assert found["errors"] == (["EILSEQ"] if traffic == "wrong number" else [])


# --- where the kernel does otherwise ----------------------------------------------------------------------------------


def test_a_broken_frame_inside_a_message_ends_it_for_the_kernel_and_not_for_us(seen: dict[str, Any]) -> None:
    found = seen["a broken frame inside"]
    assert (found["messages"], found["theirs"]) == ([VIN], [])


@pytest.mark.parametrize(
    ("traffic", "theirs"),
    [("a first frame for few", "01020304050607"), ("an escape for few", "010203040506070809")],
)
def test_a_first_frame_for_too_few_bytes_is_taken_by_the_kernel_and_refused_by_us(
    traffic: str, theirs: str, seen: dict[str, Any]
) -> None:
    found = seen[traffic]
    assert (found["faults"], found["messages"]) == (["length"], [VIN])
    assert found["theirs"] == [theirs, VIN]

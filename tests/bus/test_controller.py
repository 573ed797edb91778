from __future__ import annotations

import socket
import struct
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.bus.controller import Condition, Controller, Counters, decode, read, request

NAME, LINK_INFO, PARENT, KIND, DATA, STATISTICS = 3, 18, 56, 1, 2, 3
BIT_TIMING, CLOCK, STATE, CONTROL, RESTART_MS, ERRORS, EXTENDED = 1, 3, 4, 5, 6, 8, 17


def attribute(kind: int, data: bytes) -> bytes:
    """A struct rtattr."""
    return struct.pack("=HH", 4 + len(data), kind) + data + bytes(-len(data) % 4)


def answer(
    *data: bytes,
    kind: bytes = b"can\0",
    flags: int = 1,
    statistics: bytes = b"",
    message: int = 16,
    parent: bytes = b"",
) -> bytes:
    """What the kernel answers about can0."""
    info = attribute(KIND, kind) + attribute(DATA, b"".join(data)) + (statistics and attribute(STATISTICS, statistics))
    body = struct.pack("=BxHiII", 0, 280, 7, flags, 0) + attribute(NAME, b"can0\0") + attribute(LINK_INFO, info)
    body += parent and attribute(PARENT, parent)
    return struct.pack("=IHHII", 16 + len(body), message, 0, 1, 0) + body


TIMING = attribute(BIT_TIMING, struct.pack("=8I", 500_000, 875, 125, 6, 7, 2, 1, 1))
WHOLE = answer(
    TIMING,
    attribute(CLOCK, struct.pack("=I", 8_000_000)),
    attribute(STATE, struct.pack("=I", 2)),
    attribute(CONTROL, struct.pack("=II", 0, 0x02)),
    attribute(RESTART_MS, struct.pack("=I", 100)),
    attribute(ERRORS, struct.pack("=HH", 128, 3)),
    attribute(EXTENDED, attribute(1, struct.pack("=I", 0x0A))),
    statistics=struct.pack("=6I", 9, 3, 2, 1, 5, 4),
)


def test_an_answer_is_read_whole() -> None:
    assert decode(WHOLE) == Controller(
        "can0",
        7,
        "can",
        up=True,
        bitrate=500_000,
        clock_hz=8_000_000,
        listen_only=True,
        one_shot=False,
        may_listen_only=True,
        may_one_shot=True,
        condition=Condition.PASSIVE,
        restart_ms=100,
        tx_errors=128,
        rx_errors=3,
        counters=Counters(9, 3, 2, 1, 5, 4),
    )


@pytest.mark.skipif(sys.platform != "linux", reason="the other decoder is for Linux only")
def test_another_decoder_reads_the_same_out_of_an_answer() -> None:
    # pyroute2, an independent implementation of linux/can/netlink.h
    from pyroute2.netlink.rtnl.ifinfmsg import ifinfmsg

    theirs: Any = ifinfmsg(WHOLE)
    theirs.decode()
    info = theirs.get_attr("IFLA_LINKINFO")
    data = info.get_attr("IFLA_INFO_DATA")
    ours = decode(WHOLE)
    assert ours is not None
    assert (theirs["index"], theirs.get_attr("IFLA_IFNAME")) == (ours.index, ours.name)
    assert info.get_attr("IFLA_INFO_KIND") == ours.kind
    assert data.get_attr("IFLA_CAN_BITTIMING")["bitrate"] == ours.bitrate
    assert data.get_attr("IFLA_CAN_CLOCK") == ours.clock_hz
    assert data.get_attr("IFLA_CAN_CTRLMODE")["listenonly"] == "on"
    assert ours.listen_only
    assert data.get_attr("IFLA_CAN_RESTART_MS") == ours.restart_ms
    counter = data.get_attr("IFLA_CAN_BERR_COUNTER")
    assert (counter["txerr"], counter["rxerr"]) == (ours.tx_errors, ours.rx_errors)


def test_what_is_not_told_is_unknown() -> None:
    found = decode(answer(attribute(STATE, struct.pack("=I", 99)), flags=0))
    assert found == Controller("can0", 7, "can", up=False)


def test_a_virtual_interface_has_no_controller() -> None:
    found = decode(answer(TIMING, kind=b"vcan\0"))
    assert found == Controller("can0", 7, "vcan", up=True)
    assert not found.real


def test_no_such_interface_is_none() -> None:
    assert decode(answer(message=2)) is None
    assert read("no-such-interface") is None


def test_the_kernel_answers_about_a_real_interface() -> None:
    found = read("lo")
    if found is None:
        pytest.skip("no netlink here")
    assert (found.name, found.index, found.kind) == ("lo", socket.if_nametoindex("lo"), "")


def test_the_question_names_the_interface() -> None:
    question = request("can0")
    assert len(question) == struct.unpack_from("=I", question)[0]
    assert len(question) % 4 == 0
    assert question.endswith(b"can0\0\0\0\0")


@given(st.integers(0, len(WHOLE)), st.binary(max_size=40))
def test_a_broken_answer_raises_nothing(at: int, noise: bytes) -> None:
    for broken in (WHOLE[:at], WHOLE[:at] + noise, WHOLE[:at] + noise + WHOLE[at + len(noise) :]):
        assert decode(broken) is None or isinstance(decode(broken), Controller)


def test_the_device_it_hangs_on_is_read_where_the_kernel_tells() -> None:
    found = decode(answer(TIMING, parent=b"spi0.0\0"))
    assert found is not None
    assert (found.place, found.bitrate) == ("spi0.0", 500_000)


def test_this_machine_s_interfaces_hang_where_sysfs_says() -> None:
    places = {one.name: one / "device" for one in Path("/sys/class/net").iterdir()}
    there = {name: device.resolve().name for name, device in places.items() if device.exists()}
    told = {name: found.place for name in there if (found := read(name)) is not None}
    if not any(told.values()):
        pytest.skip("no interface with a device here, or a kernel before 5.14")
    assert told == there

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.bus.errors import ErrorKind, classify
from underdash.bus.frames import ERROR

# classes and details of linux/can/error.h
CASES = [
    (0x040, b"", {ErrorKind.BUS_OFF}),
    (0x020, b"", {ErrorKind.NOT_ACKNOWLEDGED}),
    (0x100, b"", {ErrorKind.RESTARTED}),
    (0x004, b"\0\x20", {ErrorKind.PASSIVE}),
    (0x004, b"\0\x10", {ErrorKind.PASSIVE}),
    (0x004, b"\0\x08", {ErrorKind.WARNING}),
    (0x004, b"\0\x01", {ErrorKind.OVERFLOW}),
    (0x004, b"\0\x40", {ErrorKind.ACTIVE}),
    (0x008, b"\0\0\x04", {ErrorKind.PROTOCOL}),
    (0x088, b"\0\0\x02", {ErrorKind.PROTOCOL, ErrorKind.BUS_ERROR}),
    (0x002, b"", {ErrorKind.ARBITRATION}),
    (0x001, b"", {ErrorKind.SEND_TIMEOUT}),
    (0x010, b"", {ErrorKind.TRANSCEIVER}),
    (0x000, b"", {ErrorKind.OTHER}),
    (0x004, b"", {ErrorKind.OTHER}),
]


@pytest.mark.parametrize(("can_id", "data", "kinds"), CASES)
def test_each_class_is_read(can_id: int, data: bytes, kinds: set[ErrorKind]) -> None:
    assert classify(can_id | ERROR, data).kinds == kinds


def test_the_counters_are_read_only_where_the_driver_gives_them() -> None:
    data = bytes((0, 0x20, 0, 0, 0, 0, 128, 7))
    without = classify(0x004, data)
    assert (without.send_errors, without.receive_errors) == (None, None)
    assert str(classify(0x204, data)) == "error passive (error counters: sending 128, receiving 7)"


@given(st.integers(0, 0x1FFF_FFFF), st.binary(max_size=8))
def test_anything_is_classified_as_something(can_id: int, data: bytes) -> None:
    assert str(classify(can_id, data))

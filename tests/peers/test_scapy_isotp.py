"""The other end is scapy: its frames put together by us, and ours by it."""

from __future__ import annotations

import logging
import warnings
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from underdash.diagnostics.isotp import Fault
from underdash.diagnostics.reassembly import Reassembly
from underdash.diagnostics.segmentation import Segmentation

CONTINUE = b"\x30\x00\x00"

lengths = st.integers(1, 200) | st.integers(4090, 4100)
prefixes = st.none() | st.integers(1, 255)
"""Not 0: scapy leaves such an address byte out, see below."""


@pytest.fixture(scope="module")
def scapy() -> Any:
    """Its ISO-TP; importing it warns and logs about the machine it is on."""
    logging.getLogger("scapy.runtime").setLevel(logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from scapy.contrib import isotp
        from scapy.layers.can import CAN

        return SimpleNamespace(ISOTP=isotp.ISOTP, ISOTPMessageBuilder=isotp.ISOTPMessageBuilder, CAN=CAN)


def sample(length: int) -> bytes:
    return bytes((number * 31 + 7) % 256 for number in range(length))


def ours_sent(payload: bytes, prefix: int | None) -> list[bytes]:
    sender = Segmentation(payload, prefix)
    frames = [sender.start(0.0)]
    sender.receive(CONTINUE if prefix is None else bytes([prefix]) + CONTINUE, 0.0)
    return frames + sender.due(0.0, most=10_000)


def theirs_sent(scapy: Any, payload: bytes, prefix: int | None) -> list[bytes]:
    return [bytes(frame.data) for frame in scapy.ISOTP(payload, rx_id=0x7E8, rx_ext_address=prefix).fragment()]


@settings(deadline=None, max_examples=60)
@given(lengths.map(sample), prefixes)
def test_both_cut_a_message_into_the_same_frames(scapy: Any, payload: bytes, prefix: int | None) -> None:
    assert ours_sent(payload, prefix) == theirs_sent(scapy, payload, prefix)


@settings(deadline=None, max_examples=60)
@given(lengths.map(sample), prefixes, st.sampled_from([0x00, 0x55, 0xAA, 0xFF]))
def test_each_puts_the_frames_of_the_other_together_however_padded(
    scapy: Any, payload: bytes, prefix: int | None, padding: int
) -> None:
    receiver = Reassembly(prefix, most_bytes=5000)
    heard = [receiver.receive(frame.ljust(8, bytes([padding])), 0.0) for frame in theirs_sent(scapy, payload, prefix)]
    assert [one.payload for one in heard if one.payload is not None] == [payload]
    frames = [
        scapy.CAN(identifier=0x7E8, data=frame.ljust(8, bytes([padding]))) for frame in ours_sent(payload, prefix)
    ]
    assert bytes(scapy.ISOTP.defragment(frames, use_extended_addressing=prefix is not None).data) == payload


@settings(deadline=None, max_examples=100, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.integers(0, 2), st.integers(1, 40).map(sample)), min_size=2, max_size=8), st.randoms())
def test_conversations_of_several_units_in_any_mixture_are_read_alike(
    scapy: Any, messages: list[tuple[int, bytes]], random: Any
) -> None:
    queues = {unit: [frame for of, payload in messages if of == unit for frame in ours_sent(payload, None)]
              for unit in range(3)}  # fmt: skip
    receivers = {unit: Reassembly() for unit in queues}
    builder = scapy.ISOTPMessageBuilder(use_ext_address=False)
    ours: list[tuple[int, bytes]] = []
    while waiting := [unit for unit, queue in queues.items() if queue]:
        unit = random.choice(waiting)
        frame = queues[unit].pop(0)
        builder.feed(scapy.CAN(identifier=0x7E8 + unit, data=frame))
        heard = receivers[unit].receive(frame, 0.0)
        assert heard.broken is None
        if heard.payload is not None:
            ours.append((unit, heard.payload))
    assert ours == [(message.rx_id - 0x7E8, bytes(message.data)) for message in builder]
    assert sorted(ours) == sorted(messages)


# --- where scapy does otherwise ---------------------------------------------------------------------------------------


def test_an_address_byte_of_nought_is_left_out_by_scapy_and_sent_by_us(scapy: Any) -> None:
    assert theirs_sent(scapy, b"\x3e\x00", 0x00) == [bytes.fromhex("023E00")]
    assert ours_sent(b"\x3e\x00", 0x00) == [bytes.fromhex("00023E00")]


def test_a_missing_number_is_bridged_by_scapy_with_a_later_answer_and_ends_the_message_for_us(scapy: Any) -> None:
    one, other = bytes([1]) * 27, bytes([2]) * 27
    frames = ours_sent(one, None)[:2] + ours_sent(other, None)[2:]
    builder = scapy.ISOTPMessageBuilder(use_ext_address=False)
    receiver = Reassembly()
    stray = bytes.fromhex("2F00000000000000")
    for frame in [*frames[:2], stray, *frames[2:]]:
        builder.feed(scapy.CAN(identifier=0x7E8, data=frame))
    heard = [receiver.receive(frame, 0.0) for frame in [*frames[:2], stray, *frames[2:]]]
    assert [bytes(message.data) for message in builder] == [one[:13] + other[13:]]
    assert [found.broken.fault for found in heard if found.broken is not None] == [Fault.SEQUENCE]
    assert not any(found.payload for found in heard)


def test_a_single_frame_of_nought_bytes_is_a_message_for_scapy_and_an_error_for_us(scapy: Any) -> None:
    builder = scapy.ISOTPMessageBuilder(use_ext_address=False)
    builder.feed(scapy.CAN(identifier=0x7E8, data=bytes(8)))
    assert [bytes(message.data) for message in builder] == [b""]
    found = Reassembly().receive(bytes(8), 0.0).broken
    assert found is not None
    assert found.fault is Fault.LENGTH

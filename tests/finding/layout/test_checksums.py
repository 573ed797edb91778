from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from underdash.broadcast.checks import checksum
from underdash.contract.layout import Bits, Checksum
from underdash.finding.heard import Stream
from underdash.finding.layout.checksums import bits_of, checksum_of, takes_in
from underdash.finding.layout.counters import counters

from ..frames import columns, stream

DICE = random.Random(7)
PAYLOADS = [bytes([DICE.randrange(256), DICE.randrange(40), 0x3C, n % 16, DICE.randrange(3)]) for n in range(60)]


def with_byte(byte: int, rule: Callable[[bytes], int]) -> Stream:
    return stream(*(data[:byte] + bytes([rule(data) & 0xFF]) + data[byte:] for data in PAYLOADS))


@pytest.mark.parametrize("byte", [0, 3, 5])
@pytest.mark.parametrize(
    "declared",
    [
        Checksum("sum8", 0, final=0x2A),
        Checksum("xor8", 0, final=0x11),
        Checksum("crc8", 0, 0x1D),
        Checksum("crc8", 0, 0x2F),
        Checksum("crc8", 0, 0x07, initial=0, final=0),
        Checksum("crc8", 0, 0x31, initial=0x5A, final=0, reflected=True),
        Checksum("sum8", 0, final=0x10, negative=True),
    ],
)
def test_what_is_found_can_be_declared_and_then_fits_each_frame(declared: Checksum, byte: int) -> None:
    one = with_byte(byte, checksum(replace(declared, byte=9)))
    found = checksum_of(one)
    assert found is not None
    assert (found.kind, found.share, found.payloads) == (declared.kind, 1.0, 60)
    ours = found.declared()
    if declared.kind != "xor8" and not declared.negative:  # of these, every byte fits what the others come to
        assert (found.byte, found.rivals) == (byte, ())
        assert all(checksum(ours)(bytes(row)) == row[byte] for row in one.data)


def test_of_an_xor_the_last_byte_without_a_counter_is_taken_and_the_others_are_told() -> None:
    one = stream(*(bytes([a, a ^ n % 16, n % 16]) for n, a in enumerate(PAYLOADS[n][0] for n in range(60))))
    found = checksum_of(one, counters(one))
    assert found is not None
    assert (found.byte, found.constant) == (1, 0)
    assert "xor8 at byte 0" in found.rivals


def test_a_sum_that_brings_the_total_to_a_constant_is_negative() -> None:
    found = checksum_of(with_byte(5, lambda data: 0x10 - sum(data)))
    assert found is not None
    assert (found.rule, found.constant, found.declared()) == (
        "sum8 negative",
        0x10,
        Checksum("sum8", 5, final=0x10, negative=True),
    )


def test_half_a_byte_may_sum_up_the_half_bytes() -> None:
    rows = [bytes([a, n % 16 << 4 | -(n % 16 + (a & 15) + (a >> 4) + 5) & 15]) for n, (a, *_) in enumerate(PAYLOADS)]
    one = stream(*rows)
    found = checksum_of(one, counters(one))
    assert found is not None
    assert (found.rule, found.bits, found.constant) == ("sum4 negative", Bits(1, 4, 3), 11)
    assert bits_of(found, one).nonzero()[0].tolist() == [8, 9, 10, 11]
    assert found.declared().bits == found.bits
    assert all(checksum(found.declared())(bytes(row)) == row[1] & 15 for row in one.data)


def test_a_constant_that_the_id_explains_is_explained() -> None:
    one = with_byte(5, lambda data: sum(data) + 0x01 + 0xA4 + 6)
    found = checksum_of(one)
    assert found is not None
    assert takes_in(found, one) == "the id and the length"


@pytest.mark.parametrize(
    "one",
    [
        stream(*PAYLOADS),
        stream(*(bytes([n, n]) for n in range(60))),
        columns([n // 20 for n in range(60)], [n // 20 for n in range(60)]),
        stream(PAYLOADS[0]),
        stream(b"", b"", b""),
    ],
    ids=["none there", "a value told twice", "three payloads", "one frame", "empty"],
)
def test_what_follows_no_rule_or_too_seldom_is_no_checksum(one: Stream) -> None:
    assert checksum_of(one) is None


def test_frames_of_another_length_do_not_disturb() -> None:
    summed = [data + bytes([sum(data) & 0xFF]) for data in PAYLOADS]
    found = checksum_of(stream(*summed[:30], b"\x01", b"\x02\x03", *summed[30:]))
    assert found is not None
    assert (found.kind, found.byte) == ("sum8", 5)


def test_a_checksum_may_cover_only_what_stands_before_it() -> None:
    rows = [
        data[:4] + bytes([sum(data[:4]) + 7 & 0xFF, other])
        for data, (other, *_) in zip(PAYLOADS, PAYLOADS[::-1], strict=True)
    ]
    found = checksum_of(stream(*rows))
    assert found is not None
    assert (found.rule, found.byte, found.declared()) == ("sum8 up to byte 3", 4, Checksum("sum8", 4, final=7, last=3))

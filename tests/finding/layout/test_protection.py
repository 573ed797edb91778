from __future__ import annotations

import random

from underdash.contract.layout import Bits
from underdash.finding.layout.checksums import checksum_of
from underdash.finding.layout.counters import counters
from underdash.finding.layout.protection import protection_of, unexplained

from ..frames import columns, stream


def test_what_counts_within_the_checksum_is_left_to_it() -> None:
    count = [n % 16 for n in range(100)]
    value = [n // 9 for n in range(100)]
    one = columns(value, count, [a + b & 0xFF for a, b in zip(value, count, strict=True)])
    found = protection_of(one)
    assert found.checksum is not None
    assert (found.checksum.byte, found.checksum.kind) == (2, "sum8")
    assert [counter.bits for counter in found.counts] == [Bits(1, 4, 3)]
    assert (one.active & ~found.bits(one)).nonzero()[0].tolist() == [0, 1, 2, 3]


def test_a_frame_that_has_neither_loses_nothing() -> None:
    one = stream(b"\x01\x02", b"\x01\x03")
    assert not protection_of(one).bits(one).any()


def test_half_a_byte_beside_a_counter_that_moves_by_an_unknown_rule_is_told_apart() -> None:
    dice = random.Random(7)
    one = columns([n % 16 << 4 | dice.randrange(16) for n in range(100)], [n // 10 for n in range(100)])
    assert checksum_of(one) is None
    assert unexplained(one, counters(one)) == Bits(0, 4, 3)
    assert unexplained(one, ()) is None

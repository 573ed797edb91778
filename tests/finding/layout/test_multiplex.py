from __future__ import annotations

import random

from underdash.contract.layout import Bits
from underdash.finding.heard import Stream
from underdash.finding.layout.multiplex import multiplexer_of
from underdash.finding.layout.protection import protection_of

from ..frames import columns, stream


def found(one: Stream) -> Bits | None:
    made = multiplexer_of(one, protection_of(one))
    return None if made is None else made.bits


def test_a_byte_that_says_what_the_rest_is_is_found_with_its_values() -> None:
    contents = {0x10: bytes(5), 0x20: b"\xff\x12\x0f\xf0\x99", 0x31: b"\x55\xaa\x00\x3c\xc3"}
    rows = [bytes([key, 7]) + data[:4] + bytes([n // 9 & 3]) for n in range(60) for key, data in contents.items()]
    one = stream(*rows)
    made = multiplexer_of(one, protection_of(one))
    assert made is not None
    assert made.values[-1] in (0x31, 3, 1)
    assert made.bits.byte == 0


def test_a_counter_over_numbers_that_move_by_themselves_is_none() -> None:
    dice = random.Random(2)
    assert (
        found(
            columns(
                [n % 4 for n in range(300)],
                [dice.randrange(256) for _ in range(300)],
                [dice.randrange(256) for _ in range(300)],
            )
        )
        is None
    )


def test_the_low_bits_of_a_number_are_none() -> None:
    assert found(columns([n % 3 for n in range(300)], [0] * 300, [n // 100 for n in range(300)])) is None


def test_a_choice_that_a_driver_makes_is_none() -> None:
    assert (
        found(
            columns(
                [n // 50 % 2 for n in range(300)],
                [255 * (n // 50 % 2) for n in range(300)],
                [15 * (n // 50 % 2) for n in range(300)],
            )
        )
        is None
    )


def test_few_and_empty_frames_have_none() -> None:
    assert found(stream(b"\x01", b"\x02")) is None
    assert found(stream(*[b""] * 50)) is None

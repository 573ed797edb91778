from __future__ import annotations

import math
import random

import pytest

from underdash.contract.layout import Bits, ByteOrder
from underdash.finding.heard import Stream
from underdash.finding.layout.counters import bits_of, counters
from underdash.finding.layout.protection import protection_of

from ..frames import columns, stream

FRAMES = 200


def noise(seed: int, top: int = 255) -> list[int]:
    dice = random.Random(seed)
    return [dice.randint(0, top) for _ in range(FRAMES)]


def words(number: list[int], order: ByteOrder) -> Stream:
    return stream(*(value.to_bytes(2, order) + b"\x55" for value in number))  # type: ignore[arg-type]


def test_a_counter_of_a_frame_is_found_with_its_place_and_range() -> None:
    one = columns(noise(1), [n % 16 << 4 | other & 7 for n, other in enumerate(noise(2))])
    (found,) = counters(one)
    assert found.bits == Bits(1, 4, 7)
    assert (found.first, found.last, found.step, found.every, found.share) == (0, 15, 1, 1, 1.0)
    assert str(found) == "counts every frame, 0 to 15"
    assert bits_of((found,), one).nonzero()[0].tolist() == [12, 13, 14, 15]


def test_a_counter_may_start_again_before_its_bits_are_full() -> None:
    (found,) = counters(columns([n % 15 for n in range(FRAMES)]))
    assert (found.bits, found.first, found.last) == (Bits(0, 4, 3), 0, 14)


@pytest.mark.parametrize("order", ByteOrder)
def test_a_counter_over_two_bytes_tells_its_byte_order(order: ByteOrder) -> None:
    (found,) = counters(words([5 * n for n in range(FRAMES)], order))
    assert (found.bits.order, found.step) == (order, 5)


def test_a_counter_that_steps_every_tenth_frame_says_so() -> None:
    (found,) = counters(columns([n // 10 % 4 for n in range(FRAMES)], noise(3)))
    assert (found.bits, found.every) == (Bits(0, 2, 1), 10)


def test_a_bit_that_flips_with_each_frame_counts() -> None:
    (found,) = counters(columns([n % 2 << 7 for n in range(FRAMES)]))
    assert (found.bits, found.first, found.last) == (Bits(0, 1, 7), 0, 1)


def test_a_few_lost_and_repeated_frames_do_not_hide_a_counter() -> None:
    number = [n % 16 for n in range(FRAMES) if n not in (17, 18, 90)]
    number.insert(50, number[50])
    assert [found.bits for found in counters(columns(number))] == [Bits(0, 4, 3)]


@pytest.mark.parametrize(
    "one",
    [
        columns(noise(4)),
        columns([n // 50 % 2 for n in range(FRAMES)]),
        columns([1 if 20 <= n < 30 and n % 2 else 0 for n in range(FRAMES)]),
        columns([40 + (n * n // 97) % 100 for n in range(FRAMES)]),
        columns([8 * n - 4 * (n // 7 + n // 17) & 0xFF for n in range(FRAMES)]),
        stream(b"\x01"),
        stream(b"", b""),
    ],
    ids=["noise", "switch", "a while", "ramp", "turning wheel", "one frame", "empty"],
)
def test_what_moves_otherwise_is_no_counter(one: Stream) -> None:
    assert counters(one) == ()


def test_a_flag_above_a_counter_does_not_belong_to_it() -> None:
    (found,) = counters(columns([n % 16 | (0x10 if n >= 96 else 0) for n in range(FRAMES)]))
    assert found.bits == Bits(0, 4, 3)


def test_two_counters_beside_each_other_are_two() -> None:
    both = [n % 256 | n % 256 << 8 for n in range(3, 300)]
    found = counters(words(both, ByteOrder.LITTLE))
    assert [one.bits for one in found] == [Bits(0), Bits(1)]


def test_a_slow_wave_whose_top_bit_flips_on_the_beat_beside_a_busy_bit_is_no_counter() -> None:
    wave = [int(128 + 100 * math.sin(n / 70)) for n in range(4000)]
    busy = [int(128 + 100 * math.sin(n / 70 + 1)) for n in range(4000)]
    assert counters(columns(wave, busy)) == ()


def test_a_clock_of_seconds_counts_but_is_not_told_to_begin_again() -> None:
    one = words([51000 + n for n in range(300)], ByteOrder.BIG)
    (found,) = counters(one)
    assert not found.began_again
    assert str(found) == "counts every frame, and never began again here: it may be a clock"
    assert protection_of(one).counter is None
    assert bits_of((found,), one).sum() == found.bits.length


@pytest.mark.parametrize("step", [1, -1])
def test_a_counter_that_began_again_is_told_to(step: int) -> None:
    (found,) = counters(columns([step * n % 256 for n in range(300)]))
    assert found.began_again
    assert str(found).endswith("0 to 255")

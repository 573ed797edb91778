from __future__ import annotations

import random

import pytest

from underdash.contract.layout import Bits, ByteOrder
from underdash.finding.heard import Stream
from underdash.finding.layout.boundaries import Cut, cuts
from underdash.finding.layout.protection import protection_of
from underdash.finding.layout.steps import MOST_STEPS

from ..frames import columns, stream

FRAMES = 600


def walk(seed: int, step: int, middle: int, least: int = 0, most: int = 65535) -> list[int]:
    dice, out = random.Random(seed), [middle]
    while len(out) < FRAMES:
        out.append(min(most, max(least, out[-1] + round(dice.gauss(0, step)))))
    return out


def places(made: Cut) -> list[Bits]:
    return [made.numbering.bits(part.low, part.length) for part in made.parts]


def cheaper(one: Stream) -> Cut:
    little, big = cuts(one, protection_of(one))
    return little if little.cost < big.cost else big


@pytest.mark.parametrize("order", ByteOrder)
def test_a_number_over_two_bytes_is_one_field_in_its_byte_order_only(order: ByteOrder) -> None:
    speed = walk(1, 60, 9000, 4096, 16383)
    made = cheaper(stream(*(value.to_bytes(2, order) for value in speed)))  # type: ignore[arg-type]
    (part,) = made.parts
    assert (made.numbering.big, part.kind, part.length >= 12) == (order is ByteOrder.BIG, "number", True)
    assert part.confidence > 0.6


def test_two_numbers_beside_each_other_are_two() -> None:
    made = cheaper(columns(walk(1, 2, 40, 0, 255), walk(2, 3, 100, 0, 255)))
    assert {part.low // 8 for part in made.parts} == {0, 1}
    assert all(part.kind == "number" for part in made.parts)


def test_a_counter_and_a_number_share_a_byte() -> None:
    half = [value >> 4 for value in walk(3, 9, 100, 0, 255)]
    made = cheaper(columns([n % 16 << 4 | value for n, value in enumerate(half)]))
    assert [part.kind for part in made.parts] == ["number", "counter"]
    assert [(part.low, part.length) for part in made.parts] == [(0, 4), (4, 4)]


def test_flags_far_apart_that_move_at_different_times_are_two() -> None:
    one = columns(
        [0x01 if 100 < n < 200 else 0 for n in range(FRAMES)], [0x80 if 300 < n < 350 else 0 for n in range(FRAMES)]
    )
    assert [(part.length, part.kind) for part in cheaper(one).parts] == [(1, "flag"), (1, "flag")]


def test_what_happens_late_in_a_long_recording_is_seen() -> None:
    rows = [bytes([0, n % 7]) for n in range(3 * MOST_STEPS)]
    rows[2 * MOST_STEPS + 77] = b"\x10\x01"
    assert any(part.kind == "flag" for part in cheaper(stream(*rows)).parts)


def test_nothing_that_changes_gives_no_fields() -> None:
    for one in (stream(b"\x01"), stream(b"\x01", b"\x01"), stream(b"", b"")):
        assert [made.parts for made in cuts(one, protection_of(one))] == [(), ()]


def test_the_shares_of_a_cut_are_probabilities() -> None:
    for made in cuts(one := columns(walk(5, 30, 100, 0, 255), walk(6, 1, 3, 0, 7)), protection_of(one)):
        assert all(0.0 < part.confidence <= 1.0 for part in made.parts)
        assert len(places(made)) == len(made.parts)


def test_a_frame_that_becomes_all_0_at_once_does_not_join_its_bytes() -> None:
    one = stream(*[b"\xfc\xff\x03"] * 200, *[b"\x00\x00\x00"] * 20)
    for made in cuts(one, protection_of(one)):
        assert [(part.low // 8, part.length) for part in made.parts] == [(0, 6), (1, 8), (2, 2)] or made.numbering.big
        assert len(made.parts) == 3


def test_bits_that_take_any_value_alike_are_noise_and_the_low_byte_of_a_number_is_none() -> None:
    dice = random.Random(2)
    (part,) = cheaper(columns([dice.randrange(32) for _ in range(FRAMES)])).parts
    assert (part.length, part.kind) == (5, "noise")
    (part,) = cheaper(stream(*(value.to_bytes(2, "big") for value in walk(1, 400, 30000, 2000, 62000)))).parts
    assert (part.length, part.kind) == (16, "number")


@pytest.mark.parametrize("seed", range(6))
def test_the_last_bit_of_a_number_is_no_flag_that_never_rests(seed: int) -> None:
    dice = random.Random(seed)
    hovering = [round(dice.gauss(0x1F8, 9)) for _ in range(120)]
    (part,) = cheaper(columns([value & 0xFF for value in hovering], [value >> 8 for value in hovering])).parts
    assert (part.low, part.length) == (0, 10)


@pytest.mark.parametrize("seed", range(4))
def test_a_number_that_moves_by_two_at_most_is_one_field(seed: int) -> None:
    dice, level = random.Random(seed), [100]
    while len(level) < FRAMES:
        level.append(level[-1] + dice.randint(-2, 2))
    (part,) = cheaper(columns([value & 0xFF for value in level])).parts
    assert (part.low, part.kind) == (0, "number")

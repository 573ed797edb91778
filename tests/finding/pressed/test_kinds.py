"""Kinds of buttons, each among other traffic."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits, ByteOrder
from underdash.finding.found import Answer
from underdash.finding.heard import Heard
from underdash.finding.marks import Mark
from underdash.finding.pressed.search import pressed
from underdash.finding.reading import heard_from

from .buttons import BEGIN, late, times, traffic

FIVE = times(5)
SECOND, THIRD = ([at + by for at in FIVE] for by in (1.7, 2.3))


def among(frames: Sequence[Frame]) -> Heard:
    """A minute of other traffic with these frames in it."""
    log = [*traffic([]), *(("comfort", frame) for frame in frames)]
    return heard_from(sorted(log, key=lambda pair: pair[1].at))


def clocked(payload: Callable[[float, int], bytes], period_s: float = 0.05) -> list[Frame]:
    count = int(60.0 / period_s)
    return [Frame(0x511, payload(BEGIN + period_s * n, n), at=BEGIN + period_s * n + 0.001) for n in range(count)]


def down(at: float, presses: Sequence[float] = FIVE, hold_s: float = 0.5) -> bool:
    return any(press <= at < press + hold_s for press in presses)


def asked(heard: Heard, marks: Sequence[Mark]) -> Answer:
    (answer,) = pressed(heard, {"menu": marks})
    return answer


@pytest.mark.parametrize("empty", [False, True])
def test_a_button_in_one_content_of_a_multiplexer_is_found_with_its_condition(empty: bool) -> None:
    def payload(at: float, n: int) -> bytes:
        page = n % 4
        data = bytearray([page, *(0 if empty else page * 83 + byte * 29 & 0xFF for byte in range(7))])
        data[5] ^= 4 * (page == 2 and down(at))
        return bytes(data)

    best = asked(among(clocked(payload)), late(FIVE)).best
    assert best is not None
    assert best.confidence > 0.9
    assert best.where.bits == Bits(5, 1, 2)
    assert best.where.select is not None
    assert best.where.select.values == (2,)
    assert str(best.where).startswith("comfort 511 byte 5 bit 2 while byte 0 ")
    assert sorted(best.meaning.values()) == ["menu", "released"]


@pytest.mark.parametrize("order", list(ByteOrder))
def test_a_code_over_the_border_of_two_bytes_is_found_where_other_buttons_share_its_bits(order: ByteOrder) -> None:
    def payload(at: float, _: int) -> bytes:
        code = 6 * down(at) + 4 * down(at, SECOND) + 2 * down(at, THIRD)
        return (0x1000 | code << 6).to_bytes(2, order.value)

    best = asked(among(clocked(payload)), late(FIVE)).best
    assert best is not None
    assert best.where.bits == (Bits(0, 2, 7, order) if order is ByteOrder.LITTLE else Bits(0, 2, 0, order))
    assert best.meaning == {0: "released", 3: "menu"}


def test_a_frame_that_is_sent_only_while_it_is_held_is_found_however_many_come() -> None:
    sent = [Frame(0x222, b"\x55", at=at + 0.02 * n) for at in FIVE for n in range(40)]
    best = asked(among(sent), late(FIVE)).best
    assert best is not None
    assert str(best.where) == "comfort 222 being sent at all"
    assert best.because[0].startswith("frames of this id, which is sent on occasion only, come")


def test_a_press_that_is_marked_twice_does_no_harm() -> None:
    marks = late(FIVE)
    doubled = [*marks, replace(marks[2], begin=marks[2].begin + 0.2)]
    best = asked(among(clocked(lambda at, _: bytes([down(at)]))), doubled).best
    assert best is not None
    assert best.where.bits == Bits(0, 1, 0)
    assert best.confidence > 0.9


def test_both_ends_of_a_short_hold_are_kept() -> None:
    frames = clocked(lambda at, _: bytes([down(at, hold_s=0.25)]))
    answer = asked(among(frames), [Mark(at + 0.1, "menu", at + 0.3) for at in FIVE])
    assert answer.ranks[0][0].figures["answered"] == 10


def test_parts_of_one_number_are_told_as_such() -> None:
    frames = clocked(lambda at, n: bytes([0x3A if down(at) else 0xFE]), period_s=0.1)
    noisy = [replace(one, data=bytes([one.data[0] + n % 3 - 1])) for n, one in enumerate(frames)]
    answer = asked(among(noisy), late(FIVE))
    assert {one.where.id for one in answer.ranks[0]} == {0x511}
    assert len(answer.ranks[0]) > 1
    assert "fields of one id answer in the same frames: parts of one number, or things that" in answer.remarks[-1]
    assert "each of them reads 'menu', so the first will do (--number 1); press other buttons" in answer.remarks[-1]


def test_a_sum_by_an_unknown_rule_beside_a_counter_is_not_told_content_by_content() -> None:
    chance = random.Random(1)
    sums = {(count, bit): chance.randbytes(2) for count in range(4) for bit in (False, True)}

    def payload(at: float, n: int) -> bytes:
        count, bit = n % 4, down(at)
        return bytes([count, bit, *sums[count, bit]])

    answer = asked(among(clocked(payload)), late(FIVE))
    assert str(answer.ranks[0][0].where) == "comfort 511 byte 1 bit 0"
    assert all(one.where.select is None for rank in answer.ranks for one in rank)


def test_a_bit_that_something_else_moves_as_often_is_told_as_such() -> None:
    frames = clocked(lambda at, _: bytes([down(at) or down(at, SECOND[:3])]))
    answer = asked(among(frames), late(FIVE))
    assert answer.best is not None
    assert answer.remarks[-1].startswith("it changes without a mark too (3 times): it was done and not marked, or")
    alone = asked(among(clocked(lambda at, _: bytes([down(at)]))), late(FIVE))
    assert alone.remarks == ()

from __future__ import annotations

import pytest

from underdash.broadcast.bits import LayoutError
from underdash.broadcast.decoder import Decoder, compile_listener, shortest_frame
from underdash.bus.frames import EXTENDED
from underdash.contract.layout import Bits, BroadcastListener, Checksum, Counter, Field
from underdash.contract.signals import Signal
from underdash.signals.store import Slot

SPEED = Signal("vehicle.speed", "km/h", "speed", low=0.0, high=400.0)
OTHER = Signal("vehicle.other", "", "something else")
CHECKED = BroadcastListener(
    "drive",
    0x123,
    (Field("vehicle.speed", Bits(0, 16), scale=0.01),),
    counter=Counter(Bits(6, 4, 3)),
    checksum=Checksum("xor8", 7),
)


def frame(speed: int, count: int) -> bytes:
    data = speed.to_bytes(2, "big") + bytes([0, 0, 0, 0, count])
    check = 0
    for byte in data:
        check ^= byte
    return data + bytes([check])


def decoder(listener: BroadcastListener, *signals: Signal) -> tuple[Decoder, dict[str, Slot]]:
    slots = {one.name: Slot(one, "test", 0, None, False) for one in signals or (SPEED,)}
    return compile_listener(listener, slots), slots


def test_a_good_frame_reaches_the_slot_with_its_time() -> None:
    made, slots = decoder(CHECKED)
    made.handle(frame(12345, 0), 5.25)
    assert (slots["vehicle.speed"].value, slots["vehicle.speed"].at) == (123.45, 5.25)
    assert made.counts.dropped == 0
    assert made.wanted == ("vehicle.speed",)


def test_short_broken_and_repeated_frames_are_counted_and_dropped() -> None:
    made, slots = decoder(CHECKED)
    made.handle(frame(100, 1), 1.0)
    made.handle(frame(200, 2)[:7], 2.0)
    made.handle(frame(300, 2)[:7] + b"\x99", 3.0)
    made.handle(frame(400, 1), 4.0)
    assert (slots["vehicle.speed"].value, slots["vehicle.speed"].count) == (1.0, 1)
    made.handle(frame(500, 4), 5.0)
    assert slots["vehicle.speed"].value == 5.0
    counts = made.counts
    assert (counts.short, counts.checksum, counts.repeated, counts.jumped) == (1, 1, 1, 1)
    assert counts.dropped == 3


def test_a_frame_with_a_wrong_checksum_does_not_move_the_counter() -> None:
    made, slots = decoder(CHECKED)
    made.handle(frame(100, 1), 1.0)
    made.handle(frame(300, 9)[:7] + b"\x99", 2.0)
    made.handle(frame(200, 2), 3.0)
    assert (slots["vehicle.speed"].value, made.counts.jumped) == (2.0, 0)


def test_a_frame_longer_than_its_fields_need_is_accepted() -> None:
    made, slots = decoder(BroadcastListener("drive", 1, (Field("vehicle.speed", Bits(0)),)))
    made.handle(bytes([80, 1, 2, 3]), 1.0)
    assert slots["vehicle.speed"].value == 80.0


def test_what_nobody_wants_does_not_change_which_frames_are_short() -> None:
    listener = BroadcastListener("drive", 1, (Field("vehicle.speed", Bits(0)), Field("vehicle.other", Bits(3))))
    made, slots = decoder(listener, SPEED)
    made.handle(bytes([80, 1]), 1.0)
    assert (slots["vehicle.speed"].value, made.counts.short) == (None, 1)


def test_a_declared_shortest_length_lets_shorter_frames_bring_what_they_have() -> None:
    fields = (Field("vehicle.speed", Bits(0)), Field("vehicle.other", Bits(3)))
    made, slots = decoder(BroadcastListener("drive", 1, fields, shortest=2), SPEED, OTHER)
    made.handle(b"\x50", 1.0)
    made.handle(b"\x51\x00", 2.0)
    assert (slots["vehicle.speed"].value, slots["vehicle.other"].value, made.counts.short) == (81.0, None, 1)
    made.handle(b"\x52\x00\x00\x07", 3.0)
    assert (slots["vehicle.speed"].value, slots["vehicle.other"].value) == (82.0, 7.0)


def test_checks_have_to_be_in_a_frame_whatever_its_shortest_length() -> None:
    assert shortest_frame(BroadcastListener("drive", 1, (), shortest=2, checksum=Checksum("sum8", 7))) == 8
    assert shortest_frame(BroadcastListener("drive", 1, (), counter=Counter(Bits(4, 4, 3)))) == 5
    assert shortest_frame(BroadcastListener("drive", 1, (), shortest=6)) == 6


def test_a_listener_that_no_classic_frame_can_satisfy_is_refused() -> None:
    with pytest.raises(LayoutError, match="00000123 on drive needs 9 bytes"):
        decoder(BroadcastListener("drive", 0x123, (Field("vehicle.speed", Bits(8)),), extended=True))


def test_the_key_carries_the_extended_flag() -> None:
    assert decoder(BroadcastListener("drive", 0x123, (), extended=True))[0].key == 0x123 | EXTENDED
    assert decoder(BroadcastListener("drive", 0x123, ()))[0].wanted == ()


def test_an_implausible_number_is_left_to_the_slot_to_count() -> None:
    made, slots = decoder(BroadcastListener("drive", 1, (Field("vehicle.speed", Bits(0, 16)),)))
    made.handle(b"\xff\xff", 1.0)
    assert (slots["vehicle.speed"].value, slots["vehicle.speed"].implausible) == (None, 1)

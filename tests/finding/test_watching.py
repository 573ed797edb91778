from __future__ import annotations

from collections.abc import Iterable

import pytest

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits, ByteOrder
from underdash.finding.watching import RESTLESS, Answer, Watcher, strip


def played(frames: Iterable[tuple[float, int, bytes]], quiet_s: float = 5.0) -> Watcher:
    watcher = Watcher(quiet_s)
    for at, can_id, data in frames:
        watcher.take("comfort", Frame(can_id, data, at=at))
    return watcher


def car(presses: Iterable[tuple[float, float]], end: float = 20.0) -> list[tuple[float, int, bytes]]:
    """2C1 with a counter, a button of two bits (0 or 2 of bits 4 and 5 of byte 1) and its lamp 0.2 s later."""
    held = [*presses]
    frames = []
    for n in range(int(end * 10)):
        at = n / 10
        pressed = any(a <= at < b for a, b in held)
        lamp = any(a + 0.2 <= at < b + 0.2 for a, b in held)
        frames.append((at, 0x2C1, bytes([n & 0xFF, 0x30 if pressed else 0, lamp])))
    return frames


def places(answers: list[Answer]) -> list[tuple[str, int, int, int]]:
    return [(one.place, one.bits.byte, one.bits.bit or 0, one.bits.length) for one in answers]


def test_what_moves_by_itself_is_hidden_and_what_answers_is_shown() -> None:
    watcher = played(car([(8.0, 8.5), (10.0, 10.5)]))
    answers = watcher.answers(11.0)
    assert places(answers) == [("comfort 2C1", 2, 0, 1), ("comfort 2C1", 1, 4, 2)]
    button = answers[1]
    assert button.before == 0
    assert button.changes == ((8.0, 3), (8.5, 0), (10.0, 3), (10.5, 0))
    assert button.bits == Bits(1, 2, 4, ByteOrder.LITTLE)
    assert watcher.hidden()[1] == 1


def test_nothing_is_shown_while_nobody_should_touch_anything() -> None:
    watcher = played(car([(2.0, 2.5)], end=4.0))
    assert watcher.answers(4.0) == []
    assert watcher.quiet_left_s(4.0) == pytest.approx(1.0)
    assert Watcher(5.0).quiet_left_s(100.0) == 5.0


def test_what_is_too_old_goes_again() -> None:
    watcher = played(car([(6.0, 6.5)]))
    assert watcher.answers(20.0, 5.0) == []


def test_what_turns_out_to_be_restless_is_hidden() -> None:
    frames = [(5.0 + 0.1 * n, 0x310, bytes([n & 1])) for n in range(RESTLESS + 5)]
    watcher = played([(0.0, 0x310, b"\0"), *frames])
    assert watcher.answers(8.0) == []
    assert watcher.hidden() == (1, 1)


@pytest.mark.parametrize("order", ["little", "big"])
def test_the_high_bits_of_a_slow_counter_are_known_by_the_bits_below_them(order: str) -> None:
    def payload(n: int) -> bytes:
        number = (n + 0x0EF0).to_bytes(2, "little" if order == "little" else "big")
        return number + bytes([150 <= n < 155])

    watcher = played([(0.1 * n, 0x320, payload(n)) for n in range(600)])
    assert places(watcher.answers(60.0, 60.0)) == [("comfort 320", 2, 0, 1)]


def test_beginning_anew_keeps_what_is_hidden() -> None:
    watcher = played(car([(8.0, 8.5)]))
    hidden = watcher.hidden()
    watcher.again()
    assert (watcher.answers(20.0), watcher.hidden()) == ([], hidden)
    assert watcher.quiet_left_s(20.0) == 5.0


def test_frames_that_carry_nothing_are_no_frames() -> None:
    watcher = Watcher()
    for frame in (Frame(1, b"", error=True), Frame(1, b"", remote=True), Frame(1, bytes(12), fd=True)):
        watcher.take("drive", frame)
    assert watcher.frames == 0


def test_ids_that_change_length_are_no_trouble() -> None:
    watcher = played([(0.0, 1, b"\0"), (6.0, 1, b"\0\1"), (7.0, 1, b""), (8.0, 1, b"\0" * 8)])
    assert places(watcher.answers(9.0)) == [("comfort 001", 1, 0, 1)]


def test_a_strip_is_low_at_rest_and_high_while_it_answers() -> None:
    answer = Answer("comfort 2C1", Bits(1, 1, 0), 0, ((4.0, 1), (6.0, 0), (8.05, 1), (8.06, 0)))
    assert strip(answer, 10.0, 10.0, 10) == "▁▁▁▔▔▁▁▁│▁"
    assert len(strip(answer, 10.0, 10.0, 37)) == 37

"""The line is cut, spoilt and swapped under the conversation, byte by byte; afterwards the picture is right again."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from underdash_serial_panel.memory import Fate, whole
from underdash_serial_panel.reference import Controller

W, H = 12, 8
WHOLE = (0, 0, W, H)
MakeBench = Callable[..., Any]


def coloured(seed: int, colours: int) -> Image.Image:
    """Pixels of many colours cost three bytes each, so that a picture takes several frames."""
    image = Image.new("RGB", (W, H))
    for place in range(W * H):
        shade = (place * 7 + seed) % colours
        image.putpixel((place % W, place // W), (shade * 40 % 256, shade * 9 % 256, shade * 17 % 256))
    return image


FIRST, SECOND = coloured(3, 5), coloured(5, 90)


def exchange(bench: Any) -> None:
    """Two pictures, the light, and a while in which nothing changes."""
    bench.insist(FIRST, [WHOLE], 0.2)
    bench.insist(SECOND, [WHOLE], 0.6)
    bench.idle(1.2)


def only(which: int, what: Fate) -> Fate:
    """Do something to one byte."""
    return lambda number, byte: what(number, byte) if number == which else bytes((byte,))


def lost(number: int, byte: int) -> bytes:
    return b""


def turned(number: int, byte: int) -> bytes:
    return bytes((byte ^ 1 << number % 8,))


@pytest.mark.parametrize("what", [lost, turned])
@pytest.mark.parametrize("way", ["there", "back"])
def test_wherever_a_byte_is_spoilt_the_picture_becomes_right(bench: MakeBench, way: str, what: Fate) -> None:
    def spoilt(which: int) -> int:
        made = bench(Controller(W, H, window=2), **{way: only(which, what)})
        exchange(made)
        assert made.right(SECOND), f"byte {which}"
        assert made.controller.light == round(0.6 * 0xFFFF)
        assert made.errors == [], f"byte {which}"
        assert made.line is not None
        return int(made.line.sent if way == "there" else made.line.answered)

    which, length = 0, 1
    while which < length:
        length = spoilt(which)
        which += 1
    assert length > (300 if way == "there" else 40)


@pytest.mark.parametrize("way", ["there", "back"])
def test_wherever_the_line_is_cut_the_picture_becomes_right_once_it_is_back(bench: MakeBench, way: str) -> None:
    def cut(which: int) -> int:
        def unplugged(number: int, byte: int) -> bytes:
            made.there = made.back = whole
            made.absent = "there is no serial port"
            made.restart()
            raise OSError("device disconnected")

        made = bench(Controller(W, H, window=2), **{way: only(which, unplugged)})
        plugged_at = made.clock() + 7.0
        show = made.pixels.show

        def show_and_plug(*told: Any) -> None:
            if made.clock() > plugged_at:
                made.absent = None
            show(*told)

        made.pixels.show = show_and_plug
        made.insist(FIRST, [WHOLE], 0.2)
        made.insist(SECOND, [WHOLE], 0.6)
        if made.absent is None:
            made.idle(0.2)
        assert made.right(SECOND), f"byte {which}"
        return int(made.line.sent if way == "there" else made.line.answered)

    which, length = 0, 1
    while which < length:
        length = cut(which)
        which += 1
    assert which > 40


def test_wherever_the_controller_restarts_the_picture_becomes_right(bench: MakeBench) -> None:
    def restarted(which: int) -> int:
        def restarts(number: int, byte: int) -> bytes:
            made.restart()
            made.line.say(made.controller.start())
            return b""

        made = bench(Controller(W, H, window=2), there=only(which, restarts))
        exchange(made)
        assert made.right(SECOND), f"byte {which}"
        assert made.controller.light == round(0.6 * 0xFFFF)
        assert made.errors == [], f"byte {which}"
        return int(made.line.sent)

    which, length = 0, 1
    while which < length:
        length = restarted(which)
        which += 1
    assert which > 200


def test_a_controller_that_restarts_unheard_while_nothing_changes_gets_everything_again(bench: MakeBench) -> None:
    made = bench(Controller(W, H, window=2))
    exchange(made)
    made.restart()
    made.idle(3.0)
    assert made.right(SECOND)
    assert made.controller.light == round(0.6 * 0xFFFF)


@given(
    st.lists(st.tuples(st.booleans(), st.integers(0, 600), st.binary(min_size=1, max_size=80)), max_size=8),
    st.sets(st.integers(0, 600), max_size=8),
)
@settings(max_examples=60, deadline=None)
def test_garbage_both_ways_does_no_lasting_harm(
    bench: MakeBench, noise: list[tuple[bool, int, bytes]], holes: set[int]
) -> None:
    def fate(back: bool) -> Fate:
        extra = {at: garbage for way, at, garbage in noise if way is back}
        total = count()  # over all lines that are opened: the noise comes to an end

        def spoil(number: int, byte: int) -> bytes:
            at = next(total)
            return extra.get(at, b"") + (b"" if at in holes else bytes((byte,)))

        return spoil

    made = bench(Controller(W, H, window=2), there=fate(False), back=fate(True))
    exchange(made)
    made.idle(10.0)
    assert made.right(SECOND)

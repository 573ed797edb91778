"""Pixels as codes: runs, colours seen before, what was drawn above, what stays (PROTOCOL.md section 5).

The edges of lettering are a few dozen blends of two colours over and over, so a table of the last colours makes each
of them one byte; upright strokes repeat what stands above them.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Iterator

COLOURS = 128
RUN, SKIP, UP, MOST_SHORT = 0x80, 0xA0, 0xC0, 32
NEW, LONG = 0xE0, {RUN: 0xE1, SKIP: 0xE2, UP: 0xE3}
MOST_LONG = 0x10000
BLACK = 0

_SAME = re.compile(rb"(?:\0\0)*")


class Colours:
    """The colours sent last, as both ends know them: a new one takes the place of the oldest."""

    def __init__(self) -> None:
        self._of: list[int | None] = [None] * COLOURS
        self._places: dict[int | None, int] = {}
        self._next = 0

    def code(self, colour: int) -> bytes:
        """Return the code of one pixel of an RGB565 colour."""
        place = self._places.get(colour)
        if place is not None:
            return bytes((place,))
        place = self._next
        self._places.pop(self._of[place], None)
        self._of[place], self._places[colour] = colour, place
        self._next = (place + 1) % COLOURS
        return bytes((NEW, colour >> 8, colour & 0xFF))


def codes(new: bytes, old: bytes, width: int, colours: Colours) -> Iterator[bytes]:
    """Yield the codes that turn one rectangle of pixels into another; each code must stay whole.

    Args:
        new, old: RGB565, two bytes a pixel with the high one first, row by row.
        width: pixels in a row.
        colours: changed on the way; the codes have to arrive in this order.
    """
    want, same = _pixels(new), _difference(new, old)
    above, last = [BLACK] * width, BLACK
    at, end = 0, len(same.rstrip(b"\0")) + 1 >> 1  # nothing need be said of what stays at the end
    while at < end:
        skip = _alike(same, at)
        run = up = at
        while run < end and want[run] == last:
            run += 1
        while up < end and want[up] == above[up % width]:
            up += 1
        run, up = run - at, up - at
        if not (skip or run or up):
            last = above[at % width] = want[at]
            yield colours.code(last)
            at += 1
        elif skip >= run and skip >= up:
            yield from _repeated(SKIP, skip)
            at += skip
        elif run >= up:
            for place in range(at, at + min(run, width)):
                above[place % width] = last
            yield from _repeated(RUN, run)
            at += run
        else:
            yield from _repeated(UP, up)
            at += up
            last = want[at - 1]


def _pixels(data: bytes) -> array[int]:
    pixels = array("H", data)
    if array("H", b"\0\1")[0] != 1:
        pixels.byteswap()
    return pixels


def _difference(new: bytes, old: bytes) -> bytes:
    """Return zeros where two stretches are alike."""
    return (int.from_bytes(new, "big") ^ int.from_bytes(old, "big")).to_bytes(len(new), "big")


def _alike(difference: bytes, at: int) -> int:
    """Return how many pixels from one on are alike."""
    found = _SAME.match(difference, 2 * at)
    return (found.end() - found.start()) // 2 if found else 0


def _repeated(code: int, count: int) -> Iterator[bytes]:
    while count > 0:
        part = min(count, MOST_LONG)
        short = part <= MOST_SHORT
        yield bytes((code + part - 1,)) if short else bytes((LONG[code],)) + (part - 1).to_bytes(2, "big")
        count -= part

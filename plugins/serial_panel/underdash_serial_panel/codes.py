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
_BYTES = [bytes((value,)) for value in range(256)]


class Colours:
    """The colours sent last, as both ends know them: a new one takes the place of the oldest."""

    def __init__(self) -> None:
        self._of: list[int | None] = [None] * COLOURS
        self._codes: dict[int | None, bytes] = {}
        self._next = 0

    def code(self, colour: int) -> bytes:
        """Return the code of one pixel of an RGB565 colour."""
        known = self._codes.get(colour)
        if known is not None:
            return known
        place = self._next
        self._codes.pop(self._of[place], None)
        self._of[place], self._codes[colour] = colour, _BYTES[place]
        self._next = (place + 1) % COLOURS
        return bytes((NEW, colour >> 8, colour & 0xFF))


def codes(new: bytes, old: bytes, width: int, colours: Colours) -> Iterator[bytes]:
    """Yield the codes that turn one rectangle of pixels into another; each code must stay whole.

    What stays, runs on or repeats the row above longest is taken; a pixel that does none of these is a colour.

    Args:
        new, old: RGB565, two bytes a pixel with the high one first, row by row.
        width: pixels in a row.
        colours: changed on the way; the codes have to arrive in this order.
    """
    want, difference = _pixels(new), _difference(new, old)
    above, last = [BLACK] * width, BLACK
    at, end = 0, len(difference.rstrip(b"\0")) + 1 >> 1  # nothing need be said of what stays at the end
    while at < end:
        stays = runs = repeats = at
        if not (difference[2 * at] or difference[2 * at + 1]):
            stays = _end_of_same(difference, at)
        # neither of the others is longer unless it goes on where pixels no longer stay
        if want[stays] == last:
            while runs < end and want[runs] == last:
                runs += 1
        if want[stays] == above[stays % width]:
            while repeats < end and want[repeats] == above[repeats % width]:
                repeats += 1
        longest = max(stays, runs, repeats)
        if longest == at:
            last = above[at % width] = want[at]
            yield colours.code(last)
            at += 1
            continue
        kind = SKIP if stays == longest else RUN if runs == longest else UP
        if kind == RUN:
            for place in range(at, min(longest, at + width)):
                above[place % width] = last
        elif kind == UP:
            last = want[longest - 1]
        if longest - at <= MOST_SHORT:
            yield _BYTES[kind + longest - at - 1]
        else:
            yield from _long(LONG[kind], longest - at)
        at = longest


def _pixels(data: bytes) -> array[int]:
    pixels = array("H", data)
    if array("H", b"\0\1")[0] != 1:
        pixels.byteswap()
    return pixels


def _difference(new: bytes, old: bytes) -> bytes:
    """Return zeros where two stretches are alike."""
    return (int.from_bytes(new, "big") ^ int.from_bytes(old, "big")).to_bytes(len(new), "big")


def _end_of_same(difference: bytes, at: int) -> int:
    """Return the first pixel from one on that is not alike."""
    found = _SAME.match(difference, 2 * at)
    return found.end() // 2 if found else at


def _long(code: int, count: int) -> Iterator[bytes]:
    while count > 0:
        part = min(count, MOST_LONG)
        yield bytes((code,)) + (part - 1).to_bytes(2, "big")
        count -= part

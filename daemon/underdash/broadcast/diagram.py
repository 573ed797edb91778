"""Where fields sit in a frame, as a diagram: a row a byte, its most significant bit left, a letter a field.

Bytes run downwards and bits from 7 to 0, as in tables of the trade.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_lowercase, ascii_uppercase

from ..contract.layout import Bits, BroadcastListener
from .bits import place_of

LETTERS = ascii_lowercase + ascii_uppercase
NOBODY, SEVERAL = "·", "*"


@dataclass(frozen=True, slots=True)
class Part:
    """A field, counter, checksum or multiplexer: its letter, what it is called, and its bits (8 * byte + bit)."""

    letter: str
    name: str
    bits: frozenset[int]
    number: int


@dataclass(frozen=True, slots=True)
class Diagram:
    """The parts of a frame, and the letter of each bit: `rows[byte][7 - bit]`."""

    parts: tuple[Part, ...]
    rows: tuple[str, ...]


def diagram(listeners: Sequence[BroadcastListener], length: int | None = None) -> Diagram:
    """Draw all that is known of one frame.

    Args:
        listeners: to one frame.
        length: bytes it has; None means as many as its parts need.
    """
    named: list[tuple[str, Bits]] = []
    for listener in listeners:
        named += [(field.signal, field.bits) for field in listener.fields]
        named += [("selects what is in it", field.select.bits) for field in listener.fields if field.select is not None]
        if listener.counter is not None:
            named.append(("counter", listener.counter.bits))
        if listener.checksum is not None:
            named.append((f"checksum {listener.checksum.kind}", listener.checksum.bits))
    named = list(dict.fromkeys(named))
    parts = tuple(Part(LETTERS[at % len(LETTERS)], name, bits_of(bits), at) for at, (name, bits) in enumerate(named))
    needed = max((bit // 8 + 1 for part in parts for bit in part.bits), default=0)
    rows = tuple(
        "".join(_letter(parts, 8 * byte + bit) for bit in range(7, -1, -1)) for byte in range(max(needed, length or 0))
    )
    return Diagram(parts, rows)


def bits_of(bits: Bits) -> frozenset[int]:
    """Return the numbers of a field's bits, 8 * byte + bit (0 is the least significant)."""
    place = place_of(bits)
    width = place.last - place.first + 1
    run = int.from_bytes((place.mask << place.shift).to_bytes(width, place.order), "little") << 8 * place.first
    return frozenset(bit for bit in range(run.bit_length()) if run >> bit & 1)


def _letter(parts: Sequence[Part], bit: int) -> str:
    there = [part.letter for part in parts if bit in part.bits]
    return NOBODY if not there else there[0] if len(there) == 1 else SEVERAL

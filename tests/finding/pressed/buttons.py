"""A bus with a button, made for tests."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from underdash.bus.frames import Frame
from underdash.finding.heard import Heard
from underdash.finding.marks import Mark
from underdash.finding.reading import heard_from

BEGIN = 100.0


def times(
    count: int, *, seed: int = 1, first: float = BEGIN + 5.0, apart: tuple[float, float] = (3.0, 7.0)
) -> list[float]:
    """Presses at irregular intervals."""
    random = np.random.default_rng(seed)
    return [first, *(first + np.cumsum(random.uniform(*apart, count - 1))).tolist()]


def late(
    presses: Sequence[float], word: str = "menu", *, seed: int = 1, by: tuple[float, float] = (0.0, 0.6)
) -> list[Mark]:
    """Marks as a person sets them."""
    random = np.random.default_rng(seed)
    return [Mark(at + float(random.uniform(0.0, 0.6)), word) for at in presses]


def traffic(
    presses: Sequence[float], *, seconds: float = 60.0, seed: int = 1, period_s: float = 0.02, lag_s: float = 0.08,
    hold_s: float = 0.3,
) -> Iterator[tuple[str, Frame]]:  # fmt: skip
    """Yield a button (2C1, byte 2, bits 4 and 5: 0, or 2 while it is held) among other traffic.

    ``550`` byte 0 bit 0 follows the button by `lag_s`; ``3A0`` has a number that wanders and a lamp that blinks now and
    then; ``3B0`` a counter of four bits, one a second, and a sum.
    """
    random = np.random.default_rng(seed)
    number, lamp = 500, 0
    for n in range(int(seconds / period_s)):
        at = BEGIN + n * period_s
        down = any(press <= at < press + hold_s for press in presses)
        yield "comfort", Frame(0x2C1, bytes([0x10, 0, 0x20 if down else 0, n & 0xFF]), at=at)
        after = any(press <= at - lag_s < press + hold_s for press in presses)
        yield "comfort", Frame(0x550, bytes([after, 0xFF]), at=at + 0.004)
        number += int(random.integers(-2, 3))
        lamp ^= int(random.random() < 0.004)
        yield "comfort", Frame(0x3A0, number.to_bytes(2, "big") + bytes([lamp << 6]), at=at + 0.006)
        body = bytes([n // 50 & 0x0F, 7])
        yield "comfort", Frame(0x3B0, body + bytes([sum(body) & 0xFF]), at=at + 0.008)


def car(presses: Sequence[float], **options: float) -> Heard:
    """The same as columns."""
    return heard_from(traffic(presses, **options))  # type: ignore[arg-type]

"""How frames of one id come: at a period, when something in them changes, or both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..heard import Flags, Floats, Stream

NEAR = 0.5
"""A gap counts as one period if it differs from it by less than this share."""
PERIODIC, PARTLY = 0.85, 0.4
"""Share of the gaps near one period from which on an id is sent at it, or also at it."""
TELLING, QUIET = 0.8, 0.5
"""Share of the frames out of turn that bring something new, from which on they are sent because of it; and of those in
turn, up to which this says anything."""
FEWEST = 5
BREAK = 10.0
"""A gap of so many periods is a pause of the sender, not its rhythm."""


@dataclass(frozen=True, slots=True)
class Rhythm:
    """How an id is sent.

    Attributes:
        manner: ``periodic``, ``on change``, ``mixed`` (at a period, and at once on change), ``irregular``, ``seldom``.
        period_s: seconds from frame to frame where there is a period.
        jitter_s: how far four gaps in five stay from it at most.
        lengths: bytes of the frames with how many frames have them, the commonest first.
    """

    manner: str
    period_s: float | None
    jitter_s: float | None
    lengths: tuple[tuple[int, int], ...]

    def __str__(self) -> str:
        """Say it in words: ``every 20 ms (jitter 0.4 ms)``."""
        if self.period_s is None or self.jitter_s is None:
            return {"on change": "on change", "seldom": "too seldom for a rhythm"}.get(self.manner, "irregularly")
        told = f"every {_ms(self.period_s)} (jitter {_ms(self.jitter_s)})"
        return told + (" and at once on change" if self.manner == "mixed" else "")


def rhythm(stream: Stream, own: Flags | None = None) -> Rhythm:
    """Work out how an id is sent.

    Args:
        stream: its frames.
        own: bits that move by themselves (counters, checksums) and are no change, shape (8 * width,).
    """
    counts = np.bincount(stream.length)
    lengths = tuple(sorted(((int(n), int(counts[n])) for n in np.flatnonzero(counts)), key=lambda one: -one[1]))
    gaps = np.diff(stream.at)
    if len(gaps) < FEWEST - 1:
        return Rhythm("seldom", None, None, lengths)
    period = _period(gaps)
    near = np.abs(gaps - period) <= NEAR * period
    counted = gaps <= BREAK * period
    regular = float(near[counted].mean()) if counted.any() else 0.0
    news = _news(stream, own)
    jitter = float(np.quantile(np.abs(gaps[near] - period), 0.8)) if near.any() else 0.0
    if period > 0.0 and regular >= PARTLY:
        early = counted & ~near & (gaps < period)
        extra = regular < PERIODIC and early.any() and float(news[early].mean()) >= TELLING
        manner = "mixed" if extra and float(news[near].mean()) <= QUIET else "periodic"
        return Rhythm(manner, period, jitter, lengths)
    if float(news.mean()) >= TELLING:
        return Rhythm("on change", None, None, lengths)
    return Rhythm("irregular", None, None, lengths)


def _period(gaps: Floats) -> float:
    """The commonest gap: the middle of the densest tenth part of the gaps, the longer one where two are alike."""
    ordered = np.sort(gaps)
    part = max(2, len(ordered) // 4)
    if len(ordered) <= part:
        return float(np.median(ordered))
    spread = ordered[part:] / np.maximum(ordered[:-part], 1e-9)
    first = len(spread) - 1 - int(spread[::-1].argmin())
    return float(np.median(ordered[first : first + part + 1]))


def _news(stream: Stream, own: Flags | None) -> Flags:
    """Whether each frame but the first differs from the one before in what may mean something."""
    changed = stream.data[1:] ^ stream.data[:-1]
    if own is not None:
        changed = changed & ~np.packbits(own, bitorder="little")
    other = stream.length[1:] != stream.length[:-1]
    news: Flags = (changed != 0).any(axis=1) | other
    return news


def _ms(seconds: float) -> str:
    if seconds < 1e-6:
        return "0 ms"
    return f"{seconds:.3g} s" if seconds >= 1.0 else f"{1000.0 * seconds:.3g} ms"

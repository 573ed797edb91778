"""What a place held over time, in whatever coding and under whatever multiplexer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..broadcast.bits import number, place_of
from ..contract.layout import Coding, Select
from .found import Where
from .heard import Flags, Floats, Heard, Stream


@dataclass(frozen=True)
class Series:
    """Numbers over time.

    Attributes:
        at: seconds, never decreasing, shape (frames,).
        value: raw numbers, not a number where the bits spell none, shape (frames,).
        period_s: median time between frames; None with fewer than three.
    """

    at: Floats
    value: Floats
    period_s: float | None = None

    def __len__(self) -> int:
        return len(self.at)


def series_of(heard: Heard, where: Where) -> Series | None:
    """Read a place; frames too short for it, or of another multiplexer value, are left out.

    Where the frames' coming is meant, each reads 1.

    Returns:
        None where no frame holds it.
    """
    stream = heard.stream(where.bus, where.id, where.extended)
    if stream is None or place_of(where.bits).last >= stream.width:
        return None
    if where.comes:
        return Series(stream.at, np.ones(len(stream)), stream.period_s)
    there = stream.length > place_of(where.bits).last
    there &= selected(stream, where.select)
    if not there.any():
        return None
    at = stream.at[there]
    return Series(at, _numbers(stream, where)[there], float(np.median(np.diff(at))) if len(at) >= 3 else None)


def selected(stream: Stream, select: Select | None) -> Flags:
    """Say which frames a multiplexer's condition holds for, shape (frames,)."""
    flags = np.ones(len(stream), dtype=bool)
    while select is not None:
        if place_of(select.bits).last >= stream.width:
            return np.zeros(len(stream), dtype=bool)
        flags &= np.isin(stream.raw(select.bits), select.values)
        select = select.within
    return flags


def _numbers(stream: Stream, where: Where) -> Floats:
    if where.coding in (Coding.UNSIGNED, Coding.SIGNED) and where.bits.length < 64:
        return stream.raw(where.bits, signed=where.coding is Coding.SIGNED).astype(np.float64)
    read = number(where.bits, where.coding)
    rows, inverse = np.unique(stream.data, axis=0, return_inverse=True)
    spelt = [read(row.tobytes()) for row in rows]
    return np.array([np.nan if one is None else one for one in spelt], dtype=np.float64)[inverse.reshape(-1)]

"""Small fields under a multiplexer: bits that mean something only in those frames whose selector has one value.

Such a bit reads otherwise from frame to frame, and lies still where only the frames of one content are looked at. So it
is looked for there, and no longer in all frames. What selects is believed where the contents differ as those of a
multiplexer do, or where the bit itself moves under one value only and never under any other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from ...contract.layout import Bits, Select
from ..heard import Bytes, Flags, Integers, Stream
from ..layout.multiplex import multiplexer_of
from ..layout.protection import Protection
from ..like.lanes import CALMER, selectors
from ..numbering import Numbering
from ..small import Small, small_fields

FEWEST_CONTENTS, MOST_SHARE = 3, 0.5
"""What answers in more than this share of so many contents, or of more, is a sum over something else that answers."""


@dataclass(frozen=True)
class _Contents:
    """The frames of one id, sorted by what a selector reads.

    Attributes:
        bits: the selector.
        value: what it reads in each frame, shape (frames,).
        flags: for each of its values which bits of the payload belong to that content.
    """

    bits: Bits
    value: Integers
    flags: dict[int, Flags]


def fields_of(
    stream: Stream, begin: float, most: int, protection_of: Callable[[Stream], Protection]
) -> Iterator[Small]:
    """Yield the small fields of one id, those under a multiplexer with its condition.

    Args:
        stream: the id's frames.
        begin: seconds of the trace's first frame.
        most: changes a field may have.
        protection_of: tells the counters and the checksum of an id.
    """
    found = _contents(stream, protection_of) if 0 < stream.width <= Numbering.MOST_BYTES else None
    if found is None:
        yield from small_fields(stream, begin, most)
        return
    everywhere = ~np.logical_or.reduce([*found.flags.values()])
    for one in small_fields(_only(stream, everywhere), begin, most):
        if _whole(one, everywhere):
            yield replace(one, stream=stream)
    for value, flags in found.flags.items():
        part = _only(stream, flags, found.value == value)
        for one in small_fields(part, begin, most):
            if not one.comes and _whole(one, flags):
                yield replace(one, stream=stream, select=Select(found.bits, (value,)))


def _whole(one: Small, flags: Flags) -> bool:
    """Whether all bits belong there of a byte whose levels were read."""
    return not one.ranges or bool(flags[8 * one.bits.byte : 8 * one.bits.byte + 8].all())


def sums(answering: Iterable[Small]) -> set[str]:
    """Return the ids of which most contents answer: sums by an unknown rule, whose counter looks like a selector.

    Args:
        answering: all fields for which marks speak.
    """
    answers: dict[str, set[tuple[int, ...]]] = {}
    contents: dict[str, int] = {}
    for one in answering:
        if one.select is not None:
            name = str(one.stream)
            answers.setdefault(name, set()).add(one.select.values)
            if name not in contents:
                contents[name] = len(np.unique(one.stream.raw(one.select.bits)))
    return {
        name for name, count in contents.items()
        if count >= FEWEST_CONTENTS and len(answers[name]) > MOST_SHARE * count
    }  # fmt: skip


def _contents(stream: Stream, protection_of: Callable[[Stream], Protection]) -> _Contents | None:
    """Return the contents of an id's frames; None where each frame carries the same."""
    rough = selectors(stream)
    if not rough:
        return None
    sure = multiplexer_of(stream, protection_of(stream))
    if sure is not None:
        value = stream.raw(sure.bits)
        flips, within = _flips(stream, value)
        flags = _calmer(flips, within)
        return _Contents(sure.bits, value, dict.fromkeys(sure.values, flags)) if flags.any() else None
    for bits, value in rough:
        flips, within = _flips(stream, value)
        flags = _calmer(flips, within) & ((within > 0).sum(axis=0) == 1)
        if flags.any():
            values = np.unique(value).tolist()
            own = {one: flags & (within[place] > 0) for place, one in enumerate(values)}
            place = Bits(bits.byte, bits.length, (bits.bit or 0) + bits.length - 1)
            return _Contents(place, value, {one: some for one, some in own.items() if some.any()})
    return None


def _flips(stream: Stream, value: Integers) -> tuple[Integers, Integers]:
    """Count how often each bit changes: from frame to frame, and within each content, shape (contents, bits)."""
    order = np.argsort(value, kind="stable")
    first = np.concatenate([[0], np.flatnonzero(np.diff(value[order])) + 1])
    whole, within = [], []
    for byte in range(stream.width):
        column = stream.data[:, byte]
        whole.append(_by_bit(column[1:] ^ column[:-1]).sum(axis=0, dtype=np.int64))
        column = column[order]
        flips = np.concatenate([[0], column[1:] ^ column[:-1]]).astype(np.uint8)
        flips[first] = 0
        within.append(np.add.reduceat(_by_bit(flips), first, axis=0, dtype=np.int64))
    return np.concatenate(whole), np.concatenate(within, axis=1)


def _by_bit(column: Bytes) -> Bytes:
    return np.unpackbits(column[:, None], axis=1, bitorder="little")


def _calmer(flips: Integers, within: Integers) -> Flags:
    """Say which bits are calmer within contents than from frame to frame, and so belong to one of them."""
    found: Flags = (flips > 0) & (within.sum(axis=0) <= CALMER * flips)
    return found


def _only(stream: Stream, flags: Flags, rows: Flags | None = None) -> Stream:
    """Return some frames of a stream, with only those bits of their payloads."""
    data = stream.data & np.packbits(flags, bitorder="little")
    if rows is None:
        return replace(stream, data=data)
    return replace(stream, at=stream.at[rows], length=stream.length[rows], data=data[rows])

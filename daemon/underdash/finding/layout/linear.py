"""Bytes that are worked out from the rest of the frame by exclusive-or alone, whatever the rule: any CRC is.

Each bit of a CRC is an exclusive-or of bits of the frame and a constant; which of them, follows from the recording by
elimination, without a polynomial or a start value. What a frame adds beside its bytes (an identifier, before or behind
them; AUTOSAR E2E, profiles 1 and 2) only changes the constant; where there is a list of identifiers, by the counter.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..heard import Bytes, Flags, unpacked

CHECKED = 12
"""Payloads that must come out right beyond those it takes to know the rule: by chance one of 256 each would."""
FLIPS = (0.3, 0.7)
"""How often the bits of a CRC flip from one payload to another: half the time on average."""
MIRRORED = 2
"""Bits of a byte that may each repeat one other bit; where more do, a value is told twice."""


def follows_linearly(rows: Bytes, byte: int, count: Sequence[int] = ()) -> bool:
    """Say whether a byte is worked out by exclusive-or from the rest, and mixes it as a checksum does.

    Args:
        rows: different payloads in the order they came, shape (payloads, bytes).
        byte: which byte.
        count: the bits of the frame's counter, numbered ``8 * byte + bit``; the constant may depend on it.
    """
    bits = unpacked(rows)
    own, others = bits[:, 8 * byte : 8 * byte + 8], np.delete(bits, np.s_[8 * byte : 8 * byte + 8], axis=1)
    flips = (own[1:] != own[:-1]).mean(axis=0) if len(rows) > 1 else np.zeros(8)
    if not (flips.all() and FLIPS[0] <= flips.mean() <= FLIPS[1]):
        return False
    others = others[:, (others != others[:1]).any(axis=0)]
    apart = (own[:, :, None] != others[:, None, :]).mean(axis=0)
    if int(((apart == 0) | (apart == 1)).any(axis=1).sum()) > MIRRORED:
        return False
    if _holds(own, others):
        return True
    return len(count) > 0 and _holds(own, np.concatenate((others, _one_of(bits[:, list(count)])), axis=1))


def _one_of(count: Bytes) -> Bytes:
    """A column for each value of the counter: 1 where it reads that."""
    value = count @ (1 << np.arange(count.shape[1]))
    columns: Flags = value[:, None] == np.unique(value)
    return columns.astype(np.uint8)


def _holds(own: Bytes, others: Bytes) -> bool:
    """Whether exclusive-or of some columns and a constant gives all of `own`, on more rows than that takes."""
    size = others.shape[1] + 1
    known: dict[int, int] = {}
    checked = 0
    ones = np.ones((len(own), 1), dtype=np.uint8)
    for packed in np.packbits(np.concatenate((own, ones, others), axis=1), axis=1):
        row = int.from_bytes(packed.tobytes()) >> (-(size + 8) % 8)
        while (rest := row & (1 << size) - 1) and (first := rest.bit_length()) in known:
            row ^= known[first]
        if rest:
            known[first] = row
        elif row:
            return False
        else:
            checked += 1
    return checked >= CHECKED

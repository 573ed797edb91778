"""Kernel filters from what is registered (linux/can/raw.h), so that unwanted frames never wake the process.

A filter passes a frame if ``received & mask == id & mask``. The mask has the extended and the remote flag in it: a
mask of 0x7FF alone would also pass 29-bit ids that end the same way. Frames queued before a change still arrive, so
the table has the last word.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable

from .frames import EXTENDED, REMOTE

MOST_FILTERS = 512
"""The kernel takes no more on one socket (CAN_RAW_FILTER_MAX)."""

_STANDARD_MASK = 0x7FF | EXTENDED | REMOTE
_EXTENDED_MASK = 0x1FFF_FFFF | EXTENDED | REMOTE

Filters = tuple[tuple[int, int], ...]

PASS_ALL: Filters = ((0, 0),)


def exact(keys: Iterable[int] | None) -> Filters:
    """Return (id, mask) pairs that pass data frames of these keys and nothing else.

    None, or more keys than the kernel takes, passes everything; no key at all passes nothing.
    """
    if keys is None:
        return PASS_ALL
    wanted = sorted({key for key in keys if 0 <= key < 1 << 32})  # no frame has another one
    if len(wanted) > MOST_FILTERS:
        return PASS_ALL
    return tuple((key, _EXTENDED_MASK if key & EXTENDED else _STANDARD_MASK) for key in wanted)


def packed(filters: Filters) -> bytes:
    """Write filters as an array of struct can_filter."""
    return b"".join(struct.pack("=II", can_id, mask) for can_id, mask in filters)


def passes(filters: Filters, can_id: int) -> bool:
    """Say whether an id with its flags would pass, by the kernel's rule; for ports that filter by themselves."""
    return any(can_id & mask == wanted & mask for wanted, mask in filters)

"""Whether requests end in a checksum: told, since a format of a description has no part for one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..heard import Bytes, Integers
from .one_frame_pairs import as_numbers

LEAST_DIFFERENT = 3
"""Values that it takes at least; of fewer any byte can be computed."""


def checksum_of(requests: Bytes, columns: Sequence[int]) -> str | None:
    """Say which byte of requests is computed from those before it, and how; None where none is.

    Args:
        requests: payloads, shape (rows, width).
        columns: bytes that move and that no answer repeats, ascending.
    """
    different = requests[np.unique(as_numbers(requests), return_index=True)[1]].astype(np.int64)
    for column in reversed(columns):
        if len(np.unique(different[:, column])) < LEAST_DIFFERENT:
            continue
        for first in (0, 1):
            before, check = different[:, first:column], different[:, column]
            moves = bool((before != before[:1]).any())
            how = _how(before, check) if moves else ""
            if how:
                return f"byte {column} of its requests is a checksum ({how} of bytes {first} to {column - 1})"
    return None


def _how(before: Integers, check: Integers) -> str:
    """Return the arithmetic, which may have a constant added; "" for none."""
    tried = {
        "exclusive or": np.bitwise_xor.reduce(before, axis=1) ^ check,
        "sum": (check - before.sum(axis=1)) & 0xFF,
        "negative sum": (check + before.sum(axis=1)) & 0xFF,
    }
    return next((name for name, rest in tried.items() if len(np.unique(rest)) == 1), "")

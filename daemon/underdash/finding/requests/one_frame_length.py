"""How long requests and replies really are behind their padding, and which byte counts them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...diagnostics.isotp import FRAME_BYTES
from ..heard import Bytes, Flags, Integers

LEAST_AGREE = 0.5
"""Of the identifiers so many show the length that the count says; others end in a byte that looks like padding."""
PADDINGS = (0x00, 0xAA, 0x55, 0xFF, 0xCC)
"""What frames are usually filled with (common practice)."""
NIBBLE = 0x0F


@dataclass(frozen=True)
class Lengths:
    """Bytes in front of the padding.

    Attributes:
        request: at least so many.
        request_most: and at most.
        ends: of the replies to each identifier, at least so many; exact where frames are not padded.
        groups: the rows of each identifier.
        exact: frames are not padded.
        padding: what requests are filled with, None where they are not.
    """

    request: int
    request_most: int
    ends: tuple[int, ...]
    groups: tuple[Flags, ...]
    exact: bool
    padding: int | None


def lengths_of(
    requests: Bytes, request_lengths: Integers, replies: Bytes, reply_lengths: Integers, groups: Sequence[Flags]
) -> Lengths:
    """Find how long they are: by their frames where those are short, else by what they are filled with."""
    exact = bool((reply_lengths < FRAME_BYTES).any())
    short = bool((request_lengths < FRAME_BYTES).all())
    most = int(request_lengths.max())
    padding = None if short else int(requests[0, -1])
    request = most if short else _end(requests, most, padding)
    if exact:
        ends = [int(np.bincount(reply_lengths[group]).argmax()) for group in groups]
    else:
        fill = _fill(replies, groups)
        ends = [_end(replies[group], replies.shape[1], fill) for group in groups]
    if padding is not None and request == most:
        padding = None
    return Lengths(request, most, tuple(ends), tuple(groups), exact, padding)


def _end(data: Bytes, width: int, fill: int | None) -> int:
    """Return how many bytes there are up to the last one that is ever another than the padding."""
    used = np.flatnonzero((data[:, :width] != fill).any(axis=0)) if fill is not None else np.array([width - 1])
    return int(used[-1]) + 1 if len(used) else 0


def _fill(replies: Bytes, groups: Sequence[Flags]) -> int | None:
    """Return what replies are filled with: what the last byte is in most groups that have it constant."""
    last = [replies[group, -1] for group in groups]
    constants = [int(values[0]) for values in last if (values == values[0]).all()]
    usual = [value for value in constants if value in PADDINGS]
    return max(set(usual), key=usual.count) if usual else None


def count_of(lengths: Lengths, replies: Bytes, requests: Bytes, column: int) -> int | None:
    """Return from what a byte of the replies counts the bytes behind it, None if it is no count.

    The count of a reply is what it counts from plus the bytes that follow. Where lengths are only known from below,
    it counts from as much as is possible; most identifiers have to agree with that.
    """
    counts = [np.bincount(replies[group, column]) for group in lengths.groups]
    if any(often.max() < often.sum() * 0.9 for often in counts):
        return None
    said = np.array([int(often.argmax()) for often in counts])
    behind = np.array(lengths.ends) - column - 1
    above = (said - behind) & 0xFF
    base = _smallest(above)
    agree = float(np.mean(above == base))
    if len(np.unique(said)) > 1:
        fits = bool(((said - base & 0xFF) < FRAME_BYTES).all())
        return base if fits and agree >= (1.0 if lengths.exact else LEAST_AGREE) else None
    # all answers are as long as each other: the request has to count alike
    if column >= requests.shape[1]:
        return None
    asked = int(requests[0, column])
    if (requests[:, column] != asked).any():
        return None
    request_behind = asked - base & 0xFF
    least, most = lengths.request - column - 1, lengths.request_most - column - 1
    if agree < LEAST_AGREE or not least <= request_behind <= most:
        return None
    differs = asked != said[0]
    plain = base & NIBBLE == 0 or base == 1
    return base if differs or plain else None


def _smallest(above: Integers) -> int:
    """Return the smallest of numbers modulo 256 that lie near each other."""
    signed = ((above - above[0] + 0x80) & 0xFF) - 0x80
    return int((above[0] + signed.min()) & 0xFF)

"""A first look at all pairs of ids at once: may the one repeat what the other asks?

With hundreds of ids there are ten thousand pairs, of which hardly one is a tester and a unit. A unit repeats what was
asked nearly every time; a pair that does not come near that in a few answers, spread over those by which pairs are
judged, is not looked at further.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...diagnostics.isotp import FRAME_BYTES
from ...diagnostics.negative import NEGATIVE
from ..heard import Flags, Integers, Stream

SAMPLED = 64
"""Answers of a span that are looked at; where nine in ten repeat, too few of them show it once in 7000 times."""
NEAR = 0.75
"""Share of them from which on the pair is judged by all of its answers."""
FEW = 16
"""Fewer than that, without refusals, show nothing: the pair is judged."""
REFUSED_IN = 4
"""Bytes at the front in which a refusal would stand."""


class FirstLook:
    """A few frames of each id.

    Args:
        streams: ids on one bus.
        spans: of how many first frames of an id samples are taken, a sample each.
        look_back: how many requests before an answer it may belong to.
    """

    def __init__(self, streams: Sequence[Stream], spans: Sequence[int], look_back: int) -> None:
        self._back = np.arange(look_back)
        shape = len(streams), len(spans), SAMPLED
        self._at = np.zeros(shape)
        self._data = np.zeros((*shape, FRAME_BYTES), dtype=np.uint8)
        for number, stream in enumerate(streams):
            for place, span in enumerate(spans):
                rows = np.linspace(0, min(span, len(stream)) - 1, SAMPLED).astype(np.int64)
                self._at[number, place] = stream.at[rows]
                self._data[number, place, :, : stream.width] = stream.data[rows]
        self._plain = ~(self._data[..., :REFUSED_IN] == NEGATIVE).any(axis=-1)

    def repeating(self, to: Stream, columns: Sequence[int]) -> Flags:
        """Say of each id whether it may repeat one of these bytes of the latest requests, shape (ids,)."""
        found = (self._plain.sum(axis=-1) < FEW).any(axis=-1)
        latest = np.searchsorted(to.at, self._at, side="right") - 1
        recent: Integers = np.maximum(latest[..., None] - self._back, 0)
        plain = self._plain[..., None]
        counted = np.maximum(self._plain.sum(axis=-1), 1)[..., None]
        for column in columns:
            asked = to.data[:, column][recent]
            same = (asked[..., None] == self._data[..., None, :]).any(axis=-2) & plain
            found |= (same.sum(axis=-2) >= NEAR * counted).any(axis=(-1, -2))
        return np.asarray(found, dtype=bool)

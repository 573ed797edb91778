"""Frames that are no ISO-TP on ids that speak it: looked at as a maker's format, and told where they are none."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from ..heard import Heard, Stream
from ..lacks import counted
from .beginnings import fits
from .maker import Maker
from .maker_rest import examples, kept
from .senders import Sender


def strays_of(heard: Heard, senders: Iterable[Sender]) -> list[Stream]:
    """Return what these senders' ids carry beside ISO-TP."""
    spoken: dict[tuple[str, int, bool], set[int]] = {}
    for one in senders:
        spoken.setdefault((one.bus, one.id, one.extended), set()).add(0 if one.prefix is None else 1)
    found = []
    for (bus, can_id, extended), starts in spoken.items():
        stream = heard.stream(bus, can_id, extended)
        if stream is not None:
            strange = ~np.logical_or.reduce([fits(stream, start) for start in starts])
            found.append(kept(stream, strange))
    return [one for one in found if one is not None]


def told_of(strays: Sequence[Stream], formats: Sequence[Maker]) -> list[str]:
    """Say what of it is in no maker's format either."""
    ends = {(end.bus, end.id, end.extended) for one in formats for end in (one.to, one.by)}
    return [
        f"{counted(len(one), 'frame')} of {one} beside ISO-TP, not understood: {examples(one)}"
        for one in strays
        if (one.bus, one.id, one.extended) not in ends
    ]

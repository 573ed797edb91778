"""Bits that move for a frame's own protection, which no press moves: counters and checksums of the ids asked about."""

from __future__ import annotations

from dataclasses import replace

from ...contract.layout import Select
from ..heard import Flags, Stream
from ..layout.counters import counters
from ..layout.multiplex import without_toggles
from ..layout.protection import Protection, protection_of
from ..series import selected
from ..small import Small, steady


class Moving:
    """The counters and checksums of ids, each worked out once, when it is asked about."""

    def __init__(self) -> None:
        self._protections: dict[str, Protection] = {}
        self._bits: dict[tuple[str, Select | None], Flags] = {}

    def protection(self, stream: Stream) -> Protection:
        """Return what an id carries to protect itself."""
        name = str(stream)
        if name not in self._protections:
            self._protections[name] = protection_of(stream)
        return self._protections[name]

    def within(self, small: Small) -> bool:
        """Whether a bit of the field moves for their sake."""
        key = str(small.stream), small.select
        if key not in self._bits:
            self._bits[key] = self._flags(small.stream, small.select)
        return any(self._bits[key][bit] for bit in small.active())

    def _flags(self, stream: Stream, select: Select | None) -> Flags:
        found = self.protection(stream)
        if select is not None:  # contents that take turns look like counters, so only what counts within one is one
            rows = selected(stream, select)
            stream = replace(stream, at=stream.at[rows], length=stream.length[rows], data=stream.data[rows])
            found = replace(found, counts=counters(stream))
        if not steady(stream):  # a button that is sent on change only flips its bit with every frame
            found = without_toggles(found)
        return found.bits(stream)

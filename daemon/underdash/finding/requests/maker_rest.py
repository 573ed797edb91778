"""What is left of two ids beside the exchanges that formats explain, so that none of it is passed over in silence."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ..heard import Flags, Stream
from ..lacks import counted
from .asked import Exchange
from .maker import Maker
from .messages import Message, message_of
from .one_frame_pairs import as_numbers

MOST_KINDS = 3
"""Kinds of frames of which an example is told."""


@dataclass(slots=True)
class Rest:
    """Frames of two ids that no format explains.

    Attributes:
        to, by: those frames, None where there is none.
        silent: requests that a format spells and nobody answered, each with its format.
        alone: answers that a format reads, and that no request stands before.
        about: how many frames there are in all.
    """

    to: Stream | None
    by: Stream | None
    silent: list[tuple[Maker, Message]] = field(default_factory=list)
    alone: Stream | None = None
    about: int = 0

    def add_to(self, formed: Sequence[Maker]) -> None:
        """Add the requests without an answer to their formats, and tell of the rest with the first one."""
        for maker, request in self.silent:
            maker.exchanges.append(Exchange(maker.to, maker.by, request))
        for maker in formed:
            maker.exchanges.sort(key=lambda each: each.request.at if each.request is not None else 0.0)
        formed[0].remarks += self.sentences(formed)

    def sentences(self, formed: Sequence[Maker]) -> list[str]:
        """Say how many there are, with examples."""
        found = []
        to, by = formed[0].to, formed[0].by
        if self.alone is not None:
            found.append(
                f"{counted(len(self.alone), 'further answer')} on {by} with no request before "
                f"{'it' if len(self.alone) == 1 else 'them'} that has none yet: a request was lost, or one asks for "
                f"several; {examples(self.alone)}"
            )
        left = [
            f"{len(stream)} of {sender} ({examples(stream)})"
            for stream, sender in ((self.to, to), (self.by, by))
            if stream is not None
        ]
        if left:
            number = sum(len(stream) for stream in (self.to, self.by) if stream is not None)
            found.append(f"{number} of {self.about} frames on its ids are not understood: {'; '.join(left)}")
        return found


def rest_of(to: Stream, by: Stream, formed: Sequence[Maker]) -> Rest:
    """Sort out what on two ids is neither asked nor answered in one of the formats."""
    taken = {one.request.at for maker in formed for one in maker.exchanges if one.request is not None}
    given = {one.answer.at for maker in formed for one in maker.exchanges if one.answer is not None}
    asked, said = np.isin(to.at, list(taken)), np.isin(by.at, list(given))
    spelt = _rows(to, ~asked, lambda data: any(maker.spells(data) for maker in formed))
    read = _rows(by, ~said, lambda data: any(_reads(maker, data) for maker in formed))
    rest = Rest(kept(to, ~asked & ~spelt), kept(by, ~said & ~read), about=len(to) + len(by))
    rest.alone = kept(by, ~said & read)
    for row in np.flatnonzero(~asked & spelt).tolist():
        message = message_of(to, row)
        rest.silent.append((next(maker for maker in formed if maker.spells(message.data)), message))
    return rest


def _reads(maker: Maker, data: bytes) -> bool:
    return any(maker.said(address, data) is not None for address in maker.units)


def _rows(stream: Stream, rows: Flags, good: Callable[[bytes], bool]) -> Flags:
    """Return which of some rows hold a frame that is good; each frame is asked about once."""
    found = np.zeros(len(stream), dtype=bool)
    known: dict[bytes, bool] = {}
    for row in np.flatnonzero(rows).tolist():
        data = message_of(stream, row).data
        if data not in known:
            known[data] = good(data)
        found[row] = known[data]
    return found


def kept(stream: Stream, rows: Flags) -> Stream | None:
    """Return some frames of a stream, None where that is none."""
    if not rows.any():
        return None
    return replace(stream, at=stream.at[rows], length=stream.length[rows], data=stream.data[rows])


def examples(stream: Stream) -> str:
    """Write an example of each kind: of frames that are alike in their first bytes, those that come most often."""
    alike = as_numbers(stream.data[:, : _telling(stream)])
    kinds, first, times = np.unique(alike, return_index=True, return_counts=True)
    order = np.argsort(-times, kind="stable")[:MOST_KINDS].tolist()
    told = [f"{times[n]} like {message_of(stream, int(first[n])).data.hex(' ').upper()}" for n in order]
    return ", ".join(told) + (f", and {len(kinds) - len(order)} kinds more" if len(kinds) > len(order) else "")


def _telling(stream: Stream) -> int:
    """Return how many bytes at the front tell kinds of frames apart: as long as few are different."""
    width = 1
    while width < stream.width and len(np.unique(as_numbers(stream.data[:, : width + 1]))) <= MOST_KINDS:
        width += 1
    return width


def unexplained(pairing: Iterable[Stream]) -> str:
    """Say what is sent on ids whose format could not be worked out."""
    return "; ".join(f"{len(stream)} of {stream.name} ({examples(stream)})" for stream in pairing)

"""Who may speak ISO 15765-2, told by whole columns at once, before anything is put together frame by frame.

Every message begins with a single or a first frame, whose bytes say which service it asks for or answers. Of hundreds
of ids that read as ISO-TP by chance only those are left that somebody else could be talking to.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ...diagnostics import pci
from ..heard import Flags, Heard, Integers, Stream
from .senders import Sender, answers_by_standard, asks_by_standard, standard

LEAST_SHARE = 0.9
"""Of a sender's frames so many read as ISO-TP; the rest may be wake-up frames and the like (a choice)."""
MOST_PREFIXES = 32
"""Address bytes looked at on one id; there are hardly more units on one (a choice)."""
REPLY_BIT = 0x40
"""What tells an answer's first byte from a request's (ISO 14229-1, SAE J1979 and ISO 14230-3 alike)."""
NEGATIVE = 0x7F
LEAST_ANSWERS_SHARE = 0.8
"""Of what a unit says so much has to be answers where no standard has the ids (a choice)."""
LEAST_BEGUN_SHARE = 0.7
"""And so many of its beginnings have to be about what somebody asks: a little less, since some come to nothing."""


@dataclass(frozen=True, slots=True)
class Beginnings:
    """How one sender's messages begin.

    Attributes:
        sender: who.
        stream, rows: its frames, and which of them are this sender's, shape (frames,).
        asked: how many messages ask for each service, shape (256,).
        answered: how many answer or refuse it, shape (256,).
    """

    sender: Sender
    stream: Stream
    rows: Flags
    asked: Integers
    answered: Integers

    def may_answer(self, to: Beginnings) -> bool:
        """Say whether enough of what it says is about what the other one asks for."""
        mine, other = self.sender, to.sender
        same = (mine.bus, mine.extended) == (other.bus, other.extended)
        if not same or (mine.prefix is None) != (other.prefix is None):
            return False
        about = int(self.answered[to.asked > 0].sum())
        return about > 0 and (standard(other, mine) or about >= LEAST_BEGUN_SHARE * int(self.answered.sum()))


def two_sided(found: Sequence[Beginnings]) -> Iterator[Beginnings]:
    """Yield those that have another side, those who ask nothing else than others do, and those on a standard's ids."""
    answering = {id(by) for by in found for to in found if by.answered.any() and by.may_answer(to)}
    asking = {id(to) for by in found if id(by) in answering for to in found if by.may_answer(to)}
    known = [one.asked > 0 for one in found if id(one) in asking]
    services = np.logical_or.reduce(known) if known else np.zeros(256, dtype=bool)
    for one in found:
        same = bool(one.asked.any()) and not one.asked[~services].any()
        by_standard = asks_by_standard(one.sender) or answers_by_standard(one.sender)
        if id(one) in answering or id(one) in asking or (one.sender.prefix is None and (same or by_standard)):
            yield one


def beginnings(heard: Heard) -> Iterator[Beginnings]:
    """Yield who may speak ISO-TP: without an address byte, and, where it reads so too, with each there is."""
    for stream in heard:
        if np.mean(fits(stream, 0)) >= LEAST_SHARE:
            yield from _begun(stream, (None,))
        prefixes = np.unique(stream.data[:, 0]).tolist() if stream.width else []
        behind = fits(stream, 1)
        if len(prefixes) <= MOST_PREFIXES and len(behind) and np.mean(behind) >= LEAST_SHARE:
            yield from _begun(stream, prefixes)


def fits(stream: Stream, start: int) -> Flags:
    """Say of each frame whether it reads as ISO-TP from byte `start` on, as far as a frame by itself can tell."""
    if stream.width <= start + 1:
        return np.zeros(len(stream), dtype=bool)
    head, after = stream.data[:, start], stream.length.astype(np.int64) - start
    kind, low = head >> 4, (head & 0x0F).astype(np.int64)
    body = stream.data[:, start + 1].astype(np.int64)
    single = (kind == pci.Kind.SINGLE) & (low > 0) & (low < after)
    longer = (low << 8 | body) >= np.minimum(after, pci.FRAME_BYTES - start)
    first = (kind == pci.Kind.FIRST) & (stream.length == pci.FRAME_BYTES) & (longer | ((low == 0) & (body == 0)))
    later = (kind == pci.Kind.CONSECUTIVE) & (after > 1)
    flow = (kind == pci.Kind.FLOW_CONTROL) & (low <= pci.FlowStatus.OVERFLOW) & (after >= 3)
    said: Flags = single | first | later | flow
    return said


def _begun(stream: Stream, prefixes: Iterable[int | None]) -> Iterator[Beginnings]:
    """Yield a stream's senders, but for those whose messages cannot be requests or answers."""
    for prefix in prefixes:
        rows = np.ones(len(stream), dtype=bool) if prefix is None else stream.data[:, 0] == prefix
        sender = Sender(stream.bus, stream.id, stream.extended, prefix)
        found = _sorted_by_service(sender, stream, rows)
        if found is not None:
            yield found


def _sorted_by_service(sender: Sender, stream: Stream, rows: Flags) -> Beginnings | None:
    """Count beginnings; None unless they are of known services, and all of them requests or all answers."""
    start = 0 if sender.prefix is None else 1
    data = stream.data[rows]
    if data.shape[1] < start + 4:
        data = np.pad(data, ((0, 0), (0, start + 4 - data.shape[1])))
    kind = data[:, start] >> 4
    begins = kind <= pci.Kind.FIRST
    single = kind[begins] == pci.Kind.SINGLE
    said = np.where(single[:, None], data[begins, start + 1 : start + 3], data[begins, start + 2 : start + 4])
    service, after = said[:, 0], said[:, 1]
    replies = (service & REPLY_BIT) != 0
    number = service & ~np.uint8(REPLY_BIT)
    if begins.any():
        known = ((number >= 0x01) & (number <= 0x3E)) | ((number >= 0x80) & (number <= 0xBE))
        good = np.mean(known | (service == NEGATIVE)) >= LEAST_SHARE
        if not (good and (replies.mean() >= LEAST_SHARE or replies.mean() <= 1 - LEAST_SHARE)):
            return None
    elif not (kind == pci.Kind.FLOW_CONTROL).any():
        return None
    about = np.where(service == NEGATIVE, after, number)[replies]
    return Beginnings(
        sender, stream, rows, np.bincount(number[~replies], minlength=256), np.bincount(about, minlength=256)
    )

"""Which pairs of ids may speak a one-frame format: of each id that could ask, those that could answer it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from ..heard import Stream
from ..reading import Progress
from .first_look import FirstLook
from .one_frame_pairs import (
    FEW_LOOKED_AT,
    LEAST_ANSWERS,
    LOOK_BACK,
    MOST_LOOKED_AT,
    Pairing,
    asks_again,
    constant,
    counts,
    moving_requests,
    repeating,
)
from .one_frame_turns import in_turn, may_ask


def pairings(heard: Iterable[Stream], progress: Progress | None = None) -> Iterator[Pairing]:
    """Yield pairs of ids that may speak a one-frame format; `progress` is told how far it is, 0 to 1."""
    streams = [one for one in heard if one.width >= 2]
    done = 0
    for place in dict.fromkeys((one.bus, one.extended) for one in streams):
        near = [one for one in streams if (one.bus, one.extended) == place]
        look = FirstLook(near, (FEW_LOOKED_AT, MOST_LOOKED_AT), LOOK_BACK)
        for to in near:
            yield from _answering(to, near, look)
            done += 1
            if progress is not None:
                progress(done / len(streams))


def pair(to: Stream, by: Stream) -> Pairing | None:
    """Pair two ids that are known to talk with each other: by what answers repeat, else by time."""
    return repeating(to, by) or (in_turn(to, by) if may_ask(to) else None)


def _answering(to: Stream, streams: Sequence[Stream], look: FirstLook) -> Iterator[Pairing]:
    """Yield the pairs in which this id asks; those whose answers repeat what was asked, where there is one."""
    if len(to) < LEAST_ANSWERS or not asks_again(to):
        return
    moving = moving_requests(to)
    telling = {*moving, *(i for i in range(to.width) if not constant(to.data[:, i]) and not counts(to.data[:, i]))}
    by_what_they_repeat = False
    for by, near in zip(streams, look.repeating(to, sorted(telling)), strict=True):
        found = repeating(to, by, moving) if near and by is not to else None
        if found is not None:
            by_what_they_repeat = True
            yield found
    if not by_what_they_repeat and may_ask(to):
        by_time = (in_turn(to, by) for by in streams if by is not to)
        yield from (found for found in by_time if found is not None)

"""What a trace lacks, in sentences: a person should know before an answer is believed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .columns import Piece
from .heard import Stream
from .lines import ERROR, FD, REMOTE

SILENCE_S, SILENT_PERIODS = 0.5, 10.0
"""Silence of all buses is told from so many periods of the quickest id on, and so long at least."""
FEW_STAMPS = 0.01
"""Share of frames that may carry the time of the one before without a word: adapters hand on what waited at once."""
NAMED = 5

_KINDS = {ERROR: "error", REMOTE: "remote", FD: "FD"}


def lacking(piece: Piece, streams: Sequence[Stream]) -> tuple[str, ...]:
    """Return what one should know of a piece of a trace before searching it."""
    sentences = (
        _left_out(piece), _too_few(piece), _standing_clock(piece), _silences(piece, streams),
        _same_stamps(streams), _lengths(streams),
    )  # fmt: skip
    return tuple(sentence for sentence in sentences if sentence)


def restarted(pieces: int, best: Piece, frames: int) -> str:
    """Say that the clock did not run on, and which part of the trace is searched."""
    return (
        f"the clock went back or leapt {counted(pieces - 1, 'time')}, so times before and after do not compare: only "
        f"the largest of the {pieces} pieces is searched, lines {best.first_line} to {best.last_line} with "
        f"{best.frames} of {counted(frames, 'data frame')}; cut the trace there to search the others"
    )


def merged(bus: str, channels: Sequence[str]) -> str:
    """Say that several channels are one bus."""
    return f"the channels {_listed(channels)} of the trace are searched as one bus, {bus}"


def counted(number: int, thing: str) -> str:
    """Write a number of things."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def _left_out(piece: Piece) -> str:
    parts = [f"{piece.counts[kind]} {name}" for kind, name in _KINDS.items() if piece.counts[kind]]
    if not parts:
        return ""
    said = f"frames left out, since only data frames of classic CAN are searched: {_listed(parts)}"
    if piece.counts[ERROR] > piece.frames:
        said += (
            "; so many errors mean a wrong rate, a bad contact or swapped wires: see `underdash listen`, record again"
        )
    return said


def _too_few(piece: Piece) -> str:
    if piece.frames == 1:
        return "there is one data frame only, so nothing can be seen to change: record for longer"
    return ""


def _standing_clock(piece: Piece) -> str:
    if piece.frames > 1 and piece.end <= piece.begin:
        return "all frames carry the same time, so nothing can be told about when: record again with times"
    return ""


def _silences(piece: Piece, streams: Sequence[Stream]) -> str:
    periods = [one.every_s for one in streams if one.every_s is not None] if piece.silences else []
    if not periods:
        return ""
    allowed = max(SILENCE_S, SILENT_PERIODS * min(periods))
    long = sorted((at - piece.begin, length) for length, at in piece.silences if length > allowed)
    if not long:
        return ""
    named = [f"{length:.1f} s from second {at:.1f}" for at, length in long[:NAMED]]
    more = f" and {len(long) - NAMED} more" if len(long) > NAMED else ""
    return (
        f"nothing was heard on any bus for {_listed(named)}{more}: the car slept, or it was not recorded; what was "
        "done then cannot be found"
    )


def _same_stamps(streams: Sequence[Stream]) -> str:
    same = sum(int(np.count_nonzero(np.diff(one.at) == 0)) for one in streams)
    if same <= FEW_STAMPS * sum(map(len, streams)):
        return ""
    return (
        f"frames with the same time as the one of their id before: {same}; the clock is coarse, or they were recorded "
        "twice"
    )


def _lengths(streams: Sequence[Stream]) -> str:
    changing = [
        f"{one} ({int(one.length.min())} to {int(one.length.max())} bytes)"
        for one in streams
        if one.length.min() != one.length.max()
    ]
    if not changing:
        return ""
    more = f" and {len(changing) - NAMED} more" if len(changing) > NAMED else ""
    return f"frames change their length on {_listed(changing[:NAMED])}{more}: bytes that a frame lacks read as 0"


def _listed(parts: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(parts[:-1]), parts[-1])))

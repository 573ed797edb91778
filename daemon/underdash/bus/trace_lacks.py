"""What a trace lacks at its end, in sentences. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from .trace import Trace


def lacks(trace: Trace) -> Iterator[str]:
    """Say what was left out of a trace that was read to its end."""
    if trace.half_written:
        yield half_line()
    if trace.zeros:
        yield zeros(trace.zeros)
    if trace.skipped:
        yield f"lines that could not be read and were left out: {trace.skipped}"


def half_line() -> str:
    """Say that the trace ends within a line."""
    return "the trace was cut off while it was written or copied: its last line is half there and was left out"


def zeros(number: int) -> str:
    """Say that the trace ends in zeros."""
    return (
        f"the trace ends in {number} zero byte{'' if number == 1 else 's'}, as where power was cut before the disk had "
        "what was written: they were left out"
    )

"""Reading a trace into columns; the only file of this room that opens one."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from pathlib import Path

import numpy as np

from ..bus.frames import Frame
from ..bus.trace import read_trace
from .heard import Heard, Stream


def read_heard(path: Path, roles: Mapping[str, str] | None = None) -> Heard:
    """Read a trace.

    Args:
        path: any that `read_trace` takes.
        roles: the bus's role by the channel's name in the trace; a channel that is not in it keeps its name.

    Raises:
        TraceError: it is not there, or is none.
    """
    trace = read_trace(path)
    heard = heard_from(trace, roles)
    return Heard(
        heard.streams, heard.begin, heard.end, tuple(sorted(trace.marks)), heard.remarks, path.name, sha256_of(path),
        dict(trace.about),
    )  # fmt: skip


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file in hex digits, by which a description names the trace that shows something."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def heard_from(frames: Iterable[tuple[str, Frame]], roles: Mapping[str, str] | None = None) -> Heard:
    """Sort frames (channel, frame) into streams; those that carry no classic data are counted in a remark."""
    rows: dict[tuple[str, int, bool], list[Frame]] = {}
    begin, end, other = float("inf"), float("-inf"), 0
    for channel, frame in frames:
        begin, end = min(begin, frame.at), max(end, frame.at)
        if frame.error or frame.remote or frame.fd:
            other += 1
            continue
        bus = (roles or {}).get(channel, channel)
        rows.setdefault((bus, frame.id, frame.extended), []).append(frame)
    streams = tuple(_stream(*key, rows[key]) for key in sorted(rows))
    if begin > end:
        return Heard(streams)
    remarks = (f"{other} frames carry no data that could be searched: error, remote or FD frames",) if other else ()
    return Heard(streams, begin, end, remarks=remarks)


def _stream(bus: str, can_id: int, extended: bool, frames: list[Frame]) -> Stream:
    lengths = [len(frame.data) for frame in frames]
    width = max(lengths)
    data = np.frombuffer(b"".join(frame.data.ljust(width, b"\0") for frame in frames), dtype=np.uint8)
    return Stream(
        bus,
        can_id,
        extended,
        np.array([frame.at for frame in frames]),
        np.array(lengths, dtype=np.uint8),
        data.reshape(len(frames), width),
    )

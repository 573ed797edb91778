"""Reading a trace into columns; the only file of this room that opens one."""

from __future__ import annotations

import gzip
import hashlib
import os
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from io import DEFAULT_BUFFER_SIZE, BufferedReader
from itertools import islice, starmap
from pathlib import Path

import numpy as np

from ..bus.frames import Frame
from ..bus.trace import LONGEST_LINE, Trace, UnreadableTraceError, of_lines, open_lines, read_trace
from ..bus.trace_lacks import lacks
from .columns import MOST_FRAMES, MOST_IDS, MOST_PIECES, Columns, Piece, streams_of
from .heard import Heard
from .lacks import lacking, merged, restarted
from .lines import NOTHING, Buses, Rows, rows_of

BLOCK = 4 << 20
"""Bytes of lines that are read together; from one megabyte on larger ones are no quicker."""
PIECE = DEFAULT_BUFFER_SIZE
"""Bytes that are fetched at once: as much as for line by line, so that no more is lost where a file is damaged."""
CHUNK = 50_000
"""Frames that are sorted at once where they come one by one."""

Progress = Callable[[float], None]
"""Called with the share of the file that was read, 0 to 1."""


def read_heard(path: Path, roles: Mapping[str, str] | None = None, progress: Progress | None = None) -> Heard:
    """Read a trace.

    Args:
        path: any that `read_trace` takes.
        roles: the bus's role by the channel's name in the trace; a channel that is not in it keeps its name.
        progress: told now and then how far it is.

    Raises:
        TraceError: it is not there, is none, or is too long.
    """
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise UnreadableTraceError(
            f"trace {path} is a pipe or a device, and a search reads its trace more than once; write it to a file first"
        )
    buses, columns = Buses(roles), Columns()
    if of_lines(path):
        lines = _Lines(path, columns, buses, progress)
        trace = lines.read()
        mark_lines = lines.mark_lines
    else:
        trace, mark_lines = read_trace(path), []
        _collect(trace, columns, buses)
    piece = columns.finish()
    marks = trace.marks
    if columns.pieces > 1 and piece is not None:
        marks = [mark for mark, line in zip(marks, mark_lines, strict=False) if piece.owns(line)]
    heard = _heard(columns, piece, buses)
    return Heard(
        heard.streams, heard.begin, heard.end, tuple(sorted(marks)), (*heard.remarks, *lacks(trace)), path.name,
        sha256_of(path), dict(trace.about), buses.channels,
    )  # fmt: skip


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file in hex digits, by which a description names the trace that shows something."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def heard_from(frames: Iterable[tuple[str, Frame]], roles: Mapping[str, str] | None = None) -> Heard:
    """Sort frames (channel, frame) into streams; what should be known of them before searching becomes remarks."""
    buses, columns = Buses(roles), Columns()
    _collect(frames, columns, buses)
    return _heard(columns, columns.finish(), buses)


def _heard(columns: Columns, piece: Piece | None, buses: Buses) -> Heard:
    if piece is None:
        return Heard(())
    if len(piece.parts) > MOST_IDS:
        raise UnreadableTraceError(
            f"there are {len(piece.parts)} different ids in the trace, as in noise, and no car sends more than some "
            "hundred: look whether its bit rate was right (underdash listen), or keep the lines of the buses that are"
        )
    streams = streams_of(piece, buses.names)
    remarks = (*starmap(merged, buses.merged.items()), *lacking(piece, streams))
    if columns.pieces > 1:
        remarks = (restarted(columns.pieces, piece, columns.frames), *remarks)
    return Heard(streams, piece.begin, piece.end, remarks=remarks)


def _collect(frames: Iterable[tuple[str, Frame]], columns: Columns, buses: Buses) -> None:
    """Take frames that come one by one."""
    rest, first = iter(frames), 1
    while chunk := list(islice(rest, CHUNK)):
        rows = Rows.empty(np.arange(len(chunk) + 1))
        for row, (channel, frame) in enumerate(chunk):
            rows.put(row, buses.number(channel), frame)
        columns.take(rows, first)
        _check(columns)
        first += len(chunk)


def _check(columns: Columns) -> None:
    if columns.frames > MOST_FRAMES:
        raise UnreadableTraceError(
            f"the trace has more than {MOST_FRAMES // 1_000_000} million frames, which are not searched at once; cut "
            "it, or take out buses that are not wanted"
        )
    if columns.pieces > MOST_PIECES:
        raise UnreadableTraceError(
            f"the trace's clock goes back or leaps ahead more than {MOST_PIECES} times, as where buses with different "
            "clocks were put into one file; keep the lines of one bus, whose channel is the word after the time"
        )


class _Lines:
    """Reads a trace of lines, plain ones by the block, the others through `Trace`, which knows every kind.

    Attributes:
        mark_lines: for each mark of the trace, in which line it stands.
    """

    def __init__(self, path: Path, columns: Columns, buses: Buses, progress: Progress | None) -> None:
        self.mark_lines: list[int] = []
        self._path, self._columns, self._buses = path, columns, buses
        self._progress = progress
        self._rows: Rows | None = None
        self._row, self._first = 0, 1

    def read(self) -> Trace:
        """Read all; returns the trace, whose frames are in the columns."""
        with open_lines(self._path) as file:
            self._trace = Trace(self._odd(file), str(self._path))
            for channel, frame in self._trace:
                if self._rows is not None:
                    self._rows.put(self._row, self._buses.number(channel), frame)
            self._close()
        return self._trace

    def _odd(self, file: BufferedReader | gzip.GzipFile) -> Iterator[bytes]:
        """Yield the lines that are not plain, and take all others meanwhile."""
        share = _share(file, self._path)
        for block in _blocks(file):
            self._rows = rows_of(block, self._buses)
            starts = self._rows.starts
            for row in np.flatnonzero(self._rows.kind == NOTHING).tolist():
                self._row = row
                self._trace.line = self._first + row - 1
                yield block[starts[row] : starts[row + 1]]
                if len(self._trace.marks) > len(self.mark_lines):
                    self.mark_lines.append(self._trace.line)
            self._close()
            if self._progress is not None:
                self._progress(share())

    def _close(self) -> None:
        """Take the rows of a block that is read; harmless if that was done."""
        if self._rows is None:
            return
        self._columns.take(self._rows, self._first)
        self._first += len(self._rows.kind)
        self._trace.line = max(self._trace.line, self._first - 1)
        self._rows = None
        _check(self._columns)


def _blocks(file: BufferedReader | gzip.GzipFile) -> Iterator[bytes]:
    """Yield whole lines, many at once; what follows the last line's end comes last, by itself or with others.

    A line longer than `LONGEST_LINE`, which is none of a trace, comes in parts, so that no file is held as a whole.
    What could be unpacked of a damaged file is yielded before the error is raised, but for a line that is half there.
    """
    rest, failure = b"", None
    while failure is None:
        parts, size, ended = [rest], len(rest), False
        try:
            while size < BLOCK or (b"\n" not in parts[-1] and size < BLOCK + LONGEST_LINE):
                piece = file.read1(PIECE)
                if not piece:
                    ended = True
                    break
                parts.append(piece)
                size += len(piece)
        except (EOFError, OSError, zlib.error) as exc:
            failure = exc
        text = b"".join(parts)
        cut = len(text) if ended else text.rfind(b"\n") + 1
        if not cut and failure is None:
            cut = len(text)
        if cut:
            yield text[:cut]
        if ended:
            return
        rest = text[cut:]
    raise failure


def _share(file: BufferedReader | gzip.GzipFile, path: Path) -> Callable[[], float]:
    """Return what tells how much of a file was read, 0 to 1."""
    size = max(1, path.stat().st_size)
    return lambda: min(1.0, os.lseek(file.fileno(), 0, os.SEEK_CUR) / size)

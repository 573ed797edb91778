"""Traces: what a bus carried, one frame a line, readable by eye and by every tool of the trade.

The line is the de-facto one, ``(seconds.micros) channel ID#DATA``: three hex digits of id are 11 bits, eight are 29;
``#R`` is a remote frame, ``##F`` with one digit of flags an FD frame, and an id with bit 29 set an error frame. Lines
that begin with ``#`` say when and where it was made: the time in a trace is monotonic, because a Pi's wall clock
jumps. A line is whole or it is not there, so whatever survives a lost supply can be read.
"""

from __future__ import annotations

import gzip
import os
import zlib
from collections.abc import Generator, Iterable, Iterator
from io import BufferedReader
from pathlib import Path
from typing import IO, Self

from ..contract.errors import GivenError, UnderdashError
from .frames import ERROR, Frame

TRACE_FORMAT = 1
OTHER_FORMATS = (".asc", ".blf", ".csv", ".db", ".mf4", ".trc")
"""Endings that python-can reads, unless there are lines inside; everything else is taken for lines."""

_PACKED = b"\x1f\x8b"
"""First bytes of a file packed by gzip (RFC 1952, section 2.3.1)."""
_BYTE_MARK = b"\xef\xbb\xbf"
"""Byte order mark, which editors on other systems put in front (RFC 3629, section 6)."""
LONGEST_LINE = 1 << 20
"""Bytes; a longer line is taken in parts, so that a file without lines, such as one of zeros, needs no memory."""
LONGEST_NAME = 32
"""Letters of a channel's name; Linux allows 15."""
ZEROS = bytes(4)
"""More than text in any encoding begins with."""
MOST_ID = 0x1FFF_FFFF
LATEST_S = 1e12


class TraceError(UnderdashError):
    """A trace cannot be read or written; names file and line."""


class UnreadableTraceError(TraceError, GivenError):
    """A trace that was named is not there, may not be read, or is none."""


class TakenNameError(TraceError, GivenError):
    """A trace is to be written where there is a file already."""


def new_file(path: Path) -> IO[bytes]:
    """Open the file of a new trace; raises `TraceError` where it is there already or cannot be made."""
    try:
        return path.open("xb")
    except (OSError, ValueError) as exc:  # a ValueError is a name with a zero byte
        kind = TakenNameError if isinstance(exc, FileExistsError) else TraceError
        reason = getattr(exc, "strerror", None) or str(exc)
        raise kind(f"trace {path} cannot be written: {reason.lower()}; choose another name") from exc


class TraceWriter:
    """Writes a trace.

    Args:
        target: a path, which must not exist yet, or an open binary file, which stays open.
        about: lines for the top, such as ``{"boot": boot id, "wall": ISO time, "version": "0.1.0"}``.

    Attributes:
        frames: written so far.
        size: bytes written so far.
        live: somebody reads along at the other end of a pipe, so that nothing should wait here for long.

    Raises:
        TraceError: the file cannot be made.
    """

    def __init__(self, target: Path | IO[bytes], about: dict[str, str] | None = None) -> None:
        self._owned = isinstance(target, Path)
        self._file: IO[bytes]
        if isinstance(target, Path):
            self._file = new_file(target)
        else:
            self._file = target
        self.frames = 0
        self.size = 0
        self.live = not self._file.seekable()
        lines = [f"# underdash trace {TRACE_FORMAT}", *(f"# {key}: {value}" for key, value in (about or {}).items())]
        self.size += self._file.write("".join(line.replace("\n", " ") + "\n" for line in lines).encode())

    def write(self, role: str, frame: Frame) -> None:
        """Add a frame; it reaches the disk with `flush`."""
        self.size += self._file.write(line_of(role, frame).encode())
        self.frames += 1

    def mark(self, text: str, at: float) -> None:
        """Add a remark that a person made at `at`."""
        self.size += self._file.write(f"# mark ({at:.6f}) {' '.join(text.split())}\n".encode())

    def flush(self, durable: bool = False) -> None:
        """Hand what was written to the system; `durable` waits until it would survive a lost supply."""
        self._file.flush()
        if durable and not self.live:
            os.fdatasync(self._file.fileno())

    def close(self) -> None:
        """Flush, and close the file if it is ours, also where a full disk keeps it from being flushed."""
        try:
            self._file.flush()
        finally:
            if self._owned:
                self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Trace(Iterator[tuple[str, Frame]]):
    """An open trace: iterate over (role or channel, frame), once.

    Attributes:
        about: what the lines at the top say.
        marks: (seconds, text) of the remarks met so far.
        half_written: 1 if the last line was cut off and left out, else 0.
        skipped: lines of another format that could not be read and were left out.
        zeros: bytes of zero at the end, which stand there where power was cut before the disk had what was written.
        line: number of the last line read.
    """

    def __init__(self, lines: Iterable[bytes], name: str) -> None:
        self.about: dict[str, str] = {}
        self.marks: list[tuple[float, str]] = []
        self.half_written = 0
        self.skipped = 0
        self.zeros = 0
        self.line = 0
        self._name = name
        self._frames: Iterator[tuple[str, Frame]] = self._read(iter(lines))

    def __next__(self) -> tuple[str, Frame]:
        return next(self._frames)

    def close(self) -> None:
        """Close the file of a trace that is not read to its end; harmless at any time."""
        if isinstance(self._frames, Generator):
            self._frames.close()

    def _read(self, lines: Iterator[bytes]) -> Iterator[tuple[str, Frame]]:
        names: dict[bytes, str] = {}
        while True:
            raw = self._next_line(lines)
            if raw is None:
                return
            if self.zeros:
                self.line -= 1  # they are one line, however many parts they come in
                if raw.strip(b"\0"):
                    raise self._mistake(b"\0" + raw)
            if raw[-1:] == b"\0":
                raw = self._without_zeros(raw)
            if raw[:1] == b"#":
                self._remark(raw)
                continue
            words = raw.split()
            if not words:
                continue
            try:
                channel, frame = _frame_of(words, names)
            except (ValueError, IndexError) as exc:
                if not raw.endswith(b"\n") and len(raw) < LONGEST_LINE:
                    self.half_written = 1
                    return
                raise self._mistake(raw) from exc
            if not raw.endswith(b"\n") and self.about:
                # our own lines always end; this one could have lost data bytes and still look right
                self.half_written = 1
                return
            yield channel, frame

    def _next_line(self, lines: Iterator[bytes]) -> bytes | None:
        try:
            raw = next(lines, None)
        except EOFError:
            self.half_written = 1
            return None
        except (OSError, zlib.error) as exc:
            where = f" after line {self.line}" if self.line else ""
            raise UnreadableTraceError(
                f"trace {self._name} cannot be read{where}: it is damaged ({exc}); copy it again"
                + (", or cut it there" if where else "")
            ) from exc
        self.line += raw is not None
        return self._first(raw) if raw is not None and self.line == 1 else raw

    def _first(self, raw: bytes) -> bytes:
        """Take a byte order mark off the first line, and refuse text of another kind."""
        if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
            raise self._mistake(raw)
        if raw.startswith(ZEROS):
            raise begins_with_zeros(self._name)
        if raw.startswith(_PACKED):
            raise UnreadableTraceError(f"trace {self._name} is packed by gzip; unpack what goes into a pipe (zcat)")
        if b"\r" in raw.rstrip(b"\r\n") and b"#" in raw:
            raise UnreadableTraceError(
                f"trace {self._name}: its lines end in a carriage return alone; save it with line ends of Unix or "
                "Windows"
            )
        return raw.removeprefix(_BYTE_MARK)

    def _without_zeros(self, raw: bytes) -> bytes:
        """Take off the zeros that end a trace; what is before them in the same line is half a line."""
        text = raw.rstrip(b"\0")
        self.zeros += len(raw) - len(text)
        self.half_written |= 1 if text else 0
        return b""

    def _remark(self, raw: bytes) -> None:
        text = raw[1:].decode("utf-8", "replace").strip()
        if text.startswith("mark ("):
            at, _, words = text.removeprefix("mark (").partition(") ")
            try:
                when = float(at)
            except ValueError:
                return
            if 0 <= when < LATEST_S:
                self.marks.append((when, words))
        elif text.startswith("underdash trace"):
            self._check_format(text.removeprefix("underdash trace").strip())
        else:
            key, colon, value = text.partition(":")
            if colon:
                self.about[key.strip()] = value.strip()

    def _check_format(self, number: str) -> None:
        self.about["format"] = number
        if not number.isdigit() or int(number) > TRACE_FORMAT:
            raise UnreadableTraceError(
                f"trace {self._name} has format {number[:20] or 'unknown'}; this version reads up to {TRACE_FORMAT}: "
                "install a newer one"
            )

    def _mistake(self, raw: bytes) -> TraceError:
        if b"\0" in raw[:60] or raw.startswith((b"\xff\xfe", b"\xfe\xff")):
            why = "there are zero bytes in it, as in text saved as UTF-16 or in a file of another kind"
            step = "save it as text in UTF-8, or convert the file"
        else:
            shown = raw[:60].decode("utf-8", "backslashreplace").strip()
            why = f"{''.join(one if one.isprintable() else '?' for one in shown)!r} is no frame"
            step = "take that line out or convert the file"
        return UnreadableTraceError(
            f"trace {self._name}, line {self.line}: {why}; a line reads (seconds.micros) channel ID#DATA, with an even "
            f"number of hex digits; {step}"
        )


def begins_with_zeros(name: str) -> UnreadableTraceError:
    """Return what is raised about a file that begins with zeros."""
    return UnreadableTraceError(
        f"trace {name} begins with zero bytes: power was cut before any of it was on the disk, or it is a file of "
        "another kind; record again"
    )


def line_of(role: str, frame: Frame) -> str:
    """Write a frame as a line."""
    can_id = frame.id | ERROR if frame.error else frame.id
    name = f"{can_id:08X}" if frame.extended or frame.error else f"{can_id:03X}"
    data = "R" if frame.remote else f"{'#0' if frame.fd else ''}{frame.data.hex().upper()}"
    return f"({frame.at:.6f}) {role} {name}#{data}\n"


def read_trace(path: Path) -> Trace:
    """Open a trace of lines, packed by gzip or not, or one of `OTHER_FORMATS`.

    Raises:
        TraceError: now or while iterating: it is not there, or a line is no frame.
    """
    if not of_lines(path):
        from .other_traces import OtherTrace

        return OtherTrace(path)
    # closed by `_closing`, when all lines are read or nobody holds the trace any more
    return Trace(_closing(open_lines(path)), str(path))


def of_lines(path: Path) -> bool:
    """Say whether a trace is one of lines: by its name, or by its first bytes where that is another format's."""
    if path.suffix.lower() not in OTHER_FORMATS:
        return True
    try:
        if not path.is_file():  # what is taken out of a pipe is gone
            return False
        with path.open("rb") as file:
            return file.read(20).startswith((b"(", b"# underdash trace"))
    except OSError:
        return False


def open_lines(path: Path) -> BufferedReader | gzip.GzipFile:
    """Open the file of a trace of lines, packed by gzip or not; raises TraceError where that is not possible."""
    try:
        file = path.open("rb")
        if path.is_file() and file.peek(len(_PACKED)).startswith(_PACKED):
            file.close()
            return gzip.open(path)
    except OSError as exc:
        raise not_opened(path, exc) from exc
    return file


def not_opened(path: Path, exc: OSError) -> UnreadableTraceError:
    """Return what is raised about a file that cannot be opened."""
    return UnreadableTraceError(
        f"trace {path} cannot be opened: {exc.strerror or exc}; check its name and that you may read it"
    )


def _closing(file: BufferedReader | gzip.GzipFile) -> Iterator[bytes]:
    with file:
        while raw := file.readline(LONGEST_LINE):
            yield raw


def _frame_of(words: list[bytes], names: dict[bytes, str]) -> tuple[str, Frame]:
    stamp, channel, text = words[0], words[1], words[2]
    if stamp[:1] != b"(" or stamp[-1:] != b")":
        raise ValueError("no time in brackets")
    name = names.get(channel)
    if name is None:
        name = channel.decode("utf-8", "replace")
        if len(name) > LONGEST_NAME or not name.isprintable():
            raise ValueError("no name of a channel")
        names[channel] = name
    digits, mark, data = text.partition(b"#")
    if not mark or len(digits) not in (3, 8) or not digits.isalnum():  # int() would take a sign too
        raise ValueError("no id")
    can_id = int(digits, 16)
    at = float(stamp[1:-1])
    if not 0 <= at < LATEST_S:
        raise ValueError("no time")
    extended = len(digits) == 8
    if can_id > (MOST_ID | ERROR if extended else 0x7FF):
        raise ValueError("id too long")
    if data[:1] in (b"R", b"r") or data[:1] == b"#" or (extended and can_id & ERROR):
        return name, _special(can_id, extended, data, at)
    if len(data) > 16:
        raise ValueError("data too long")
    return name, Frame(can_id, bytes.fromhex(data.decode("ascii")), extended, at)


def _special(can_id: int, extended: bool, data: bytes, at: float) -> Frame:
    if len(data) > (2 + 128 if data[:1] == b"#" else 16):
        raise ValueError("data too long")
    if can_id & ERROR and extended:
        return Frame(can_id & MOST_ID, bytes.fromhex(data.decode("ascii")), False, at, error=True)
    if data[:1] == b"#":
        return Frame(can_id, bytes.fromhex(data[2:].decode("ascii")), extended, at, fd=True)
    return Frame(can_id, b"", extended, at, remote=True)

"""Traces in formats of other programs, read by python-can."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from .frames import Frame
from .trace import LATEST_S, MOST_ID, ZEROS, Trace, TraceError, UnreadableTraceError, begins_with_zeros, not_opened

if TYPE_CHECKING:
    import can


CSV_SHAPE = "a trace as CSV has the columns timestamp, arbitration_id, extended, remote, error, dlc and data"


class OtherTrace(Trace):
    """A trace in a format that python-can reads."""

    def __init__(self, path: Path) -> None:
        super().__init__((), str(path))
        if not path.is_file():
            why = "it is no file" if path.exists() else "no such file"
            raise UnreadableTraceError(f"trace {path} cannot be opened: {why}; check its name")
        try:
            with path.open("rb") as file:
                begin = file.read(len(ZEROS))
        except OSError as exc:
            raise not_opened(path, exc) from exc
        if begin == ZEROS:  # some of the library's readers would look for the end of a line until memory is out
            raise begins_with_zeros(str(path))
        self._frames = self._messages(path)

    def _messages(self, path: Path) -> Iterator[tuple[str, Frame]]:
        import can

        try:
            with can.LogReader(path) as reader, self._complaints_counted():
                for message in reader:
                    self.line += 1
                    yield str(message.channel if message.channel is not None else 0), frame_of(message)
        except NotImplementedError as exc:  # a package is missing, and nothing is wrong with what was given
            raise TraceError(
                f"trace {path} cannot be read: {exc} Or export it as lines (.log), which need nothing more"
            ) from exc
        except Exception as exc:
            # each of the library's readers has its own ways to stumble over a broken file
            where = f"after frame {self.line}" if self.line else f"as a {path.suffix} of this kind"
            why = "it is no text in UTF-8" if isinstance(exc, UnicodeError) else str(exc)
            if path.suffix.lower() == ".csv" and not self.line:
                why = CSV_SHAPE
            raise UnreadableTraceError(
                f"trace {path} cannot be read {where}: {why}; export it again, or as lines (.log)"
            ) from exc

    @contextlib.contextmanager
    def _complaints_counted(self) -> Iterator[None]:
        """Count what the library logs about lines that it leaves out, instead of having it on the terminal."""
        counter, logger = logging.Handler(logging.WARNING), logging.getLogger("can")
        counter.emit = self._count  # type: ignore[method-assign]
        passed_on, logger.propagate = logger.propagate, False
        logger.addHandler(counter)
        try:
            yield
        finally:
            logger.removeHandler(counter)
            logger.propagate = passed_on

    def _count(self, record: logging.LogRecord) -> None:
        self.skipped += 1


def frame_of(message: can.Message) -> Frame:
    """Turn python-can's message into a frame; raises ValueError where its time or id can be none."""
    if not 0 <= message.timestamp < LATEST_S:
        raise ValueError(f"{message.timestamp} is no time in seconds")
    if not 0 <= message.arbitration_id <= MOST_ID:
        raise ValueError(f"{message.arbitration_id:X} is no id")
    return Frame(
        message.arbitration_id,
        bytes(message.data or b""),
        message.is_extended_id and not message.is_error_frame,
        message.timestamp,
        message.is_remote_frame,
        message.is_error_frame,
        message.is_fd,
    )

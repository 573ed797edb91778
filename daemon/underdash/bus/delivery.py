"""Frames to those who want them, where they come as whole frames and not as bytes off a socket."""

from __future__ import annotations

import structlog

from .errors import ErrorFrame, classify
from .frames import Frame
from .port import PortEvents
from .table import Table

_log = structlog.get_logger()


def deliver(frames: list[Frame], at: float, table: Table, events: PortEvents, place: str) -> None:
    """Hand whole frames on in their order; the slower way, for frames that are built anyway.

    Args:
        frames: as they came, stamped.
        at: monotonic seconds of the batch, which is what handlers get.
        table, events: where they go.
        place: the interface, for the log.
    """
    plain: list[Frame] = []
    errors: list[ErrorFrame] = []
    others = 0
    for frame in frames:
        try:
            if events.tap is not None:
                events.tap(frame)
            if frame.error:
                errors.append(classify(frame.id, frame.data))
            elif frame.remote or frame.fd or len(frame.data) > 8:
                others += 1
            else:
                plain.append(frame)
                handler = table.get(frame.key)
                if handler is not None:
                    handler(frame.data, at)
        except Exception:
            # one handler's mistake must not take the other frames with it
            _log.exception("frame_handler_failed", interface=place)
    if plain:
        # any of them, but not always the one at the same place of a burst
        sample = plain[int(at * 1e4) % len(plain)]
        events.received(len(plain), at)
        events.sampled(sample.key, sample.data)
    # after the data: a controller that is off hears nothing, so what was heard was heard before
    for error in errors:
        events.error_frame(error, at)
    if others:
        events.foreign(others, at)

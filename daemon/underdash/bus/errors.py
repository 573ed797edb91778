"""What an error frame says (linux/can/error.h).

An error frame is not a frame of the bus: the controller's driver makes it to report what went wrong. Its id is a set
of classes, its eight bytes are details. It never reaches a decoder.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from .frames import ERROR


class ErrorKind(StrEnum):
    """What went wrong, in the controller's view."""

    BUS_OFF = "bus off"
    PASSIVE = "error passive"
    WARNING = "error warning"
    ACTIVE = "back to error active"
    RESTARTED = "restarted"
    NOT_ACKNOWLEDGED = "not acknowledged"
    PROTOCOL = "protocol error"
    TRANSCEIVER = "transceiver error"
    ARBITRATION = "arbitration lost"
    SEND_TIMEOUT = "sending took too long"
    OVERFLOW = "controller overflow"
    BUS_ERROR = "bus error"
    OTHER = "unknown"


_CLASSES = (
    (0x040, ErrorKind.BUS_OFF),
    (0x020, ErrorKind.NOT_ACKNOWLEDGED),
    (0x008, ErrorKind.PROTOCOL),
    (0x010, ErrorKind.TRANSCEIVER),
    (0x002, ErrorKind.ARBITRATION),
    (0x001, ErrorKind.SEND_TIMEOUT),
    (0x100, ErrorKind.RESTARTED),
    (0x080, ErrorKind.BUS_ERROR),
)
_CONTROLLER = 0x004
_COUNTERS = 0x200
# byte 1, where the class says "controller"
_CONTROLLER_BITS = (
    (0x30, ErrorKind.PASSIVE),
    (0x0C, ErrorKind.WARNING),
    (0x03, ErrorKind.OVERFLOW),
    (0x40, ErrorKind.ACTIVE),
)


@dataclass(frozen=True, slots=True)
class ErrorFrame:
    """A classified error frame.

    Attributes:
        kinds: what it reports; one frame can report several things.
        send_errors, receive_errors: the controller's counters, None where the driver gives none.
    """

    kinds: frozenset[ErrorKind]
    send_errors: int | None = None
    receive_errors: int | None = None

    def __str__(self) -> str:
        text = ", ".join(kind.value for kind in ErrorKind if kind in self.kinds)
        if self.send_errors is None:
            return text
        return f"{text} (error counters: sending {self.send_errors}, receiving {self.receive_errors})"


def classify(can_id: int, data: bytes) -> ErrorFrame:
    """Read an error frame.

    Args:
        can_id: its id, with or without the error flag in bit 29.
        data: its bytes; missing ones count as 0.
    """
    classes = can_id & ~ERROR
    detail = data.ljust(8, b"\0")
    kinds = {kind for bit, kind in _CLASSES if classes & bit}
    if classes & _CONTROLLER:
        kinds |= {kind for bits, kind in _CONTROLLER_BITS if detail[1] & bits}
    counted = bool(classes & _COUNTERS)
    return ErrorFrame(
        frozenset(kinds or {ErrorKind.OTHER}),
        detail[6] if counted else None,
        detail[7] if counted else None,
    )

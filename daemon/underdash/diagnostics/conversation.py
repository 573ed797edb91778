"""What one unit sends, frame by frame, put together into messages: answers to us, and those to another tester.

A unit has one conversation at a time on a pair of ids, so there is one assembler, and whose conversation it is shows
in the first frame. Flow control is spoken only in our own: another tester speaks for itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ..contract.requests import ControlUnit
from . import pci
from .isotp import Broken
from .reassembly import Reassembly


@dataclass(frozen=True, slots=True)
class Said:
    """What a frame of the unit brought.

    Attributes:
        message: it is complete.
        reply: flow control to be sent, unpadded.
        broken: a message that ended without being complete.
        lost: that message was an answer to us.
        going_on: an answer to us has begun and is not complete.
        flow: it is flow control for a request.
        known: it is an ISO-TP frame of this unit.
    """

    message: bytes | None = None
    reply: bytes | None = None
    broken: Broken | None = None
    lost: bool = False
    going_on: bool = False
    flow: bool = False
    known: bool = True


NOTHING = Said(known=False)
FLOW = Said(flow=True)


class Conversation:
    """The messages of one unit.

    Args:
        unit: its address bytes, and what it is told by flow control.
    """

    __slots__ = ("_assembler", "_ours", "_prefix")

    def __init__(self, unit: ControlUnit) -> None:
        self._prefix = unit.reply_prefix
        self._assembler = Reassembly(
            self._prefix, reply_prefix=unit.address, block_size=unit.block_size, st_min=unit.st_min
        )
        self._ours = False

    def receive(self, data: bytes, now: float, ours: Callable[[bytes], bool]) -> Said:
        """Take a frame.

        Args:
            data: its data.
            now: monotonic seconds.
            ours: says of the first bytes of a message whether it answers what we asked.
        """
        pdu = pci.parse(data, self._prefix)
        if pdu is None:
            return NOTHING
        if isinstance(pdu, pci.FlowControl):
            return FLOW
        before = self._ours
        if isinstance(pdu, pci.First):
            self._ours = ours(pdu.part)
        heard = self._assembler.receive(data, now)
        going_on = self._ours and self._assembler.receiving
        # the first frame of an answer to us may end one to another tester, and may itself be declined
        lost = heard.broken is not None and heard.payload is None and (before or (self._ours and not going_on))
        return Said(heard.payload, heard.reply if self._ours else None, heard.broken, lost, going_on)

    def asked(self) -> None:
        """Take note of a new request: what is under way now cannot be the answer to it."""
        self._ours = False

    @property
    def deadline(self) -> float | None:
        """When the next frame is too late, None if none is awaited."""
        return self._assembler.deadline

    def tick(self, now: float) -> Said | None:
        """Let time pass; tells once that the next frame did not come."""
        broken = self._assembler.tick(now)
        return None if broken is None else Said(broken=broken, lost=self._ours)

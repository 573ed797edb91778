"""Receiving ISO-TP messages: frames of one sender in, whole messages and the flow control to send out.

One `Reassembly` for each sender: two units that answer at once are two of them. Which move belongs to which frame is
in `_MOVES`, and nothing else changes the state. Behaviour as ISO 15765-2 has it, where it leaves a choice as the Linux
kernel does it; frames that contradict themselves are ignored inside a message, as the standard says.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from ..contract.errors import UnderdashError
from . import pci
from .isotp import Broken, Fault
from .pci import Consecutive, First, FlowControl, FlowStatus, Kind, Malformed, Single

N_CR_S = 1.0
"""How long the next frame may take (N_Cr, ISO 15765-2)."""

START_BYTES = 8
"""How much of a message is kept to tell whose it was, when it breaks."""


class State(StrEnum):
    """What a frame finds."""

    IDLE = "idle"
    RECEIVING = "receiving"
    SKIPPING = "skipping"
    """A message broke, and what still comes of it is passed over: one fault is told once."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What came of a frame.

    Attributes:
        payload: a whole message.
        reply: data of the flow control frame to send, with its address byte, unpadded.
        broken: how a message ended that did not arrive; beside a payload or a reply it is the message before.
    """

    payload: bytes | None = None
    reply: bytes | None = None
    broken: Broken | None = None


NOTHING = Heard()


class Reassembly:
    """Puts the messages of one sender together.

    Args:
        prefix: address byte its frames begin with, None without.
        reply_prefix: address byte of the flow control, None for the same one (extended addressing has another).
        block_size: frames after which flow control is sent again, 0 for never.
        st_min: least time between its frames as it is told to the sender: 00 to 7F ms, F1 to F9 for 100 to 900 us.
        most_bytes: longer messages are declined; this bounds the memory.
        n_cr_s: how long the next frame may take.

    Raises:
        UnderdashError: a setting that no frame can carry.
    """

    __slots__ = (
        "_block_size", "_buffer", "_deadline", "_left", "_length", "_most", "_n_cr_s", "_next", "_prefix",
        "_reply_prefix", "_st_min", "ignored", "state",
    )  # fmt: skip

    def __init__(
        self,
        prefix: int | None = None,
        *,
        reply_prefix: int | None = None,
        block_size: int = 0,
        st_min: int = 0,
        most_bytes: int = pci.MOST_SHORT_BYTES,
        n_cr_s: float = N_CR_S,
    ) -> None:
        _check(block_size, st_min, most_bytes)
        self._prefix = prefix
        self._reply_prefix = prefix if reply_prefix is None else reply_prefix
        self._block_size = block_size
        self._st_min = st_min
        self._most = most_bytes
        self._n_cr_s = n_cr_s
        self.ignored = 0
        """Frames inside a message that contradicted themselves."""
        self.reset()

    def reset(self) -> None:
        """Forget what was heard, without a word: nobody waits for it any more."""
        self.state = State.IDLE
        self._buffer = bytearray()
        self._length = self._next = self._left = 0
        self._deadline: float | None = None

    @property
    def receiving(self) -> bool:
        """Whether a message has begun and is not complete."""
        return self.state is State.RECEIVING

    @property
    def start(self) -> bytes:
        """The first bytes of the message that is being received."""
        return bytes(self._buffer[:START_BYTES])

    @property
    def length(self) -> int:
        """Bytes of the message that is being received, 0 for none."""
        return self._length

    @property
    def deadline(self) -> float | None:
        """When the next frame is too late, None if none is awaited."""
        return self._deadline

    def receive(self, data: bytes, now: float) -> Heard:
        """Take a frame of the sender.

        Args:
            data: its data; frames of another address byte are nobody's business here.
            now: monotonic seconds.
        """
        late = self.tick(now)
        pdu = pci.parse(data, self._prefix)
        heard = NOTHING if pdu is None else _MOVES[self.state, type(pdu)](self, pdu, now)
        return heard if late is None or heard.broken is not None else replace(heard, broken=late)

    def tick(self, now: float) -> Broken | None:
        """Let time pass; tells once that the next frame did not come."""
        if self._deadline is None or now < self._deadline:
            return None
        return self._end(Fault.NO_NEXT_FRAME, f"no next frame for {self._n_cr_s:g} s {self._so_far()}")

    # --- moves ------------------------------------------------------------------------------------------------------

    def _whole(self, pdu: Single, now: float) -> Heard:
        broken = self._interrupted("a message in one frame")
        self.reset()
        return Heard(payload=pdu.payload, broken=broken)

    def _begin(self, pdu: First, now: float) -> Heard:
        broken = self._interrupted(f"a message of {pdu.length} bytes")
        self.reset()
        if pdu.length > self._most:
            self._buffer += pdu.part
            why = f"a message of {pdu.length} bytes, longer than the {self._most} that are taken"
            return Heard(reply=self._flow(FlowStatus.OVERFLOW), broken=self._end(Fault.TOO_LONG, why))
        self.state = State.RECEIVING
        self._length, self._next, self._left = pdu.length, 1, self._block_size
        self._buffer += pdu.part
        self._deadline = now + self._n_cr_s
        return Heard(reply=self._flow(FlowStatus.CONTINUE), broken=broken)

    def _go_on(self, pdu: Consecutive, now: float) -> Heard:
        if pdu.number != self._next:
            why = f"frame number {pdu.number} where {self._next} was next, {self._so_far()}"
            return Heard(broken=self._end(Fault.SEQUENCE, why))
        missing = self._length - len(self._buffer)
        if len(pdu.part) < min(missing, pci.room(self._prefix)):
            why = f"a frame with only {len(pdu.part)} bytes {self._so_far()}"
            return Heard(broken=self._end(Fault.LENGTH, why))
        self._buffer += pdu.part[:missing]
        if len(self._buffer) == self._length:
            payload = bytes(self._buffer)
            self.reset()
            return Heard(payload=payload)
        self._next = (self._next + 1) & 0x0F
        self._deadline = now + self._n_cr_s
        return self._counted()

    def _counted(self) -> Heard:
        self._left -= 1
        if self._left != 0:  # without blocks it counts down for ever
            return NOTHING
        self._left = self._block_size
        return Heard(reply=self._flow(FlowStatus.CONTINUE))

    def _orphan(self, pdu: Consecutive, now: float) -> Heard:
        return Heard(broken=self._end(Fault.UNEXPECTED, f"frame number {pdu.number} of a message that did not begin"))

    def _refuse(self, pdu: Malformed, now: float) -> Heard:
        if pdu.kind is Kind.FLOW_CONTROL or (pdu.kind is Kind.CONSECUTIVE and self.state is State.SKIPPING):
            return NOTHING
        broken = self._end(Fault.LENGTH, pdu.why)
        if pdu.kind is Kind.SINGLE:  # nothing comes after it
            self.reset()
        return Heard(broken=broken)

    def _overlook(self, pdu: Malformed, now: float) -> Heard:
        self.ignored += 1
        return NOTHING

    def _pass_over(self, pdu: pci.Pdu, now: float) -> Heard:
        return NOTHING

    # --- inside -----------------------------------------------------------------------------------------------------

    def _interrupted(self, by: str) -> Broken | None:
        if not self.receiving:
            return None
        return Broken(Fault.INTERRUPTED, f"{by} began {self._so_far()}", self.start)

    def _end(self, fault: Fault, why: str) -> Broken:
        broken = Broken(fault, why, self.start)
        self.reset()
        self.state = State.SKIPPING
        return broken

    def _so_far(self) -> str:
        return f"after {len(self._buffer)} of {self._length} bytes"

    def _flow(self, status: FlowStatus) -> bytes:
        if status is FlowStatus.OVERFLOW:
            return pci.flow_control(status, prefix=self._reply_prefix)
        return pci.flow_control(status, self._block_size, self._st_min, self._reply_prefix)


def _check(block_size: int, st_min: int, most_bytes: int) -> None:
    if not 0 <= block_size <= 0xFF:
        raise UnderdashError(f"block size {block_size} was to be told to a sender; it is 0 (no blocks) to 255")
    if not (0 <= st_min <= 0x7F or 0xF1 <= st_min <= 0xF9):
        raise UnderdashError(f"separation time {st_min:#04x} was to be told to a sender; use 00 to 7F or F1 to F9")
    if not 1 <= most_bytes <= pci.MOST_BYTES:
        raise UnderdashError(f"messages of up to {most_bytes} bytes were to be taken; use 1 to {pci.MOST_BYTES}")


_MOVES: Mapping[tuple[State, type], Callable[[Reassembly, Any, float], Heard]] = {
    (State.IDLE, Single): Reassembly._whole,
    (State.IDLE, First): Reassembly._begin,
    (State.IDLE, Consecutive): Reassembly._orphan,
    (State.IDLE, FlowControl): Reassembly._pass_over,
    (State.IDLE, Malformed): Reassembly._refuse,
    (State.RECEIVING, Single): Reassembly._whole,
    (State.RECEIVING, First): Reassembly._begin,
    (State.RECEIVING, Consecutive): Reassembly._go_on,
    (State.RECEIVING, FlowControl): Reassembly._pass_over,
    (State.RECEIVING, Malformed): Reassembly._overlook,
    (State.SKIPPING, Single): Reassembly._whole,
    (State.SKIPPING, First): Reassembly._begin,
    (State.SKIPPING, Consecutive): Reassembly._pass_over,
    (State.SKIPPING, FlowControl): Reassembly._pass_over,
    (State.SKIPPING, Malformed): Reassembly._refuse,
}
